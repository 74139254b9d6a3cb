"""What builds lack and whom they beat, case by case."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.decide import lacking
from advisor.decide.fronts import _beats, _Side
from advisor.decide.joint import _missing

pytestmark = pytest.mark.once
RNG = np.random.default_rng


def some(**figures: Any) -> Any:
    return SimpleNamespace(**figures)


# What is not known --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "keys", "cost", "told"),
    [
        (None, [], ["p:price"], []),
        (12.0, [], ["p:price"], ["p:price"]),
        (None, [("price",)], ["p:price"], ["p:price"]),
        (None, [("price",)], [], []),
        (None, [("memory", "ram")], ["p:price"], ["p:memory.ram"]),
        (None, [("memory", "flash")], ["p:price"], []),
        (12.0, [("memory", "ram"), ("memory", "ram")], [], ["p:memory.ram"]),
    ],
)
@pytest.mark.parametrize("ends", [(), ("min",), ("max",), ("min", "max")])
def test_what_a_weighted_criterion_lacks_of_a_part(
    limit: float | None,
    keys: list[tuple[str, ...]],
    cost: list[str],
    told: list[str],
    ends: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    of = [some(reads=keys[:1]), some(reads=keys)]
    monkeypatch.setattr(lacking, "measures", lambda product: of)
    supply = some(**{end: None if end in ends else 3.0 for end in ("min", "max")})
    part = some(part="p", supply=supply, memory=some(ram=None, flash=1.0), toolchain=None)
    product = some(cost=some(unit_cost_limit=limit))
    found = lacking.criterion_missing(cast(Any, part), cast(Any, product), cost)
    assert found == [*told, *(f"p:supply.{end}" for end in ends)]


NAN = math.nan


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({}, ()),
        ({"missing": ("p:price",)}, ("p:price",)),
        ({"feed": ("c:price",), "missing": ("c:price",)}, ("c:price",)),
        ({"setup_h": (NAN, 0.0)}, ("p:toolchain.setup",)),
        ({"setup_h": (1.0, NAN)}, ("p:toolchain.setup",)),
        ({"upkeep": NAN}, ("p:price",)),
        ({"upkeep": NAN, "life": None}, ("w:service-life",)),
        ({"upkeep": NAN, "visit": None}, ("w:cost.service-visit",)),
        ({"upkeep": NAN, "life": None, "visit": None}, ("w:service-life", "w:cost.service-visit")),
        ({"life": None, "visit": None}, ()),
        # told by what it is for, where something is told already
        ({"upkeep": NAN, "missing": ("c:price",)}, ("c:price",)),
        ({"other": NAN}, ("p:extras",)),
        ({"other": NAN, "upkeep": NAN}, ("p:price",)),
        ({"other": NAN, "setup_h": (NAN, 0.0)}, ("p:toolchain.setup",)),
    ],
)
def test_what_the_cost_of_a_build_lacks(figures: dict[str, Any], told: tuple[str, ...]) -> None:
    of = {"missing": (), "feed": (), "setup_h": (1.0, 2.0), "upkeep": 3.0, "other": 4.0, **figures}
    cost = some(service_visit=figures.get("visit", 1.0))
    product = some(product="w", service_life=figures.get("life", 1.0), cost=cost)
    one = some(
        candidate=some(cost=some(missing=of["missing"])),
        build=some(assessed=some(feed_cost=some(missing=of["feed"]))),
        part="p",
        setup_h=of["setup_h"],
        upkeep=of["upkeep"],
        other=of["other"],
    )
    assert _missing(cast(Any, some(product=product)), cast(Any, one)) == told


# Fronts -------------------------------------------------------------------------------------------


def few_draws(worth: tuple[float, float], off: float = 0.0, fit: float = 1.0) -> Any:
    """A build of two criteria, on four draws that scatter by `off` points."""
    score = 50 + off * np.array([1.0, -1.0, 1.0, -1.0])
    return some(worth=np.array(worth), score=score, fit=fit)


@pytest.mark.parametrize(
    ("one", "other", "beats"),
    [
        (few_draws((0.5, 0.5)), few_draws((0.5, 0.5)), True),
        (few_draws((0.6, 0.5)), few_draws((0.5, 0.5)), True),
        (few_draws((0.6, 0.4)), few_draws((0.5, 0.5)), False),
        (few_draws((0.5, 0.5)), few_draws((0.6, 0.5)), False),
        # 8 points either way on four draws: a mean is known to 4, twice of which counts
        (few_draws((0.59, 0.5), off=8.0), few_draws((0.5, 0.5)), True),
        (few_draws((0.57, 0.5), off=8.0), few_draws((0.5, 0.5)), False),
        (few_draws((0.59, 0.57), off=8.0), few_draws((0.5, 0.5)), False),
    ],
)
def test_a_build_beats_another_by_more_than_chance(one: Any, other: Any, beats: bool) -> None:
    assert _beats(one, other) is beats


@dataclass(frozen=True)
class Ordered:
    """A build by its place."""

    order: tuple[int, str]


def test_builds_that_none_beats_go_through_all_draws() -> None:
    """`a` has gone through all; `b` is beaten by it, `c` by `b` alone, `d` by nobody, `e` does not
    fit often enough, `f` is no worse than `d`, which comes before it."""

    keys = {name: Ordered((0, name)) for name in "abcdef"}
    worth = {
        "a": few_draws((0.6, 0.5)),
        "b": few_draws((0.5, 0.5)),
        "c": few_draws((0.5, 0.4)),
        "d": few_draws((0.2, 0.9)),
        "e": few_draws((0.9, 0.9), fit=0.5),
        "f": few_draws((0.2, 0.9)),
    }
    side = object.__new__(_Side)
    side.wanted = 0.9
    side.few = cast(Any, {keys[name]: drawn for name, drawn in worth.items()})
    side.drawn = cast(Any, {keys["a"]: worth["a"]})
    assert [b.order[1] for b in cast(Any, side.likely())] == ["d"]
    # one that fell short over all draws stands before nobody
    side.drawn = cast(Any, {keys["a"]: few_draws((0.6, 0.5), fit=0.8)})
    assert [b.order[1] for b in cast(Any, side.likely())] == ["d", "b"]
