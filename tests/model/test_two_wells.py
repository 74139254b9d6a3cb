"""Where a pack of two wells gives no more, against looks at every depth."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from advisor.model.battery import Life, life
from advisor.model.drain import Drain, Pack
from advisor.model.kinetic_cell import periodic_peak
from advisor.model.two_wells import two_well_depth

DRAWS, DEPTHS = 160, 400
SPANS = np.array([0.4, 3.0, 12.0])  # s


def random_cases(seed: int) -> tuple[Pack, Drain]:
    """One build over draws of a pack that falls from 3.2 to 2.4 V, near its bound at some depth."""
    rng = np.random.default_rng(seed)
    period = rng.choice([20.0, 90.0, 2000.0], DRAWS)
    # current that falls with the voltage and power that does not, and a rest
    amps, watts = rng.uniform(0, 0.02, (2, 1, 4, DRAWS))
    amps[:, -1], watts[:, -1] = 2e-5, 1e-5
    duration = np.broadcast_to(np.append(SPANS, 0.0)[None, :, None], amps.shape)
    share = duration / period
    share = np.concatenate([share[:, :-1], 1 - share[:, :-1].sum(axis=1, keepdims=True)], axis=1)
    volts = np.array([3.2, 2.4])[:, None] * np.ones(DRAWS)
    one = np.ones(DRAWS)
    pack = Pack(
        depth=np.array([0.0, 1.0]),
        open_v=volts,
        resistance=0.5 * np.ones((2, DRAWS)),
        capacity_c=10 ** rng.uniform(0.0, 2.5, DRAWS),
        self_discharge_a=1e-7 * one,
        leak_a=0 * one,
        least_capacity=one,
        mean_capacity=one,
        shelf_life_s=1e6 * one,
        two_well=(rng.uniform(0.1, 0.7, DRAWS), 10 ** rng.uniform(-4, -1, DRAWS)),
    )
    drain = Drain(
        constant_a=amps,
        power_w=watts,
        share=share,
        duration_s=duration,
        tasks=(slice(0, 3),),
        period_s=period[None],
        cut_off_v=1.0 * np.ones((1, DRAWS)),
    )
    return pack, drain


@pytest.mark.parametrize("seed", [1, 2])
def test_no_bound_hides_where_the_wells_run_dry(seed: int) -> None:
    pack, drain = random_cases(seed)
    a, b = drain.mean_constant_a, drain.mean_power_w
    # of few packs the last thousandth is at hand
    upto = np.random.default_rng(seed).uniform(0.5, 0.999, DRAWS)
    found = two_well_depth(pack, drain, a, b, upto[None], None)[0]
    assert pack.two_well is not None
    (c, k), at = pack.two_well, np.linspace(0.0, upto, DEPTHS + 1)
    first = np.full(DRAWS, np.inf)
    for depth in at[::-1]:
        volts = 3.2 - 0.8 * depth
        amps = [drain.constant_a[0, s] + drain.power_w[0, s] / volts for s in range(3)]
        mean, period = (a + b / volts)[0], drain.period_s[0]
        rest = period - SPANS.sum()
        idle = (mean * period - sum(i * t for i, t in zip(amps, SPANS, strict=True))) / rest
        peak = periodic_peak(amps, [t + 0 * rest for t in SPANS], idle, rest, c, k)
        short = 1 - (1 - c) * peak / pack.capacity_c - depth < 0
        first = np.where(short, depth, first)
    ends = np.isfinite(first)
    assert 0.1 < ends.mean() < 0.95
    assert np.isfinite(found).tolist() == ends.tolist()
    assert (found[ends] <= first[ends]).all()
    assert (found[ends] > first[ends] - 1.001 / DEPTHS).all()


def test_a_life_without_its_means_is_the_same_life() -> None:
    pack, drain = random_cases(3)
    whole, bare = life(pack, drain), life(pack, drain, means=False)
    means = {"mean_current_a", "self_a"}
    assert (whole.mean_current_a > 0).all()
    for name in means:
        assert np.isnan(getattr(bare, name)).all(), name
    for name in {f.name for f in fields(Life)} - means - {"charged", "emptied"}:
        np.testing.assert_array_equal(getattr(whole, name), getattr(bare, name), name)
    # from its start on it draws what it draws, where no well ends it
    still = life(replace(pack, two_well=None, shelf_life_s=np.full(DRAWS, np.inf)), drain)
    charge = still.mean_current_a + still.self_a
    np.testing.assert_allclose(charge * still.life_s, pack.capacity_c * still.end_depth, rtol=1e-9)
