"""The worth of information against the analytic case of two normals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from advisor.decide.information import partial, perfect
from advisor.decide.robustness import expected_regret

pytestmark = pytest.mark.once

N = 100_000
M1, M2, S1, S2 = 1.0, 0.5, 2.0, 1.0


def expected_greatest(spread: float) -> float:
    """E[max] of two means that differ by M1 - M2, the difference normal of this spread.

    Clark, Operations Research 9 (1961) 145-162, the greatest of two normals.
    """
    a = (M1 - M2) / spread
    law = stats.norm
    return float(M1 * law.cdf(a) + M2 * law.cdf(-a) + spread * law.pdf(a))


@pytest.fixture(scope="module")
def drawn() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    x, y = rng.normal(M1, S1, N), rng.normal(M2, S2, N)
    return np.stack([x, y]), x, y


def test_perfect_information_on_two_normals(drawn: tuple[np.ndarray, ...]) -> None:
    scores, _, _ = drawn
    exact = expected_greatest(float(np.hypot(S1, S2))) - M1
    assert perfect(scores) == pytest.approx(exact, abs=4 * 1.5 / np.sqrt(N))


@pytest.mark.parametrize(("which", "spread"), [(1, S1), (2, S2)])
def test_partial_information_on_two_normals(
    drawn: tuple[np.ndarray, ...], which: int, spread: float
) -> None:
    # to know one of them leaves the other's mean: the difference is normal of that one's spread
    found = partial(drawn[0], [drawn[which]])
    exact = expected_greatest(spread) - M1
    # 25 bins blur a normal's greatest a little
    assert found.value == pytest.approx(exact, abs=4 * found.error + 0.005)


@pytest.mark.slow
def test_to_know_both_is_to_know_all(drawn: tuple[np.ndarray, ...]) -> None:
    scores, x, y = drawn
    found = partial(scores, [x, y])
    assert found.value == pytest.approx(perfect(scores), abs=4 * found.error + 0.005)


@pytest.mark.slow
def test_what_has_no_bearing_is_worth_nothing(drawn: tuple[np.ndarray, ...]) -> None:
    scores, x, _ = drawn
    rng = np.random.default_rng(2)
    for noise in ([rng.normal(size=N)], [rng.normal(size=N) for _ in range(6)]):
        found = partial(scores, noise)
        assert abs(found.value) <= 4 * found.error + 1e-12
    # a third that can never win changes nothing
    more = np.vstack([scores, np.full(N, -100.0)])
    assert perfect(more) == pytest.approx(perfect(scores), rel=1e-12)
    assert partial(more, [x]).value == pytest.approx(partial(scores, [x]).value, rel=1e-6)


def test_a_step_is_seen() -> None:
    # a battery change at a threshold: the first is better by 1 below it and worse by 10 above
    rng = np.random.default_rng(4)
    x = rng.normal(size=N)
    first = np.where(x < 1.5, 1.0, -10.0) + rng.normal(0, 3, N)
    found = partial(np.stack([first, np.zeros(N)]), [x])
    mean = 1.0 * stats.norm.cdf(1.5) - 10.0 * stats.norm.sf(1.5)
    exact = stats.norm.cdf(1.5) - max(mean, 0.0)
    assert found.value == pytest.approx(exact, abs=0.05)


@given(
    parts=st.integers(1, 7),
    draws=st.integers(1, 60),
    kind=st.sampled_from(["normal", "steps", "heavy"]),
    seed=st.integers(0, 9999),
)
def test_the_least_regret_is_the_greatest_mean_score(
    parts: int, draws: int, kind: str, seed: int
) -> None:
    # regret is E[max s] - E[s_p]: the first term is the same for all (Raiffa & Schlaifer 1961)
    rng = np.random.default_rng(seed)
    scores = {
        "normal": rng.normal(50, 20, (parts, draws)),
        "steps": rng.integers(0, 3, (parts, draws)).astype(float),
        "heavy": np.clip(50 + 30 * rng.standard_cauchy((parts, draws)), 0, 100),
    }[kind]
    regrets, means = expected_regret(scores), scores.mean(axis=1)
    least = np.isclose(regrets, regrets.min(), rtol=1e-9, atol=1e-9)
    most = np.isclose(means, means.max(), rtol=1e-9, atol=1e-9)
    assert (least == most).all()
    # what is left over is what knowing all would add
    assert regrets.min() == pytest.approx(perfect(scores), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("gap", [0.01, 0.05])
def test_the_error_holds_what_a_bearing_too_small_to_be_seen_may_be_worth(gap: float) -> None:
    """Of two rivals at a gap and at ten times the gap, the near one: a bearing of two standard
    errors of its lead is not told from none (common practice, no source). The normal's integral
    is SciPy's; in these draws nothing is gained."""
    rng = np.random.default_rng(4)
    n = 2_000
    noise = rng.normal(0, 1, (2, n))
    noise -= noise.mean(axis=1, keepdims=True)
    scores = np.stack([np.zeros(n), noise[0] - gap, noise[1] - 10 * gap])
    figure = np.repeat([0.0, 1.0], n // 2)
    found = partial(scores, [rng.permutation(figure)])
    deviation = 2 * float(noise[0].std()) / np.sqrt(n)
    law = stats.norm(-gap, deviation)
    unseen, _ = integrate.quad(lambda x: x * law.pdf(x), 0, 1, points=[10 * deviation])
    assert found.value == 0
    assert found.error == pytest.approx(unseen, rel=1e-6)
