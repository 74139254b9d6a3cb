"""`rehearse`: a made-up trace with a known truth, and which rate and runs reach an uncertainty."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from advisor.bench import boards as pooling
from advisor.bench import trace as traces
from advisor.bench.budget import Term, combined
from advisor.bench.chunks import Chunk
from advisor.bench.notes import Session, key_of, read_notes
from advisor.bench.rehearse import (
    Errors,
    Expected,
    Truth,
    errors_of,
    expected,
    overhead_trace,
    rehearsed,
    truth_of,
)
from advisor.catalogue.fields import specification
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_bench import OverheadTrace, TraceColumns
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError
from advisor.files import is_stream
from advisor.names import Named
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd

RATES = (1e3, 3e3, 1e4, 3e4, 1e5, 3e5, 1e6)
RUNS = (5, 10, 20, 50, 100, 200)
BOARDS = (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30)
LEAST_SAMPLES = 5  # in a run, for a rate to be worth naming
OVERHEAD = "board-overhead.trace"  # the key that names the overhead's own trace
ENDINGS = (".csv", ".csv.gz", ".parquet", ".npz")


@dataclass(frozen=True, slots=True)
class Planned:
    """What a rate and a number of runs would reach, by the kernel that is told least well.

    `half_width_95` is of its energy, relative; `type_b` the relative standard uncertainty that no
    number of runs reduces.
    """

    rate_hz: float
    runs: int
    kernel: str
    half_width_95: float
    type_b: float


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """What several boards would reach, each measured as the notes say, by the energy that is told
    least well.

    `spread` is the relative standard deviation between boards that is taken to be true, `usual`
    whether it is what is usual (common practice, no source). `rows` hold relative half-widths of
    95 %. Of what was asked for, `mean` and `next_unit` are the fewest boards that reach it, None
    where none here do or nothing was asked.
    """

    kernel: str
    spread: float
    usual: bool
    rows: tuple[pooling.Expected, ...]
    wanted_mean: float | None
    wanted_next: float | None
    mean: int | None
    next_unit: int | None

    @property
    def falls_short(self) -> bool:
        """Whether something was asked for that no number of boards here reaches."""
        return (self.wanted_mean is not None and self.mean is None) or (
            self.wanted_next is not None and self.next_unit is None
        )


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A rehearsal: its truth, its meter's errors, and what a session would reach.

    `wanted` is the relative half-width asked for; `reaches` the least rate, then the fewest runs,
    that reach it, None where nothing in the plan does. `boards` is None where no kernel runs.
    """

    session: Session
    seed: int
    truth: Truth
    errors: Errors
    plan: tuple[Planned, ...]
    wanted: float | None
    reaches: Planned | None
    boards: BoardPlan | None

    def document(self) -> dict[str, Any]:
        """The result for JSON, SI."""

        def works(given: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
            return {
                name: {"time_s": time, "current_a": current, "charge_c": time * current}
                for name, (time, current) in given.items()
            }

        return {
            "part": self.session.notes.part,
            "point": self.session.point,
            "origin": "rehearsed",
            "invented": True,
            "seed": self.seed,
            "truth": {
                "kernels": works(self.truth.kernels),
                "wakes": works(self.truth.wakes),
                "states_a": dict(self.truth.states),
                "supply_v": _known(self.errors.supply),
            },
            "errors": {
                **{k: _known(v) for k, v in plain(self.errors).items() if k != "ranges"},
                "further_ranges": [{"gain": g, "offset_a": o} for g, o in self.errors.ranges],
            },
            "wanted": self.wanted,
            "reaches": None if self.reaches is None else plain(self.reaches),
            "plan": self.rows(),
            "boards": None if self.boards is None else plain(self.boards),
        }

    def rows(self) -> list[dict[str, Any]]:
        """A row a rate and number of runs."""
        return [plain(row) for row in self.plan]

    def to_frame(self) -> pd.DataFrame:
        """The plan as a data frame."""
        return frame(self.rows())

    def write(self, path: Path) -> dict[Path, bytes]:
        """The trace, and the overhead's where the notes want one, as files' bytes by path.

        Raises
        ------
        FaultError
            For an ending that no trace has, where a recording would be overwritten, and where both
            would be one file.
        """
        _no_recording(path, lambda read, free: FaultError((Fault("--output", read, free),)))
        draw = np.random.default_rng((self.seed, 1))
        files = {path: _bytes(path, list(rehearsed(self.session, self.truth, self.errors, draw)))}
        stated = self.session.notes.board_overhead
        if isinstance(stated, OverheadTrace):
            if Path(stated.trace).name != stated.trace:
                expected = "a file's name: it is written beside the notes"
                raise self.session.refuse(OVERHEAD, f'"{stated.trace}"', expected)
            beside = self.session.folder / stated.trace
            _no_recording(beside, lambda read, free: self.session.refuse(OVERHEAD, read, free))
            if os.path.realpath(beside) == os.path.realpath(path):
                raise self.session.refuse(OVERHEAD, f'"{beside}"', "another file than the trace's")
            draw = np.random.default_rng((self.seed, 2))
            files[beside] = _bytes(beside, list(overhead_trace(self.session, self.errors, draw)))
        return files


def _no_recording(path: Path, refused: Callable[[str, str], FaultError]) -> None:
    """Refuse to write a rehearsal over what is none, by `refused` of (read, expected)."""
    if not os.path.exists(path) or is_stream(path):
        return
    try:
        made_up = traces.is_rehearsed(path)
    except Exception:
        # whatever cannot be read as one is none
        made_up = False
    if not made_up:
        raise refused(f'"{path}", which is no rehearsal', "a name that is free, or a rehearsal's")


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _bytes(path: Path, chunks: list[Chunk]) -> bytes:
    """A trace in the form that its name's ending says, bearing the rehearsal's mark."""
    t = np.concatenate([c.t for c in chunks])
    i = np.concatenate([c.i for c in chunks])
    m = np.concatenate([np.asarray(c.m) for c in chunks])
    name = path.name.lower()
    if name.endswith((".csv", ".csv.gz")):
        text = traces.text_of(t, i, m, header=True)
        if name.endswith(".gz"):
            import gzip

            # no time in it: the same rehearsal is the same bytes
            return gzip.compress(text, mtime=0)
        return text
    out = io.BytesIO()
    if name.endswith(".parquet"):
        import polars as pl

        table = pl.DataFrame({"t": t, "i": i, "m": m.astype(np.int8)})
        table.write_parquet(out, metadata={"rehearsed": traces.REHEARSED})
        return out.getvalue()
    if name.endswith(".npz"):
        np.savez(out, t=t, i=i, m=m.astype(np.int8), rehearsed=np.array([1]))
        return out.getvalue()
    expected = "a file that ends in " + ", ".join(ENDINGS)
    raise FaultError((Fault("--output", f'"{path.name}"', expected),))


def rehearse(
    notes: Named,
    catalogue: Catalogue,
    seed: int = 1,
    wanted: float | None = None,
    *,
    wanted_mean: float | None = None,
    wanted_next: float | None = None,
) -> Rehearsed:
    """Rehearse a session on the bench.

    Parameters
    ----------
    notes : the session's notes, with `rehearsal`. catalogue : whose part gives the truth where the
    notes do not. wanted : relative half-width of the 95 % interval of every kernel's energy,
    on one board. wanted_mean, wanted_next : of the part's mean board, and of the next unit.

    Raises
    ------
    FaultError
        For notes without a rehearsal, or whose columns are not those of a rehearsed trace, and for
        a seed below zero.
    """
    notes = Path(notes)
    if seed < 0:
        raise FaultError((Fault("--seed", str(seed), "a whole number of at least 0"),))
    session = read_notes(notes)
    _columns(session)
    truth = truth_of(session, catalogue.parts.get(session.notes.part))
    errors = errors_of(session, np.random.default_rng((seed, 0)))
    plan = tuple(
        planned
        for rate in RATES
        for runs in RUNS
        if (planned := _planned(session, truth, rate, runs)) is not None
    )
    reaches = None
    if wanted is not None:
        reaches = next((p for p in plan if p.half_width_95 <= wanted), None)
    return Rehearsed(
        session=session,
        seed=seed,
        truth=truth,
        errors=errors,
        plan=plan,
        wanted=wanted,
        reaches=reaches,
        boards=_boards(session, truth, wanted_mean, wanted_next),
    )


def _boards(
    session: Session, truth: Truth, wanted_mean: float | None, wanted_next: float | None
) -> BoardPlan | None:
    """What boards would reach that are measured at the notes' own rate and runs."""
    given = session.notes.rehearsal
    kernels = [s for s in session.pulses if s.kernel is not None]
    if given is None or not kernels:
        for option, share in (("--want-mean", wanted_mean), ("--want-next", wanted_next)):
            if share is not None:
                read = f"{100 * share:g} %, of notes without a kernel"
                raise FaultError((Fault(option, read, "notes in which kernels run"),))
        return None
    found = {
        key_of(s): expected(session, truth, key_of(s), given.rate.nominal, s.runs or 1)
        for s in kernels
    }
    kernel = max(found, key=lambda k: math.hypot(found[k].type_a, found[k].type_b))
    # an energy is a time and a current
    prior = math.hypot(pooling.SPREADS["time"], pooling.SPREADS["current"])
    spread = prior if given.board_spread is None else given.board_spread.nominal
    one = found[kernel]
    rows = tuple(pooling.expected(n, one.type_a, one.type_b, spread, prior) for n in BOARDS)

    def fewest(wanted: float | None, width: str) -> int | None:
        return next(
            (r.boards for r in rows if wanted is not None and getattr(r, width) <= wanted), None
        )

    return BoardPlan(
        kernel=kernel,
        spread=spread,
        usual=given.board_spread is None,
        rows=rows,
        wanted_mean=wanted_mean,
        wanted_next=wanted_next,
        mean=fewest(wanted_mean, "mean_half_95"),
        next_unit=fewest(wanted_next, "next_half_95"),
    )


def _columns(session: Session) -> None:
    """A rehearsed trace has t in s, i in A or V over a shunt, and m."""
    notes, columns = session.notes, session.trace
    wants = {"time": ("t", "s"), "current": ("i", "A" if columns.current.shunt is None else "V")}
    for what, (column, unit) in wants.items():
        given = getattr(columns, what)
        if (given.column, given.unit) != (column, unit):
            raise session.refuse(
                f"trace.{what}",
                f"{given.column} in {given.unit}",
                f"{column} in {unit}: that is what a rehearsed trace has",
            )
    marker = columns.marker
    if marker is not None and (
        marker.column != "m" or marker.above is None or not 0 <= marker.above.nominal < 1
    ):
        raise session.refuse("trace.marker", f"{marker.column}", "m, above 0.5")
    if columns.voltage is not None:
        raise session.refuse("trace.voltage", "a voltage column", "supply: a rehearsal has one")
    if columns.current.shunt is not None:
        raise session.refuse("trace.current.shunt", "a shunt", "i in A: a rehearsal is in A")
    if notes.origin != "rehearsed":
        raise session.refuse("origin", '"recorded"', '"rehearsed", for a rehearsal')
    bare = TraceColumns(time=columns.time, current=columns.current)
    for name, declared in specification(TraceColumns).items():
        given = getattr(columns, declared.attribute)
        if name not in wants | {"marker": (), "voltage": ()}:
            usual = getattr(bare, declared.attribute)
            if given != usual:
                read, expected = f'"{given}"', str(usual) if usual is not None else f"no {name}"
                raise session.refuse(f"trace.{name}", read, expected)
    for what in wants:
        one = getattr(columns, what)
        for name in ("place", "rate", "jitter"):
            if getattr(one, name, None) is not None:
                raise session.refuse(f"trace.{what}.{name}", name, "a plain column")
    if columns.time.kind != "time":
        raise session.refuse("trace.time.as", f'"{columns.time.kind}"', "time")


def _planned(session: Session, truth: Truth, rate: float, runs: int) -> Planned | None:
    """The kernel that would be told least well; None where a run has hardly a sample."""
    worst: Planned | None = None
    for name in truth.kernels:
        found: Expected = expected(session, truth, name, rate, runs)
        segment = next(s for s in session.pulses if s.kernel and key_of(s) == name)
        if truth.kernels[name][0] * (segment.units or 1) * rate < LEAST_SAMPLES:
            return None
        budget = combined(
            1.0,
            [
                Term(source="repeats", type="A", u=found.type_a, shape="t", dof=runs - 1),
                Term("statements", "B", found.type_b),
            ],
        )
        if worst is None or budget.expanded > worst.half_width_95:
            worst = Planned(
                rate_hz=rate,
                runs=runs,
                kernel=name,
                half_width_95=budget.expanded,
                type_b=found.type_b,
            )
    return worst
