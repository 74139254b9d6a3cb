"""What is filled again after rests as they occur: by hand, and against simulation."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.model.gating import Use, emptied
from tests.model.test_rails import PRODUCT, amounts, made, told

pytestmark = pytest.mark.once


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


def test_tries_of_an_event_fill_what_has_emptied_meanwhile(tmp_path: Path) -> None:
    """Half of the events are gone through twice: the second time nothing was off but for another
    load of 2 s, and 30 µC (1 - exp(-2/10)) are filled; the first time all of it."""
    product = PRODUCT.replace(
        "kernels: {crc: 1}", "kernels: {crc: 1}\n    retries: {fails: 0.5, most: 2}"
    ).replace("loads: [", "loads: [{load: lamp, current: 1 mA, for: 2 s}, ")
    more = "gated: true, capacitance: 10 uF, decay: 10 s"
    found = told(made(tmp_path, more=more, product=product))
    off = 60 - 1.5 * 0.06 - 0.5 * 2
    by_hand = 30e-6 * ((1 - np.exp(-off / 10)) + 0.5 * (1 - np.exp(-0.2))) / 60
    assert amounts(found)["report: filling radio"] == pytest.approx(by_hand, rel=1e-9)
