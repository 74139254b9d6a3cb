"""Knowing less of a sleep current never wins: tables with their hottest figure and without it.

Random catalogues of one part and one sleep state, in places that its table reaches.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.decide.evaluate import Candidate, evaluate
from tests.decide.random_catalogues import draft
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

PLACES = (-20.0, 25.0, 60.0, 85.0)
HOT = "probe:environment=[{at: 5 degC, share: 0.3}, {at: HOTTEST degC, share: 0.7}]"
DRAWS = 200
SEEDS = range(24)


def table(currents: Sequence[float], places: Sequence[float] = PLACES) -> str:
    return ", ".join(f"{at:.12g} degC: {i:.12g} A" for at, i in zip(places, currents, strict=True))


def decided(root: Path, seed: int, entries: str, hottest: float) -> Candidate | None:
    """The one part of a random catalogue whose sleep current is this table."""
    sleep = f"{{current: {{{entries}}}, wake-time: 0.1 ms, evidence: bench}}"
    one = draft(seed)
    cells = {name: text.replace("60 degC:", "100 degC:") for name, text in one.cells.items()}
    made = replace(one, sleeps={"ram-kept": sleep}, cells=cells).load(root)
    change = HOT.replace("HOTTEST", f"{hottest:.12g}")
    found = evaluate(*with_changes(*made, [change]), draws=DRAWS)
    return found.candidates[0] if found.candidates else None


def expected(one: Candidate | None) -> float:
    assert one is None or one.drawn is not None
    return -math.inf if one is None or one.drawn is None else float(one.drawn.score.mean())


def stated(one: Candidate | None) -> float:
    return -math.inf if one is None else one.best.score


def leaking(rng: np.random.Generator) -> list[float]:
    """A constant part and leakage that doubles every 10 to 25 K: growth that steepens."""
    constant, leak = 10.0 ** rng.uniform(-6.5, -5), 10.0 ** rng.uniform(-8, -5.5)
    step = rng.uniform(10, 25)
    return [constant + leak * 2 ** ((at - 25) / step) for at in PLACES]


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 6))
def test_without_its_hottest_figure_a_straight_table_wins_nothing(
    seed: int, tmp_path: Path
) -> None:
    """The stated values are the same, and every draw of the growth is at least as fast."""
    rng = np.random.default_rng(seed)
    first, step = 10.0 ** rng.uniform(-7, -5), rng.uniform(8, 40)
    currents = [first * 2 ** ((at + 20) / step) for at in PLACES]
    hottest = rng.uniform(61, 85)
    whole = decided(tmp_path, seed, table(currents), hottest)
    less = decided(tmp_path, seed, table(currents[:3], PLACES[:3]), hottest)
    assert stated(less) == pytest.approx(stated(whole), rel=1e-9)
    if less is not None and whole is not None and less.best.name == whole.best.name:
        assert less.drawn is not None
        assert whole.drawn is not None
        assert (less.drawn.score <= whole.drawn.score + 1e-9).all()
    else:
        assert expected(less) <= expected(whole)


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 6))
@pytest.mark.parametrize("left", [3, 2])
def test_without_its_hottest_figures_a_steepening_table_expects_no_more(
    seed: int, left: int, tmp_path: Path
) -> None:
    """As long as its leakage doubles in no less than 10 K; of 200 draws, by a tenth of a point."""
    rng = np.random.default_rng(seed)
    currents, hottest = leaking(rng), rng.uniform(PLACES[left - 1] + 1, 85)
    whole = decided(tmp_path, seed, table(currents), hottest)
    less = decided(tmp_path, seed, table(currents[:left], PLACES[:left]), hottest)
    assert expected(less) <= expected(whole) + 0.1


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 6))
def test_one_figure_expects_no_more_than_a_table(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    currents, hottest = leaking(rng), rng.uniform(26, 85)
    whole = decided(tmp_path, seed, table(currents), hottest)
    less = decided(tmp_path, seed, table(currents[1:2], PLACES[1:2]), hottest)
    assert stated(less) <= stated(whole) + 1e-9
    assert expected(less) <= expected(whole) + 1e-9


@pytest.mark.parametrize("seed", mostly_slow(SEEDS, 6))
def test_a_measured_figure_where_it_was_taken_to_lie_costs_nothing(
    seed: int, tmp_path: Path
) -> None:
    rng = np.random.default_rng(seed)
    currents = leaking(rng)[:3]
    slope = math.log(currents[2] / currents[1]) / (PLACES[2] - PLACES[1])
    hottest = rng.uniform(61, 100)
    more = [*currents, currents[2] * math.exp(slope * (hottest - PLACES[2]))]
    before = decided(tmp_path, seed, table(currents, PLACES[:3]), hottest)
    after = decided(tmp_path, seed, table(more, (*PLACES[:3], hottest)), hottest)
    assert stated(after) == pytest.approx(stated(before), rel=1e-8)
    assert expected(after) >= expected(before) - 1e-6


def test_the_hottest_figure_is_felt(tmp_path: Path) -> None:
    """The tests above would pass where the sleep current counted nothing."""
    felt = 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        currents = leaking(rng)
        whole = decided(tmp_path, seed, table(currents), 80.0)
        less = decided(tmp_path, seed, table(currents[:3], PLACES[:3]), 80.0)
        felt += whole is not None and expected(less) < expected(whole) - 0.1
    assert felt >= 4
