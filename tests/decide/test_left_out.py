"""Nothing vanishes: every kind of thing that is left out is told, with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from advisor.catalogue.load import load_run
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.left_out import PLURALS
from tests.model.records import CELL, LINEAR, written

POINT = "{idle-current: 1 mA, supply: 3.0 V, evidence: bench}"
KERNEL = "{time: 2 ms, current: 4 mA, supply: 3.0 V, evidence: bench}"
PART = {
    "lifecycle": "active",
    "supply": "{min: 1.8 V, max: 3.6 V}",
    "temperature": "{min: -40 degC, max: 85 degC}",
    "evidence": "{bench: {kind: bench, date: 2026-03-11}}",
    "operating-points": f"{{run: {POINT}}}",
    "kernels": f"{{crc: {{run: {KERNEL}}}, hash: {{run: {KERNEL}}}}}",
    "sleep-states": "{ram-kept: {current: 2 µA, wake-time: 0.1 ms, retains: [ram]}}",
    "price": "{currency: EUR, breaks: {1: 1.00}}",
}
PRODUCT = {
    "rail": "2.5 V",
    "environment": "[{at: 20 degC, share: 1}]",
    "workload": "[{task: sample, every: 10 s, kernels: {crc: 1}},"
    " {task: report, every: 60 s, kernels: {hash: 1}}]",
    "retain": "[ram]",
    "supply-options": "{cells: [{cell: pill}], converters: [none]}",
    "cost": "{currency: EUR, units: 10}",
    "priorities": "{battery-life: {weight: 1, poor: 0 years, good: 9 years}}",
}
Files = Mapping[str, Mapping[str, str]]


def without(keys: Mapping[str, str], name: str) -> dict[str, str]:
    return {key: text for key, text in keys.items() if key != name}


def decided(root: Path, changed: Files, product: Mapping[str, str], draws: int = 0) -> Evaluation:
    """The decision between part `one` and those given, on cells and converters given."""
    (root / "kernels.yaml").write_text("crc: {work: one block}\nhash: {work: one block}\n")
    files: dict[str, Mapping[str, str]] = {"parts/one": PART, "cells/pill": CELL, **changed}
    for name, keys in files.items():
        path = root / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(written(path.parent.name[:-1], path.stem, keys))
    text = written("product", "probe", {**PRODUCT, **product})
    return evaluate(*load_run([root], text.encode()), draws=draws)


def cells(*names: str, converters: str = "none") -> dict[str, str]:
    listed = ", ".join(f"{{cell: {name}}}" for name in names)
    return {"supply-options": f"{{cells: [{listed}], converters: [{converters}]}}"}


def states(text: str) -> Files:
    kept = "ram-kept: {current: 2 µA, wake-time: 0.1 ms, retains: [ram]}"
    return {"parts/one": {**PART, "sleep-states": f"{{{kept}, deep: {text}}}"}}


def points(extra: str, kernels: str = "") -> Files:
    both = f"{{crc: {{run: {KERNEL}{kernels}}}, hash: {{run: {KERNEL}{kernels}}}}}"
    return {
        "parts/one": {
            **PART,
            "operating-points": f"{{run: {POINT}, slow: {extra}}}",
            "kernels": both,
        }
    }


SLOW = f", slow: {KERNEL}"
ALSO = cells("pill", "other")
BOTH = cells("pill", converters="none, ldo")
CASES: dict[str, tuple[Files, Mapping[str, str], str, str, str]] = {
    "a pack that lacks figures": (
        {"cells/other": without(CELL, "capacity")}, ALSO,
        "pack", "other", "lacks other:capacity",
    ),
    "a pack whose table does not reach": (
        {"cells/other": {**CELL, "temperature": "{0 degC: {capacity: 1, resistance: 1},"
                         " 10 degC: {capacity: 1, resistance: 1}}"}}, ALSO,
        "pack", "other",
        "other temperature table: 20.0 degC needed, 10.0 degC offered",
    ),
    "a pack on which no build stands": (
        {"cells/other": {**CELL, "max-pulse": "1 mA"}}, ALSO,
        "pack", "other",
        "no build stands on it; nearest: other max-pulse: 4.00 mA needed, 1.00 mA offered",
    ),
    "a pack without a price that a criterion asks for": (
        {"cells/other": without(CELL, "price")},
        {**ALSO, "priorities": "{purchase-cost: {weight: 1, poor: 9, good: 0}}"},
        "pack", "other", "lacks other:price",
    ),
    "a pack in series": (
        {}, {"supply-options": "{cells: [{cell: pill}, {cell: pill, series: 2}]}"},
        "pack", "2 x pill",
        "no build stands on it; nearest: supply max at the chip: 6.40 V needed, 3.60 V offered",
    ),
    "a converter that lacks figures": (
        {"converters/ldo": without(LINEAR, "quiescent")}, BOTH,
        "converter", "ldo", "lacks ldo:quiescent",
    ),
    "a converter that goes with no pack": (
        {"converters/ldo": {**LINEAR, "input": "{min: 1.9 V, max: 3.0 V}"}}, BOTH,
        "converter", "ldo", "ldo input max for a fresh pack: 3.20 V needed, 3.00 V offered",
    ),
    "a converter and a pack that do not go together": (
        {"cells/other": {**CELL, "voltage-curve": "3.0 V"},
         "converters/ldo": {**LINEAR, "input": "{min: 1.9 V, max: 3.1 V}"}},
        cells("pill", "other", converters="none, ldo"),
        "pairing", "pill, ldo", "ldo input max for a fresh pack: 3.20 V needed, 3.10 V offered",
    ),
    "a sleep state that keeps too little": (
        states("{current: 1 µA, wake-time: 0.1 ms, retains: [rtc]}"), {},
        "sleep-state", "one:sleep-states.deep", "does not keep ram",
    ),
    "a sleep state that wakes too late": (
        states("{current: 1 µA, wake-time: 2 ms, retains: [ram]}"),
        {"workload": "[{task: sample, every: 10 s, kernels: {crc: 1}, wake-within: 1 ms}]"},
        "sleep-state", "one:sleep-states.deep", "wake-within: at most 1.00 ms, it takes 2.00 ms",
    ),
    "a sleep state without its current": (
        states("{wake-time: 2 ms, retains: [ram]}"), {},
        "sleep-state", "one:sleep-states.deep", "lacks current",
    ),
    "a sleep state without its wake": (
        states("{current: 1 µA, retains: [ram]}"), {},
        "sleep-state", "one:sleep-states.deep", "lacks wake-time",
    ),
    "a point without its idle current": (
        points("{clock: 1 MHz}", SLOW), {},
        "point", "one:operating-points.slow", "lacks idle-current",
    ),
    "a point that no supply feeds": (
        points("{idle-current: 1 mA, supply-min: 3.3 V}", SLOW), {},
        "point", "one:operating-points.slow",
        "supply-min: 3.30 V needed, no supply gives more than 3.20 V",
    ),
    "a point without a kernel": (
        {"parts/one": {**PART, "operating-points": f"{{run: {POINT}, slow: {POINT}}}",
                       "kernels": f"{{crc: {{run: {KERNEL}, slow: {KERNEL}}},"
                                  f" hash: {{run: {KERNEL}}}}}"}}, {},
        "point", "one:operating-points.slow", "no figures of hash there, so not for report",
    ),
    "an entry of a kernel that lacks figures": (
        {"parts/one": {**PART, "kernels": f"{{crc: {{run: {KERNEL}, run+aid: {{time: 1 ms}}}},"
                                          f" hash: {{run: {KERNEL}}}}}"}}, {},
        "point", "one:kernels.crc.run+aid", "lacks current",
    ),
    "a part that fails a need": (
        {"parts/two": {**PART, "lifecycle": "ended"}}, {"needs": "{lifecycle: [active]}"},
        "part", "two", "lifecycle: active needed, ended offered",
    ),
    "a part that lacks figures": (
        {"parts/two": without(PART, "lifecycle")}, {"needs": "{lifecycle: [active]}"},
        "part", "two", "lacks two:lifecycle",
    ),
    "a part that no build fits": (
        {"parts/two": {**PART, "supply": "{min: 1.8 V, max: 3.0 V}"}}, {},
        "part", "two", "supply max at the chip: 3.20 V needed, 3.00 V offered",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_what_is_left_out_is_told_with_its_reason(tmp_path: Path, case: str) -> None:
    changed, product, kind, identity, why = CASES[case]
    found = decided(tmp_path, changed, product)
    assert [c.part.part for c in found.candidates] == ["one"]
    assert [(x.kind, x.id, x.why) for x in found.left_out] == [(kind, identity, why)]
    # it is told once: what is left out is no warning too
    assert not any(identity in text for text in found.warnings if "states no" not in text)


def test_every_kind_has_its_case() -> None:
    # an add-on is told beside the part that it would have helped: test_companions.py
    assert {kind for _, _, kind, _, _ in CASES.values()} | {"add-on"} == set(PLURALS)


def test_where_nothing_is_left_out_nothing_is_told(tmp_path: Path) -> None:
    assert decided(tmp_path, {}, {}).left_out == ()


def test_a_sleep_state_that_is_not_known_at_the_hottest_place(tmp_path: Path) -> None:
    text = "{current: {0 degC: 1 µA, 15 degC: 2 µA}, wake-time: 0.1 ms, retains: [ram]}"
    found = decided(tmp_path, states(text), {})
    told = [x for x in found.left_out if x.kind == "sleep-state"]
    used = {b.assessed.sleep_name(b.row) for c in found.candidates for b in c.builds}
    # out and told, or in
    assert bool(told) is ("deep" not in used)


def test_a_part_out_by_its_draws_is_told(tmp_path: Path) -> None:
    # 4 mA is the stated value, and half of the draws are above the limit at its brink
    kernel = KERNEL.replace("4 mA", "4.0(9) mA")
    part = {**PART, "kernels": f"{{crc: {{run: {kernel}}}, hash: {{run: {kernel}}}}}"}
    cell = {**CELL, "max-pulse": "4.05 mA"}
    needs = {"needs": "{confidence: 99 %}"}
    found = decided(tmp_path, {"parts/one": part, "cells/pill": cell}, needs, draws=200)
    assert found.candidates == ()
    (out,) = found.left_out
    assert (out.kind, out.id) == ("part", "one")
    assert "needs.confidence (pill max-pulse broken in" in out.why


def test_packs_are_not_blamed_where_no_build_stands_at_all(tmp_path: Path) -> None:
    part = {**PART, "supply": "{min: 1.8 V, max: 3.0 V}"}
    found = decided(tmp_path, {"parts/one": part, "cells/other": CELL}, ALSO)
    assert found.candidates == ()
    assert [(x.kind, x.id) for x in found.left_out] == [("part", "one")]
