"""Which parts that are out as things stand are worth a look where a figure is another."""

from __future__ import annotations

from pathlib import Path

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.waiting import waiting
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
