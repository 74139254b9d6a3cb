"""What stands in for a kernel's time and current where nobody measured them.

A datasheet tells what a core draws per clock, and a simulator or another part with the same core in
how many cycles it does a unit of work: time is cycles / clock, current is slope x clock + base.
Neither is of this kernel on this part, so both figures are of low grade, see `schema_parts`. What
was measured always counts before them, figure by figure.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.catalogue.schema_parts import OperatingPoint, Part, RunCurrent, Variant
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.quantities import Quantity

Placed = tuple[Path, Quantity]


@dataclass(frozen=True, slots=True)
class Running:
    """What a core draws at work, at one operating point: each figure with its path.

    `at` is where it is stated; `clock` is None where the point states none; `supply` where nothing
    tells at which the slope was taken.
    """

    at: Path
    slope: Placed
    clock: Placed | None
    base: Placed | None
    supply: Placed | None
    evidence: str | None


def run_currents(part: Part) -> Iterator[tuple[Path, RunCurrent]]:
    """(path, record) of every run current that a part states, a plain figure as a record."""
    own = Path(part.part)
    stated = [(own / "run-current", part.run_current)]
    stated += [
        (own.child("operating-points", name, "run-current"), point.run_current)
        for name, point in part.operating_points.items()
    ]
    for path, found in stated:
        if isinstance(found, RunCurrent):
            yield path, found
        elif found is not None:
            yield path, RunCurrent(per_clock=found)


def running(part: Part, point: str) -> Running | None:
    """What the core draws at a point by its own run current, else by the part's."""
    own = Path(part.part)
    record = part.operating_points.get(point, OperatingPoint())
    at, stated = own.child("operating-points", point), record.run_current
    of_point = stated is not None
    if stated is None:
        stated = part.run_current
    path = (at if of_point else own) / "run-current"
    if stated is None:
        return None
    clock = _placed(at / "clock", record.clock)
    # a plain figure at a point was taken as the point's idle current was
    supply = _placed(at / "supply", record.supply) if of_point else None
    evidence = record.evidence if of_point else None
    if not isinstance(stated, RunCurrent):
        return Running(
            at=path,
            slope=(path, stated),
            clock=clock,
            base=None,
            supply=supply,
            evidence=evidence,
        )
    assert stated.per_clock is not None
    return Running(
        at=path,
        slope=(path / "per-clock", stated.per_clock),
        clock=clock,
        base=_placed(path / "base", stated.base),
        supply=_placed(path / "supply", stated.supply) or supply,
        evidence=stated.evidence or evidence,
    )


def stood_in(part: Part, kernel: str, variant: str) -> tuple[str, ...]:
    """The figures of an entry, of time and current, that others stand in for."""
    figure, run = part.kernels[kernel][variant], Variant.parse(variant)
    out = []
    if figure.time is None and figure.cycles is not None and _clock(part, run) is not None:
        out.append("time")
    if figure.current is None and _drawn(part, run) is not None:
        out.append("current")
    return tuple(out)


def lacking(part: Part, kernel: str, variant: str) -> list[tuple[str, ...]]:
    """Keys, below the part, of what an entry lacks for its charge."""
    figure, run = part.kernels[kernel][variant], Variant.parse(variant)
    made, here = stood_in(part, kernel, variant), ("kernels", kernel, variant)
    clock = ("operating-points", run.point, "clock")
    out: list[tuple[str, ...]] = []
    if figure.time is None and "time" not in made:
        out.append((*here, "time") if figure.cycles is None else clock)
    if figure.current is None and "current" not in made:
        told = None if run.engines else running(part, run.point)
        out.append((*here, "current") if told is None else clock)
    if part.supply.regulator == "switching" and supply_of(part, kernel, variant) is None:
        told = _drawn(part, run) if "current" in made else None
        out.append((*here, "supply") if told is None else (*told.at.keys, "supply"))
    return list(dict.fromkeys(out))


def supply_of(part: Part, kernel: str, variant: str) -> Placed | None:
    """The voltage at which an entry's current was taken: that of a run current for one that
    stands in."""
    figure, run = part.kernels[kernel][variant], Variant.parse(variant)
    own = _placed(Path(part.part, ("kernels", kernel, variant, "supply")), figure.supply)
    told = _drawn(part, run) if figure.current is None else None
    return own if told is None else told.supply or own


def rests_on(part: Part, kernel: str, variant: str) -> Iterator[Path]:
    """Paths of the figures outside an entry that stand in for its own."""
    run, made = Variant.parse(variant), stood_in(part, kernel, variant)
    told = _drawn(part, run)
    if made:
        yield Path(part.part, ("operating-points", run.point, "clock"))
    if "current" in made and told is not None:
        yield from (found[0] for found in (told.slope, told.base, told.supply) if found is not None)


def _drawn(part: Part, run: Variant) -> Running | None:
    """What stands in for a current; None for an engine's, of which the core's tells nothing."""
    found = None if run.engines else running(part, run.point)
    return None if found is None or found.clock is None else found


def _clock(part: Part, run: Variant) -> Quantity | None:
    return part.operating_points.get(run.point, OperatingPoint()).clock


def _placed(path: Path, quantity: Quantity | None) -> Placed | None:
    return None if quantity is None else (path, quantity)
