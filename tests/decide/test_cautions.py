"""Which cautions a pack calls for, and which it does not (common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.schema_supply import UNSTATED
from advisor.decide.cautions import GENERAL, cautions, is_button
from tests.model.records import CELL, LINEAR, PRODUCT, fed, records


def told(root: Path, cells: str = "{cell: pill}", hottest: float = 20.0, **keys: str) -> str:
    options = f"{{cells: [{cells}], converters: [none]}}"
    known = {**CELL, "chemistry": "alkaline"}
    cell = {**known, **{k.replace("_", "-"): v for k, v in keys.items()}}
    feed = fed(records(root, {**PRODUCT, "supply-options": options}, {"pill": cell}))[0]
    found = cautions([feed, feed], hottest)
    assert found[-1] == GENERAL
    assert len(set(found)) == len(found)
    return "\n".join(found)


WORDS = {
    "button": "button cells kill children",
    "primary": "lithium primary cell",
    "charge": "charge only with a protected charger",
    "parallel": "cells in parallel",
    "series": "cells in series",
    "hot": "the product sees",
}


@pytest.mark.parametrize(
    ("keys", "cells", "hottest", "wanted"),
    [
        ({}, "{cell: pill}", 44.9, set()),
        ({}, "{cell: pill}", 45.0, {"hot"}),
        ({"size": "20 mm x 3.2 mm"}, "{cell: pill}", 20, {"button"}),
        ({"size": "32 mm x 3.2 mm"}, "{cell: pill}", 20, {"button"}),
        ({"size": "33 mm x 3.2 mm"}, "{cell: pill}", 20, set()),
        ({"size": "14.5 mm x 50.5 mm"}, "{cell: pill}", 20, set()),
        ({"summary": "a coin cell"}, "{cell: pill}", 20, {"button"}),
        ({"chemistry": "Lithium manganese"}, "{cell: pill}", 20, {"primary"}),
        ({"chemistry": "alkaline"}, "{cell: pill}", 20, set()),
        ({"chemistry": "lithium ion", "rechargeable": "true"}, "{cell: pill}", 20, {"charge"}),
        ({}, "{cell: pill, parallel: 2}", 20, {"parallel"}),
        ({}, "{cell: pill, series: 2}", 20, {"series"}),
    ],
)
def test_each_caution_where_it_belongs_and_nowhere_else(
    tmp_path: Path, keys: dict[str, str], cells: str, hottest: float, wanted: set[str]
) -> None:
    text = told(tmp_path, cells, hottest, **keys)
    assert {name for name, words in WORDS.items() if words in text} == wanted


@pytest.mark.parametrize(
    ("chemistry", "unsure"),
    [
        ("Li-ion", ""),
        ("LiPo pouch", ""),
        ("LiFePO4", ""),
        ("Li/SOCl2", ""),
        ("lithium nickel manganese cobalt", ""),
        ("nickel manganese cobalt", "not known here: treat it as a lithium cell"),
        ("NMC", "not known here: treat it as a lithium cell"),
        (None, "not stated: treat it as a lithium cell"),
    ],
)
@pytest.mark.parametrize("charged", [False, True])
def test_what_may_hold_lithium_is_cautioned_as_if_it_did(
    tmp_path: Path, chemistry: str | None, unsure: str, charged: bool
) -> None:
    keys = {**CELL, "rechargeable": str(charged).lower()}
    cell = keys if chemistry is None else {**keys, "chemistry": chemistry}
    product = {**PRODUCT, "supply-options": "{cells: [{cell: pill}], converters: [none]}"}
    text = "\n".join(cautions([fed(records(tmp_path, product, {"pill": cell}))[0]], 20.0))
    assert ("lithium cell that is charged: overcharge" in text) is charged
    assert ("lithium primary cell: never charge" in text) is not charged
    assert unsure in text
    assert ("treat it as" in text) is bool(unsure)


def test_a_sentence_that_a_brought_cell_has_of_its_own_is_told_once(tmp_path: Path) -> None:
    cell = {**CELL, "cautions": f"['{UNSTATED}']"}
    product = {**PRODUCT, "supply-options": "{cells: [{cell: pill}], converters: [none]}"}
    found = cautions([fed(records(tmp_path, product, {"pill": cell}))[0]], 20.0)
    assert sum("treat it as a lithium cell" in text for text in found) == 1


@pytest.mark.parametrize(
    "chemistry", ["Ni-MH", "nickel metal hydride", "NiCd", "lead acid", "carbon double layer"]
)
def test_what_holds_none_is_not_called_lithium(tmp_path: Path, chemistry: str) -> None:
    text = told(tmp_path, chemistry=chemistry, rechargeable="true")
    assert "charge only with a protected charger" in text
    assert "lithium" not in text


def test_a_size_says_more_than_words(tmp_path: Path) -> None:
    # a tall cell whose maker calls it a button top is none
    cell = {**CELL, "size": "14 mm x 50 mm", "summary": "button top"}
    catalogue, _ = records(tmp_path, cells={"pill": cell})
    assert not is_button(catalogue.cells["pill"])


def test_what_the_files_say_is_repeated_with_their_names(tmp_path: Path) -> None:
    product = {**PRODUCT, "supply-options": "{cells: [{cell: pill}], converters: [conv]}"}
    made = records(
        tmp_path,
        product,
        {"pill": {**CELL, "chemistry": "alkaline", "cautions": "[keep dry]"}},
        {"conv": {**LINEAR, "cautions": "[keep cool]"}},
    )
    found = cautions([fed(made, "conv")[0]], 20.0)
    assert found == ("pill: keep dry", "conv: keep cool", GENERAL)


def test_an_ideal_budget_calls_for_none(tmp_path: Path) -> None:
    options = "{cells: [{budget: 50 mAh, voltage: 3.1 V}], converters: [none]}"
    feed = fed(records(tmp_path, {**PRODUCT, "supply-options": options}))[0]
    assert cautions([feed], 60.0) == (GENERAL,)
