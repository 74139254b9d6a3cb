"""Voltages after rest, and pulse limits in the cold, against plain interpolation."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.model.rested import AfterRest
from tests.model.test_calendar import made
from tests.model.test_chance import device


def column(*values: float) -> np.ndarray:
    return np.array(values)[:, None]


GRID = AfterRest(
    rests=(3600.0, 360000.0),
    rows=(
        ((-20.0, 20.0), ((column(0.01, 0.03)[:, 0], column(2.8, 2.4)),) * 2),
        (
            (-20.0, 20.0),
            (
                (column(0.01)[:, 0], column(2.0)),
                (column(0.01)[:, 0], column(2.6)),
            ),
        ),
    ),
)


@pytest.mark.parametrize(
    ("rest", "at", "current", "expected"),
    [
        (3600.0, 20.0, 0.02, 2.6),  # half-way between two currents
        (60.0, 20.0, 0.001, 2.8),  # less of both than measured: held
        (
            3600.0,
            20.0,
            0.04,
            2.4 - 0.7 / 3,
        ),  # beyond: 23.3 V/A as from the open 3.1 V, more than 20
        (360000.0, 0.0, 0.01, 2.3),  # half-way between two temperatures
        (360000.0, 60.0, 0.01, 2.6),  # warmer: held
        (360000.0, 20.0, 0.02, 2.1),  # one figure: as from the open 3.1 V, 50 V/A
        (36000.0, 20.0, 0.01, 2.7),  # half-way in the logarithm of rest
        (36000000.0, 20.0, 0.01, 2.4),  # beyond: another two decades, another 0.2 V
    ],
)
def test_a_voltage_lies_between_those_measured(
    rest: float, at: float, current: float, expected: float
) -> None:
    one = np.ones(1)
    found = GRID.voltage(rest * one, at * one, current * one[None], 3.1 * one)
    assert found[0, 0] == pytest.approx(expected, rel=1e-12)


def test_rest_before_use_and_rests_at_random_count(tmp_path: Path) -> None:
    """A film that a day of rest does not grow, and three months do."""
    one, _ = device(0)
    work = "  - task: t0\n    every: 1 h\n    arrival: regular\n    kernels: {crc: 1}\n"
    stays = "environment: [{at: -10 degC, share: 0.5}, {at: 20 degC, share: 0.5}]"
    found = made(one, stays, work, tmp_path)
    table = "{6 h: {-10 degC: {5 mA: 1.9 V}}, 90 days: {-10 degC: {5 mA: 1.5 V}}}"
    measured = with_changes(*found, [f"pill:after-rest={table}"])
    assert evaluate(*measured).candidates
    phase = "{phase: s, for: 90 days, environment: [{at: 20 degC, share: 1}], state: disconnected}"
    stored = with_changes(*measured, [f"probe:before-use=[{phase}]"])
    (failed,) = [f for f in evaluate(*stored).screened["chip"] if "after-rest" in f.need]
    assert failed.text == "pill after-rest: voltage under t0, rested: 1.80 V needed, 1.50 V offered"
    # of presses an hour apart on average the longest gap of a year is some nine hours
    pressed = with_changes(*measured, ["probe:workload.t0.arrival=random"])
    assert evaluate(*pressed).candidates
    steep = "{3 h: {-10 degC: {5 mA: 1.9 V}}, 9 h: {-10 degC: {5 mA: 1.7 V}}}"
    assert evaluate(*with_changes(*found, [f"pill:after-rest={steep}"])).candidates
    steep = f"pill:after-rest={steep}"
    change = [steep, "probe:workload.t0.arrival=random"]
    told = (
        "pill: rests of up to 9.08 h are longer than the longest that after-rest was measured with"
    )
    short = with_changes(*found, ["pill:after-rest={1 h: {-10 degC: {5 mA: 1.9 V}}}", change[1]])
    assert any(text.startswith(told) for text in evaluate(*short).warnings)
    assert "chip" in evaluate(*with_changes(*found, change)).screened
    with pytest.raises(FaultError):
        with_changes(*found, ["pill:after-rest={5 mA: 2 V}"])


def test_a_pulse_limit_is_that_of_the_coldest_place(tmp_path: Path) -> None:
    """8 mA at -10 degC lie half-way between 4 and 12; a task that is not done at night is held to
    the day's."""
    one, _ = device(0)
    work = (
        "  - task: t0\n    every: EVERY\n    kernels: {crc: 1}\n"
        "    loads: [{load: l, current: LOAD mA, for: 10 ms, cpu: asleep}]\n"
        "  - task: t1\n    every: 1 h\n    kernels: {crc: 1}\n"
    )
    pulses = "pill:max-pulse={-20 degC: 4 mA, 0 degC: 12 mA}"

    def stands(load: float, every: str, stays: str, folder: Path) -> bool:
        text = work.replace("LOAD", f"{load}").replace("EVERY", every)
        found = with_changes(*made(one, stays, text, folder), [pulses])
        return bool(evaluate(*found).candidates)

    both = "environment: [{at: -10 degC, share: 0.5}, {at: 20 degC, share: 0.5}]"
    # the divider and sleep draw some microamperes
    assert stands(7.9, "1 h", both, tmp_path)
    assert not stands(8.1, "1 h", both, tmp_path)
    times = (
        "times:\n  - {time: day, share: 0.5, environment: [{at: 20 degC, share: 1}]}\n"
        "  - {time: night, share: 0.5, environment: [{at: -10 degC, share: 1}]}"
    )
    assert stands(11.9, "{day: 1 h}", times, tmp_path)
    assert not stands(12.1, "{day: 1 h}", times, tmp_path)
    assert not stands(8.1, "{day: 1 h, night: 9 h}", times, tmp_path)
