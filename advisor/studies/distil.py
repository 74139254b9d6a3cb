"""`distil`: from recorded traces to the figures of a part's profile, with their budgets."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.bench import plausible, provenance
from advisor.bench import trace as traces
from advisor.bench.budget import Result
from advisor.bench.chunks import Chunk, Columns
from advisor.bench.distil import Figures
from advisor.bench.distil import distil as measured
from advisor.bench.notes import Session, read_notes
from advisor.bench.runlog import RunLog, read_run
from advisor.bench.stamps import recorded as stamped
from advisor.catalogue.schema_bench import IDLE, OverheadTrace
from advisor.dataclass import dataclass
from advisor.faults import FaultError, FaultLog
from advisor.names import Named, paths_of
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd

NO_LOG = (
    "no log in the notes: that the kernels computed right is nowhere shown (log: run.txt, the "
    "lines that they printed)"
)


@dataclass(frozen=True, slots=True)
class Distilled:
    """The figures of a session; `invented` where they come from a rehearsal.

    `versions` are those of the kernels' works, by kernel, where the log or the pack tells them.
    """

    session: Session
    traces: tuple[Path, ...]
    figures: Figures
    invented: bool
    versions: Mapping[str, int]
    warnings: tuple[str, ...]

    @property
    def part(self) -> str:
        """The part's id."""
        return self.session.notes.part

    @property
    def point(self) -> str:
        """The operating point's name."""
        return self.session.point

    def document(self) -> dict[str, Any]:
        """The result as `distil` prints it in JSON, SI."""
        found = self.figures
        sleep: dict[str, Any] = {}
        idle: dict[str, Any] = {}
        for held in found.states:
            if held.state == IDLE:
                idle[self.point] = {
                    "current_a": _q(held.current),
                    "voltage_v": _q(held.voltage),
                }
            else:
                entry = {
                    "temperature_degc": held.temperature,
                    "current_a": _q(held.current),
                    "voltage_v": _q(held.voltage),
                }
                sleep.setdefault(held.state, {"currents": []})["currents"].append(entry)
        for state, work in found.wakes.items():
            sleep.setdefault(state, {"currents": []}).update(
                wake_time_s=_q(work.time), wake_charge_c=_q(work.charge)
            )
        return {
            "part": self.part,
            "point": self.point,
            "invented": self.invented,
            "by_marker": found.by_marker,
            "segments": [
                {
                    "kernel": s.name if s.kind == "kernel" else None,
                    "kind": s.kind,
                    "name": s.name,
                    "version": self._version(s.name) if s.kind == "kernel" else None,
                    "point": self.point,
                    "runs": s.runs,
                    "start_s": s.start_s,
                    "end_s": s.end_s,
                }
                for s in found.stretches
            ],
            "supply_v": _q(found.supply),
            "figures": self._kernels(),
            "idle": idle,
            "sleep": sleep,
            "warnings": list(self.warnings),
        }

    def _version(self, name: str) -> int | None:
        return self.versions.get(self.session.in_part(name)[0])

    def _kernels(self) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for name, work in self.figures.kernels.items():
            kernel, variant = self.session.in_part(name)
            out.setdefault(kernel, {})[variant] = {
                "time_s": _q(work.time),
                "current_a": _q(work.current),
                "charge_c": _q(work.charge),
                "energy_j": _q(work.energy),
                "voltage_v": _q(work.voltage),
            }
        return out

    def results(self) -> Iterator[tuple[str, str, str, Result]]:
        """(what it is of, figure, dimension, result) of every figure.

        Voltages only where they were recorded: else all are the supply that the notes state.
        """
        own = ("voltage",) if self.figures.by_channel else ()
        for kind, works in (("", self.figures.kernels), ("wake from ", self.figures.wakes)):
            for name, work in works.items():
                for figure in ("time", "current", "charge", "energy", *own):
                    yield kind + name, figure, figure, getattr(work, figure)
        for held in self.figures.states:
            at = "" if held.temperature is None else f" at {held.temperature:g} degC"
            for figure in ("current", *own):
                yield held.state + at, figure, figure, getattr(held, figure)

    def rows(self) -> list[dict[str, Any]]:
        """A row a figure and line of its budget; the figure's own line has no source."""
        out = []
        for name, figure, _, result in self.results():
            head = {"of": name, "figure": figure}
            whole = {k: v for k, v in _q(result).items() if k != "budget"}
            out.append({**head, "source": None, "type": None, **whole})
            out += [{**head, "source": t.source, "type": t.type, "u": t.u} for t in result.budget]
        return out

    def to_frame(self) -> pd.DataFrame:
        """The rows as a data frame."""
        return frame(self.rows())


def _q(result: Result) -> dict[str, Any]:
    return {
        "value": result.value,
        "u": result.u,
        "dof": None if math.isinf(result.dof) else result.dof,
        "k95": result.k95,
        "budget": [{"source": t.source, "type": t.type, "u": t.u} for t in result.budget],
    }


def distil(notes: Named, recorded: Named | Sequence[Named]) -> Distilled:
    """The figures of a session on the bench.

    Parameters
    ----------
    notes : the session's notes. recorded : its traces, one after the other in time.

    Raises
    ------
    FaultError
        For notes, traces and logs that do not fit together, and for figures that the traces do not
        bear out.
    """
    notes, recorded = Path(notes), paths_of(recorded)
    session = read_notes(notes)
    log = FaultLog()
    columns = Columns.of(session.trace)
    rehearsed = session.notes.origin == "rehearsed"
    for path in recorded:
        try:
            if traces.is_rehearsed(path) and not rehearsed:
                session.fault(
                    log, "origin", '"recorded"', f'"rehearsed": {path} bears that mark, for good'
                )
        except FaultError as error:
            for fault in error.faults:
                log.add(fault)
    run, warnings = _read_log(session, log)
    runs = () if run is None else plausible.told(session, run, log)
    versions = provenance.versions(session, run, log)
    if run is not None:
        session = provenance.as_built(session, run, log)
        warnings += plausible.unheld(session, run)
    log.raise_if_any()

    def samples() -> Iterator[Chunk]:
        yield from stamped(recorded, columns, session.trace.marker)

    def overhead() -> Iterator[Chunk]:
        stated = session.notes.board_overhead
        assert isinstance(stated, OverheadTrace)
        yield from stamped([session.folder / stated.trace], columns.time_and_current())

    found = measured(session, samples, overhead)
    plausible.check(session, found, runs, () if run is None else run.states)
    return Distilled(
        session=session,
        traces=tuple(recorded),
        figures=found,
        invented=rehearsed,
        versions=versions,
        warnings=(*warnings, *found.warnings),
    )


def _read_log(session: Session, log: FaultLog) -> tuple[RunLog | None, list[str]]:
    """(the log that the notes name, warnings); one that cannot be read is a fault."""
    name = session.notes.log
    if name is None:
        kernels = any(s.kernel is not None for s in session.pulses)
        return None, [NO_LOG] if kernels else []
    try:
        return read_run(session.folder / name), []
    except FaultError as error:
        for fault in error.faults:
            log.add(fault)
        return None, []
