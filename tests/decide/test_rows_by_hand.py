"""What builds lack and whom they beat, case by case."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.decide import lacking, left_out, missing
from advisor.decide.admissible import MOST, NEAR, _lasting, _read
from advisor.decide.companions import Lack
from advisor.decide.fronts import _beats, _Side
from advisor.decide.joint import _missing
from advisor.decide.left_out import Supplies
from advisor.decide.luck import Lead, lead

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
    side.wanted, side.places = 0.9, {}
    side.few = cast(Any, {keys[name]: drawn for name, drawn in worth.items()})
    side.drawn = cast(Any, {keys["a"]: worth["a"]})
    assert [b.order[1] for b in cast(Any, side.likely())] == ["d"]
    # one that fell short over all draws stands before nobody
    side.drawn = cast(Any, {keys["a"]: few_draws((0.6, 0.5), fit=0.8)})
    assert [b.order[1] for b in cast(Any, side.likely())] == ["d", "b"]


# Luck ---------------------------------------------------------------------------------------------


def told_leads(ahead: float, own: float, others: float) -> tuple[list[float], list[Lead]]:
    """(shares of the draws, leads) of a part so many points before twelve near equal ones, by the
    deviations of their errors."""
    rng = np.random.default_rng(5)
    mean = np.array([70 + ahead, *(70 + 0.1 * rng.standard_normal(12))])
    deviation = np.array([own, *[others] * 12])
    scores = mean[:, None] + deviation[:, None] * rng.standard_normal((13, 4000))
    share = (scores.argmax(axis=0) == np.arange(13)[:, None]).mean(axis=1).tolist()
    return share, [lead(scores, part, share[part]) for part in range(13)]


def test_who_stands_apart_keeps_what_it_leads_by() -> None:
    """Five points before the others, each known to one, no luck is in it; by three a part that is
    one of them may come to lead, and its luck is taken off for the good of all others."""
    share, told = told_leads(5.0, 1.0, 1.0)
    assert told[0].apart > 0.97
    assert told[0].chance == pytest.approx(share[0], abs=0.003)
    assert told[0].score == pytest.approx(75.0, abs=0.1)
    for there in (told, told_leads(3.0, 1.0, 1.0)[1]):
        assert all(one.apart < 0.01 for one in there[1:])
        assert sum(one.chance for one in there) == pytest.approx(1.0, abs=0.05)
    share, told = told_leads(3.0, 1.0, 1.0)
    assert 0.1 < told[0].apart < 0.5
    assert told[0].chance < share[0] - 0.2
    assert all(told[n].chance > share[n] for n in range(1, 13))


def test_who_is_measured_closely_gains_by_the_luck_of_its_rivals() -> None:
    share, told = told_leads(0.5, 0.1, 0.5)
    assert told[0].apart < 0.5
    assert told[0].chance > share[0] + 0.1
    assert sum(one.chance for one in told[1:]) < sum(share[1:]) - 0.1


# Hours --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("addons", "setup", "hours"),
    [
        # the part's own hours, and those of its add-ons
        ((), 36000.0, (12.0, 0.0)),
        (("a",), 36000.0, (10.0, 2.0)),
        (("a",), None, (12.0, 0.0)),
    ],
)
@pytest.mark.parametrize("drawn", [False, True])
def test_what_a_build_is_made_of_and_worth(
    addons: tuple[str, ...], setup: float | None, hours: tuple[float, float], drawn: bool
) -> None:
    """Row 1 of two; two in series by three beside each other; 3 of 4 draws fit and two of these
    last, one of which is the target itself."""
    cost = some(setup_h=np.array([12.0]), extras={"x": np.array([1.5]), "y": np.array([0.25])})
    assessed = some(
        feed=some(
            cell=some(cell="pill"),
            option=some(series=2, parallel=3),
            bought=((some(converter="ldo"), 2),),
        ),
        feed_cost=some(reservoir=np.array([0.5])),
        part=np.array([1, 0]),
        life=some(life_s=np.array([[9.0], [7.0]])),
        costs=some(upkeep=np.array([[1.0], [3.0]])),
    )
    build = some(part="p", assessed=assessed, row=1, addons=addons, score=44.0)
    toolchain = some(setup=None if setup is None else some(nominal=setup))
    evaluation = some(
        catalogue=some(parts={"p": some(toolchain=toolchain)}),
        product=some(life_target=some(nominal=7.0)),
    )
    draws = some(
        life_s=np.array([7.0, 6.9, 8.0, 8.0]),
        fits=np.array([True, True, False, True]),
        expected=55.0,
        upkeep=6.0,
    )
    found = _read(
        cast(Any, evaluation),
        cast(Any, some(costs=[cost, None])),
        cast(Any, build),
        cast(Any, draws if drawn else None),
    )
    assert found.setup_h == hours
    assert found.pieces == {"p": 1, "pill": 6, "ldo": 2, **dict.fromkeys(addons, 1)}
    assert found.other == 2.25
    told = (found.score, found.upkeep, found.life_chance)
    assert told == ((55.0, 6.0, 0.5) if drawn else (44.0, 3.0, 1.0))
    evaluation.product.life_target.nominal = 7.1
    short = _read(cast(Any, evaluation), cast(Any, some(costs=[cost])), cast(Any, build), None)
    assert short.life_chance == 0.0
    evaluation.product.life_target = None
    short = _read(cast(Any, evaluation), cast(Any, some(costs=[cost])), cast(Any, build), None)
    assert math.isnan(short.life_chance)


# What was left out --------------------------------------------------------------------------------


def supplies(
    unfit: dict[tuple[str, ...], str], failed: dict[tuple[str, ...], list[str]], *stood: Any
) -> Supplies:
    made = Supplies()
    made.unfit.update({one: [some(text=text, miss=0.5)] for one, text in unfit.items()})
    for one, texts in failed.items():
        made.failed[one] += [[some(text=text, miss=0.5)] for text in texts]
    made.stood.update(stood)
    return made


A, B, C = ("a", "none"), ("b", "none"), ("a", "ldo")
D = ("b", "ldo")


@pytest.mark.parametrize(
    ("of", "told"),
    [
        (supplies({}, {}), []),
        # a pack that goes together with nothing, for one reason and for two
        (supplies({B: "too low"}, {A: []}, A), [("pack", "b", "too low")]),
        (
            supplies({B: "too low", D: "too low"}, {A: []}, A),
            [("pack", "b", "too low"), ("converter", "ldo", "too low")],
        ),
        (
            supplies({B: "too low", D: "too high"}, {A: [], C: []}, A, C),
            [("pack", "b", "with none: too low; with ldo: too high")],
        ),
        # one on which nothing stands, where something stands elsewhere, and where nothing does
        (
            supplies({}, {A: [], B: ["weak"]}, A),
            [("pack", "b", "no build stands on it; nearest: weak")],
        ),
        (supplies({}, {A: ["weak"], B: ["weak"]}), []),
        # a pair of two that are used with others
        (
            supplies({}, {A: [], C: ["weak"], D: []}, A, D),
            [("pairing", "a, ldo", "no build stands on it; nearest: weak")],
        ),
        (
            supplies({C: "too low"}, {A: [], D: []}, A, D),
            [("pairing", "a, ldo", "too low")],
        ),
    ],
)
def test_packs_converters_and_pairs_that_no_build_uses(
    of: Supplies, told: list[tuple[str, str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(left_out, "nearest", lambda reasons: reasons[0])
    found = [(one.kind, one.id, one.why) for one in of.left_out()]
    assert found == told


def test_what_a_pack_lacks_and_what_has_no_price_is_told() -> None:
    made = supplies({}, {A: [], B: ["weak"]}, A)
    made.lacking["pack", "c"] = ("c:capacity", "c:cut-off")
    made.lacking["converter", "buck"] = ("buck:quiescent",)
    made.unpriced[B] = ("b:price",)
    assert [(one.kind, one.id, one.why) for one in made.left_out()] == [
        ("pack", "c", "lacks c:capacity, c:cut-off"),
        ("pack", "b", "lacks b:price"),
        ("converter", "buck", "lacks buck:quiescent"),
    ]


# What may cost least to keep ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lives", "kept"),
    [
        # the longest, and those that come near it, the longest first
        ({"a": 10.0, "b": 10 * NEAR, "c": 9.99 * NEAR}, ["a", "b"]),
        ({"a": 9.99 * NEAR, "b": 10.0}, ["b"]),
        # of one life those of less current, then by name
        ({"c": 5.0, "a2": 5.0, "a1": 5.0}, ["a1", "a2", "c"]),
        ({f"a{n}": 10.0 for n in range(9)}, [f"a{n}" for n in range(MOST)]),
    ],
)
def test_builds_that_may_cost_least_to_keep(lives: dict[str, float], kept: list[str]) -> None:
    currents = {"c": 2.0}

    def build(name: str, life: float) -> Any:
        of = some(
            life=some(life_s=np.array([[99.0], [life]])),
            battery_a=np.array([[0.0], [currents.get(name, 1.0)]]),
        )
        return Named(name, of)

    found = _lasting([build(*one) for one in lives.items()])
    assert [b.name for b in found] == kept


@dataclass(frozen=True, eq=False)
class Named:
    """A build in row 1 of two."""

    name: str
    assessed: Any
    row: int = 1


# Kernels that are known ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "lacks", "complete"),
    [
        ({"slow": 1, "fast": 1}, (), True),
        ({"slow": 1, "fast": 1}, ("slow",), True),
        ({"slow": 1, "fast": 1}, ("slow", "fast"), False),
        # an engine's entry is no plain run
        ({"fast+aes": 1}, (), False),
        ({"fast+aes": 1, "slow": 1}, (), True),
        ({"fast+aes": 1, "slow": 1}, ("slow",), False),
        ({}, (), False),
        (None, (), False),
    ],
)
def test_a_kernel_is_known_by_one_plain_run(
    entries: dict[str, int] | None,
    lacks: tuple[str, ...],
    complete: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(missing, "lacking", lambda part, kernel, variant: variant in lacks)
    part = some(kernels={} if entries is None else {"hash": entries})
    assert missing._complete(cast(Any, part), "hash") is complete


# Add-ons ------------------------------------------------------------------------------------------


def test_of_many_add_ons_too_many_for_the_ports_are_told_at_once() -> None:
    """Twelve that take a pin each, on eleven pins, in any order: a set from which nothing is left
    to attach is looked at once, or half a thousand million orders would be."""

    def addon(n: int, gives: float = 0.0) -> Any:
        features = {"pins": some(nominal=gives)} if gives else {}
        return some(
            addon=f"a{n:02}",
            takes=some(features={"pins": some(nominal=1.0)}),
            gives=some(features=features),
        )

    lack = Lack(counts={"pins": (11.0, 0.0)}, grades={}, blocks=frozenset())
    assert not lack.attached([addon(n) for n in range(12)])
    assert lack.attached([addon(n) for n in range(11)])
    # one that brings two makes room for the last, wherever it is named
    assert lack.attached([*(addon(n) for n in range(11)), addon(11, gives=1.0)])


def figured(of: dict[str, float]) -> dict[str, Any]:
    return {name: some(nominal=value) for name, value in of.items()}


@pytest.mark.parametrize(
    ("gives", "takes", "need", "brings"),
    [
        # of a port that it takes as well it brings what is over
        ({"spi": 2.0}, {}, ("count", "spi"), True),
        ({"spi": 2.0}, {"spi": 1.0}, ("count", "spi"), True),
        ({"spi": 1.0}, {"spi": 1.0}, ("count", "spi"), False),
        ({"spi": 1.0}, {"spi": 2.0}, ("count", "spi"), False),
        ({"uart": 1.0}, {}, ("count", "spi"), False),
        # a grade as high as is wanted
        ({"adc-bits": 12.0}, {}, ("grade", "adc-bits"), True),
        ({"adc-bits": 11.0}, {}, ("grade", "adc-bits"), False),
        ({}, {}, ("grade", "adc-bits"), False),
        ({"call": 1.0}, {}, ("block", "call"), True),
        ({"call": 1.0}, {}, ("block", "clock"), False),
    ],
)
def test_what_an_add_on_brings(
    gives: dict[str, float], takes: dict[str, float], need: tuple[str, str], brings: bool
) -> None:
    lack = Lack(counts={}, grades={"adc-bits": (10.0, 12.0)}, blocks=frozenset())
    own = figured(gives)
    one = some(
        gives=some(features=own, grades=own, blocks=own), takes=some(features=figured(takes))
    )
    assert lack.brings(one, need) is brings
