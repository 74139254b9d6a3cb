"""Files with a lever at another value are what reading them anew gives, faults and all."""

from __future__ import annotations

from typing import Any, cast

import pytest

from advisor.catalogue.criteria import MEASURES, MOVED_BY
from advisor.catalogue.levers import Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.elsewhere import MOVED, Elsewhere
from advisor.decide.evaluate import evaluate
from advisor.decide.value import criteria_of
from advisor.faults import FaultError
from advisor.studies.tipping import _asked


def elsewhere(lever: Lever) -> float:
    now = lever.now
    assert now is not None
    moved = now + 3.0 if lever.dimension == "temperature" else 2.0 * now
    return float(round(moved)) if lever.whole else moved


@pytest.mark.parametrize("name", ["frost-post", "crate-call"])
def test_what_is_kept_of_reading_changes_nothing(name: str) -> None:
    """Every figure that `tipping` moves, twice as great; temperatures 3 K higher."""
    catalogue, product = load(name)
    kept = Elsewhere(catalogue, product)
    base = criteria_of(catalogue, product)
    levers = _asked(evaluate(catalogue, product), ())
    refused = 0
    for lever in levers[::2] + levers[1::2]:
        x = elsewhere(lever)
        found = kept.at(lever, x)
        try:
            wanted = with_changes(catalogue, product, [lever.assignment(x)])
        except FaultError as error:
            faults = error.faults
            with pytest.raises(FaultError) as told:
                kept.changed(catalogue, lever, x)
            same = told.value.faults == faults and found is None
            assert same, lever.path
            refused += 1
            continue
        assert found is not None
        assert found[1] == wanted[1]
        for kind in ("parts", "cells", "converters", "addons"):
            assert getattr(found[0], kind) == getattr(wanted[0], kind)
        if lever.path.keys[0] not in MOVED_BY and lever.path.document == product.product:
            assert criteria_of(*found) == base
    assert 0 < refused < len(levers) / 4


def test_the_latest_files_are_kept() -> None:
    catalogue, product = load("frost-post")
    (lever,) = _asked(evaluate(catalogue, product), ["frost-post:cost.engineer-rate"])
    kept = Elsewhere(catalogue, product)
    at = [1.0 + n for n in range(MOVED + 1)]
    found = [kept.at(lever, x) for x in at]
    assert kept.at(lever, at[-1]) is found[-1]
    assert kept.at(lever, at[1]) is found[1]
    again = kept.at(lever, at[0])
    assert again is not found[0]
    assert again is not None
    assert found[0] is not None
    assert again[1] == found[0][1]


class Read:
    """A product that notes what is asked of it."""

    def __init__(self, product: Any) -> None:
        self.of, self.asked = product, set[str]()

    def __getattr__(self, name: str) -> Any:
        self.asked.add(name)
        return getattr(self.of, name)


def test_anchors_read_no_more_of_a_product_than_is_declared() -> None:
    catalogue, product = load("frost-post")
    first = catalogue.cells[cast(str, product.supply_options.cells[0].cell)]
    read = Read(product)
    for measure in MEASURES:
        measure.anchors(cast(Any, read), first)
    assert read.asked | {"priorities"} == {key.replace("-", "_") for key in MOVED_BY}
