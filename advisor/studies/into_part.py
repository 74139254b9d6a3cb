"""What a session tells, written into its part's file: figures, evidence, and each board's own."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from yaml.nodes import ScalarNode

from advisor import figures as paths
from advisor.bench import trace as traces
from advisor.bench.budget import Result
from advisor.bench.distil import OF_THE_METER
from advisor.bench.instrument import GAIN
from advisor.catalogue.edit import Tree, flow, placed, quoted
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.schema_bench import IDLE
from advisor.catalogue.schema_parts import Part
from advisor.faults import FaultLog
from advisor.quantities import written
from advisor.source import read_text
from advisor.studies.distil import Distilled
from advisor.studies.merging import (
    MergedFigure,
    Seen,
    dimension_of,
    evidence_id,
    merge,
    merged_volts,
    seen_in,
    sessions_of,
    text_of,
)
from advisor.studies.merging import Session as BoardSession
from advisor.studies.merging import evidence as merged_evidence
from advisor.studies.standing import BUILT, Volts, mixed, tree_of


def into_part(found: Distilled, before: str | None, file: str) -> str:
    """A part's file with the figures put in; comments, order and all else as they were.

    Parameters
    ----------
    before : the file's text, None for a new one. file : its name.

    Raises
    ------
    FaultError
        For a file of another part; for figures at another clock, supply or build than those that
        stand at the point; for a board that is not named where others are; and for a sleep current
        that stands as a curve where the notes do not say at which temperature this one was taken.
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
    part = _part(before, file, found.part)
    log = FaultLog()
    mixed(found.session, part, _volts(found), found.versions, log)
    log.raise_if_any()
    after = placed(before, file, _tree(found, root, part))
    _part(after, file, found.part)
    return after


def merged_in(after: str, file: str, identity: str) -> tuple[MergedFigure, ...]:
    """The figures of a part's file that are merged from its boards' observations."""
    return merge(sessions_of(_part(after, file, identity)))


def _part(text: str, file: str, identity: str) -> Part:
    log = FaultLog()
    part: Part = read_record(Part, read_text(text, file).root, "", Reading(file, identity, log))
    log.raise_if_any()
    return part


def _tree(found: Distilled, root: Any, part: Part) -> Tree:
    notes = found.session.notes
    day = notes.date or datetime.date.today()
    kind = "estimate" if found.invented else "bench"
    evidence = f"{'rehearsal' if found.invented else 'bench'}-{day.isoformat()}-{found.point}"
    seen, volts = _seen(found), _volts(found)
    own: dict[str, Tree | str] = {}
    if notes.board is not None:
        observation = f"{_slug(notes.board)}-{traces.digest(found.traces)[:8]}"
        evidence = f"{evidence}-{observation}"
        kept = _observation(found, seen, volts, evidence, day)
        stands = part.boards.get(observation)
        # the same trace with other notes: nothing of what they said before may stay
        stale = stands is not None and not seen_in(stands).keys() <= seen.keys()
        own = {observation: flow(kept) if stale else kept}
    else:
        _no_boards(found, part, seen)
    texts = {path: _text(path, s) for path, s in seen.items()}
    of = dict.fromkeys(texts, evidence)
    entries = {evidence: flow(_evidence(found, day))}
    if notes.board is not None:
        meter = found.session.meter
        gain = meter.gain.nominal if meter.gain is not None and _shares_gain(found) else 0.0
        sessions = sessions_of(part, without=next(iter(own)))
        sessions[next(iter(own))] = BoardSession(
            board=notes.board,
            seen=seen,
            volts=volts,
            date=day,
            kind=kind,
            instrument=meter.id if _shares_gain(found) else None,
            gain=gain,
            built=notes.built,
        )
        merged = merge(sessions)
        texts |= {one.path: text_of(one) for one in merged}
        of |= {one.path: evidence_id(one.path) for one in merged}
        volts |= merged_volts(sessions)
        entries |= merged_evidence(sessions, merged)
    tree: dict[str, Tree | str] = {}
    if found.invented:
        tree["invented"] = "true"
    tree["evidence"] = entries
    texts |= {path: v.text for path, v in volts.items()} | _together(found, part)
    made: dict[str, Any] = tree_of(found.session, root, part, texts, of)
    for name in found.figures.kernels:
        kernel, variant = found.session.in_part(name)
        if kernel in found.versions:
            made["kernels"][kernel][variant]["version"] = str(found.versions[kernel])
    point = made.setdefault("operating-points", {}).setdefault(found.point, {})
    if notes.point.clock is not None:
        point["clock"] = notes.point.clock.text
    if notes.code_size:
        tree["code-size"] = {name: size.text for name, size in notes.code_size.items()}
    if notes.peak:
        tree["peak-current"] = _peak(found)
    return {**tree, **made, **({"boards": own} if own else {})}


def _peak(found: Distilled) -> str:
    peak = found.figures.peak
    return written(peak.value, peak.u, "current")


def _slug(board: str) -> str:
    """A serial number as it may stand in an id."""
    return re.sub("[^a-z0-9]+", "-", board.lower()).strip("-") or "board"


def _no_boards(found: Distilled, part: Part, seen: Mapping[str, Seen]) -> None:
    """Refuse a session of an unnamed board where figures are merged from named ones."""
    held = {path: s.board for s in sessions_of(part).values() for path in s.seen}
    path = next((p for p in seen if p in held), None)
    if path is not None:
        raise found.session.refuse(
            "board", "no such key", f"the board: {path} is merged from boards such as {held[path]}"
        )


def _seen(found: Distilled) -> dict[str, Seen]:
    """Every figure of the session by its path in a part."""
    out = {}
    for name, work in found.figures.kernels.items():
        at = ".".join(("kernels", *found.session.in_part(name)))
        out[f"{at}.time"] = _one(found, work.time)
        out[f"{at}.current"] = _one(found, work.current)
    for held in found.figures.states:
        at = f"sleep-states.{held.state}.current"
        if held.state == IDLE:
            at = f"operating-points.{found.point}.idle-current"
        elif held.temperature is not None:
            at += f".{held.temperature:g} degC"
        out[at] = _one(found, held.current)
    for state, work in found.figures.wakes.items():
        out[f"sleep-states.{state}.wake-time"] = _one(found, work.time)
        out[f"sleep-states.{state}.wake-charge"] = _one(found, work.charge)
    return out


def _volts(found: Distilled) -> dict[str, Volts]:
    """The voltage of every figure whose file has a place for it, by that path."""
    out = {}
    for name, work in found.figures.kernels.items():
        path = ".".join(("kernels", *found.session.in_part(name), "supply"))
        out[path] = Volts(work.voltage.value, work.voltage.u)
    for held in found.figures.states:
        at = f"sleep-states.{held.state}.supply"
        if held.state == IDLE:
            at = f"operating-points.{found.point}.supply"
        elif not found.figures.by_channel:
            continue
        elif held.temperature is not None:
            at += f".{held.temperature:g} degC"
        out[at] = Volts(held.voltage.value, held.voltage.u)
    return out


def _together(found: Distilled, part: Part) -> dict[str, str]:
    """How the errors of time and current go together, by path: where it matters, or stands.

    Of several boards the figures' errors are the boards' own.
    """
    out = {}
    for name, work in found.figures.kernels.items():
        kernel, variant = found.session.in_part(name)
        own = _one(found, work.current)
        alone = found.session.notes.board is None
        r = work.together(math.hypot(own.u / own.value, own.common)) if alone else 0.0
        stands = part.kernels.get(kernel, {}).get(variant)
        if r or (stands is not None and stands.correlation is not None):
            out[f"kernels.{kernel}.{variant}.correlation"] = f"{r:.3g}"
    return out


def _one(found: Distilled, result: Result) -> Seen:
    """A result as its session saw it; what the evidence's gain carries is left out of its u."""
    if result.value <= 0:
        # a file holds no current below zero: what of the interval is above it, evenly
        half = (result.value + result.expanded) / 2
        return Seen(half, half / math.sqrt(3), 0.0)
    u = result.u
    gain = found.session.meter.gain
    whole = next((t.u for t in result.budget if t.source == GAIN), 0.0)
    if whole and _shares_gain(found) and gain is not None:
        shared = gain.nominal / math.sqrt(3) * result.value
        u = math.sqrt(max(result.without(GAIN) ** 2 + whole**2 - shared**2, 0.0))
    common = min(math.hypot(*(t.u for t in result.budget if t.source.startswith(OF_THE_METER))), u)
    return Seen(result.value, math.sqrt(u**2 - common**2), common / result.value)


def _text(path: str, seen: Seen) -> str:
    u = math.hypot(seen.u, seen.common * seen.value)
    return written(seen.value, u, dimension_of(path))


def _observation(
    found: Distilled,
    seen: Mapping[str, Seen],
    volts: Mapping[str, Volts],
    evidence: str,
    day: datetime.date,
) -> Tree:
    """What the session saw of its board, for the part's file."""
    tree: dict[str, Any] = {
        "board": quoted(found.session.notes.board or ""),
        "date": day.isoformat(),
        "trace": traces.digest(found.traces),
        "evidence": evidence,
    }
    texts = {path: written(one.value, one.u, dimension_of(path)) for path, one in seen.items()}
    for path, text in {**texts, **{path: v.text for path, v in volts.items()}}.items():
        section, *keys = path.split(".")
        # a temperature may have a decimal point, and is the last key there
        at = [section, *keys[:2], ".".join(keys[2:])] if len(keys) > 2 else [section, *keys]
        below = tree
        for key in at[:-1]:
            below = below.setdefault(key, {})
        below[at[-1]] = text
        if section == "kernels" and keys[0] in found.versions:
            below["version"] = str(found.versions[keys[0]])
    common = {p: f"{100 * s.common:.3g} %" for p, s in seen.items() if s.common}
    return {**tree, **({"common": common} if common else {})}


def _evidence(found: Distilled, day: datetime.date) -> Tree:
    meter = found.session.meter
    note = [found.session.notes.note or ""]
    if found.invented:
        note.append("rehearsed: invented, not measured")
    runs = {s.runs for s in found.figures.stretches if s.kind == "kernel"}
    if runs:
        note.append(
            "runs of each kernel: " + " to ".join(str(r) for r in sorted({min(runs), max(runs)}))
        )
    note.append(f"SHA-256 of the traces {traces.digest(found.traces)}")
    out: dict[str, Tree | str] = {
        "kind": "estimate" if found.invented else "bench",
        "date": day.isoformat(),
    }
    if _shares_gain(found):
        assert meter.id is not None
        assert meter.gain is not None
        out |= {"instrument": meter.id, "gain": meter.gain.text}
    built = found.session.notes.built
    told = {k: quoted(v) for k in BUILT if (v := getattr(built, k)) is not None}
    if told:
        out["built"] = told
    out["note"] = quoted("; ".join(word for word in note if word))
    return out


def _shares_gain(found: Distilled) -> bool:
    """Whether the meter's gain is told once for all its figures rather than in each."""
    meter = found.session.meter
    return meter.id is not None and meter.gain is not None
