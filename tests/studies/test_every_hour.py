"""No hours are silently ignored: changing any moves an effort in `gaps`, and no ranking."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.studies.gaps import gaps
from advisor.studies.results import plain
from advisor.studies.shortlist import shortlist
from tests.studies.every_key import CELL, CHARGED, KERNELS, LINEAR, PART, PRODUCT, SWITCHING
from tests.studies.small import loaded_files
from tests.studies.test_every_key import MEASURING, changed, every_leaf

pytestmark = pytest.mark.once

_Told = tuple[dict[str, float], Any]

HOURS = [(p, t) for p, t, _ in every_leaf() if p.startswith(MEASURING)]
# a figure of each kind is uncertain, and a life is worth so much that the part sleeps
UNCERTAIN = (
    "probe:priorities.battery-life={weight: 5, poor: 0 years, good: 2 years}",
    "probe-part:sleep-states.ram-kept.wake-time=900(9) us",
    "probe-part:blocks.radio-advert.current=6.1(1) mA",
    "probe-part:price.breaks.1=1.42(5)",
    "probe-part:board-area=40(2) mm2",
    "probe:workload.sample.loads.radio.current=60(1) mA",
)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Catalogue, Product]:
    files = {
        "kernels": KERNELS,
        "parts/probe-part": PART,
        "cells/probe-cell": CELL,
        "cells/probe-charged": CHARGED,
        "converters/probe-ldo": LINEAR,
        "converters/probe-sw": SWITCHING,
    }
    folder: Path = tmp_path_factory.mktemp("catalogue")
    return with_changes(*loaded_files(folder, files, PRODUCT), UNCERTAIN)


@pytest.fixture(scope="module")
def told(inputs: tuple[Catalogue, Product]) -> Callable[[tuple[str, ...]], _Told]:
    """Efforts and shortlist of the inputs under changes, those of the same changes once."""

    @cache
    def of(changes: tuple[str, ...]) -> _Told:
        changed_to = with_changes(*inputs, changes)
        found = gaps(*changed_to, draws=100)
        efforts = {g.path: g.effort_h for g in (*found.figures, *found.groups)}
        return efforts, plain(shortlist(*changed_to, draws=40))

    return of


@pytest.mark.parametrize(("path", "text"), HOURS, ids=[p for p, _ in HOURS])
def test_changing_hours_changes_efforts_alone(
    told: Callable[[tuple[str, ...]], _Told], path: str, text: str
) -> None:
    linear = path.endswith("converter")
    stated = ("probe:supply-options.converters=[probe-ldo]",) if linear else ()
    before, ranked = told(stated)
    after, ranked_then = told((*stated, *changed(path, text)))
    assert before.keys() == after.keys()
    moved = {at for at, hours in before.items() if after[at] != hours}
    assert moved
    assert ("probe-part" in moved) == path.endswith("whole-part")
    assert ranked_then == ranked
