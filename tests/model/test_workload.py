"""A product's own figures as arrays, and curves against numpy's interpolation."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.model.draws import Sampler
from advisor.model.workload import ProductFigures, on_curve, product_figures
from tests.model.records import PRODUCT, records

WORKLOAD = """[
  {task: sample, every: 20 s, kernels: {crc: 3}, uses: {beacon: 2}, finish-within: 80 ms,
   loads: [{load: probe, current: 2 mA, for: 12 ms, cpu: asleep},
           {load: radio, current: 60 mA, for: 20 ms, cpu: idle}]},
  {task: report, every: 1 h, kernels: {crc: 1}, wake-within: 1 ms}]"""


def figures(root: Path, draws: int = 0, **keys: str) -> ProductFigures:
    named = {**PRODUCT, **{k.replace("_", "-"): v for k, v in keys.items()}}
    parts = {"chip": "part: chip\nblocks: {beacon: {current: 5 mA, for: 1 ms}}\n"}
    return product_figures(records(root, named, parts=parts)[1], Sampler("probe", draws))


def test_tasks_come_in_si_in_the_order_of_the_file(tmp_path: Path) -> None:
    found = figures(tmp_path, workload=WORKLOAD)
    sample, report = found.tasks
    assert (sample.name, report.name) == ("sample", "report")
    assert (sample.period[0], report.period[0]) == (20.0, 3600.0)
    assert (sample.kernels["crc"][0], sample.uses["beacon"][0]) == (3.0, 2.0)
    assert [x.name for x in sample.loads] == ["probe", "radio"]
    assert [float(x.demand.current[0]) for x in sample.loads] == pytest.approx([2e-3, 60e-3])
    assert [float(x.duration[0]) for x in sample.loads] == pytest.approx([12e-3, 20e-3])
    assert [x.asleep for x in sample.loads] == [True, False]
    assert sample.finish_within is not None
    assert sample.finish_within[0] == pytest.approx(80e-3)
    assert sample.wake_within is None
    assert report.wake_within == pytest.approx(1e-3)
    assert report.finish_within is None


def test_standing_loads_add_up(tmp_path: Path) -> None:
    loads = "[{load: divider, current: 0.8 µA}, {load: keeper, current: 1.7 µA}]"
    assert figures(tmp_path / "two", standing_loads=loads).standing_a[0] == pytest.approx(
        2.5e-6, rel=1e-12
    )
    assert figures(tmp_path / "none").standing_a.tolist() == [0.0]


def test_a_load_is_told_by_current_power_or_charge(tmp_path: Path) -> None:
    loads = (
        "[{load: a, current: 2 mA, for: 4 ms}, {load: b, power: 30 mW, for: 4 ms}, "
        "{load: c, charge: 90 µC, for: 30 ms}]"
    )
    told = figures(
        tmp_path,
        workload=f"[{{task: sample, every: 9 s, loads: {loads}}}]",
        standing_loads="[{load: x, power: 6 µW}, {load: y, current: 1 µA}, {load: z, power: 3 µW}]",
    )
    found = [(float(x.demand.current[0]), float(x.demand.power[0])) for x in told.tasks[0].loads]
    # 90 µC in 30 ms are 3 mA
    assert found == [(2e-3, 0.0), (0.0, 30e-3), (pytest.approx(3e-3, rel=1e-12), 0.0)]
    assert told.standing_a[0] == pytest.approx(1e-6, rel=1e-12)
    assert told.standing_w[0] == pytest.approx(9e-6, rel=1e-12)
    # 2 µA of 6 µW from 3 V, half as much from 6 V
    assert told.standing["x"].at(3.0)[0] == pytest.approx(2e-6, rel=1e-12)
    assert told.standing["x"].at(6.0)[0] == pytest.approx(1e-6, rel=1e-12)


def test_a_charge_holds_however_long_it_takes(tmp_path: Path) -> None:
    """The charge and the time are drawn apart: their quotient is the current, so that the event's
    charge is the drawn one in every draw."""
    load = "{load: c, charge: 90(5) µC, for: 30(4) ms}"
    (one,) = (
        figures(tmp_path, draws=400, workload=f"[{{task: sample, every: 9 s, loads: [{load}]}}]")
        .tasks[0]
        .loads
    )
    charge = one.demand.current * one.duration
    assert charge.std() == pytest.approx(5e-6, rel=0.15)  # of 400 draws: 1/sqrt(800) is 4 %
    assert np.corrcoef(charge, one.duration)[0, 1] == pytest.approx(0.0, abs=0.2)
    assert one.duration.std() == pytest.approx(4e-3, rel=0.15)


def test_the_environment_s_ends_and_shares(tmp_path: Path) -> None:
    places = "[{at: 15 degC, share: 0.5}, {at: -10 degC, share: 0.2}, {at: 45 degC, share: 0.3}]"
    found = figures(tmp_path, environment=places)
    assert (found.coldest, found.hottest) == (-10.0, 45.0)
    assert found.temperature[:, 0].tolist() == [15.0, -10.0, 45.0]
    assert found.share[:, 0] == pytest.approx([0.5, 0.2, 0.3], rel=1e-12)


def test_drawn_shares_sum_to_one(tmp_path: Path) -> None:
    places = "[{at: 15 degC, share: 0.5 ± 0.1}, {at: 45 degC, share: 0.5}]"
    share = figures(tmp_path, 2000, environment=places).share
    assert share.sum(axis=0) == pytest.approx(np.ones(2000), rel=1e-12)
    # 0.4 to 0.6 beside 0.5: 4/9 to 6/11
    assert share[0].min() == pytest.approx(4 / 9, abs=1e-3)
    assert share[0].max() == pytest.approx(6 / 11, abs=1e-3)


def test_drawn_shares_of_times_sum_to_one(tmp_path: Path) -> None:
    """0.4 to 0.6 beside 0.5; of events by day alone the mean period is 10 s over its share."""
    found = figures(
        tmp_path,
        2000,
        times="[{time: day, share: 0.5 ± 0.1}, {time: night, share: 0.5}]",
        workload="[{task: sample, every: {day: 10 s}, kernels: {crc: 1}}]",
    )
    day, night = (t.share for t in found.times)
    assert day + night == pytest.approx(np.ones(2000), rel=1e-12)
    assert day.min() == pytest.approx(4 / 9, abs=1e-3)
    assert day.max() == pytest.approx(6 / 11, abs=1e-3)
    assert found.tasks[0].period == pytest.approx(10 / day, rel=1e-12)


def test_memory_that_is_needed_is_memory_that_is_kept(tmp_path: Path) -> None:
    assert figures(tmp_path / "none").ram_kib is None
    assert figures(tmp_path / "some", needs="{memory: {ram: 12 KiB}}").ram_kib == 12.0


@given(
    x=st.lists(st.integers(-40, 90), min_size=1, max_size=6, unique=True),
    at=st.lists(st.floats(-60, 110), min_size=1, max_size=5),
)
def test_a_curve_is_numpy_s_interpolation_draw_by_draw(x: list[int], at: list[float]) -> None:
    places = np.array(sorted(x), dtype=float)
    rng = np.random.default_rng(len(x))
    y = rng.normal(size=(len(places), 3))
    # places that differ from draw to draw, and the same ones for all
    for apart in ([0.0, 5.0, -5.0], [0.0, 0.0, 0.0]):
        asked = np.array(at)[:, None] + np.array(apart)
        found = on_curve(places, y, asked)
        for n in range(3):
            expected = np.interp(asked[:, n], places, y[:, n])
            assert found[:, n] == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("more", "chance"),
    [
        ("", False),
        (", arrival: regular", False),
        (", arrival: random", True),
        (", retries: {fails: 10 %, most: 3}", True),
        (", use-retries: {beacon: {fails: 10 %, most: 3}}", True),
        (
            ", loads: [{load: a, current: 1 mA, for: 1 ms, retries: {fails: 1 %, most: 2}}]",
            True,
        ),
    ],
)
def test_a_device_has_luck_where_something_is_left_to_chance(
    more: str, chance: bool, tmp_path: Path
) -> None:
    task = "{task: t, every: 20 s, kernels: {crc: 3}, uses: {beacon: 2}"
    workload = f"[{{task: plain, every: 1 h, kernels: {{crc: 1}}}}, {task}{more}}}]"
    found = figures(tmp_path / "drawn", draws=5, workload=workload)
    assert found.by_chance is chance
    assert (found.luck is not None) is chance
    if found.luck is not None:
        assert found.luck.shape == (5,)
    assert figures(tmp_path / "stated", workload=workload).luck is None


def test_a_time_without_surroundings_of_its_own_has_the_product_s(tmp_path: Path) -> None:
    """Three quarters of the time at 5 and 15 degC in equal shares, the rest at 30 degC; a cell
    charged from 10 degC on is too cold half of the first."""
    found = figures(
        tmp_path,
        environment="[{at: 5 degC, share: 0.5}, {at: 15 degC, share: 0.5}]",
        times="[{time: day, share: 0.25, environment: [{at: 30 degC, share: 1}]}, "
        "{time: night, share: 0.75}]",
        workload="[{task: sample, every: {day: 10 s, night: 1 min}, kernels: {crc: 1}}]",
    )
    assert dict(found.stays) == pytest.approx({5.0: 0.375, 15.0: 0.375, 30.0: 0.25})
    limits: Any = SimpleNamespace(
        min=SimpleNamespace(nominal=10.0), max=SimpleNamespace(nominal=30.0)
    )
    assert found.stated_idle(limits) == pytest.approx((0.375, 0.0))
    limits.min, limits.max.nominal = None, 29.9
    assert found.stated_idle(limits) == pytest.approx((0.0, 0.25))
    assert found.stated_idle(None) == (0, 0)
