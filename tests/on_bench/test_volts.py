"""The voltage of each run and state, its channel's errors, and intervals that hold the truth."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from advisor.bench.chunks import Chunk
from advisor.bench.clipping import Steps
from advisor.bench.distil import Figures
from advisor.bench.runs import Held
from advisor.bench.segments import Pieces
from advisor.bench.volts import at_mean, rail_of, scatter_of
from advisor.faults import FaultError
from tests.on_bench.meters import KINDS, Drooping, session, shares
from tests.on_bench.sessions import distilled
from tests.on_bench.sessions import session as notes_of
from tests.on_bench.test_budget_lines import HAND, pulses
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

Floats = NDArray[np.float64]
ROOT3 = np.sqrt(3)
CHANNEL = "{column: v, unit: V, gain: 0.2 %, offset: 3 mV, resolution: 10 mV}"


def recorded(channel: str = CHANNEL) -> str:
    """Notes by hand, with a voltage column for the stated supply."""
    text = HAND.replace("supply: 3.300(2) V\n", "")
    return text.replace("  marker:", f"  voltage: {channel}\n  marker:")


def test_every_line_of_the_channel_by_hand(tmp_path: Path) -> None:
    """3.1 V on one code all along, 5 mA over 50 ms above the board's.

    JCGM 100:2008, 4.3.7 and F.2.2.1: limits over the root of three, a code over that of twelve;
    each is once in the voltage and, times the charge, once in the energy.
    """
    work = distilled(notes_of(tmp_path, text=recorded()), [pulses([100] * 5, [3.1] * 5)])
    hash_ = work.kernels["hash"]
    charge = 250e-6
    lines = {
        "gain of the voltage channel": 0.002 * 3.1 / ROOT3,
        "offset of the voltage channel": 3e-3 / ROOT3,
        "resolution of the voltage channel": 10e-3 / np.sqrt(12),
    }
    assert hash_.voltage.value == pytest.approx(3.1, rel=1e-9)
    told = {t.source: t.u for t in hash_.voltage.budget if t.u > 1e-9}
    assert told == pytest.approx(lines, rel=1e-3)  # the tones of a code beyond the 200th
    energy = {t.source: t.u for t in hash_.energy.budget if t.u > 1e-12}
    own = {k: u * charge for k, u in lines.items()}
    of_charge = {t.source: t.u * 3.1 for t in hash_.charge.budget if t.u > 1e-12}
    assert energy == pytest.approx(own | of_charge, rel=1e-3)


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_current_weighs_the_voltage_by_the_size_of_what_it_moves(
    tmp_path: Path, sign: int
) -> None:
    """1 % more and less current in turn at 10 mV more or less: by hand, V = E/Q is weighed by the
    charge, 0.1 mV off the mean over time, and moves by that times the current's relative u."""
    chunk = pulses([100] * 5, [3.1] * 5)
    assert chunk.v is not None
    assert chunk.m is not None
    turn = np.where(np.arange(len(chunk.t)) % 2, 0.01, -0.01) * chunk.m
    chunk = replace(chunk, i=chunk.i + 5e-3 * turn, v=chunk.v + sign * turn)
    work = distilled(notes_of(tmp_path, text=recorded()), [chunk]).kernels["hash"]
    assert work.voltage.value == pytest.approx(3.1 + sign * 1e-4, rel=1e-7)
    (term,) = [t for t in work.voltage.budget if t.source == "current that weighs the voltage"]
    assert term.u == pytest.approx(1e-4 * work.current.u / work.current.value, rel=0.05)


def test_the_budget_of_the_energy_against_draws_of_all_that_errs(tmp_path: Path) -> None:
    """JCGM 101:2008, 7: 20,000 draws of meter, channel, overhead and clock through E = ∫ v i dt.

    A supply that falls from run to run, and is not taken for scatter. The meter's gain moves
    current and energy alike and the voltage not at all. 20,000 draws give a standard deviation to
    0.5 %; the code's line is left as it is.
    """
    volts = [3.3, 3.2, 3.1, 3.0, 2.9]
    found = distilled(notes_of(tmp_path, text=recorded()), [pulses([100] * 5, volts)])
    work = found.kernels["hash"]
    draw = np.random.default_rng(17)
    n, v = 20_000, np.array(volts)

    def limit(half: float) -> Floats:
        return half * draw.uniform(-1, 1, n)

    gain, offset, clock = limit(1e-3), limit(2e-6), limit(50e-6)
    v_gain, v_offset = limit(2e-3), limit(3e-3)
    overhead = 1.2e-3 + 3e-6 * draw.standard_normal(n)
    edges = 1e-3 / np.sqrt(6) * draw.standard_normal(n)
    current = 6.2e-3 * (1 + gain) + offset - overhead
    time = (0.1 + edges) * (1 + clock) / 2
    each = v[:, None] * (1 + v_gain) + v_offset
    energy = (each * current * time).mean(axis=0)
    charge = current * time
    budget = {t.source: t.u for t in work.energy.budget}
    code = budget.pop("resolution of the voltage channel", 0.0)
    u = np.hypot(energy.std(), code)
    assert work.energy.value == pytest.approx(energy.mean(), rel=1e-4)
    assert work.energy.u == pytest.approx(u, rel=0.02)
    assert work.charge.u == pytest.approx(charge.std(), rel=0.02)
    v_u = np.hypot((energy / charge).std(), code / work.charge.value)
    assert work.voltage.u == pytest.approx(v_u, rel=0.02)


def test_time_current_and_voltage_carry_to_the_energy_as_another_library_has_it(
    tmp_path: Path,
) -> None:
    """`uncertainties`, with runs that share nothing but limits: no term counts twice."""
    found = distilled(notes_of(tmp_path, text=recorded()), [pulses([100] * 5, [3.1] * 5)])
    work = found.kernels["hash"]
    time, current, voltage = (
        ufloat(one.value, one.u) for one in (work.time, work.current, work.voltage)
    )
    product = time * current * voltage
    assert work.energy.value == pytest.approx(product.nominal_value, rel=1e-9)
    assert work.energy.u == pytest.approx(product.std_dev, rel=1e-3)


def test_a_line_over_the_voltage_is_scipy_s(tmp_path: Path) -> None:
    """The standard error of a regression at the mean of its places (JCGM 100:2008, H.3)."""
    from scipy import stats

    draw = np.random.default_rng(3)
    volts = np.linspace(3.3, 2.9, 12)
    values = 1e-6 * (1 + 0.3 * (volts - 3.1) + 0.01 * draw.standard_normal(12))
    mean, term, apart = at_mean(values, volts, np.full(12, 1e-6), "repeats")
    line = stats.linregress(volts, values)
    rest = values - line.intercept - line.slope * volts
    assert apart
    assert mean == pytest.approx(values.mean(), rel=1e-12)
    assert term.u == pytest.approx(np.sqrt((rest**2).sum() / 10 / 12), rel=1e-9)
    assert term.dof == 10
    # a voltage that stands takes nothing out
    same, plain, apart = at_mean(values, np.full(12, 3.1), values, "repeats")
    assert not apart
    assert plain.u == pytest.approx(values.std(ddof=1) / np.sqrt(12), rel=1e-12)
    assert same == mean


def test_a_droop_is_no_scatter_of_the_voltage() -> None:
    """A straight fall scatters not at all; white noise as its own mean, by 10,000 draws."""
    assert scatter_of(np.linspace(3.3, 2.9, 20)).u < 1e-12
    draw = np.random.default_rng(1)
    noise = draw.standard_normal((10_000, 20)) + np.linspace(0, 30, 20)
    squares = [scatter_of(one).u ** 2 for one in noise]
    assert np.mean(squares) == pytest.approx(1 / 20, rel=0.02)


def test_a_run_s_voltage_is_of_the_samples_that_tell_its_current(tmp_path: Path) -> None:
    """Two samples at each edge at 2 V and half the current, as a front end blurs both: left out."""
    one = pulses([100] * 6, [3.1] * 6)
    assert one.v is not None
    i, v, mark = one.i.copy(), one.v.copy(), np.asarray(one.m)
    turns = np.flatnonzero(np.diff(mark))
    for at in turns:
        inside = slice(at + 1, at + 3) if mark[at] == 0 else slice(at - 1, at + 1)
        outside = slice(at - 1, at + 1) if mark[at] == 0 else slice(at + 1, at + 3)
        i[inside], i[outside] = 3.7e-3, 3.7e-3
        v[inside] = 2.0
    text = (
        recorded().replace("point: {", "edge-guard: 2 ms\npoint: {").replace("runs: 5", "runs: 6")
    )
    chunk = Chunk("t", 0, one.t, i, v, mark)
    work = distilled(notes_of(tmp_path, text=text), [chunk]).kernels["hash"]
    assert work.current.value == pytest.approx(5e-3, rel=1e-9)
    assert work.voltage.value == pytest.approx(3.1, rel=1e-9)
    # and what the edges would have made of it stands beside: (96 x 5 x 3.1 + 4 x 2.5 x 2)/490
    whole = (96 * 5 * 3.1 + 4 * 2.5 * 2) / 490
    edge = next(t.u for t in work.voltage.budget if t.source == "voltage at the edges")
    assert edge == pytest.approx((3.1 - whole) / ROOT3, rel=1e-6)


@pytest.mark.parametrize(
    ("channel", "words"),
    [
        ("{column: v, unit: V}", "gain and offset are not stated"),
        ("{column: v, unit: V, gain: 0.1 %}", "channel's offset are not stated"),
        ("{column: v, unit: V, gain: 0 %, offset: 0 V}", None),
        (CHANNEL, None),
    ],
)
def test_a_channel_that_states_no_errors_is_told(
    tmp_path: Path, channel: str, words: str | None
) -> None:
    found = distilled(notes_of(tmp_path, text=recorded(channel)), [pulses([100] * 5, [3.1] * 5)])
    told = [w for w in found.warnings if "voltage channel" in w]
    assert len(told) == (words is not None)
    assert words is None or words in told[0]


METER = """instrument: meter-b
timebase: 50 ppm
ranges: {only: {to: 20 mA, gain: 0.1 %, offset: 2 µA}}
voltage: {gain: 0.2 %, offset: 3 mV, resolution: 10 mV}
"""


def test_a_meter_s_file_may_state_its_voltage_channel(tmp_path: Path) -> None:
    """The same statement in either place, and in one place only."""
    (tmp_path / "meter.yaml").write_text(METER)
    inside = "instrument: {id: meter-a, gain: 0.1 %, offset: 2 µA, timebase: 50 ppm}"
    trace = pulses([100] * 5, [3.1] * 5)
    beside = distilled(notes_of(tmp_path, text=recorded()), [trace]).kernels["hash"]
    own = recorded("{column: v, unit: V}").replace(inside, "instrument: {file: meter.yaml}")
    in_file = distilled(notes_of(tmp_path, text=own), [trace]).kernels["hash"]
    assert in_file.voltage == beside.voltage
    both = recorded().replace(inside, "instrument: {file: meter.yaml}")
    with pytest.raises(FaultError, match="gain, offset, resolution beside the voltage of meter"):
        notes_of(tmp_path, text=both)


def test_a_supply_the_wrong_way_round_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FaultError, match=r"-3.* V over the charge"):
        distilled(notes_of(tmp_path, text=recorded()), [pulses([100] * 5, [-3.3] * 5)])


DROOPS = {
    "linear": Drooping(),
    "switching": Drooping(switching=True),
    "coarse": Drooping(code=10e-3, noise=1e-4),
    "coarse and still": Drooping(falls=0.0, code=20e-3, noise=1e-4),
    "soft": Drooping(gain=5e-4, offset=5e-4, resistance=20.0),
}
FIGURES = ("time", "current", "voltage", "energy", "sleep", "voltage asleep")


def _shares(kind: str, droop: str, trials: int, folder: Path) -> tuple[dict[str, float], int]:
    made = (session(KINDS[kind], n, folder, drooping=DROOPS[droop]) for n in range(trials))
    return shares(made, FIGURES)


CASES = [("point", droop) for droop in DROOPS] + [
    (kind, droop)
    for kind in ("integrating", "lagging", "auto-ranging")
    for droop in ("linear", "coarse")
]


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "droop"), CASES)
def test_intervals_hold_the_truth_on_a_drooping_supply(
    tmp_path: Path, kind: str, droop: str
) -> None:
    """300 sessions: 92 to 98.5 % of 95 % intervals hold; a share's deviation is 0.9 to 1.3 %.

    A voltage's may hold more often: what it really was scatters from run to run, or drifts over
    codes, and a mean over such runs is better known than their scatter says.
    """
    found, refused = _shares(kind, droop, 300, tmp_path)
    assert all(share >= 0.915 for share in found.values()), found
    assert all(found[f] <= 0.985 for f in ("time", "current", "energy")), found
    assert refused <= 4


@pytest.mark.parametrize(("kind", "droop"), mostly_slow(CASES, 3))
def test_no_droop_is_far_off(tmp_path: Path, kind: str, droop: str) -> None:
    """Eight sessions of each: 95 % intervals miss six of 16 with a chance of 1e-4."""
    found, refused = _shares(kind, droop, 8, tmp_path)
    assert all(share > 0.6 for share in found.values()), found
    assert refused <= 1


def test_a_droop_does_not_widen_what_is_known_of_the_energy(tmp_path: Path) -> None:
    """Ten per cent over the session, and none: energies are known alike, a linear part or not."""
    wide = {}
    for name, droop in {
        "still": Drooping(falls=0.0),
        "linear": Drooping(),
        "switching": Drooping(switching=True),
    }.items():
        found = session(KINDS["point"], 3, tmp_path, drooping=droop).distilled()
        wide[name] = [w.energy.u / w.energy.value for w in found.kernels.values()]
    for name in ("linear", "switching"):
        assert wide[name] == pytest.approx(wide["still"], rel=0.15)  # two degrees of freedom fewer


def test_a_current_that_follows_the_supply_is_told_so(tmp_path: Path) -> None:
    """A switching part on 30 % of droop draws more and more: a word with what the supply did."""
    droop = Drooping(falls=0.3, switching=True)
    found = session(KINDS["point"], 1, tmp_path, drooping=droop).distilled()
    moves = [w for w in found.warnings if "its current moves" in w]
    assert moves
    assert all(re.search(r"its supply moves by -\d+ mV meanwhile", w) for w in moves)


T: Floats = np.arange(8400, dtype=np.float64) * 0.5e-3  # s, of a recording of one state


def ram_kept(tmp_path: Path, i: Floats, volts: Floats, more: str = "") -> Held:
    """What is told of a state that is recorded from 0.1 to 4.1 s, at `T`, without any error."""
    text = recorded("{column: v, unit: V, gain: 0 %, offset: 0 V}").replace(
        "board-overhead: 1.200(3) mA", "board-overhead: 0 mA"
    )
    segment = f"{{state: ram-kept, from: 0.1 s, to: 4.1 s{more}}}"
    text = text.partition("segments:")[0] + f"segments: [{segment}]\n"
    found: Figures = distilled(
        notes_of(tmp_path, text=text), [Chunk("t", 0, T, i, volts, np.zeros(len(T)))]
    )
    (state,) = found.states
    return state


def test_pulses_of_a_state_weigh_its_voltage(tmp_path: Path) -> None:
    """A state that draws 1 mA at 3 V for half of the time, and 9 mA at 2.5 V: 2.55 V by charge."""
    up = (np.arange(len(T)) // 50) % 2 == 1
    noise = 1e-6 * np.random.default_rng(4).standard_normal(len(T))
    i: Floats = np.asarray(np.where(up, 9e-3, 1e-3) + noise)
    volts: Floats = np.where(up, 2.5, 3.0).astype(np.float64)
    state = ram_kept(tmp_path, i, volts, ", accept: [bursts, ripple]")
    assert state.current.value == pytest.approx(5e-3, rel=1e-2)
    assert state.voltage.value == pytest.approx((1 * 3.0 + 9 * 2.5) / 10, rel=1e-3)


def test_a_still_state_is_not_weighed_by_the_current_s_noise(tmp_path: Path) -> None:
    """Sleep current below the noise, a supply that falls 300 mV meanwhile: its mean over time."""
    droop = replace(DROOPS["linear"], falls=0.3, gain=0.0, offset=0.0, noise=0.0)
    one = session(KINDS["point"], 5, tmp_path, drooping=droop)
    one.bench.states["ram-kept"] = 1e-6
    (state,) = one.distilled().states
    assert state.voltage.value == pytest.approx(one.volts["ram-kept"], abs=1e-3)


def test_a_still_state_s_voltage_is_its_mean_over_time(tmp_path: Path) -> None:
    """100 uA told through noise of 60 uA, on a supply that falls: the noise weighs nothing."""
    i: Floats = np.asarray(1e-4 + 6e-5 * np.random.default_rng(3).standard_normal(len(T)))
    volts: Floats = np.asarray(3.0 - 0.1 * T, dtype=np.float64)
    state = ram_kept(tmp_path, i, volts)
    over_time = 3.0 - 0.1 * 2.1
    inside = (T >= 0.1) & (T <= 4.1)
    weighed = (volts * i)[inside].sum() / i[inside].sum()
    assert abs(weighed - over_time) > 2e-4
    assert state.voltage.value == pytest.approx(over_time, abs=5e-5)


def test_the_supply_is_the_mean_over_the_charge_of_what_has_samples(tmp_path: Path) -> None:
    """By hand: 3 C at 3 V and 1 C at 2 V are 11/4 V; a stretch that was cut away says nothing."""
    notes = notes_of(tmp_path, text=recorded())
    none: Any = SimpleNamespace(
        **{name: np.zeros(0) for name in ("charge", "energy", "start", "end")},
        volts=None,
        volt_steps=Steps(),
    )
    held = []
    for charge, volts, seconds in ((3.0, 3.0, 30.0), (1.0, 2.0, 10.0)):
        pieces = Pieces.of(1)
        pieces.charge[:], pieces.time[:], pieces.count[:] = charge, seconds, 100
        assert pieces.energy is not None
        assert pieces.volts is not None
        pieces.energy[:], pieces.volts[:] = charge * volts, volts * seconds
        held.append(pieces)
    rail = rail_of(notes, none, [*held, Pieces.of(1)])
    assert rail.mean.value == pytest.approx(11 / 4, rel=1e-12)
