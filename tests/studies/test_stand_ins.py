"""Figures of a datasheet in place of measured ones: by a formula of their own, and never unseen."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import CYCLES_WITHIN, RUN_CURRENT_WITHIN, RunCurrent
from advisor.catalogue.schema_product import Product
from advisor.faults import FaultError
from advisor.model.draws import sample
from advisor.quantities import read_quantity
from advisor.studies.explain import explain
from advisor.studies.gaps import gaps
from advisor.studies.outlook import outlook
from advisor.studies.record import decide, read_decision, revisit
from advisor.studies.report import report
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import tipping
from advisor.studies.weights import weights
from tests.studies.test_key_rightness import PART, _product, answer, figures, inputs, told

pytestmark = pytest.mark.once

Inputs = tuple[Catalogue, Product]
MEASURED = {
    "hash": "hash: {fast: {time: 0.4 ms, current: 6.0 mA, supply: 3.3 V}}",
    "filter": "filter: {fast: {time: 0.2 ms, current: 7.0 mA, supply: 3.3 V}}",
}
# path -> (value, unit): what the two kernels rest on instead
SHEET = {
    "chip:operating-points.fast.clock": (24e6, "Hz"),
    "chip:run-current.per-clock": (240e-12, "A/Hz"),
    "chip:run-current.base": (0.3e-3, "A"),
    "chip:kernels.hash.fast.cycles": (9600.0, ""),
    "chip:kernels.filter.fast.cycles": (4800.0, ""),
}
SLOPE = "run-current: {per-clock: 240 uA/MHz, base: 0.3 mA, supply: 3 V}"


def sheet(text: str = PART, of: tuple[str, ...] = ("hash", "filter"), run: str = SLOPE) -> str:
    """The part with kernels of a datasheet."""
    for kernel in of:
        cycles = SHEET[f"chip:kernels.{kernel}.fast.cycles"][0]
        text = text.replace(MEASURED[kernel], f"{kernel}: {{fast: {{cycles: {cycles:g}}}}}")
    return (
        text.replace("{idle-current: 1.1 mA", "{clock: 24 MHz, idle-current: 1.1 mA") + f"{run}\n"
    )


def made(root: Path, text: str) -> Inputs:
    inputs(root, "ideal")
    (root / "parts/chip.yaml").write_text(text)
    return load_run([root], _product("ideal").encode())


@pytest.fixture
def chip(tmp_path: Path) -> Inputs:
    return made(tmp_path, sheet())


def by_hand(given: dict[str, float]) -> dict[str, float]:
    """The answer by `answer`, with time and current worked out from a datasheet's figures."""
    base = {path: value for path, (value, _) in figures("ideal").items()}
    clock = given["chip:operating-points.fast.clock"]
    for kernel in ("hash", "filter"):
        at = f"chip:kernels.{kernel}.fast"
        base[f"{at}.time"] = given[f"{at}.cycles"] / clock
        base[f"{at}.current"] = (
            given["chip:run-current.per-clock"] * clock + given["chip:run-current.base"]
        )
    return answer(base, "ideal")


def test_each_figure_changes_the_answer_by_the_right_amount(chip: Inputs) -> None:
    stated = {path: value for path, (value, _) in SHEET.items()}
    expected = by_hand(stated)
    assert told(chip) == pytest.approx(expected, rel=1e-7)
    for path, (value, unit) in SHEET.items():
        to = by_hand({**stated, path: 1.1 * value})
        assert to != expected
        found = told(with_changes(*chip, [f"{path}={1.1 * value:.12g} {unit}"]))
        assert found == pytest.approx(to, rel=1e-7), path


def test_a_charge_per_cycle_is_a_current_per_clock() -> None:
    # 1 A/Hz = 1 A s = 1 C by the units' definition (SI Brochure, 9th ed., 2.3.4)
    for text in ("105 uA/MHz", "0.105 mA/MHz", "105 nA/kHz", "105 pC", "0.105 nC", "105e-12 A/Hz"):
        found = read_quantity(text, "current-per-frequency")
        assert found.nominal == pytest.approx(105e-12, rel=1e-12)


def test_nine_draws_in_ten_are_within_the_stated_factor(chip: Inputs) -> None:
    part = chip[0].parts["chip"]
    assert isinstance(part.run_current, RunCurrent)
    cycles = part.kernels["hash"]["fast"].cycles
    slope = part.run_current.per_clock
    assert cycles is not None
    assert slope is not None
    rng = np.random.default_rng(3)
    for figure, factor in ((cycles, CYCLES_WITHIN), (slope, RUN_CURRENT_WITHIN)):
        draws = sample(figure, rng, 20_000)
        inside = np.abs(np.log(draws / figure.nominal)) < math.log(factor)
        # the standard error of a share of 0.9 in 20,000 is 0.002
        assert inside.mean() == pytest.approx(0.9, abs=0.008)


@pytest.mark.parametrize(
    ("text", "wide"),
    [
        ("9600", math.log(CYCLES_WITHIN) / 1.6448536269514722),
        ("9600 ± 480", math.log(CYCLES_WITHIN) / 1.6448536269514722),
        ("{typical: 9600, max: 9700}", math.log(CYCLES_WITHIN) / 1.6448536269514722),
        ("{typical: 9600, max: 96000}", math.log(10) / 2.3263478740408408),
    ],
)
def test_what_is_stated_may_only_be_wider(chip: Inputs, text: str, wide: float) -> None:
    catalogue, _ = with_changes(*chip, [f"chip:kernels.hash.fast.cycles={text}"])
    cycles = catalogue.parts["chip"].kernels["hash"]["fast"].cycles
    assert cycles is not None
    assert cycles.shape[1] == pytest.approx(wide, rel=1e-9)


def test_a_lever_s_text_gives_the_same_figure(chip: Inputs) -> None:
    for path in ("chip:kernels.hash.fast.cycles", "chip:run-current.per-clock"):
        handle = lever(*chip, path)
        assert handle.now is not None
        assert handle.u > 0
        moved = lever(*with_changes(*chip, [handle.assignment(1.3 * handle.now)]), path)
        assert moved.now == pytest.approx(1.3 * handle.now, rel=1e-9)
        assert moved.u == pytest.approx(1.3 * handle.u, rel=1e-9)


@pytest.mark.parametrize("of", [("hash",), ("filter",), ("hash", "filter")])
def test_what_is_measured_counts_before(tmp_path: Path, of: tuple[str, ...]) -> None:
    catalogue, product = made(tmp_path, sheet(of=of))
    found = shortlist(catalogue, product, draws=200)
    (best,) = found.ranking
    assert set(best.estimated) == {f"chip:kernels.{k}.fast" for k in of}
    for kernel in ("hash", "filter"):
        named = [w for w in found.warnings if w.startswith(f"{kernel} is estimated for chip")]
        assert bool(named) == (kernel in of)
        assert all("common practice, no source" in w for w in named)
    # the idle current, the block, the sleep state and two kernels: one entry each
    assert found.evidence["estimate"] == pytest.approx(len(of) / 5)
    # cycles beside a measured time change nothing
    both = MEASURED["hash"].replace("{time", "{cycles: 1, time")
    (tmp_path / "parts/chip.yaml").write_text(PART.replace(MEASURED["hash"], both))
    again = load_run([tmp_path], _product("ideal").encode())
    (tmp_path / "parts/chip.yaml").write_text(PART)
    assert told(again) == told(load_run([tmp_path], _product("ideal").encode()))


def test_a_point_s_own_run_current_counts_before_the_part_s(tmp_path: Path) -> None:
    text = sheet(run="run-current: 999 uA/MHz").replace(
        "clock: 24 MHz,", "clock: 24 MHz, run-current: {per-clock: 240 uA/MHz, base: 0.3 mA},"
    )
    stated = {path: value for path, (value, _) in SHEET.items()}
    assert told(made(tmp_path, text)) == pytest.approx(by_hand(stated), rel=1e-7)


@pytest.mark.parametrize(
    ("old", "new", "missing"),
    [
        ("clock: 24 MHz, ", "", "chip:operating-points.fast.clock"),
        (SLOPE, "", "chip:kernels.hash.fast.current"),
        ("cycles: 9600", "version: 1", "chip:kernels.hash.fast.time"),
        (", supply: 3 V}", "}", "chip:run-current.supply"),
    ],
)
def test_what_lacks_is_named(tmp_path: Path, old: str, new: str, missing: str) -> None:
    text = sheet(of=("hash",)).replace(old, new)
    if "supply" in missing:
        text = text.replace("max: 3.7 V}", "max: 3.7 V, regulator: switching}")
    (aside,) = shortlist(*made(tmp_path, text), draws=0).set_aside
    assert missing in aside.missing


def test_a_switching_regulator_draws_power_at_the_run_current_s_supply(tmp_path: Path) -> None:
    text = sheet().replace("max: 3.7 V}", "max: 3.7 V, regulator: switching}")
    inputs_ = made(tmp_path, text)
    more = told(with_changes(*inputs_, ["chip:run-current.supply=3.3 V"]))
    assert more["life"] < told(inputs_)["life"]


def test_an_engine_s_current_is_not_the_core_s(tmp_path: Path) -> None:
    text = sheet(of=("hash",)).replace(
        "hash: {fast: {cycles: 9600}}", "hash: {fast+aid: {cycles: 960}}"
    )
    (aside,) = shortlist(*made(tmp_path, text), draws=0).set_aside
    assert aside.missing == ("chip:kernels.hash.fast+aid.current",)


def test_it_goes_through_every_study(chip: Inputs) -> None:
    found = gaps(*chip, draws=300)
    asked = {g.path: g.action for g in found.figures}
    assert "told by cycles so far" in asked["chip:kernels.hash.fast.cycles"]
    assert "run-current" in asked["chip:run-current.per-clock"]
    levers = {t.path for t in tipping(*chip, points=2, draws=0).levers}
    assert set(SHEET) <= levers
    along = outlook(*chip, along=["chip:run-current.per-clock"], points=3, draws=0)
    lives = [p.battery_life_s for p in along.levers[0].curves[0].points]
    assert [x.nominal for x in lives if x] == sorted((x.nominal for x in lives if x), reverse=True)
    assert any("rests on estimates" in r for r in explain(*chip, "chip").reasons)
    assert "estimated" in " ".join(weights(*chip, draws=0).warnings)
    assert report(*chip, draws=0).shortlist.ranking[0].estimated


def test_an_unknown_word_for_the_unit_is_refused(chip: Inputs) -> None:
    with pytest.raises(FaultError, match="current-per-frequency such as 105 µA/MHz"):
        with_changes(*chip, ["chip:run-current=105 uA"])


# ------------------------------------------------------------------------ --estimate-missing


TWIN = (
    PART.replace("part: chip", "part: twin")
    .replace(MEASURED["hash"], "hash: {fast: {time: 0.5 ms}}")
    .replace(MEASURED["filter"] + "\n", "\n")
    .replace("{idle-current: 1.1 mA", "{clock: 12 MHz, idle-current: 1.1 mA")
    + "run-current: 300 uA/MHz\ncore: {architecture: INVENTED-7}\n"
)
CHIP = PART.replace("{idle-current: 1.1 mA", "{clock: 24 MHz, idle-current: 1.1 mA")


def twins(root: Path, core: str = "{architecture: invented-7, float-unit: none}") -> Inputs:
    """A part that was measured, and one of the same core of which only one time was."""
    inputs(root, "ideal")
    (root / "parts/chip.yaml").write_text(CHIP + f"core: {core}\n")
    (root / "parts/twin.yaml").write_text(TWIN)
    return load_run([root], _product("ideal").encode())


def test_cycles_come_from_parts_of_the_same_core(tmp_path: Path) -> None:
    both = twins(tmp_path)
    (aside,) = shortlist(*both, draws=0).set_aside
    assert aside.part == "twin"
    found = shortlist(*both, draws=0, estimate_missing=True)
    part = next(p for p in found.ranking if p.part == "twin")
    assert part.estimated == ("twin:kernels.filter.fast", "twin:kernels.hash.fast")
    notes = [w for w in found.warnings if "is estimated for twin" in w]
    assert any(w.startswith("filter") and "chip, of the same core" in w for w in notes)
    assert any(w.startswith("hash") and "its current is by run-current" in w for w in notes)
    kernels = found.evaluation.catalogue.parts["twin"].kernels
    cycles, time = kernels["filter"]["fast"].cycles, kernels["hash"]["fast"].time
    assert cycles is not None
    assert time is not None
    # 0.2 ms at the other's 24 MHz; the time that was measured stays
    assert cycles.nominal == pytest.approx(4800, rel=1e-9)
    assert time.nominal == pytest.approx(0.5e-3, rel=1e-9)
    by_hand_ = {path: value for path, (value, _) in figures("ideal").items()}
    for kernel, seconds in (("hash", 0.5e-3), ("filter", 4800 / 12e6)):
        by_hand_[f"chip:kernels.{kernel}.fast.time"] = seconds
        by_hand_[f"chip:kernels.{kernel}.fast.current"] = 300e-12 * 12e6
    expected = answer(by_hand_, "ideal")
    assert part.battery_life_s.nominal == pytest.approx(expected["life"], rel=1e-7)


@pytest.mark.parametrize(
    "core", ["{architecture: invented-8}", "{cores: 1}", "{architecture: invented-7}"]
)
def test_only_the_same_core_tells_cycles(tmp_path: Path, core: str) -> None:
    catalogue, product = twins(tmp_path, core)
    found = shortlist(catalogue, product, draws=0, estimate_missing=True)
    assert bool(found.set_aside) == ("7" not in core)
    # other floating-point hardware runs other code
    changed = ["chip:core.float-unit=double", "twin:core.float-unit=none"]
    other = with_changes(catalogue, product, changed)
    assert shortlist(*other, draws=0, estimate_missing=True).set_aside


def test_every_ranking_names_what_it_estimated(tmp_path: Path) -> None:
    both, path = twins(tmp_path), "probe:cost.units"
    moved = tipping(*both, [path], points=1, draws=0, estimate_missing=True)
    along = outlook(*both, along=[path], points=2, draws=0, estimate_missing=True)
    written = report(*both, draws=0, estimate_missing=True)
    for warnings in (
        shortlist(*both, draws=0, estimate_missing=True).warnings,
        explain(*both, "twin", draws=0, estimate_missing=True).warnings,
        gaps(*both, draws=200, estimate_missing=True).warnings,
        weights(*both, draws=0, estimate_missing=True).warnings,
        written.warnings,
        moved.warnings,
        along.warnings,
    ):
        assert any("filter is estimated for twin" in w for w in warnings)
    for warnings in (moved.warnings, along.warnings):
        assert "what is estimated stays as it is while a figure moves" in warnings
    assert written.call[-1] == "--estimate-missing"
    record = tmp_path / "record.yaml"
    record.write_text(decide(*both, "twin", "a test", draws=0, estimate_missing=True).text)
    again = revisit(read_decision(record), *both)
    assert again.stands
    assert any("filter is estimated for twin" in w for w in again.shortlist.warnings)


def test_what_is_estimated_stays_where_its_part_is_read_anew(tmp_path: Path) -> None:
    both = twins(tmp_path)
    filled = shortlist(*both, draws=0, estimate_missing=True).evaluation.catalogue
    moved, _ = with_changes(filled, both[1], ["twin:memory.ram=15 KiB"])
    assert moved.parts["twin"].memory != filled.parts["twin"].memory
    assert moved.parts["twin"].kernels == filled.parts["twin"].kernels
    # the time that was measured moves, and nothing else
    moved, _ = with_changes(filled, both[1], ["twin:kernels.hash.fast.time=0.6 ms"])
    stands = filled.parts["twin"].kernels["hash"]["fast"]
    time = moved.parts["twin"].kernels["hash"]["fast"].time
    assert time is not None
    assert time.nominal == pytest.approx(0.6e-3)
    assert moved.parts["twin"].kernels["hash"]["fast"] == replace(stands, time=time)
