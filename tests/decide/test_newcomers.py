"""Parts that are out as things stand take the lead where a figure lets them in: the tip tells it,
and the decision on either side replays it."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.present.machine import to_json
from advisor.present.tipping import looked
from advisor.studies.tipping import LeverTip, tipping
from tests.shares import mostly_slow
from tests.studies.small import loaded, part
from tests.studies.test_tipping import PRODUCT

pytestmark = pytest.mark.once

DRAWS = 300
Inputs = tuple[Catalogue, Product]


def _tip(inputs: Inputs, path: str, draws: int = DRAWS) -> LeverTip:
    """The tip of a figure, the same for any number of workers."""
    found, again = (tipping(*inputs, [path], draws=draws, jobs=jobs) for jobs in (1, 2))
    assert to_json(found) == to_json(again)
    return found.levers[0]


def _first(inputs: Inputs, draws: int) -> str:
    return evaluate(*inputs, draws).candidates[0].part.part


def _replays(inputs: Inputs, tip: LeverTip, leader: str, draws: int = DRAWS) -> None:
    """Who leads just beyond a tip and at the value told, and that nothing has changed before."""
    assert tip.new_winner == leader, tip
    assert tip.tips_at is not None
    handle = lever(*inputs, tip.path)
    winner = _first(inputs, draws)
    # found to a thousandth, of ten kelvin for a temperature
    width = 0.01 if handle.dimension == "temperature" else 0.001 * tip.tips_at
    before = tip.tips_at - width if tip.tips_at > tip.now else tip.tips_at + width
    if handle.whole:
        before = tip.tips_at + (1 if tip.tips_at < tip.now else -1)
    for value, first in ((handle.text(tip.tips_at), leader), (handle.text(before), winner)):
        there = with_changes(*inputs, [f"{tip.path}={value}"])
        assert _first(there, draws) == first, value
    there = with_changes(*inputs, [f"{tip.path}={tip.text}"])
    assert _first(there, draws) == leader


@pytest.mark.parametrize(
    ("path", "leader"),
    mostly_slow(
        (
            ("workload.call.loads.radio.retries.most", "vantle-gaf"),
            ("workload.call.finish-within", "vantle-gaf"),
            ("workload.call.loads.radio.retries.fails", "vantle-gaf"),
            ("before-use.winter-store.for", "helmaric-nof"),
            ("workload.watch.every.day", "vantle-gaf"),
            ("workload.watch.kernels.hash", "vantle-gaf"),
        ),
        6,
    ),
)
def test_a_part_that_is_out_leads_on_a_shipped_product(path: str, leader: str) -> None:
    inputs = load("crate-call")
    _replays(inputs, _tip(inputs, f"crate-call:{path}"), leader)


# A part that is out and would lead but for one need -----------------------------------------------

GOOD, PLAIN = "good", "plain-one"
MEMORY = "memory: {{flash: {flash}, ram: 8 KiB}}\n"


def two(root: Path, product: str, flash: str = "64 KiB", breaks: str = "{1: 1.00}") -> Inputs:
    """A part that is better but slower than another."""
    good = part(GOOD, "3 ms", "1.5(1) mA", "1 µA", breaks, "2 h") + MEMORY.format(flash=flash)
    plain = part(PLAIN, "1 ms", "6.0(1) mA", "4 µA", "{1: 2.00}") + MEMORY.format(flash="64 KiB")
    return loaded(root, {GOOD: good, PLAIN: plain}, product)


LIMITED = PRODUCT.replace("kernels: {crc: 3}", "kernels: {crc: 3}, finish-within: 6 ms")
DEMANDING = PRODUCT + "needs: {memory: {flash: 32 KiB}}\n"
TIGHT = PRODUCT.replace("\ncost: {", "\ncost: {unit-cost-limit: 3.00, ")


@pytest.mark.parametrize(
    ("product", "flash", "breaks", "path", "between"),
    [
        (LIMITED, "64 KiB", "{1: 1.00}", "workload.sample.finish-within", (0.009, 0.0105)),
        (LIMITED, "64 KiB", "{1: 1.00}", "workload.sample.kernels.crc", (1.0, 2.0)),
        (DEMANDING, "24 KiB", "{1: 1.00}", "needs.memory.flash", (24550.0, 24577.0)),
        (TIGHT, "64 KiB", "{1: 3.50}", "cost.unit-cost-limit", (3.4, 3.6)),
    ],
)
@pytest.mark.parametrize("draws", [0, DRAWS])
def test_a_part_comes_in_where_its_need_is_met(
    product: str,
    flash: str,
    breaks: str,
    path: str,
    between: tuple[float, float],
    draws: int,
    tmp_path: Path,
) -> None:
    inputs = two(tmp_path, product, flash, breaks)
    assert [c.part.part for c in evaluate(*inputs, draws).candidates] == [PLAIN]
    tip = _tip(inputs, f"plain:{path}", draws)
    assert tip.tips_at is not None
    assert between[0] <= tip.tips_at <= between[1]
    _replays(inputs, tip, GOOD, draws)


def test_a_figure_that_lets_nobody_in_tips_nowhere(tmp_path: Path) -> None:
    inputs = two(tmp_path, LIMITED)
    assert _tip(inputs, "plain:standing-loads.leak.current").tips_at is None


def test_the_answer_names_the_parts_that_are_out(tmp_path: Path) -> None:
    inputs = two(tmp_path, LIMITED)
    found = tipping(*inputs, ["plain:workload.sample.finish-within"], draws=0)
    assert found.contenders == (PLAIN,)
    assert found.waiting == (GOOD,)
    assert f"{GOOD}, which is out as things stand, may come in" in looked(found)
