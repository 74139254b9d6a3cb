"""A family's page in a real browser, and what its charts are drawn of."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe

from advisor.present.family import amount
from advisor.present.html.family_charts import charts
from advisor.present.html.family_page import family_html
from advisor.present.typeset import typeset
from tests.browsing import Browser
from tests.present.family_pages import family_made
from tests.present.hostile import TEXTS

pytestmark = pytest.mark.once

NO_PLAN = ("pair:limits.capital=5",)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "pair.html"
    file.write_text(family_html(family_made()), "utf-8")
    return file


def sideways(browser: Browser) -> bool:
    wide = browser.run("return [document.documentElement.scrollWidth, innerWidth]")
    return bool(wide[0] > wide[1])


@pytest.mark.parametrize(("width", "dark"), [(1200, False), (360, True)])
def test_opens_alone(width: int, dark: bool, browser: Browser, page: Path) -> None:
    """Nothing on the console, nothing asked of the network, both charts drawn, none out of the
    window; names of accessibility by axe-core's rules for WCAG 2."""
    browser.open(page, width, dark)
    assert browser.console() == []
    assert [a for a in browser.requests() if not a.startswith("data:")] == [page.as_uri()]
    assert len(browser.texts(".chart svg")) == 2
    assert not sideways(browser)
    browser.run("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
    assert not sideways(browser)
    found = Axe().run(browser.driver)
    assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
    asked = {"color-contrast", "role-img-alt", "heading-order", "landmark-one-main"}
    assert asked <= {v["id"] for v in found["passes"]}, "rules that found nothing to look at"


def test_says_what_the_plan_says(browser: Browser, page: Path) -> None:
    plan = family_made().plan
    browser.open(page)
    assert browser.texts("h1") == ["pair"]
    assert browser.run("return document.title") == "pair: which parts"
    assert browser.texts(".demo")[0].startswith("DEMONSTRATION DATA")
    assert plan.cost is not None
    assert plan.capital is not None
    assert plan.saving is not None
    values = browser.texts(".glance dd:not(.about)")
    assert len(values) == 5
    assert values[1] == amount(plan.cost, "EUR")
    assert values[2].startswith(amount(abs(plan.saving), "EUR"))
    assert values[3] == amount(plan.capital, "EUR")
    assert values[4] == f"{plan.score:.1f} of 100"
    assert browser.texts("#answer .caution")[0].startswith("Caution: lb-coin: button cells kill")
    assert browser.texts("#cautions li") == [typeset(text) for text in plan.cautions]
    assert browser.texts("#products tbody tr > td:nth-child(2)") == [p.part for p in plan.plan]
    saves = browser.texts("#three-ways tr.sum td:last-child")
    assert saves == [typeset(amount(plan.saving))]
    assert browser.texts("#again code") == ["part-advisor family pair --seed 1 --draws 20"]
    assert len(browser.texts("#digests tbody tr")) == len(family_made().digests)


def test_charts_add_up_and_state_the_finding() -> None:
    plan = family_made().plan
    drawn = charts(plan)
    (ways,) = drawn["saving"]
    sums: dict[str, float] = {}
    for row in ways.spec["layer"][0]["data"]["values"]:
        sums[row["way"]] = sums.get(row["way"], 0.0) + row["amount"]
    total = plan.lines[-1]
    wanted = {"separately": total.separate, "bought together": total.pooled}
    assert sums == pytest.approx(wanted | {"the plan": total.together}, rel=1e-12)
    side = "less" if total.saving >= 0 else "more"
    assert (
        f"{amount(abs(total.saving), 'EUR')} {side} than choosing separately"
        in ways.finding.replace("\u00a0", " ")
    )
    (plans,) = drawn["plans"]
    dots = plans.spec["layer"][0]["data"]["values"]
    assert dots[0]["at"] == "plan"
    assert dots[0]["cost"] == plan.cost
    assert [d["cost"] for d in dots if d["what"] == "next best"] == [
        one.cost for one in plan.alternatives
    ]
    front = {one.cost for one in plan.front}
    assert {d["cost"] for d in dots if d["what"] == "front"} == front - {plan.cost}
    assert len(front) > 1


def test_paper(browser: Browser, page: Path) -> None:
    """Light, without the contents, on fewer than eight sheets of A4 (ISO 32000-1, 7.7.3.3)."""
    browser.open(page, dark=True)
    dark = {"name": "prefers-color-scheme", "value": "dark"}
    browser.command("Emulation.setEmulatedMedia", {"media": "print", "features": [dark]})
    seen = browser.run(
        "const shown = (s) => document.querySelector(s).getBoundingClientRect().height > 0;"
        "return [shown('nav'), shown('#products'), shown('.chart svg'), shown('#purchases'),"
        "getComputedStyle(document.documentElement).getPropertyValue('--paper').trim()]"
    )
    assert seen == [False, True, True, True, "#ffffff"]
    size = {"printBackground": True, "paperWidth": 8.27, "paperHeight": 11.69}
    printed = base64.b64decode(browser.command("Page.printToPDF", size)["data"])
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", printed)) < 8


def test_reads_without_scripts_and_without_a_plan(browser: Browser, tmp_path: Path) -> None:
    found = family_made(changes=NO_PLAN)
    assert found.plan.plan == ()
    file = tmp_path / "none.html"
    file.write_text(family_html(found), "utf-8")
    browser.open(file)
    assert browser.console() == []
    assert browser.texts("#answer h2") == ["No plan"]
    assert browser.texts("#answer li") == ["at most 5 of capital"]
    assert "--set pair:limits.capital=5" in browser.texts("#again code")[0]
    browser.open(file, scripts=False)
    browser.command("Emulation.setScriptExecutionDisabled", {"value": False})
    assert browser.texts("#answer li") == ["at most 5 of capital"]


def test_hostile_texts_are_texts(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    file.write_text(family_html(family_made(" ".join(TEXTS))), "utf-8")
    browser.open(file)
    assert browser.run("return document.title") == "pair: which parts"
    assert browser.console() == []
    assert browser.texts("header p")[0] == " ".join(TEXTS)
    assert browser.run("return document.querySelectorAll('img, main script, iframe').length") == 0
