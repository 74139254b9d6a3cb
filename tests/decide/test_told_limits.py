"""What is told of a limit that is broken: what fails, and nothing that holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.decide.screens import Failed
from tests.decide.test_limits import (
    CELL,
    CONVERTER,
    PART,
    PRODUCT,
    _recharged,
    decided,
    stored,
    swap,
)


def test_what_an_interval_fails_by_is_what_is_told(tmp_path: Path) -> None:
    """A charge of the new pack lasts longer than the interval, and the pack ages within it."""
    ageing = "ageing: {calendar: {loss: 20 %, after: 1 year, at: 20 degC, doubles-every: 10 K, "
    aged = swap("cell", "price:", f"{ageing}exponent: 1}}, end: 90 %}}\nprice:")
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    stays, failed = decided(aged(_recharged("1 year")(files)), tmp_path)
    assert not stays
    assert failed == {"recharge.every that the pack lasts as it ages"}


@pytest.mark.parametrize(
    ("shelf_life", "years", "need"),
    [
        ("12 years", "11 years", None),
        ("10 years", "11 years", "shelf-life beyond before-use"),
        ("120 years", "110 years", "depth of discharge in reach after before-use"),
    ],
)
def test_a_pack_is_out_of_store_by_what_it_lacks_alone(
    shelf_life: str, years: str, need: str | None, tmp_path: Path
) -> None:
    """The fresh pack's voltage, which would hold, is no reason."""
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    kept = swap("cell", "price:", f"shelf-life: {shelf_life}\nprice:")
    stays, failed = decided(kept(stored(years, "disconnected")(files)), tmp_path)
    assert stays is (need is None)
    assert failed == (set() if need is None else {need})


def test_a_need_just_missed_is_told_in_digits_that_show_it() -> None:
    near = Failed(need="max-pulse", required=20.0015e-3, offered=20e-3, dimension="current")
    assert near.text == "max-pulse: 20.0015 mA needed, 20.0000 mA offered"
    same = Failed(need="busy", required=1.0, offered=1.0, dimension="share")
    assert same.text == "busy: 100 % needed, 100 % offered"
    far = Failed(need="max-pulse", required=21e-3, offered=20e-3, dimension="current")
    assert far.text == "max-pulse: 21.0 mA needed, 20.0 mA offered"
