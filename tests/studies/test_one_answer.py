"""Every study names one and the same first part, on the shipped products and on random ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load, product_files
from advisor.studies.explain import explain
from advisor.studies.gaps import gaps
from advisor.studies.outlook import outlook
from advisor.studies.record import decide
from advisor.studies.report import report
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import tipping
from advisor.studies.weights import weights
from tests.decide.random_catalogues import lacking, several, unsure
from tests.shares import mostly_slow

pytestmark = pytest.mark.once


def named(catalogue: Catalogue, product: Product, lever: str) -> dict[str, str | None]:
    """The first part by each study, with the draws that each has unless asked otherwise."""
    first = shortlist(catalogue, product).ranking[0].part
    told = explain(catalogue, product, first, draws=2000)
    along = outlook(catalogue, product, along=[lever], points=3).levers[0]
    assert along.now is not None
    here = [
        (point.score, curve.part)
        for curve in along.curves
        for point in curve.points
        if point.x == along.now and point.score is not None
    ]
    made = report(catalogue, product)
    assert made.explanation is not None
    return {
        "shortlist": first,
        "explain": told.part if told.rank == 1 else None,
        "gaps": gaps(catalogue, product).chosen,
        "tipping": tipping(catalogue, product, [lever]).winner,
        "outlook": max(here)[1],
        "weights": weights(catalogue, product).winner,
        "report": made.explanation.part,
        "report's ranking": made.parts[0].part,
        "decide": decide(catalogue, product, first, "it is first").shortlist.ranking[0].part,
    }


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(product_files()))
def test_on_the_shipped_products(name: str) -> None:
    catalogue, product = load(name)
    task = product.workload[0].task
    found = named(catalogue, product, f"{name}:workload.{task}.every")
    assert set(found.values()) == {found["shortlist"]}, found


@pytest.mark.parametrize("seed", mostly_slow(range(8), 8))
def test_on_random_products(seed: int, tmp_path: Path) -> None:
    catalogue, product = unsure(several(seed), seed).load(tmp_path)
    if not shortlist(catalogue, product, draws=100).ranking:
        return
    found = named(catalogue, product, "probe:workload.sample.every")
    assert set(found.values()) == {found["shortlist"]}, found


@pytest.mark.parametrize("seed", mostly_slow(range(4), 4))
def test_with_add_ons_in_play(seed: int, tmp_path: Path) -> None:
    catalogue, product = unsure(lacking(several(seed), seed), seed).load(tmp_path)
    first = shortlist(catalogue, product, draws=100).ranking
    if not first:
        return
    assert any(part.build.addons for part in first)
    found = named(catalogue, product, "add-0:standing")
    assert set(found.values()) == {found["shortlist"]}, found
