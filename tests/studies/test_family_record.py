"""Families' decisions on record: what they hold and what revisiting tells, by plain arithmetic."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from advisor.catalogue.families import load_family
from advisor.catalogue.places import product_files
from advisor.catalogue.schema_record import FamilyRecord
from advisor.decide.family_plans import Answer, solve
from advisor.faults import FaultError
from advisor.lp import Status
from advisor.present.family_record import revisited_page
from advisor.studies import family_revisit
from advisor.studies.family import family
from advisor.studies.family_record import (
    FamilyDecided,
    decide_family,
    inputs_of,
    is_family_record,
    read_family_decision,
)
from advisor.studies.family_results import FamilyPlan
from advisor.studies.family_revisit import FamilyRevisited, revisit_family
from advisor.studies.schema import schema
from tests.studies.small_family import PARTS, TEXT, family_run, write_family

pytestmark = pytest.mark.once

DAY = datetime.date(2026, 3, 1)
WHY = 'it is "the one": 3 suppliers # really'


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_family(tmp_path_factory.mktemp("family"))


@pytest.fixture(scope="module")
def planned(file: Path) -> FamilyPlan:
    """What `family` says of the same products."""
    return family(family_run(file), draws=0)


@pytest.fixture(scope="module")
def decided(file: Path) -> FamilyDecided:
    run = family_run(file)
    return decide_family(run, WHY, date=DAY, draws=0, folder=file.parent / "records")


def kept(found: FamilyDecided, folder: Path) -> FamilyRecord:
    path = folder / "record.yaml"
    path.write_text(found.text, "utf-8")
    assert is_family_record(path)
    return read_family_decision(path)


@pytest.fixture(scope="module")
def record(decided: FamilyDecided, tmp_path_factory: pytest.TempPathFactory) -> FamilyRecord:
    return kept(decided, tmp_path_factory.mktemp("record"))


def again(
    record: FamilyRecord, file: Path, *changes: str, parts: Sequence[str] = PARTS
) -> FamilyRevisited:
    return revisit_family(record, family_run(file, changes, parts))


def test_a_record_holds_the_plan(
    record: FamilyRecord, decided: FamilyDecided, planned: FamilyPlan
) -> None:
    assert (record.family_decision, record.because, record.date) == ("pair", WHY, DAY)
    assert (record.aim, record.draws, record.seed) == ("cost", 0, 1)
    for one, plan in zip(record.products, planned.plan, strict=True):
        assert (one.product, one.first.part, one.units) == (plan.product, plan.part, plan.units)
        assert one.second is None
        # twelve digits are written
        assert one.cost.nominal == pytest.approx(plan.cost, rel=1e-11)
        assert one.score.nominal == pytest.approx(plan.score, rel=1e-11)
        assert one.first.pieces[plan.cell] >= 1
    assert record.cost.nominal == record.best_cost.nominal == pytest.approx(planned.cost, rel=1e-11)
    assert record.score.nominal == pytest.approx(planned.score, rel=1e-11)
    assert record.figures["pair:limits.parts"] == "2"
    assert record.figures["ostrel-goz:lifecycle"] == "active"
    assert set(record.digests) >= {"pair", "frost-post", "barrel-tag", *PARTS}
    document = yaml.safe_load(decided.text)
    assert next(iter(document)) == "family-decision"
    document["date"] = document["date"].isoformat()
    check = Draft202012Validator(schema("family-record").document)
    assert list(check.iter_errors(document)) == []
    assert decided.cautions == planned.cautions != ()
    assert decided.invented


def test_nothing_changed_stands(record: FamilyRecord, file: Path, planned: FamilyPlan) -> None:
    found = again(record, file)
    assert found.stands is True
    assert (found.unbuilt, found.broken, found.changed) == ((), (), ())
    assert (found.documents, found.new, found.gone) == ((), (), ())
    assert found.cost_now == pytest.approx(planned.cost, rel=1e-12)
    assert found.behind_now == pytest.approx(0.0, abs=1e-6)
    assert [one.best_part for one in found.products] == [one.part for one in found.products]
    assert not any(one.rebuilt for one in found.products)
    assert found.cautions == planned.cautions


def test_a_next_best_plan_stands_as_far_behind_as_it_was(
    file: Path, planned: FamilyPlan, tmp_path: Path
) -> None:
    found = decide_family(family_run(file), WHY, place=1, draws=0)
    more = planned.alternatives[0].more
    assert more > 100
    assert dict(found.parts) == dict(planned.alternatives[0].parts)
    record = kept(found, tmp_path)
    now = again(record, file)
    assert now.behind_then == pytest.approx(more, rel=1e-6)
    assert now.behind_now == pytest.approx(more, rel=1e-6)
    assert now.stands is True
    assert "in the best plan now: ostrel-goz" in revisited_page(now, 100).plain()
    # 0.10 a piece more on its 5,000 chips, which the best plan does not buy
    dearer = _price("quorvane-jor", 0.10)
    worse = again(record, file, *dearer)
    assert worse.behind_now == pytest.approx(more + 0.10 * 5000, rel=1e-6)
    assert worse.stands is False
    assert (
        "a plan betters it by EUR 1,140; then by EUR 640.00" in revisited_page(worse, 100).plain()
    )


def _price(part: str, more: float) -> list[str]:
    """Changes by which each of a part's prices is so much more."""
    catalogue = load_family(["frost-post"]).catalogue
    price = catalogue.parts[part].price
    assert price is not None
    assert price.breaks is not None
    return [
        f"{part}:price.breaks.{q}={each.nominal + more:.6g}" for q, each in price.breaks.items()
    ]


def test_what_it_costs_now_is_plain_arithmetic(record: FamilyRecord, file: Path) -> None:
    """0.50 more for each of 5,000 chips; another plan, 640 dearer before, is then 1,860 cheaper."""
    found = again(record, file, *_price("ostrel-goz", 0.50))
    assert found.cost_now is not None
    assert found.best_cost_now is not None
    assert found.cost_now - found.cost_then == pytest.approx(2500.0, abs=1e-4)
    assert found.cost_now - found.best_cost_now == pytest.approx(1860.0, abs=1e-3)
    assert found.stands is False
    first, second = found.products
    assert (first.part, first.best_part) == ("ostrel-goz", "quorvane-jor")
    assert second.part == second.best_part == "ostrel-ruv"
    assert first.cost_now is not None
    assert first.cost_then is not None
    assert first.cost_now - first.cost_then == pytest.approx(2500.0, abs=1e-4)
    assert {c.path.partition(":")[0] for c in found.changed} == {"ostrel-goz"}
    # 640 is what it was ahead by: up to there it stands
    assert again(record, file, *_price("ostrel-goz", 0.127)).stands is True


@pytest.mark.parametrize(
    ("change", "limit"),
    [
        ("pair:limits.parts=1", "at most 1 different part"),
        ("pair:limits.engineering=2 h", "at most 2 h of engineering"),
        ("pair:limits.capital=20000", "at most 20,000 of capital"),
        (
            "pair:products.frost-post.give-up=1",
            "frost-post gives up at most 1 points of its score",
        ),
    ],
)
def test_a_limit_that_it_breaks_is_named(
    change: str, limit: str, record: FamilyRecord, file: Path
) -> None:
    found = again(record, file, change)
    assert found.broken == (limit,)
    assert found.stands is False
    path, _, text = change.partition("=")
    assert [(c.path, c.now) for c in found.changed] == [(path, text)]
    assert limit in revisited_page(found, 100).plain()


def test_what_cannot_be_built_is_named_with_its_reason(record: FamilyRecord, file: Path) -> None:
    ended = again(record, file, "ostrel-goz:lifecycle=ended")
    (one,) = ended.unbuilt
    assert (one.product, one.part) == ("frost-post", "ostrel-goz")
    assert "lifecycle" in one.why
    assert (ended.stands, ended.cost_now, ended.behind_now) == (False, None, None)
    assert ended.best_cost_now is not None
    gone = again(record, file, parts=PARTS[1:])
    assert [u.why for u in gone.unbuilt] == ["its part is no longer in the catalogue"]
    nothing = again(record, file, "frost-post:needs.memory.flash=1GiB")
    assert nothing.status == "infeasible"
    assert nothing.best_cost_now is None
    assert "No plan keeps all limits now." in revisited_page(nothing, 100).plain()


def test_products_that_come_and_go(record: FamilyRecord, tmp_path: Path) -> None:
    other = TEXT.replace("{product: barrel-tag, units: 12000}", "{product: valve-driver}")
    found = again(record, write_family(tmp_path, other))
    assert {u.product: u.why for u in found.unbuilt} == {
        "valve-driver": "new in the family: nothing was decided for it",
        "barrel-tag": "no longer in the family",
    }
    assert found.new == ("valve-driver",)
    assert found.gone == ("barrel-tag",)


def test_what_runs_otherwise_is_the_same_purchase(record: FamilyRecord, file: Path) -> None:
    """A build that another on the same pack and converter has overtaken since."""
    first, second = record.products
    odd = replace(first, first=replace(first.first, build=f"{first.first.build}, long ago"))
    found = again(replace(record, products=(odd, second)), file)
    assert [one.rebuilt for one in found.products] == [True, False]
    assert found.stands is True
    elsewhere = replace(first, first=replace(odd.first, fed_by="lb-coin, none"))
    found = again(replace(record, products=(elsewhere, second)), file)
    why = "no build of it on lb-coin, none keeps the product's needs"
    assert [u.why for u in found.unbuilt] == [why]


def test_a_search_that_ends_too_soon_settles_nothing(
    record: FamilyRecord, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = solve

    def hasty(*inputs: object) -> Answer:
        found = real(*inputs)  # type: ignore[arg-type]
        assert found.value is not None
        return replace(found, status=Status.FEASIBLE, bound=0.9 * found.value)

    monkeypatch.setattr(family_revisit, "solve", hasty)
    found = again(record, file)
    assert found.stands is None
    assert found.status == "feasible"
    assert "time ran out" in revisited_page(found, 100).plain()


def test_two_sources_and_an_aim_of_score(tmp_path: Path) -> None:
    """Both builds are found again; how far behind is told in points."""
    text = TEXT.replace(
        "{product: frost-post, give-up: 20}",
        "{product: frost-post, second-source: required, second-share: 30 %, porting: 10 h}",
    )
    file = write_family(tmp_path, text.replace("parts: 2", "parts: 3") + "objective: score\n")
    found = decide_family(family_run(file), WHY, place=1, draws=0)
    record = kept(found, tmp_path)
    one = record.products[0]
    assert one.second is not None
    assert {one.first.part, one.second.part} <= {"ostrel-goz", "quorvane-jor", "quorvane-tib"}
    now = again(record, file)
    assert now.behind_then == pytest.approx(found.best_score - found.score, rel=1e-9)
    assert now.behind_now == pytest.approx(now.behind_then, abs=1e-6)
    assert 0 < now.behind_then < 100
    assert now.stands is True
    assert now.products[0].part == f"{one.first.part} + {one.second.part}"


@pytest.mark.parametrize(
    "why", ["\x1b[31mred\x07", "]] }} : - &a *b !!python", "ü\u202e\u2028", "👩\u200d💻", "null"]
)
def test_any_reason_is_text(why: str, decided: FamilyDecided, tmp_path: Path) -> None:
    from advisor.catalogue.edit import quoted

    text = decided.text.replace(quoted(WHY), quoted(" ".join(why.split())))
    assert all(c == "\n" or c.isprintable() for c in text)
    record = kept(replace(decided, text=text), tmp_path)
    assert record.because == " ".join(why.split())


def test_faults(file: Path) -> None:
    run = family_run(file)
    with pytest.raises(FaultError, match="why this plan"):
        decide_family(run, " \n ", draws=0)
    with pytest.raises(FaultError, match=r"--plan: read 40; expected 0 for the best plan, at most"):
        decide_family(run, "x", place=40, draws=0)
    tight = family_run(file, ["pair:limits.capital=5"])
    with pytest.raises(FaultError, match="no plan keeps all limits"):
        decide_family(tight, "x", draws=0)
    with pytest.raises(FaultError, match="nothing fits"):
        decide_family(family_run(file, ["frost-post:needs.memory.flash=1GiB"]), "x", draws=0)
    with pytest.raises(FaultError, match="seed"):
        decide_family(run, "x", draws=0, seed=10**12)


def test_a_record_finds_its_files(record: FamilyRecord, file: Path, tmp_path: Path) -> None:
    assert record.family_file == "../pair.yaml"
    assert record.product_files == {}
    at = file.parent / "records" / "r.yaml"
    at.parent.mkdir()
    references, own, folders, changes = inputs_of(record, at)
    assert [Path(r).resolve() for r in references] == [file.resolve()]
    assert (own, folders, changes) == ({}, [], ())
    with pytest.raises(FaultError, match=r"family-file: read .* which is not there"):
        inputs_of(record, tmp_path / "r.yaml")
    # neither shipped nor beside the family: the project's, say
    away = tmp_path / "away" / "frost-post.yaml"
    away.parent.mkdir()
    away.write_bytes(product_files()["frost-post"].read_bytes())
    alone = tmp_path / "alone" / "pair.yaml"
    alone.parent.mkdir()
    alone.write_bytes(file.read_bytes())
    run = load_family(alone, own={"frost-post": away})
    run = replace(run, catalogue=run.catalogue.only(PARTS))
    found = kept(decide_family(run, "x", draws=0, folder=tmp_path), tmp_path)
    assert found.product_files == {"frost-post": "away/frost-post.yaml"}
    assert inputs_of(found, tmp_path / "r.yaml")[1] == {"frost-post": away}
    with pytest.raises(FaultError, match=r"product-files\.frost-post"):
        inputs_of(found, tmp_path / "away" / "r.yaml")
    shipped = replace(record, family_decision="vineyard", family_file=None)
    assert inputs_of(shipped, at)[0] == ["vineyard"]
    named = replace(record, family_decision="family", family_file=None)
    assert inputs_of(named, at)[0] == ["frost-post", "barrel-tag"]
    lost = replace(record, family_file=None)
    with pytest.raises(FaultError, match="neither shipped nor in"):
        inputs_of(lost, tmp_path / "r.yaml")
    assert inputs_of(lost, file.parent / "r.yaml")[0] == [str(file)]


def test_another_family_is_refused(record: FamilyRecord) -> None:
    run = load_family(["frost-post", "barrel-tag"])
    with pytest.raises(FaultError, match='read "family"; expected "pair", as in the record'):
        revisit_family(record, run)
