"""Small sums of the model, each against plain Python."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.model.battery import cut_off_depth
from advisor.model.drain import Pack
from advisor.model.leaking import LOW, PLACES, held, low_mean, taken
from advisor.model.plan import _each_once

pytestmark = pytest.mark.once


@given(st.integers(0, 10_000))
def test_the_depth_of_a_cut_off_is_where_the_curve_meets_it(seed: int) -> None:
    """The first crossing of a falling or wavy curve of any draw, by a loop over its steps."""
    random = np.random.default_rng(seed)
    steps, draws, rows = 5, 4, 3
    depth = np.sort(np.append(random.uniform(0.05, 0.95, steps - 2), (0.0, 1.0)))
    volts = 3.0 - depth[:, None] * random.uniform(0, 1, draws)
    volts += random.choice([0.0, 0.2]) * random.uniform(-1, 1, volts.shape)
    cut = random.uniform(1.8, 3.1, (rows, draws))
    pack = cast(Pack, SimpleNamespace(depth=depth, open_v=volts))
    found = cut_off_depth(pack, cut)
    for r in range(rows):
        for n in range(draws):
            exact = 1.0
            for a in range(steps - 1):
                if volts[a + 1, n] < cut[r, n]:
                    fall = volts[a, n] - volts[a + 1, n]
                    share = min(max((volts[a, n] - cut[r, n]) / fall, 0.0), 1.0) if fall else 0.0
                    exact = depth[a] + share * (depth[a + 1] - depth[a])
                    break
            # a curve that ends above all cut-offs is not looked at, whatever it does before
            if (volts[-1] >= cut).all():
                exact = 1.0
            assert found[r, n] == pytest.approx(exact, abs=1e-12)


@given(st.lists(st.lists(st.integers(0, 3), min_size=4, max_size=4), max_size=12), st.booleans())
def test_rows_are_kept_once_in_order(rows: list[list[int]], great: bool) -> None:
    """By Python's own sorting; numbers too great for one number a row as well."""
    given_rows: Any = np.array(rows, dtype=np.intp).reshape(-1, 4) * (1 << 17 if great else 1)
    exact = sorted(set(map(tuple, given_rows.tolist())))
    assert [tuple(row) for row in _each_once(given_rows).tolist()] == exact


# Stores that leak ---------------------------------------------------------------------------------


def test_a_capacitor_s_voltage_weighed_by_what_is_held() -> None:
    """V = u falls from 1 to 0 and s = u^2 is held: the mean of u by u/(u^2 + c) is
    (1 - sqrt(c) atan(1/sqrt(c))) / (ln((1 + c)/c) / 2), both integrals in closed form."""
    volts = np.linspace(3.0, 0.0, PLACES)[:, None]
    mean = (1 - LOW**0.5 * np.arctan(LOW**-0.5)) / (np.log((1 + LOW) / LOW) / 2)
    assert low_mean(volts, held(volts), volts)[0] == pytest.approx(3.0 * mean, rel=2e-3)
    # of what has no voltage at all there is the first value
    assert low_mean(volts + 1, volts, 0 * volts)[0] == 4.0


def test_shares_of_a_load_at_a_voltage_that_stays() -> None:
    """At 2 V: 3 A are 6 W beside 4 W of constant power, and a leak of 1 A takes 2 W of the 12."""
    volts = np.full((PLACES, 1, 3), 2.0)
    leak = np.broadcast_to([1.0, 0.0, 0.0], volts.shape)
    amps, watts = np.array([[3.0, 3.0, 0.0]]), np.array([[4.0, 4.0, 0.0]])
    mean, (depth, rest, leaks) = taken(volts, leak, amps, watts, np.full((1, 3), 0.7))
    assert mean[0] == pytest.approx([12.0, 10.0, 0.0])
    assert rest[0] == pytest.approx([0.6, 0.6, 0.0])
    assert leaks[0] == pytest.approx([1 / 6, 0.0, 0.0])
    assert depth[0] == pytest.approx([0.7] * 3)
