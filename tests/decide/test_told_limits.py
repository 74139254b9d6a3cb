"""What is told of a limit that is broken: what fails, and nothing that holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.schema_hourly import MONTHS
from advisor.decide.screens import Failed
from tests.decide.test_limits import (
    CASES,
    CELL,
    CONVERTER,
    PART,
    PRODUCT,
    aged,
    decided,
    evaluated,
    recharged,
    stored,
    swap,
)

AGED = "capacity left for ageing.end after before-use"
STORED = "depth of discharge in reach after before-use"
LASTS = "recharge.every that one charge lasts"
AGES = "recharge.every that the pack lasts as it ages"
WEAK = "voltage of a pack aged before use under load, in the cold"
LIGHT = ", ".join(f"{month}: 900 mWh" for month in MONTHS)
LIT = f"harvest: {{energy: {{{LIGHT}}}, spread: 0, persistence: 0, night: 12 h}}"


def test_what_an_interval_fails_by_is_what_is_told(tmp_path: Path) -> None:
    """A charge of the new pack lasts longer than the interval, and the pack ages within it."""
    ageing = "ageing: {calendar: {loss: 20 %, after: 1 year, at: 20 degC, doubles-every: 10 K, "
    aged = swap("cell", "price:", f"{ageing}exponent: 1}}, end: 90 %}}\nprice:")
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    stays, failed = decided(aged(recharged("1 year")(files)), tmp_path)
    assert not stays
    assert failed == {AGES}


@pytest.mark.parametrize(
    ("shelf_life", "years", "need"),
    [
        ("12 years", "11 years", None),
        ("10 years", "11 years", "shelf-life beyond before-use"),
        ("120 years", "110 years", STORED),
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


@pytest.mark.parametrize(
    ("end", "after", "every", "years", "need"),
    [
        # at 20 % a year, of which a day more takes little
        ("75 %", "1 year", "1 d", "1 year", None),
        ("85 %", "1 year", "1 d", "1 year", AGED),
        # nothing is left of the capacity, whether an end is stated or not
        ("1 %", "1e-50 s", "1 d", "1 year", AGED),
        (None, "1e-50 s", "1 d", "1 year", f"{STORED}, of what age leaves"),
        # half of the capacity is left, and 60 % of the rated one was taken
        (None, "24 years", "1 d", "60 years", f"{STORED}, of what age leaves"),
        # the interval is told by itself, however far the pack ages within it
        ("1 %", "9 years", "8 years", "1 year", LASTS),
        ("1 %", "9 years", "100 years", "1 year", LASTS),
    ],
)
def test_what_ends_a_pack_in_store_is_told_apart_from_its_interval(
    end: str | None, after: str, every: str, years: str, need: str | None, tmp_path: Path
) -> None:
    """A charge of the new pack lasts 6.31 years, of which storage takes 1 % a year."""
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    files = aged(end, after, every, years)(files)
    files["cell"] = files["cell"].replace("shelf-life: 9 years", "shelf-life: 400 years")
    stays, failed = decided(files, tmp_path)
    assert stays is (need is None)
    assert failed == (set() if need is None else {need})


@pytest.mark.parametrize(
    ("rise", "after", "every", "years", "need"),
    [
        (0, "1 year", "1 d", "1 year", None),
        # the resistance is 201 times the new one's on the first day
        (1000, "1 year", "1 d", "1 year", WEAK),
        (1000, "1 year", "1 year", "1 year", WEAK),
        (1000, "10 years", "6 years", "1 d", AGES),
        (0, "10 years", "4 years", "1 d", None),
        # the new pack's charge would not last either
        (1000, "10 years", "8 years", "1 d", LASTS),
    ],
)
def test_resistance_that_age_makes_is_told_as_what_it_ends(
    rise: int, after: str, every: str, years: str, need: str | None, tmp_path: Path
) -> None:
    """In store the voltage of the first day, in the first interval the years until it falls
    short, which is what an interval may be."""
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    files = aged(None, after, every, years)(files)
    files["cell"] = files["cell"].replace("exponent: 1}", f"exponent: 1, resistance: {rise}}}")
    found = evaluated(files, tmp_path / "as it is")
    failed = list(found.screened.get("one", ()))
    assert {one.need for one in failed} == (set() if need is None else {need})
    if need in (AGES, LASTS):
        (one,) = failed
        assert isinstance(one.offered, float)
        assert 0 < one.offered < 5 * 31557600.0
        for share, stays in ((0.999, True), (1.001, False)):
            shorter = f"recharge: {{every: {one.offered * share:.3f} s}}"
            changed = swap("product", f"recharge: {{every: {every}}}", shorter)(files)
            assert ("one" in evaluated(changed, tmp_path / str(share)).screened) is not stays
    if need == WEAK:
        (one,) = failed
        assert isinstance(one.offered, float)
        assert isinstance(one.required, float)
        assert one.offered < one.required


@pytest.mark.parametrize(
    ("charge", "places", "out"),
    [
        ("min: 20 degC", "{at: 20 degC, share: 1}", False),
        ("min: 20.1 degC", "{at: 20 degC, share: 1}", True),
        ("max: 20 degC", "{at: 20 degC, share: 1}", False),
        ("max: 19.9 degC", "{at: 20 degC, share: 1}", True),
        # for a thousandth of the year
        ("min: 30 degC", "{at: 20 degC, share: 0.999}, {at: 30 degC, share: 0.001}", False),
        (
            "min: 21 degC, max: 22 degC",
            "{at: 20 degC, share: 0.5}, {at: 30 degC, share: 0.5}",
            True,
        ),
    ],
)
def test_a_store_is_harvested_into_where_it_may_be_charged(
    charge: str, places: str, out: bool, tmp_path: Path
) -> None:
    """As one that somebody charges; what is not charged by the light stands wherever it is."""
    limit = {"flat at a temperature at which it may be charged"}
    environment = swap("product", "{at: 20 degC, share: 1}", places)
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    files = environment(recharged("1 d", f"efficiency: 1, {charge}")(files))
    assert decided(files, tmp_path / "charged") == (not out, limit if out else set())
    lit = swap("product", "recharge: {every: 1 d}", LIT)(files)
    assert decided(lit, tmp_path / "lit") == (not out, limit if out else set())
    begin = lit["cell"].index("charge: {")
    alone = lit["cell"][:begin] + lit["cell"][lit["cell"].index("price:") :]
    for n, cell in enumerate((alone, alone.replace("rechargeable: true\n", ""))):
        assert decided({**lit, "cell": cell}, tmp_path / f"alone {n}") == (True, set())


def test_the_nearest_place_to_charge_a_cell_is_told(tmp_path: Path) -> None:
    places = ", ".join(f"{{at: {at} degC, share: 0.25}}" for at in (0, 10, 20, 40))
    environment = swap("product", "{at: 20 degC, share: 1}", places)
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    for low, high, told in (
        (11, 12, "11.0 degC needed, 10.0 degC offered"),
        (15, 19, "at most 19.0 degC, the nearest place has 20.0 degC"),
        (-9, -4, "at most -4.00 degC, the nearest place has 0 degC"),
        (49, 60, "49.0 degC needed, 40.0 degC offered"),
    ):
        charge = f"min: {low} degC, max: {high} degC"
        found = evaluated(environment(recharged("1 d", charge)(files)), tmp_path / charge)
        (failed,) = found.screened["one"]
        assert failed.text == f"flat at a temperature at which it may be charged: {told}"


def test_age_ends_a_store_that_is_harvested_into_before_its_first_day(tmp_path: Path) -> None:
    """What a panel would charge is out by its age, and by nothing else."""
    for end, need in (("75 %", set()), ("85 %", {AGED})):
        files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
        files = aged(end)(files)
        files["cell"] = files["cell"].replace("charge: {", "charge: {efficiency: 1, ")
        files["product"] = files["product"].replace("recharge: {every: 1 d}", LIT)
        stays, failed = decided(files, tmp_path / end)
        assert (stays, failed) == (not need, need)


def test_a_need_just_missed_is_told_in_digits_that_show_it() -> None:
    near = Failed(need="max-pulse", required=20.0015e-3, offered=20e-3, dimension="current")
    assert near.text == "max-pulse: 20.0015 mA needed, 20.0000 mA offered"
    same = Failed(need="busy", required=1.0, offered=1.0, dimension="share")
    assert same.text == "busy: 100 % needed, 100 % offered"
    most = Failed("limit", 9.0, 9.001, "money", unit="EUR", beyond="it costs")
    assert most.text == "limit: at most EUR 9.000, it costs EUR 9.001"
    far = Failed(need="max-pulse", required=21e-3, offered=20e-3, dimension="current")
    assert far.text == "max-pulse: 21.0 mA needed, 20.0 mA offered"


# limits of how far down something reaches: what is asked is needed there, though it is less
DOWN = {("part", "temperature.min"), ("feed", "cold-pulses"), ("feed", "output-min")}


@pytest.mark.parametrize("case", CASES)
def test_the_most_that_may_be_is_not_told_as_needed(case: tuple[str, str], tmp_path: Path) -> None:
    need, _, breaks = CASES[case]
    files = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}
    found = evaluated(breaks(files), tmp_path).screened["one"]
    told = [failed for failed in found if failed.need.startswith(need)]
    assert told
    for failed in told:
        assert (f"{failed.need}: at most " in failed.text) is not failed.text.endswith(" offered")
        if isinstance(failed.required, float) and isinstance(failed.offered, float):
            passed = failed.required < failed.offered and case not in DOWN
            assert (": at most " in failed.text) is passed, failed.text
