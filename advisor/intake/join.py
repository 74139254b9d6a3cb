"""Two documents of one id made one: what the second adds to the first, and where they disagree.

Nothing of the first gives way. What the second alone tells is taken, with its own evidence, where
it goes together with what the first tells: a figure at another clock or supply, a price in another
currency is another figure. Evidence and observations of one id and two contents are both kept, the
second's under a new id; so is an operating point at another clock.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue.curves import CurveOf
from advisor.catalogue.edit import plain, quoted
from advisor.catalogue.fields import Either, Record
from advisor.catalogue.kinds import PAIR, TRIPLE, Figure, Kind, Reading
from advisor.catalogue.schema_parts import (
    Block,
    Kernel,
    KernelFigure,
    OperatingPoint,
    Part,
    Price,
    SleepState,
    Toolchain,
)
from advisor.dataclass import dataclass, field
from advisor.faults import FaultLog
from advisor.figures import Path
from advisor.intake.nodes import get, key, pairs, shown, text, tree, values
from advisor.quantities import Quantity
from advisor.source import Document

# what must be the same on both sides for a record's other figures to go together
_HOW: Mapping[type[Any], tuple[str, ...]] = {
    OperatingPoint: ("clock", "supply"),
    KernelFigure: ("supply", "version"),
    Block: ("supply",),
    SleepState: ("supply",),
    Toolchain: ("id",),
    Kernel: ("version",),
}
_ONE = "version"  # 1 where it is not told
_MEASURED = (OperatingPoint, KernelFigure, Block, SleepState)
MERGED = re.compile(r"boards(?:-.*)?")  # evidence of figures that are merged from observations
UNTOLD = "not-told"  # evidence of a figure that came without any
_EVIDENCE = ("evidence", "evidence-of")
_SAME = 1e-9  # relative; one figure in two spellings, such as 0.8 mA and 800 uA


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A figure or a word of which two documents tell something else."""

    path: Path
    kept: str
    """as the first writes it; empty where it tells nothing that the second's could join"""
    other: str
    difference: float | None
    """in combined standard uncertainties; None where there is none, or for words"""
    kept_evidence: str | None
    other_evidence: str | None
    why: str | None
    """why the second's could not stand beside the first's; None for another value"""


@dataclass(slots=True)
class Joined:
    """What the second document adds (`tree`), as text that is put into the first."""

    tree: dict[str, Any]
    disagreements: list[Disagreement] = field(default_factory=list)
    renamed: dict[tuple[str, str], str] = field(default_factory=dict)
    """(section, id in the second) to its new id"""


def joined(first: Document, second: Document, kind: Kind, identity: str) -> Joined:
    """What a second document adds to a first one of the same id.

    Parameters
    ----------
    first, second : documents without faults; the second's nodes are given new names in place.
    kind : what both are, a record or a mapping of records.
    """
    join = _Join(first, second, kind, identity)
    if isinstance(first.root, MappingNode) and isinstance(second.root, MappingNode):
        join.rename()
        join.out.tree |= join.mapping(kind, first.root, second.root, Path(identity))
        join.untold()
    return join.out


class _Join:
    def __init__(self, first: Document, second: Document, kind: Kind, identity: str) -> None:
        self.first, self.second = first, second
        self.quiet = Reading(first.file, identity, FaultLog())
        self.out = Joined({})
        self.needs_untold = False
        # a cell's or converter's tables are of one sheet each: half of another's is none of theirs
        self.deep = not isinstance(kind, Record) or kind.cls is Part

    # names

    def rename(self) -> None:
        """Give new ids to what bears one of the first's and is something else."""
        evidence = self._clashes("evidence", lambda name, a, b: not MERGED.fullmatch(name))
        for node, _ in _keys_below(self.second.root, "evidence"):
            node.value = evidence.get(node.value, node.value)
        for node in _references(self.second.root):
            node.value = evidence.get(node.value, node.value)
        points = self._clashes("operating-points", self._other_clock)
        for node, _ in _keys_below(self.second.root, "operating-points"):
            node.value = points.get(node.value, node.value)
        boards = values(get(self.second.root, "boards"))
        for inside in boards:
            for node, _ in _keys_below(inside, "operating-points"):
                node.value = points.get(node.value, node.value)
            for node, _ in _keys_below(inside, "common"):
                node.value = _at_point(node.value, points)
        for inside in (self.second.root, *boards):
            for variants in values(get(inside, "kernels")):
                for variant, _ in pairs(variants):
                    variant.value = _variant(variant.value, points)
        seen = self._clashes("boards", lambda name, a, b: True)
        for node, _ in _keys_below(self.second.root, "boards"):
            node.value = seen.get(node.value, node.value)

    def _clashes(self, section: str, counts: Callable[[str, Node, Node], bool]) -> dict[str, str]:
        """New ids in a section, by those of the second: what the first has already under another
        id, as from an earlier merge, goes by that; what has an id that means something else gets
        one that is free."""
        a, b = get(self.first.root, section), get(self.second.root, section)
        out: dict[str, str] = {}
        open_: list[str] = []
        for name, theirs in pairs(b):
            ours = get(a, name.value)
            if ours is not None and (
                plain(ours) == plain(theirs) or not counts(name.value, ours, theirs)
            ):
                continue
            there = next(
                (
                    str(other.value)
                    for other, value in pairs(a)
                    if _stem(other.value) == _stem(name.value) and plain(value) == plain(theirs)
                ),
                None,
            )
            stays = there is not None and _same(get(b, there), get(a, there))
            if there is not None and not stays and there not in out.values():
                out[name.value] = there
            elif ours is not None:
                open_.append(name.value)
        taken = {k.value for k, _ in pairs(a)} | {k.value for k, _ in pairs(b)} - out.keys()
        for name in open_:
            number = 2
            while f"{name}-{number}" in taken:
                number += 1
            out[name] = f"{name}-{number}"
            taken.add(out[name])
        self.out.renamed |= {(section, before): after for before, after in out.items()}
        return out

    def _other_clock(self, name: str, ours: Node, theirs: Node) -> bool:
        kind = Record(OperatingPoint).below("clock")
        a, b = (self._read(kind, get(point, "clock")) for point in (ours, theirs))
        return isinstance(a, Quantity) and isinstance(b, Quantity) and not _equal(a, b)

    # values

    def _read(self, kind: Any, node: Node | None) -> Any:
        return None if node is None or kind is None else kind.read(node, "", self.quiet)

    def mapping(
        self,
        kind: Any,
        a: MappingNode,
        b: MappingNode,
        path: Path,
        record: tuple[Node, Node] | None = None,
        odd: tuple[str, ...] = (),
    ) -> dict[str, Any]:
        """What a mapping of the second adds to that of the first.

        Parameters
        ----------
        record : the two records that it lies in, which name the evidence. odd : what is not the
            same of them, so that nothing of theirs goes together.
        """
        cls = kind.cls if isinstance(kind, Record) else None
        how = _HOW.get(cls, ()) if cls is not None else ()
        if record is None or cls in _MEASURED:
            record = (a, b)
        odd += tuple(name for name in how if not self._alike(kind.below(name), a, b, name))
        if cls is Price and plain(a) != plain(b):
            # a price of one list says nothing of another's
            odd = ("price list",)
        out: dict[str, Any] = {}
        for name, theirs in b.value:
            at, ours = path / name.value, get(a, name.value)
            if at.keys == ("invented",) and ours is not None and theirs.value == "true":
                out[name.value] = "true"  # what holds anything invented is
                continue
            if cls in _MEASURED and name.value in _EVIDENCE:
                continue
            if ours is not None and at.keys[:-1] == ("evidence",) and MERGED.fullmatch(name.value):
                continue  # written anew by whoever merges the observations
            alone = name.value == "correlation" and cls is KernelFigure
            if ours is None and (odd or alone):
                why = f"another {' and '.join(odd)}" if odd else "of the other's errors"
                why = "told by one alone" if name.value in how else why
                evidence = (None, self._evidence(record[1], at))
                self._differ(at, None, theirs, None, evidence, why)
            elif ours is None:
                out[key(name)] = tree(theirs)
            else:
                inner = self._both(kind.below(name.value), ours, theirs, at, record, odd)
                if inner:
                    out[key(name)] = inner
        if cls in _MEASURED and out:
            out |= self._with_evidence(cls, a, b, out)
        return out

    def _alike(self, kind: Any, a: Node, b: Node, name: str) -> bool:
        ours, theirs = get(a, name), get(b, name)
        if ours is None or theirs is None:
            told = ours or theirs
            return told is None or (name == _ONE and plain(told) == "1")
        return self._equal(kind, ours, theirs)

    def _equal(self, kind: Any, a: Node, b: Node) -> bool:
        if plain(a) == plain(b):
            return True
        x, y = self._read(kind, a), self._read(kind, b)
        if isinstance(x, Quantity) and isinstance(y, Quantity):
            return _equal(x, y)
        return x is not None and bool(x == y)

    def _both(
        self,
        kind: Any,
        a: Node,
        b: Node,
        path: Path,
        inside: tuple[Node, Node],
        odd: tuple[str, ...],
    ) -> dict[str, Any]:
        """What a value of the second adds to one of the first."""
        if self._equal(kind, a, b):
            return {}
        x, y = self._read(kind, a), self._read(kind, b)
        curves = isinstance(kind, CurveOf) and bool(x and y and x.keys and y.keys)
        mappings = isinstance(a, MappingNode) and isinstance(b, MappingNode)
        figure = isinstance(kind, (Figure, CurveOf)) or (
            isinstance(kind, Either) and isinstance(x, Quantity)
        )
        if curves and mappings and path.keys[0] == "sleep-states":
            return self._curve(kind, a, b, path, inside, odd)
        deep = self.deep or path.keys[0] == "evidence"
        if mappings and not figure and hasattr(kind, "below") and deep:
            kind = kind.record if isinstance(kind, Either) else kind
            assert isinstance(a, MappingNode)
            assert isinstance(b, MappingNode)
            return self.mapping(kind, a, b, path, inside, odd)
        evidence = (self._evidence(inside[0], path), self._evidence(inside[1], path))
        apart = None
        if isinstance(x, Quantity) and isinstance(y, Quantity):
            apart = self._apart(x, y, evidence)
        why = f"another {' and '.join(odd)}" if odd and path.keys[-1] not in odd else None
        self._differ(path, a, b, apart, evidence, why)
        return {}

    def _curve(
        self,
        kind: CurveOf,
        a: Any,
        b: Any,
        path: Path,
        inside: tuple[Node, Node],
        odd: tuple[str, ...],
    ) -> dict[str, Any]:
        """Places of a curve that the second alone has; a place is one however it is spelled."""
        out: dict[str, Any] = {}
        ours = {self._read(kind.x, k).nominal: (k, v) for k, v in a.value}
        for k, v in b.value:
            x = self._read(kind.x, k).nominal
            near = next((o for o in ours if math.isclose(o, x, rel_tol=_SAME)), None)
            if near is not None:
                name, value = ours[near]
                self._both(kind.y, value, v, path / name.value, inside, odd)
            elif odd:
                evidence = (None, self._evidence(inside[1], path / k.value))
                self._differ(path / k.value, None, v, None, evidence, f"another {odd[0]}")
            else:
                out[key(k)] = tree(v)
        return out

    def _differ(
        self,
        path: Path,
        a: Node | None,
        b: Node,
        apart: float | None,
        evidence: tuple[str | None, str | None],
        why: str | None = None,
    ) -> None:
        kept = "" if a is None else shown(a)
        self.out.disagreements.append(
            Disagreement(
                path=path,
                kept=kept,
                other=shown(b),
                difference=apart,
                kept_evidence=evidence[0],
                other_evidence=evidence[1],
                why=why,
            )
        )

    def _apart(self, x: Quantity, y: Quantity, of: tuple[str | None, str | None]) -> float | None:
        """How far apart two figures are, in their combined standard uncertainty (JCGM 100:2008,
        5.1.2); what one named meter is off by is in both, and no part of it."""
        gains = [self._gain(root, name) for root, name in zip(self._roots, of, strict=True)]
        if gains[0][0] is not None and gains[0] == gains[1]:
            gains = [(None, 0.0), (None, 0.0)]
        counts = x.dimension in ("current", "charge")
        u = math.hypot(x.u, y.u)
        for q, (_, gain) in zip((x, y), gains, strict=True):
            u = math.hypot(u, gain / math.sqrt(3) * q.nominal if counts else 0.0)
        return abs(x.nominal - y.nominal) / u if u else None

    @property
    def _roots(self) -> tuple[Node, Node]:
        return self.first.root, self.second.root

    def _gain(self, root: Node, name: str | None) -> tuple[str | None, float]:
        entry = None if name is None else get(root, "evidence", name)
        gain = self._read(Figure("share", most=0.5, exact=True), get(entry, "gain"))
        meter = get(entry, "instrument")
        return None if meter is None else str(meter.value), 0.0 if gain is None else gain.nominal

    # evidence

    def _evidence(self, record: Node, path: Path) -> str | None:
        """The evidence of a figure that stands in a record."""
        figure = path.keys[-1]
        of = get(record, "evidence-of")
        for name in (figure, f"adds.{figure}", "current", "adds"):
            own = get(of, name)
            on_way = name == figure or name.partition(".")[0] in path.keys[-2:]
            if isinstance(own, ScalarNode) and on_way:
                return str(own.value)
        whole = get(record, "evidence")
        return str(whole.value) if isinstance(whole, ScalarNode) else None

    def _with_evidence(self, cls: Any, a: Node, b: Node, out: dict[str, Any]) -> dict[str, Any]:
        """The evidence of what the second adds, where it is not what the first's record names."""
        if cls is OperatingPoint:
            theirs = get(b, "evidence")
            told = theirs is not None and "idle-current" in out
            return {"evidence": text(theirs)} if told and theirs is not None else {}
        of: dict[str, str] = {}
        whole = get(a, "evidence")
        for name, inner in out.items():
            if not _is_figure(name):
                continue
            deep = isinstance(inner, Mapping) and not inner.keys() <= PAIR | TRIPLE
            places = [f"adds.{p}" if name == "adds" else p for p in inner] if deep else [name]
            named = {
                place: self._evidence(b, Path("", (name, place.removeprefix("adds."))))
                for place in places
            }
            if deep and get(a, name) is None and len(set(named.values())) == 1:
                named = {name: next(iter(named.values()))}
            for figure, own in named.items():
                if own is None and whole is None:
                    continue
                if own is None:
                    self.needs_untold = True
                if whole is None or own != whole.value:
                    of[figure] = own or UNTOLD
        return {"evidence-of": of} if of else {}

    def untold(self) -> None:
        """Add the evidence of what came without any."""
        if self.needs_untold and get(self.first.root, "evidence", UNTOLD) is None:
            note = quoted(f"{self.second.file} does not tell where it is from")
            self.out.tree.setdefault("evidence", {})[UNTOLD] = {"note": note}


def _same(a: Node | None, b: Node | None) -> bool:
    return a is not None and b is not None and plain(a) == plain(b)


def _stem(name: str) -> str:
    return re.sub(r"-[0-9]+\Z", "", name)


def _variant(name: str, points: Mapping[str, str]) -> str:
    point, plus, engines = name.partition("+")
    return points.get(point, point) + plus + engines


def _at_point(path: str, points: Mapping[str, str]) -> str:
    """A figure's path, such as `kernels.hash.fast.time`, with its point's new name."""
    keys = path.split(".")
    place = {"operating-points": 1, "kernels": 2}.get(keys[0])
    if place is not None and len(keys) > place:
        keys[place] = _variant(keys[place], points)
    return ".".join(keys)


def _is_figure(name: str) -> bool:
    return name not in ("supply", "version", "correlation", "retains", "clock", "supply-min")


def _keys_below(node: Node, name: str) -> list[tuple[Any, Any]]:
    return pairs(get(node, name))


def _references(root: Node) -> Iterator[Any]:
    """Every value that names an evidence; an answer's word of evidence is none."""
    for name, value in pairs(root):
        if name.value in ("evidence", "toolchain"):
            continue
        yield from _named(value)


def _named(node: Node) -> Iterator[Any]:
    for name, value in pairs(node):
        if name.value == "evidence" and isinstance(value, ScalarNode):
            yield value
        elif name.value == "evidence-of":
            yield from values(value)
        else:
            yield from _named(value)
    if isinstance(node, SequenceNode):
        for item in node.value:
            yield from _named(item)


def _equal(a: Quantity, b: Quantity) -> bool:
    return (
        math.isclose(a.nominal, b.nominal, rel_tol=_SAME)
        and math.isclose(a.u, b.u, rel_tol=1e-6)
        and a.kind == b.kind
    )
