"""`distil`: from recorded traces to the figures of a part's profile, with their budgets."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from yaml.nodes import MappingNode, ScalarNode

from advisor import figures as paths
from advisor.bench import plausible
from advisor.bench import trace as traces
from advisor.bench.budget import Result
from advisor.bench.chunks import Chunk, Columns
from advisor.bench.distil import GAIN, Figures, Held, Work
from advisor.bench.distil import distil as measured
from advisor.bench.kernels import read_run
from advisor.bench.notes import Session, read_notes
from advisor.bench.stamps import recorded as stamped
from advisor.catalogue.edit import Tree, placed, quoted
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.schema_bench import IDLE, OverheadTrace
from advisor.catalogue.schema_parts import Part
from advisor.faults import FaultError, FaultLog
from advisor.quantities import QuantityError, read_quantity, written
from advisor.source import read_text
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd

NO_LOG = (
    "no log in the notes: that the kernels computed right is nowhere shown (log: run.txt, the "
    "lines that they printed)"
)


@dataclass(frozen=True, slots=True)
class Distilled:
    """The figures of a session; `invented` where they come from a rehearsal."""

    session: Session
    traces: tuple[Path, ...]
    figures: Figures
    invented: bool
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
                idle[self.point] = {"current_a": _q(held.current)}
            else:
                entry = {"temperature_degc": held.temperature, "current_a": _q(held.current)}
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

    def _kernels(self) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for name, work in self.figures.kernels.items():
            kernel, variant = self.session.in_part(name)
            out.setdefault(kernel, {})[variant] = {
                "time_s": _q(work.time),
                "current_a": _q(work.current),
                "charge_c": _q(work.charge),
                "energy_j": _q(work.energy),
            }
        return out

    def results(self) -> Iterator[tuple[str, str, str, Result]]:
        """(what it is of, figure, dimension, result) of every figure."""
        for kind, works in (("", self.figures.kernels), ("wake from ", self.figures.wakes)):
            for name, work in works.items():
                for figure in ("time", "current", "charge", "energy"):
                    yield kind + name, figure, figure, getattr(work, figure)
        for held in self.figures.states:
            at = "" if held.temperature is None else f" at {held.temperature:g} degC"
            yield held.state + at, "current", "current", held.current

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


def distil(notes: Path, recorded: Sequence[Path]) -> Distilled:
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
    session = read_notes(notes)
    log = FaultLog()
    columns = Columns.of(session.notes.trace)
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
    runs, warnings = _computed_right(session, log)
    log.raise_if_any()

    def samples() -> Iterator[Chunk]:
        yield from stamped(recorded, columns, session.notes.trace.marker)

    def overhead() -> Iterator[Chunk]:
        stated = session.notes.board_overhead
        assert isinstance(stated, OverheadTrace)
        yield from stamped([session.folder / stated.trace], columns.time_and_current())

    found = measured(session, samples, overhead)
    plausible.check(session, found, runs)
    return Distilled(
        session=session,
        traces=tuple(recorded),
        figures=found,
        invented=rehearsed,
        warnings=(*warnings, *found.warnings),
    )


def _computed_right(
    session: Session, log: FaultLog
) -> tuple[tuple[plausible.Told, ...], list[str]]:
    """(the log's runs, warnings); kernels not shown to have computed right are faults."""
    name = session.notes.log
    if name is None:
        kernels = any(s.kernel is not None for s in session.pulses)
        return (), [NO_LOG] if kernels else []
    try:
        found = read_run(session.folder / name)
    except FaultError as error:
        for fault in error.faults:
            log.add(fault)
        return (), []
    return plausible.told(session, found, log), []


def into_part(found: Distilled, before: str | None, file: str) -> str:
    """A part's file with the figures put in; comments, order and all else as they were.

    Parameters
    ----------
    before : the file's text, None for a new one. file : its name.

    Raises
    ------
    FaultError
        For a file of another part, and for a sleep current that stands as a curve where the notes
        do not say at which temperature this one was taken.
    """
    if Path(file).stem != found.part:
        raise found.session.refuse(
            "part", f'"{found.part}" for {file}', f"a file {found.part}.yaml: its name is the id"
        )
    if before is None:
        before = f"part: {found.part}\n"
    root = read_text(before, file).root
    named = paths.resolve(root, "part")
    if not isinstance(named, ScalarNode) or named.value != found.part:
        raise found.session.refuse("part", f'"{found.part}"', f"the part that {file} is of")
    after = placed(before, file, _tree(found, root))
    log = FaultLog()
    read_record(Part, read_text(after, file).root, "", Reading(file, found.part, log))
    log.raise_if_any()
    return after


def _tree(found: Distilled, root: Any) -> Tree:
    notes = found.session.notes
    day = notes.date or datetime.date.today()
    evidence = f"{'rehearsal' if found.invented else 'bench'}-{day.isoformat()}-{found.point}"
    supply = written(found.figures.supply.value, found.figures.supply.u, "voltage")
    own = {"supply": supply, "evidence": evidence}
    kernels: dict[str, dict[str, Tree]] = {}
    for name, work in found.figures.kernels.items():
        kernel, variant = found.session.in_part(name)
        kernels.setdefault(kernel, {})[variant] = {**_work(found, work), **own}
    point: dict[str, str] = {}
    if notes.point.clock is not None:
        point["clock"] = notes.point.clock.text
    states: dict[str, Tree] = {}
    for held in found.figures.states:
        current = _current(found, held.current)
        if held.state == IDLE:
            point |= {"idle-current": current, **own}
        else:
            stands = _stands(found, root, held, current)
            earlier = states.get(held.state, {})
            if not isinstance(stands, str) and earlier:
                stands = {**earlier["current"], **stands}  # type: ignore[dict-item]
            states[held.state] = {"current": stands, "evidence": evidence}
    for state, work in found.figures.wakes.items():
        wake = {
            "wake-time": written(work.time.value, work.time.u, "time"),
            "wake-charge": written(work.charge.value, work.charge.u, "charge"),
        }
        states[state] = {**states.get(state, {"evidence": evidence}), **wake}
    tree: dict[str, Tree | str] = {}
    if found.invented:
        tree["invented"] = "true"
    tree["evidence"] = {evidence: _evidence(found, day)}
    tree["operating-points"] = {found.point: point}
    if kernels:
        tree["kernels"] = kernels
    if states:
        tree["sleep-states"] = states
    return tree


def _evidence(found: Distilled, day: datetime.date) -> dict[str, str]:
    meter = found.session.notes.instrument
    note = [found.session.notes.note or ""]
    if found.invented:
        note.append("rehearsed: invented, not measured")
    runs = {s.runs for s in found.figures.stretches if s.kind == "kernel"}
    if runs:
        note.append(
            "runs of each kernel: " + " to ".join(str(r) for r in sorted({min(runs), max(runs)}))
        )
    note.append(f"SHA-256 of the traces {traces.digest(found.traces)}")
    out = {"kind": "estimate" if found.invented else "bench", "date": day.isoformat()}
    if _shares_gain(found):
        assert meter.id is not None
        assert meter.gain is not None
        out |= {"instrument": meter.id, "gain": meter.gain.text}
    out["note"] = quoted("; ".join(word for word in note if word))
    return out


def _shares_gain(found: Distilled) -> bool:
    """Whether the meter's gain is told once for all its figures rather than in each."""
    meter = found.session.notes.instrument
    return meter.id is not None and meter.gain is not None


def _current(found: Distilled, result: Result) -> str:
    """A current as it stands in a file; what the evidence's gain carries is left out of its u."""
    u = result.u
    gain = found.session.notes.instrument.gain
    if _shares_gain(found) and gain is not None:
        shared = gain.nominal / math.sqrt(3) * result.value
        whole = next((t.u for t in result.budget if t.source == GAIN), 0.0)
        u = math.sqrt(max(result.without(GAIN) ** 2 + whole**2 - shared**2, 0.0))
    return written(result.value, u, "current")


def _work(found: Distilled, work: Work) -> dict[str, str]:
    return {
        "time": written(work.time.value, work.time.u, "time"),
        "current": _current(found, work.current),
    }


def _stands(found: Distilled, root: Any, held: Held, current: str) -> str | Tree:
    """The current of a sleep state, at its temperature where there is one."""
    there = paths.resolve(root, f"sleep-states.{held.state}.current")
    curve = there if isinstance(there, MappingNode) else None
    names = [] if curve is None else [str(k.value) for k, _ in curve.value]
    temperatures: dict[float, str] = {}
    for name in names:
        try:
            temperatures[read_quantity(name, "temperature").nominal] = name
        except QuantityError:
            curve = None  # typical and max, or low, likely and high: one figure after all
    if held.temperature is None:
        if curve is not None:
            raise found.session.refuse(
                "segments",
                f"{held.state} without a temperature",
                "one: the part's file has this current over temperature",
            )
        return current
    return {temperatures.get(held.temperature, f"{held.temperature:g} degC"): current}
