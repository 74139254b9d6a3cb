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

from advisor.catalogue.curves import CurveOf, TableOf
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import lever
from advisor.catalogue.load import load_run
from advisor.catalogue.schema_parts import Kernel, Part
from advisor.catalogue.schema_product import PrioritiesKind, Priority, Product
from advisor.catalogue.schema_supply import (
    AddOn,
    AtTemperature,
    Cell,
    Converter,
    TemperatureTableKind,
)
from advisor.faults import FaultError
from advisor.figures import steps
from advisor.source import read_text
from advisor.studies.explain import explain
from advisor.studies.results import plain
from advisor.studies.shortlist import shortlist
from tests.shares import mostly_slow
from tests.studies.every_change import CHANGES, ELSEWHERE, SHARES, SLACK
from tests.studies.every_key import (
    ADDON,
    BEYOND,
    CELL,
    CHARGED,
    HARVESTED,
    HOURS,
    KERNELS,
    LEAKING,
    LINEAR,
    PART,
    PRODUCT,
    SWITCHING,
)

pytestmark = pytest.mark.once

DOCUMENTS = {
    "probe-part": (PART, Record(Part)),
    "probe-cell": (CELL, Record(Cell)),
    "probe-charged": (CHARGED, Record(Cell)),
    "probe-cap": (LEAKING, Record(Cell)),
    "probe-ldo": (LINEAR, Record(Converter)),
    "probe-sw": (SWITCHING, Record(Converter)),
    "probe-add": (ADDON, Record(AddOn)),
    "probe": (PRODUCT, Record(Product)),
    **{name: (text, Record(Product)) for name, text in HARVESTED.items()},
}
CHANGED: tuple[tuple[str, ...], ...] = (
    (),
    ("probe:supply-options.converters=[probe-ldo]",),
    ("probe:supply-options.converters=[probe-sw]",),
    ("probe-part:supply.regulator=switching",),
    ("probe:supply-options.cells=[{budget: 900 mAh, voltage: 3.0 V}, {cell: probe-charged}]",),
    # a pack that is charged again, too dear elsewhere
    (
        "probe:supply-options.cells=[{cell: probe-charged}]",
        "probe:cost.unit-cost-limit=90",
    ),
    # what the part lacks and an add-on brings
    (
        "probe:needs.features={uart: 1, wireless: 1, sight-bits: 10}",
        "probe:workload.sample.uses={radio-advert: 2, mark: 3}",
    ),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("every") / "catalogue"
    root.mkdir()
    (root / "kernels.yaml").write_text(KERNELS)
    files = {
        "parts/probe-part": PART,
        "cells/probe-cell": CELL,
        "cells/probe-cell-b": CELL.replace("cell: probe-cell", "cell: probe-cell-b").replace(
            "500 ±", "510 ±"
        ),
        "cells/probe-charged": CHARGED,
        "cells/probe-cap": LEAKING,
        "converters/probe-ldo": LINEAR,
        "converters/probe-sw": SWITCHING,
        "addons/probe-add": ADDON,
    }
    for name, text in files.items():
        path = root / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    asked = root.parent / "asked"
    asked.mkdir()
    for name, text in {"probe": PRODUCT, **HARVESTED}.items():
        (asked / f"{name}.yaml").write_text(text)
    for name, text in HOURS.items():
        (asked / name).write_text(text)
    return root


# of what product and by what changes
_Setting = tuple[str, tuple[str, ...]]
SETTINGS: tuple[_Setting, ...] = (
    *(("probe", changes) for changes in CHANGED),
    *((name, ()) for name in HARVESTED),
)


def settings(path: str) -> tuple[_Setting, ...]:
    """Those in which a key may be felt."""
    of = path.partition(":")[0]
    only = "probe-fed" if of == "probe-cap" else of if of in HARVESTED else "probe"
    return tuple(setting for setting in SETTINGS if setting[0] == only)


class _Results:
    """Results of the documents under changes, those without a change kept."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.base = cache(self.of)

    def of(self, setting: _Setting, changes: tuple[str, ...] = ()) -> Any:
        """What the tool says, less what only repeats the file."""
        name, own = setting
        try:
            asked = self.folder.parent / f"asked/{name}.yaml"
            inputs = load_run([self.folder], asked, (*own, *changes))
            found = shortlist(*inputs, draws=40)
        except FaultError as error:
            return [f.text() for f in error.faults]
        out = plain(found)
        out.pop("summary")
        if found.ranking:
            details = plain(explain(*inputs, "probe-part"))
            told = (
                "current",
                "money",
                "score",
                "plan",
                "battery_life_s",
                "before_use",
                "times",
                "chances",
                "gating",
                "charging",
                "harvest",
            )
            out["explain"] = {k: details.get(k) for k in told}
        return out


@pytest.fixture(scope="module")
def results(folder: Path) -> _Results:
    return _Results(folder)


def children(node: Node, kind: Any, path: str) -> Iterator[tuple[str, Node, Any, bool]]:
    """(path, node, kind, informational) of what stands below a node."""
    kind = kind.record if isinstance(kind, Either) else kind
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
        elif isinstance(kind, (MapOf, TableOf)):
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
            if path.startswith(BEYOND.get(name, "")):
                out.append((f"{name}:{path}", value, told))
    return out


NUMBER = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)(.*)\Z", re.DOTALL)
LISTS = {
    "probe:retain": "[ram]",
    "probe-part:sleep-states.ram-kept.retains": "[rtc]",
    "probe:needs.lifecycle": "[ended]",
    "probe:workload.sample.without-engines": "[]",
    "probe:supply-options.converters": "[probe-ldo]",
    "probe:rails.far.converters": "[probe-ldo]",
    "probe:rails.near.converters": "[probe-ldo]",
    "probe-cell:cautions": "[keep cold]",
    "probe-ldo:cautions": "[keep warm]",
    "probe-add:cautions": "[keep it near metal]",
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


@pytest.mark.parametrize(("path", "text"), mostly_slow(USED, 24), ids=[p for p, _ in USED])
def test_changing_a_key_changes_the_result(results: _Results, path: str, text: str) -> None:
    changes = changed(path, text)
    # what goes with the change of a key must not be what makes the difference
    beside = tuple(c for c in changes if not c.startswith(f"{path}="))
    if path.startswith("probe:environment"):
        beside = ()
    for setting in settings(path):
        found = results.of(setting, changes)
        assert isinstance(found, dict) or path.endswith(REFUSED), found
        if found != (results.of(setting, beside) if beside else results.base(setting)):
            return
    pytest.fail(f"{changes} changes nothing in any setting")


@pytest.mark.parametrize(("path", "text"), mostly_slow(TOLD, 24), ids=[p for p, _ in TOLD])
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
    if isinstance(kind, Either):
        kind = kind.record
    if not isinstance(kind, Record) or kind.cls in seen:
        return
    seen.add(kind.cls)
    for name, found in specification(kind.cls).items():
        yield kind.cls, name
        yield from declared(found.kind, seen)


def test_the_documents_state_every_key() -> None:
    stated = set()

    def walk(node: Node, kind: Any, path: str) -> None:
        kind = kind.record if isinstance(kind, Either) else kind
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
            if isinstance(found, Either):
                found = found.plain
            spread = inside and path.rpartition(".")[0].endswith(("degC", "setup"))
            stated = path.startswith(BEYOND.get(name, ""))
            if isinstance(found, Figure) and stated and not told and not spread:
                out.append(f"{name}:{path}")
    return out


@pytest.mark.parametrize("path", mostly_slow(uncertain(), 24))
def test_an_uncertainty_is_drawn_or_refused(results: _Results, folder: Path, path: str) -> None:
    inputs = load_run([folder], folder.parent / f"asked/{settings(path)[0][0]}.yaml")
    handle = lever(*inputs, path)
    value = handle.now or 0.1
    unit = "" if handle.unit == "1" else handle.unit
    exact = f"{path}={value:.9g} {unit}"
    # of what is unsure whatever it states only more is felt
    share = 0.9 if getattr(handle.kind, "unsure", 0) else 0.02
    wide = f"{path}={value:.9g} ± {abs(value) * share:.6g} {unit}"
    # an engine's own figures count where it may be used
    freed: tuple[str, ...] = ("probe:workload.sample.without-engines=[]",) if "+aid" in path else ()
    point = {":operating-points.middle.": "middle", ".middle.cycles": "middle"}
    point |= dict.fromkeys((":operating-points.spare.", ".spare.cycles", ":run-current"), "spare")
    freed += tuple(c for of, at in point.items() if of in path for c in ELSEWHERE[at])
    for setting in settings(path):
        plain_one = results.of(setting, (exact, *freed))
        drawn = results.of(setting, (wide, *freed))
        if isinstance(drawn, list):
            assert handle.kind.exact, drawn  # type: ignore[union-attr]
            assert any("without uncertainty" in text for text in drawn)
            return
        if plain_one != drawn:
            return
    assert path in SLACK


def test_every_key_of_a_kernel_is_informational() -> None:
    assert all(found.informational for found in specification(Kernel).values())
    assert dataclasses.is_dataclass(Kernel)


@pytest.mark.parametrize("key", ["950 mAh, voltage: 3.0 V", "900 mAh, voltage: 3.1 V"])
def test_an_ideal_budget_is_used(results: _Results, key: str) -> None:
    changes = (f"probe:supply-options.cells=[{{budget: {key}}}, {{cell: probe-charged}}]",)
    changed_budget = results.of(("probe", changes))
    assert changed_budget != results.base(SETTINGS[4])
