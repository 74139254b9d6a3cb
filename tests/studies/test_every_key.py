"""No key is silently ignored: changing any key that a product uses changes the result.

The documents below state every key of the schema at least once. Each is changed in turn, in a few
settings (straight from the pack, through each kind of converter, on an ideal budget), and the
shortlist and the explanation must differ in one of them; a key declared informational must leave
every figure alone.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue.curves import CurveOf
from advisor.catalogue.fields import ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import lever
from advisor.catalogue.load import load_run
from advisor.catalogue.schema_parts import Kernel, Part
from advisor.catalogue.schema_product import PrioritiesKind, Priority, Product
from advisor.catalogue.schema_supply import AtTemperature, Cell, Converter, TemperatureTableKind
from advisor.faults import FaultError
from advisor.figures import steps
from advisor.source import read_text
from advisor.studies.explain import explain
from advisor.studies.results import plain
from advisor.studies.shortlist import shortlist
from tests.shares import mostly_slow
from tests.studies.every_key import CELL, KERNELS, LINEAR, PART, PRODUCT, SWITCHING

pytestmark = pytest.mark.once

DOCUMENTS = {
    "probe-part": (PART, Record(Part)),
    "probe-cell": (CELL, Record(Cell)),
    "probe-ldo": (LINEAR, Record(Converter)),
    "probe-sw": (SWITCHING, Record(Converter)),
    "probe": (PRODUCT, Record(Product)),
}
SETTINGS: tuple[tuple[str, ...], ...] = (
    (),
    ("probe:supply-options.converters=[probe-ldo]",),
    ("probe:supply-options.converters=[probe-sw]",),
    ("probe-part:supply.regulator=switching",),
    ("probe:supply-options.cells=[{budget: 900 mAh, voltage: 3.0 V}]",),
)

# where a tenth more would not be felt, or is no number: limits that screen, words and lists
NOT_INVENTED = [
    f"{name}:invented=false"
    for name in ("probe", "probe-part", "probe-cell", "probe-ldo", "probe-sw")
]
CHANGES: dict[str, list[str] | str] = {
    "probe-part:part": [],  # an id must equal the file's name: a fault of its own, tested elsewhere
    "probe-cell:cell": [],
    "probe-ldo:converter": [],
    "probe-sw:converter": [],
    "probe:product": [],
    "probe-part:lifecycle": "ended",
    "probe-part:memory.flash": "56 KiB",
    "probe-part:memory.ram": "14 KiB",
    "probe-part:supply.min": "3.4 V",
    "probe-part:supply.max": "2.0 V",
    "probe-part:supply.regulator": "switching",
    "probe-part:supply.brown-out": "2.9 V",
    "probe-part:temperature.min": "0 degC",
    "probe-part:temperature.max": "40 degC",
    "probe-part:features.uart": "0",
    "probe-part:evidence.bench.kind": "estimate",
    "probe-part:evidence.bench.instrument": "meter-b",
    "probe-part:evidence.sheet.kind": "estimate",
    "probe-part:operating-points.fast.supply-min": "2.8 V",
    "probe-part:operating-points.fast.evidence": "bench",
    "probe-part:kernels.hash.fast.evidence": "sheet",
    "probe-part:kernels.hash.fast.version": "2",
    "probe-part:kernels.filter.fast.evidence": "sheet",
    "probe-part:blocks.radio-advert.evidence": "sheet",
    "probe-part:sleep-states.ram-kept.evidence": "bench",
    "probe-part:kernels.filter.fast.evidence-of.time": "bench",
    "probe-part:blocks.radio-advert.evidence-of.for": "bench",
    "probe-part:sleep-states.ram-kept.evidence-of.25 degC": "sheet",
    "probe-part:sleep-states.ram-kept.evidence-of.wake-time": "bench",
    "probe-part:price.currency": "USD",
    "probe-part:price.breaks.1": [
        "probe-part:price.breaks.1=2.1",
        "probe:cost.units=50",
        "probe-part:price.multiple=1",
    ],
    "probe-part:price.breaks.10000": [],
    "probe-part:price.multiple": "400",
    "probe-part:price.lead-time": "21 weeks",
    "probe-part:extras.crystal.item": "resonator",
    "probe-part:toolchain.maturity.compiler.answer": "none",
    "probe-part:toolchain.maturity.debug": "full",
    "probe:invented": ["probe:invented=false", *NOT_INVENTED],
    "probe-part:invented": ["probe-part:invented=false", *NOT_INVENTED],
    "probe-cell:invented": ["probe-cell:invented=false", *NOT_INVENTED],
    "probe-ldo:invented": ["probe-ldo:invented=false", *NOT_INVENTED],
    "probe-sw:invented": ["probe-sw:invented=false", *NOT_INVENTED],
    "probe-cell:temperature.-20 degC.capacity": "0.5",
    "probe-cell:temperature.20 degC.capacity": "0.5",
    "probe-cell:temperature.60 degC.capacity": "0.5",
    "probe-cell:rechargeable": "true",
    "probe-cell:chemistry": "alkaline",
    "probe-cell:temperature.60 degC.resistance": "9",
    "probe-cell:temperature.20 degC.resistance": "9",
    "probe-cell:shelf-life": "6 months",
    "probe-cell:discharge-to": "0.3",
    "probe-cell:max-continuous": "1 µA",
    "probe-cell:max-pulse": "5 mA",
    "probe-cell:price.currency": "USD",
    "probe-cell:price.multiple": "400",
    "probe-cell:price.lead-time": "21 weeks",
    "probe-cell:price.breaks.1": [],
    "probe-cell:price.breaks.10000": [],
    "probe-cell:resistance.0": "9 ohm",
    "probe-cell:two-well.c": "0.0002",
    "probe-cell:two-well.k": "0.00001 /h",
    "probe-ldo:kind": [],  # another kind needs other keys
    "probe-sw:kind": "buck",
    "probe-ldo:input.min": "2.9 V",
    "probe-ldo:input.max": "3.0 V",
    "probe-ldo:output.min": "2.4 V",
    "probe-ldo:output.max": "2.0 V",
    "probe-ldo:max-output": "1 mA",
    "probe-ldo:price.currency": "EUR",
    "probe-ldo:price.multiple": "400",
    "probe-ldo:price.lead-time": "21 weeks",
    "probe-ldo:price.breaks.1000": ["probe-ldo:price.breaks.1000=0.1", "probe:cost.units=1500"],
    "probe-sw:input.min": "2.9 V",
    "probe-sw:input.max": "3.0 V",
    "probe-sw:output.min": "2.4 V",
    "probe-sw:output.max": "2.0 V",
    "probe-sw:max-output": "1 mA",
    "probe-sw:price.currency": "EUR",
    "probe-sw:price.lead-time": "21 weeks",
    "probe-sw:efficiency.40 µA": "0.3",
    "probe:workload.sample.task": "look",
    "probe:workload.sample.loads.probe.load": "eye",
    "probe:workload.sample.loads.radio.load": "ear",
    "probe:workload.sample.loads.pump.load": "jet",
    "probe:workload.sample.loads.lamp.load": "beam",
    "probe:workload.sample.loads.lamp.cpu": "idle",
    "probe:workload.sample.loads.pump.supply.min": "3.0 V",
    "probe:workload.sample.loads.pump.supply.max": "2.0 V",
    "probe:standing-loads.divider.supply.min": "2.9 V",
    "probe:standing-loads.divider.supply.max": "2.0 V",
    "probe:standing-loads.keeper.load": "guard",
    "probe-part:blocks.radio-advert.supply.min": "2.9 V",
    "probe-part:blocks.radio-advert.supply.max": "2.0 V",
    "probe:workload.sample.loads.probe.cpu": "idle",
    "probe:workload.sample.loads.radio.cpu": "asleep",
    "probe:workload.sample.at": "spare",
    "probe:workload.sample.finish-within": "300 ms",
    **{
        f"probe-part:kernels.hash.fast+aid.{key}": [
            f"probe-part:kernels.hash.fast+aid.{key}={value}",
            "probe:workload.sample.without-engines=[]",
        ]
        for key, value in (
            ("time", "0.2(1) ms"),
            ("current", "9.0(1) mA"),
            ("supply", "3.0 V"),
            ("evidence", "sheet"),
        )
    },
    "probe:workload.sample.wake-within": "1 us",
    "probe:standing-loads.divider.load": "leak",
    "probe:needs.features.uart": "3",
    "probe:needs.lead-time": "11 weeks",
    "probe:needs.temperature.min": "-60 degC",
    "probe:needs.temperature.max": "99 degC",
    "probe:supply-options.cells.probe-cell.cell": "probe-cell-b",
    "probe:supply-options.cells.probe-cell.series": "2",
    "probe:supply-options.cells.probe-cell.parallel": "2",
    "probe:supply-options.reservoir.capacitance": "9 mF",
    "probe:supply-options.reservoir.esr": "50 ohm",
    "probe:add-ons": "allowed",
    "probe:cost.currency": "CHF",
    "probe:cost.units": "700",
    "probe:cost.engineer-rate": "120 EUR/h",
    "probe:cost.rates.USD": "0.80",
}
SHARES = {
    "-10 degC": ("0.3", "15 degC", "0.4"),
    "15 degC": ("0.4", "-10 degC", "0.3"),
    "45 degC": ("0.2", "15 degC", "0.6"),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("catalogue")
    (root / "kernels.yaml").write_text(KERNELS)
    files = {
        "parts/probe-part": PART,
        "cells/probe-cell": CELL,
        "cells/probe-cell-b": CELL.replace("cell: probe-cell", "cell: probe-cell-b").replace(
            "500 ±", "510 ±"
        ),
        "converters/probe-ldo": LINEAR,
        "converters/probe-sw": SWITCHING,
    }
    for name, text in files.items():
        path = root / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    return root


class _Results:
    """Results of the documents under changes, those without a change kept."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.base = cache(self.of)

    def of(self, setting: tuple[str, ...], changes: tuple[str, ...] = ()) -> Any:
        """What the tool says, less what only repeats the file."""
        try:
            inputs = load_run([self.folder], PRODUCT.encode(), (*setting, *changes))
            found = shortlist(*inputs, draws=40)
        except FaultError as error:
            return [f.text() for f in error.faults]
        out = plain(found)
        out.pop("summary")
        if found.ranking:
            details = plain(explain(*inputs, "probe-part"))
            out["explain"] = {
                k: details[k] for k in ("current", "money", "score", "plan", "battery_life_s")
            }
        return out


@pytest.fixture(scope="module")
def results(folder: Path) -> _Results:
    return _Results(folder)


def children(node: Node, kind: Any, path: str) -> Iterator[tuple[str, Node, Any, bool]]:
    """(path, node, kind, informational) of what stands below a node."""
    if isinstance(kind, Record) and isinstance(node, MappingNode):
        declared = specification(kind.cls)
        for k, v in node.value:
            found = declared[k.value]
            yield f"{path}{k.value}", v, found.kind, found.informational
    elif isinstance(node, MappingNode):
        below = {
            PrioritiesKind: Record(Priority),
            TemperatureTableKind: Record(AtTemperature),
        }.get(type(kind))
        if isinstance(kind, CurveOf):
            below = kind.y  # type: ignore[assignment]
        elif isinstance(kind, MapOf):
            below = kind.kind  # type: ignore[assignment]
        elif below is None and not isinstance(kind, Figure):
            # an answer on the toolchain, written out
            from advisor.catalogue.schema_parts import Answer

            yield from children(node, Record(Answer), path)
            return
        for k, v in node.value:
            yield f"{path}{k.value}", v, below, False
    elif isinstance(node, SequenceNode) and isinstance(kind, ListOf):
        for item in node.value:
            if isinstance(item, MappingNode):
                yield f"{path}{item.value[0][1].value}", item, kind.kind, False


def leaves(node: Node, kind: Any, path: str, told: bool) -> Iterator[tuple[str, str, bool]]:
    """(path, text, informational) of every value."""
    if isinstance(node, ScalarNode):
        yield path, node.value, told
        return
    if isinstance(node, SequenceNode) and all(isinstance(n, ScalarNode) for n in node.value):
        yield path, "[" + ", ".join(n.value for n in node.value) + "]", told
        return
    for at, child, below, informational in children(node, kind, f"{path}." if path else ""):
        yield from leaves(child, below, at, told or informational)


def every_leaf() -> list[tuple[str, str, bool]]:
    out = []
    for name, (text, kind) in DOCUMENTS.items():
        for path, value, told in leaves(read_text(text, name).root, kind, "", False):
            out.append((f"{name}:{path}", value, told))
    return out


NUMBER = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)(.*)\Z", re.DOTALL)
LISTS = {
    "probe:retain": "[ram]",
    "probe-part:sleep-states.ram-kept.retains": "[rtc]",
    "probe:needs.lifecycle": "[ended]",
    "probe:workload.sample.without-engines": "[]",
    "probe:supply-options.converters": "[probe-ldo]",
    "probe-cell:cautions": "[keep cold]",
    "probe-ldo:cautions": "[keep warm]",
}


def changed(path: str, text: str) -> tuple[str, ...]:
    """Assignments that change one value; none where the change is tested elsewhere."""
    if path in LISTS:
        return (f"{path}={LISTS[path]}",)
    found = CHANGES.get(path)
    if isinstance(found, list):
        return tuple(found)
    if found is not None:
        return (f"{path}={found}",)
    place = re.fullmatch(r"probe:environment\.(.+ degC)\.(at|share)", path)
    if place and place[2] == "share":
        mine, other, its = SHARES[place[1]]
        return (f"{path}={mine}", f"probe:environment.{other}.share={its}")
    if place:
        return (f"{path}={float(place[1].split()[0]) + 3:g} degC",)
    number = NUMBER.match(text)
    if number and not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return (f"{path}={float(number[1]) * 1.1 or 1.0:.6g}{number[2]}",)
    if text in ("true", "false"):
        return (f"{path}={'false' if text == 'true' else 'true'}",)
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return (f"{path}=2026-04-04",)
    if path.endswith("probe"):
        return (f"{path}=probe-b",)
    return (f"{path}=another",)


INFORMED = {
    "probe-part:core.float-unit": "single",
    "probe-part:core.cores": "2",
    "probe-cell:evidence.sheet.kind": "bench",
    "probe-ldo:evidence.sheet.kind": "bench",
}
# they move what `gaps` says and nothing else: test_every_hour.py
MEASURING = "probe:measuring."
REFUSED = (":cost.currency", "sw:kind", ".fast.version")  # other keys or work: the fault is it
USED = [
    (p, t)
    for p, t, told in every_leaf()
    if not told and changed(p, t) and not p.startswith(MEASURING)
]
TOLD = [(p, t) for p, t, told in every_leaf() if told]


def test_the_settings_rank_the_part(results: _Results) -> None:
    for setting in SETTINGS:
        found = results.base(setting)
        assert isinstance(found, dict), found
        assert [r["part"] for r in found["ranking"]] == ["probe-part"], found["screened_out"]


@pytest.mark.parametrize(("path", "text"), mostly_slow(USED, 8), ids=[p for p, _ in USED])
def test_changing_a_key_changes_the_result(results: _Results, path: str, text: str) -> None:
    changes = changed(path, text)
    # what goes with the change of a key must not be what makes the difference
    beside = tuple(c for c in changes if not c.startswith(f"{path}="))
    if path.startswith("probe:environment"):
        beside = ()
    for setting in SETTINGS:
        found = results.of(setting, changes)
        assert isinstance(found, dict) or path.endswith(REFUSED), found
        if found != (results.of(setting, beside) if beside else results.base(setting)):
            return
    pytest.fail(f"{changes} changes nothing in any setting")


@pytest.mark.parametrize(("path", "text"), mostly_slow(TOLD, 8), ids=[p for p, _ in TOLD])
def test_an_informational_key_changes_no_figure(results: _Results, path: str, text: str) -> None:
    changes = (f"{path}={INFORMED[path]}",) if path in INFORMED else changed(path, text)
    for setting in SETTINGS[:3]:
        found, base = results.of(setting, changes), results.base(setting)
        assert isinstance(found, dict), found
        for key in ("ranking", "screened_out", "set_aside", "evidence", "explain"):
            left, right = found[key], base[key]
            if key == "ranking":
                left = [{k: v for k, v in r.items() if k != "maker"} for r in left]
                right = [{k: v for k, v in r.items() if k != "maker"} for r in right]
            assert left == right


def declared(kind: Any, seen: set[type]) -> Iterator[tuple[type, str]]:
    """Every (record, key) that can stand below a kind."""
    for inner in ("kind", "y"):
        below = getattr(kind, inner, None)
        if below is not None and not isinstance(below, str):
            yield from declared(below, seen)
    if isinstance(kind, PrioritiesKind):
        kind = Record(Priority)
    if isinstance(kind, TemperatureTableKind):
        kind = Record(AtTemperature)
    if not isinstance(kind, Record) or kind.cls in seen:
        return
    seen.add(kind.cls)
    for name, found in specification(kind.cls).items():
        yield kind.cls, name
        yield from declared(found.kind, seen)


def test_the_documents_state_every_key() -> None:
    stated = set()

    def walk(node: Node, kind: Any, path: str) -> None:
        for at, child, below, _ in children(node, kind, path):
            if isinstance(kind, Record):
                stated.add((kind.cls, at.rpartition(".")[2]))
            if not isinstance(child, ScalarNode):
                walk(child, below, f"{at}.")

    for name, (text, kind) in DOCUMENTS.items():
        walk(read_text(text, name).root, kind, "")
    budget = {"budget", "voltage"}  # they stand in a setting
    seen: set[type] = set()
    for _, kind in DOCUMENTS.values():
        for cls, name in declared(kind, seen):
            if name not in budget:
                assert (cls, name) in stated, f"{cls.__name__}.{name}"
    assert Part in seen
    assert AtTemperature in seen


# bounds that do not bind at the stated values: an uncertainty about them is felt where they do
SLACK = {
    "probe-part:supply.min",
    "probe-part:supply.brown-out",
    "probe-part:peak-current",
    "probe-part:price.breaks.1",
    "probe-part:price.breaks.10000",
    "probe-cell:price.breaks.1",
    "probe-cell:price.breaks.10000",
    "probe-ldo:price.breaks.1000",
    "probe-cell:nominal-voltage",  # compares builds; no figure of the chosen one rests on it
    "probe-cell:resistance.0",
    "probe-cell:temperature.60 degC.capacity",
    "probe-cell:temperature.60 degC.resistance",
    "probe-cell:shelf-life",
    "probe-cell:discharge-to",
    "probe-cell:two-well.c",
    "probe-cell:two-well.k",
    "probe:supply-options.reservoir.capacitance",
}


def uncertain() -> list[str]:
    """Paths of every figure that enters the answer, but for ends of a spread."""
    out = []
    for name, (text, kind) in DOCUMENTS.items():
        root = read_text(text, name).root
        for path, value, told in leaves(root, kind, "", False):
            found: Any = kind
            for step, _ in steps(root, path):
                found = getattr(found, "below", lambda _: None)(step)
            ends = path.rpartition(".")[2] in ("typical", "max", "low", "likely", "high")
            inside = isinstance(found, Figure) and ends and ":" not in value
            if isinstance(found, CurveOf):
                found = found.y
            spread = inside and path.rpartition(".")[0].endswith(("degC", "setup"))
            if isinstance(found, Figure) and not told and not spread:
                out.append(f"{name}:{path}")
    return out


@pytest.mark.parametrize("path", mostly_slow(uncertain(), 8))
def test_an_uncertainty_is_drawn_or_refused(results: _Results, folder: Path, path: str) -> None:
    inputs = load_run([folder], PRODUCT.encode())
    handle = lever(*inputs, path)
    value = handle.now or 0.1
    unit = "" if handle.unit == "1" else handle.unit
    exact = f"{path}={value:.9g} {unit}"
    wide = f"{path}={value:.9g} ± {abs(value) * 0.02:.6g} {unit}"
    differs = False
    # an engine's own figures count where it may be used
    freed = ("probe:workload.sample.without-engines=[]",) if "+aid" in path else ()
    for setting in SETTINGS:
        plain_one = results.of(setting, (exact, *freed))
        drawn = results.of(setting, (wide, *freed))
        if isinstance(drawn, list):
            assert handle.kind.exact, drawn  # type: ignore[union-attr]
            assert any("without uncertainty" in text for text in drawn)
            return
        differs |= plain_one != drawn
    assert differs or path in SLACK


def test_every_key_of_a_kernel_is_informational() -> None:
    assert all(found.informational for found in specification(Kernel).values())
    assert dataclasses.is_dataclass(Kernel)


@pytest.mark.parametrize("key", ["950 mAh, voltage: 3.0 V", "900 mAh, voltage: 3.1 V"])
def test_an_ideal_budget_is_used(results: _Results, key: str) -> None:
    changed_budget = results.of((f"probe:supply-options.cells=[{{budget: {key}}}]",))
    assert changed_budget != results.base(SETTINGS[4])
