"""The glossary and the lists hold every figure of the answers, and what they say of it is so."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isnan
from typing import Any

import pytest

from advisor.catalogue.criteria import CRITERIA, Measure, measure_of, nominal_energy
from advisor.catalogue.fields import specification
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.limits import LIMITS
from advisor.model.ends import ENDS
from advisor.quantities import read_quantity
from advisor.reference.declared import Field, fields, holds
from advisor.reference.glossary import ANSWERS, TERMS, WORDS, glossary_page
from advisor.reference.lists import lists_page
from advisor.reference.outputs import run
from advisor.studies.columns import COLUMNS

SPARSE = ("peak", "weeks", "a charge", "lost")  # heads that no shipped product shows
GLOSSARY = glossary_page()
LISTS = lists_page()
SMALL = {
    "shortlist": "shortlist frost-post --draws 20",
    "explain": "explain frost-post helmaric-lep",
    "compare": "compare quorvane-tib ostrel-pej --kernel hash --kernel matrix --at-clock 24MHz",
    "outlook": "outlook barrel-tag quorvane-tib --points 2 --draws 20 "
    "--along barrel-tag:cost.units=100:200 --along barrel-tag:workload.sample.every=5s:120s",
    "tipping": "tipping barrel-tag --draws 50 --points 1 --lever lb-coin:capacity "
    "--lever quorvane-tib:price.breaks.10000 --lever barrel-tag:rail",
    "gaps": "gaps barrel-tag --draws 100",
    "family": "family vineyard --draws 20 --plans 1 --set vineyard:objective=front "
    "--set vineyard:limits.parts=2",
    "weights": "weights barrel-tag "
    "--order battery-life,purchase-cost,lifetime-cost,memory-headroom,toolchain",
}


def section(text: str, title: str) -> str:
    found = re.search(rf"^##+ {re.escape(title)}$(.*?)(?=^##+ |\Z)", text, re.M | re.S)
    assert found is not None, f"no section {title}"
    return found[1]


def rows(text: str) -> list[list[str]]:
    """The entries of a section's table, without its head."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    return [[entry.strip() for entry in line.strip("|").split(" | ")] for line in lines[2:]]


def slug(heading: str) -> str:
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def tables() -> dict[str, dict[str, str]]:
    """By the name that links go to: key to what it holds."""
    headings = re.findall(r"^##+ (.*)$", GLOSSARY, re.M)
    return {
        slug(heading): {row[0].strip("`"): row[1] for row in rows(section(GLOSSARY, heading))}
        for heading in headings
    }


TABLES = tables()


def follow(document: Any, table: str, at: str) -> None:
    """Every key of a document stands in the table, and those below it in the one linked to."""
    known = TABLES[table]
    for key, value in document.items():
        assert key in known, f"{at}.{key} is not in the glossary"
        linked = re.search(r"\[keys\]\(#([\w-]+)\)", known[key])
        if value is None:
            assert fits(value, known[key]), f"{at}.{key} is not to be null"
            continue
        below: list[Any] = [value]
        for _ in re.findall(r"list of|mapping to", known[key]):
            below = [
                one
                for several in below
                for one in (several.values() if isinstance(several, dict) else several)
            ]
        for one in below:
            assert isinstance(one, dict) <= (linked is not None), f"{at}.{key} holds keys"
            if isinstance(one, dict) and linked is not None:
                follow(one, linked[1], f"{at}.{key}")
            else:
                assert fits(one, known[key]), f"{at}.{key}: {one!r} is not {known[key]}"


def fits(value: Any, words: str) -> bool:
    """Whether a value of JSON is what the glossary says a key holds."""
    if isinstance(value, bool):
        return "true or false" in words
    if value is None:
        return "null" in words
    if isinstance(value, str):
        return "text" in words
    return "number" in words


@pytest.mark.once
@pytest.mark.parametrize("command", ANSWERS)
def test_every_key_of_an_answer_is_told(command: str) -> None:
    document = json.loads(run(f"{SMALL[command]} --format json"))
    if command == "outlook":  # as the glossary says below its heading
        lever = ("lever", "unit", "now", "curves", "crossings", "break_even")
        levers = [{k: document.pop(k) for k in lever}, *document.pop("further")]
        assert len(levers) == 2
        for one in levers:
            for crossing in (*one["crossings"], *(one["break_even"] or ())):
                crossing["before"] = crossing.pop("from")
        document["levers"] = levers
        assert "a crossing's `before` is `from`" in GLOSSARY
    follow(document, command, command)


def test_a_field_without_words_is_refused() -> None:
    @dataclass(frozen=True)
    class Mute:
        """Says nothing."""

        told: float
        """[A] what it is"""
        untold: float

    @dataclass(frozen=True)
    class Told:
        """Says all."""

        told: Mapping[str, tuple[float, ...]] | None
        """[A] what it is,
        on two lines"""

    # a class inside a function is indented
    with pytest.raises(ValueError, match=r"Mute\.untold has no text below it"):
        fields(Mute)
    assert fields(Told) == (
        Field("told", "A", "what it is, on two lines", "mapping to list of numbers or null", ()),
    )
    with pytest.raises(TypeError, match="no words for"):
        holds(complex)


def test_words_of_the_files_are_keys_of_the_files() -> None:
    from advisor.catalogue import schema_parts, schema_product, schema_supply

    keys = {
        name
        for module in (schema_parts, schema_supply, schema_product)
        for value in vars(module).values()
        if isinstance(value, type) and hasattr(value, "__dataclass_fields__")
        for name in specification(value)
    }
    told = rows(section(GLOSSARY, "Words of the files"))
    assert [row[0] for row in told] == [term.word for term in TERMS]
    named = {
        step
        for row in told
        for path in re.findall("`(.*?)`", row[1])
        for step in path.split(".")
        if not step.startswith("<")
    }
    assert len(named) > 12
    assert named <= keys


def test_ends_of_life_are_all_told() -> None:
    told = rows(section(LISTS, "Ends of life"))
    assert [row[0].strip("`") for row in told] == [end.name for end in ENDS]
    assert all(row[1] for row in told)


def test_limits_are_all_told_at_their_level() -> None:
    told = {
        (level, row[0].strip("`"))
        for level in ("part", "feed", "option", "build")
        for row in rows(section(LISTS, level))
    }
    assert told == {(limit.level, limit.name) for limit in LIMITS}


def test_columns_are_those_of_the_screen_and_of_csv() -> None:
    told = rows(section(LISTS, "Columns"))
    screen = run("shortlist frost-post --draws 20 --width 120")
    (head,) = re.findall(r"^ *(#  part .*)$", screen, re.M)
    # what no shipped part states, and what a pack alone has that is charged again, is told all
    # the same
    sparse = {column.head for column in COLUMNS if column.head in SPARSE}
    heads = [row[0] for row in told if row[0]]
    assert sparse <= set(heads)
    shown = [name for name in heads if name not in sparse]
    seen = re.split(r"\s{2,}", head)
    assert seen[: len(shown)] == shown
    # behind them stands the scale of the marks, where there is room
    assert all(re.fullmatch(r"[0-9.]+", place) for place in seen[len(shown) :])
    header = next(csv.reader(io.StringIO(run("shortlist frost-post --draws 20 --format csv"))))
    beside = {"reason", "cautions", *(name for name in header if name.startswith("points "))}
    # columns of products that ask for them alone
    asked = {column.name for column in COLUMNS if column.asked is not None}
    assert asked >= {"rails", "charges", "days_without_service"}
    names = [name for name in (r[1].strip("`") for r in told) if name and name not in asked]
    assert [n for n in header if n not in beside] == names
    for name in ("points CRITERION", "reason", "cautions"):
        assert f"`{name}`" in section(LISTS, "Columns")
    assert all(row[2] for row in told)


def test_criteria_are_all_told() -> None:
    told = rows(section(LISTS, "Criteria"))
    assert [row[0].strip("`") for row in told] == [*CRITERIA, "own-figures.NAME"]
    assert all(all(row) for row in told)


def _product() -> Product:
    product = load("frost-post")[1]
    limit = replace(product.cost, unit_cost_limit=read_quantity("7", "money"))
    return replace(product, life_target=read_quantity("3 years", "time"), cost=limit)


@pytest.mark.parametrize("name", CRITERIA)
def test_anchors_are_what_their_words_say(name: str) -> None:
    """The words, reckoned out by hand, against the anchors of a product."""
    measure = CRITERIA[name]
    catalogue, _ = load("frost-post")
    product = _product()
    cell = catalogue.cells[product.supply_options.cells[0].cell or ""]
    poor, good = measure.anchors(product, cell)

    def amount(words: str) -> float:
        if words.endswith("× `life-target`"):
            return float(words.split()[0]) * 3 * 365.25 * 86400
        if words.endswith("× `cost.unit-cost-limit`"):
            return float(words.split()[0]) * 7
        if words.startswith("2 × (`cost.unit-cost-limit` + `cost.service-visit`"):
            # 10 years at 3 years a pack: three changes
            return 2 * (7 + 3 * 30)
        if words == "nominal energy of the first pack/`life-target`":
            return nominal_energy(product, cell) / (3 * 365.25)
        if re.fullmatch(r"[\d.]+", words):
            return float(words)
        return float(read_quantity(words, measure.dimension).nominal)

    low, _, high = measure.anchored.rpartition(" to ")
    assert poor == pytest.approx(amount(low), rel=1e-12)
    assert good == pytest.approx(amount(high), rel=1e-12)


def test_a_figure_of_the_user_has_no_anchors_of_its_own() -> None:
    own = measure_of("own-figures.finish")
    assert isinstance(own, Measure)
    assert all(isnan(x) for x in own.anchors(_product(), None))
    assert own.anchored.startswith("none")


def test_words_of_the_screens_name_keys_that_there_are() -> None:
    told = GLOSSARY.partition("## Words of the screens")
    keys = set(re.findall(r"^\| `(\w+)` \|", told[0], re.M))
    # a build's key holds its figures one by one
    assert {key for _, key, _ in WORDS} <= keys
    assert len(rows(section(GLOSSARY, "Words of the screens"))) == len(WORDS)
