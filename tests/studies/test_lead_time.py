"""Times to delivery: a need that screens, sets aside, shows, and is looked at again."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.faults import FaultError
from advisor.present.tables import shortlist_page
from advisor.studies.record import decide, read_decision, revisit
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import _asked, tipping

pytestmark = pytest.mark.once

WEEK = 7 * 86400.0
# of the shipped parts ostrel-pej takes 6 weeks, all others 12
SUPPLY = [
    "barrel-tag:supply-options.cells=[{budget: 200 mAh, voltage: 3.0 V}]",
    "barrel-tag:supply-options.converters=[none]",
]


def timed(*changes: str, longest: str = "20 weeks") -> tuple[Catalogue, Product]:
    return load("barrel-tag", changes=[*SUPPLY, f"barrel-tag:needs.lead-time={longest}", *changes])


def test_a_part_that_takes_too_long_is_screened_out() -> None:
    part = "quorvane-tib"
    assert part in [p.part for p in shortlist(*timed(), draws=0).ranking]
    found = shortlist(*timed(f"{part}:price.lead-time=26 weeks"), draws=0)
    (out,) = (s for s in found.screened_out if s.part == part)
    assert [f.need for f in out.failed] == ["lead-time"]
    # 20 x 7 and 26 x 7 days; six weeks of twenty away
    assert out.failed[0].text == "lead-time: at most 20 weeks, it takes 26 weeks"
    assert out.miss == pytest.approx(6 / 20, rel=1e-12)
    for draws in (0, 20):
        only = shortlist(*timed(longest="6 weeks"), draws=draws)
        assert [p.part for p in only.ranking] == ["ostrel-pej"]


def test_a_part_that_does_not_state_it_is_set_aside() -> None:
    unstated = "quorvane-tib:price={currency: EUR, breaks: {1: 1.34}}"
    found = shortlist(*timed(unstated), draws=0)
    aside = {a.part: a.missing for a in found.set_aside}
    assert aside["quorvane-tib"] == ("quorvane-tib:price.lead-time",)
    unasked = load("barrel-tag", changes=[unstated])
    assert "quorvane-tib" in [p.part for p in shortlist(*unasked, draws=0).ranking]


def test_a_column_shows_it_where_it_is_asked_for() -> None:
    found = shortlist(*timed(), draws=0)
    page = shortlist_page(found, 0, None).plain()
    assert "weeks: to delivery of the part" in page
    row = next(line for line in page.splitlines() if "ostrel-pej " in line)
    assert row.endswith(" 6.0")
    frame = found.to_frame().set_index("part")
    assert frame.loc["ostrel-pej", "lead_time_s"] == pytest.approx(6 * WEEK, rel=1e-12)
    plain = shortlist(*load("barrel-tag"), draws=0)
    assert "weeks" not in shortlist_page(plain, 0).plain()


def test_cells_and_converters_that_take_too_long_or_do_not_say_are_left_out() -> None:
    changes = [
        "barrel-tag:needs.lead-time=20 weeks",
        "barrel-tag:supply-options.cells=[{cell: lb-coin}, {cell: lb-broad}, {cell: ls-pen}]",
        "barrel-tag:supply-options.converters=[none, ldo-a, ldo-b]",
        "lb-coin:price.lead-time=20 weeks",
        "lb-broad:price.lead-time=21 weeks",
        "ldo-a:price.lead-time=22 weeks",
        "ls-pen:price={currency: EUR, breaks: {1: 4.60}}",
        "ldo-b:price={currency: EUR, breaks: {1: 0.62}}",
    ]
    found = shortlist(*load("barrel-tag", changes=changes), draws=0)
    assert {p.build.cell for p in found.ranking} == {"lb-coin"}
    assert {p.build.converter for p in found.ranking} == {"none"}
    out = {(one.kind, one.id): one.why for one in found.left_out}
    assert "lb-broad lead-time: at most 20 weeks, it takes 21 weeks" in out["pack", "lb-broad"]
    assert out["pack", "ls-pen"] == "lacks ls-pen:price.lead-time"
    assert "ldo-a lead-time: at most 20 weeks, it takes 22 weeks" in out["converter", "ldo-a"]
    assert out["converter", "ldo-b"] == "lacks ldo-b:price.lead-time"


def test_where_no_pack_states_it_that_is_the_fault() -> None:
    changes = [
        "barrel-tag:needs.lead-time=20 weeks",
        "barrel-tag:supply-options.cells=[{cell: lb-coin}]",
        "lb-coin:price={currency: EUR, breaks: {1: 0.42}}",
    ]
    with pytest.raises(FaultError, match=r"lb-coin:price\.lead-time: read nothing"):
        shortlist(*load("barrel-tag", changes=changes), draws=0)


def test_where_every_pack_takes_too_long_nothing_fits() -> None:
    changes = [
        "barrel-tag:needs.lead-time=20 weeks",
        "barrel-tag:supply-options.cells=[{cell: lb-coin}]",
        "barrel-tag:supply-options.converters=[none]",
        "lb-coin:price.lead-time=30 weeks",
    ]
    found = shortlist(*load("barrel-tag", changes=changes), draws=0)
    assert found.ranking == ()
    assert "lb-coin lead-time: at most 20 weeks, it takes 30 weeks" in (found.nearest_miss or "")


def test_a_limit_has_no_spread() -> None:
    for path in ("barrel-tag:needs.lead-time", "quorvane-tib:price.lead-time"):
        with pytest.raises(FaultError, match="lead-time"):
            load("barrel-tag", changes=[f"{path}=12 ± 2 weeks"])


def test_a_decision_stumbles_over_it(tmp_path: Path) -> None:
    day = datetime.date(2026, 3, 1)
    found = decide(*timed(), "quorvane-tib", "tools", date=day, draws=20)
    path = tmp_path / "record.yaml"
    path.write_text(found.text, "utf-8")
    record = read_decision(path)
    assert revisit(record, *timed()).stands
    # a longer time that still suffices is told, and no more
    later = revisit(record, *timed("quorvane-tib:price.lead-time=18 weeks"))
    assert later.stands
    (change,) = later.changed
    assert (change.path, change.was, change.now) == (
        "quorvane-tib:price.lead-time",
        "12 weeks",
        "18 weeks",
    )
    late = revisit(record, *timed("quorvane-tib:price.lead-time=26 weeks"))
    assert not late.stands
    assert "lead-time" in (late.unfit or "")


def test_a_tip_is_looked_for_only_where_the_time_counts() -> None:
    two = ["quorvane-tib", "ostrel-pej"]
    for inputs, counts in ((load("barrel-tag", changes=SUPPLY), False), (timed(), True)):
        base = evaluate(inputs[0].only(two), inputs[1], draws=0)
        asked = [str(handle.path) for handle in _asked(base, ())]
        assert len(asked) > 50
        assert any(path.endswith(".lead-time") for path in asked) == counts
    for changes in ((), ("barrel-tag:cost.unit-cost-limit=null",)):
        catalogue, product = timed(*changes)
        found = tipping(
            catalogue.only(two), product, ["quorvane-tib:price.lead-time"], points=6, draws=300
        )
        (tip,) = found.levers
        # beyond 20 weeks it is out, and the next takes the lead, whatever a unit may cost
        assert tip.tips_at == pytest.approx(20 * WEEK, rel=1e-3)
        assert tip.tips_at is not None
        assert tip.tips_at > 20 * WEEK
