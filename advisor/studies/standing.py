"""A part's file before a session's figures go in: what may not be mixed, and what is replaced."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from itertools import product
from typing import Any

from yaml.nodes import MappingNode, Node

from advisor import figures
from advisor.bench.notes import Session
from advisor.catalogue.curves import there_already
from advisor.catalogue.edit import Tree
from advisor.catalogue.evidence import Measured, evidence_of, figures_of
from advisor.catalogue.records import stated
from advisor.catalogue.schema_parts import Build, KernelFigure, Part, Variant
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import Quantity, QuantityError, read_quantity, show, written
from advisor.source import read_text

# Relative; a supply that is set anew on the bench comes back within this (common practice, no
# source), and a crystal within that.
SUPPLY_NEAR = 0.01
# a sleep current hardly moves with its supply: regulated, or a leakage (common practice, no source)
SLEEP_NEAR = 0.05
CLOCK_NEAR = 1e-3
BUILT = ("toolchain", "compiler", "flags", "pack")
ROOM = 25.0  # degC of a sleep current without a temperature


@dataclass(frozen=True, slots=True)
class Replaced:
    """A value of a file that gave way, as text; `new` is None where nothing came in its place."""

    path: str
    old: str
    new: str | None

    def words(self) -> str:
        """What gave way to what."""
        return f"{self.path}: {self.old} is now {self.new or 'gone'}"


def replaced(before: str, after: str, file: str) -> tuple[Replaced, ...]:
    """Every value that stood in a file and does not any more, in the file's order."""
    old = dict(figures.walk(read_text(before, file).root))
    new = dict(figures.walk(read_text(after, file).root))
    out = []
    for path, node in old.items():
        stands = new.get(path)
        if stands is not None and stands.value == node.value:
            continue
        text = None if stands is None else str(stands.value)
        below = {p[len(path) + 1 :]: n.value for p, n in new.items() if p.startswith(f"{path}.")}
        if stands is None and below:
            text = "{" + ", ".join(f"{p}: {v}" for p, v in below.items()) + "}"
        out.append(Replaced(path, str(node.value), text))
    return tuple(out)


def named(record: Measured | None, measured: Collection[str], evidence: str) -> Tree:
    """The keys that give evidence to an entry's measured figures, and to no other.

    Parameters
    ----------
    record : the entry as it stands, None where there is none. measured : its figures that come
        from the evidence, as `evidence_of` names them.
    """
    if record is None:
        return {"evidence": evidence}
    own = getattr(record, "evidence_of", {})
    if all(name in measured for name in figures_of(record)):
        stale = dict.fromkeys(own, evidence)
        return {"evidence": evidence, **({"evidence-of": stale} if stale else {})}
    return {"evidence-of": dict.fromkeys(measured, evidence)}


@dataclass(frozen=True, slots=True)
class Volts:
    """A voltage at which figures were taken, and its standard uncertainty, V."""

    value: float
    u: float

    @property
    def text(self) -> str:
        """As it stands in a file."""
        return written(self.value, self.u, "voltage")


def mixed(
    session: Session,
    part: Part,
    volts: Mapping[str, Volts],
    versions: Mapping[str, int],
    log: FaultLog,
) -> None:
    """Refuse figures taken otherwise than those that stand at the same point.

    A point is one clock, one supply and one build; figures of another are those of another point.
    Each figure's voltage is held against its own that stands; where none of a session's stands yet,
    their range against that of the point, whose supply may have drooped.

    Parameters
    ----------
    volts : by the path of its key in the part. versions : of a kernel's work, by kernel; figures of
        another go beside none of it.
    """
    _other_work(session, part, versions, log)
    name, notes = session.point, session.notes
    other = f"point: another name than {name}, or what stands removed from the part's file"
    point = part.operating_points.get(name)
    clock = None if point is None else point.clock
    if clock is not None and notes.point.clock is not None:
        told = notes.point.clock
        if _apart(clock.nominal, told.nominal, math.hypot(clock.u, told.u), CLOCK_NEAR):
            read = f"{told.text}, where {name} stands at {clock.text}"
            session.fault(log, "point.clock", read, f"the same clock; or {other}")
    found = _other_supply(part, name, volts)
    if found is not None:
        here, at, old = found
        instead = other
        if at.startswith("sleep-states."):
            instead = "no such state in segments, or what stands removed from the part's file"
        key = "supply" if notes.supply is not None else "trace.voltage"
        read = f"{show(here.value, 'voltage', 4)}, where {at} stands at {old.text}"
        session.fault(log, key, read, f"the same supply; or {instead}")
    if session.notes.segments and any(s.kernel for s in session.pulses):
        for path, figure in _kernels(part, name):
            evidence = part.evidence.get(evidence_of(figure, "time") or "")
            unlike = [] if evidence is None else list(_unlike(evidence.built, notes.built))
            for what, stands, new in unlike:
                read = f"{what} {new or 'not told'}, where {path} was built with {stands}"
                session.fault(log, f"built.{what}", read, f"the same build; or {other}")
            if unlike:
                break


def _other_work(session: Session, part: Part, versions: Mapping[str, int], log: FaultLog) -> None:
    stands = [("", part.kernels)]
    stands += [(f"boards.{name}.", board.kernels) for name, board in part.boards.items()]
    for kernel, version in versions.items():
        old = next(
            (
                (f"{at}kernels.{kernel}.{variant}", figure.version)
                for at, kernels in stands
                for variant, figure in kernels.get(kernel, {}).items()
                if figure.version != version
            ),
            None,
        )
        if old is not None:
            read = f"kernel {kernel} of version {version}, where {old[0]} is of version {old[1]}"
            expected = (
                "the same version: figures of other work are not mixed; or what stands removed "
                "from the part's file"
            )
            session.fault(log, "segments", read, expected)


def _apart(one: float, other: float, u: float, near: float) -> bool:
    return abs(one - other) > max(2 * u, near * abs(one))


def _kernels(part: Part, point: str) -> Iterator[tuple[str, KernelFigure]]:
    for kernel, variants in part.kernels.items():
        for variant, figure in variants.items():
            if Variant.parse(variant).point == point:
                yield f"kernels.{kernel}.{variant}", figure


def _other_supply(
    part: Part, name: str, volts: Mapping[str, Volts]
) -> tuple[Volts, str, Quantity] | None:
    """(voltage of a session, what stands at another, that) of the first that do not go together."""
    stands = {f"{at}.supply": (at, old) for at, old in _supplies(part, name)}
    of_point = {path: new for path, new in volts.items() if not path.startswith("sleep-states.")}
    held = [(new, *stands[path]) for path, new in of_point.items() if path in stands]
    if not held and stands and of_point:
        # nothing to hold against its own: the nearest of all, where no two ranges overlap
        (at, old), new = min(
            product(stands.values(), of_point.values()),
            key=lambda pair: abs(pair[0][1].nominal - pair[1].value),
        )
        there, here = (
            [q.nominal for _, q in stands.values()],
            [v.value for v in of_point.values()],
        )
        if max(min(there), min(here)) > min(max(there), max(here)):
            held = [(new, at, old)]
    for new, at, old in held:
        if _apart(old.nominal, new.value, math.hypot(old.u, new.u), SUPPLY_NEAR):
            return new, at, old
    for path in (p for p in volts if p not in of_point):
        _, state, _, *place = path.split(".", 3)
        record = part.sleep_states.get(state)
        curve = None if record is None else record.supply
        if curve is None:
            continue
        at_k = [read_quantity(p, "temperature").nominal for p in place]
        for x, old in zip(curve.x, curve.y, strict=True):
            same = not at_k or not curve.keys or figures.same_place(x, at_k[0])
            if same and _apart(
                old.nominal, volts[path].value, math.hypot(old.u, volts[path].u), SLEEP_NEAR
            ):
                return volts[path], f"sleep-states.{state}", old
    return None


def _supplies(part: Part, name: str) -> Iterator[tuple[str, Quantity]]:
    point = part.operating_points.get(name)
    if point is not None and point.supply is not None:
        yield f"operating-points.{name}", point.supply
    for path, figure in _kernels(part, name):
        if figure.supply is not None:
            yield path, figure.supply


def _unlike(stands: Build, new: Build) -> Iterator[tuple[str, str, str | None]]:
    """(key, what stands, what is new) where a build that stands is told and is not this one."""
    for what in BUILT:
        old, told = getattr(stands, what), getattr(new, what)
        if old is not None and old != told:
            yield what, old, told


def tree_of(
    session: Session, root: Node, part: Part, texts: Mapping[str, str], evidence: Mapping[str, str]
) -> dict[str, Tree | str]:
    """The entries of a part that figures belong into, each figure with its evidence.

    Parameters
    ----------
    root, part : the file as it stands. texts, evidence : by a figure's path; what tells how one
        was taken has a text alone.

    Raises
    ------
    FaultError
        For sleep currents with and without a temperature side by side.
    """
    entries: dict[tuple[str, ...], dict[str, str]] = defaultdict(dict)
    for path in texts:
        section, *rest = path.split(".")
        depth = 2 if section == "kernels" else 1
        entries[section, *rest[:depth]][".".join(rest[depth:])] = path
    out: dict[str, Any] = {}
    for keys, figures_in in entries.items():
        entry: dict[str, Tree | str] = {
            f: texts[p] for f, p in figures_in.items() if not _is_how(f)
        }
        how: dict[str, Any] = {f: texts[p] for f, p in figures_in.items() if _is_how(f)}
        names = list(entry)
        record: Any = stated(part, (keys[0].replace("-", "_"), *keys[1:]))
        if keys[0] == "sleep-states":
            held = {f: str(entry.pop(f)) for f in names if f.partition(".")[0] == "current"}
            if held:
                entry["current"], places = _over_heat(session, root, keys[1], "current", held)
                names = [f for f in names if f not in held] + places
            if how:
                over, _ = _over_heat(session, root, keys[1], "supply", how)
                how = {"supply": over}
        entry |= named(
            record, names, next(e for p in figures_in.values() if (e := evidence.get(p)))
        )
        entry |= how
        below = out
        for key in keys[:-1]:
            below = below.setdefault(key, {})
        below[keys[-1]] = entry
    return out


def _is_how(figure: str) -> bool:
    """Whether a key tells how a figure was taken, and is none itself."""
    return figure.partition(".")[0] in ("supply", "correlation")


def _over_heat(
    session: Session, root: Node, state: str, key: str, held: Mapping[str, Any]
) -> tuple[Tree | str, list[str]]:
    """(what is put behind a key of a state, its places as written) for texts by `KEY` or
    `KEY.TEMPERATURE`; key is current or supply."""
    there = figures.resolve(root, f"sleep-states.{state}.{key}")
    spelled = _places(there)
    plain = held.get(key)
    if plain is not None:
        if spelled or len(held) > 1:
            raise session.refuse(
                "segments",
                f"{state} without a temperature",
                f"one: the part's file has this {key} over temperature",
            )
        return plain, [key]
    new: dict[str, str] = {}
    for name, text in held.items():
        place = name.partition(".")[2]
        at = read_quantity(place, "temperature").nominal
        new[there_already(at, spelled) or place] = text
    if there is None or spelled:
        return new, list(new)
    # a figure without a temperature is one at room temperature, as the model has it
    room = f"{ROOM:g} degC"
    whole = new if room in new else {room: _flow_text(there), **new}
    return "{" + ", ".join(f"{k}: {v}" for k, v in whole.items()) + "}", list(new)


def _places(node: Node | None) -> dict[float, str]:
    """Temperatures of a sleep current to how they are written; none for one figure."""
    out = {}
    for key, _ in node.value if isinstance(node, MappingNode) else ():
        try:
            out[read_quantity(str(key.value), "temperature").nominal] = str(key.value)
        except QuantityError:
            return {}  # typical and max, or low, likely and high
    return out


def _flow_text(node: Node) -> str:
    if isinstance(node, MappingNode):
        return "{" + ", ".join(f"{k.value}: {_flow_text(v)}" for k, v in node.value) + "}"
    return str(node.value)
