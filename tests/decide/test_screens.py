"""Needs at their very edge: what just meets one stays, what just misses it goes, with how far."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from advisor.decide.screens import Failed, Screened, screen
from tests.model.records import PRODUCT, records

PART = {
    "lifecycle": "active",
    "memory": "{flash: 64 KiB, ram: 16 KiB}",
    "features": "{uart: 2}",
    "temperature": "{min: -40 degC, max: 85 degC}",
    "blocks": "{beacon: {current: 5 mA, for: 1 ms}}",
}


def screened(root: Path, product: Mapping[str, str], without: str = "") -> Screened:
    text = "part: chip\n" + "".join(f"{k}: {v}\n" for k, v in PART.items() if k != without)
    catalogue, made = records(root, {**PRODUCT, **product}, parts={"chip": text})
    return screen(catalogue.parts["chip"], made)


MEETS = [
    {"needs": "{memory: {flash: 64 KiB, ram: 16 KiB}, features: {uart: 2}}"},
    {"needs": "{temperature: {min: -40 degC, max: 85 degC}, lifecycle: [announced, active]}"},
    {"environment": "[{at: -40 degC, share: 0.5}, {at: 85 degC, share: 0.5}]"},
    {"workload": "[{task: t, every: 9 s, kernels: {crc: 1}, uses: {beacon: 1}}]"},
]


@pytest.mark.parametrize("product", MEETS)
def test_a_need_just_met(tmp_path: Path, product: dict[str, str]) -> None:
    found = screened(tmp_path, product)
    assert (found.failed, found.missing) == ((), ())


FAILS = [
    ({"needs": "{memory: {flash: 80 KiB}}"}, "memory.flash", 16 / 80,
     "memory.flash: 80.0 KiB needed, 64.0 KiB offered"),
    ({"needs": "{memory: {ram: 16.5 KiB}}"}, "memory.ram", 0.5 / 16.5, "16.5 KiB needed"),
    ({"needs": "{features: {uart: 3}}"}, "features.uart", 1 / 3, "3 needed, 2 offered"),
    ({"needs": "{temperature: {min: -41 degC}}"}, "temperature.min", 0.01, "-41.0 degC needed"),
    ({"needs": "{temperature: {max: 90 degC}}"}, "temperature.max", 0.05, "85.0 degC offered"),
    ({"environment": "[{at: 20 degC, share: 0.9}, {at: -45 degC, share: 0.1}]"},
     "environment min", 0.05, "-45.0 degC needed"),
    ({"environment": "[{at: 20 degC, share: 0.9}, {at: 86 degC, share: 0.1}]"},
     "environment max", 0.01, "86.0 degC needed"),
    # two steps of four from active to ended, one to last-orders
    ({"needs": "{lifecycle: [ended]}"}, "lifecycle", 0.5, "ended needed, active offered"),
    ({"needs": "{lifecycle: [last-orders, ended]}"}, "lifecycle", 0.25, "last-orders or ended"),
]  # fmt: skip


@pytest.mark.parametrize(("product", "need", "miss", "words"), FAILS)
def test_a_need_just_missed(
    tmp_path: Path, product: dict[str, str], need: str, miss: float, words: str
) -> None:
    (fault,) = screened(tmp_path, product).failed
    assert fault.need == need
    assert fault.miss == pytest.approx(miss, rel=1e-12)
    assert words in fault.text


def test_a_block_that_the_part_does_not_have(tmp_path: Path) -> None:
    other = "part: other\nblocks: {radio: {current: 1 mA, for: 1 ms}}\n"
    text = "part: chip\n" + "".join(f"{k}: {v}\n" for k, v in PART.items())
    tasks = "[{task: t, every: 9 s, kernels: {crc: 1}, uses: {radio: 1}}]"
    catalogue, product = records(
        tmp_path, {**PRODUCT, "workload": tasks}, parts={"chip": text, "other": other}
    )
    (fault,) = screen(catalogue.parts["chip"], product).failed
    assert fault.text == "blocks.radio: 1 needed, 0 offered"


@pytest.mark.parametrize(
    ("key", "product", "missing"),
    [
        (
            "memory",
            {"needs": "{memory: {flash: 1 KiB, ram: 1 KiB}}"},
            ["memory.flash", "memory.ram"],
        ),
        ("features", {"needs": "{features: {uart: 1}}"}, ["features.uart"]),
        ("lifecycle", {"needs": "{lifecycle: [active]}"}, ["lifecycle"]),
        ("temperature", {}, ["temperature.min", "temperature.max"]),
    ],
)
def test_what_is_not_stated_is_missing_and_not_failed(
    tmp_path: Path, key: str, product: dict[str, str], missing: list[str]
) -> None:
    found = screened(tmp_path, product, without=key)
    assert found.failed == ()
    assert list(found.missing) == [f"chip:{name}" for name in missing]


@pytest.mark.parametrize(
    ("failed", "text"),
    [
        (Failed("features.adc", 12.0, 10.0), "features.adc: 12 needed, 10 offered"),
        (Failed("features.adc", 12.0, None), "features.adc: 12 needed, nothing offered"),
        (Failed("memory.ram", 2048.0, None, "information"), "memory.ram: 2.00 KiB needed, nothing"),
        (Failed("memory.ram", 2048.0, 1024.0, "information"), "2.00 KiB needed, 1.00 KiB offered"),
        (Failed("within", "one", "none"), "within: one needed, none offered"),
        (Failed("limit", 3.5, 5.406, "money", unit="EUR"), "EUR 3.50 needed, EUR 5.41 offered"),
        (Failed("limit", 3.5, 3.5004, "money", unit="EUR"), "EUR 3.50000 needed, EUR 3.50040 off"),
        (Failed("limit", 3.5, 4.0, "money"), "limit: 3.50 needed, 4.00 offered"),
        (Failed("lead-time", 6048e3, 7257600.0, "time", unit="weeks"), "10 weeks needed, 12 weeks"),
    ],
)
def test_what_is_not_met_is_told_in_its_own_units(failed: Failed, text: str) -> None:
    assert text in failed.text
