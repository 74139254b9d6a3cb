"""The reader and the printed schema take the same texts, kind by kind and record by record."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Mapping
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.exceptions import ValidationError
from jsonschema.validators import extend
from yaml.nodes import MappingNode, Node, ScalarNode

from advisor.catalogue import kinds
from advisor.catalogue.criteria import CRITERIA, OWN
from advisor.catalogue.currency import Currency
from advisor.catalogue.curves import CurveOf, TableOf
from advisor.catalogue.definitions import Definitions
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Kind, Reading
from advisor.catalogue.schema_bench import Unit
from advisor.catalogue.schema_life import WHOLE
from advisor.catalogue.schema_map import Column, ColumnKind
from advisor.catalogue.schema_parts import ANSWERS, Answer, AnswerKind
from advisor.catalogue.schema_product import PrioritiesKind, PriorityKind
from advisor.catalogue.schema_supply import AtTemperature, TemperatureTableKind
from advisor.faults import FaultLog
from advisor.quantities import spellings
from advisor.source import read_text
from advisor.studies.schema import KINDS

# What a schema cannot say, by the reader's words for it. Here it may take what the reader refuses;
# never the other way round.
ONE_WAY: Mapping[str, str] = {
    "a file that is named is read with the product": "a text file of hours",
    # they hold in SI; that a figure is not below zero, or above it, shows in its text
    "a bound behind a unit": r", (at most|not below -)",
    "several figures in order": r"^typical |in ascending order",
    "one place or name, spelled in two ways": r"each (place of a curve|key|temperature) once",
    "entries of one name": r"each entry named once",
    "entries that share the whole": WHOLE,
    "a half-width against its value": r"with both numbers in % or neither",
    "an uncertainty against the least that a figure can be": r"reach below ",
}
# And two things that are lost before a schema sees anything: a key that stands twice, and how a
# number or truth value without quotes was spelled (`True` and `true`, `0x10`, `5.0` and `5`).


# --- texts


@dataclasses.dataclass(frozen=True)
class Word:
    """A scalar, in quotes or not."""

    text: str
    quoted: bool = False


class Pairs(list[tuple[str, Any]]):
    """A mapping as its pairs, so that a key may stand twice."""


# what needs no quotes inside braces and brackets
_PLAIN = re.compile(r"[A-Za-z0-9.+~±µ(-](?:[A-Za-z0-9 .±%/+µ()~_-]*[A-Za-z0-9.±%/+µ()~_-])?\Z")


def flow(tree: Any) -> str:
    """A tree as YAML in one line."""
    if isinstance(tree, Word):
        bare = not tree.quoted and _PLAIN.match(tree.text) and not re.match(r"-( |\Z)", tree.text)
        return tree.text if bare else json.dumps(tree.text)
    if isinstance(tree, Pairs):
        return "{" + ", ".join(f"{json.dumps(k)}: {flow(v)}" for k, v in tree) + "}"
    return "[" + ", ".join(map(flow, tree)) + "]"


_CORE_INT = re.compile(r"[-+]?[0-9]+\Z")
_CORE_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")
_CORE_WORDS = {
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys(("null", "Null", "NULL", "~", ""), None),
}


def as_json(node: Node) -> Any:
    """A document as an editor sees it: plain scalars by YAML 1.2's core schema (10.3.2)."""
    if isinstance(node, MappingNode):
        return {k.value: as_json(v) for k, v in node.value}
    if not isinstance(node, ScalarNode):
        return [as_json(item) for item in node.value]
    text = node.value
    if node.style:
        return text
    if text in _CORE_WORDS:
        return _CORE_WORDS[text]
    if _CORE_INT.match(text):
        return int(text)
    if re.match(r"0o[0-7]+\Z|0x[0-9a-fA-F]+\Z", text):
        return int(text, 0)
    return float(text) if _CORE_FLOAT.match(text) else text


def scalars(node: Node) -> list[ScalarNode]:
    """Every scalar of a document that is no key."""
    if isinstance(node, ScalarNode):
        return [node]
    inside = [v for _, v in node.value] if isinstance(node, MappingNode) else node.value
    return [found for one in inside for found in scalars(one)]


def has_double(node: Node) -> bool:
    """Whether a key of a mapping stands twice."""
    if isinstance(node, ScalarNode):
        return False
    if not isinstance(node, MappingNode):
        return any(map(has_double, node.value))
    keys = [k.value for k, _ in node.value]
    return len(set(keys)) < len(keys) or any(has_double(v) for _, v in node.value)


# --- what may stand behind a key, mostly right


NUMBERS = st.sampled_from(
    [
        *("1", "0", "-1", "+4", "0.25", ".5", "120.", "386", "1e3", "2.5e-6", "007", "5.0", "0x10"),
        *("-0", "0.00", "1e-300", "1e99", "-0.0e5", "\N{MINUS SIGN}3", "1000000000000", "12e007"),
    ]
)
SPREADS = st.sampled_from(
    [
        *(["{n} {u}"] * 4),
        *("{n}{u}", "{n}(1.0) {u}", "{n}(2) {u}", "{n}(0) {u}", "{n} ± 0.2 {u}", "{n} +/- 2 {u}"),
        *("{n} {u} ± 2 %", "{n} ± 0.2 {u} (k=2)", "{n} {u} ± 0.1 {u}", "{n} ± 0 {u}", "{n}"),
        *("{n} ± 0.2 {u} (k=0.0)", "{n}(2)e3 {u}", "{n} {u} (k=2)", "{n} {u} ± 1", "{n} ± -0 {u}"),
        " {n} {u} ",
    ]
)
SEVERAL = st.sampled_from(
    [("typical", "max"), ("low", "likely", "high"), ("typical",), ("max", "typical")]
)
NAMES = st.sampled_from(["a", "x-1", "own-figures.x", "17", "1e5", "null", "typical", "Ähre", ""])

CODES = st.sampled_from(["EUR", "CHF", "YES", "eur", "EURO", "€", ""])


@cache
def figures(dimension: str) -> st.SearchStrategy[str]:
    units = [*spellings(dimension), "", "%"]
    if dimension == "money-rate":
        units = ["EUR/h", "EUR / day", "eur/h", "EUR/week"]
    units += [unit.replace("/", " / ") for unit in units if "/" in unit] + ["kA", "m A"]
    return st.builds(
        lambda form, n, u: form.format(n=n, u=u), SPREADS, NUMBERS, st.sampled_from(units)
    )


def words(texts: st.SearchStrategy[str]) -> st.SearchStrategy[Any]:
    return st.builds(Word, texts, st.booleans())


def mapping(
    keys: st.SearchStrategy[str], values: st.SearchStrategy[Any]
) -> st.SearchStrategy[Pairs]:
    return st.lists(st.tuples(keys, values), max_size=3).map(Pairs)


@st.composite
def record(draw: st.DrawFn, cls: type[Any]) -> Pairs:
    spec = specification(cls)
    chosen = draw(st.sets(st.sampled_from(sorted(spec)), max_size=4))
    names = [n for n, d in spec.items() if n in chosen or (d.required and draw(NEARLY_ALWAYS))]
    return Pairs((name, draw(trees(spec[name].kind))) for name in names)


NEARLY_ALWAYS = st.integers(0, 19).map(bool)


def own(kind: Kind) -> st.SearchStrategy[Any]:
    """Texts of a kind, mostly right."""
    match kind:
        case kinds.Figure():
            one = words(figures(kind.dimension))
            several = SEVERAL.flatmap(
                lambda names: st.lists(one, min_size=len(names), max_size=len(names)).map(
                    lambda values: Pairs(zip(names, values, strict=True))
                )
            )
            return one | one | several
        case CurveOf():
            return trees(kind.y) | mapping(figures(kind.x.dimension), trees(kind.y))
        case kinds.Choice():
            return words(st.sampled_from(kind.options))
        case kinds.Flag():
            return words(st.sampled_from(["true", "false", "True", "yes", "1"]))
        case Unit():
            return words(st.sampled_from([*kind.spellings(), "kg", "Ms"]))
        case kinds.Day():
            return words(st.dates().map(str) | st.sampled_from(["2026-02-30", "2026-W11-3"]))
        case kinds.Clock():
            return words(st.sampled_from(["09:30", "24:00", "24:01", "9:30", "23:60", "00:00"]))
        case Currency():
            return words(CODES)
        case kinds.Whole():
            return words(NUMBERS | st.integers(-3, 10**13).map(str))
        case kinds.Identity() | kinds.Text():
            return words(NAMES | st.sampled_from(["a b", "true", "~", "-a", "0o7", "1.5", "ab\n"]))
        case Record():
            return record(kind.cls)
        case Either():
            return trees(kind.plain) | trees(kind.record)
        case ListOf():
            return st.lists(trees(kind.kind), max_size=3)
        case MapOf():
            keys = NUMBERS if kind.whole_keys else CODES if kind.currencies else NAMES
            return mapping(st.sampled_from(kind.keys) if kind.keys else keys, trees(kind.kind))
        case AnswerKind():
            said = st.sampled_from(["", ", a word", " ,", "; no", ",\nmore"])
            return words(st.tuples(st.sampled_from([*ANSWERS, "fully"]), said).map("".join)) | (
                record(Answer)
            )
        case ColumnKind():
            return words(NAMES) | record(Column)
        case TemperatureTableKind():
            return mapping(figures("temperature"), record(AtTemperature))
        case TableOf():
            return mapping(figures(kind.x.dimension), trees(kind.kind))
        case PriorityKind():
            values = trees(kind.anchor) | trees(kinds.Figure("count"))
            return mapping(st.sampled_from(["weight", "poor", "good", "best"]), values)
        case PrioritiesKind():
            names = [*CRITERIA, OWN, OWN + "x"]
            return st.sampled_from(names).flatmap(
                lambda n: trees(kind.below(n) or kinds.Text()).map(lambda v: Pairs([(n, v)]))
            )
    raise TypeError(f"no texts for {type(kind).__name__}")


JUNK = st.one_of(
    words(st.text(st.sampled_from("0123456789.eE+-± µmAVs%/()k=,ntrul~"), max_size=8)),
    st.sampled_from([Pairs(), [], Word("", True), Word("null"), Pairs([("a", Word("1"))])]),
)


def trees(kind: Kind) -> st.SearchStrategy[Any]:
    """Texts of a kind, some of them spoiled."""
    good = own(kind)
    return st.integers(0, 15).flatmap(lambda i: JUNK if i == 0 else good.map(spoiled(i)))


def spoiled(how: int) -> Any:
    """One character of a scalar taken out, doubled or put last, or none."""

    def spoil(tree: Any) -> Any:
        if not isinstance(tree, Word) or how > 3 or not tree.text:
            return tree
        at, text = how % len(tree.text), tree.text
        edits = {1: text[:at] + text[at + 1 :], 2: text[:at] + text[at] + text[at:], 3: text + "0"}
        return Word(edits[how], tree.quoted)

    return spoil


# --- the two readers


def _pattern(validator: Any, pattern: str, instance: Any, schema: Any) -> Any:
    """As ECMA-262 has it: `$` is the end, not the line feed before it."""
    ours = re.sub(r"\$(?=\)|\Z)", r"\\Z", pattern)
    if isinstance(instance, str) and not re.search(ours, instance):
        yield ValidationError(f"{instance!r} does not match {pattern!r}")


_Validator: Any = extend(Draft202012Validator, {"pattern": _pattern})


@cache
def validator(kind: Any) -> Any:
    """Of a kind, made once."""
    shared = Definitions()
    fragment = kind.schema(shared)
    return _Validator({**fragment, "$defs": shared.found}, format_checker=FormatChecker())


def check(kind: Any, text: str) -> None:
    """The two agree on a text, or the reader's words say what a schema cannot."""
    root = read_text(text, "x.yaml").root
    log = FaultLog()
    value = kind.read(root, "", Reading("x.yaml", "x", log))
    # entries that share the whole go on to the rules whatever their sum, which is told
    assert (value is None) == any(fault.expected != WHOLE for fault in log.faults)
    if has_double(root):
        assert log.faults, text
        return
    refused = [e.message for e in validator(kind).iter_errors(as_json(root))]
    if value is not None:
        assert refused == [], text
    elif not refused:
        spelled = {f'"{n.value}"' for n in scalars(root) if not n.style and as_json(n) != n.value}
        for fault in log.faults:
            named = any(re.search(words, fault.expected) for words in ONE_WAY.values())
            assert named or fault.read in spelled, f"{text}: {fault.text()}"


def leaves() -> list[Kind]:
    """Every kind that stands behind a key of the files, each once, with what is below it."""
    found: dict[str, Kind] = {}

    def visit(kind: Kind) -> None:
        name = re.sub(" object at .*", "", repr(kind))
        if name in found:
            return
        found[name] = kind
        inside: list[Kind] = []
        match kind:
            case Record():
                inside = [d.kind for d in specification(kind.cls).values()]
            case ListOf() | MapOf():
                inside = [kind.kind]
            case Either():
                inside = [kind.plain, kind.record]
            case CurveOf():
                inside = [kind.x, kind.y]
            case AnswerKind():
                inside = [Record(Answer)]
            case ColumnKind():
                inside = [Record(Column)]
            case TemperatureTableKind():
                inside = [Record(AtTemperature)]
            case PrioritiesKind():
                inside = [k for k in map(kind.below, [*CRITERIA, OWN + "x"]) if k is not None]
        for one in inside:
            visit(one)

    for _, kind in KINDS.values():
        visit(kind)
    return list(found.values())


BY_CLASS: dict[str, list[Kind]] = {}
for _kind in leaves():
    BY_CLASS.setdefault(type(_kind).__name__, []).append(_kind)


def take_the_same_texts(name: str, data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(BY_CLASS[name]))
    check(kind, flow(data.draw(trees(kind))))


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(BY_CLASS))
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_reader_and_schema_take_the_same_texts(name: str, data: st.DataObject) -> None:
    take_the_same_texts(name, data)


@pytest.mark.parametrize("name", sorted(BY_CLASS))
@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_reader_and_schema_take_a_few_same_texts(name: str, data: st.DataObject) -> None:
    """As above, where the slow ones do not run."""
    take_the_same_texts(name, data)
