"""Every rule and every question of sense fires where it should, at its place, and only there."""

from __future__ import annotations

import datetime
import statistics
from pathlib import Path

import pytest

from advisor.catalogue import rules, rules_addon, sense
from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.load import load_catalogue, load_run
from advisor.catalogue.schema_hourly import MONTHS
from advisor.catalogue.schema_life import WHOLE
from advisor.catalogue.schema_parts import Variant
from advisor.catalogue.shipped import catalogue_folder, load, product_files
from advisor.faults import FaultError
from advisor.studies.check import check_catalogue, check_product

# change to a shipped document -> the path that the fault names, a word of what was read
from tests.catalogue.broken_rules import BROKEN
from tests.cli.conftest import cache_folder


@pytest.fixture(autouse=True)
def _kept(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    """What a change does not touch is read from its files once a worker, as a user's runs do."""
    monkeypatch.setenv("ADVISOR_CACHE_DIR", cache_folder(tmp_path_factory))


CASES = [(rule, *case) for rule, cases in BROKEN.items() for case in cases]
# what goes with a change so that nothing else is wrong
BESIDE = {
    "frost-post:standing-loads.divider.rail=aux": [
        "frost-post:rails=[{rail: aux, voltage: 3.3 V, converters: [bb-a], gated: true, "
        "capacitance: 1 uF}]"
    ],
    "frost-post:recharge={every: 3 months}": ["frost-post:harvest={energy: {may: 5 J}}"],
    "frost-post:priorities.memory-headroom={weight: 1}": ["frost-post:needs.memory={}"],
    "barrel-tag:priorities.time-headroom={weight: 1}": [
        "barrel-tag:workload=[{task: look, every: 1 s}]"
    ],
}


@pytest.mark.once
@pytest.mark.parametrize(("rule", "change", "path", "word"), CASES, ids=[c[1] for c in CASES])
def test_a_broken_rule_is_told(rule: str, change: str, path: str, word: str) -> None:
    name = "barrel-tag" if change.startswith("barrel-tag") else "frost-post"
    with pytest.raises(FaultError) as caught:
        load(name, changes=[*BESIDE.get(change, []), change], cached=True)
    faults = caught.value.faults
    matching = [f for f in faults if f.expected == rule]
    assert matching, [f.text() for f in faults]
    assert any(f.path.endswith(path) and word in f.read for f in matching), [
        (f.path, f.read) for f in matching
    ]
    assert all(f.place is not None for f in matching)


def test_every_rule_is_broken_here() -> None:
    known = {
        rule.expected
        for group in (
            rules.PART_FAULTS,
            rules.CELL_FAULTS,
            rules.CONVERTER_FAULTS,
            rules_addon.ADDON_FAULTS,
            rules.PRODUCT_FAULTS,
        )
        for rule in group
    }
    # told where the list is read
    assert known | {WHOLE} == set(BROKEN)


ODD_PARTS = {
    "sleep below idle": "quorvane-jor:sleep-states.ports-kept.current=900 µA",
    "a price that falls with quantity": "quorvane-jor:price.breaks.10000=2.5",
    "a shorter time at the higher clock": "quorvane-jor:kernels.hash.fast.time=3 ms",
    "evidence of the last three years": "quorvane-jor:evidence.bench.date=2021-01-01",
    "figures from the bench or a datasheet": "quorvane-jor:evidence.sheet.kind=estimate",
    "the supply at which the idle current was taken": "",
    "energy": "quorvane-jor:kernels.matrix.fast.current=533 mA",
}
ODD_PRODUCTS: dict[str, str | list[str]] = {
    "a life target within the service life": "frost-post:life-target=11 years",
    "a deadline within the period": "frost-post:workload.sample.finish-within=2 s",
    "the RAM that must be kept": "frost-post:needs.memory={flash: 48 KiB}",
    "a weight above zero": "frost-post:priorities.bring-up.weight=0",
    "a feature of some part": "frost-post:needs.features={uarts: 1}",
    # a block that an add-on brings and no part has
    "a block of some part": [
        "net-link:gives.blocks.net-advert={current: 7 mA, for: 2 ms}",
        "frost-post:workload.sample.uses={net-advert: 1}",
    ],
    "something that sleep can keep": "frost-post:retain=[rom]",
    "temperatures of all seasons": [
        "crate-call:times=null",
        "crate-call:workload.watch.every=1 s",
        "crate-call:workload.call.every=15 min",
        "crate-call:environment=[{at: 20 degC, share: 1}]",
    ],
    "a harvest that the cells bear": "crate-call:harvest.panel.area=50 cm2",
    "storage within what the cells state": (
        "crate-call:before-use.winter-store.environment=[{at: 95 degC, share: 1}]"
    ),
    "what one of it is worth in the product's own currency": "crate-call:cost.rates.USD=92",
    "a sleep state that draws little while nobody uses the product": (
        "crate-call:before-use.winter-store.state=ram-kept"
    ),
    "a load on a rail that stays on between uses": [
        "crate-call:rails.radio.gated=true",
        "crate-call:rails.radio.capacitance=10 uF",
        "crate-call:workload.call.loads.radio.standby=2 uA",
    ],
}


@pytest.mark.once
@pytest.mark.parametrize("expected", ODD_PARTS)
def test_an_odd_part_is_asked_about(expected: str) -> None:
    before = check_catalogue(load_catalogue([catalogue_folder()], cached=True)).warnings
    change = ODD_PARTS[expected]
    changes = (
        [change]
        if change
        else [
            "quorvane-jor:supply.regulator=switching",
            "quorvane-jor:operating-points.fast={clock: 104 MHz, idle-current: 1.39 mA}",
        ]
    )
    after = check_catalogue(load_catalogue([catalogue_folder()], changes, cached=True)).warnings
    new = [w for w in after if w not in before]
    assert any(expected in w.expected and w.path.startswith("quorvane-jor:") for w in new), new
    assert all(w.severity == "warning" and w.place is not None for w in after)


@pytest.mark.parametrize("expected", ODD_PRODUCTS)
def test_an_odd_product_is_asked_about(expected: str) -> None:
    changes = ODD_PRODUCTS[expected]
    changes = [changes] if isinstance(changes, str) else changes
    product = next(c.partition(":")[0] for c in reversed(changes))
    assert not any(
        w.expected == expected for w in check_product(*load(product, cached=True)).warnings
    )
    found = check_product(*load(product, changes=changes, cached=True)).warnings
    assert any(w.expected == expected for w in found), found


def test_a_rate_of_exchange_is_odd_from_thirty_times_on() -> None:
    """By the medians of what parts cost at their first break, in dollars and in euros."""
    catalogue, _ = load("crate-call", cached=True)
    firsts: dict[str, list[float]] = {"USD": [], "EUR": []}
    for part in catalogue.parts.values():
        assert part.price is not None
        assert part.price.breaks is not None
        firsts[str(part.price.currency)].append(min(part.price.breaks.items())[1].nominal)
    alike = statistics.median(firsts["EUR"]) / statistics.median(firsts["USD"])
    for times, odd in ((29, False), (31, True), (1 / 29, False), (1 / 31, True)):
        change = f"crate-call:cost.rates.USD={alike * times:.9g}"
        found = check_product(*load("crate-call", changes=[change], cached=True)).warnings
        told = [w.read for w in found if w.path == "crate-call:cost.rates.USD"]
        assert bool(told) is odd
        if odd:
            assert f"cost {float(f'{times:.2g}'):g} times what those in EUR do" in told[0]


def test_shares_are_summed_beside_what_cannot_be_read() -> None:
    """Every error of a run at once, not the sums once the rest has been mended."""
    changes = [
        "crate-call:rail=high",
        "crate-call:times=[{time: day, share: 0.5}, {time: night, share: 0.4}]",
        "crate-call:before-use=[{phase: store, for: 9 days, state: asleep, "
        "environment: [{at: 4 degC, share: 0.7}]}]",
    ]
    with pytest.raises(FaultError) as caught:
        load("crate-call", changes=changes, cached=True)
    assert {(f.path, f.read) for f in caught.value.faults} == {
        ("crate-call:rail", '"high"'),
        ("crate-call:times", "shares that sum to 0.9"),
        ("crate-call:before-use.store.environment", "shares that sum to 0.7"),
    }


@pytest.mark.parametrize("law", ["calendar", "cycles"])
def test_an_exponent_that_makes_ageing_a_jump_is_refused(law: str) -> None:
    path = f"li-wafer:ageing.{law}.exponent"
    load("crate-call", changes=[f"{path}=0.01"], cached=True)
    with pytest.raises(FaultError, match=r"0\.009.*not below 0\.01"):
        load("crate-call", changes=[f"{path}=0.009"], cached=True)


def test_the_light_of_the_brightest_month_is_held_against_the_cells_by_hand() -> None:
    # 4.9 kWh/m2 in July's 9 h of light, 12 % of it through 80 %, into 4.18 V
    amps = 4.9 * 3.6e6 * 0.12 * 0.8 / (9 * 3600) / 4.18
    for current, odd in ((59e-3, False), (61e-3, True), (119e-3, True)):
        area = f"crate-call:harvest.panel.area={current / amps:.9g} m2"
        found = check_product(*load("crate-call", changes=[area], cached=True)).warnings
        told = [w.read for w in found if w.path == "crate-call:harvest"]
        assert bool(told) is odd
        assert not odd or f"{1e3 * current:.3g}" in told[0]


def test_every_question_is_asked_here() -> None:
    assert {r.expected for r in sense.PART_SENSE} <= set(ODD_PARTS)
    assert {r.expected for r in sense.PRODUCT_SENSE} == set(ODD_PRODUCTS)


def test_what_is_shipped_is_odd_only_where_it_rests_on_estimates() -> None:
    catalogue = load_catalogue([catalogue_folder()])
    for warning in check_catalogue(catalogue).warnings:
        # evidence ages, so what is shipped will one day be old; that is for its keepers to see
        assert "estimate" in warning.read or "older" in warning.read
    for name in product_files():
        assert check_product(*load(name, cached=True)).warnings == ()


def test_what_is_shipped_is_spread_as_the_market_is() -> None:
    catalogue = load_catalogue([catalogue_folder()])
    parts = catalogue.parts.values()
    assert len(parts) >= 24
    assert len({p.maker for p in parts}) >= 6
    assert len(catalogue.kernels) == 9
    assert len(catalogue.cells) == 12
    assert len(catalogue.converters) == 6
    for kind in (catalogue.parts, catalogue.cells, catalogue.converters, catalogue.addons):
        assert all(record.invented for record in kind.values())
    kinds = {e.kind for p in parts for e in p.evidence.values()}
    assert kinds >= {"bench", "datasheet", "estimate"}
    assert any(p.supply.regulator == "switching" for p in parts)
    assert any(p.blocks for p in parts)
    assert any("+" in v for p in parts for k in p.kernels.values() for v in k)
    assert any(p.core is not None and p.core.cores == 2 for p in parts)
    charged = [cell for cell in catalogue.cells.values() if cell.rechargeable]
    assert all(cell.charge is not None for cell in charged)
    for part in parts:
        for state in part.sleep_states.values():
            assert state.current is not None
            values = [y.nominal for y in state.current.y]
            assert values == sorted(values), part.part
    assert all(
        e.date is None or e.date <= datetime.date.today()
        for p in parts
        for e in p.evidence.values()
    )


def test_folders_are_laid_over_each_other(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "kernels.yaml").write_text("own: {work: ours}\n")
    (tmp_path / "parts/ours.yaml").write_text("part: ours\nkernels: {own: {}}\n")
    (tmp_path / "parts/quorvane-jor.yaml").write_text("part: quorvane-jor\nsummary: ours\n")
    shipped = load_catalogue([catalogue_folder()])
    both = load_catalogue([catalogue_folder(), tmp_path])
    assert set(both.parts) == {*shipped.parts, "ours"}
    assert both.parts["quorvane-jor"].summary == "ours"
    assert set(both.kernels) == {*shipped.kernels, "own"}
    back = load_catalogue([tmp_path, catalogue_folder()])
    assert back.parts["quorvane-jor"] == shipped.parts["quorvane-jor"]
    assert list(both.parts) == sorted(both.parts)


def test_an_id_is_its_file_s_name(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts/one.yaml").write_text("part: two\n")
    with pytest.raises(FaultError) as caught:
        load_catalogue([tmp_path])
    (fault,) = caught.value.faults
    assert fault.place is not None
    assert (fault.place.line, fault.place.column) == (1, 7)


def test_what_lies_in_a_catalogue_folder_and_does_not_belong(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "prats").mkdir()
    (tmp_path / "parts/one.yml").write_text("part: one\n")
    (tmp_path / "parts/.hidden").write_text("")
    with pytest.raises(FaultError) as caught:
        load_catalogue([tmp_path])
    told = {f.path.rpartition("/")[2]: f.nearest for f in caught.value.faults}
    assert told == {"prats": "parts", "one.yml": None}


def test_one_id_in_two_kinds(tmp_path: Path) -> None:
    for kind, key in (("parts", "part"), ("cells", "cell")):
        (tmp_path / kind).mkdir()
        (tmp_path / kind / "same.yaml").write_text(f"{key}: same\n")
    with pytest.raises(FaultError) as caught:
        load_catalogue([tmp_path])
    assert "only one file" in caught.value.faults[0].expected


def test_a_file_that_cannot_be_read_is_not_called_unknown_too(tmp_path: Path) -> None:
    (tmp_path / "cells").mkdir()
    (tmp_path / "cells/lm-thumb.yaml").write_text("cell: lm-thumb\ncapacity: 3 V\n")
    text = product_files()["frost-post"].read_bytes()
    with pytest.raises(FaultError) as caught:
        load_run([catalogue_folder(), tmp_path], text)
    assert [f.path for f in caught.value.faults] == ["lm-thumb:capacity"]


@pytest.mark.parametrize(
    ("text", "variant"),
    [
        ("fast", Variant("fast")),
        ("fast+aes", Variant("fast", ("aes",))),
        ("fast+b+a", Variant("fast", ("b", "a"))),
        ("fast+", Variant("fast", ("",))),
    ],
)
def test_a_kernel_s_key_is_a_point_and_its_engines(text: str, variant: Variant) -> None:
    assert Variant.parse(text) == variant
    assert str(variant) == text


WRONG_WAY = {
    "battery-life": "{weight: 1, poor: 8 years, good: 2 years}",
    "lifetime-cost": "{weight: 1, poor: 5, good: 70}",
    "purchase-cost": "{weight: 1, poor: 2, good: 9}",
    "toolchain": "{weight: 1, poor: 100, good: 0}",
    "bring-up": "{weight: 1, poor: 1 h, good: 40 h}",
    "time-headroom": "{weight: 1, poor: 0.9, good: 0.1}",
    "memory-headroom": "{weight: 1, poor: 0.7, good: 0}",
    "board-area": "{weight: 1, poor: 0 mm2, good: 400 mm2}",
    "energy-per-day": "{weight: 1, poor: 0 J, good: 400 J}",
    "days-without-service": "{weight: 1, poor: 0 %, good: 5 %}",
}


def test_each_criterion_has_a_wrong_way_here() -> None:
    assert set(WRONG_WAY) == set(CRITERIA)


@pytest.mark.once
@pytest.mark.parametrize("name", WRONG_WAY)
def test_anchors_the_wrong_way_round_are_refused_at_their_place(tmp_path: Path, name: str) -> None:
    """A part of 0.3 years would lead a criterion of life whose anchors are exchanged."""
    text = product_files()["frost-post"].read_text("utf-8")
    head, _, _ = text.partition("priorities:\n")
    path = tmp_path / "frost-post.yaml"
    if name == "days-without-service":
        months = ", ".join(f"{month}: 5 J" for month in MONTHS)
        told = "spread: 0.4, persistence: 0.3, night: 14 h"
        head += f"harvest: {{energy: {{{months}}}, {told}}}\n"
    path.write_text(f"{head}priorities:\n  {name}: {WRONG_WAY[name]}\n", "utf-8")
    with pytest.raises(FaultError) as error:
        load(str(path))
    (fault,) = error.value.faults
    assert fault.place is not None
    assert path.read_text("utf-8").splitlines()[fault.place.line - 1].startswith(f"  {name}:")
    assert fault.path == f"frost-post:priorities.{name}.good"
    way = CRITERIA[name].better
    side = {"more": "above", "less": "below"}[way]
    assert fault.expected == f"good {side} poor: by this criterion {way} is better"


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ("battery-life={weight: 1, poor: 20 years}", "battery-life.poor"),  # good: 2 × 10 years
        ("battery-life={weight: 1, poor: 30 years}", "battery-life.poor"),
        ("lifetime-cost={weight: 1, good: 18.00}", "lifetime-cost.good"),  # poor: 2 × 9.00
        ("toolchain={weight: 1, poor: 100}", "toolchain.poor"),
        ("bring-up={weight: 1, good: 41 h}", "bring-up.good"),
    ],
)
def test_one_anchor_against_the_other_s_default(change: str, path: str) -> None:
    with pytest.raises(FaultError) as error:
        load("frost-post", changes=[f"frost-post:priorities.{change}"], cached=True)
    (fault,) = error.value.faults
    assert fault.path == f"frost-post:priorities.{path}"
    assert "as by default" in fault.read


def test_own_figures_may_be_better_either_way() -> None:
    for poor, good in ((0, 10), (10, 0)):
        own = f"{{weight: 1, poor: {poor}, good: {good}}}"
        load(
            "frost-post",
            changes=[f"frost-post:priorities.own-figures.radiation-score={own}"],
            cached=True,
        )


@pytest.mark.parametrize("weight", ["1e308", "1e13", "9" * 119, "1000000000001"])
def test_weights_whose_sum_would_overflow_are_refused(weight: str) -> None:
    names = ("battery-life", "toolchain")
    changes = [f"frost-post:priorities.{name}.weight={weight}" for name in names]
    with pytest.raises(FaultError) as error:
        load("frost-post", changes=changes, cached=True)
    paths = [fault.path for fault in error.value.faults]
    assert paths == [f"frost-post:priorities.{name}.weight" for name in names]


def test_weights_of_nothing_are_refused() -> None:
    every = [f"frost-post:priorities.{n}.weight=0" for n in load("frost-post")[1].priorities]
    with pytest.raises(FaultError, match="no weight above zero") as error:
        load("frost-post", changes=every, cached=True)
    assert [f.expected for f in error.value.faults] == [
        "a weight above zero for one criterion or more"
    ]
