"""Verdicts claim what they keep, over races whose truth is known, simulated here.

The simulator draws true scores, then measured ones; the tool sees draws about the measured ones.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import special, stats

from advisor.decide.luck import Lead, _groups, lead
from advisor.decide.ranks import first_place
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

Race = Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]]


def two_close(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return 70 + rng.normal(0, 1, 2), np.diag([1.0, 1.0])


def five_spread(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return 70 + rng.normal(0, 3, 5), np.diag(rng.uniform(0.5, 1.5, 5) ** 2)


def twenty_near_equal(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return 70 + rng.normal(0, 1, 20), np.diag(rng.uniform(0.7, 1.3, 20) ** 2)


def one_clear_leader(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    truth = 70 + rng.normal(0, 1, 20)
    truth[7] = 76 + rng.normal()
    return truth, np.eye(20)


def errors_in_common(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    # twelve parts on three cells, whose errors their parts share
    cell = rng.integers(0, 3, 12)
    shared = 1.5 + 2.0 * (cell[:, None] == cell)
    return 70 + rng.normal(0, 1.2, 12), shared + np.diag(rng.uniform(0.3, 1, 12))


def hopeless_below(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    truth = np.concatenate([rng.normal(80, 1, 12), rng.normal(40, 15, 10)])
    return truth, np.eye(22)


RACES = [
    two_close,
    five_spread,
    twenty_near_equal,
    one_clear_leader,
    errors_in_common,
    hopeless_below,
]


def run(race: Race, races: int, draws: int = 800) -> np.ndarray:
    """(races, 5): claimed chance, share of draws, right or not, expected fall, fall."""
    rng = np.random.default_rng(11)
    out = []
    for _ in range(races):
        truth, covariance = race(rng)
        measured = rng.multivariate_normal(truth, covariance)
        scores = rng.multivariate_normal(measured, covariance, draws).T
        first = int(measured.argmax())
        share = float(first_place(scores)[first])
        kept = lead(scores, first, share)
        expected = measured[first] - kept.score
        out.append(
            [kept.chance, share, first == truth.argmax(), expected, measured[first] - truth[first]]
        )
    return np.array(out, dtype=float)


@pytest.mark.parametrize("race", mostly_slow(RACES, 3))
def test_a_verdict_claims_what_it_keeps(race: Race) -> None:
    # many of the small races, which are quick
    races = 700 if race in (two_close, five_spread) else 300
    found = run(race, races)
    claimed, share, right = found[:, 0], found[:, 1], found[:, 2]
    # 5 points, and one standard error of right or not, which is a chance: 1 to 2.5 points
    error = np.sqrt((claimed * (1 - claimed)).mean() / len(found))
    assert abs(claimed.mean() - right.mean()) < 0.05 + error
    sure = claimed >= 0.9
    if sure.sum() >= 20:
        # what is called settled is so
        assert right[sure].mean() >= claimed[sure].mean() - 0.05
    if race is twenty_near_equal:
        # the raw share of the draws is what claims too much
        assert share.mean() > right.mean() + 0.08
    if race is not one_clear_leader:
        # only one that stands apart from the rest gains by their being near equal
        assert claimed.mean() < share.mean()


def test_disappointment_is_what_comes() -> None:
    found = run(twenty_near_equal, 400)
    # the curse itself, sd of one race about 1 point
    assert found[:, 4].mean() > 1.0
    assert found[:, 3].mean() == pytest.approx(found[:, 4].mean(), abs=0.2)


def test_a_known_spread_gives_the_bayes_shrinkage() -> None:
    # many parts tell the spread: truths of deviation 2, errors of 1, so 4/5 of a lead stays
    rng = np.random.default_rng(3)
    falls = []
    for _ in range(16):
        truth = 60 + rng.normal(0, 2, 50)
        measured = truth + rng.normal(0, 1, 50)
        scores = measured[:, None] + rng.normal(0, 1, (50, 800))
        first = int(measured.argmax())
        above = measured[first] - measured.mean()
        falls.append((scores[first].mean() - lead(scores, first, 0.5).score) / above)
    assert np.mean(falls) == pytest.approx(0.2, abs=0.06)


def test_what_is_sure_stays_sure_and_what_is_exact_is_not_touched() -> None:
    rng = np.random.default_rng(5)
    far = np.array([90.0, 60.0, 55.0])[:, None] + rng.normal(0, 0.5, (3, 500))
    kept = lead(far, 0, 1.0)
    assert kept.chance == pytest.approx(1.0, abs=0.002)
    exact = np.array([90.0, 60.0])[:, None] + np.zeros((2, 50))
    assert lead(exact, 0, 1.0).chance == 1.0
    assert lead(exact, 0, 1.0).score == 90.0
    alone = lead(far[:1], 0, 1.0)
    assert alone.chance == 1.0


def test_one_error_for_all_moves_no_rank() -> None:
    rng = np.random.default_rng(6)
    apart = np.array([71.0, 70.0, 69.5, 69.0])[:, None] + rng.normal(0, 0.7, (4, 800))
    together = apart + rng.normal(0, 8, 800)
    share = float(first_place(apart)[0])
    # the sample's own chance correlation of the two errors remains
    assert lead(together, 0, share).chance == pytest.approx(lead(apart, 0, share).chance, abs=0.04)


@pytest.mark.parametrize("seed", range(6))
def test_a_chance_moves_with_the_scores_where_parts_change_places(seed: int) -> None:
    """Two parts of different errors in front of others; one passes the other by a hair."""
    rng = np.random.default_rng(seed)
    parts = int(rng.integers(4, 22))
    means = np.sort(70 + rng.normal(0, 2, parts))[::-1].copy()
    errors = rng.uniform(0.4, 1.6, parts)[:, None] * rng.normal(0, 1, (parts, 2000))
    errors += rng.uniform(0, 1) * rng.normal(0, 1, 2000)
    errors -= errors.mean(axis=1, keepdims=True)

    def told(ahead: float) -> tuple[Lead, Lead]:
        """Of the part that passes, and of the one that is passed, each by its place by rank."""
        there = means.copy()
        there[1] = there[0] + ahead
        order = np.argsort(-there, kind="stable")
        scores = (there[:, None] + errors)[order]
        one, two = (
            lead(scores, place, float(first_place(scores)[place]))
            for place in (int(np.nonzero(order == n)[0][0]) for n in (1, 0))
        )
        return one, two

    level = told(0.0)
    for ahead in (-1e-3, -1e-4, -1e-12, 1e-12, 1e-4, 1e-3):
        for there, here in zip(told(ahead), level, strict=True):
            assert there.chance == pytest.approx(here.chance, abs=0.006)
            assert there.score == pytest.approx(here.score, abs=0.006)
            assert there.apart == pytest.approx(here.apart, abs=0.006)


def test_a_part_beyond_those_that_compete_takes_the_place_of_the_last_of_them() -> None:
    """Of seventy parts the last one leads by draws: it is judged beside the 59 greatest."""
    rng = np.random.default_rng(8)
    scores = np.linspace(80, 60, 70)[:, None] + rng.normal(0, 3, (70, 400))
    scores -= scores.mean(axis=1, keepdims=True) - np.linspace(80, 60, 70)[:, None]
    whole = lead(scores, 69, 0.1)
    few = lead(scores[[*range(59), 69]], 59, 0.1)
    assert whole.chance == pytest.approx(few.chance, rel=1e-9)
    assert whole.score == pytest.approx(few.score, rel=1e-9)


@pytest.mark.parametrize(
    "means",
    [(70.0, 69.0, 68.5, 60.0, 40.0), (76.0, 70.0, 69.9, 69.5, 69.0), (70.0, 69.0, 50.0, 49.0)],
)
def test_groups_are_as_likely_as_the_integral_of_the_model_says(means: tuple[float, ...]) -> None:
    """The model in words, with a library's densities: a common mean anywhere on 100 points, a
    spread of which any share of an error's variance is as likely as another, outsiders anywhere,
    each number and choice of them as likely as another."""
    values = np.array(means)
    parts = len(values)
    tau = np.sqrt([(i + 0.5) / 16 / (1 - (i + 0.5) / 16) for i in range(16)])
    wide = np.hypot(tau, 1.0)[:, None]
    # equal steps, far finer than the narrowest of these normals: the sum is the integral
    step = 0.02
    centre = values.mean() + np.arange(-60, 60, step)
    sizes = {}

    def evidence(apart: int) -> float:
        rest, each_size = values[apart:], []
        for n in range(2, len(rest) + 1):
            each = np.prod([stats.norm.pdf(x, centre, wide) for x in rest[:n]], axis=0)
            inside = each.sum(axis=1).mean() * step / 100
            ways = special.comb(len(rest), n) * (len(rest) + 1)
            each_size.append(inside / 100 ** (parts - n) / ways)
        sizes[apart] = 2 + int(np.argmax(each_size))
        return float(sum(each_size) * 0.3**apart)

    told = np.array([evidence(apart) for apart in (0, 1)])
    found = _groups(values, np.eye(parts), np.eye(parts)[0])
    assert [chance for chance, _ in found] == pytest.approx(told / told.sum(), rel=1e-9)
    assert [sizes[apart] for apart in (0, 1)] == [len(members) for _, members in found]
    for apart, (_, members) in enumerate(found):
        # neighbours in the order of the means, the leader left out where it stands apart
        assert members.tolist() == list(range(apart, apart + len(members)))


def test_errors_that_parts_share_are_no_luck() -> None:
    """Of parts on three cells: none is drawn to others by what its cell leaves open."""
    rng = np.random.default_rng(11)
    claimed, right, whole = [], [], []
    for _ in range(300):
        truth, covariance = errors_in_common(rng)
        own = np.diag(np.diag(covariance) - 3.5)
        measured = rng.multivariate_normal(truth, covariance)
        scores = rng.multivariate_normal(measured, covariance, 600).T
        first = int(measured.argmax())
        share = float(first_place(scores)[first])
        claimed.append(lead(scores, first, share, own).chance)
        whole.append(lead(scores, first, share).chance)
        right.append(first == truth.argmax())
        # where none is of their own there is no luck to take off
        still = lead(scores, first, share, 0 * own)
        assert still.chance == share
        assert still.score == pytest.approx(scores[first].mean())
        every = lead(scores, first, share, np.cov(scores))
        assert every.chance == pytest.approx(whole[-1], abs=0.03)
    assert np.mean(claimed) == pytest.approx(np.mean(right), abs=0.05)
    assert np.mean(whole) < np.mean(claimed) - 0.03


@pytest.mark.parametrize("upper", [0.3, 0.42, 0.69])
def test_of_two_modes_no_more_is_claimed_than_draws_tell(upper: float) -> None:
    """A rival is some points behind or one ahead, as a battery change comes in or not."""
    rng = np.random.default_rng(2)
    rival = np.where(rng.uniform(size=2000) < upper, 62.5, 57.0)
    others = np.array([58.7, 58.3, 57.3, 56.8])[:, None] + np.zeros(2000)
    scores = np.vstack([np.full(2000, 61.3), rival, others]) + rng.normal(0, 0.1, (6, 2000))
    share = float(first_place(scores)[0])
    assert share == pytest.approx(1 - upper, abs=0.03)
    assert lead(scores, 0, share).chance < share + 0.06


@pytest.mark.parametrize("broken", [0.01, 0.04, 0.2])
def test_a_limit_that_few_draws_break_is_no_luck(broken: float) -> None:
    """A leader far ahead that scores nothing in some draws: it leads in the others, and its mean
    counts these already."""
    rng = np.random.default_rng(4)
    scores = np.array([86.6, 60.8, 58.0, 41.0])[:, None] + rng.normal(0, 0.3, (4, 2000))
    scores[0, rng.uniform(size=2000) < broken] = 0.0
    share = float(first_place(scores)[0])
    found = lead(scores, 0, share)
    assert found.chance == pytest.approx(share, abs=0.02)
    assert found.score == pytest.approx(float(scores[0].mean()), abs=0.1)
