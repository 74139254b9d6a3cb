"""Traces in every form, damaged, cut short, misnamed, of wrong shapes and absurd numbers."""

from __future__ import annotations

import gzip
import io
import json
import random
import zipfile
from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl

from tests.fuzz import texts, trees
from tests.fuzz.oracle import Bench, Said

NOTES = """part: bench-demo
origin: recorded
date: 2026-03-01
trace:
  time: {column: t, unit: s}
  current: {column: i, unit: mA}
  marker: {column: m, above: 0.5}
supply: 3.300(2) V
instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}
board-overhead: 1.200(2) mA
point: {name: fast, clock: 120 MHz}
segments:
  - {kernel: hash, units: 20, runs: 4}
  - {kernel: filter, units: 40, runs: 3}
  - {wake: ram-kept, runs: 3}
  - {state: ram-kept, from: 1.02 s, to: 1.3 s}
  - {state: idle, from: 1.4 s, to: 1.6 s}
rehearsal:
  rate: 5 kHz
  noise: 100 µA
  spread: 0.5 %
  jitter: 5 us
  idle: 3.1 mA
  kernels:
    hash: {time: 0.412 ms, current: 9.8 mA}
    filter: {time: 0.2 ms, current: 8.1 mA}
  wakes: {ram-kept: {time: 4 ms, current: 5 mA}}
  states: {ram-kept: 20 µA}
"""
RATE = 2000  # samples a second
ENDINGS = (".csv", ".tsv", ".txt", ".csv.gz", ".tsv.gz", ".parquet", ".npy", ".npz")
ABSURD = (
    *(0.0, -0.0, 1e300, -1e300, 1e308, -1e308, 1e-320, 1e-300, 1e18, -1e18, float("inf")),
    *(float("-inf"), float("nan"), 1e9, -1e9, 1e-9, 1e154, 2.0**53, 2.0**63),
)
Columns = dict[str, Any]


def samples(rng: random.Random) -> Columns:
    """t in s, i in mA, m, v in V: ten pulses and two states."""
    noise = np.random.default_rng(rng.randrange(1 << 30))
    t = np.arange(int(1.7 * RATE)) / RATE
    m, i = np.zeros(len(t)), np.full(len(t), 4.3)
    i[t > 1.0], i[t > 1.35] = 1.22, 4.3
    for run in range(10):
        at = (t >= 0.05 + 0.09 * run) & (t < 0.08 + 0.09 * run)
        m[at], i[at] = 1, 11.0 - 0.3 * (run // 4)
    v = 3.3 + noise.normal(0, 1e-3, len(t))
    return {"t": t, "i": i + noise.normal(0, 0.05, len(t)), "m": m, "v": v}


def _one(rng: random.Random, found: Columns) -> str:
    return rng.choice(list(found))


def _absurd(rng: random.Random, found: Columns) -> None:
    name = _one(rng, found)
    values = np.array(found[name], dtype=float)
    at = rng.randrange(len(values))
    with np.errstate(all="ignore"):
        way = rng.randrange(4)
        if way == 0:
            values[at] = rng.choice(ABSURD)
        elif way == 1:
            values[:] = rng.choice(ABSURD)
        elif way == 2:
            values *= rng.choice(ABSURD)
        else:
            values += rng.choice(ABSURD)
    found[name] = values


def _order(rng: random.Random, found: Columns) -> None:
    """Time backwards, standing, shuffled, with a gap."""
    t = np.array(found["t"], dtype=float)
    at = rng.randrange(1, len(t))
    way = rng.randrange(5)
    if way == 0:
        t = t[::-1].copy()
    elif way == 1:
        t[at] = t[at - 1]
    elif way == 2:
        t[at:] += rng.choice((1.0, 1e6, 1e-9, -0.5))
    elif way == 3:
        t += rng.choice((-1e3, 1e12, 1e17))
    else:
        t = np.repeat(t[::2], 2)[: len(t)]
    found["t"] = t


def _short(rng: random.Random, found: Columns) -> None:
    rows = rng.choice((0, 1, 2, 3, 5, 100, 3000))
    for name in found:
        found[name] = np.asarray(found[name])[:rows]


def _type(rng: random.Random, found: Columns) -> None:
    name = _one(rng, found)
    kind = rng.choice(
        ("i8", "u1", "f2", "f4", "?", "c16", "U8", "S5", "M8[s]", "m8[ns]", "u8", ">f8")
    )
    with np.errstate(all="ignore"):
        try:
            found[name] = np.asarray(found[name]).astype(kind)
        except (TypeError, ValueError):
            found[name] = np.asarray(found[name]).astype("i8").astype(kind)


def _shape(rng: random.Random, found: Columns) -> None:
    """For the forms that have shapes: several dimensions, none, another length."""
    name = _one(rng, found)
    values = np.asarray(found[name])
    shapes: tuple[Callable[[], Any], ...] = (
        lambda: values[:, None],
        lambda: np.stack((values, values)),
        lambda: values[:-1],
        lambda: np.float64(1.0),
        lambda: np.zeros((0, 3)),
        lambda: values.reshape(1, 1, -1),
    )
    found[name] = rng.choice(shapes)()


def _names(rng: random.Random, found: Columns) -> None:
    name = _one(rng, found)
    values = found.pop(name)
    new = rng.choice((*texts.WORDS, name.upper(), f" {name}", f'"{name}"', f"{name}\t"))
    if rng.random() < 0.8:
        found[new] = values


def _states(rng: random.Random, found: Columns) -> None:
    """A marker that never rises, always stands, or changes at every sample."""
    n = len(found.get("m", ()))
    found["m"] = rng.choice((np.zeros(n), np.ones(n), np.arange(n) % 2, np.full(n, 0.5)))


CHANGES = (_absurd, _absurd, _absurd, _order, _short, _type, _shape, _names, _states)


def _lines(rng: random.Random, found: Columns, ending: str) -> bytes:
    columns = [np.atleast_1d(np.asarray(v)).ravel() for v in found.values()]
    separator = "\t" if ending.startswith(".tsv") else rng.choice((",", ",", ";", "\t"))
    rows = [separator.join(map(str, found))]
    rows += [separator.join(map(str, row)) for row in zip(*columns, strict=False)]
    if rng.random() < 0.4 and len(rows) > 2:
        at = rng.randrange(len(rows))
        cell = rng.choice((*texts.WORDS, *texts.NUMBERS))
        parts = rows[at].split(separator)
        way = rng.randrange(5)
        if way == 0:
            parts[rng.randrange(len(parts))] = cell
        elif way == 1:
            parts.append(cell)
        elif way == 2:
            parts = parts[:-1]
        elif way == 3:
            parts = [f'"{p}"' for p in parts]
        else:
            parts = []
        rows[at] = separator.join(parts)
    end = rng.choice(("\n", "\n", "\n", "\r\n", "\r"))
    head = rng.choice(("", "", "# meter\n", "\n", "#\n" * 50, "\ufeff"))
    return (head + end.join(rows) + end).encode("utf-8", "replace")


def _frame(found: Columns) -> bytes:
    out = io.BytesIO()
    columns = {name: pl.Series(name, np.atleast_1d(np.asarray(v))) for name, v in found.items()}
    length = min((len(s) for s in columns.values()), default=0)
    pl.DataFrame({name: s.head(length) for name, s in columns.items()}).write_parquet(out)
    return out.getvalue()


def _structured(rng: random.Random, found: Columns) -> bytes:
    out = io.BytesIO()
    way = rng.randrange(4)
    if way == 0:
        length = min((np.asarray(v).shape[:1] or (1,))[0] for v in found.values()) if found else 0
        kind = [(str(name), np.asarray(v).dtype) for name, v in found.items()]
        whole: Any = np.zeros(length, dtype=kind)
        for name, v in found.items():
            values = np.atleast_1d(np.asarray(v))
            whole[str(name)] = values.reshape(len(values), -1)[:length, :1].ravel()
        if rng.random() < 0.2:
            whole = rng.choice((whole[:, None], whole[:1].reshape(()), np.stack((whole, whole))))
    elif way == 1:
        whole = np.stack([np.atleast_1d(np.asarray(v)).ravel()[:9] for v in found.values()][:1])
    elif way == 2:
        whole = np.array([{}], dtype=object)
    else:
        whole = np.zeros(3, dtype=[("t", "f8", (2,)), ("i", "f8"), ("m", "f8")])
    np.save(out, whole, allow_pickle=True)
    return out.getvalue()


def _archive(rng: random.Random, found: Columns) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED if rng.random() < 0.5 else 0) as file:
        for name, values in found.items():
            member = io.BytesIO()
            whole = np.asarray(values, order=rng.choice(("C", "F")))
            np.save(member, whole, allow_pickle=True)
            data = member.getvalue()
            if rng.random() < 0.1:
                data = texts.damaged(rng, data)
            if rng.random() < 0.05:
                data = _claims(rng, data)
            file.writestr(f"{name}.npy", data)
    return out.getvalue()


def _claims(rng: random.Random, data: bytes) -> bytes:
    """A header that says there is more, or less, than there is."""
    shape = rng.choice(("(999999999999,)", "(-5,)", "(0,)", "()", "(2**40,)", "('a',)", "(1.5,)"))
    head = json.dumps({"descr": rng.choice(("<f8", "|O", "<f8,<f8", "<U0", "|V0"))})[1:-1]
    text = "{'" + head.replace('"', "")[:-1].split(":")[0] + "': '<f8', "
    text += f"'fortran_order': False, 'shape': {shape}, }}"
    body = text.encode().ljust(117) + b"\n"
    return data[:8] + len(body).to_bytes(2, "little") + body + data[128:200]


def _bytes(rng: random.Random, found: Columns, ending: str) -> bytes:
    if ending == ".parquet":
        data = _frame(found)
    elif ending == ".npy":
        data = _structured(rng, found)
    elif ending == ".npz":
        data = _archive(rng, found)
    else:
        data = _lines(rng, found, ending)
        if rng.random() < 0.1:
            data = texts.damaged(rng, data)
        if ending.endswith(".gz"):
            data = gzip.compress(data, 1, mtime=0)
            if rng.random() < 0.1:
                data += rng.choice((b"\0" * 9, b"junk", data))
    return texts.damaged(rng, data) if rng.random() < 0.15 else data


def trace(rng: random.Random) -> tuple[str, bytes]:
    """(ending, bytes) of a trace."""
    found = samples(rng)
    for _ in range(rng.choice((0, 1, 1, 1, 2, 3))):
        with np.errstate(all="ignore"):
            # a change may find nothing left to change, or two that do not go together
            try:
                rng.choice(CHANGES)(rng, found)
            except (IndexError, KeyError, ValueError, TypeError):
                continue
    ending = rng.choice(ENDINGS)
    try:
        return ending, _bytes(rng, found, ending)
    except (
        *(ValueError, TypeError, IndexError),
        *(pl.exceptions.PolarsError, pl.exceptions.PanicException),
    ):
        return ".csv", _lines(rng, found, ".csv")


def case(rng: random.Random, bench: Bench) -> None:
    """One case: a trace or two and their notes, distilled."""
    ending, data = trace(rng)
    if rng.random() < 0.08:
        ending = rng.choice((*ENDINGS, "", ".xls", ".CSV", ".csv.gz.csv"))
    name = rng.choice(("trace", "trace", "a b", "é*[x]?", "-x", "{t}")) + ending
    (bench.folder / name).write_bytes(data)
    notes = NOTES
    if rng.random() < 0.2:
        notes = notes.replace("supply: 3.300(2) V\n", "").replace(
            "  marker:", "  voltage: {column: v, unit: V, gain: 0.1 %}\n  marker:"
        )
    if rng.random() < 0.15:
        notes = notes.replace("  marker: {column: m, above: 0.5}\n", "")
    if rng.random() < 0.1:
        notes = notes.replace("unit: mA", rng.choice(("unit: kA", "unit: V, shunt: 10(1) ohm")))
    if rng.random() < 0.1:
        overhead = "board-overhead: {trace: over.csv, from: 0 s, to: 1 s}"
        notes = notes.replace("board-overhead: 1.200(2) mA", overhead)
        _, over = trace(rng)
        (bench.folder / "over.csv").write_bytes(over)
    if rng.random() < 0.1:
        notes = notes.replace("  marker:", "  decimal: comma\n  marker:")
    written = notes.encode()
    if rng.random() < 0.25:
        written = trees.changed(rng, notes)
    (bench.folder / "notes.yaml").write_bytes(written)
    form = ["--format", rng.choice(("table", "json", "csv"))]
    if rng.random() < 0.12:
        folders = ["--catalog", str(bench.base / "catalog")]
        out = ["-o", "made" + rng.choice((".csv", ".npz", ".parquet", ".csv.gz"))]
        want = rng.choice(([], ["--want", rng.choice(("1%", "1e-9", "99 %", *texts.NUMBERS))]))
        bench.call("rehearse", "notes.yaml", *rng.choice((out, [])), *want, *folders, *form)
        return
    given = ["distil", "--bench", "notes.yaml", *form]
    stood = None
    if rng.random() < 0.3:
        given += ["-o", "bench-demo.yaml"]
        if rng.random() < 0.5:
            stands = "part: bench-demo\nkernels: {hash: {fast: {time: 1 ms}}}\n"
            stood = trees.changed(rng, stands) if rng.random() < 0.5 else stands.encode()
            (bench.folder / "bench-demo.yaml").write_bytes(stood)
    again = [name] if rng.random() < 0.05 else []
    bench.call(*given, "--", name, *again)
    if (bench.folder / "bench-demo.yaml").exists() and "-o" in given and bench.codes == [0]:
        parts = bench.folder / "c" / "parts"
        parts.mkdir(parents=True)
        (bench.folder / "bench-demo.yaml").rename(parts / "bench-demo.yaml")
        said = _checked(bench)
        if said.code == 2 and stood is not None:
            # what the catalogue refuses of the file that stood there is not distil's
            (parts / "bench-demo.yaml").write_bytes(stood)
            if _checked(bench).code == 2:
                return
        if said.code == 2:
            bench.fail(f"figures that are refused: {said.err[-600:].decode(errors='replace')}")


def _checked(bench: Bench) -> Said:
    """What the catalogue's check says with the part beside the parts of all cases."""
    folders = ["--catalog", str(bench.base / "catalog"), "--catalog", "c"]
    return bench.call("catalog", "check", *folders)
