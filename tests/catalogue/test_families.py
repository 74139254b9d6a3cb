"""A family's file: what is read, and every fault with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.families import load_family
from advisor.catalogue.places import family_files, product_files
from advisor.faults import FaultError


def faults(references: object, changes: tuple[str, ...] = ()) -> list[str]:
    with pytest.raises(FaultError) as caught:
        load_family(references, changes=changes)  # type: ignore[arg-type]
    return str(caught.value).splitlines()


def test_the_shipped_family_has_its_products_beside_it_and_among_the_shipped_ones() -> None:
    run = load_family("vineyard")
    assert run.file == family_files()["vineyard"]
    names = [product.product for product in run.products]
    assert names == [member.product for member in run.family.products]
    # the crates' call button comes from elsewhere and is bought apart
    assert set(product_files()) - {"crate-call"} < set(names)
    assert set(names) | {"vineyard"} <= set(run.catalogue.documents)


def test_products_of_a_call_make_a_family_of_their_own() -> None:
    run = load_family(["frost-post", "barrel-tag"], changes=["family:limits.parts=1"])
    assert run.family.family == "family"
    assert run.family.limits.parts == 1
    assert run.file is None


def test_changes_reach_the_family_and_each_of_its_products() -> None:
    changes = ["vineyard:limits.engineering=5 h", "must-probe:cost.tools=77"]
    run = load_family("vineyard", changes=changes)
    assert run.family.limits.engineering is not None
    assert run.family.limits.engineering.nominal == 5 * 3600
    (probe,) = [p for p in run.products if p.product == "must-probe"]
    assert probe.cost.tools is not None
    assert probe.cost.tools.nominal == 77


def test_units_that_the_family_states_are_not_set_on_the_product() -> None:
    (fault,) = faults("vineyard", ("must-probe:cost.units=77",))
    assert "vineyard:products.must-probe.units" in fault


def test_a_change_to_what_is_not_there_is_a_fault() -> None:
    (fault,) = faults("vineyard", ("mist-probe:cost.units=77",))
    assert "must-probe" in fault
    assert "PATH" not in fault


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("vineyard:products.frost-post.units=0", "at least 1"),
        ("vineyard:products.frost-post.units=10000000000000", "at most 12 digits"),
        ("vineyard:products=[]", "a product at least"),
        ("vineyard:supply.made-over=1000000 years", "at most 100 years"),
        ("vineyard:supply.allocation.lasts=1000000 years", "at most 100 years"),
        ("vineyard:products.frost-post.second-source=required", "second-share"),
        ("vineyard:products.frost-post.porting=3 h", "without it this changes nothing"),
        ("vineyard:supply.makers={Ostrell: {every: 3 years, lasts: 2 weeks}}", "Ostrel"),
        ("vineyard:stock={lm-thum: 3}", "lm-thumb"),
        ("vineyard:objective=price", "cost, score, front"),
        ("frost-post:cost.currency=USD", "one currency"),
        ("frost-post:cost.engineer-rate=90 EUR/h", "one engineer's rate"),
        ("frost-post:cost.rates.USD=0.9", "one rate of exchange"),
    ],
)
def test_what_does_not_go_together_is_refused(change: str, words: str) -> None:
    assert any(words in fault for fault in faults("vineyard", (change,)))


def test_every_fault_of_every_file_is_told_at_once(tmp_path: Path) -> None:
    family = tmp_path / "field.yaml"
    (tmp_path / "own.yaml").write_text("product: own\nlife-target: 3 kg\n")
    listed = "family: field\nproducts:\n  - product: own\n  - product: frost-pst\n"
    family.write_text(listed + "stock: {lm-thumb: -1}\n")
    told = faults(family)
    assert any(f.startswith(f"{tmp_path / 'own.yaml'}:2:14") for f in told)
    assert any("stock.lm-thumb" in f for f in told)
    family.write_text(listed)
    told = faults(family)
    assert any(f.startswith(f"{tmp_path / 'own.yaml'}:2:14") for f in told)
    assert any(f.startswith(f"{family}:4:") and "frost-post" in f for f in told)


def test_a_family_among_products_and_a_product_twice_are_refused(tmp_path: Path) -> None:
    assert any("a family, among others" in f for f in faults(["vineyard", "frost-post"]))
    assert any("twice" in f for f in faults(["frost-post", "frost-post"]))
    assert any("vineyard" in f for f in faults(["frost-pst"]))


def test_a_product_without_units_needs_them_in_the_family(tmp_path: Path) -> None:
    source = product_files()["barrel-tag"].read_text().replace("units: 20000, ", "")
    (tmp_path / "tag.yaml").write_text(source.replace("product: barrel-tag", "product: tag"))
    family = tmp_path / "field.yaml"
    family.write_text("family: field\nproducts:\n  - {product: tag}\n")
    assert any("how many units" in f for f in faults(family))


@pytest.mark.once
def test_a_product_has_the_units_that_the_family_makes_of_it() -> None:
    run = load_family("vineyard", changes=["vineyard:products.barrel-tag.units=123"])
    assert {p.product: p.cost.units for p in run.products}["barrel-tag"] == 123
