"""The screens answer at a glance: how long they are by default, and what unfolds the rest."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from advisor.catalogue.shipped import load
from advisor.decide.cautions import BUTTON, GENERAL
from advisor.present.compare import compare_page
from advisor.present.explanation import explanation_page
from advisor.present.glance import five
from advisor.present.layout import Page, bar
from advisor.present.record import decided_page
from advisor.present.tables import below, beyond, cost_range, exchanged, shortlist_page
from advisor.present.tipping import KINDS, change, kind_of, tipping_page
from advisor.present.weights import weights_page
from advisor.studies.compare import compare
from advisor.studies.explain import explain
from advisor.studies.record import decide
from advisor.studies.shortlist import Shortlist, shortlist
from advisor.studies.tipping import LeverTip, tipping
from advisor.studies.weights import weights

PRODUCTS = ["frost-post", "barrel-tag", "valve-driver", "crate-call"]


@pytest.fixture(scope="module")
def answers() -> dict[str, Shortlist]:
    return {name: shortlist(*load(name), draws=200) for name in PRODUCTS}


@pytest.mark.once
@pytest.mark.parametrize("product", PRODUCTS)
def test_a_shortlist_is_a_screenful(answers: dict[str, Shortlist], product: str) -> None:
    found = answers[product]
    text = shortlist_page(found, 80).plain()
    lines = text.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    # what is folded is told, with the option that unfolds it
    assert f"and {len(found.ranking) - 5} more: --top 0" in text
    assert f"({len(found.cautions) - 1} more: --cautions)" in text
    assert "--all tells why" in text
    assert " ".join(text.split()).endswith(GENERAL)
    every = shortlist_page(found, 80, None, everything=True, cautioned=True).plain()
    told = " ".join(every.split())
    assert all(part.part in every for part in found.ranking)
    cautions = [" ".join(caution.replace("degC", "°C").split()) for caution in found.cautions]
    assert all(caution in told for caution in cautions)
    assert "How firm the order is" in every


@pytest.mark.once
def test_what_a_figure_stands_for_is_told(answers: dict[str, Shortlist]) -> None:
    """A range that its mean lies outside of, which parts a table holds, points that are means of
    what stands beside them as stated; and without draws, that nothing says how sure."""
    found = answers["crate-call"]
    odd = next(p for p in found.ranking[1:] if beyond(p.cost))
    assert f"{cost_range(odd.cost, ', cost ')} in 90 %: " in below(odd)
    ahead = replace(found, ranking=(odd, *found.ranking))
    assert "the mean outside" in five(ahead)[2].about
    for name in ("barrel-tag", "frost-post"):
        assert "the mean outside" not in five(answers[name])[2].about
    every = " ".join(shortlist_page(found, 80, everything=True).plain().split())
    assert "How firm the order is parts that come third or better in some draw;" in every
    inputs = load("crate-call")
    for draws in (0, 200):
        text = explanation_page(explain(*inputs, odd.part, draws=draws), 80).plain()
        assert ("values as stated; points: mean over the draws" in text) == (draws > 0)
        assert (" in 90 %)" in " ".join(text.split())) == (draws > 0)
    plain = shortlist_page(shortlist(*inputs, draws=0), 80).plain()
    assert "No verdict: without draws no uncertainty counts." in plain
    assert "No verdict" not in every


@pytest.mark.once
def test_columns_give_way_to_the_width_and_never_fall_apart(answers: dict[str, Shortlist]) -> None:
    found = answers["frost-post"]
    heads = []
    for width, most in ((0, None), (100, None), (80, None), (60, None), (40, 5)):
        lines = shortlist_page(found, width, most).plain().splitlines()
        head = next(line for line in lines if line.split()[:1] == ["#"])
        assert not width or len(head) <= width
        heads.append(set(head.split("  ")) - {""})
    for wide, narrow in pairwise(heads):
        assert {h.strip() for h in narrow} <= {h.strip() for h in wide}
    for head in ("score", "years", "cost"):
        assert head in {h.strip() for h in heads[-1]}


@pytest.mark.once
def test_the_caution_of_the_chosen_cell_comes_first(answers: dict[str, Shortlist]) -> None:
    found = answers["barrel-tag"]
    assert found.ranking[0].build.cell == "lb-coin"
    first = found.cautions[0]
    # equal texts once, behind every cell that they are of; button cells before all else
    assert first == f"lb-broad, lb-coin: {BUTTON}"
    text = " ".join(shortlist_page(found, 80).plain().split())
    assert "Caution: lb-broad, lb-coin: button cells kill children" in text


@pytest.mark.once
def test_a_decision_carries_the_caution_of_its_cells() -> None:
    catalogue, product = load("barrel-tag")
    found = decide(catalogue, product, "tessimur-mub", "a test", draws=0)
    text = " ".join(decided_page(found, 80).plain().split())
    assert "Caution: lb-broad, lb-coin: button cells kill children" in text
    assert GENERAL in text


@pytest.mark.once
@pytest.mark.parametrize("product", PRODUCTS)
def test_an_explanation_is_two_screenfuls_at_most(
    answers: dict[str, Shortlist], product: str
) -> None:
    part = answers[product].ranking[0].part
    found = explain(*load(product), part, draws=200)
    text = explanation_page(found, 80).plain()
    assert len(text.splitlines()) <= 50
    assert "Reasons" not in text
    every = explanation_page(found, 80, everything=True, cautioned=True).plain()
    assert "Reasons" in every
    assert "The build against those it beat" in every


@pytest.mark.parametrize("clock", [None, 16e6])
def test_a_comparison_is_a_matrix(clock: float | None) -> None:
    catalogue = load("frost-post")[0]
    found = compare(catalogue, clock_hz=clock)
    text = compare_page(found, 80).plain()
    assert len(text.splitlines()) <= 45
    # by hand: the least energy of the kernel's native rows, over that of all parts
    rows = [r for r in found.kernels["search"] if r.native and r.energy_j is not None]
    best = min(r.energy_j or 0.0 for r in rows)
    one = min(r.energy_j or 0.0 for r in rows if r.part == "quorvane-jor")
    heads = next(line for line in text.splitlines() if line.startswith("part")).split()
    row = next(line for line in text.splitlines() if line.startswith("quorvane-jor")).split()
    assert row[heads.index("search")] == f"{one / best:.2f}"
    assert "current" not in text.split("Where ranks flip")[0]
    # the same at the common clock, which is chosen where none is asked for
    assert found.clock_chosen == (clock is None)
    below = text.split(f"At {(found.clock_hz or 0.0) / 1e6:g} MHz")[1]
    held = {
        part: min(
            r.at_clock.energy_j
            for r in found.kernels["search"]
            if r.at_clock and r.at_clock.energy_j and part in ("", r.part)
        )
        for part in ("", "quorvane-jor")
    }
    row = next(line for line in below.splitlines() if line.startswith("quorvane-jor")).split()
    assert row[heads.index("search")] == f"{held['quorvane-jor'] / held['']:.2f}"
    assert f"{found.clock_within} of {len(found.parts)} parts" in below
    assert (
        "µA" in compare_page(found, 80, full=True).plain()
        or "mA" in compare_page(found, 80, full=True).plain()
    )


def test_few_rows_are_told_in_full() -> None:
    catalogue = load("frost-post")[0]
    found = compare(catalogue, ["quorvane-tib", "tessimur-mub"], ["filter"])
    assert "Beside the energy" in compare_page(found, 80).plain()


@pytest.mark.slow
@pytest.mark.parametrize("product", PRODUCTS)
def test_tips_of_every_figure_are_a_screenful(product: str) -> None:
    found = tipping(*load(product), draws=0)
    text = tipping_page(found, 80).plain()
    assert len(text.splitlines()) <= 35
    assert sum(t.tips_at is not None for t in found.levers) > 5


@pytest.mark.once
def test_tips_are_grouped_with_the_change_needed() -> None:
    found = tipping(
        *load("barrel-tag"),
        [
            "quorvane-tib:supply.max",
            "barrel-tag:standing-loads.level-strip.current",
            "quorvane-tib:price.breaks.10000",
            "barrel-tag:priorities.purchase-cost.poor",
            "barrel-tag:service-life",
        ],
        draws=0,
        points=6,
    )
    text = tipping_page(found, 80).plain()
    assert len(text.splitlines()) <= 35
    tips = [tip for tip in found.levers if tip.tips_at is not None]
    assert tips
    for tip in tips:
        assert tip.path.removeprefix("barrel-tag:") in text
        assert change(tip).split()[-1] in text
    assert [k for k in KINDS if f"\n{k}\n" in text] == sorted(
        {kind_of(tip, "barrel-tag") for tip in tips}, key=KINDS.index
    )
    assert "--set" not in text
    every = tipping_page(found, 80, everything=True).plain()
    assert "--set" in every
    assert len(tipping_page(found, 60).plain().splitlines()) < 60


@pytest.mark.once
@pytest.mark.parametrize(
    "product",
    [
        "barrel-tag",
        *(pytest.param(n, marks=pytest.mark.slow) for n in PRODUCTS if n != "barrel-tag"),
    ],
)
def test_weights_are_a_screenful(product: str) -> None:
    found = weights(*load(product), draws=200)
    text = weights_page(found, 80).plain()
    lines = text.splitlines()
    assert len(lines) <= 45
    assert max(map(len, lines)) <= 80
    # who leads stands before the table
    assert text.index(f"They put {found.winner} first.") < text.index("criterion")
    # what is folded is told, with the option that unfolds it
    rivals = [lead for lead in found.leads if lead.part != found.winner]
    assert f"{len(rivals) - 3} more part{'s' if len(rivals) > 4 else ''}: --all" in text
    beside = [one for one in found.clipped if not one.head]
    assert beside
    assert not any(" ".join(one.text.split()) in " ".join(text.split()) for one in beside)
    every = " ".join(weights_page(found, 80, everything=True).plain().split())
    assert "--all" not in every.replace("--all tells why", "")
    assert all(" ".join(one.text.split()) in every for one in found.clipped)
    assert all(part in every for part in (*found.never_first, *(lead.part for lead in rivals)))
    assert all(row.part in every for row in found.unknown.parts if row.acceptability > 0)


def _tip(now: float, at: float | None, share: float | None, kelvin: float | None) -> LeverTip:
    return LeverTip("p:x", now, "", at, None, None, None, share, kelvin, "", None)


def test_the_change_needed_in_words() -> None:
    assert change(_tip(10.0, 8.0, 0.2, None)) == "20 % less"
    assert change(_tip(10.0, 25.0, 1.5, None)) == "2.5 times as much"
    assert change(_tip(280.0, 283.0, None, 3.0)) == "3 K warmer"
    assert change(_tip(280.0, 270.0, None, 10.0)) == "10 K colder"
    assert change(_tip(10.0, None, None, None)) == "none"


def test_a_part_that_cannot_sleep_says_why() -> None:
    catalogue, product = load("barrel-tag")
    part = catalogue.parts["quorvane-tib"]
    states = {name: replace(s, wake_time=None) for name, s in part.sleep_states.items()}
    alone = replace(
        catalogue.only([part.part]), parts={part.part: replace(part, sleep_states=states)}
    )
    text = " ".join(shortlist_page(shortlist(alone, product, draws=0), 80).plain().split())
    assert "never asleep" in text
    assert "It never sleeps: sleep-states." in text
    assert "lacks wake-time" in text


def test_no_line_ends_inside_a_figure_and_bars_fill_the_room() -> None:
    for width in range(20, 60):
        page = Page(width)
        page.paragraph("it lasts 12.0 years for EUR 5.40 at 3.3 V in 95 % of 200 draws over 10 h")
        lines = page.plain().splitlines()
        for figure in ("12.0 years", "EUR 5.40", "3.3 V", "95 %", "10 h"):
            assert any(figure in line for line in lines)
    page = Page(60)
    page.bars([("a", 0.2, "1"), ("b", 0.1, "2")])
    first, second = page.plain().splitlines()
    assert bar(1.0, 24) in first
    assert bar(0.5, 24).rstrip() in second


def test_no_rate_is_told_where_nothing_is_ranked() -> None:
    found = shortlist(*load("barrel-tag"))
    assert exchanged(found) == ["Exchanged at 1 USD = 0.92 EUR."]
    assert exchanged(replace(found, ranking=())) == []
