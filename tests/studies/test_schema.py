"""The keys of the files and their JSON Schema, against the files, the reader and the standard."""

from __future__ import annotations

import dataclasses
import datetime
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker

from advisor.catalogue import (
    schema_bench,
    schema_parts,
    schema_product,
    schema_record,
    schema_supply,
)
from advisor.catalogue.fields import specification
from advisor.cli.main import call
from advisor.dimensions import DIMENSIONS
from advisor.faults import FaultError
from advisor.grammar import Sign
from advisor.quantities import QuantityError, read_quantity, text_pattern
from advisor.studies.schema import KINDS, schema

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = {"parts": "part", "cells": "cell", "converters": "converter", "addons": "addon"}


def shipped() -> list[tuple[str, Path]]:
    """(kind, file) of everything that is shipped."""
    found = [
        (kind, path)
        for folder, kind in FOLDERS.items()
        for path in sorted((ROOT / "catalog" / folder).glob("*.yaml"))
    ]
    found += [("product", path) for path in sorted((ROOT / "profiles").glob("*.yaml"))]
    for path in sorted((ROOT / "profiles").glob("*/*.yaml")):
        found.append(("family" if path.stem == path.parent.name else "product", path))
    found.append(("notes", ROOT / "advisor" / "bench" / "pack" / "notes.yaml"))
    return [*found, ("kernels", ROOT / "catalog" / "kernels.yaml")]


def as_json(value: Any) -> Any:
    """What an editor's YAML reader gives: keys are text, dates too."""
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if isinstance(value, list):
        return [as_json(v) for v in value]
    return value.isoformat() if isinstance(value, datetime.date) else value


def validator(kind: str) -> Draft202012Validator:
    return Draft202012Validator(schema(kind).document, format_checker=FormatChecker())


@pytest.mark.parametrize("kind", KINDS)
def test_is_a_schema_of_the_draft(kind: str) -> None:
    """Against the metaschema that json-schema.org publishes for draft 2020-12."""
    document = schema(kind).document
    assert document["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(document)
    text = json.dumps(document)
    targets = set(re.findall(r'"#/\$defs/([^"]+)"', text))
    assert targets == set(document["$defs"]), "every definition is used, every reference defined"


@pytest.mark.parametrize("kind", KINDS)
def test_patterns_mean_the_same_to_ecma_262(kind: str) -> None:
    """With the flag u it takes no escape of what is no syntax character (ECMA-262, 22.2.1)."""
    for pattern in patterns(schema(kind).document):
        re.compile(pattern)
        escaped = {pair[1] for pair in re.findall(r"\\.", pattern)}
        assert escaped <= set("^$\\.*+?()[]{}|/sS"), pattern
        assert "(?P" not in pattern


def patterns(schema: Any) -> Iterator[str]:
    """Every regular expression of a schema."""
    if isinstance(schema, dict):
        for name, inside in schema.items():
            if name == "pattern" and isinstance(inside, str):
                yield inside
            elif name == "patternProperties":
                yield from inside
            yield from patterns(inside)
    elif isinstance(schema, list):
        for one in schema:
            yield from patterns(one)


def test_shipped_files_are_valid() -> None:
    files = shipped()
    # a record and a log are made, not shipped: their own tests hold them against their schemas
    # a project's file is each project's own
    # a meter's file bears an id: one that is shipped would be shared by strangers' benches
    own = {"record", "family-record", "instrument", "hours", "map", "project"}
    assert {kind for kind, _ in files} == set(KINDS) - own
    checks = {kind: validator(kind) for kind in KINDS}
    for kind, path in files:
        document = as_json(yaml.safe_load(path.read_text("utf-8")))
        faults = [f"{e.json_path}: {e.message}" for e in checks[kind].iter_errors(document)]
        assert faults == [], path.name


PART = {"part": "a"}
PRODUCT = {"product": "a"}


@pytest.mark.parametrize(
    ("kind", "document"),
    [
        ("part", {}),
        ("part", {"part": "Not An Id"}),
        ("part", {**PART, "sleeps": {}}),
        ("part", {**PART, "lifecycle": "retired"}),
        ("part", {**PART, "memory": {"flash": "64"}}),
        ("part", {**PART, "memory": {"flash": "64 mA"}}),
        ("part", {**PART, "memory": {"flash": 64}}),
        ("part", {**PART, "memory": {"flash": {"typical": "64 KiB"}}}),
        ("part", {**PART, "memory": {"flash": {"typical": "64(1) KiB", "max": "65 KiB"}}}),
        ("part", {**PART, "memory": {"flash": "64(1) KiB"}}),
        ("part", {**PART, "memory": {"flash": {"low": "1 B", "likely": "2 B", "high": "9 B"}}}),
        ("part", {**PART, "blocks": {"x": {"current": "-1 mA"}}}),
        ("part", {**PART, "kernels": {"k": {"p": {"time": "0 s"}}}}),
        ("part", {**PART, "summary": None}),
        ("part", {**PART, "evidence": {"b": {"date": "2026-04-31"}}}),
        ("part", {**PART, "sleep-states": {"x": {"current": {"25": "1 µA"}}}}),
        ("part", {**PART, "sleep-states": {"x": {"current": {}}}}),
        ("part", {**PART, "price": {"breaks": {"0": 1.0}}}),
        ("part", {**PART, "price": {"multiple": 0}}),
        ("part", {**PART, "extras": [{"price": 1}]}),
        ("part", {**PART, "toolchain": {"maturity": {"colour": "full"}}}),
        ("part", {**PART, "toolchain": {"maturity": {"kit": "fully"}}}),
        ("part", {**PART, "evidence": {"b": {"date": "2026-02-30"}}}),
        ("cell", {"cell": "a", "rechargeable": "perhaps"}),
        ("cell", {"cell": "a", "temperature": {"20 degC": {"capacity": 1.2}}}),
        ("cell", {"cell": "a", "voltage-curve": {"1.5": "3 V", "x": "2 V"}}),
        ("converter", {"converter": "a", "efficiency": 0.9}),
        ("kernels", {"hash": {"stresses": "nerves"}}),
        ("product", {**PRODUCT, "workload": [{"every": "60 s"}]}),
        ("product", {**PRODUCT, "environment": [{"at": "20 degC", "share": 1.2}]}),
        ("product", {**PRODUCT, "priorities": {"beauty": {"weight": 1}}}),
        ("product", {**PRODUCT, "priorities": {"battery-life": {"poor": 3}}}),
        ("product", {**PRODUCT, "cost": {"engineer-rate": "80 EUR"}}),
    ],
)
def test_wrong_documents_are_refused(kind: str, document: dict[str, Any]) -> None:
    assert not validator(kind).is_valid(document)


@pytest.mark.parametrize(
    ("kind", "document"),
    [
        (
            "part",
            {**PART, "blocks": {"x": {"for": {"low": "1 s", "likely": "2 s", "high": "9 s"}}}},
        ),
        ("part", {**PART, "sleep-states": {"x": {"current": "1 µA", "adds": {"ram-kib": "4 nA"}}}}),
        ("part", {**PART, "toolchain": {"maturity": {"kit": {"answer": "full"}}}}),
        ("part", {**PART, "own-figures": {"radiation-score": -3}}),
        ("part", {**PART, "kernels": {"k": {"p": {"time": "386(1.0) us"}}}}),
        ("part", {**PART, "memory": {"flash": "64 ± 0 KiB"}, "invented": "true"}),
        ("part", {**PART, "price": {"multiple": "5", "breaks": {"007": "1.5"}}}),
        ("cell", {"cell": "a", "voltage-curve": "3.0 V"}),
        ("product", {**PRODUCT, "priorities": {"own-figures.radiation-score": {"poor": -1}}}),
        ("product", {**PRODUCT, "cost": {"engineer-rate": "80(5) EUR/h"}}),
    ],
)
def test_right_documents_are_taken(kind: str, document: dict[str, Any]) -> None:
    assert validator(kind).is_valid(document)


NUMBERS = st.sampled_from(["1", "8.1", "0.25", ".5", "120.", "1e3", "2.5e-6", "+4"])
NOTATIONS = st.sampled_from(
    [
        *("{n} {u}", "{n}{u}", "{n}(2) {u}", "{n} ± 0.2 {u}", "{n} +/- 0.2 {u}", "{n} {u} ± 2 %"),
        *("{n} ± 0.2 {u} (k=2)", "{n} {u} ± 0.1 {u}", "{n} {u} ± 0.1 {u} (k=1.96)", "({n}) {u}"),
        *("{n}(1.0) {u}", "{n}(0) {u}", " {n} {u}  ", "{n} ± 0 {u}", "{n} ± -0.2 {u}"),
        *("{n}e100 {u}", "{n} {u} 2", "about {n} {u}", "{n},5 {u}", "{n} ± {u}", "{n} {u} (k=2)"),
        "{n}",
    ]
)
WRITTEN_OTHERWISE = ("uA", "μA", "EUR/h", "us", "kg/s")
UNITS = st.sampled_from(
    [*sorted({u for d in DIMENSIONS.values() for u in d.units}), *WRITTEN_OTHERWISE]
)


@given(st.sampled_from(sorted(DIMENSIONS)), NUMBERS, NOTATIONS, UNITS)
def test_pattern_takes_what_the_reader_takes(
    dimension: str, number: str, notation: str, unit: str
) -> None:
    """The two are written apart: the pattern for editors, the reader for the tool."""
    text = notation.format(n=number, u=unit).strip()
    try:
        read = read_quantity(text, dimension)
    except QuantityError:
        taken = exact = False
    else:
        taken, exact = True, read.kind == "exact"
    assert bool(re.search(text_pattern(dimension), text)) == taken, text
    plain = bool(re.search(text_pattern(dimension, spread=False), text))
    assert plain == exact, text


@pytest.mark.parametrize(
    ("sign", "texts"),
    [
        ("any", ["-40 mA", "\N{MINUS SIGN}40 mA", "0 mA", "-0.5e1 mA"]),
        ("not-negative", ["0 mA", "-0.00 mA", "+0.5 mA", "\N{MINUS SIGN}.0 mA", "-0(1)e3 mA"]),
        ("positive", ["0.001 mA", "+1 mA", ".5 mA", "10 mA"]),
    ],
)
def test_pattern_by_sign(sign: Sign, texts: list[str]) -> None:
    pattern = text_pattern("current", sign)
    assert all(re.search(pattern, text) for text in texts)
    wrong = {"not-negative": ["-40 mA", "-0.05 mA"], "positive": ["0 mA", "-1 mA", "0.0(1) mA"]}
    assert not any(re.search(pattern, text) for text in wrong.get(sign, []))


def records() -> Iterator[type[Any]]:
    """Every record that the schema modules declare, found by looking."""
    for module in (schema_bench, schema_parts, schema_supply, schema_product, schema_record):
        for value in vars(module).values():
            if isinstance(value, type) and dataclasses.is_dataclass(value) and specification(value):
                yield value


def test_every_declared_key_is_listed() -> None:
    titles: dict[str, set[str]] = {}
    for kind in KINDS:
        for row in schema(kind).keys:
            titles.setdefault(row.path.rpartition(".")[2], set()).add(row.title)
    found = list(records())
    assert len(found) > 25
    for cls in found:
        for name, declared in specification(cls).items():
            assert declared.title in titles[name], f"{cls.__name__}: {name}"


def test_units_defaults_and_marks() -> None:
    rows = {row.path: row for row in schema("part").keys}
    assert rows["part"].required
    sleep = rows["sleep-states.<sleep state>.current"]
    assert (sleep.unit, sleep.default, sleep.required) == ("A", None, False)
    assert rows["price.multiple"].default == "1"
    assert rows["core.cores"].informational
    assert not rows["memory.ram"].informational
    own = schema("product").document["properties"]
    assert own["priorities"]["properties"]["bring-up"]["properties"]["poor"]["x-unit"] == "s"
    assert own["summary"]["x-informational"] is True
    assert own["add-ons"]["default"] == "allowed"


def test_unknown_kind_names_the_nearest() -> None:
    with pytest.raises(FaultError) as caught:
        schema("convertor")
    assert caught.value.faults[0].nearest == "converter"


@pytest.mark.parametrize("kind", KINDS)
def test_command(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(["schema", kind, "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out) == schema(kind).document
    assert call(["schema", kind, "--width", "60"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert all(row.path in shown for row in schema(kind).keys)
    assert call(["schema", kind, "--format", "csv"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(schema(kind).keys) + 1


def test_command_names_every_kind(capsys: pytest.CaptureFixture[str]) -> None:
    assert call(["schema", "--help"]) == 0
    shown = capsys.readouterr().out
    assert all(kind in shown for kind in KINDS)


def test_wrong_call(capsys: pytest.CaptureFixture[str]) -> None:
    assert call(["schema", "parts"]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert "nearest valid: part" in seen.err
