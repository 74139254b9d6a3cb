"""Which parts that are out as things stand are worth a look where a figure is another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.waiting import waiting
from tests.decide.random_catalogues import several
from tests.decide.test_newcomers import DEMANDING, GOOD, TIGHT, two


def test_what_is_too_dear_by_itself_is_let_in_by_money_alone(tmp_path: Path) -> None:
    catalogue, product = two(tmp_path, TIGHT, breaks="{1: 3.50}")
    found = waiting(evaluate(catalogue, product))
    assert found.dear == {GOOD}
    cost, load_ = (
        lever(catalogue, product, f"plain:{path}")
        for path in ("cost.unit-cost-limit", "standing-loads.leak.current")
    )
    assert found.worth_a_look(product, cost, money=True, least=0.0) == (GOOD,)
    assert found.worth_a_look(product, load_, money=False, least=0.0) == ()


def test_no_part_is_worth_more_than_the_most_that_it_may_be() -> None:
    catalogue, product = load("crate-call")
    found = waiting(evaluate(catalogue, product))
    assert found.unbuilt == set(found.most)
    there = with_changes(catalogue, product, ["crate-call:workload.call.finish-within=1 s"])
    scores = {c.part.part: c.score for c in evaluate(*there).candidates}
    both = set(scores) & set(found.most)
    assert "vantle-gaf" in both
    assert all(scores[part] <= found.most[part] + 1e-9 for part in both)


def test_a_part_that_lacks_memory_is_worth_a_look_where_less_is_needed(tmp_path: Path) -> None:
    catalogue, product = two(tmp_path, DEMANDING, "24 KiB")
    found = waiting(evaluate(catalogue, product))
    assert found.failing == {GOOD: {"memory.flash"}}
    flash = lever(catalogue, product, "plain:needs.memory.flash")
    _, less = with_changes(catalogue, product, ["plain:needs.memory.flash=8 KiB"])
    assert found.worth_a_look(product, flash, money=False, least=0.0) == ()
    assert found.worth_a_look(less, flash, money=False, least=0.0) == (GOOD,)


def test_no_harvest_lets_in_what_the_supply_at_the_chip_rules_out() -> None:
    """At any harvest the same parts are out, so that none of them is looked at along one."""
    catalogue, product = load("crate-call")
    base = evaluate(catalogue, product)
    found = waiting(base)
    dark = {p for p in found.unbuilt if "harvest" in found.held[p]}
    assert "helmaric-nof" not in dark
    assert len(dark) >= 5
    june = lever(catalogue, product, "crate-call:harvest.irradiation.june")
    night = lever(catalogue, product, "crate-call:workload.watch.every.night")
    kept, asked = (
        set(found.worth_a_look(product, one, money=False, least=-np.inf)) for one in (june, night)
    )
    assert not dark & kept
    assert dark - found.dear <= asked
    for text in ("persistence=0", "spread=0.05", "panel.area=900 cm2", "night=1 h"):
        there = evaluate(*with_changes(catalogue, product, [f"crate-call:harvest.{text}"]))
        assert dark <= set(there.screened)


def test_a_part_out_for_lack_of_sun_is_held_by_nothing() -> None:
    catalogue, product = load("crate-call")
    there = {c.part.part for c in evaluate(catalogue, product).candidates}
    dim = with_changes(catalogue, product, ["crate-call:harvest.panel.area=0.05 cm2"])
    base = evaluate(*dim)
    lost = there & base.unbuilt
    assert lost
    assert not any("harvest" in base.held[part] for part in lost)


@pytest.mark.parametrize("seed", range(3))
def test_what_nobody_asks_about_changes_no_candidate(seed: int, tmp_path: Path) -> None:
    """Builds that the supply rules out are not followed where no reasons are asked for."""
    inputs = several(seed).load(tmp_path)
    whole, brief = (evaluate(*inputs, 40, told=told) for told in (True, False))
    assert [(c.part.part, c.score, c.best.name) for c in whole.candidates] == [
        (c.part.part, c.score, c.best.name) for c in brief.candidates
    ]
    assert set(whole.screened) == set(brief.screened)
