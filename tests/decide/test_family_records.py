"""What a family may not be, one thing at a time, and its limits as values and words."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from advisor.decide.family import Family, Limit, Limits
from tests.decide.test_family_model import option, small, two_sources


def member(family: Family, **figures: Any) -> Family:
    return replace(family, members=(replace(family.members[0], **figures), *family.members[1:]))


def one_option(family: Family, **figures: Any) -> Family:
    first, *others = family.members[0].options
    return member(family, options=(replace(first, **figures), *others))


def item(family: Family, **figures: Any) -> Family:
    return replace(family, items=(replace(family.items[0], **figures), *family.items[1:]))


def platform(family: Family, **figures: Any) -> Family:
    first, *others = family.platforms
    return replace(family, platforms=(replace(first, **figures), *others))


Wrong = Callable[[Family], Family]
WRONG: dict[str, Wrong] = {
    "product 'post' is there twice": lambda f: member(f, name="post"),
    "item 'b' is there twice": lambda f: item(two_parts(f), name="b"),
    "part 'a' is there twice": lambda f: replace(f, platforms=(*f.platforms, f.platforms[0])),
    "product 'gate': option 'a' is there twice": lambda f: member(
        f, options=(*f.members[0].options, f.members[0].options[0])
    ),
    "the family: rate of -1": lambda f: replace(f, rate=-1),
    "the family: rate of inf": lambda f: replace(f, rate=math.inf),
    "a family has a product at least": lambda f: replace(f, members=()),
    "a toolchain's share of 1.01": lambda f: replace(f, toolchain_share=1.01),
    "a toolchain's share of -0.01": lambda f: replace(f, toolchain_share=-0.01),
    "limit engineering: -1": lambda f: replace(f, limits=Limits(hours=-1)),
    "limit capital: nan": lambda f: replace(f, limits=Limits(capital=math.nan)),
    "part 'a': setup_h of -2": lambda f: platform(f, setup_h=-2),
    "item 'a': breaks at [] are not ascending from 1 up": lambda f: item(f, breaks=()),
    "item 'a': breaks at [0] are not ascending from 1 up": lambda f: item(f, breaks=((0, 1.0),)),
    "item 'a': breaks at [1, 9, 9] are not ascending from 1 up": lambda f: item(
        f, breaks=((1, 2.0), (9, 1.5), (9, 1.0))
    ),
    "item 'a': breaks at [9, 1] are not ascending from 1 up": lambda f: item(
        f, breaks=((9, 2.0), (1, 1.0))
    ),
    "item 'a': price from 9 of -1.0": lambda f: item(f, breaks=((1, 2.0), (9, -1.0))),
    "item 'a': a multiple of 0, 0 in stock": lambda f: item(f, multiple=0),
    "item 'a': a multiple of 1, -1 in stock": lambda f: item(f, stock=-1),
    "product 'gate': its favourite 'z' is none of its options": lambda f: member(f, favourite="z"),
    "product 'gate': 0 units": lambda f: member(f, units=0),
    "product 'gate': tools of -1": lambda f: member(f, tools=-1),
    "product 'gate': porting_h of nan": lambda f: member(f, porting_h=math.nan),
    "product 'gate': a chance of 1.1": lambda f: member(f, life_chance=1.1),
    "product 'gate': a chance of -0.1": lambda f: member(f, life_chance=-0.1),
    "product 'gate': give_up of -1": lambda f: member(f, give_up=-1),
    "product 'gate', option 'a': no part 'spare'": lambda f: one_option(
        two_parts(f), part="spare", pieces={"spare": 1}
    ),
    "product 'gate', option 'a': its part is not among its pieces": lambda f: one_option(
        f, pieces={"cell": 1}
    ),
    "product 'gate', option 'a': no item 'lid'": lambda f: one_option(f, pieces={"a": 1, "lid": 1}),
    "product 'gate', option 'a': -1 pieces of 'cell'": lambda f: one_option(
        f, pieces={"a": 1, "cell": -1}
    ),
    "product 'gate', option 'a': other of -1": lambda f: one_option(f, other=-1),
    "product 'gate', option 'a': upkeep of -1": lambda f: one_option(f, upkeep=-1),
    "product 'gate', option 'a': supply of inf": lambda f: one_option(f, supply=math.inf),
    "product 'gate', option 'a': setup_h of -1": lambda f: one_option(f, setup_h=-1),
    "product 'gate', option 'a': supply as the second of two of -3": lambda f: one_option(
        f, supply_of_two=(0, -3)
    ),
    "product 'gate', option 'a': a score of nan": lambda f: one_option(f, score=math.nan),
    "product 'gate', option 'a': a chance of 1.5": lambda f: one_option(f, life_chance=1.5),
    "product 'gate', option 'a': a chance of -0.5": lambda f: one_option(f, life_chance=-0.5),
}
OF_TWO: dict[str, Wrong] = {
    "product 'gate': a second source for 0 of 400 units": lambda f: member(f, second_share=0.0),
    "product 'gate': a second source for 400 of 400 units": lambda f: member(f, second_share=1.0),
    "product 'gate': no cost of supply with 'south' first and 'north' second": lambda f: member(
        f, two_sources={("north", "south"): 10.0}
    ),
    "product 'gate': north and south of -1": lambda f: member(
        f, two_sources={("north", "south"): -1, ("south", "north"): 15.0}
    ),
}


def two_parts(family: Family) -> Family:
    """A spare item before the others, so that one may take another's name."""
    return replace(family, items=(replace(family.items[0], name="spare"), *family.items))


@pytest.mark.parametrize("words", [*WRONG, *OF_TWO])
def test_each_thing_that_does_not_fit_is_told_and_nothing_else(words: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        WRONG[words](small()) if words in WRONG else OF_TWO[words](two_sources())


def test_what_stands_at_an_end_fits() -> None:
    family = replace(small(), toolchain_share=1.0, rate=0.0, limits=Limits(parts=0, hours=0.0))
    family = replace(family, toolchain_share=0.0)
    for chance in (0.0, 1.0):
        family = one_option(member(family, life_chance=chance), life_chance=chance)
    assert member(family, units=1, give_up=0.0).members[0].units == 1
    # what is equal but for rounding is kept
    first = family.members[0]
    assert first.lives(replace(first.options[0], life_chance=1.0 - 1e-12))
    assert not first.lives(replace(first.options[0], life_chance=0.999))
    assert replace(first, life_chance=None).lives(replace(first.options[0], life_chance=0.0))


@pytest.mark.parametrize(("share", "units"), [(0.25, 100), (0.1238, 50), (0.12374, 49)])
def test_second_units_are_the_nearest_whole_number(share: float, units: int) -> None:
    """400 times 0.12375 are 49.5."""
    family = two_sources()
    assert member(family, second_share=share).members[0].second_units == units


def test_a_give_up_is_below_the_favourite() -> None:
    """Of 70 points five may go."""
    family = member(small(), give_up=5.0)
    assert family.members[0].least_score == pytest.approx(65.0, abs=1e-6)
    assert family.members[0].least_score < 65.0
    assert family.members[1].least_score == -math.inf


def test_limits_are_told_moved_and_switched_off_one_by_one() -> None:
    limits = Limits(parts=2, hours=50.0, capital=1e4, cost=12_000.0)
    family = replace(member(small(), life_chance=0.8, give_up=5.0), limits=limits)
    words = {
        Limit("parts"): (2, "at most 2 different parts"),
        Limit("engineering"): (50.0, "at most 50 h of engineering"),
        Limit("capital"): (1e4, "at most 10,000 of capital"),
        Limit("cost"): (12_000.0, "at most 12,000 of expected cost"),
        Limit("life-chance", "gate"): (
            0.8, "gate reaches its life target in at least 80 % of the draws",
        ),
        Limit("give-up", "gate"): (5.0, "gate gives up at most 5 points of its score"),
    }  # fmt: skip
    assert family.stated() == tuple(words)
    for limit, (value, text) in words.items():
        assert family.value(limit) == value
        assert family.words(limit) == text
        off = family.moved(limit, None)
        assert off.value(limit) is None
        assert set(off.stated()) == set(words) - {limit}
        assert family.only([limit]).stated() == (limit,)
        assert family.moved(limit, 1.0).value(limit) == 1
    assert family.moved(Limit("parts"), 1).words(Limit("parts")) == "at most 1 different part"
    two = member(two_sources(), second="required")
    second = Limit("second-source", "gate")
    assert second in two.stated()
    assert two.words(second) == "gate has a second source"
    assert two.only([]).members[0].second == "allowed"
    assert two.only([]).moved(second, 1.0).members[0].second == "required"


def test_a_product_is_found_by_its_name() -> None:
    assert [small().member(name).units for name in ("post", "gate")] == [100, 400]
    assert option("a", "coin").setup_h == 0.0
