"""Interviews: answers read by the schema, files that pass their checks, ways back and out."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.catalogue.fields import specification
from advisor.catalogue.load import load_product
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import OperatingPoint, Part
from advisor.catalogue.schema_product import Task
from advisor.catalogue.shipped import catalogue_folder, load
from advisor.faults import FaultError, FaultLog
from advisor.intake import ask_part, ask_product
from advisor.intake.forms import below
from advisor.intake.interview import Interview, Question, Table
from advisor.intake.listing import listed
from advisor.intake.start import new_catalogue
from advisor.quantities import Quantity
from advisor.source import read_text

TABLES = {"part": ask_part.TABLE, "product": ask_product.TABLE}


@cache
def shipped() -> Catalogue:
    return load("frost-post")[0]


@cache
def own() -> Catalogue:
    """The shipped cells and kernels, no parts."""
    return replace(shipped(), parts={})


def asked(interview: Interview) -> Question:
    question = interview.next()
    assert question is not None
    return question


def answered(
    table: Table, answers: dict[str, str], catalogue: Catalogue | None = None
) -> Interview:
    """An interview to its end: what is not answered takes its default or is skipped."""
    interview = Interview(table, catalogue or own())
    left = dict(answers)
    while (question := interview.next()) is not None:
        text = left.pop(question.key, None)
        if text is not None:
            interview.answer(question, text)
        elif question.default is not None:
            interview.take(question)
        else:
            interview.skip(question)
    assert left == {}
    return interview


PART = {"part": "one", "operating-points": "24 MHz"}
PRODUCT = {"product": "tag", "workload": "sample 10 s"}
LEAST = {"part": PART, "product": PRODUCT}


def read_part(text: str, catalogue: Catalogue | None = None) -> Part:
    log = FaultLog()
    part = ask_part.TABLE.read(read_text(text, "one.yaml"), "one", catalogue or own(), log)
    log.raise_if_any()
    assert isinstance(part, Part)
    return part


def test_a_part_stands_as_it_was_told() -> None:
    interview = answered(
        ask_part.TABLE,
        {
            **PART,
            "supply": "1.8 to 3.6 V",
            "operating-points": "fast 96 MHz, slow 24 MHz",
            "operating-points.fast.idle-current": "typ 0.9 mA max 1.2 mA",
            "sleep-states": "1.1 uA, clock-kept {25 degC: 0.4 uA, 60 degC: 2 uA}",
            "sleep-states.clock-kept.retains": "none",
            "kernels": "filter crc",
            "kernels.filter.fast": "1.61(1) ms, 2.9 mA",
            "kernels.crc.slow": "0.4 ms, -",
            "memory": "60 KiB, 10 KiB",
            "price": "EUR 1: 1.90, 1000: 1.10",
            "toolchain.setup": "3 h, 5 h, 16 h",
            "toolchain.maturity": "partial, compiler full",
            "features": "uart 2, adc-bits 12",
            "summary": "no: a #part",
        },
    )
    part = read_part(interview.finish())
    assert part.supply.min is not None
    assert part.supply.min.nominal == 1.8
    idle = part.operating_points["fast"].idle_current
    assert idle is not None
    assert idle.nominal == pytest.approx(0.9e-3, rel=1e-12)  # a rounding of the unit
    assert idle.kind == "lognormal"
    assert part.operating_points["slow"].idle_current is None  # skipped: absent, not zero
    clock_kept = part.sleep_states["clock-kept"]
    assert clock_kept.current is not None
    assert len(clock_kept.current.y) == 2
    assert clock_kept.retains == ()
    assert part.sleep_states["ram-kept"].retains == ("ram",)
    assert part.kernels["filter"]["fast"].evidence == ask_part.STATED
    assert part.kernels["filter"]["fast"].supply is not None
    assert part.kernels["crc"]["slow"].current is None
    assert "fast" not in part.kernels["crc"]
    assert part.price is not None
    assert part.price.breaks is not None
    assert {q: p.nominal for q, p in part.price.breaks.items()} == {1: 1.90, 1000: 1.10}
    assert part.toolchain.maturity is not None
    assert part.toolchain.maturity["compiler"].answer == "full"
    assert part.toolchain.maturity["errata"].answer == "partial"
    assert part.summary == "no: a #part"
    assert "kernels.filter.slow" in interview.skipped()
    assert interview.taken()["temperature"] == "-40 degC to 85 degC"


def test_a_product_stands_as_it_was_told() -> None:
    interview = answered(
        ask_product.TABLE,
        {
            **PRODUCT,
            "workload": "sample 10 s, report 1 h",
            "workload.sample.kernels": "filter 2",
            "workload.report.loads": "radio 26 mA for 60 ms asleep, pump 3 uC 2 ms, led 1.2 mW 1 s",
            "supply-options.cells": "lb-coin, 2 x alk-pen, 220 mAh at 3 V",
            "environment": "-10 degC 20 %, 20 degC 80 %",
            "standing-loads": "divider 0.8 uA",
            "supply-options.converters": "none, ldo-a",
            "rail": "2.5 V",
            "cost.unit-cost-limit": "9.00",
            "priorities": "battery-life 3, lifetime-cost 2",
            "cost.service-visit": "20.00",
            "cost.engineer-rate": "80 EUR/h",
            "cost.tools": "0",
        },
    )
    product = load_product(interview.finish().encode(), own())
    sample, report = product.workload
    assert isinstance(sample.every, Quantity)
    assert sample.every.nominal == 10
    assert sample.loads == ()
    radio, pump, led = report.loads
    assert radio.cpu == "asleep"
    assert radio.duration is not None
    assert radio.duration.nominal == pytest.approx(0.06, rel=1e-12)
    assert pump.current is None
    assert pump.charge is not None
    assert led.power is not None
    cells = product.supply_options.cells
    assert [(c.cell, c.series) for c in cells] == [("lb-coin", 1), ("alk-pen", 2), (None, 1)]
    assert [stay.share.nominal for stay in product.environment] == [0.2, 0.8]
    assert product.service_life is not None
    assert product.life_target is not None
    assert product.service_life.nominal == product.life_target.nominal
    assert product.needs.memory.flash is None


@pytest.mark.parametrize("kind", TABLES)
def test_every_reason_and_meaning_stands_in_the_file(kind: str) -> None:
    interview = answered(TABLES[kind], LEAST[kind])
    text = interview.finish()
    one_line = " ".join(line.strip().lstrip("# ") for line in text.splitlines())
    for key in interview.taken():
        question = next(q for q in interview.questions() if q.key == key)
        assert question.default is not None
        assert f"default: {question.default.reason}" in one_line, key
    # each key that stands has words behind it or above it, where it first comes
    key = "clock" if kind == "part" else "every"
    title = specification(OperatingPoint if kind == "part" else Task)[key].title
    assert title in one_line


# a pack is charged by somebody or by a harvest
ONE_OF = [("product", "harvest"), ("product", "recharge")]


@pytest.mark.parametrize(("kind", "but"), [("part", None), *ONE_OF])
def test_what_may_be_filled_in_can_be(kind: str, but: str | None) -> None:
    """Every line behind a # that is a key, uncommented at once, is read without a fault.

    `but` is one of two that exclude each other.
    """
    table = TABLES[kind]
    answers = dict(LEAST[kind])
    if kind == "part":
        answers |= {"sleep-states": "1.1 uA", "supply": "1.8 V, 3.6 V", "core.architecture": "rv32"}
        answers |= {"price": "1 EUR", "toolchain.setup": "3 h"}
    else:
        answers |= {"needs.memory": "16 KiB, 4 KiB"}
    text = answered(table, answers).finish()
    _, _, body = text.partition(f"{kind}: ")
    assert but is None or f"\n# {but}: " in body
    filled = re.sub(rf"^( *)# (?!{but}:)([a-z-]+: )", r"\1\2", body, flags=re.M)
    rows = filled.splitlines(keepends=True)
    filled = "".join(row for row in rows if not row.lstrip().startswith("default:"))
    count = len(re.findall(r"^ *# [a-z-]+: ", body, re.M))
    assert count > 10
    log = FaultLog()
    catalogue = own() if kind == "part" else shipped()
    table.read(read_text(f"{kind}: {filled}", "x"), answers[kind], catalogue, log)
    # an example of a feature or block that no part has is a matter of names
    # and a rail waits for the load that is to stand on it, a charge for a cell that takes it
    waits = ("a load that stands on it", "a pack of rechargeable cells among supply-options.cells")
    left = [f for f in log.faults if not f.unknown and "in USD" not in f.read]
    assert [f.text() for f in left if f.expected not in waits] == []


def alternatives(question: Question) -> list[str]:
    return question.example.split(", or ")


@pytest.mark.parametrize("kind", TABLES)
@pytest.mark.parametrize("which", [0, -1])
def test_every_example_is_an_answer(kind: str, which: int) -> None:
    interview = Interview(TABLES[kind], own())
    count = 0
    while (question := interview.next()) is not None:
        interview.answer(question, alternatives(question)[which])
        count += 1
    assert count >= 20
    text = interview.finish()
    if kind == "part":
        read_part(text)
    else:
        load_product(text.encode(), own())


@pytest.mark.parametrize("kind", TABLES)
def test_defaults_say_where_they_are_from(kind: str) -> None:
    """No figure of the trade without its mark."""
    for row in listed(TABLES[kind], own()):
        if row.default is not None and re.search(r"[0-9]", row.default):
            assert row.reason is not None
            assert "no source" in row.reason or "from memory" in row.reason, row.key


WRONG = [
    ("part", "One!", "part: lower-case letters"),
    ("supply", "1.8 V to 3.6 A", "expected a voltage"),
    ("supply", "3.6 V to 1.8 V", "a range whose lower end is not above its upper end"),
    ("supply", "1 V, 2 V, 3 V", "min and max: a value each"),
    ("operating-points", "24", "such as 24 MHz"),
    ("operating-points", "fast 1 MHz, fast 2 MHz", '"fast twice"'),
    ("operating-points", "\x1b[A", "the control character U+001B"),
    ("operating-points", "{run: {clock: [}}", "YAML"),
    ("operating-points", "x" * 1001, "at most 1000"),
    ("operating-points.run.idle-current", "-1 mA", "not below zero"),
    ("sleep-states", "&a 1 uA", "expected"),
    ("kernels", "filtre", "nearest valid: filter"),
    ("price", "1.10", "a price and its currency"),
    ("price", "EUR 1: 1, 1: 2", "each quantity once"),
    ("toolchain.setup", "1 h, 2 h", "one value, or"),
    ("toolchain.setup", "16 h, 5 h, 3 h", "in ascending order"),
    ("toolchain.maturity", "compilr full", "nearest valid: compiler"),
    ("evidence", "guess", "one of bench"),
]


@pytest.mark.parametrize(("key", "text", "words"), WRONG)
def test_a_wrong_answer_is_refused_at_its_question_and_changes_nothing(
    key: str, text: str, words: str
) -> None:
    interview = Interview(ask_part.TABLE, own())
    while (question := asked(interview)).key != key:
        if question.key in PART:
            interview.answer(question, PART[question.key])
        elif question.key == "sleep-states":
            interview.answer(question, "1 uA")
        elif question.default is not None:
            interview.take(question)
        else:
            interview.skip(question)
    before = interview.given and interview.document(), dict(interview.given)
    with pytest.raises(FaultError, match=re.escape(words)) as error:
        interview.answer(question, text)
    assert (interview.given and interview.document(), interview.given) == before
    assert asked(interview).key == key
    assert all(len(fault.text()) < 800 for fault in error.value.faults)


def test_back_forgets_the_last_answer_and_what_follows_from_it() -> None:
    interview = Interview(ask_part.TABLE, own())
    assert not interview.back()
    for text in ("one", "1.8 V, 3.6 V", "fast 96 MHz"):
        interview.answer(asked(interview), text)
    interview.answer(asked(interview), "0.9 mA")
    assert interview.back()
    assert asked(interview).key == "operating-points.fast.idle-current"
    assert interview.back()
    interview.answer(asked(interview), "slow 24 MHz")
    assert asked(interview).key == "operating-points.slow.idle-current"
    assert interview.back(keep={"operating-points", "supply"})
    assert asked(interview).key == "part"


def test_done_asks_for_what_must_be_known_only() -> None:
    interview = Interview(ask_product.TABLE, own())
    question = interview.done()
    assert question is not None
    assert question.key == "product"
    with pytest.raises(FaultError, match="nothing can be made without it"):
        interview.skip(question)
    interview.answer(question, "tag")
    question = interview.done()
    assert question is not None
    interview.answer(question, "10 s")
    assert interview.done() is None
    assert load_product(interview.finish().encode(), own()).workload[0].task == "work"


def test_what_the_whole_file_lacks_is_asked_again() -> None:
    """A service life that was skipped is needed once lifetime cost is weighed."""
    interview = Interview(ask_product.TABLE, own())
    costs = {"cost.service-visit": "20", "cost.engineer-rate": "80 EUR/h", "cost.tools": "0"}
    weighed = {"priorities": "lifetime-cost 1", "cost.unit-cost-limit": "9"}
    answers = {**PRODUCT, **costs, **weighed}
    while (question := interview.next()) is not None:
        if question.key in answers:
            interview.answer(question, answers[question.key])
        elif question.key == "service-life" or question.default is None:
            interview.skip(question)
        else:
            interview.take(question)
    with pytest.raises(FaultError, match="service-life: read nothing"):
        interview.finish()
    assert interview.refused == {"service-life"}
    assert asked(interview).key == "service-life"
    with pytest.raises(FaultError, match="nothing can be made without it"):
        interview.skip(asked(interview))
    interview.answer(asked(interview), "6 years")
    assert load_product(interview.finish().encode(), own()).service_life is not None


def test_a_weight_without_its_anchors_is_refused_at_once() -> None:
    interview = Interview(ask_product.TABLE, own())
    while (question := asked(interview)).key != "priorities":
        if question.key in PRODUCT:
            interview.answer(question, PRODUCT[question.key])
        elif question.key == "life-target" or question.default is None:
            interview.skip(question)
        else:
            interview.take(question)
    assert question.default is None or "battery-life" not in question.default.text
    with pytest.raises(FaultError, match="anchors missing"):
        interview.answer(question, "battery-life 1")
    interview.answer(question, "battery-life {weight: 1, poor: 1 year, good: 3 years}")


def test_kernels_of_another_version_are_told_as_such() -> None:
    kernels = dict(own().kernels)
    kernels["filter"] = replace(kernels["filter"], version=3)
    catalogue = replace(own(), kernels=kernels)
    answers = {**PART, "kernels": "filter", "kernels.filter.run": "1 ms, 2 mA"}
    text = answered(ask_part.TABLE, answers, catalogue).finish()
    assert read_part(text, catalogue).kernels["filter"]["run"].version == 3


def test_prices_in_other_currencies_ask_for_their_rates() -> None:
    """The shipped parts cost EUR and USD."""
    interview = Interview(ask_product.TABLE, shipped())
    keys = []
    while (question := interview.next()) is not None:
        keys.append(question.key)
        if question.key in PRODUCT:
            interview.answer(question, PRODUCT[question.key])
        elif question.key == "cost.currency":
            assert question.default is None
            interview.answer(question, "EUR")
        elif question.key == "cost.rates.USD":
            interview.answer(question, "0.92")
        elif question.default is not None:
            interview.take(question)
        else:
            interview.skip(question)
    assert "cost.rates.USD" in keys
    assert load_product(interview.finish().encode(), shipped()).cost.rates["USD"].nominal == 0.92


@pytest.mark.once
@pytest.mark.parametrize("kind", TABLES)
@settings(max_examples=15)
@given(text=st.text(max_size=30) | st.text("[]{}:,#&*!|>'\"%@`- 0a~\n\u2028", max_size=12))
def test_no_text_breaks_a_question(kind: str, text: str) -> None:
    """Every kind of form is tried with it; what is taken reads back."""
    interview = Interview(TABLES[kind], own())
    interview.answer(asked(interview), "tag" if kind == "product" else "one")
    while (question := interview.next()) is not None:
        try:
            interview.answer(question, text)
        except FaultError:
            if question.default is not None:
                interview.take(question)
            elif question.needed or question.key in ("sleep-states", "kernels"):
                interview.answer(question, alternatives(question)[0])
            else:
                interview.skip(question)
    interview.finish()


WORDS = st.sampled_from(
    [
        *("10 s", "sample 10 s, report 1 h", "24 MHz", "1.8 V, 3.6 V", "1 uA", "0.9 mA", "filter"),
        *("none", "ram", "[ram, rtc]", "{}", "5 years", "lb-coin", "EUR", "1.10 EUR", "20 degC"),
        *("battery-life 3", "lifetime-cost 1", "one", "tag", "-", "", "#", "a: b", "{a: b}", "~"),
        *("full", "active", "1 h, 2 h, 3 h", "64 KiB", "uart 1", "ldo-a", "1000", "0", "2.5 V"),
    ]
)
ACTIONS = st.tuples(st.sampled_from(["answer", "answer", "enter", "skip", "back"]), WORDS)


@pytest.mark.parametrize("kind", TABLES)
@settings(max_examples=25)
@given(actions=st.lists(ACTIONS, max_size=40))
def test_whatever_is_typed_the_file_passes_its_check_or_tells_why_not(
    kind: str, actions: list[tuple[str, str]]
) -> None:
    interview = Interview(TABLES[kind], own())
    interview.answer(asked(interview), "tag" if kind == "product" else "one")
    for action, text in actions:
        question = interview.next()
        if question is None:
            break
        try:
            if action == "answer":
                interview.answer(question, text)
            elif action == "skip":
                interview.skip(question)
            elif action == "back":
                interview.back()
            elif question.default is not None:
                interview.take(question)
        except FaultError:
            assert interview.next() is not None
    interview.document(assume=True)
    if interview.next() is not None and interview.done() is not None:
        return
    try:
        text = interview.finish()
    except FaultError:
        return
    log = FaultLog()
    TABLES[kind].read(read_text(text, "x"), interview.identity, own(), log)
    assert log.faults == []


def test_a_new_catalogue_has_the_kernels_of_the_bench_and_no_parts() -> None:
    files = new_catalogue()
    assert set(files) == {"kernels.yaml", "parts/", "cells/", "converters/", "addons/"}
    examples = new_catalogue(examples=True)
    shipped_files = {p.name for p in (catalogue_folder() / "cells").glob("*.yaml")}
    copied = {name.removeprefix("cells/") for name in examples if name.startswith("cells/")}
    assert copied - {""} == shipped_files
    assert all(b"invented: true" in data for name, data in examples.items() if "/" in name and data)


def test_names_below_keys_come_once_and_in_order() -> None:
    filled = {("a", "x", "p"): "1", ("a", "y"): "2", ("a", "x", "q"): "3", ("b",): "4"}
    assert list(below(filled, ("a",))) == ["x", "y"]
