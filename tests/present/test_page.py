"""The page in a real browser: what it ranks, shows, says aloud and asks of the network."""

from __future__ import annotations

import dataclasses
import json
import re
import shlex
import time
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from axe_core_python.selenium import Axe
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.shipped import load
from advisor.cli.main import call
from advisor.decide.evaluate import evaluate
from advisor.present.html.page import html_page
from advisor.present.tables import below
from advisor.present.typeset import typeset
from advisor.studies.report import Report, report
from tests.bench.synthetic import PRODUCT, write_catalogue
from tests.browsing import Browser
from tests.present.hostile import TEXTS, hostile_report
from tests.present.pages import MOSTLY, PRODUCTS, made
from tests.present.ranking import weighted
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

ORDER = "#ranking tbody tr > :nth-child(2)"
SCORES = "#ranking tbody tr > :nth-child(3)"
NAMES = "#ranking tbody tr"
SHOWN = 12  # parts in the chart of points


def order(browser: Browser) -> list[str]:
    script = "return [...document.querySelectorAll(arguments[0])].map((e) => e.firstChild.data)"
    return [str(part) for part in browser.run(script, ORDER)]


def move(browser: Browser, weights: Sequence[float]) -> None:
    """Move every slider, as a mouse would."""
    browser.run(
        "document.querySelectorAll('#weights input').forEach((slider, i) => {"
        "slider.value = arguments[0][i]; slider.dispatchEvent(new Event('input')); })",
        list(weights),
    )


def typed(browser: Browser) -> list[str]:
    """The words of the command that the page shows, behind the program's name."""
    words = shlex.split(browser.texts("#command")[0])
    assert words[0] == "part-advisor"
    return words[1:]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_opens_alone(name: str, dark: bool, browser: Browser, pages: Mapping[str, Path]) -> None:
    """Nothing on the console, nothing asked of the network, every chart drawn, none out of the
    window."""
    browser.open(pages[name], dark=dark)
    move(browser, [1.0] * len(made(name).criteria))
    browser.settle()
    assert browser.console() == []
    assert [a for a in browser.requests() if not a.startswith("data:")] == [pages[name].as_uri()]
    drawn = browser.run("return document.querySelectorAll('.chart').length")
    assert len(browser.texts(".chart svg")) == drawn
    # points, current, money, ranks, cloud, charges, temperature; two a lever, one a task
    tasks = len(made(name).pictures.tasks)  # type: ignore[union-attr]
    assert drawn == 7 + 2 * 2 + tasks
    wide = browser.run("return [document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1]


def test_would_not_load_anything_if_it_tried(browser: Browser, pages: Mapping[str, Path]) -> None:
    """The page's own policy, so that the test above cannot pass for lack of trying."""
    browser.open(pages["barrel-tag"])
    browser.run(
        "document.body.append(Object.assign(new Image(), {src: 'http://127.0.0.1:9/x.png'}));"
        "document.body.append(Object.assign(document.createElement('script'), {text: 'x = 1'}));"
    )
    said = browser.console()
    assert len([line for line in said if "Content Security Policy" in line]) == 2
    assert browser.run("return typeof x") == "undefined"


@pytest.mark.parametrize("name", MOSTLY)
def test_begins_with_the_shortlist(name: str, browser: Browser, pages: Mapping[str, Path]) -> None:
    browser.open(pages[name])
    ranking = made(name).shortlist.ranking
    assert order(browser) == [p.part for p in ranking]
    assert browser.texts(SCORES) == [f"{p.score:.1f}" for p in ranking]
    assert typed(browser)[:2] == ["shortlist", name]


def same_order(browser: Browser, expected: Mapping[str, float]) -> None:
    """The page ranks as the whole decision does; that may be 0.05 points short of a part's best
    build, and a score is shown to a tenth, so parts that are as near may stand the other way."""
    shown = order(browser)
    assert sorted(shown) == sorted(expected)
    for part, score in zip(shown, browser.texts(SCORES), strict=True):
        assert float(score) == pytest.approx(expected[part], abs=0.1001), part
    scores = [expected[part] for part in shown]
    assert all(after <= before + 0.1 for before, after in pairwise(scores))


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_keys_move_weights_and_the_command_line_agrees(
    name: str,
    browser: Browser,
    pages: Mapping[str, Path],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Arrow, Home and End on the sliders; then the command that the page shows, as JSON."""
    browser.open(pages[name])
    sliders = browser.driver.find_elements(By.CSS_SELECTOR, "#weights input")
    sliders[0].send_keys(Keys.HOME)
    sliders[1].send_keys(Keys.ARROW_RIGHT * 3)
    sliders[2].send_keys(Keys.END)
    sliders[-1].send_keys(Keys.ARROW_LEFT)
    assert call([*typed(browser), "--format", "json"]) == 0
    ranking = json.loads(capsys.readouterr().out)["ranking"]
    same_order(browser, {p["part"]: p["score"] for p in ranking})
    # the weights did move something, or this says nothing
    assert order(browser) != [p.part for p in made(name).shortlist.ranking]
    first = browser.texts("#said")[0]
    assert first.startswith(f"First: {ranking[0]['part']}, ")
    wanted = [part["part"] for part in ranking[:SHOWN]]
    for _ in range(60):
        drawn = downwards(browser)
        if drawn == wanted:
            break
        time.sleep(0.05)
    assert drawn == wanted


def downwards(browser: Browser) -> list[str]:
    """The parts in the chart of points, from the top."""
    found = browser.run(
        """
        const labels = document.querySelectorAll('[data-chart="ranking"] .role-axis-label text');
        const top = (label) => label.getBoundingClientRect().top;
        return [...labels].sort((a, b) => top(a) - top(b)).map((label) => label.textContent);
        """
    )
    return [text for text in found if not text.isdecimal()]


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_any_weights_rank_as_the_whole_decision_does(
    name: str, browser: Browser, pages: Mapping[str, Path]
) -> None:
    """Weights at random and at their ends, where another build of a part is its best."""
    browser.open(pages[name])
    count = len(made(name).criteria)
    random = np.random.default_rng(7)
    tried = [*np.eye(count), *np.round(random.dirichlet(np.full(count, 0.6), 8) * 8, 3)]
    own = {p.part: p.build.cell for p in made(name).shortlist.ranking}
    elsewhere = 0
    for weights in tried:
        move(browser, weights.tolist())
        same_order(browser, dict(weighted(made(name), weights.tolist())))
        small = browser.texts(f"{NAMES} small")
        cells = [text.removeprefix("on ").split(" ")[0].rstrip(":,") for text in small]
        elsewhere += sum(own[p] != c for p, c in zip(order(browser), cells, strict=True))
    assert elsewhere > 0
    browser.driver.find_element(By.ID, "own").send_keys(Keys.ENTER)
    ranking = made(name).shortlist.ranking
    assert order(browser) == [p.part for p in ranking]
    assert browser.texts(SCORES) == [f"{p.score:.1f}" for p in ranking]
    assert browser.texts(f"{NAMES} small") == [typeset(below(p)) for p in ranking]


def test_no_weight_at_all_is_refused_in_words(browser: Browser, pages: Mapping[str, Path]) -> None:
    browser.open(pages["barrel-tag"])
    before = order(browser)
    move(browser, [0.0] * len(made("barrel-tag").criteria))
    assert "at least one weight" in browser.texts("#said")[0]
    assert len(order(browser)) == len(before)
    assert "NaN" not in browser.run("return document.body.innerText")
    assert browser.console() == []


def test_two_parts_side_by_side(
    browser: Browser, pages: Mapping[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Any two, against what `explain` says of them."""
    browser.open(pages["frost-post"])
    one, two = "ostrel-yab", "quorvane-jor"
    for name, part in (("one", one), ("two", two)):
        Select(browser.driver.find_element(By.ID, name)).select_by_visible_text(part)
    draws = str(made("frost-post").shortlist.draws)
    said_by = ["explain", "frost-post", one, "--over", two, "--draws", draws]
    assert call([*said_by, "--format", "json"]) == 0
    said = json.loads(capsys.readouterr().out)
    rows = "#points tbody tr"
    assert browser.texts(f"{rows} th")[:-1] == [s["criterion"] for s in said["score"]]
    for column, key in ((4, "points"), (6, "over_points"), (7, "difference")):
        texts = browser.texts(f"{rows} > :nth-child({column})")
        shown = [text.replace("−", "-") for text in texts]
        assert [float(x) for x in shown[:-1]] == pytest.approx(
            [s[key] for s in said["score"]], abs=0.00501
        )
        assert float(shown[-1]) == pytest.approx(sum(float(x) for x in shown[:-1]), abs=0.04)
    drawn = dict(
        zip(
            browser.texts("#current tbody th"),
            browser.texts("#current tbody td:nth-child(2)"),
            strict=True,
        )
    )
    for consumer in said["current"]:
        value, unit = drawn[consumer["consumer"]].split()
        scale = {"A": 1, "mA": 1e-3, "µA": 1e-6, "nA": 1e-9, "pA": 1e-12}[unit]
        assert float(value) * scale == pytest.approx(consumer["a"], rel=0.006)
    total = said["cost"]["lifetime"]
    assert float(browser.texts("#money tr.sum td")[0]) == pytest.approx(total, abs=0.00501)
    assert browser.console() == []


def test_hostile_texts_are_texts(browser: Browser, tmp_path: Path) -> None:
    """Nothing of a catalogue runs, loads or becomes an element."""
    found = hostile_report(tmp_path / "catalogue")
    file = tmp_path / "page.html"
    file.write_text(html_page(found), "utf-8")
    browser.open(file)
    move(browser, [1.0, 3.0])
    browser.settle()
    assert browser.run("return document.title") == "odd-post: which part"
    assert browser.console() == []
    assert [a for a in browser.requests() if not a.startswith("data:")] == [file.as_uri()]
    assert browser.run("return document.querySelectorAll('img, main script, iframe').length") == 0
    shown = browser.run("return document.body.textContent")
    drawn = browser.texts("#money tbody th")
    for text in TEXTS:
        assert text in shown
        assert text in drawn
    # what appears under the pointer is made by the chart library, as HTML
    seen = set()
    for bar in browser.driver.find_elements(
        By.CSS_SELECTOR, '[data-chart="money"] .mark-rect path'
    ):
        ActionChains(browser.driver).move_to_element(bar).perform()
        seen |= set(browser.texts("#vg-tooltip-element td.value"))
    assert set(TEXTS) <= seen
    assert browser.run("return document.querySelectorAll('img, main script').length") == 0
    assert browser.run("return document.title") == "odd-post: which part"
    assert browser.console() == []


@pytest.mark.slow
@pytest.mark.parametrize("name", [*PRODUCTS, "crate-call"])
@pytest.mark.parametrize(("width", "dark"), [(1200, True), (390, False)])
def test_accessibility_rules_hold(
    width: int, dark: bool, name: str, browser: Browser, pages: Mapping[str, Path]
) -> None:
    """The rules of axe-core for WCAG 2: labels, contrast, headings, landmarks, names and roles."""
    browser.open(pages[name], width, dark)
    # thousands of rows of the inputs are all alike
    browser.run(
        "[...document.querySelectorAll('#inputs details')].slice(2).forEach((e) => e.remove());"
        "document.querySelectorAll('#inputs tr:nth-child(n+4)').forEach((e) => e.remove());"
        "document.querySelectorAll('details').forEach((e) => { e.open = true; })"
    )
    found = Axe().run(browser.driver)
    told = [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]]
    assert told == []
    asked = {"label", "color-contrast", "select-name", "role-img-alt"}
    assert asked <= {v["id"] for v in found["passes"]}, "rules that found nothing to look at"


def _luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, two: str) -> float:
    """WCAG 2.2, contrast ratio."""
    low, high = sorted((_luminance(one), _luminance(two)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_ratio_itself() -> None:
    """WCAG 2.2: black on white is 21; #767676 on white is the lightest grey that reaches 4.5."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_colours_are_told_apart(dark: bool, browser: Browser, pages: Mapping[str, Path]) -> None:
    """WCAG 2.2: texts 4.5 (1.4.3), what a chart is drawn with 3 (1.4.11); on paper as in light."""
    browser.open(pages["barrel-tag"], dark=dark)
    names = [
        "paper",
        "tint",
        "ink",
        "faint",
        "link",
        "warn",
        *(f"{of}{i}" for of in "pk" for i in range(1, 9)),
    ]
    colours = browser.run(
        "const s = getComputedStyle(document.documentElement);"
        "const read = (name) => [name, s.getPropertyValue('--' + name).trim()];"
        "return Object.fromEntries(arguments[0].map(read))",
        names,
    )
    for ground in (colours["paper"], colours["tint"]):
        for name in ("ink", "faint", "link"):
            assert contrast(colours[name], ground) >= 4.5, name
    assert contrast(colours["warn"], colours["paper"]) >= 4.5
    drawn = [colours[f"{of}{i}"] for of in "pk" for i in range(1, 9)]
    assert all(contrast(colour, colours["paper"]) >= 3 for colour in drawn)
    assert len(set(drawn)) == 16
    bar = browser.run(
        "return getComputedStyle(document.querySelector('.chart .mark-rect path')).fill"
    )
    red, green, blue = map(int, re.findall(r"\d+", bar)[:3])
    assert f"#{red:02x}{green:02x}{blue:02x}" == colours["k1"]


def test_keyboard_reaches_what_is_live(browser: Browser, pages: Mapping[str, Path]) -> None:
    browser.open(pages["barrel-tag"])
    body = browser.driver.find_element(By.TAG_NAME, "body")
    body.send_keys(Keys.TAB)
    first = browser.driver.switch_to.active_element
    assert first.get_attribute("href").endswith("#answer")  # type: ignore[union-attr]
    assert first.rect["x"] >= 0, "the way past the list is seen while it has the focus"
    reached = set()
    for _ in range(60):
        browser.driver.switch_to.active_element.send_keys(Keys.TAB)
        reached.add(browser.driver.switch_to.active_element.get_attribute("id"))
    count = len(made("barrel-tag").criteria)
    assert {*(f"weight-{i}" for i in range(count)), "own", "one", "two"} <= reached
    status = browser.driver.find_element(By.ID, "said")
    assert status.get_attribute("role") == "status", "what changes is said aloud"


@pytest.mark.parametrize("name", MOSTLY)
def test_a_phone_shows_it_without_scrolling_sideways(
    name: str, browser: Browser, pages: Mapping[str, Path]
) -> None:
    browser.open(pages[name], width=360)
    assert browser.run("return document.documentElement.scrollWidth") <= 360
    for sheet in ("ranking", "points"):
        seen = browser.run(f"return document.querySelector('#{sheet} tbody th').offsetWidth")
        assert seen > 60


def test_paper(browser: Browser, pages: Mapping[str, Path]) -> None:
    """Printed in light colours, without what only works on a screen, with every figure."""
    browser.open(pages["frost-post"], dark=True)
    dark = {"name": "prefers-color-scheme", "value": "dark"}
    browser.command("Emulation.setEmulatedMedia", {"media": "print", "features": [dark]})
    seen = browser.run(
        "const shown = (s) => document.querySelector(s).getBoundingClientRect().height > 0;"
        "return [shown('#weights'), shown('#pairing'), shown('nav'), shown('#ranking'),"
        "shown('.chart svg'),"
        "getComputedStyle(document.documentElement).getPropertyValue('--paper').trim()]"
    )
    assert seen == [False, False, False, True, True, "#ffffff"]
    printed = browser.command("Page.printToPDF", {"printBackground": True})
    assert len(printed["data"]) > 20_000


def test_reads_without_scripts(browser: Browser, pages: Mapping[str, Path]) -> None:
    browser.open(pages["frost-post"], scripts=False)
    browser.command("Emulation.setScriptExecutionDisabled", {"value": False})
    assert browser.texts(ORDER)[0].startswith("quorvane-jor")
    assert not browser.run("return document.querySelector('#weights').offsetHeight > 0")
    assert len(browser.texts("#current tbody tr")) > 10


@pytest.mark.slow
def test_one_part_and_none(browser: Browser, tmp_path: Path) -> None:
    """No sliders where there is nothing to weigh; where nothing fits it is said first."""
    catalogue, product = load("frost-post")
    alone = report(catalogue.only(["ostrel-yab"]), product, draws=20)
    needs = ["frost-post:needs.memory.flash=1GiB"]
    none = report(*with_changes(catalogue, product, needs), draws=20)
    for name, found in (("alone", alone), ("none", none)):
        file = tmp_path / f"{name}.html"
        file.write_text(html_page(found), "utf-8")
        browser.open(file)
        assert browser.console() == []
        assert not browser.texts("#weights")
    assert browser.texts("#answer h2") == ["Nothing fits"]
    browser.open(tmp_path / "alone.html")
    assert len(browser.texts(".chart svg .mark-rect path")) > 5
    assert browser.texts("#current thead th") == ["drawn by", "ostrel-yab"]


@pytest.mark.slow
def test_two_hundred_parts(browser: Browser, tmp_path: Path) -> None:
    """How fast it is, `tests.bench page` says; here that it is right."""
    folder = write_catalogue(tmp_path / "drawn", 200)
    catalogue, product = load_run([folder], PRODUCT.encode())
    found = report(catalogue, product, draws=0)
    file = tmp_path / "page.html"
    file.write_text(html_page(_bare(found)), "utf-8")
    browser.open(file)
    weights = [1.0, 4.0, 0.5, 2.0, 3.0]
    move(browser, weights)
    changes = [
        f"drawn-post:priorities.{c.criterion}.weight={w!r}"
        for c, w in zip(found.criteria, weights, strict=True)
    ]
    expected = evaluate(*with_changes(catalogue, product, changes)).candidates
    assert len(expected) > 150
    assert order(browser) == [c.part.part for c in expected]


def _bare(found: Report) -> Report:
    return dataclasses.replace(found, inputs=found.inputs[:1])
