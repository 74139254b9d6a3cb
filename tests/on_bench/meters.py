"""Meters of every kind with their statements, and sessions with them. All made up."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from advisor.bench.chunks import Chunk
from advisor.bench.distil import Figures, distil
from advisor.bench.notes import read_notes
from advisor.faults import FaultError
from tests.on_bench import simulator
from tests.on_bench.simulator import Floats

RATE = 20e3
SUPPLY, SUPPLY_U = 3.3, 0.002
OVERHEAD, OVERHEAD_U = 0.4e-3, 0.1e-6


@dataclass(frozen=True)
class Statement:
    """A range as its maker states it; limits are half-widths."""

    to: float
    gain: float
    offset: float
    code: float
    noise: float


@dataclass(frozen=True)
class Kind:
    """A kind of meter: its statement, what its samples really are, and what its file says of it."""

    ranges: tuple[Statement, ...]
    sample: str = "point"
    says: str = ""
    lag: tuple[float, float] = (0.0, 0.0)  # samples
    glitch: int = 0
    clock: float = 50e-6


PLAIN = (Statement(50e-3, 1e-3, 1e-6, 0.0, 30e-6),)
AUTO = (
    Statement(5e-3, 2e-3, 50e-9, 20e-9, 200e-9),
    Statement(100e-3, 1e-3, 5e-6, 2e-6, 5e-6),
)
KINDS = {
    "point": Kind(PLAIN, says="sample: point"),
    "point, unsaid": Kind(PLAIN),
    "integrating": Kind(PLAIN, "mean", "sample: mean"),
    "integrating, unsaid": Kind(PLAIN, "mean"),
    "lagging": Kind(PLAIN, "lag", lag=(0.3, 1.5)),
    "lagging, slow": Kind(PLAIN, "lag", lag=(3.0, 10.0)),
    "auto-ranging": Kind(AUTO, glitch=2),
    "quantised": Kind((Statement(25e-3, 1e-3, 2e-6, 25e-3 / 4096, 1e-6),), says="sample: point"),
}


@dataclass
class Session:
    """A simulated session: the truth, the trace, and the notes of it."""

    bench: simulator.Bench
    t: Floats
    i: Floats
    m: Floats
    supply: float
    folder: Path
    v: Floats | None = None
    volts: dict[str, float] = field(default_factory=dict)
    shares: dict[str, float] = field(default_factory=dict)
    changes: list[tuple[str, str]] = field(default_factory=list)
    meter_says: str = ""

    def write(self) -> Path:
        """Write the notes and the meter's file."""
        segments = [
            f"  - {{kernel: {k}, units: {u}, runs: {self.bench.runs}}}"
            for k, (u, _, _) in self.bench.works.items()
        ] + [
            f"  - {{state: {k}, from: {a} s, to: {b} s}}" for k, (a, b) in self.bench.spans.items()
        ]
        text = f"""part: drawn-part
origin: recorded
trace:
  time: {{column: t, unit: s}}
  current: {{column: i, unit: A}}
  marker: {{column: m, above: 0.5}}
supply: {SUPPLY} ± {2 * SUPPLY_U} V (k=2)
instrument: {{file: meter.yaml}}
board-overhead: {OVERHEAD * 1e3} ± {2 * OVERHEAD_U * 1e3} mA (k=2)
point: {{name: fast}}
segments:
""" + "\n".join(segments)
        if self.v is not None:
            text = re.sub("supply: .*\n", "", text)
            text = text.replace("  marker:", "  voltage: {column: v, unit: V}\n  marker:")
        for old, new in self.changes:
            assert old in text, old
            text = text.replace(old, new, 1)
        (self.folder / "meter.yaml").write_text(self.meter_says)
        path = self.folder / "notes.yaml"
        path.write_text(text + "\n")
        return path

    def distilled(self) -> Figures:
        """What `distil` makes of it."""
        session = read_notes(self.write())
        chunks = []
        for at in range(0, len(self.t), 1 << 15):
            some = slice(at, at + (1 << 15))
            t, i, m = self.t[some], self.i[some], self.m[some]
            v = None if self.v is None else self.v[some]
            chunks.append(Chunk(file="trace", row=at, t=t, i=i, v=v, m=m))
        return distil(session, lambda: iter(chunks))

    def held(self, found: Figures) -> dict[tuple[str, str], bool]:
        """Whether each 95 % interval holds the truth."""
        out = {}
        for name, (_, time, current) in self.bench.works.items():
            true = {"time": time, "current": current, "energy": time * current * self.supply}
            if self.v is not None:
                true = self.at_its_voltage(name)
            for figure, value in true.items():
                result = getattr(found.kernels[name], figure)
                out[figure, name] = bool(abs(result.value - value) <= result.expanded)
        for state in found.states:
            off = abs(state.current.value - self.bench.states[state.state])
            out["sleep", state.state] = bool(off <= state.current.expanded)
            if self.v is not None:
                off = abs(state.voltage.value - self.volts[state.state])
                out["voltage asleep", state.state] = bool(off <= state.voltage.expanded)
        return out

    def at_its_voltage(self, name: str) -> dict[str, float]:
        """What a unit of a kernel takes over its runs, at what the supply was meanwhile."""
        _, time, current = self.bench.works[name]
        current *= self.shares[name]
        volts = self.volts[name]
        energy = time * current * volts
        return {"time": time, "current": current, "voltage": volts, "energy": energy}


@dataclass(frozen=True)
class Drooping:
    """A supply that falls by a share and is recorded, the channel's statement half-widths."""

    falls: float = 0.1
    resistance: float = 5.0
    switching: bool = False
    gain: float = 1e-3
    offset: float = 2e-3
    code: float = 0.0
    noise: float = 1e-3

    @property
    def says(self) -> str:
        """The channel in the meter's file."""
        code = f", resolution: {self.code} V" if self.code else ""
        return f"voltage: {{gain: {self.gain * 100} %, offset: {self.offset} V{code}}}\n"


def statement(kind: Kind) -> str:
    """A meter's file."""
    ranges = "\n".join(
        f"  r{n}: {{to: {r.to} A, gain: {r.gain * 100} %, offset: {r.offset} A"
        + (f", resolution: {r.code} A" if r.code else "")
        + f", noise: {r.noise} A}}"
        for n, r in enumerate(kind.ranges)
    )
    return (
        f"instrument: meter-drawn\ninvented: true\ntimebase: {kind.clock * 1e6} ppm\n"
        f"{kind.says}\nranges:\n{ranges}\n"
    )


def session(
    kind: Kind,
    seed: int,
    folder: Path,
    *,
    change: Callable[[simulator.Bench, np.random.Generator], None] | None = None,
    extra: Callable[[simulator.Bench], Callable[[Floats], Floats]] | None = None,
    rise: float = 0.0,
    runs: int = 20,
    drooping: Drooping | None = None,
) -> Session:
    """A session with a meter of a kind whose errors lie anywhere inside its statement."""
    draw = np.random.default_rng([29, seed])
    overhead = OVERHEAD + OVERHEAD_U * draw.standard_normal()
    rail = None
    if drooping is not None:
        first = draw.uniform(3.2, 3.4)
        rail = simulator.Supply(first, drooping.falls * first, 1.0, drooping.resistance)
    made = simulator.bench(
        draw, runs, overhead, rail, switching=drooping is not None and drooping.switching
    )
    if change is not None:
        change(made, draw)
    meter = simulator.Meter(
        rate=RATE,
        ranges=[
            simulator.Range(
                r.to, r.gain * draw.uniform(-1, 1), r.offset * draw.uniform(-1, 1), r.code, r.noise
            )
            for r in kind.ranges
        ],
        sample=kind.sample,
        lag=draw.uniform(*kind.lag) / RATE,
        clock=kind.clock * draw.uniform(-1, 1),
        glitch=kind.glitch,
    )
    t, i = meter.read(made.device, draw, np.zeros_like if extra is None else extra(made))
    m = simulator.marker(made.device, t, meter.clock, rise)
    supply = SUPPLY + SUPPLY_U * draw.standard_normal()
    out = Session(made, t, i, m, supply, folder, meter_says=statement(kind))
    if drooping is not None and rail is not None:
        _recorded(out, meter, rail, drooping, draw)
    return out


def _recorded(
    one: Session,
    meter: simulator.Meter,
    rail: simulator.Supply,
    drooping: Drooping,
    draw: np.random.Generator,
) -> None:
    """Put the voltage into a session, and what it truly was."""
    made, device = one.bench, one.bench.device
    one.meter_says += drooping.says
    channel = simulator.Channel(
        drooping.gain * draw.uniform(-1, 1),
        drooping.offset * draw.uniform(-1, 1),
        drooping.code,
        drooping.noise,
    )
    true = one.t / (1 + meter.clock)
    one.v = meter.read_volts(lambda t: rail.volts(device, t), true, channel, draw)
    for n, name in enumerate(made.works):
        spans = device.work[n * made.runs : (n + 1) * made.runs]
        volts = np.array([rail.mean(device, *span) for span in spans])
        shares = np.ones(made.runs)
        if drooping.switching:
            at = np.minimum(np.array([begin for begin, _ in spans]) / rail.until, 1.0)
            shares = rail.first / (rail.first - rail.falls * at)
        one.shares[name] = float(shares.mean())
        one.volts[name] = float((shares * volts).mean() / shares.mean())
    for name, span in made.spans.items():
        one.volts[name] = rail.mean(device, *span)


def shares(sessions: Iterable[Session], figures: Sequence[str]) -> tuple[dict[str, float], int]:
    """(share of 95 % intervals that hold the truth, for each figure; sessions refused)."""
    held: Counter[str] = Counter()
    made: Counter[str] = Counter()
    refused = 0
    for one in sessions:
        try:
            found = one.distilled()
        except FaultError:
            refused += 1
            continue
        for (figure, _), ok in one.held(found).items():
            held[figure] += ok
            made[figure] += 1
    return {f: held[f] / made[f] for f in figures}, refused
