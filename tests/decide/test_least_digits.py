"""Tips in the least digits that still tip, in the file's own unit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever, lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.least_digits import BEYOND, CLOSE, rounded
from advisor.figures import Path
from advisor.studies.shortlist import shortlist
from advisor.studies.tipping import tipping

PRODUCT = "barrel-tag"
CASES = {
    # change, where it tips (SI), what is offered first: reckoned by hand
    "quorvane-tib:supply.max=3.6 V": (3.2388, "3.23V"),
    "tessimur-mub:price.breaks.10000=0.77": (0.52968, "0.529"),
    "quorvane-tib:sleep-states.ram-kept.current.25 degC=1.59 uA": (2.1315e-6, "2.14uA"),
    "barrel-tag:service-life=7 years": (8.0001 * 31557600, "8.01years"),
    "barrel-tag:cost.units=20000": (56569, "57000"),
    "barrel-tag:workload.sample.every=1 min": (15.515, "0.258min"),
    "barrel-tag:cost.unit-cost-limit=3.5": (0.8497, "0.849"),
    "barrel-tag:environment.22 degC.at=22 degC": (31.234, "31.3degC"),
}


@pytest.mark.parametrize("change", CASES)
def test_the_least_digits_in_the_unit_of_the_file(change: str) -> None:
    at, wanted = CASES[change]
    path = change.partition("=")[0]
    inputs = with_changes(*load(PRODUCT), [change])
    handle = lever(*inputs, path).in_own_unit()
    assert handle.now is not None
    values = list(rounded(handle, at))
    assert handle.text(values[0]) == wanted
    # nearer and nearer, never before the tip, never far beyond it
    for value in values:
        assert (value - at) * (at - handle.now) >= -1e-9 * at**2
        assert abs(value - at) <= BEYOND * abs(at - handle.now) * (1 + 1e-9)
        assert abs(value - at) <= handle.reach(at, CLOSE) * (1 + 1e-9)
    assert sorted(values, key=lambda x: -abs(x - at)) == values


def test_a_value_is_told_from_as_far_as_the_change_or_the_value_lets_it_be() -> None:
    """On both sides of a hundredth of the value, and of a twentieth of a small change."""
    share = Lever(Path("made-up", ("figure",)), Figure("share"), "1", 4.0, 0.0)
    assert next(rounded(share, 1.0099)) == 1.0
    assert next(rounded(share, 1.0102)) == 1.01
    near = replace(share, now=1.0)
    assert next(rounded(near, 1.0957)) == 1.1
    assert next(rounded(near, 1.0951)) == 1.096


def test_a_tip_at_nothing_or_where_it_stands_is_told_as_it_is() -> None:
    """Nothing has no first digit, and nothing lies a little beyond no change."""
    share = Lever(Path("made-up", ("figure",)), Figure("share"), "1", 0.25, 0.0)
    assert list(rounded(share, 0.0)) == []
    assert list(rounded(share, 0.25)) == []
    assert list(rounded(replace(share, now=0.0), 0.0)) == []


def test_a_spread_is_told_in_the_same_unit() -> None:
    path = "barrel-tag:standing-loads.level-strip.current"
    inputs = with_changes(*load(PRODUCT), [f"{path}=1.1±0.11uA(k=1)"])
    handle = lever(*inputs, path).in_own_unit()
    assert handle.text(1.46e-6) == "1.46±0.146uA(k=1)"
    assert handle.shown(1.46e-6) == "1.46 µA"
    back = lever(*with_changes(*inputs, [handle.assignment(1.46e-6)]), path)
    assert back.now == pytest.approx(1.46e-6, rel=1e-12)
    assert back.u == pytest.approx(0.146e-6, rel=1e-12)


@pytest.mark.once
def test_what_is_told_tips_where_it_is_pasted() -> None:
    inputs = load(PRODUCT)
    paths = [
        "quorvane-tib:supply.max",
        "tessimur-mub:price.breaks.10000",
        "barrel-tag:priorities.purchase-cost.poor",
        "quorvane-tib:sleep-states.ram-kept.current.25 degC",
    ]
    found = tipping(*inputs, paths, draws=0, points=4)
    tips = [tip for tip in found.levers if tip.text is not None]
    assert len(tips) == len(paths)
    for tip in tips:
        there = with_changes(*inputs, [f"{tip.path}={tip.text}"])
        assert shortlist(*there, draws=0).ranking[0].part == tip.new_winner
        assert tip.text is not None
        digits = tip.text.partition("±")[0].rstrip("VµA").replace(".", "").lstrip("0")
        assert len(digits) <= 3


@pytest.mark.once
def test_what_is_told_is_near_the_tip() -> None:
    """Of a large change a twentieth is much: 0.8 was told of 0.8497, and 15 s of 15.57 s."""
    paths = ["barrel-tag:cost.unit-cost-limit", "barrel-tag:workload.sample.every"]
    found = tipping(*load(PRODUCT), paths, draws=0, points=4)
    for tip in found.levers:
        assert tip.tips_at is not None
        assert tip.told_at is not None
        assert tip.tips_at * (1 - CLOSE) <= tip.told_at <= tip.tips_at
        there = with_changes(*load(PRODUCT), [f"{tip.path}={tip.text}"])
        assert shortlist(*there, draws=0).ranking[0].part == tip.new_winner
