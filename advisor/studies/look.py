"""`distil --look`: what a trace seems to be, and what notes would cut from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from advisor.bench import trace as traces
from advisor.bench.chunks import Chunk, Columns
from advisor.bench.distil import Stretch
from advisor.bench.notes import Session, key_of, read_notes
from advisor.bench.outline import Outline, outline
from advisor.bench.segments import measure
from advisor.bench.sniff import Seen, Sniffed, epoch_of, roles, sniff
from advisor.bench.stamps import recorded as stamped
from advisor.catalogue.edit import quoted
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.schema_bench import TraceColumns
from advisor.dataclass import dataclass
from advisor.faults import FaultError, FaultLog
from advisor.names import Named, paths_of
from advisor.quantities import show, spellings
from advisor.source import read_text
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd

LEAST_EDGES = 4  # of a marker, for some of its stretches to be called short
SHORT = 0.1
TWICE = 2.0  # levels in a pause that differ by more are two states
MARKER = "marker"  # what a pulse is called that no notes name


def _stretch(kind: Literal["kernel", "wake", "state"], name: str, a: float, b: float) -> Stretch:
    return Stretch(kind=kind, name=name, runs=1, start_s=a, end_s=b)


@dataclass(frozen=True, slots=True)
class Look:
    """A look at traces.

    `proposal` is the notes that they seem to want, as YAML, None where notes were given.
    `stretches` are what would be cut: by the notes, or by the marker proposed.
    """

    traces: tuple[Path, ...]
    proposal: str | None
    outline: Outline
    stretches: tuple[Stretch, ...]
    invented: bool
    warnings: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """The look as `distil --look` prints it in JSON, SI."""
        return {
            "traces": [str(path) for path in self.traces],
            "invented": self.invented,
            "samples": self.outline.rows,
            "proposal": self.proposal,
            "stretches": [
                {"kind": s.kind, "name": s.name, "start_s": s.start_s, "end_s": s.end_s}
                for s in self.stretches
            ],
            "outline": self.rows(),
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, float]]:
        """The outline: extremes and mean of each piece."""
        found = self.outline
        edges = found.t.tolist()
        values = zip(found.low.tolist(), found.mean.tolist(), found.high.tolist(), strict=True)
        return [
            {"start_s": a, "end_s": b, "low_a": low, "mean_a": mean, "high_a": high}
            for a, b, (low, mean, high) in zip(edges[:-1], edges[1:], values, strict=True)
        ]

    def to_frame(self) -> pd.DataFrame:
        """The outline as a data frame."""
        return frame(self.rows())


def look(recorded: Named | Sequence[Named], notes: Named | None = None) -> Look:
    """Look at traces.

    Parameters
    ----------
    recorded : traces, one after the other in time. notes : those of the session; None: they are
    proposed from the first trace.

    Raises
    ------
    FaultError
        For files that cannot be read, or not as the notes say.
    """
    recorded, notes = paths_of(recorded), None if notes is None else Path(notes)
    rehearsed = any(traces.is_rehearsed(path) for path in recorded)
    if notes is not None:
        session = read_notes(notes)
        columns = session.trace

        def samples() -> Iterator[Chunk]:
            return stamped(recorded, Columns.of(columns), columns.marker)

        drawn = outline(samples())
        stretches, warnings = _by_notes(session, samples())
        return Look(
            traces=tuple(recorded),
            proposal=None,
            outline=drawn,
            stretches=stretches,
            invented=rehearsed,
            warnings=warnings,
        )
    found = sniff(recorded[0])
    lines = list(_columns(found))
    proposed = _read(lines, recorded[0])
    drawn = outline(stamped(recorded, Columns.of(proposed), proposed.marker))
    cuts: list[Stretch] = []
    said: list[str] = []
    if proposed.marker is not None:
        again = stamped(recorded, Columns.of(proposed), proposed.marker)
        cuts, said = _pulses(proposed, again)
        chatter = _chatter(cuts)
        if chatter is not None:
            line, word = lines[-1]
            lines[-1] = (f"{line[:-1]}, debounce: {chatter:.2g} s}}", f"{word}; it rings")
            proposed = _read(lines, recorded[0])
            again = stamped(recorded, Columns.of(proposed), proposed.marker)
            cuts, said = _pulses(proposed, again)
    text = _notes(recorded, lines, drawn, cuts, rehearsed)
    return Look(
        traces=tuple(recorded),
        proposal=text,
        outline=drawn,
        stretches=tuple(cuts),
        invented=rehearsed,
        warnings=tuple(said),
    )


def _chatter(cuts: Sequence[Stretch]) -> float | None:
    """A debounce in s, twice the longest of stretches a tenth as long as most; None without any."""
    edges = np.array([x for s in cuts for x in (s.start_s, s.end_s)])
    lengths = np.diff(edges)
    if len(lengths) < LEAST_EDGES:
        return None
    short = lengths[lengths < SHORT * np.percentile(lengths, 90)]
    return 2 * float(short.max()) if len(short) else None


def _pulses(columns: TraceColumns, chunks: Iterator[Chunk]) -> tuple[list[Stretch], list[str]]:
    """(the marker's pulses, what is wrong with them); what spoils figures must not spoil a look."""
    marker = columns.marker
    assert marker is not None
    level = marker.above if marker.above is not None else marker.below
    assert level is not None
    try:
        found = measure(chunks, (), level.nominal, marker.above is None)
    except FaultError as error:
        return [], [str(fault) for fault in error.faults]
    edges = zip(found.start, found.end, strict=True)
    return [_stretch("kernel", MARKER, float(a), float(b)) for a, b in edges], []


def _by_notes(
    session: Session, chunks: Iterator[Chunk]
) -> tuple[tuple[Stretch, ...], tuple[str, ...]]:
    """(stretches by the notes, what does not go with them); pulses beyond the runs keep no name."""
    out = [
        _stretch("state", key_of(s), s.begin.nominal, s.end.nominal)
        for s in session.states
        if s.begin is not None and s.end is not None
    ]
    wanted = [
        ("wake" if s.wake else "kernel", key_of(s))
        for s in session.pulses
        for _ in range(s.runs or 0)
    ]
    columns = session.trace
    if columns.marker is None:
        words = "no marker: pulses are told by their current, when figures are made"
        return tuple(out), (words,) if wanted else ()
    pulses, said = _pulses(columns, chunks)
    for pulse, (kind, name) in zip(pulses, wanted, strict=False):
        out.append(
            _stretch("wake" if kind == "wake" else "kernel", name, pulse.start_s, pulse.end_s)
        )
    out += pulses[len(wanted) :]
    if len(pulses) != len(wanted) and not said:
        said.append(f"{len(pulses)} pulses of the marker, {len(wanted)} runs in the notes")
    return tuple(sorted(out, key=lambda s: s.start_s)), tuple(said)


def _read(lines: Sequence[tuple[str, str]], path: Path) -> TraceColumns:
    """The columns that the lines of a proposal tell."""
    log, file = FaultLog(), str(path)
    root = read_text("\n".join(line for line, _ in lines), file).root
    found: TraceColumns = read_record(TraceColumns, root, "trace", Reading(file, "proposal", log))
    log.raise_if_any()
    return found


def _columns(found: Sniffed) -> Iterator[tuple[str, str]]:
    """(key and value, a word on it) for each line of `trace`."""
    said = roles(found.columns)
    words = {"encoding": "a guess, by its bytes", "decimal": "", "footer": "lines at the end"}
    for name, value in found.keys.items():
        yield f"{name}: {value}", words.get(name, "")
    headless = found.keys.get("header") == "none"
    yield _time(said.get("time"), headless)
    for role, usual in (("current", "A"), ("voltage", "V")):
        column = said.get(role)
        if column is not None:
            guess = "" if column.unit else "? no unit stands in the file"
            unit = column.unit or (_likely(column) if role == "current" else usual)
            yield f"{role}: {{{_named(column, headless)}, unit: {unit}}}", guess
    marker = said.get("marker")
    if marker is not None:
        yield _marker(marker, headless)


def _likely(column: Seen) -> str:
    """The unit of a current that states none: parts draw less than an ampere (common practice, no
    source)."""
    most = float(np.abs(column.first).max(initial=0.0))
    return next((unit for unit, end in (("A", 1.0), ("mA", 1e3), ("uA", 1e6)) if most < end), "nA")


def _named(column: Seen, headless: bool) -> str:
    if headless or column.name is None:
        return f"place: {column.place}"
    plain = column.name.replace("_", "").replace("-", "").isalnum()
    return f"column: {column.name if plain else quoted(column.name)}"


def _time(column: Seen | None, headless: bool) -> tuple[str, str]:
    if column is None:
        return "time: {rate: 1 kHz}", "? no column of times: samples a second, of the meter"
    named = _named(column, headless)
    if column.date:
        return f"time: {{{named}, as: date-time}}", "ISO 8601"
    steps = np.diff(column.first)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    epoch = epoch_of(column.first)
    if epoch is not None:
        return f"time: {{{named}, as: epoch, unit: {epoch}}}", "since 1970"
    if column.unit is None and usual == 1.0 and bool((steps == 1.0).all()):
        words = "? counts samples: samples a second, of the meter"
        return f"time: {{{named}, as: index, rate: 1 kHz}}", words
    unit = column.unit or "s"
    guess = "" if column.unit else "? no unit stands in the file"
    batched, back = bool((steps == 0).mean() > 0.2), bool((steps < 0).any())
    if usual and (batched or back):
        second = spellings("time")[unit]
        slope, offset = np.polyfit(np.arange(len(column.first)), column.first, 1)
        off = column.first - offset - slope * np.arange(len(column.first))
        jitter = usual if batched else float(np.ptp(off))
        how = "come in batches" if batched else "jitter"
        words = f"? stamps {how}; the meter's own rate and jitter are better"
        rate = f"rate: {1 / (slope * second):.6g} Hz, jitter: {jitter * second:.2g} s"
        return f"time: {{{named}, unit: {unit}, {rate}}}", words
    return f"time: {{{named}, unit: {unit}}}", guess


def _marker(column: Seen, headless: bool) -> tuple[str, str]:
    low, high = float(column.all.min()), float(column.all.max())
    middle = 0.5 * (low + high)
    idle_high = bool(column.first[0] > middle)
    side = "below" if idle_high else "above"
    keys = f"{_named(column, headless)}, {side}: {middle:.3g}"
    if len(np.unique(column.all)) > 2:
        keys += f", hysteresis: {0.3 * (high - low):.3g}"
    return f"marker: {{{keys}}}", f"from {low:.3g} to {high:.3g}"


def _notes(
    recorded: Sequence[Path],
    lines: Sequence[tuple[str, str]],
    drawn: Outline,
    cuts: Sequence[Stretch],
    rehearsed: bool,
) -> str:
    """Notes to fill in."""
    length = float(drawn.t[-1] - drawn.t[0])
    rate = (drawn.rows - 1) / length if length else 0.0
    named = " ".join(path.name for path in recorded)
    out = [
        f"# Proposed from {quoted(named)}: {drawn.rows} samples in {length:.6g} s, "
        f"{show(rate, 'frequency')}.",
        "# What bears ? is a guess, what is commented out is yours to tell.",
        "part: my-part",
        f"origin: {'rehearsed' if rehearsed else 'recorded'}",
        "# log: run.txt                # the lines that the kernels printed",
        "trace:",
        *(_commented(f"  {line}", word) for line, word in lines),
        "# supply: 3.300(2) V          # at the chip's pin",
        "# instrument: {id: meter-a, gain: 0.2 %, offset: 50 nA, timebase: 50 ppm}",
        "# board-overhead: 0 mA",
        "point: {name: my-point}       # and its clock: {name: fast, clock: 60 MHz}",
        "segments:                     # in the order of the marker's pulses",
    ]
    if cuts:
        first, last = cuts[0].start_s, cuts[-1].end_s
        line = f"  - {{kernel: my-kernel, units: 1, runs: {len(cuts)}}}"
        out.append(_commented(line, f"? pulses from {first:.6g} to {last:.6g} s"))
    else:
        out.append("  # - {kernel: my-kernel, units: 1, runs: 20}")
    quiet = _quiet(drawn, cuts)
    if quiet is not None:
        begin, end = quiet
        line = f"  - {{state: my-state, from: {begin:.6g} s, to: {end:.6g} s}}"
        out.append(_commented(line, "? the longest stretch without a pulse"))
    return "\n".join(out) + "\n"


def _commented(line: str, word: str) -> str:
    return f"{line:<45} # {word}" if word else line


def _quiet(drawn: Outline, cuts: Sequence[Stretch]) -> tuple[float, float] | None:
    """The inner four fifths of the longest low stretch without a pulse, if it outlasts them."""
    if not cuts:
        return None
    edges = [float(drawn.t[0]), *(x for s in cuts for x in (s.start_s, s.end_s))]
    edges.append(float(drawn.t[-1]))
    pauses = list(zip(edges[::2], edges[1::2], strict=True))
    begin, end = max(pauses, key=lambda pause: pause[1] - pause[0])
    inside = np.flatnonzero((drawn.t[:-1] >= begin) & (drawn.t[1:] <= end))
    if len(inside) < 2:
        return None
    level = drawn.mean[inside]
    # a pause may hold idling and sleeping: the lower of the two
    low = np.flatnonzero(level <= 0.5 * (level.min() + level.max()))
    runs = np.split(low, np.flatnonzero(np.diff(low) > 1) + 1)
    if level.max() > TWICE * level.min():
        longest = inside[max(runs, key=len)]
        begin, end = float(drawn.t[longest[0]]), float(drawn.t[longest[-1] + 1])
    if end - begin < max(s.end_s - s.start_s for s in cuts):
        return None
    tenth = 0.1 * (end - begin)
    return begin + tenth, end - tenth


def names_of_stretches(stretches: Sequence[Stretch]) -> Mapping[str, list[Stretch]]:
    """Stretches by what they are of, in the order in which they first come."""
    out: dict[str, list[Stretch]] = {}
    for one in stretches:
        out.setdefault(one.name, []).append(one)
    return out


def touched(cuts: Sequence[Stretch], grid: Sequence[float]) -> list[bool]:
    """Whether any of some stretches touches each column of a picture; `grid`: its middles, s."""
    begin = np.array([s.start_s for s in cuts])
    end = np.array([s.end_s for s in cuts])
    at = np.array(grid)
    half = 0.5 * (at[1] - at[0])
    inside = np.searchsorted(begin, at + half) > np.searchsorted(end, at - half)
    return [bool(here) for here in inside]
