"""The propagation of distributions on the GUM's own examples and against first order.

H.1 and H.2 are examples of JCGM 100:2008. Their inputs go through the sampler as figures do; the
measurement models stand here.
"""

from __future__ import annotations

import numpy as np
import pytest

from advisor.model.battery import life
from advisor.model.drain import Drain, Pack
from advisor.model.draws import Sampler, sample, stream
from advisor.quantities import Quantity, read_quantity

N = 400_000


def normal(value: float, u: float) -> Quantity:
    """As a file states it: an expanded uncertainty with k = 2."""
    return read_quantity(f"{value!r} ± {2 * u!r} (k=2)", "score")


def rectangular(value: float, half: float) -> Quantity:
    return read_quantity(f"{value!r} ± {half!r}", "score")


def test_gum_h1_an_end_gauge() -> None:
    # nanometres and kelvin: standard 50 000 623 nm, u 25; difference 215 nm, u 9.7; expansion
    # 11.5e-6 +- 2e-6; its difference +-1e-6; temperature's difference +-0.05; deviation of the
    # bed's temperature -0.1, u 0.2, with a cycle of amplitude 0.5 (arcsine, u 0.35)
    sampler = Sampler("h1", N)
    standard = sampler.take(sampler.root / "standard", normal(50_000_623.0, 25.0))
    difference = sampler.take(sampler.root / "difference", normal(215.0, 9.7))
    expansion = sampler.take(sampler.root / "expansion", rectangular(11.5e-6, 2e-6))
    d_expansion = sampler.take(sampler.root / "d-expansion", rectangular(0.0, 1e-6))
    d_temperature = sampler.take(sampler.root / "d-temperature", rectangular(0.0, 0.05))
    mean = sampler.take(sampler.root / "mean", normal(-0.1, 0.2))
    turn = sampler.take(sampler.root / "cycle", rectangular(0.0, np.pi / 2))
    deviation = mean + 0.5 * np.sin(turn)
    length = (
        standard + difference - standard * (d_expansion * deviation + expansion * d_temperature)
    )
    assert length.mean() == pytest.approx(50_000_838.0, abs=0.3)
    # 32 nm to first order (31.66), 34 nm with the second-order terms, which draws have by nature;
    # the deviation of a deviation of N draws is u/sqrt(2 N), far below half a nanometre
    assert length.std() == pytest.approx(34.0, abs=0.5)
    # to first order the standard's own budget: 25, 9.7, 2.9 and 16.6 nm, from what the texts say
    first = [
        normal(50_000_623.0, 25.0).u,
        normal(215.0, 9.7).u,
        5e7 * rectangular(0.0, 1e-6).u * 0.1,
        5e7 * 11.5e-6 * rectangular(0.0, 0.05).u,
    ]
    assert first == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.05)
    assert np.hypot.reduce(first) == pytest.approx(31.66, abs=0.05)
    # and its terms of second order, the products of two deviations of zero mean
    second = 5e7 * np.array(
        [
            rectangular(11.5e-6, 2e-6).u * rectangular(0.0, 0.05).u,
            rectangular(0.0, 1e-6).u * np.std(deviation),
        ]
    )
    assert length.std() == pytest.approx(np.hypot.reduce([*first, *second]), rel=4e-3)


def test_gum_h2_resistance_and_reactance() -> None:
    # five simultaneous observations: means, standard uncertainties and correlations as published
    means = np.array([4.9990, 19.6610e-3, 1.04446])
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
    sampler = Sampler("h2", N)
    free = np.stack([sampler.take(sampler.root / f"z{i}", normal(0.0, 1.0)) for i in range(3)])
    v, i, phase = means[:, None] + u[:, None] * (np.linalg.cholesky(r) @ free)
    found = np.stack([v / i * np.cos(phase), v / i * np.sin(phase), v / i])
    assert found.mean(axis=1) == pytest.approx([127.732, 219.847, 254.260], abs=0.003)
    # u and r as published, which are rounded: +-0.001, and the observations' r to two digits
    assert found.std(axis=1) == pytest.approx([0.071, 0.295, 0.236], abs=0.002)
    correlated = np.corrcoef(found)
    assert correlated[0, 1] == pytest.approx(-0.588, abs=0.015)
    assert correlated[0, 2] == pytest.approx(-0.485, abs=0.015)
    assert correlated[1, 2] == pytest.approx(0.993, abs=0.002)


def test_a_linear_case_is_first_order_propagation() -> None:
    # a mean current: the sum of charges over periods, against another library's first order
    from uncertainties import ufloat

    texts = {"4.00(8) mA": 2e-3, "9.0 ± 0.3 mA": 1e-3, "26.0 ± 0.5 mA (k=2)": 5e-3}
    figures = [read_quantity(t, "current") for t in texts]
    linear = sum(ufloat(f.nominal, f.u) * t for f, t in zip(figures, texts.values(), strict=True))
    drawn = sum(
        sample(f, stream(1, "linear", str(i)), N) * t
        for i, (f, t) in enumerate(zip(figures, texts.values(), strict=True))
    )
    assert np.mean(drawn) == pytest.approx(linear.nominal_value, rel=4 * 0.02 / np.sqrt(N))
    assert np.std(drawn) == pytest.approx(linear.std_dev, rel=4 / np.sqrt(2 * N))


def test_a_nearly_linear_battery_life_is_first_order_propagation() -> None:
    from uncertainties import ufloat

    sampler = Sampler("flat", N)
    parts = {"capacity": (810.0, 8.0), "sleep": (2e-6, 4e-8), "charge": (5e-5, 1e-6)}
    drawn = {n: sampler.take(sampler.root / n, normal(*v)) for n, v in parts.items()}
    made = _drawn_life(drawn["capacity"], drawn["sleep"], drawn["charge"])
    exact = {n: ufloat(*v) for n, v in parts.items()}
    linear = exact["capacity"] / (exact["sleep"] + exact["charge"] / 60)
    # second order is of the size of u^2 = 2e-4 of the value
    assert made.mean() == pytest.approx(linear.nominal_value, rel=5e-4)
    assert made.std() == pytest.approx(linear.std_dev, rel=0.01)


def _drawn_life(capacity: np.ndarray, sleep: np.ndarray, charge: np.ndarray) -> np.ndarray:
    """The battery model's lives of a flat cell, a millisecond's pulse a minute over a sleep."""
    flat, none = np.full((2, N), 3.0), np.zeros(N)
    span = np.array([1e-3, 0.0])[None, :, None] * np.ones(N)
    found = life(
        Pack(
            np.array([0.0, 1.0]), flat, 0 * flat, capacity, none, none, none + 1, none + 1,
            none + np.inf,
        ),
        Drain(
            np.stack([charge / 1e-3 + sleep, sleep])[None],
            0 * span,
            np.array([1e-3 / 60, 1 - 1e-3 / 60])[None, :, None] * np.ones(N),
            span,
            (slice(0, 1),),
            np.full((1, N), 60.0),
            np.zeros((1, N)),
        ),
    )  # fmt: skip
    return np.asarray(found.life_s[0])
