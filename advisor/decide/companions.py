"""Which add-ons bring what a part lacks: the least sets that cover it within the part's ports.

A set x of add-ons, one piece of each, covers a product's needs on a part where

    part_f + sum_a (gives_af - takes_af) x_a >= need_f   for every feature f that is counted,
    sum_{a: grade_ag >= need_g} x_a >= 1                 for every grade g of which the part's is
                                                         below the need,
    sum_{a: a brings b} x_a >= 1                         for every block b that tasks use and the
                                                         part does not have,

need_f being 0 for ports that the product does not ask for and part_f 0 where the part's file does
not tell: then the add-ons must bring all of it. The ports must also be there one after another, so
that no two add-ons hang on each other alone. A set is least where no part of it covers as well.

The search begins with no add-on and adds, for one need that is not met, each add-on that brings
it. Every least set is found so: what it has beyond a smaller set that fails a need brings of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import product as combinations

from advisor.catalogue.criteria import SETUP, measures
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.decide.left_out import LeftOut
from advisor.decide.screens import PART_LIMITS, Asked, Failed, Screened
from advisor.model.addon_set import Companions

MOST = 48  # sets of a part that compete, the smallest first
TRIED = 20_000  # sets that are looked at on the way
TOLD = 2  # add-ons that would bring what is lacked, of which it is said why they are left out
ASKED = frozenset(("temperature.min", "temperature.max", "lifecycle", "lead-time"))
AREA = ("board-area",)
BRINGS = ("features.", "blocks.")  # kinds of needs that add-ons may meet


@dataclass(frozen=True, slots=True)
class Lack:
    """What a part lacks of a product's needs that add-ons may bring, with its ports.

    `counts`, `grades` : feature to (what the part has, 0 where it does not tell; what is needed).
    `blocks` : those that tasks use and the part does not have.
    """

    counts: Mapping[str, tuple[float, float]]
    grades: Mapping[str, tuple[float, float]]
    blocks: frozenset[str]

    def unmet(self, chosen: Sequence[AddOn]) -> Iterator[tuple[str, str]]:
        """(kind, name) of each need that a set does not meet: count, grade, block."""
        for name, (has, need) in self.counts.items():
            free = has + sum(_gives(a, name) - _takes(a, name) for a in chosen)
            if free < need:
                yield "count", name
        for name, (has, need) in self.grades.items():
            if max([has, *(_grade(a, name) for a in chosen)]) < need:
                yield "grade", name
        for name in self.blocks:
            if not any(name in a.gives.blocks for a in chosen):
                yield "block", name

    def brings(self, addon: AddOn, need: tuple[str, str]) -> bool:
        """Whether an add-on brings something of a need that is not met."""
        kind, name = need
        if kind == "count":
            return _gives(addon, name) > _takes(addon, name)
        if kind == "grade":
            return _grade(addon, name) >= self.grades[name][1]
        return name in addon.gives.blocks

    def attached(self, chosen: Sequence[AddOn]) -> bool:
        """Whether the add-ons of a set can be attached one after another, each to ports that are
        there by then."""
        names = {name for a in chosen for name in a.takes.features}
        dead: set[frozenset[str]] = set()

        def rest(left: tuple[AddOn, ...], free: Mapping[str, float]) -> bool:
            if not left:
                return True
            key = frozenset(a.addon for a in left)
            if key in dead:
                return False
            for one in left:
                if all(free[n] >= _takes(one, n) for n in names):
                    more = {n: free[n] + _gives(one, n) - _takes(one, n) for n in names}
                    if rest(tuple(a for a in left if a is not one), more):
                        return True
            dead.add(key)
            return False

        return rest(tuple(chosen), {n: self.counts.get(n, (0.0, 0.0))[0] for n in names})


def _gives(addon: AddOn, name: str) -> float:
    count = addon.gives.features.get(name)
    return 0.0 if count is None else count.nominal


def _takes(addon: AddOn, name: str) -> float:
    count = addon.takes.features.get(name)
    return 0.0 if count is None else count.nominal


def _grade(addon: AddOn, name: str) -> float:
    count = addon.gives.grades.get(name)
    return float("-inf") if count is None else count.nominal


def least_sets(lack: Lack, addons: Iterable[AddOn]) -> tuple[list[tuple[AddOn, ...]], bool]:
    """The least sets of add-ons that cover what is lacked, the smallest first and by their ids;
    and whether these are all: at most `MOST` are told and `TRIED` looked at."""
    offered = sorted(addons, key=lambda a: a.addon)
    found: list[frozenset[str]] = []
    by_id = {a.addon: a for a in offered}
    level: list[frozenset[str]] = [frozenset()]
    tried = 0
    while level:
        further: dict[frozenset[str], None] = {}
        for names in level:
            if any(other <= names for other in found):
                continue
            tried += 1
            if tried > TRIED or len(found) == MOST:
                return [tuple(by_id[n] for n in sorted(one)) for one in found], False
            chosen = [by_id[n] for n in sorted(names)]
            need = next(lack.unmet(chosen), None)
            if need is None and lack.attached(chosen):
                found.append(names)
                continue
            for one in offered:
                # what covers and cannot be attached may be by any further port
                useful = bool(one.gives.features) if need is None else lack.brings(one, need)
                if one.addon not in names and useful:
                    further[names | {one.addon}] = None
        level = sorted(further, key=sorted)
    return [tuple(by_id[n] for n in sorted(one)) for one in found], True


@dataclass(frozen=True, slots=True)
class Brought:
    """What add-ons do for a part that fails needs.

    `sets` are the least ones that cover what it lacks, each once for every way to say which of
    them brings a block; `left` what no add-on that may be used brings of what it lacks, in words,
    where there is no set; `refused` add-ons that may not be used, which of this they would bring,
    and why they are left out. `all_told` is false where there are more sets than were looked for.
    """

    sets: tuple[Companions, ...] = ()
    left: tuple[str, ...] = ()
    refused: tuple[tuple[str, tuple[str, ...], str], ...] = ()
    all_told: bool = True

    @property
    def addons(self) -> tuple[tuple[str, ...], ...]:
        """The ids of each set, once."""
        return tuple(dict.fromkeys(one.addons for one in self.sets))


def in_words(brought: Brought, allowed: bool) -> str:
    """What add-ons do for a part that is out, such as `with net-link it would meet its needs`."""
    if brought.left:
        return "; ".join(_not_brought(brought, allowed))
    sets = [" and ".join(addons) for addons in brought.addons]
    more = f" (or {len(sets) - 1} other sets)" if len(sets) > 2 else ""
    told = " or with ".join(sets if len(sets) <= 2 else sets[:1])
    refused = "" if allowed else ", but add-ons are refused"
    return f"with {told}{more} it would meet the needs{refused}"


def _not_brought(brought: Brought, allowed: bool) -> Iterator[str]:
    """What no add-on brings that may be used, apart from what one would bring that is left out."""
    would = {need for _, needs, _ in brought.refused for need in needs}
    nobody = [need for need in brought.left if need not in would]
    if nobody:
        yield f"no add-on brings {', '.join(nobody)}"
    for name, needs, why in brought.refused[:TOLD]:
        yield f"{name} would bring {', '.join(needs)} and is left out ({why})"
    more = len(brought.refused) - TOLD
    if more > 0:
        yield f"{more} more that would bring some of it {'is' if more == 1 else 'are'} left out"
    if brought.refused and not allowed:
        yield "add-ons are refused"


def beside_addons(screening: Screened) -> tuple[Screened, tuple[str, ...]]:
    """(a screening without the figures that no add-on brings, the paths of these)."""
    own = tuple(p for p in screening.missing if not p.partition(":")[2].startswith(BRINGS))
    rest = tuple(path for path in screening.missing if path not in own)
    return Screened(screening.failed, rest), own


class Offer:
    """A catalogue's add-ons in a product: those that may be used, and why others may not."""

    def __init__(self, catalogue: Catalogue, product: Product) -> None:
        self.catalogue, self.product = catalogue, product
        self.usable: dict[str, AddOn] = {}
        self.refused: dict[str, str] = {}
        self.wanted: set[str] = set()
        self.known: dict[tuple[object, ...], Brought] = {}
        for name, addon in self.catalogue.addons.items():
            why = _unusable(addon, self.product)
            if why:
                self.refused[name] = why
            else:
                self.usable[name] = addon
        self.counted = {n for a in self.usable.values() for n in a.takes.features}
        self.graded = {n for a in self.catalogue.addons.values() for n in a.gives.grades}

    def brought(self, part: Part, screening: Screened) -> Brought | None:
        """What add-ons do for a part that fails or lacks something; None where they cannot help,
        as it fails another need or lacks another figure too."""
        paths = [path.partition(":")[2] for path in screening.missing]
        names = [one.need for one in screening.failed] + paths
        if not names or not all(name.startswith(BRINGS) for name in names):
            return None
        for addon in self.refused:
            self.wanted |= {addon} if self._may(self.catalogue.addons[addon], names) else set()
        lack = self._lack(part)
        key = (
            tuple(sorted(lack.counts.items())),
            tuple(sorted(lack.grades.items())),
            lack.blocks,
        )
        if key not in self.known:
            self.known[key] = self._brought(lack)
        return self.known[key]

    def left_out(self) -> Iterator[LeftOut]:
        """Add-ons that would bring what some part lacks, and may not be used."""
        for name in sorted(self.wanted):
            yield LeftOut("add-on", name, self.refused[name])

    def _lack(self, part: Part) -> Lack:
        needs = self.product.needs.features

        def pair(name: str) -> tuple[float, float]:
            has, need = part.features.get(name), needs.get(name)
            return (
                0.0 if has is None else has.nominal,
                0.0 if need is None else need.nominal,
            )

        used = {block for task in self.product.workload for block in task.uses}
        return Lack(
            counts={n: pair(n) for n in sorted((self.counted | set(needs)) - self.graded)},
            grades={n: pair(n) for n in sorted(set(needs) & self.graded)},
            blocks=frozenset(used - set(part.blocks)),
        )

    def _brought(self, lack: Lack) -> Brought:
        sets, all_told = least_sets(lack, self.usable.values())
        made = [one for chosen in sets for one in _serving(chosen, sorted(lack.blocks))]
        if made:
            return Brought(sets=tuple(made), all_told=all_told)
        left = self._left(lack)
        # who would bring it, were it not left out
        would: dict[str, list[str]] = {}
        for need, names in left.items():
            for name in names:
                would.setdefault(name, []).append(need)
        self.wanted |= set(would)
        refused = tuple((name, tuple(of), self.refused[name]) for name, of in would.items())
        return Brought(left=tuple(left), refused=refused, all_told=all_told)

    def _left(self, lack: Lack) -> dict[str, list[str]]:
        """What no add-on that may be used brings, with those that would and may not be used; where
        each need has one, that their ports are not there."""
        others = {name: self.catalogue.addons[name] for name in sorted(self.refused)}
        nobody: dict[str, list[str]] = {}
        for kind, name in lack.unmet(()):
            need = f"{'blocks' if kind == 'block' else 'features'}.{name}"
            would = [n for n, a in others.items() if lack.brings(a, (kind, name))]
            if kind == "count":
                has, wanted = lack.counts[name]
                most = has + sum(_gives(a, name) for a in self.usable.values())
                if most < wanted:
                    enough = most + sum(_gives(others[n], name) for n in would) >= wanted
                    nobody[need] = would if enough else []
            elif not any(lack.brings(a, (kind, name)) for a in self.usable.values()):
                nobody[need] = would
        if nobody:
            return nobody
        ports = {n for a in self.usable.values() for n in a.takes.features}
        taken = [n for n in sorted(ports) if lack.counts[n][0] <= lack.counts[n][1]]
        would = [n for n, a in others.items() if any(_gives(a, p) > _takes(a, p) for p in taken)]
        return {f"ports for them ({', '.join(taken)})" if taken else "ports for them": would}

    def _may(self, addon: AddOn, names: Sequence[str]) -> bool:
        gives = addon.gives
        brings = {f"features.{n}" for n in (*gives.features, *gives.grades)}
        return bool((brings | {f"blocks.{n}" for n in gives.blocks}) & set(names))


def _serving(chosen: Sequence[AddOn], blocks: Sequence[str]) -> Iterator[Companions]:
    """A set with every way to say who brings which block."""
    names = tuple(a.addon for a in chosen)
    givers = [[a.addon for a in chosen if block in a.gives.blocks] for block in blocks]
    for by in combinations(*givers):
        yield Companions(names, tuple(zip(blocks, by, strict=True)))


def _unusable(addon: AddOn, product: Product) -> str:
    """Why an add-on may not be used in a product, whatever the part; empty where it may."""
    failed: list[Failed] = []
    missing: list[str] = []
    for limit in PART_LIMITS:
        if limit.name in ASKED:
            for case in limit.cases(Asked(addon, product)):
                if case.missing is not None:
                    missing.append(case.missing)
                elif limit.bad(case).any():
                    failed.append(limit.failed(case))
    if failed:
        return "; ".join(one.text for one in failed)
    paths = [f"{addon.addon}:{key}" for key in (*missing, *_lacking(addon, product))]
    price = addon.price
    known = (None, product.cost.currency, *product.cost.rates)
    if _priced(product) and price is not None and price.currency not in known:
        paths.append(f"{product.product}:cost.rates.{price.currency}")
    return f"lacks {', '.join(dict.fromkeys(paths))}" if paths else ""


def _priced(product: Product) -> bool:
    """Whether what is bought must have a price."""
    read = {keys for measure in measures(product) for keys in measure.reads}
    return ("price",) in read or product.cost.unit_cost_limit is not None


def _lacking(addon: AddOn, product: Product) -> Iterator[str]:
    """Keys of figures that the product needs of an add-on and that it does not state."""
    if addon.standing is None:
        yield "standing"
    used = {block for task in product.workload for block in task.uses}
    for name, block in addon.gives.blocks.items():
        if name in used:
            yield from (
                f"gives.blocks.{name}.{key}"
                for key, figure in (("current", block.current), ("for", block.duration))
                if figure is None
            )
    read = {keys for measure in measures(product) for keys in measure.reads}
    if _priced(product):
        if addon.price is None or not addon.price.breaks:
            yield "price.breaks"
        elif addon.price.currency is None:
            yield "price.currency"
    if SETUP in read and addon.setup is None:
        yield "setup"
    if AREA in read and addon.board_area is None:
        yield "board-area"
