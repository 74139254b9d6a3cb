"""Sessions on the bench whose figures are kept: every kind of meter, what disturbs a trace, notes
of every feature. All made up."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from advisor.bench.chunks import Chunk
from advisor.bench.kernels import KERNELS, SMALL
from advisor.bench.runlog import read_log
from advisor.bench.targets import TARGETS
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.places import catalogue_folder
from advisor.faults import FaultError
from advisor.studies.compare import compare
from advisor.studies.distil import distil
from advisor.studies.look import look
from advisor.studies.rehearse import rehearse
from advisor.studies.results import plain
from tests.on_bench import layouts, sessions
from tests.on_bench.disturbances import DISTURBANCES
from tests.on_bench.meters import KINDS, Drooping, session
from tests.on_bench.test_distil_without_marker import notes_of_five_runs, trace
from tests.on_bench.test_exports import LAYOUTS
from tests.on_bench.test_exports_refused import NOTED
from tests.on_bench.test_exports_refused import WRONG as WRONG_EXPORTS
from tests.on_bench.test_notes import WRONG as WRONG_NOTES
from tests.on_bench.test_plausible import WRONG as WRONG_WORK
from tests.on_bench.test_plausible import lines
from tests.on_bench.test_plausible import session as session_of_three
from tests.on_bench.test_provenance import HEAD, HELD, OTHER, SAME, STATES, STRETCHED, built
from tests.on_bench.test_runlog import GARBLED

Case = Callable[[Path], Any]


def figures(found: Any) -> Any:
    """What a session's traces say, budgets and all."""
    out = {f.name: getattr(found, f.name) for f in dataclasses.fields(found)}
    return plain(out)


def _refused(folder: Path, case: Callable[[], Any]) -> Any:
    """What a case answers, or the faults for which it does not."""
    try:
        return case()
    except FaultError as error:
        texts = [f.text().replace(f"{folder}/", "") for f in error.faults]
        return {"faults": texts}


def _meter(name: str, drooping: Drooping | None = None, runs: int = 20) -> Case:
    def case(folder: Path) -> Any:
        made = session(KINDS[name], 3, folder, drooping=drooping, runs=runs)
        return _refused(folder, lambda: figures(made.distilled()))

    return case


def _disturbed(name: str, consent: str = "") -> Case:
    def case(folder: Path) -> Any:
        made = DISTURBANCES[name].made(1, folder)
        if consent:
            begin, end = made.bench.spans["ram-kept"]
            text = consent.replace("AT", f"{begin + 0.309}").replace("TO", f"{begin + 0.313}")
            made.changes.append((f"to: {end} s", f"to: {end} s, {text}"))
        return _refused(folder, lambda: figures(made.distilled()))

    return case


TRACED = "board-overhead: {trace: board.csv, from: 0 s, to: 1 s}"
HASH = "  - {kernel: hash, units: 20, runs: 20}\n"
LONG = "  - {state: ram-kept, from: 2.0 s, to: 2.5 s}\n"
# of the notes, what stands there and what is put in its place
NOTES: dict[str, tuple[tuple[str, str], ...]] = {
    "stated": (),
    "overhead-traced": (("board-overhead: 1.200(2) mA", TRACED),),
    "no-overhead": (("board-overhead: 1.200(2) mA", "board-overhead: 0 mA"),),
    "exact-supply": (("supply: 3.300(2) V", "supply: 3.3 V"), ("clock: 120 MHz", "clock: 1 MHz")),
    "no-offset": (("gain: 0.1 %, offset: 2 µA, timebase: 50 ppm", "gain: 3 %"),),
    "quiet": (("noise: 100 µA", "noise: 0 µA"), ("spread: 0.5 %", "spread: 0 %")),
    "few-runs": (("units: 20, runs: 20", "units: 20, runs: 3"),),
    "one-run": (("units: 40, runs: 20", "units: 4000, runs: 1"),),
    "slow": (("rate: 20 kHz", "rate: 3 kHz"),),
    "too-slow": (("rate: 20 kHz", "rate: 600 Hz"),),
    "by-engine": (("kernel: filter,", "kernel: hash, engine: aid,"),),
    "wakes": (
        (
            "  - {kernel: filter, units: 40, runs: 20}",
            "  - {wake: ram-kept, runs: 30}",
        ),
        ("  states:", "  wakes: {ram-kept: {time: 300 us, current: 2 mA}}\n  states:"),
        ("to: 2.5 s}", "to: 2.5 s, temperature: 25 degC}"),
    ),
    "zero": (("point:", "zero: [{from: 0.01 s, to: 0.03 s}]\npoint:"),),
    "edge-guard": (("point:", "edge-guard: 300 us\npoint:"),),
    "delay": (("point:", "delay: 100 us\npoint:"),),
    "at-reset": (
        ("point:", "reset-current: 0.300(1) mA\npoint:"),
        ("1.200(2) mA", "1.500(2) mA"),
    ),
    "behind-a-regulator": (("point:", "measured-at: board-linear\npoint:"),),
    "shunt": (("unit: A}", "unit: mV, shunt: 10.0(1) ohm}"),),
    "no-peak": (("point:", "peak: false\npoint:"),),
    "ranged": (("timebase: 50 ppm", "timebase: 50 ppm, range: 12 mA"),),
    "board": (
        ("point:", "board: b-7\npoint:"),
        ("spread: 0.5 %", "board-spread: 2 %\n  spread: 0.5 %"),
    ),
    "sleep-in-two": (
        (LONG, LONG.replace("to: 2.5 s", "to: 2.5 s, cut: [{from: 2.1 s, to: 2.2 s}]")),
    ),
    "accepted": ((LONG, LONG.replace("to: 2.5 s", "to: 2.5 s, accept: [drift]")),),
    "short-sleep": ((LONG, LONG.replace("to: 2.5 s", "to: 2.003 s")),),
    "backwards": ((LONG, LONG.replace("from: 2.0 s", "from: 0.1 s")),),
    "guarded": (
        ("marker: {column: m, above: 0.5}", "marker: {column: m, above: 0.5, rise: 200 us}"),
    ),
    "miscounted": (("units: 40, runs: 20", "units: 40, runs: 21"),),
}


def _rehearsed(name: str, seed: int = 5) -> Case:
    def case(folder: Path) -> Any:
        def of() -> Any:
            notes = sessions.session(folder, *NOTES[name])
            _, _, trace, beside = sessions.trace_of(notes, seed)
            return figures(sessions.distilled(notes, trace, beside))

        return _refused(folder, of)

    return case


def _changed(change: Callable[[Chunk], Chunk]) -> Case:
    def case(folder: Path) -> Any:
        def of() -> Any:
            notes = sessions.session(folder)
            _, _, trace, _ = sessions.trace_of(notes, 4)
            return figures(sessions.distilled(notes, sessions.changed(trace, change)))

        return _refused(folder, of)

    return case


def _resampled(chunk: Chunk) -> Chunk:
    """Every second sample away in one half, so that the step is not even."""
    keep = np.ones(len(chunk.t), dtype=bool)
    keep[1 : len(keep) // 2 : 2] = False
    return dataclasses.replace(chunk, t=chunk.t[keep], i=chunk.i[keep], m=np.asarray(chunk.m)[keep])


CHANGES: dict[str, Callable[[Chunk], Chunk]] = {
    "uneven": _resampled,
    "on-codes": lambda c: dataclasses.replace(c, i=np.round(c.i / 50e-6) * 50e-6),
    "clipped": lambda c: dataclasses.replace(c, i=np.minimum(c.i, 9.5e-3)),
    "clipped-below": lambda c: dataclasses.replace(c, i=np.maximum(c.i, 1.3e-3)),
    "not-a-number": lambda c: dataclasses.replace(c, i=np.where(c.t > 0.3, np.nan, c.i)),
    "turned-over": lambda c: dataclasses.replace(c, i=-c.i),
    "marker-low": lambda c: dataclasses.replace(c, m=np.zeros(len(c.t))),
    "late-start": lambda c: dataclasses.replace(c, t=c.t + 0.4),
    "nothing-flows": lambda c: dataclasses.replace(c, i=np.full(len(c.t), 1.2e-3)),
    "slope": lambda c: dataclasses.replace(c, i=c.i + 1e-4 * c.t),
}


def _looked(noted: bool) -> Case:
    def case(folder: Path) -> Any:
        trace = folder / "a.csv"
        trace.write_text("t,i,m\n" + layouts.BODY)
        notes = layouts.notes_of(folder) if noted else None
        found = plain(look([trace], notes))
        return {k: v for k, v in found.items() if "path" not in k and "trace" not in k}

    return case


def _exported(body: str, *more: str, **columns: str) -> Case:
    def case(folder: Path) -> Any:
        (folder / "a.csv").write_text(body)
        notes = layouts.notes_of(folder, *more, **columns)
        return _refused(
            folder, lambda: {"figures": layouts.values(distil(notes, [folder / "a.csv"]))}
        )

    return case


def _planned(wanted: float | None, mean: float | None = None, unit: float | None = None) -> Case:
    def case(folder: Path) -> Any:
        sessions.session(folder)
        catalogue = load_catalogue([catalogue_folder()])
        found = rehearse(
            folder / "notes.yaml", catalogue, 7, wanted, wanted_mean=mean, wanted_next=unit
        )
        return {k: v for k, v in plain(found).items() if k != "session"}

    return case


def _compared(clock: float | None) -> Case:
    parts = ("ostrel-goz", "quorvane-jor", "quorvane-tib")
    return lambda _: plain(
        compare(load_catalogue([catalogue_folder()]), parts, ("hash", "filter"), clock_hz=clock)
    )


def _unmarked(noise: float, first: int) -> Case:
    def case(folder: Path) -> Any:
        def of() -> Any:
            notes = notes_of_five_runs(folder)
            return figures(sessions.distilled(notes, [trace(first, noise)]))

        return _refused(folder, of)

    return case


def _instrument(statement: str, voltage: str = "") -> Case:
    """A meter by its file."""

    def case(folder: Path) -> Any:
        def of() -> Any:
            (folder / "meter.yaml").write_text(f"instrument: meter-b\n{statement}\n{voltage}")
            given = "instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}"
            notes = sessions.session(folder, (given, "instrument: {file: meter.yaml}"))
            _, _, trace, beside = sessions.trace_of(notes, 6)
            return figures(sessions.distilled(notes, trace, beside))

        return _refused(folder, of)

    return case


INSTRUMENTS = {
    "two-ranges": "timebase: 20 ppm\nranges:\n"
    "  low: {to: 5 mA, gain: 0.2 %, offset: 50 nA, resolution: 20 nA, noise: 200 nA}\n"
    "  high: {to: 100 mA, gain: 0.1 %, offset: 5 µA, resolution: 2 µA, noise: 5 µA}",
    "three-ranges": "ranges:\n  a: {to: 1 mA, gain: 0.2 %}\n  b: {to: 9 mA, offset: 5 µA}\n"
    "  c: {to: 90 mA, resolution: 30 µA}",
    "of-means": "sample: mean\nranges: {one: {to: 50 mA, gain: 0.2 %, noise: 100 µA}}",
    "of-points": "sample: point\nranges: {one: {to: 50 mA, offset: 9 µA}}",
    "slow": "sample: low-pass\ntime-constant: 60 us\nranges: {one: {to: 50 mA, gain: 0.1 %}}",
    "too-small": "ranges: {one: {to: 8 mA, gain: 0.1 %}}",
}
PINS = {
    "above": layouts.rows(lambda k, i, m: f"{k / layouts.RATE},{i},{m}\n"),
    "below": layouts.rows(lambda k, i, m: f"{k / layouts.RATE},{i},{1 - m}\n"),
    "ringing": layouts.rows(
        lambda k, i, m: (
            f"{k / layouts.RATE},{i},"
            f"{3.3 * m + 0.4 * ((k * 7) % 5 - 2) / 2 + 0.9 * (k % 400 == 202)}\n"
        )
    ),
    "batched": layouts.rows(lambda k, i, m: f"{layouts.batched(k)},{i},{m}\n"),
    "jittering": layouts.rows(
        lambda k, i, m: f"{k / layouts.RATE + 0.003 * (k * 37 % 11) / 11:.6f},{i},{m}\n"
    ),
    "index": layouts.rows(lambda k, i, m: f"{k},{i},{m}\n"),
    "dated": layouts.rows(lambda k, i, m: f"{layouts.iso(k)},{i},{m}\n"),
}


def _pinned(name: str, time: str, marker: str) -> Case:
    return _exported("t,i,m\n" + PINS[name], time=time, marker=marker)


IN_S = "{column: t, unit: s}"
EXPORTED = {
    "above": ("above", IN_S, "{column: m, above: 0.5}"),
    "below": ("below", IN_S, "{column: m, below: 0.5}"),
    "hysteresis": ("ringing", IN_S, "{column: m, above: 2, hysteresis: 1}"),
    "hysteresis-below": ("below", IN_S, "{column: m, below: 0.5, hysteresis: 0.4}"),
    "debounce": ("ringing", IN_S, "{column: m, above: 2, hysteresis: 1, debounce: 2 ms}"),
    "batches": (
        "batched",
        "{column: t, unit: s, rate: 2 kHz, jitter: 30 ms}",
        "{column: m, above: 0.5}",
    ),
    "jitter": (
        "jittering",
        "{column: t, unit: s, rate: 2 kHz, jitter: 3 ms}",
        "{column: m, above: 0.5}",
    ),
    "index": ("index", "{column: t, as: index, rate: 2 kHz}", "{column: m, above: 0.5}"),
    "dated": ("dated", "{column: t, as: date-time}", "{column: m, above: 0.5}"),
    "huge-marker": ("above", IN_S, "{column: m, above: 0.5, debounce: 1 ms}"),
    "wrong-rate": (
        "jittering",
        "{column: t, unit: s, rate: 3 kHz, jitter: 3 ms}",
        "{column: m, above: 0.5}",
    ),
    "unheld-jitter": (
        "jittering",
        "{column: t, unit: s, rate: 2 kHz, jitter: 1 ms}",
        "{column: m, above: 0.5}",
    ),
}


def _table(table: Iterable[str], one: Callable[[str, Path], Any]) -> Case:
    """An answer or the faults for each name of a table of another test."""

    def case(folder: Path) -> Any:
        out = {}
        for n, name in enumerate(table):
            own = folder / str(n)
            own.mkdir()
            out[name] = _refused(own, lambda name=name, own=own: one(name, own))  # type: ignore[misc]
        return out

    return case


def _of_layout(name: str, folder: Path) -> Any:
    layout: Any = {**LAYOUTS, **WRONG_EXPORTS}[name]
    file, data, more, columns, *_ = layout
    (folder / file).write_bytes(data)
    return layouts.values(distil(layouts.notes_of(folder, *more, **columns), [folder / file]))


def _looked_at(name: str, folder: Path) -> Any:
    file, data, *_ = LAYOUTS[name]
    (folder / file).write_bytes(data)
    found = plain(look([folder / file]))
    return {k: str(v).replace(f"{folder}/", "") for k, v in found.items()}


def _of_notes(name: str, folder: Path) -> Any:
    more, columns, _ = NOTED[name]
    return layouts.values(distil(layouts.notes_of(folder, *more, **columns), [folder / "no.csv"]))


def _of_session(name: str, folder: Path) -> Any:
    return plain(sessions.session(folder, WRONG_NOTES[name][0]).notes)


LOGS: dict[str, Any] = {
    **{name: (log, changes) for name, (log, changes, _) in WRONG_WORK.items()},
    **{name: (HEAD + lines() + log, (HELD, *more)) for name, (log, more, _) in STRETCHED.items()},
    **{name: (HEAD + lines(), (built(of),)) for name, of in SAME.items()},
    **{name: (HEAD + lines(), (built(of),)) for name, (of, _) in OTHER.items()},
    "held by the log": (HEAD + lines() + STATES, (HELD,)),
    "held by the notes": (HEAD + lines(), (HELD,)),
    "ticks of no scatter": (lines(hash=1.0, filter=40.0, search=0.5), ()),
    "garbled": (lines().replace("ticks", "tacks"), ()),
}


def _of_log(name: str, folder: Path) -> Any:
    log, changes = LOGS[name]
    found = distil(*session_of_three(folder, log, *changes))
    out = plain(found)
    return {k: out[k] for k in out if k not in {"session", "notes", "traces", "recorded"}}


def _of_lines(name: str, _: Path) -> Any:
    return plain(read_log(GARBLED[name][0], "run.txt"))


def _pack(_: Path) -> Any:
    """What the kernels and the machines that they are built for are said to take."""
    return {"kernels": plain(KERNELS), "small": plain(SMALL), "targets": plain(TARGETS)}


def _refused_export(cells: str) -> Case:
    """The first samples' cells replaced."""
    return _exported("t,i,m\n" + cells + layouts.BODY, time=IN_S)


CASES: dict[str, Case] = {
    "pack": _pack,
    **{f"meter-{n}": _meter(name) for n, name in enumerate(KINDS)},
    **{f"meter-{n}-few": _meter(name, runs=3) for n, name in enumerate(KINDS) if n % 3 == 0},
    **{
        f"droops-{n}": _meter("point", one)
        for n, one in enumerate(
            (
                Drooping(),
                Drooping(switching=True),
                Drooping(0.3, 20.0, code=0.05),
                Drooping(0.0, 0.0, noise=0.0),
            )
        )
    },
    **{f"disturbed-{n}": _disturbed(name) for n, name in enumerate(DISTURBANCES)},
    "cut-out": _disturbed("one wake-up in the sleep", "cut: [{from: AT s, to: TO s}]"),
    "drift-accepted": _disturbed("offset drift in the sleep", "accept: [drift]"),
    **{f"notes-{name}": _rehearsed(name) for name in NOTES},
    **{f"trace-{name}": _changed(change) for name, change in CHANGES.items()},
    **{f"export-{name}": _pinned(*of) for name, of in EXPORTED.items()},
    **{f"instrument-{name}": _instrument(of) for name, of in INSTRUMENTS.items()},
    "unmarked": _unmarked(1e-3, 0),
    "unmarked-noisy": _unmarked(0.05, 150),
    "unmarked-cut": _unmarked(1e-3, 130),
    "bad-cells": _refused_export("-0.002,1,0\n-0.0015,x,0\n-0.001,1,y\n-0.0005,z,0\n"),
    "bad-row": _refused_export("-0.002,1,y\n-0.0015,x,y\n"),
    "layouts": _table(LAYOUTS, _of_layout),
    "layouts-refused": _table(WRONG_EXPORTS, _of_layout),
    "layouts-seen": _table(list(LAYOUTS)[::4], _looked_at),
    "columns-refused": _table(NOTED, _of_notes),
    "notes-refused": _table(WRONG_NOTES, _of_session),
    "logs": _table(LOGS, _of_log),
    "lines": _table(GARBLED, _of_lines),
    "look": _looked(False),
    "look-with-notes": _looked(True),
    "plan": _planned(0.002),
    "plan-mean": _planned(None, 0.004),
    "plan-next": _planned(None, None, 0.02),
    "compared": _compared(None),
    "compared-at-a-clock": _compared(32e6),
}
