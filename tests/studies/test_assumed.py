"""What is said of chosen builds' packs: when charges are too slow for their interval."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.studies.results import warnings_of
from tests.decide.test_limits import CELL, CONVERTER, PART, PRODUCT, evaluated, recharged

FILES = {"part one": PART, "cell": CELL, "converter": CONVERTER, "product": PRODUCT}


def warned(root: Path, every: str, limits: str, files: dict[str, str] | None = None) -> list[str]:
    """Warnings of the time that charges take, of parts that draw 3.81 µA in the mean and of which
    the cell loses 0.26 µA by itself, so that 4.07 µA over an interval are to be put in."""
    files = recharged(every, limits)(files or FILES)
    found = warnings_of(evaluated(files, root))
    return [text for text in found if "a charge takes at least" in text]


NO_TIME = "of recharge.every: charges count as taking no time"


@pytest.mark.parametrize(
    ("limits", "takes", "so"),
    [
        ("max: 45 degC", "", ""),
        ("max-current: 41 uA", "", ""),
        # 4.07 µA for ten days are charged at 40.3 µA in a little over a day
        ("max-current: 40.3 uA", "1.01 days", f"10.1 % {NO_TIME}"),
        # and of which half is lost, in twice the time
        ("efficiency: 50 %, max-current: 82 uA", "", ""),
        ("efficiency: 50 %, max-current: 41 uA", "1.98 days", f"19.8 % {NO_TIME}"),
        ("max-current: 4.1 uA", "9.92 days", f"99.2 % {NO_TIME}"),
        # longer than the interval: it is out, which tests of limits hold
        ("max-current: 4 uA", "", ""),
    ],
)
def test_a_charge_that_takes_much_of_its_interval_is_warned_of(
    limits: str, takes: str, so: str, tmp_path: Path
) -> None:
    found = warned(tmp_path, "10 d", limits)
    at = limits.rpartition(" ")[0].rpartition(": ")[2] + " uA"
    told = f"flat: a charge takes at least {takes} at charge.max-current, {at}, {so}"
    assert found == ([told] if takes else [])


def test_strings_are_charged_side_by_side(tmp_path: Path) -> None:
    """Two share the 3.81 µA and lose 0.26 µA each: 2.16 µA in the mean into one of them."""
    product = PRODUCT.replace("{cell: flat}", "{cell: flat, parallel: 2}")
    (found,) = warned(tmp_path, "10 d", "max-current: 4 uA", {**FILES, "product": product})
    assert found.startswith("2 strings of flat: a charge takes at least 5.40 days at")


def test_of_several_parts_on_a_pack_the_slowest_is_told(tmp_path: Path) -> None:
    thirsty = PART.replace("part: one", "part: two").replace("2 µA", "6 µA")
    assert thirsty.count("6 µA")
    (found,) = warned(tmp_path, "10 d", "max-current: 9 uA", {**FILES, "part two": thirsty})
    assert "8.96 days" in found
