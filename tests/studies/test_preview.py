"""Looks at an answer while its file is written: what is known is ranked, the rest is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.intake import ask_product
from advisor.intake.interview import Interview
from advisor.present.preview import preview_page
from advisor.studies.preview import DRAWS, preview_part, preview_product
from advisor.studies.shortlist import shortlist


@pytest.fixture(scope="module")
def at_hand() -> tuple[Catalogue, Product]:
    """A few shipped parts and the shortest product."""
    catalogue, product = load("barrel-tag")
    names = ["quorvane-tib", "tessimur-mub", "ostrel-pej", "helmaric-nof", "vantle-tal"]
    return catalogue.only(names), product


def test_a_product_is_ranked_as_the_shortlist_does(at_hand: tuple[Catalogue, Product]) -> None:
    found = preview_product(*at_hand)
    ranked = shortlist(*at_hand, draws=DRAWS).ranking
    assert [(r.rank, r.part) for r in found.rows] == [(r.rank, r.part) for r in ranked[:3]]
    assert (found.leads, found.of) == (ranked[0].part, len(ranked))
    assert found.rows[0].score == ranked[0].score
    assert found.lacks == ()


def test_a_whole_part_stands_where_the_shortlist_puts_it(
    at_hand: tuple[Catalogue, Product],
) -> None:
    """With nothing left out: everything is known of a shipped part."""
    catalogue, product = at_hand
    part = catalogue.parts["tessimur-mub"]
    rest = catalogue.only([name for name in catalogue.parts if name != part.part])
    document = catalogue.documents[part.part]
    found = preview_part(rest, product, part, document)
    ranked = shortlist(catalogue, product, draws=DRAWS, estimate_missing=True).ranking
    (own,) = [row for row in found.rows if row.part == part.part]
    assert own.rank == next(r.rank for r in ranked if r.part == part.part)
    assert (found.left, found.lacks, found.estimated) == ((), (), ())


def test_what_a_part_does_not_say_yet_is_asked_of_no_part(
    at_hand: tuple[Catalogue, Product],
) -> None:
    """A part without kernels, price and memory is ranked by what is left, which is told."""
    catalogue, product = at_hand
    whole = catalogue.parts["tessimur-mub"]
    part = replace(whole, part="new", kernels={}, price=None, memory=type(whole.memory)())
    found = preview_part(catalogue, product, part, catalogue.documents[whole.part], keeps=False)
    assert {"kernel crc", "kernel filter", "criterion purchase-cost"} <= set(found.left)
    assert {"need of memory.flash", "what a unit may cost", "what sleep must keep"} <= set(
        found.left
    )
    assert found.lacks == ()
    rows = {row.part: row for row in found.rows}
    # by what is known of both they are one and the same part
    bare = [row for row in found.rows if row.part == "new"]
    assert len(bare) == 1
    if whole.part in rows:
        assert rows[whole.part].battery_life_s == bare[0].battery_life_s


def test_what_is_needed_and_missing_is_told(at_hand: tuple[Catalogue, Product]) -> None:
    catalogue, product = at_hand
    whole = catalogue.parts["tessimur-mub"]
    part = replace(whole, part="new", sleep_states={}, operating_points={}, kernels={})
    found = preview_part(catalogue, product, part, catalogue.documents[whole.part])
    assert all(row.part != "new" for row in found.rows)
    assert any("operating-points" in words for words in found.lacks)


def test_kernels_that_can_be_estimated_are_named(at_hand: tuple[Catalogue, Product]) -> None:
    catalogue, product = load("barrel-tag")
    whole = catalogue.parts["tessimur-mub"]
    kernels = {name: runs for name, runs in whole.kernels.items() if name != "cipher"}
    part = replace(whole, part="new", kernels=kernels)
    found = preview_part(catalogue, product, part, catalogue.documents[whole.part])
    assert any(path.startswith("new:kernels.cipher") for path in found.estimated)


def test_an_empty_catalogue_says_so(at_hand: tuple[Catalogue, Product]) -> None:
    catalogue, product = at_hand
    found = preview_product(replace(catalogue, parts={}), product)
    assert (found.leads, found.rows) == (None, ())
    assert found.lacks == ("the catalogue has no parts yet",)


@pytest.mark.parametrize("width", [0, 40, 80])
def test_a_look_says_what_it_rests_on(at_hand: tuple[Catalogue, Product], width: int) -> None:
    catalogue, _ = at_hand
    interview = Interview(ask_product.TABLE, catalogue)
    for text in ("tag", "sample 10 s", "filter 1"):
        question = interview.next()
        assert question is not None
        interview.answer(question, text)
    found = preview_product(catalogue, interview.document(assume=True))
    page = preview_page(found, interview.assumed(), width).plain()
    words = " ".join(page.split())
    assert f"So far, for tag: {found.of} parts fit; first {found.leads}" in words
    assert "assumed: supply-options.cells 220 mAh at 3 V" in words
    assert "DEMONSTRATION DATA" in words
    if width:
        assert max(map(len, page.splitlines())) <= width
    own = replace(found, own="none-of-them", lacks=("it lacks price",), left=("kernel crc",))
    words = " ".join(preview_page(own, (), width).plain().split())
    assert "none-of-them cannot be ranked yet" in words
    assert "missing: it lacks price" in words
    assert "not looked at, not known yet: kernel crc" in words
