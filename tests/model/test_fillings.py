"""What is filled again after rests as they occur: by hand, and against simulation."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from advisor.decide.evaluate import evaluate
from advisor.model.battery import life
from advisor.model.drain import Seen, cases_of, joined, rows_of, some_tasks
from advisor.model.gating import Use, emptied
from advisor.model.outdone import outdone
from tests.model.test_battery import drain, pack
from tests.model.test_rails import CORE, PART, PRODUCT, amounts, made, told

pytestmark = pytest.mark.once

# falls straight from 3.5 to 1.9 V, 3.3 V nominal
FALLING = """
cell: slope
invented: true
chemistry: test
nominal-voltage: 3.3 V
capacity: 500 mAh
voltage-curve: {0: 3.5 V, 1: 1.9 V}
resistance: 0 ohm
cut-off: 1.8 V
temperature: {-40 degC: {capacity: 1, resistance: 1}, 60 degC: {capacity: 1, resistance: 1}}
self-discharge: 0 %/year
doubles-every: 10 K
shelf-life: 50 years
price: {currency: EUR, breaks: {1: 1.00}}
"""
OWN_CELL = PRODUCT.replace("{budget: 1000 mAh, voltage: 3.0 V}", "{cell: slope}")
EMPTIES = (
    "{rail: radio, voltage: 3.3 V, converters: [up], gated: true, capacitance: 10 uF, decay: 30 s}"
)


def falling(root: Path, cell: str = FALLING) -> Path:
    """A folder that has the cell."""
    (root / "cells").mkdir(parents=True)
    (root / "cells/slope.yaml").write_text(cell)
    return root


def test_fillings_after_rests_at_random(tmp_path: Path) -> None:
    """Uses every 60 s on average, of 60 ms, a decay of 20 s: 30 µC (1 - 1/1000) 60/(60 + 20).

    Exponential rests (textbook); the mean rest would take 30 µC (1 - exp(-2.997)), 27 % more.
    """
    product = PRODUCT.replace("every: 60 s", "every: 60 s\n    arrival: random")
    more = "gated: true, capacitance: 10 uF, standby: 1 µA, decay: 20 s"
    found = told(made(tmp_path, more=more, product=product))
    (one,) = found.gating
    assert one.charge_c == pytest.approx(30e-6 * 0.999 * 0.75, rel=1e-9)
    assert amounts(found)["report: filling radio"] == pytest.approx(one.charge_c / 60, rel=1e-9)
    # standing by takes as much at a mean rest of 10 s: 90 µJ t/(t + 20 s) = 3 µW t
    assert one.pays_beyond_s == pytest.approx(10.0, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_rests_of_a_shared_rail_are_those_of_a_simulation(seed: int) -> None:
    """Three tasks, some at random, whose uses follow in time one behind the other."""
    rng = np.random.default_rng(seed)
    random = [bool(x) for x in (seed % 2, seed // 2, seed != 1)]
    periods = rng.uniform(20, 60, 3)
    lengths = rng.uniform(0.05, 0.4, 3)
    decay = float(rng.uniform(3, 60))
    events = []
    for k in range(3):
        if random[k]:
            times = np.cumsum(rng.exponential(periods[k], 60_000))
        else:
            times = periods[k] * (rng.random() + np.arange(60_000))
        events.append(np.stack([times, np.full(len(times), k)], axis=1))
    until = min(float(one[-1, 0]) for one in events)
    line = np.concatenate(events)
    line = line[np.argsort(line[:, 0])]
    off, sums, counts = -np.inf, np.zeros(3), np.zeros(3)
    for at, which in line[line[:, 0] < until]:
        k, start = int(which), max(at, off)
        sums[k] += 1 - np.exp(-(start - off) / decay)
        counts[k] += 1
        off = start + lengths[k]
    uses = [
        Use(np.array([p]), np.array([x]), r)
        for p, x, r in zip(periods, lengths, random, strict=True)
    ]
    for k in range(3):
        found = emptied(np.array([decay]), uses, k)[0]
        assert found == pytest.approx(sums[k] / counts[k], rel=0.012)


@pytest.mark.parametrize("beside", ["load", "kernels", "blocks", "wake"])
@pytest.mark.parametrize("rail", [False, True])
def test_tries_of_an_event_fill_what_has_emptied_meanwhile(
    beside: str, rail: bool, tmp_path: Path
) -> None:
    """Half of the events are gone through twice: the second time it was off for all else that a
    try does, 2 s of one thing and 2 ms of a kernel, and C V (1 - exp(-2.002/10)) are filled; the
    first time all of it."""
    kernels, part, between = "{crc: 1}", PART, 2.002  # s
    if beside == "kernels":
        kernels = "{crc: 1001}"
    elif beside == "blocks":
        kernels = "{crc: 1}\n    uses: {adv: 4}"
        part += "blocks: {adv: {current: 3 mA, for: 500 ms}}\n"
    elif beside == "wake":
        part = part.replace("wake-time: 0 s", "wake-time: 2 s")
    retries = "retries: {fails: 0.5, most: 2}"
    product = PRODUCT.replace("kernels: {crc: 1}", f"kernels: {kernels}\n    {retries}")
    if beside == "load":
        product = product.replace("loads: [", "loads: [{load: lamp, current: 1 mA, for: 2 s}, ")
    more, rails, full = "gated: true, capacitance: 10 uF, decay: 10 s", "", 30e-6
    if rail:
        more, rails, full = "rail: radio", EMPTIES.replace("30 s", "10 s"), 33e-6
    found = told(made(tmp_path, rails, more, part=part, product=product))
    off = 60 - 1.5 * 0.06 - 0.5 * between
    by_hand = full * ((1 - np.exp(-off / 10)) + 0.5 * (1 - np.exp(-between / 10))) / 60
    (one,) = found.gating
    assert one.charge_c * 1.5 / 60 == pytest.approx(by_hand, rel=1e-9)
    if not rail:
        assert amounts(found)["report: filling radio"] == pytest.approx(by_hand, rel=1e-9)
    else:
        # through the boost converter of 3.0 V to 3.3 V
        through = 3.3 / 3.0
        assert amounts(found)["filling rail radio"] == pytest.approx(through * by_hand, rel=1e-9)


def test_builds_fill_by_the_length_of_their_own_tries(tmp_path: Path) -> None:
    """Two states to sleep in, of which one wakes within 300 ms: each build by itself, on a rail
    whose other task is tried again too."""
    part = PART.replace(
        "sleep-states: {", "sleep-states: {standby: {current: 1 µA, wake-time: 300 ms}, "
    )
    retries = "retries: {fails: 0.5, most: 2}"
    times = "times: [{time: day, share: 0.75}, {time: night, share: 0.25}]\nworkload:"
    product = (
        beside("90 s")
        .replace("kernels: {crc: 1}", f"kernels: {{crc: 500}}\n    {retries}")
        .replace("loads: [{load: bell", f"kernels: {{crc: 200}}, {retries}, loads: [{{load: bell")
        .replace("workload:", times)
        .replace("every: 40 s", "every: {day: 40 s, night: 400 s}")
    )
    rail = EMPTIES.replace("30 s", "3 s")
    inputs = made(tmp_path, rail, "rail: radio", part=part, product=product)
    told(inputs)
    best = evaluate(*inputs).candidates[0].best
    at, figures = best.assessed, best.assessed.product
    fill = at.timeline.rails[0].fill_s
    assert fill.ndim == 3
    rail_gate = figures.rails[0].gate
    assert rail_gate is not None
    assert rail_gate.decay is not None
    for row in range(len(fill)):
        gaps = [at.timeline.duration[row, here, 0].sum() / 1.5 - 0.06 for here in at.timeline.tasks]
        for k, name in enumerate(("radio", "bell")):
            wanted, often = 0.0, 0.0
            for t, time in enumerate(figures.times):
                periods = [float(task.periods[t][0]) for task in figures.tasks]
                uses = [
                    Use(np.array([p]), np.array([1.5 * 0.06 + 0.5 * gap]), False)
                    for p, gap in zip(periods, gaps, strict=True)
                ]
                first = emptied(rail_gate.decay, uses, k)[0]
                each = 10e-6 * (first + 0.5 * (1 - np.exp(-gaps[k] / 3))) / 1.5
                wanted += time.share[0] / periods[k] * each / 0.06
                often += time.share[0] / periods[k]
            s = [str(one) for one in at.timeline.names[k]].index(f"load {name}")
            s += at.timeline.tasks[k].start
            assert fill[row, s, 0] == pytest.approx(wanted / often, rel=1e-9)
    lengths = at.timeline.duration[:, at.timeline.tasks[0], 0].sum(axis=1)
    assert len(set(lengths.round(6).tolist())) > 1


# After the longest rest ---------------------------------------------------------------------------


def beside(
    every: str, load: str = "current: 1 mA, for: 60 ms, rail: radio", comes: str = ""
) -> str:
    """The product with a report every 40 s, and a further task."""
    report = f"every: 40 s\n    arrival: {comes}" if comes else "every: 40 s"
    ring = (
        f"  - {{task: ring, every: {every}, {f'arrival: {comes}, ' if comes else ''}"
        f"loads: [{{load: bell, cpu: asleep, {load}}}]}}\nsupply-options:"
    )
    return PRODUCT.replace("every: 60 s", report).replace("supply-options:", ring)


@pytest.mark.parametrize("every", ["40 s", "90 s", "400 s"])
def test_a_shared_rail_is_filled_at_the_most_after_the_shortest_period(
    every: str, tmp_path: Path
) -> None:
    """Of two tasks by the clock the other may not come between two uses of the one: 40 s less
    60 ms, whatever the second's period; on average they come sooner one behind the other."""
    inputs = made(tmp_path, EMPTIES, "rail: radio", product=beside(every))
    best = evaluate(*inputs).candidates[0].best
    filling = 33e-6 * (1 - np.exp(-(40 - 60e-3) / 30)) / 60e-3
    assert best.assessed.rail_peaks[0][0] == pytest.approx(26e-3 + filling, rel=1e-9)
    mean = best.assessed.timeline.rails[0].fill_s[:, 0].max() * 3.3
    assert mean < 0.98 * filling


def test_a_shared_rail_pulls_the_voltage_by_its_greatest_filling(tmp_path: Path) -> None:
    """As by one task alone, see below: 100 µF (1 - exp(-39.94/30)) over 60 ms behind 20 ohm."""
    cell = FALLING.replace("resistance: 0 ohm", "resistance: 20 ohm").replace("1.8 V", "2.2 V")
    rail = EMPTIES.replace("voltage: 3.3 V, converters: [up]", "converters: [none]")
    product = beside("90 s").replace("{budget: 1000 mAh, voltage: 3.0 V}", "{cell: slope}")
    inputs = made(
        falling(tmp_path, cell), rail.replace("10 uF", "100 uF"), "rail: radio", product=product
    )
    best = evaluate(*inputs).candidates[0].best
    row, lived = best.row, best.assessed.life
    siemens, amps = 100e-6 * (1 - np.exp(-(40 - 60e-3) / 30)) / 60e-3, 26e-3 + 2e-6
    least = 2.2 + 20 * (amps + siemens * 2.2)
    assert lived.end_depth[row, 0] == pytest.approx((3.5 - least) / 1.6, rel=1e-8)
    low = (3.5 - 20 * amps) / (1 + 20 * siemens)
    assert lived.start_low_v[row, 0] == pytest.approx(low, rel=1e-12)
    assert lived.start_peak_a[row, 0] == pytest.approx(amps + siemens * low, rel=1e-12)


def test_draws_hold_the_greatest_filling_against_the_pulse_limit(tmp_path: Path) -> None:
    """On average 100 µF take well below it, after the longest rest about half of the draws more."""
    most = 26e-3 + 2e-6 + 330e-6 * (1 - np.exp(-(40 - 60e-3) / 30)) / 60e-3
    flat = FALLING.replace("{0: 3.5 V, 1: 1.9 V}", "{0: 3.3 V, 1: 3.3 V}")
    cell = flat.replace("self-discharge", f"max-pulse: {most * 1e3:.4f} mA\nself-discharge")
    rail = EMPTIES.replace("voltage: 3.3 V, converters: [up]", "converters: [none]")
    product = beside("90 s").replace("{budget: 1000 mAh, voltage: 3.0 V}", "{cell: slope}")
    rail = rail.replace("10 uF", "99.9 uF ± 1 %")
    inputs = made(falling(tmp_path, cell), rail, "rail: radio", product=product)
    (only,) = evaluate(*inputs, draws=400).candidates
    assert only.best.assessed.life.start_peak_a[only.best.row, 0] < most
    assert only.drawn is not None
    assert 0.4 < only.drawn.fits.mean() < 0.75


@pytest.mark.parametrize("rail", [False, True])
def test_a_converter_s_output_is_held_against_the_greatest_filling_of_all_times(
    rail: bool, tmp_path: Path
) -> None:
    """10 µF that empty with 60 s, every 60 s by day and every 600 s by night: as by night."""
    times = "times: [{time: day, share: 0.75}, {time: night, share: 0.25}]\nworkload:"
    product = PRODUCT.replace("workload:", times).replace(
        "every: 60 s", "every: {day: 60 s, night: 600 s}"
    )
    more, rails = "gated: true, capacitance: 10 uF, decay: 60 s", ""
    if rail:
        more, rails = "rail: radio", EMPTIES.replace("30 s", "60 s")
    else:
        product = product.replace("workload:", "rail: 3.3 V\nworkload:").replace(
            "converters: [none]", "converters: [up]"
        )
    best = evaluate(*made(tmp_path, rails, more, product=product)).candidates[0].best
    peak = best.assessed.rail_peaks[0][0] if rail else best.assessed.peak_a[best.row, 0]
    filling = 33e-6 * (1 - np.exp(-(600 - 60e-3) / 60)) / 60e-3
    assert peak == pytest.approx(26e-3 + filling + (0 if rail else 2e-6), rel=1e-9)


def test_a_rail_on_which_pulses_meet_is_filled_once(tmp_path: Path) -> None:
    """Both at random, while the core sleeps: 10 µF over 60 ms once, 26 and 1 mA steadily, and what
    a load beside the other fills of its own, 20 µF over its 30 ms."""
    steady = 27e-3
    plain = made(tmp_path / "a", EMPTIES, "rail: radio", product=beside("90 s", comes="random"))
    best = evaluate(*plain).candidates[0].best
    filling = 33e-6 / 60e-3
    assert best.assessed.rail_peaks[0][0] == pytest.approx(steady + filling, rel=1e-9)
    own = "current: 1 mA, for: 30 ms, rail: radio, gated: true, capacitance: 20 uF"
    product = beside("90 s", own, "random")
    best = (
        evaluate(*made(tmp_path / "b", EMPTIES, "rail: radio", product=product)).candidates[0].best
    )
    # over the shorter of the two the rail's own is the more
    filling = 33e-6 / 30e-3 + 66e-6 / 30e-3
    assert best.assessed.rail_peaks[0][0] == pytest.approx(steady + filling, rel=1e-9)


def test_a_rail_is_filled_by_another_task_beside_what_is_not_on_it(tmp_path: Path) -> None:
    """A radio of 26 mA at random, on the rail, beside 20 s of a load that is not: 10 µF over
    60 ms."""
    product = beside("90 s", "current: 1 mA, for: 20 s", "random")
    best = evaluate(*made(tmp_path, EMPTIES, "rail: radio", product=product)).candidates[0].best
    lamp = (
        next(
            s for s, name in enumerate(best.assessed.awake.worst[0].names[1]) if name.name == "bell"
        )
        + best.assessed.timeline.tasks[1].start
    )
    filled = best.assessed.awake.worst[0].rails[0].fill_s[lamp, 0]
    assert filled == pytest.approx(10e-6 / 60e-3, rel=1e-12)


# Straight from a pack whose voltage falls --------------------------------------------------------


@pytest.mark.parametrize("rail", [False, True])
def test_a_filling_takes_the_voltage_that_the_pack_has_then(rail: bool, tmp_path: Path) -> None:
    """100 µF a minute: C0 the integral of dD/(i + C V(D)/T), a logarithm; filled to the nominal
    3.3 V all along it would last a fifth less. Currents by consumer add up to it (`told`)."""
    gate = "gated: true, capacitance: 100 uF"
    rails = f"{{rail: radio, converters: [none], {gate}}}" if rail else ""
    more = "rail: radio" if rail else gate
    found = told(made(falling(tmp_path), rails, more, product=OWN_CELL))
    by = 100e-6 / 60
    steady = CORE + 26e-3 * 60e-3 / 60
    wanted = 1800 / (by * 1.6) * np.log((steady + by * 3.5) / (steady + by * 1.9))
    assert found.battery_life_s.nominal == pytest.approx(wanted, rel=1e-7)
    # over the time the voltage has the mean of which the rest is the filling's
    filled = 1800 / wanted - steady
    name = "filling rail radio" if rail else "report: filling radio"
    assert amounts(found)[name] == pytest.approx(filled, rel=1e-6)
    (one,) = found.gating
    assert one.charge_c == pytest.approx(filled * 60, rel=1e-6)
    assert one.energy_j == pytest.approx((filled * 60) ** 2 / 100e-6, rel=1e-6)
    assert one.takes_j == pytest.approx(one.energy_j, rel=1e-6)
    assert one.stored_j == pytest.approx(one.energy_j / 2, rel=1e-6)


def test_a_filling_beside_constant_powers(tmp_path: Path) -> None:
    """i + p/V + C V/T by quadrature; and fresh, at 3.5 V."""
    product = OWN_CELL.replace("radio, current: 26 mA", "radio, power: 60 mW")
    inputs = made(falling(tmp_path), more="gated: true, capacitance: 100 uF", product=product)
    found = told(inputs)
    by, watts = 100e-6 / 60, 60e-3 * 60e-3 / 60

    def rate(depth: float) -> float:
        volts = 3.5 - 1.6 * depth
        return 1800 / (CORE + watts / volts + by * volts)

    assert found.battery_life_s.nominal == pytest.approx(quad(rate, 0, 1)[0], rel=1e-7)
    best = evaluate(*inputs).candidates[0].best
    fresh = best.assessed.life.start_mean_a[best.row, 0]
    assert fresh == pytest.approx(CORE + watts / 3.5 + by * 3.5, rel=1e-9)


def test_a_store_gives_what_is_filled_at_its_own_voltage(tmp_path: Path) -> None:
    """The load of a day is the mean of V (i + C V/T) over the store's charge, and the balance of
    energy the factor by which a harvest prolongs a discharge."""
    cell = FALLING.replace("capacity: 500 mAh", "capacity: 4 mAh\nrechargeable: true\n"
                           "charge: {efficiency: 100 %, min: -40 degC, max: 60 degC}")  # fmt: skip
    months = "january february march april may june july august september october november december"
    income = ", ".join(f"{month}: 4 J" for month in months.split())
    product = OWN_CELL + (
        f"harvest: {{energy: {{{income}}}, spread: 50 %, persistence: 0.3, night: 12 h}}\n"
    )
    inputs = made(falling(tmp_path, cell), more="gated: true, capacitance: 100 uF", product=product)
    told(inputs)
    best = evaluate(*inputs).candidates[0].best
    at, lived = best.assessed.harvest, best.assessed.life
    assert at is not None
    by, steady, income_w = 100e-6 / 60, CORE + 26e-3 * 60e-3 / 60, 4 / 86400
    volts = 3.5 - 1.6 * np.linspace(0, 1, 100_001)
    watts = volts * (steady + by * volts)
    assert at.load_w[best.row, 0] == pytest.approx(watts.mean(), rel=1e-3)
    assert income_w < watts.min()
    seconds = 14.4 * float((volts / (watts - income_w)).mean())
    assert lived.life_s[best.row, 0] == pytest.approx(seconds, rel=1e-3)
    mean_a = steady + by * 2.7
    assert lived.mean_current_a[best.row, 0] == pytest.approx(mean_a, rel=1e-6)


def test_a_filling_pulls_a_voltage_by_what_it_takes_there(tmp_path: Path) -> None:
    """100 µF over 60 ms behind 20 ohm: short of 2.2 V where V = 2.2 V + R (26 mA + G 2.2 V), and
    fresh V' = V - R (26 mA + G V')."""
    cell = FALLING.replace("resistance: 0 ohm", "resistance: 20 ohm").replace("1.8 V", "2.2 V")
    inputs = made(
        falling(tmp_path, cell), more="gated: true, capacitance: 100 uF", product=OWN_CELL
    )
    best = evaluate(*inputs).candidates[0].best
    row, lived = best.row, best.assessed.life
    siemens, amps = 100e-6 / 60e-3, 26e-3 + 2e-6
    least = 2.2 + 20 * (amps + siemens * 2.2)
    assert lived.end_depth[row, 0] == pytest.approx((3.5 - least) / 1.6, rel=1e-8)
    low = (3.5 - 20 * amps) / (1 + 20 * siemens)
    assert lived.start_low_v[row, 0] == pytest.approx(low, rel=1e-12)
    assert lived.start_peak_a[row, 0] == pytest.approx(amps + siemens * low, rel=1e-12)


def test_rows_with_and_without_a_filling_last_side_by_side() -> None:
    """Two drains, of which one fills, joined, apart, and case by case."""
    falls = pack((0.0, 1.0), (3.5, 1.9), (9.0, 9.0), capacity_c=100.0)
    plain = drain([(10e-3, 20e-3, 5e-3)], rest=(4e-6, 6e-6), cut_off=2.2)
    siemens = np.where(np.arange(plain.share.shape[1]) == 0, 2e-3, 0.0)[None, :, None]
    told_v = np.full(1, 3.0)
    fills = replace(plain, constant_a=plain.constant_a + siemens * 3.0, filling=(siemens, told_v))
    alone = [life(falls, one) for one in (plain, fills)]
    assert alone[0].life_s[0, 0] > alone[1].life_s[0, 0]
    together = joined([plain, fills])
    of_rows = [rows_of(together, slice(n, n + 1)) for n in (0, 1)]
    cases = [cases_of(falls, together, np.array([n]), np.array([0])) for n in (0, 1)]
    for k, one in enumerate(alone):
        for found in (
            life(falls, together).rows(slice(k, k + 1)),
            life(falls, of_rows[k]),
            life(*cases[k]),
        ):
            for name in ("life_s", "end_depth", "mean_current_a", "start_low_v", "start_peak_a"):
                wanted = getattr(one, name)[0, 0]
                assert getattr(found, name)[0, 0] == pytest.approx(wanted, rel=1e-9), name
    some = some_tasks(replace(fills, tasks=(slice(0, 1), slice(1, 1))), [0])
    assert some.filling is not None
    assert some.filling[0].shape == some.constant_a.shape


def test_a_time_that_fills_less_does_not_outdo_another() -> None:
    """As much at 3.0 V but of a constant current: at the cut-off the filling asks for less, at a
    full pack for more, so neither outdoes the other; of two that fill the greater does."""
    plain = drain([(10e-3, 0.0, 5e-3)], rest=(4e-6, 0.0), cut_off=2.2)
    siemens = np.array([2e-3, 0.0])[None, :, None]
    fills = replace(plain, filling=(siemens, np.full(1, 3.0)))
    ease = np.ones(1)
    apart = outdone([Seen(ease, plain), Seen(ease, fills)])
    assert [one.outdone[0, 0] for one in apart if one.outdone is not None] == [False, False]
    siemens_more = (siemens * 4 / 3, np.full(1, 3.0))
    more = replace(fills, constant_a=fills.constant_a + siemens, filling=siemens_more)
    apart = outdone([Seen(ease, more), Seen(ease, fills)])
    assert [one.outdone[0, 0] for one in apart if one.outdone is not None] == [False, True]
