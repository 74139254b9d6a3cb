"""Add-ons as builds: the least sets that cover what a part lacks, and what they cost and draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, combinations, permutations
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.schema_supply import AddOn, Giving, Taking
from advisor.decide.companions import Lack, least_sets
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.figures import Path as Place
from advisor.lp import Model, Status
from advisor.model.draws import Trace
from advisor.quantities import Quantity, exact
from advisor.studies.consumers import consumers
from advisor.studies.explain import explain
from advisor.studies.money import money_items
from advisor.studies.results import power_result
from advisor.studies.shortlist import shortlist
from tests.decide.random_catalogues import NO_USE, Draft, draft, lacking, several, unsure

PORTS = ("spi", "uart", "pins")
SEEDS = range(40)


def counts(**of: float) -> dict[str, Quantity]:
    return {name: exact(float(n), "count") for name, n in of.items()}


def random_case(seed: int) -> tuple[Lack, list[AddOn]]:
    """A part that lacks counts, a grade and a block, and up to seven add-ons."""
    rng = np.random.default_rng((seed, 31))
    addons = []
    for n in range(rng.integers(4, 8)):
        gives = {p: float(rng.integers(1, 4)) for p in (*PORTS, "radio") if rng.random() < 0.4}
        takes = {str(rng.choice(PORTS)): float(rng.integers(1, 3))} if rng.random() < 0.85 else {}
        grades = {"bits": float(rng.integers(8, 17))} if rng.random() < 0.3 else {}
        blocks: dict[str, object] = {"call": None} if rng.random() < 0.3 else {}
        addons.append(
            AddOn(
                addon=f"a{n}",
                gives=Giving(
                    features=counts(**gives),
                    grades=counts(**grades),
                    blocks=blocks,  # type: ignore[arg-type]
                ),
                takes=Taking(features=counts(**takes)),
            )
        )
    pairs = {p: (float(rng.integers(0, 4)), float(rng.integers(0, 3))) for p in PORTS}
    pairs["radio"] = (0.0, float(rng.random() < 0.7))
    grade = {"bits": (10.0, 12.0)} if rng.random() < 0.5 else {}
    block = frozenset(("call",)) if rng.random() < 0.5 else frozenset()
    return Lack(counts=pairs, grades=grade, blocks=block), addons


def covers(lack: Lack, chosen: Sequence[AddOn]) -> bool:
    """Whether a set covers, by trying every order in which its add-ons may be attached."""

    def of(quantities: dict[str, Quantity], name: str) -> float:
        return quantities[name].nominal if name in quantities else 0.0

    for name, (has, need) in lack.grades.items():
        if max([has, *(of(dict(a.gives.grades), name) for a in chosen)]) < need:
            return False
    if any(all(b not in a.gives.blocks for a in chosen) for b in lack.blocks):
        return False
    for order in permutations(chosen):
        free = {name: has for name, (has, _) in lack.counts.items()}
        for a in order:
            if any(free[n] < q.nominal for n, q in a.takes.features.items()):
                break
            for name in free:
                free[name] += of(dict(a.gives.features), name) - of(dict(a.takes.features), name)
        else:
            if all(free[name] >= need for name, (_, need) in lack.counts.items()):
                return True
    return False


def subsets(addons: Sequence[AddOn]) -> Iterator[tuple[AddOn, ...]]:
    return chain.from_iterable(combinations(addons, n) for n in range(len(addons) + 1))


def names(chosen: Sequence[AddOn]) -> frozenset[str]:
    return frozenset(a.addon for a in chosen)


@pytest.mark.once
@pytest.mark.parametrize("seed", SEEDS)
def test_the_least_sets_are_those_of_trying_every_set(seed: int) -> None:
    lack, addons = random_case(seed)
    every = [names(chosen) for chosen in subsets(addons) if covers(lack, chosen)]
    least = {one for one in every if not any(other < one for other in every)}
    found, all_told = least_sets(lack, addons)
    assert all_told
    assert len(found) == len(least)
    assert {names(one) for one in found} == least


def test_the_cases_are_of_every_sort() -> None:
    sizes: dict[int, int] = {}
    for seed in SEEDS:
        found, _ = least_sets(*random_case(seed))
        for size in {len(one) for one in found} or {-1}:
            sizes[size] = sizes.get(size, 0) + 1
    # none that covers, one, two, three
    assert all(sizes.get(n, 0) >= 2 for n in (-1, 1, 2, 3)), sizes


def program(lack: Lack, addons: Sequence[AddOn], cuts: Sequence[frozenset[str]]) -> Model:
    """The covering program of the module's own algebra: fewest add-ons, no set below the cuts."""
    model = Model("companions")
    for a in addons:
        model.variable(a.addon, 0, 1, integer=True)
    for name, (has, need) in lack.counts.items():
        terms = {
            a.addon: float(gives - takes)
            for a in addons
            for gives, takes in [(_of(a.gives.features, name), _of(a.takes.features, name))]
            if gives != takes
        }
        if terms:
            model.constraint(f"count_{name}", terms, ">=", need - has)
        elif has < need:
            model.constraint(f"count_{name}", {addons[0].addon: 0.0}, ">=", need - has)
    for name, (has, need) in lack.grades.items():
        if has < need:
            able = {a.addon: 1.0 for a in addons if _of(a.gives.grades, name) >= need}
            model.constraint(f"grade_{name}", able or {addons[0].addon: 0.0}, ">=", 1.0)
    for name in lack.blocks:
        able = {a.addon: 1.0 for a in addons if name in a.gives.blocks}
        model.constraint(f"block_{name}", able or {addons[0].addon: 0.0}, ">=", 1.0)
    for n, cut in enumerate(cuts):
        # no set that holds one that is known
        model.constraint(f"cut_{n}", dict.fromkeys(sorted(cut), 1.0), "<=", len(cut) - 1.0)
    model.minimise({a.addon: 1.0 for a in addons})
    return model


def _of(features: object, name: str) -> float:
    assert isinstance(features, dict)
    return features[name].nominal if name in features else 0.0


@pytest.mark.once
@pytest.mark.parametrize("seed", [s for s in SEEDS if s % 4 == 0])
def test_an_integer_program_with_cuts_finds_the_same_sets(seed: int) -> None:
    lack, addons = random_case(seed)
    # ports that hang on each other alone are no matter of sums
    grounded = [replace(a, takes=Taking()) for a in addons]
    found, _ = least_sets(lack, grounded)
    if found == [()]:
        assert not list(lack.unmet(()))
        return
    cuts: list[frozenset[str]] = []
    while True:
        solution = program(lack, grounded, cuts).solve(10)
        if solution.status is Status.INFEASIBLE:
            break
        assert solution.status is Status.OPTIMAL
        cuts.append(frozenset(n for n, v in solution.values.items() if v > 0.5))
    assert set(cuts) == {names(one) for one in found}


def test_add_ons_that_hang_on_each_other_alone_are_no_set() -> None:
    one = AddOn(
        addon="one",
        gives=Giving(features=counts(uart=1, radio=1)),
        takes=Taking(features=counts(spi=1)),
    )
    two = AddOn(
        addon="two", gives=Giving(features=counts(spi=1)), takes=Taking(features=counts(uart=1))
    )
    lack = Lack({"uart": (0, 0), "spi": (0, 0), "radio": (0, 1)}, {}, frozenset())
    assert least_sets(lack, [one, two]) == ([], True)
    # with a port to begin with they are
    begun = replace(lack, counts={**lack.counts, "uart": (1.0, 0.0)})
    assert [names(s) for s in least_sets(begun, [one, two])[0]] == [{"one", "two"}]


PART = """part: one
invented: true
lifecycle: active
supply: {min: 1.7 V, max: 3.6 V, regulator: REGULATOR}
temperature: {min: -40 degC, max: 85 degC}
features: {uart: 2, radio: RADIO}
operating-points: {run: {idle-current: 0.9 mA, supply: 3.0 V}}
kernels: {crc: {run: {time: 2 ms, current: 4 mA, supply: 3.0 V}}}
BLOCKS
sleep-states: {ram-kept: {current: 1.2 µA, wake-time: 0.2 ms, retains: [ram]}}
price: {currency: EUR, breaks: {1: 1.00}}
toolchain: {setup: 4 h}
board-area: 60 mm2
"""
BLOCK = "current: 6.5 mA, for: 1.7 ms"
ADDON = f"""addon: caller
invented: true
gives: {{features: {{radio: 1}}, blocks: {{call: {{{BLOCK}}}}}}}
takes: {{features: {{uart: 1}}}}
standing: 7 µA
temperature: {{min: -40 degC, max: 85 degC}}
setup: 5 h
board-area: 35 mm2
price: {{currency: EUR, breaks: {{1: 2.00, 100: 1.50}}, multiple: 30}}
"""
CELL = """cell: pill
invented: true
nominal-voltage: 3.0 V
capacity: 800 mAh
voltage-curve: {0: 3.1 V, 0.8: 2.8 V, 1: 2.0 V}
resistance: {0: 4 ohm, 1: 20 ohm}
cut-off: 2.0 V
temperature: {0 degC: {capacity: 0.95, resistance: 1.5}, 40 degC: {capacity: 1, resistance: 1}}
self-discharge: 1 %/year
doubles-every: 10 K
price: {currency: EUR, breaks: {1: 0.80}}
"""
BUCK = """converter: buck
invented: true
kind: buck
input: {min: 1.8 V, max: 5.5 V}
output: {min: 1.0 V, max: 3.3 V}
quiescent: 0.4 µA
efficiency: {10 µA: 0.7, 1 mA: 0.88, 20 mA: 0.93}
max-output: 60 mA
price: {currency: EUR, breaks: {1: 0.40}}
"""
PRODUCT = """product: probe
invented: true
life-target: 2 years
service-life: 6 years
rail: 1.9 V
environment: [{at: 20 degC, share: 1}]
workload:
  - {task: sample, every: 20 s, kernels: {crc: 2}, uses: {call: 3},
     loads: [{load: eye, current: 1 mA, for: 5 ms, cpu: asleep}]}
standing-loads: STANDING
needs: {features: {radio: 1, uart: 1}}
supply-options: {cells: [{cell: pill}], converters: [CONVERTER]}
cost: {currency: EUR, units: 200, engineer-rate: 80 EUR/h, service-visit: 10, tools: 0}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 30 years}
  lifetime-cost: {weight: 2, poor: 400, good: 0}
  bring-up: {weight: 1}
  board-area: {weight: 1}
"""


def decided(root: Path, changes: Sequence[str] = (), draws: int = 0, **told: str) -> Evaluation:
    """The decision of the texts above with words in their place."""
    words = {"RADIO": "0", "BLOCKS": "", "STANDING": "[]", "CONVERTER": "none"}
    words |= {"REGULATOR": "linear", "ADDON": ADDON, **told}

    def filled(text: str) -> str:
        for word, by in words.items():
            text = text.replace(word, by)
        return text

    files = {"parts/one": PART, "cells/pill": CELL, "converters/buck": BUCK}
    files |= {"addons/caller": words["ADDON"]}
    for name, text in files.items():
        path = root / f"{name}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(filled(text))
    (root / "kernels.yaml").write_text("crc: {work: one}\n")
    return evaluate(*load_run([root], filled(PRODUCT).encode(), changes), draws)


@pytest.mark.parametrize("converter", ["none", "buck"])
@pytest.mark.parametrize("regulator", ["linear", "switching"])
def test_an_add_on_draws_as_a_standing_load_with_a_block_on_the_chip(
    tmp_path: Path, converter: str, regulator: str
) -> None:
    (beside,) = decided(tmp_path / "a", CONVERTER=converter, REGULATOR=regulator).candidates
    assert beside.addons == ("caller",)
    (inside,) = decided(
        tmp_path / "b",
        CONVERTER=converter,
        REGULATOR=regulator,
        RADIO="1",
        BLOCKS=f"blocks: {{call: {{{BLOCK}}}}}",
        STANDING="[{load: caller, current: 7 µA}]",
    ).candidates
    assert inside.addons == ()
    for one, other in zip(beside.builds, inside.builds, strict=True):
        a, b = one.assessed, other.assessed
        assert a.life.life_s[one.row, 0] == pytest.approx(b.life.life_s[other.row, 0], rel=1e-9)
        assert a.battery_a[one.row, 0] == pytest.approx(b.battery_a[other.row, 0], rel=1e-12)
        assert a.peak_a[one.row, 0] == pytest.approx(b.peak_a[other.row, 0], rel=1e-12)


def test_where_the_part_sleeps_the_add_on_draws_its_own_sleep_current(tmp_path: Path) -> None:
    (one,) = decided(tmp_path, ["caller:sleep=0.4 µA"]).candidates
    power = power_result(one.best)
    busy = 0.2e-3 + 2 * 2e-3 + 3 * 1.7e-3  # wake, kernels, blocks; the load's time is asleep
    awake = busy / 20
    # by hand: standing while awake, sleep the rest
    told = 7e-6 * awake + 0.4e-6 * (1 - awake)
    assert power.breakdown_a.addons == {"caller": pytest.approx(told, rel=1e-9)}
    sums = power.breakdown_a
    whole = sums.sleep + sums.standing + sum(sums.tasks.values()) + sum(sums.addons.values())
    assert whole == pytest.approx(power.rail_current_a, rel=1e-12)
    assert sums.sleep == pytest.approx(1.2e-6 * (1 - awake - 5e-3 / 20), rel=1e-9)
    rows = {c.consumer: c.a for c in consumers(one.best)}
    assert rows["add-on caller"] == pytest.approx(told, rel=1e-9)
    assert "sample: block call of caller" in rows
    assert sum(c.share for c in consumers(one.best)) == pytest.approx(1, rel=1e-12)


def test_its_price_hours_and_area_count(tmp_path: Path) -> None:
    found = decided(tmp_path)
    (one,) = found.candidates
    assessed, row = one.best.assessed, one.best.row
    # 200 pieces, sold by 30: 210 at 1.50, over 200 units
    bought = one.cost.bought["caller"]
    assert (bought.needed, int(bought.purchase.pieces[0])) == (200, 210)
    assert float(one.cost.addons["caller"][0]) == pytest.approx(210 * 1.5 / 200, rel=1e-12)
    items = {item.item: item for item in money_items(found, one, one.best, None)}
    assert items["caller"].amount == pytest.approx(1.575, rel=1e-12)
    assert items["caller"].bought == 210
    total = sum(item.amount or 0.0 for item in items.values())
    assert total == pytest.approx(float(assessed.costs.lifetime[row, 0]), rel=1e-12)
    # 4 h of the part and 5 h of the add-on at 80 EUR an hour, over 200 units
    assert float(assessed.costs.development[row, 0]) == pytest.approx(9 * 80 / 200, rel=1e-12)
    values = dict(zip((c.name for c in found.criteria), assessed.values[:, row, 0], strict=True))
    assert values["bring-up"] == pytest.approx(9 * 3600, rel=1e-12)
    assert values["board-area"] == pytest.approx(95e-6, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "need"),
    [
        ("caller:supply.min=3.3 V", "supply min of add-on caller"),
        ("caller:supply.max=2.5 V", "supply max of add-on caller"),
        ("caller:gives.blocks.call.supply={max: 2.5 V}", "supply max of block call"),
    ],
)
def test_its_supply_limits_builds(tmp_path: Path, change: str, need: str) -> None:
    found = decided(tmp_path, [change])
    (faults,) = found.screened.values()
    assert need in [f.need for f in faults]


def test_what_a_part_does_not_state_is_not_there(tmp_path: Path) -> None:
    # who has not said that it has a uart cannot lend it
    found = decided(tmp_path, ["one:features={radio: 0}", "probe:needs.features={radio: 1}"])
    assert found.candidates == ()
    assert "ports for them (uart)" in {o.kind: o.why for o in found.left_out}["part"]
    # one that an add-on brings in whole need not be stated
    unstated = decided(tmp_path, ["one:features={uart: 2}"])
    assert [c.addons for c in unstated.candidates] == [("caller",)]
    without = ["one:features={uart: 2}", "probe:workload.sample.uses={}", "probe:add-ons=refused"]
    refused = decided(tmp_path, without)
    assert refused.set_aside == {"one": ("one:features.radio",)}


def test_a_part_that_lacks_nothing_is_given_nothing(tmp_path: Path) -> None:
    found = decided(tmp_path, RADIO="1", BLOCKS=f"blocks: {{call: {{{BLOCK}}}}}")
    assert [b.addons for c in found.candidates for b in c.builds] == [()]


def test_its_figures_are_drawn_by_its_own_paths(tmp_path: Path) -> None:
    trace: Trace = {}
    made = decided(
        tmp_path,
        ["caller:standing=7(1) µA", "caller:sleep=1.0(2) µA", "caller:setup=5(1) h"],
        ADDON=ADDON.replace("6.5 mA", "6.5(3) mA"),
    )
    evaluate(made.catalogue, made.product, 300, trace=trace)
    own = {p.dotted for p in trace if isinstance(p, Place) and p.document == "caller"}
    assert own == {"standing", "sleep", "setup", "gives.blocks.call.current"}


@pytest.mark.once
@pytest.mark.parametrize("seed", range(9))
def test_the_chosen_set_is_the_best_of_all(seed: int, tmp_path: Path) -> None:
    """Each set by itself, as the only add-ons that there are, against all of them together."""
    one = lacking(draft(seed), seed)
    whole = evaluate(*one.load(tmp_path))
    score = whole.candidates[0].score if whole.candidates else -np.inf
    each = [-np.inf]
    for n in range(len(one.addons) + 1):
        for some in combinations(sorted(one.addons), n):
            if NO_USE not in some:
                continue
            alone = replace(one, addons={name: one.addons[name] for name in some})
            each += [c.score for c in evaluate(*alone.load(tmp_path)).candidates]
    assert score == pytest.approx(max(each), abs=1e-9) or score == max(each)
    for candidate in whole.candidates:
        assert candidate.addons
        none = replace(one, refused=True)
        assert evaluate(*none.load(tmp_path)).candidates == ()


@pytest.mark.once
@pytest.mark.parametrize("seed", range(6))
def test_more_add_ons_never_make_a_part_worse(seed: int, tmp_path: Path) -> None:
    """Neither does it to allow them: a part's expected score, on common random numbers, but for
    what the choice of builds may lose."""
    drawn = unsure(lacking(several(seed), seed), seed)
    # the second part has what the first lacks
    own = drawn.others["two"].replace("price:", "features: {radio: 1, store: 1}\nprice:", 1)
    drawn = replace(drawn, others={**drawn.others, "two": own})
    draws = 200

    def scores(one: Draft) -> dict[str, float]:
        found = evaluate(*one.load(tmp_path), draws)
        return {c.part.part: c.score for c in found.candidates}

    before: dict[str, float] = scores(replace(drawn, refused=True))
    for n in range(len(drawn.addons) + 1):
        some = {name: drawn.addons[name] for name in [NO_USE, *sorted(drawn.addons)[:n]]}
        after = scores(replace(drawn, addons=some))
        for name, score in before.items():
            assert after[name] >= score - 0.05
        before = after


def test_every_screen_tells_the_add_ons(tmp_path: Path) -> None:
    made = decided(tmp_path, ["caller:cautions=[keep its antenna clear]"])
    found = shortlist(made.catalogue, made.product, draws=100)
    (part,) = found.ranking
    assert part.build.addons == ("caller",)
    assert part.setup_h == pytest.approx(9, rel=1e-12)
    assert found.to_frame()["addons"].tolist() == ["caller"]
    assert "caller: keep its antenna clear" in found.cautions
    told = explain(made.catalogue, made.product, "one")
    assert "caller: keep its antenna clear" in told.cautions
    assert "add-on caller" in {c.consumer for c in told.current}
    refused = with_changes(made.catalogue, made.product, ["probe:add-ons=refused"])
    out = shortlist(*refused, draws=0)
    (gone,) = out.screened_out
    assert gone.with_addons == (("caller",),)
    assert gone.not_brought == ()
