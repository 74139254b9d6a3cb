"""What a report says of rails, charging and harvest; their columns, and those of a family."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import openpyxl
import pytest

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.present.blocks import Grid, Section, Words
from advisor.present.contents import sections
from advisor.present.explanation import explanation_page
from advisor.present.family import beside
from advisor.present.harvest import days, service_words
from advisor.present.machine import to_csv
from advisor.present.markdown import markdown
from advisor.present.workbook import workbook
from advisor.studies.columns import flat_names, flat_row
from advisor.studies.family import ROW, rows
from advisor.studies.harvests import ServiceResult
from advisor.studies.report import Report, report
from advisor.studies.words import because, life
from tests.present.family_pages import family_made
from tests.present.pages import DAY, made
from tests.studies.test_harvest import HARVEST

pytestmark = pytest.mark.once

ROOT = Path(__file__).parents[2]
SOME = ("quorvane-tib", "quorvane-sij", "tessimur-mub")
CHARGED = """
recharge: {every: 26 weeks, cost: 3.00}
rails:
  - {rail: sense, voltage: 2.5 V, converters: [ldo-a, ldo-b]}
"""
PROBE = "{load: probe,"
SWITCHED = "{load: probe, rail: sense, gated: true, capacitance: 0.47 uF, standby: 12 uA,"


def inputs(kind: str) -> tuple[Catalogue, Product]:
    """A frost post that is harvested into, or is charged and has a rail."""
    text = (ROOT / "profiles" / "frost-post.yaml").read_text()
    start = text.index("  cells: [")
    end = text.index("\n", start)
    cell = "sc-drum" if kind == "harvested" else "fp-pen"
    text = f"{text[:start]}  cells: [{{cell: {cell}}}]{text[end:]}"
    text = text + HARVEST if kind == "harvested" else text.replace(PROBE, SWITCHED) + CHARGED
    catalogue, product = load_run([ROOT / "catalog"], text.encode(), (), cached=True)
    return replace(catalogue, parts={name: catalogue.parts[name] for name in SOME}), product


@cache
def fed(kind: str) -> Report:
    # curves along one figure: of none of them is anything said here
    along = ["frost-post:cost.units=1000:2000"]
    return report(*inputs(kind), along=along, draws=20, date=DAY)


def section(kind: str) -> Section:
    (found,) = [one for one in sections(fed(kind)) if one.id == "feeding"]
    return found


def grid(kind: str, name: str) -> Grid:
    (found,) = [b for b in section(kind).blocks if isinstance(b, Grid) and b.name == name]
    return found


def said(kind: str) -> str:
    return " ".join(block.text for block in section(kind).blocks if isinstance(block, Words))


def test_a_report_tells_what_charges_do_and_what_switching_off_takes() -> None:
    found = fed("charged")
    winner = found.explanation
    assert winner is not None
    assert winner.charging is not None
    assert section("charged").title == "Rails and charging"
    (gate,) = winner.gating
    header, (row,) = grid("charged", "gates").header, grid("charged", "gates").rows
    told = dict(zip(header, row, strict=True))
    assert told["what"] == "load probe of sample"
    assert told["switched off"] == "yes"
    assert gate.pays_beyond_s is not None
    # it rests longer than it takes to pay
    assert gate.rest_s is not None
    assert gate.rest_s > gate.pays_beyond_s
    assert told["pays for rests of"].startswith("over ")
    assert (
        f"of the rated capacity is lost with time and {100 * winner.charging.cycle_loss:.3g} %"
        in said("charged")
    )
    assert f"ends because {because(winner.battery_life_s.ends_by)}." in said("charged")
    each = grid("charged", "fed")
    assert [row[0] for row in each.rows] == [p.part for p in found.shortlist.ranking]
    first = dict(zip(each.header, each.rows[0], strict=True))
    best = found.shortlist.ranking[0]
    assert first["a charge lasts"] == life(best.battery_life_s.one_charge)
    # 12 years, every half a year, the last visit at the end needs no charge
    assert first["visits to charge"] == f"{best.cost.charges:g}"
    assert "sense by ldo" in first["fed by"]
    assert "days without service" not in each.header


def test_a_report_tells_months_without_service_and_what_reaches_the_aim() -> None:
    winner = fed("harvested").explanation
    assert winner is not None
    assert winner.harvest is not None
    assert section("harvested").title == "Harvest"
    months = grid("harvested", "months")
    assert len(months.rows) == 12
    assert [row[2] for row in months.rows] == [days(m.lost) for m in winner.harvest.months]
    assert "99 % of days take " in said("harvested")
    assert " of panel (" in said("harvested")
    # its load holds the self-discharge of the store that there is
    assert ", or a like store of " in said("harvested")
    each = grid("harvested", "fed")
    served = [p.service for p in fed("harvested").shortlist.ranking]
    place = each.header.index("days without service")
    assert [row[place] for row in each.rows] == [days(s.lost) for s in served if s is not None]
    assert "a charge lasts" not in each.header


@pytest.mark.parametrize("kind", ["charged", "harvested"])
def test_other_forms_carry_it_along(kind: str) -> None:
    title = section(kind).title
    assert f"## {title}" in markdown(fed(kind))
    book = openpyxl.load_workbook(io.BytesIO(workbook(fed(kind))))
    cells = {str(c.value) for row in book["Feeding"].iter_rows() for c in row if c.value}
    assert {*grid(kind, "fed").header} <= cells


def test_other_products_have_no_such_section_and_no_such_columns() -> None:
    found = made("barrel-tag")
    assert not [one for one in sections(found) if one.id == "feeding"]
    assert {"rails", "charges", "days_without_service", "store_days"}.isdisjoint(
        flat_row(found.shortlist.ranking[0])
    )


@pytest.mark.parametrize(
    ("kind", "more", "none"),
    [
        ("charged", {"rails", "charges"}, {"days_without_service", "store_days"}),
        ("harvested", {"days_without_service", "harvest_over_load", "store_days"}, {"rails"}),
    ],
)
def test_columns_of_a_table(kind: str, more: set[str], none: set[str]) -> None:
    ranking = fed(kind).shortlist.ranking
    header, *lines = csv.reader(io.StringIO(to_csv([flat_row(p) for p in ranking])))
    assert header == flat_names(inputs(kind)[1])
    assert more <= set(header)
    assert none.isdisjoint(header)
    row = dict(zip(header, lines[0], strict=True))
    if kind == "charged":
        assert row["rails"].startswith("sense: ldo-")
        assert float(row["charges"]) == ranking[0].cost.charges
    else:
        assert ranking[0].service is not None
        assert float(row["days_without_service"]) == pytest.approx(ranking[0].service.lost)


def test_a_family_tells_of_its_products() -> None:
    plan = family_made().plan
    assert all("rails" not in row for row in rows(plan))
    one = plan.plan[0]
    service = fed("harvested").shortlist.ranking[0].service
    assert service is not None
    service = replace(service, lost=0.031)
    build = replace(one.first.build, rails={"sense": "ldo-a"})
    first = replace(one.first, build=build, one_charge_s=1e7, charges=20.0, service=service)
    other = replace(one, first=first)
    assert "one charge of the new pack lasts 116 days; 3 % of days without service" in beside(other)
    row = rows(replace(plan, plan=(other, *plan.plan[1:])))[0]
    assert [*row][: len(ROW)] == [*ROW]
    assert {name: row[name] for name in [*row][len(ROW) :]} == {
        "rails": "sense: ldo-a",
        "one_charge_s": 1e7,
        "charges": 20.0,
        "days_without_service": 0.031,
    }


@pytest.mark.parametrize(
    ("lost", "store", "end"),
    [
        (0.03, 500.0, "3 % of days without service in the long run, fewer in the first years"),
        (0.03, 59.0, "3 % of days without service."),
        (0.0, 500.0, "0 % of days without service."),
    ],
)
def test_a_large_store_is_said_to_lose_less_at_first(lost: float, store: float, end: str) -> None:
    assert end in service_words(ServiceResult(lost=lost, cover=0.94, store_days=store))


@pytest.mark.parametrize("width", [60, 80, 120])
def test_explain_stays_within_the_width(width: int) -> None:
    winner = fed("charged").explanation
    assert winner is not None
    assert max(map(len, explanation_page(winner, width).plain().splitlines())) <= width
