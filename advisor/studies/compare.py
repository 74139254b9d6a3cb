"""`compare`: kernels part by part, at their own clock and at a common one, and where ranks flip."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

from advisor.bench.same_clock import AtClock, Run, apart, at_clock, common_clock, spanning
from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Build, KernelFigure, Part, Variant
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, nearest
from advisor.model.maturity import maturity
from advisor.studies.asked import unknown_parts
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd

HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Row:
    """One unit of a kernel's work on a part at a point, perhaps with an engine."""

    part: str
    """the part's id"""
    point: str
    """operating point, or `POINT+ENGINE`"""
    native: bool
    """whether this is the part's fastest clock (per engine)"""
    clock_hz: float | None
    """[Hz] core clock"""
    time_s: float
    """[s] of one unit of work"""
    time_u_s: float
    """[s] its standard uncertainty"""
    current_a: float
    """[A] mean current of the chip alone meanwhile"""
    charge_c: float
    """[C] time × current"""
    energy_j: float | None
    """[J] charge × supply voltage"""
    energy_u_j: float | None
    """[J] its standard uncertainty"""
    cycles: float | None
    """time × clock"""
    time_ratio: float
    """against the quickest native row of the kernel"""
    energy_ratio: float | None
    """against the native row of least energy"""
    tied: bool
    """the energy cannot be told from the least: within twice the standard uncertainty, a shared
    gain apart"""
    at_clock: AtClock | None
    """the same work at the common clock"""


@dataclass(frozen=True, slots=True)
class Score:
    """A score with its least and greatest."""

    score: float
    """with every unanswered question half-way"""
    low: float
    """with every unanswered question at none"""
    high: float
    """with every unanswered question at full"""


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside a part's energies."""

    setup_h: float | None
    """[h] box to first working program; None where nobody has told"""
    setup_u_h: float | None
    """[h] its standard uncertainty"""
    toolchain: Score | None
    """[0 to 100] toolchain maturity, with its range over the unanswered questions"""
    currency: str | None
    """of the prices"""
    prices: Mapping[int, float]
    """quantity to the price each from there up"""
    builds: tuple[str, ...]
    """how the kernels that are compared were built: toolchain, compiler and flags where told"""


@dataclass(frozen=True, slots=True)
class Flip:
    """Two parts whose order turns."""

    kind: str
    """`kernel`: by energy, between two kernels; `draw`: who draws less uses more energy; `clock`:
    faster at its own clock, slower at the common one"""
    first: str
    """the part that leads here"""
    second: str
    """the part that leads there"""
    here: str
    """the kernel here"""
    there: str
    """the kernel there; the same one but for `kernel`"""
    factor: float
    """the lesser of the two leads"""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Kernels part by part."""

    invented: bool
    """whether anything behind the answer is demonstration data"""
    clock_hz: float | None
    """[Hz] the common clock; None where none was asked for and none lies between the measured
    clocks of two parts"""
    clock_chosen: bool
    """whether the common clock was chosen here: the one between the measured clocks of the most
    parts"""
    clock_within: int
    """parts whose measured clocks the common one lies between"""
    work: Mapping[str, str | None]
    """kernel to what one unit of it is"""
    kernels: Mapping[str, tuple[Row, ...]]
    """kernel to its rows"""
    flips: tuple[Flip, ...]
    """where the order of two parts turns"""
    missing: Mapping[str, tuple[str, ...]]
    """kernel to the parts that state nothing of it"""
    parts: Mapping[str, Beside]
    """part to what stands beside its energies"""
    toolchains: tuple[str, ...]
    """what to mind of how the kernels were built, where parts differ in it or do not tell"""

    def rows(self) -> list[dict[str, object]]:
        """A row a kernel, part and point."""
        out = []
        for kernel, rows in self.kernels.items():
            for row in rows:
                flat = plain(row)
                there = flat.pop("at_clock") or {}
                out.append(
                    {"kernel": kernel, **flat, **{f"at_clock_{k}": v for k, v in there.items()}}
                )
        return out

    def to_frame(self) -> pd.DataFrame:
        """A row a kernel, part and point."""
        return frame(self.rows())


def _kernels(catalogue: Catalogue) -> list[str]:
    """The kernels that parts may be compared by."""
    return list(catalogue.kernels) or sorted(
        {k for part in catalogue.parts.values() for k in part.kernels}
    )


def faults_of(catalogue: Catalogue, parts: Sequence[str], kernels: Sequence[str]) -> list[Fault]:
    """Every fault of ids, as of `compare`."""
    known = _kernels(catalogue)
    return unknown_parts(catalogue, [("PART", name) for name in parts]) + [
        Fault(
            "--kernel",
            f'"{k}"',
            "a kernel of the catalogue",
            nearest=nearest(k, known),
            unknown=True,
        )
        for k in kernels
        if k not in known
    ]


def compare(
    catalogue: Catalogue,
    parts: Sequence[str] = (),
    kernels: Sequence[str] = (),
    clock_hz: float | None = None,
) -> Comparison:
    """Compare parts by their measured kernels.

    Parameters
    ----------
    parts, kernels : ids; all when empty. clock_hz : the common clock to compare at as well; where
    absent, one is chosen.

    Raises
    ------
    FaultError
        For an id that the catalogue does not have.
    """
    if faults := faults_of(catalogue, parts, kernels):
        raise FaultError(faults)
    known = _kernels(catalogue)
    chosen = [catalogue.parts[p] for p in dict.fromkeys(parts)] or list(catalogue.parts.values())
    names = list(dict.fromkeys(kernels)) or known
    runs = {k: {p.part: _runs(p, k) for p in chosen} for k in names}
    clocks = [
        tuple(
            r.clock_hz
            for by_part in runs.values()
            for r in by_part[p.part].values()
            if r.clock_hz is not None
        )
        for p in chosen
    ]
    asked, clock_hz = clock_hz, common_clock(clocks) if clock_hz is None else clock_hz
    tables = {k: _rows(by_part, clock_hz) for k, by_part in runs.items()}
    return Comparison(
        invented=any(p.invented for p in chosen),
        clock_hz=clock_hz,
        clock_chosen=asked is None and clock_hz is not None,
        clock_within=0 if clock_hz is None else spanning(clocks, clock_hz),
        work={k: catalogue.kernels[k].work if k in catalogue.kernels else None for k in names},
        kernels=tables,
        flips=_flips(runs, tables),
        missing={
            k: tuple(p for p, found in by_part.items() if not found)
            for k, by_part in runs.items()
            if not all(by_part.values())
        },
        parts={p.part: _beside(p, names) for p in chosen},
        toolchains=tuple(_toolchains(chosen, names)),
    )


def _beside(part: Part, kernels: Sequence[str]) -> Beside:
    tools, setup, price = maturity(part.toolchain), part.toolchain.setup, part.price
    return Beside(
        setup_h=None if setup is None else setup.nominal / HOUR,
        setup_u_h=None if setup is None else setup.u / HOUR,
        toolchain=None if tools is None else Score(tools.score, tools.low, tools.high),
        currency=None if price is None else price.currency,
        prices={}
        if price is None or price.breaks is None
        else {n: q.nominal for n, q in sorted(price.breaks.items())},
        builds=tuple(dict.fromkeys(map(_build_words, _builds(part, kernels)))),
    )


def _builds(part: Part, kernels: Sequence[str]) -> list[Build]:
    """How the kernels of a part were built, as far as the figures' evidence says; each once."""
    out: dict[Build, None] = {}
    for kernel in kernels:
        for figure in part.kernels.get(kernel, {}).values():
            evidence = part.evidence.get(evidence_of(figure, "time") or "")
            told = Build() if evidence is None else evidence.built
            out[replace(told, toolchain=told.toolchain or part.toolchain.id)] = None
    return list(out)


def _build_words(build: Build) -> str:
    told = [build.toolchain, build.compiler, build.flags]
    return ", ".join(word for word in told if word is not None) or "not told"


def _toolchains(parts: Sequence[Part], kernels: Sequence[str]) -> Iterator[str]:
    """Where a difference may be the compiler's: sentences."""
    by_part = {p.part: built for p in parts if (built := _builds(p, kernels))}
    if len(by_part) < 2:
        return
    for what, plural in (
        ("toolchain", "toolchains"),
        ("compiler", "compilers"),
        ("flags", "flags"),
        ("pack", "versions of the kernels"),
    ):
        told: dict[str, list[str]] = {}
        for part, builds in by_part.items():
            for value in dict.fromkeys(getattr(b, what) for b in builds):
                if value is not None:
                    told.setdefault(value, []).append(part)
        if len(told) > 1:
            each = "; ".join(f"{value}: {', '.join(of)}" for value, of in told.items())
            yield f"{plural} differ, and with them a part of the times and energies: {each}"
    silent = [p for p, builds in by_part.items() if any(b.flags is None for b in builds)]
    if silent:
        yield f"by which flags the kernels were built is not told of {', '.join(silent)}"


def _runs(part: Part, kernel: str) -> dict[str, Run]:
    """A part's runs of a kernel by `POINT` or `POINT+ENGINE`, those with time and current."""
    out = {}
    for variant, figure in sorted(part.kernels.get(kernel, {}).items()):
        run = _run(part, variant, figure)
        if run is not None:
            out[variant] = run
    return out


def _run(part: Part, variant: str, figure: KernelFigure) -> Run | None:
    if figure.time is None or figure.current is None:
        return None
    point = part.operating_points.get(Variant.parse(variant).point)
    evidence = part.evidence.get(evidence_of(figure, "current") or "")
    gain = 0.0 if evidence is None or evidence.gain is None else evidence.gain.nominal
    return Run(
        clock_hz=None if point is None or point.clock is None else point.clock.nominal,
        time_s=figure.time.nominal,
        time_u_s=figure.time.u,
        current_a=figure.current.nominal,
        current_u_a=figure.current.u,
        supply_v=None if figure.supply is None else figure.supply.nominal,
        supply_u_v=0.0 if figure.supply is None else figure.supply.u,
        gain_u=gain / math.sqrt(3),
        instrument=None if evidence is None else evidence.instrument,
        switching=part.supply.regulator == "switching",
        correlation=0.0 if figure.correlation is None else figure.correlation.nominal,
        clock_u_hz=0.0 if point is None or point.clock is None else point.clock.u,
    )


def _engines(variant: str) -> tuple[str, ...]:
    return Variant.parse(variant).engines


def _native(runs: Mapping[str, Run]) -> dict[tuple[str, ...], str]:
    """Per set of engines the variant of the fastest clock, else of the least time."""
    out: dict[tuple[str, ...], str] = {}
    for variant, run in runs.items():
        best = out.get(_engines(variant))
        order = (-(run.clock_hz or 0.0), run.time_s)
        if best is None or order < (-(runs[best].clock_hz or 0.0), runs[best].time_s):
            out[_engines(variant)] = variant
    return out


def _rows(by_part: Mapping[str, Mapping[str, Run]], clock_hz: float | None) -> tuple[Row, ...]:
    natives = [runs[variant] for runs in by_part.values() for variant in _native(runs).values()]
    if not natives:
        return ()
    fastest = min(run.time_s for run in natives)
    with_energy = [run for run in natives if run.energy_j is not None]
    best = min(with_energy, key=lambda r: r.energy_j or 0.0) if with_energy else None
    rows = []
    for part, runs in by_part.items():
        native = set(_native(runs).values())
        for variant, run in runs.items():
            alike = [r for v, r in runs.items() if _engines(v) == _engines(variant)]
            energy = run.energy_j
            rows.append(
                Row(
                    part=part,
                    point=variant,
                    native=variant in native,
                    clock_hz=run.clock_hz,
                    time_s=run.time_s,
                    time_u_s=run.time_u_s,
                    current_a=run.current_a,
                    charge_c=run.charge_c,
                    energy_j=energy,
                    energy_u_j=None if energy is None else energy * run.relative_u(),
                    cycles=run.cycles,
                    time_ratio=run.time_s / fastest,
                    energy_ratio=None
                    if energy is None or best is None or not best.energy_j
                    else energy / best.energy_j,
                    tied=best is not None and energy is not None and not apart(run, best),
                    at_clock=at_clock(alike, clock_hz)
                    if clock_hz is not None and variant in native
                    else None,
                )
            )
    return tuple(sorted(rows, key=lambda r: (r.energy_j is None, r.energy_j or 0.0, r.part)))


def _flips(
    runs: Mapping[str, Mapping[str, Mapping[str, Run]]], tables: Mapping[str, tuple[Row, ...]]
) -> tuple[Flip, ...]:
    """The strongest flip of each kind for every pair of parts, the strongest first."""
    plain_runs = {
        kernel: {
            p: found[_native(found)[()]] for p, found in by_part.items() if () in _native(found)
        }
        for kernel, by_part in runs.items()
    }
    common = {
        kernel: {
            r.part: r.at_clock.time_s
            for r in rows
            if r.native and not _engines(r.point) and r.at_clock and r.at_clock.time_s
        }
        for kernel, rows in tables.items()
    }
    parts = sorted({p for by_part in plain_runs.values() for p in by_part})
    out: list[Flip] = []
    for a, b in combinations(parts, 2):
        best: dict[str, Flip] = {}
        leads = {
            k: (by_part[b].energy_j or 0.0) / (by_part[a].energy_j or 1.0)
            for k, by_part in plain_runs.items()
            if a in by_part and b in by_part and apart(by_part[a], by_part[b])
        }
        for here, there in combinations(leads, 2):
            for x, y in ((here, there), (there, here)):
                if leads[x] > 1 > leads[y]:
                    _keep(
                        best,
                        Flip(
                            kind="kernel",
                            first=a,
                            second=b,
                            here=x,
                            there=y,
                            factor=min(leads[x], 1 / leads[y]),
                        ),
                    )
        for k, by_part in plain_runs.items():
            if k not in leads:
                continue
            draw = by_part[b].current_a / by_part[a].current_a
            if draw > 1 > leads[k]:
                _keep(
                    best,
                    Flip(
                        kind="draw",
                        first=a,
                        second=b,
                        here=k,
                        there=k,
                        factor=min(draw, 1 / leads[k]),
                    ),
                )
            elif draw < 1 < leads[k]:
                _keep(
                    best,
                    Flip(
                        kind="draw",
                        first=b,
                        second=a,
                        here=k,
                        there=k,
                        factor=min(1 / draw, leads[k]),
                    ),
                )
            times = common[k]
            if a in times and b in times:
                own, held = by_part[b].time_s / by_part[a].time_s, times[b] / times[a]
                if own > 1 > held:
                    _keep(
                        best,
                        Flip(
                            kind="clock",
                            first=a,
                            second=b,
                            here=k,
                            there=k,
                            factor=min(own, 1 / held),
                        ),
                    )
                elif own < 1 < held:
                    _keep(
                        best,
                        Flip(
                            kind="clock",
                            first=b,
                            second=a,
                            here=k,
                            there=k,
                            factor=min(1 / own, held),
                        ),
                    )
        out += best.values()
    return tuple(sorted(out, key=lambda f: (-round(f.factor, 9), f.kind, f.first, f.second)))


def _keep(best: dict[str, Flip], flip: Flip) -> None:
    if flip.kind not in best or flip.factor > best[flip.kind].factor:
        best[flip.kind] = flip
