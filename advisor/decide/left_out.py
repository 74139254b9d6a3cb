"""What was left out of a decision, and why, so that nothing vanishes.

It is collected while a decision is made and put into words when it is asked for, as most decisions
(those along a lever) are never asked.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from advisor.dataclass import dataclass, field
from advisor.decide.screens import Failed
from advisor.figures import Path
from advisor.model.packs import Feed, cells_name
from advisor.model.tables import PartFigures
from advisor.quantities import show

Kind = Literal["pack", "converter", "pairing", "add-on", "sleep-state", "point", "part"]
# the names of a pack, of a converter, and of those of further rails
Pair = tuple[str, ...]
PLURALS: Mapping[str, str] = {
    "pack": "packs",
    "converter": "converters",
    "pairing": "pairings",
    "add-on": "add-ons",
    "sleep-state": "sleep states",
    "point": "points",
    "part": "parts",
}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that the product or the catalogue offers and that no build may use."""

    kind: str
    """`pack`, `converter`, `pairing` (of the two), `add-on`, `sleep-state`, `point` or `part`"""
    id: str
    """the id of a part or a converter; a pack or a pairing in words; the path of others"""
    why: str
    """the reason in words"""


def nearest(reasons: Sequence[Sequence[Failed]]) -> tuple[Failed, ...]:
    """Of all the builds that could have been, the faults of the one that nearly stood."""
    if not reasons:
        return (Failed("a build", "one", "none"),)

    order = [(len(faults), sum(f.miss for f in faults)) for faults in reasons]
    return tuple(reasons[order.index(min(order))])


@dataclass(slots=True)
class Supplies:
    """The packs and converters of a product's choice, as they are tried with each other.

    Attributes
    ----------
    lacking : kind and name to the paths of what it lacks. unfit : pairs (of a pack with a converter
    for each rail) that go together with no part, and why. failed : what rules builds on a pair out.
    unpriced : pairs without a value by some criterion, and what they lack for it. stood : pairs on
    which a build stands.
    reach_v : the greatest voltage that any pair gives a chip, V; None where none was tried.
    """

    lacking: dict[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)
    unfit: dict[Pair, Sequence[Failed]] = field(default_factory=dict)
    failed: dict[Pair, list[Sequence[Failed]]] = field(default_factory=lambda: defaultdict(list))
    unpriced: dict[Pair, Sequence[str]] = field(default_factory=dict)
    stood: set[Pair] = field(default_factory=set)
    reach_v: float | None = None

    def tried(self, feed: Feed) -> None:
        """A pair that goes together."""
        self.failed[paired(feed)] += []
        at_chip = float(feed.fresh_v[0])
        self.reach_v = at_chip if self.reach_v is None else max(self.reach_v, at_chip)

    def left_out(self) -> Iterator[LeftOut]:
        """Packs and converters that no build uses, then pairs of those that builds do use."""
        used = {name for one in self.stood for name in zip(_kinds(one), one, strict=True)}
        every = (*self.unfit, *self.failed)
        kinds = _kinds(every[0] if every else ("", ""))
        gone: set[tuple[int, str]] = set()
        for side, kind in enumerate(kinds):
            told = kinds.index(kind) < side  # of a further rail, as its converters' names are
            for (of, name), paths in self.lacking.items():
                if of == kind and not told:
                    yield LeftOut(kind, name, f"lacks {', '.join(paths)}")
            for name in dict.fromkeys(one[side] for one in (*self.unfit, *self.failed)):
                mine = [one for one in self.unfit if one[side] == name]
                tried = [one for one in self.failed if one[side] == name]
                # where no build stands at all, it is the parts that are told
                if not tried or (self.stood and (kind, name) not in used):
                    gone.add((side, name))
                    yield LeftOut(kind, name, self._why(mine, tried, side))
        for one in (*self.unfit, *self.failed):
            known = gone & set(enumerate(one))
            if not known and (one in self.unfit or (self.stood and one not in self.stood)):
                tried = [] if one in self.unfit else [one]
                mine = [one] if one in self.unfit else []
                yield LeftOut("pairing", ", ".join(one), self._why(mine, tried, len(one)))

    def _why(self, unfit: Sequence[Pair], tried: Sequence[Pair], side: int) -> str:
        """Why something is out that stands at a side of pairs."""
        if not tried:
            texts = {
                ", ".join(name for at, name in enumerate(one) if at != side): _texts(
                    self.unfit[one]
                )
                for one in unfit
            }
            if len(set(texts.values())) == 1:
                return next(iter(texts.values()))
            return "; ".join(f"with {name}: {text}" for name, text in texts.items())
        lacking = dict.fromkeys(path for one in tried for path in self.unpriced.get(one, ()))
        if lacking:
            return f"lacks {', '.join(lacking)}"
        reasons = [faults for one in tried for faults in self.failed[one]]
        near = f"; nearest: {_texts(nearest(reasons))}" if reasons else ""
        return f"no build stands on it{near}"


def paired(feed: Feed) -> Pair:
    """The names of a feed's pack and converter, and of those of further rails."""
    further = (on_rail(one.name, one.rail) for one in feed.rails)
    return (cells_name(feed.option), feed.converter_name, *further)


def on_rail(converter: str, rail: str) -> str:
    """A further rail's converter in words, such as `boost-a on radio`."""
    return f"{converter} on {rail}"


def _kinds(pair: Pair) -> tuple[Kind, ...]:
    converter: Kind = "converter"
    return ("pack", *(converter for _ in pair[1:]))


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a decision has collected: its supplies, the figures of parts that came to builds, the
    add-ons that may not be used, and what add-ons would do for parts that are out, in words."""

    supplies: Supplies
    read: tuple[PartFigures, ...]
    addons: tuple[LeftOut, ...] = ()
    brought: Mapping[str, str] = field(default_factory=dict)

    def left_out(
        self,
        screened: Mapping[str, Sequence[Failed]],
        set_aside: Mapping[str, Sequence[str]],
    ) -> tuple[LeftOut, ...]:
        """Everything that was left out, by kind in the order of `PLURALS`, then by name.

        Of a part that is out as a whole its states and points are told only where it came as far
        as builds.
        """
        pieces = [piece for figures in self.read for piece in self._of_part(figures)]
        out = {name: _texts(faults) for name, faults in screened.items()}
        out |= {name: f"lacks {', '.join(paths)}" for name, paths in set_aside.items()}
        parts = [
            LeftOut("part", name, f"{why}; {self.brought[name]}" if name in self.brought else why)
            for name, why in out.items()
        ]
        order = list(PLURALS)
        found = (*self.supplies.left_out(), *self.addons, *pieces, *parts)
        return tuple(sorted(found, key=lambda one: (order.index(one.kind), one.id)))

    def _of_part(self, figures: PartFigures) -> Iterator[LeftOut]:
        for path, why in figures.left_out:
            kind = "sleep-state" if path.keys[0] == "sleep-states" else "point"
            yield LeftOut(kind, str(path), why)
        reach = self.supplies.reach_v
        if reach is None:
            return
        for name, least in zip(figures.points, figures.supply_min.tolist(), strict=True):
            if least > reach:
                yield LeftOut(
                    "point",
                    str(Path(figures.part).child("operating-points", name)),
                    f"supply-min: {show(least, 'voltage')} needed, no supply gives more than "
                    f"{show(reach, 'voltage')}",
                )


def _texts(faults: Sequence[Failed]) -> str:
    return "; ".join(dict.fromkeys(fault.text for fault in faults))
