"""A part's figures merged from what sessions measured of single boards."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from advisor.bench import boards as pooling
from advisor.catalogue.edit import Tree, flow, quoted
from advisor.catalogue.schema_parts import Build, Observation, Part
from advisor.dataclass import dataclass
from advisor.quantities import Quantity, show, written
from advisor.studies.standing import BUILT, Volts

POINT, SLEEP = "operating-points", "sleep-states"
# last key of a figure's path to (dimension, what its spread between boards is called)
_WHAT = {
    "time": ("time", "time"),
    "current": ("current", "current"),
    "idle-current": ("current", "idle-current"),
    "wake-time": ("time", "wake-time"),
    "wake-charge": ("charge", "wake-charge"),
}


@dataclass(frozen=True, slots=True)
class Seen:
    """A figure as one session saw it, SI: `u` of its own, and relative what its meter adds in
    every session alike; the gain that the evidence states is in neither."""

    value: float
    u: float
    common: float = 0.0


@dataclass(frozen=True, slots=True)
class MergedFigure:
    """A part's figure as its boards give it."""

    path: str
    dimension: str
    boards: tuple[str, ...]
    sessions: int
    figure: pooling.Figure
    spread: float

    @property
    def outliers(self) -> tuple[str, ...]:
        """Boards whose residual against the others is beyond three standard deviations."""
        return tuple(self.boards[i] for i in self.figure.relative.outliers)

    def document(self) -> dict[str, Any]:
        """For JSON, SI; spreads and residuals are relative, of the logarithm."""
        found = self.figure
        return {
            "path": self.path,
            "boards": list(self.boards),
            "sessions": self.sessions,
            "value": found.value,
            "next_unit_u": found.u,
            "mean_u": found.mean_u,
            "between_boards": found.relative.tau,
            "prior_scale": self.spread,
            "residuals": dict(zip(self.boards, found.relative.residuals, strict=True)),
            "outliers": list(self.outliers),
        }

    def warnings(self) -> Iterator[str]:
        """What to mind of it."""
        for board in self.outliers:
            r = self.figure.relative.residuals[self.boards.index(board)]
            yield f"{self.path}: board {board} is {abs(r):.1f} standard deviations from the others"


def dimension_of(path: str) -> str:
    """Dimension of a figure that is measured, by its path."""
    return _what(path)[0]


def _what(path: str) -> tuple[str, str]:
    if path.startswith(SLEEP) and ".current" in path:
        return "current", "sleep-current"
    return _WHAT[path.rpartition(".")[2]]


def seen_in(observation: Observation) -> dict[str, Seen]:
    """The figures of an observation by their paths in the part."""
    out: dict[str, Quantity | None] = {}
    for kernel, variants in observation.kernels.items():
        for variant, figure in variants.items():
            out[f"kernels.{kernel}.{variant}.time"] = figure.time
            out[f"kernels.{kernel}.{variant}.current"] = figure.current
    for name, point in observation.operating_points.items():
        out[f"{POINT}.{name}.idle-current"] = point.idle_current
    for name, state in observation.sleep_states.items():
        if state.current is not None:
            for x, y in zip(state.current.x, state.current.y, strict=True):
                at = f".{x:g} degC" if state.current.keys else ""
                out[f"{SLEEP}.{name}.current{at}"] = y
        out[f"{SLEEP}.{name}.wake-time"] = state.wake_time
        out[f"{SLEEP}.{name}.wake-charge"] = state.wake_charge
    common = observation.common
    return {
        path: Seen(q.nominal, q.u, common[path].nominal if path in common else 0.0)
        for path, q in out.items()
        if q is not None
    }


def volts_in(observation: Observation) -> dict[str, Volts]:
    """The voltages of an observation's figures, by their paths in the part."""
    out: dict[str, Quantity | None] = {}
    for kernel, variants in observation.kernels.items():
        for variant, figure in variants.items():
            out[f"kernels.{kernel}.{variant}.supply"] = figure.supply
    for name, point in observation.operating_points.items():
        out[f"{POINT}.{name}.supply"] = point.supply
    for name, state in observation.sleep_states.items():
        if state.supply is not None:
            for x, y in zip(state.supply.x, state.supply.y, strict=True):
                at = f".{x:g} degC" if state.supply.keys else ""
                out[f"{SLEEP}.{name}.supply{at}"] = y
    return {path: Volts(q.nominal, q.u) for path, q in out.items() if q is not None}


@dataclass(frozen=True, slots=True)
class Session:
    """An observation with its meter; `gain` is a half-width, relative."""

    board: str
    seen: Mapping[str, Seen]
    volts: Mapping[str, Volts]
    date: datetime.date | None
    kind: str
    instrument: str | None
    gain: float
    built: Build


def sessions_of(part: Part, without: str | None = None) -> dict[str, Session]:
    """The observations of a part by their ids, but one."""
    out = {}
    for name, observation in part.boards.items():
        if name == without:
            continue
        evidence = part.evidence.get(observation.evidence or "")
        gain = None if evidence is None else evidence.gain
        out[name] = Session(
            board=observation.board,
            seen=seen_in(observation),
            volts=volts_in(observation),
            date=observation.date,
            kind="estimate" if evidence is None or evidence.kind is None else evidence.kind,
            instrument=None if evidence is None else evidence.instrument,
            gain=0.0 if gain is None else gain.nominal,
            built=Build() if evidence is None else evidence.built,
        )
    return out


def one_meter(sessions: Mapping[str, Session]) -> bool:
    """Whether one named meter took all, so that its gain is told once for all of them."""
    return len({(s.instrument, s.gain) for s in sessions.values()}) == 1 and all(
        s.instrument is not None for s in sessions.values()
    )


def merge(sessions: Mapping[str, Session]) -> tuple[MergedFigure, ...]:
    """Every figure that sessions saw, merged over their boards.

    Sessions of a board are first made one; where several meters took them each gain joins the
    session's own uncertainty.
    """
    shared = one_meter(sessions)
    by_path: dict[str, dict[str, list[Seen]]] = defaultdict(lambda: defaultdict(list))
    for session in sessions.values():
        for path, seen in session.seen.items():
            if not shared:
                gain = session.gain / math.sqrt(3) * seen.value
                current = dimension_of(path) != "time"
                seen = replace(seen, u=math.hypot(seen.u, gain if current else 0.0))
            by_path[path][session.board].append(seen)
    out = []
    for path, by_board in by_path.items():
        each = [
            pooling.merged([s.value for s in found], [s.u for s in found])
            for found in by_board.values()
        ]
        common = [sum(s.common for s in found) / len(found) for found in by_board.values()]
        dimension, what = _what(path)
        spread = pooling.SPREADS[what]
        out.append(
            MergedFigure(
                path=path,
                dimension=dimension,
                boards=tuple(by_board),
                sessions=sum(len(found) for found in by_board.values()),
                figure=pooling.figure([v for v, _ in each], [u for _, u in each], spread, common),
                spread=spread,
            )
        )
    return tuple(out)


def merged_volts(sessions: Mapping[str, Session]) -> dict[str, Volts]:
    """The voltage that goes with each merged figure: the mean of its boards', by path.

    It is how a figure was taken, no trait of a board: what one bench's channel may be off by it is
    off by in all, beside the scatter from board to board.
    """
    by_path: dict[str, dict[str, list[Volts]]] = defaultdict(lambda: defaultdict(list))
    for session in sessions.values():
        for path, volts in session.volts.items():
            by_path[path][session.board].append(volts)
    out = {}
    for path, by_board in by_path.items():
        means = [sum(v.value for v in found) / len(found) for found in by_board.values()]
        n, mean = len(means), sum(means) / len(means)
        spread = sum((m - mean) ** 2 for m in means) / (n * (n - 1)) if n > 1 else 0.0
        channel = max(v.u for found in by_board.values() for v in found)
        out[path] = Volts(mean, math.hypot(channel, math.sqrt(spread)))
    return out


def text_of(found: MergedFigure) -> str:
    """The figure as it stands in the part: its u is of the next unit."""
    return written(found.figure.value, found.figure.u, found.dimension)


def evidence_id(path: str) -> str:
    """The evidence of a merged figure: of its point, or of the sleep states."""
    keys = path.split(".")
    if keys[0] == SLEEP:
        return "boards"
    point = keys[1] if keys[0] == POINT else keys[2].partition("+")[0]
    return f"boards-{point}"


def evidence(sessions: Mapping[str, Session], merged: tuple[MergedFigure, ...]) -> dict[str, str]:
    """The evidence of merged figures, by its id."""
    out: dict[str, str] = {}
    for identity in dict.fromkeys(evidence_id(found.path) for found in merged):
        paths = {found.path for found in merged if evidence_id(found.path) == identity}
        of = [s for s in sessions.values() if paths & s.seen.keys()]
        number = len({s.board for s in of})
        kinds = {s.kind for s in of}
        entry: dict[str, str | Tree] = {"kind": kinds.pop() if len(kinds) == 1 else "estimate"}
        days = [s.date for s in of if s.date is not None]
        if days:
            entry["date"] = max(days).isoformat()
        if one_meter(sessions) and of[0].gain:
            entry |= {"instrument": str(of[0].instrument), "gain": f"{100 * of[0].gain:.12g} %"}
        told = {key: [v for s in of if (v := getattr(s.built, key))] for key in BUILT}
        # leakage does not ask how a kernel was built
        built = {k: quoted(v[0]) for k, v in told.items() if v and identity != "boards"}
        if built:
            entry["built"] = built
        note = f"merged from {number} board{'s' if number > 1 else ''}, {len(of)} session"
        note += "s" if len(of) > 1 else ""
        note += "; u is of the next unit"
        if number == 1:
            note += ", by the spread that is usual between boards (common practice, no source)"
        entry["note"] = quoted(note)
        out[identity] = flow(entry)
    return out


def summary(found: tuple[MergedFigure, ...]) -> list[str]:
    """What was merged, in words, a line a figure."""
    lines = []
    for one in found:
        number, share = len(one.boards), one.figure.u / one.figure.value
        why = "" if number > 1 else ", its spread the usual one (common practice, no source)"
        lines.append(
            f"{one.path}: {show(one.figure.value, one.dimension, 4)} ±{100 * share:.2g} % (u of "
            f"the next unit), from {number} board{'s' if number > 1 else ''}{why}"
        )
    return lines
