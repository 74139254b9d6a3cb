"""Cases, rows and defaults of the model, each figure by itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.model import asleep as asleep_module
from advisor.model import packs as packs_module
from advisor.model.asleep import Asleep
from advisor.model.battery import life
from advisor.model.cheapest import Offers, _cheapest
from advisor.model.drain import Drain, Pack, Stored, cases_of
from advisor.model.draws import Array
from advisor.model.harvest import Harvested
from advisor.model.leak_curve import LeakCurve
from advisor.model.packs import cells_name, missing_cell, missing_store, unsaid_of_charging
from advisor.model.recharged import on_one_charge, recharged
from tests.model.records import CELL, PRODUCT, fed, records
from tests.model.test_battery import YEAR
from tests.model.test_battery import pack as battery_pack
from tests.model.test_recharged import TEN, charged, law

pytestmark = pytest.mark.once
RNG = np.random.default_rng


def some(**figures: Any) -> Any:
    return SimpleNamespace(**figures)


# Cases and rows -----------------------------------------------------------------------------------

OF_STATES = ("constant_a", "power_w", "share", "duration_s")
ONE_A_DRAW = (
    *("capacity_c", "self_discharge_a", "leak_a", "least_capacity", "mean_capacity"),
    "shelf_life_s",
)


@pytest.mark.parametrize("bare", [False, True])
def test_cases_of_a_pack_are_its_own_figures(bare: bool) -> None:
    """Each figure of a draw goes with it, whatever else it is; what is not stated stays so."""
    rng = RNG(3)
    draws, rows, states, depths = 5, 2, 3, 4
    n, r = np.array([4, 0, 4]), np.array([1, 0, 0])
    pair = (rng.random(draws), rng.random(draws))
    pack = Pack(
        depth=np.linspace(0, 1, depths),
        open_v=rng.random((depths, draws)),
        resistance=rng.random((depths, draws)),
        **cast(Any, {name: rng.random(draws) for name in ONE_A_DRAW}),
        two_well=None if bare else pair,
        reservoir=None if bare else pair,
        figures={("a",): rng.random(draws)},
        eases=(rng.random(draws),),
        strains=(rng.random(draws),),
        stored_loss_a=(rng.random(draws),),
        every_s=None if bare else rng.random(draws),
        drip=None if bare else LeakCurve((1.0, 2.0), rng.random((2, draws))),
        ageing=cast(Any, "some"),
    )
    shape = (rows, states, draws)
    drain = Drain(
        **cast(Any, {name: rng.random(shape) for name in OF_STATES}),
        tasks=(slice(0, 2),),
        period_s=rng.random((1, draws)),
        cut_off_v=rng.random((rows, draws)),
    )
    phase = Stored(*(rng.random(of) for of in (draws, (rows, draws), (rows, draws))))
    drain = replace(drain, before=(phase,))
    late, fed = cases_of(pack, drain, r, n, before=True)
    assert late.stored_loss_a[0].tolist() == pack.stored_loss_a[0][n].tolist()
    assert fed.before[0].seconds.tolist() == phase.seconds[n].tolist()
    for amps, whole in (
        (fed.before[0].constant_a, phase.constant_a),
        (fed.before[0].power_w, phase.power_w),
    ):
        assert amps.tolist() == [[whole[r[m], n[m]] for m in range(3)]]
    own, its = cases_of(pack, drain, r, n)
    assert its.before == ()
    assert own.depth.tolist() == pack.depth.tolist()
    for name in ("open_v", "resistance", *ONE_A_DRAW):
        assert getattr(own, name).tolist() == getattr(pack, name)[..., n].tolist(), name
    assert own.figures[("a",)].tolist() == pack.figures[("a",)][n].tolist()
    assert own.eases[0].tolist() == pack.eases[0][n].tolist()
    assert own.strains[0].tolist() == pack.strains[0][n].tolist()
    assert (own.stored_loss_a, own.ageing) == ((), None)
    if bare:
        for name in ("two_well", "reservoir", "every_s", "drip"):
            assert getattr(own, name) is None, name
    else:
        assert pack.every_s is not None
        assert pack.drip is not None
        assert own.every_s is not None
        assert own.drip is not None
        assert own.every_s.tolist() == pack.every_s[n].tolist()
        assert own.drip.volts == (1.0, 2.0)
        assert own.drip.amps.tolist() == pack.drip.amps[:, n].tolist()
        for of in (own.two_well, own.reservoir):
            assert of is not None
            assert [x.tolist() for x in of] == [x[n].tolist() for x in pair]
    for name in OF_STATES:
        found, every = getattr(its, name), getattr(drain, name)
        assert found.shape == (1, states, 3)
        for m in range(3):
            assert found[0, :, m].tolist() == every[r[m], :, n[m]].tolist(), name
    assert its.period_s.tolist() == drain.period_s[:, n].tolist()
    assert its.cut_off_v.tolist() == [[drain.cut_off_v[r[m], n[m]] for m in range(3)]]


def test_an_ideal_budget_has_its_figures_for_every_draw(tmp_path: Path) -> None:
    """3 V and 100 mAh without resistance, loss or end of age."""
    supply = "{cells: [{budget: 100 mAh, voltage: 3.0 V}], converters: [none]}"
    product = {**PRODUCT, "supply-options": supply}
    for draws in (0, 7):
        found, _ = fed(records(tmp_path, product), draws=draws)
        pack, size = found.pack, max(draws, 1)
        assert pack.ideal
        for name in ONE_A_DRAW:
            assert getattr(pack, name).shape == (size,), name
        assert pack.open_v.shape == pack.resistance.shape == (2, size)
        assert (pack.capacity_c == 360.0).all()
        assert (pack.open_v == 3.0).all()
        assert np.isinf(pack.shelf_life_s).all()
        assert not pack.self_discharge_a.any()
        assert (pack.least_capacity == 1).all()
        assert (pack.mean_capacity == 1).all()


def test_what_another_harvest_or_store_would_lose_is_of_that_alone() -> None:
    """Of 6 J with half left by age, 1 J to bridge and a load of a day of 1 J: 2 days; twice the
    store leaves 5."""
    asked: list[tuple[float, float, float]] = []

    def at(cover: Array, days: Array, pull: Array) -> Any:
        asked.append((float(cover[0, 0]), float(days[0, 0]), float(pull[0, 0])))
        return some(lost=np.full((1, 1), 0.25))

    of = some(
        store_j=np.array([[9.0], [6.0]]),
        left=np.full((1, 2, 1), 0.5),
        bridged_j=np.ones((2, 1)),
        chain_w=np.full((2, 1), 1 / 86400),
        chain_cover=np.array([[9.0], [1.5]]),
        load=(np.array([[9.0], [0.2]]),),
        service=some(at=at),
    )
    assert Harvested.again(of, 1) == pytest.approx(0.25)
    Harvested.again(of, 1, store=2.0)
    Harvested.again(of, 1, income=0.5)
    assert asked == [pytest.approx(x) for x in ((1.5, 2, 0.2), (1.5, 5, 0.2), (0.75, 2, 0.2))]


# Asleep -------------------------------------------------------------------------------------------


def asleep(states: Any, before: Any = (), **product: Any) -> Asleep:
    figures: dict[str, Any] = {"retain": (), "ram_kib": None, "hottest": 30.0, **product}
    part = some(part="p", sleep_states=states, memory=some(ram=some(nominal=8192.0)))
    of = some(before=tuple(before), **figures)
    return Asleep(cast(Any, part), cast(Any, of), cast(Any, some(size=1)), lambda _: 1.0)


@pytest.mark.parametrize(
    ("name", "figures", "times"),
    [
        # per KiB of a memory that is kept: of RAM as much as is needed, else all there is
        ("ram-kib", {}, 0.0),
        ("ram-kib", {"retain": ("rtc",), "ram_kib": 3.0}, 0.0),
        ("ram-kib", {"retain": ("ram",), "ram_kib": 3.0}, 3.0),
        ("ram-kib", {"retain": ("ram",)}, 8.0),
        ("backup-kib", {"retain": ("backup",), "ram_kib": 3.0}, 8.0),
        # else per use
        ("rtc", {"retain": ("ram", "rtc")}, 1.0),
        ("rtc", {"retain": ("ram",)}, 0.0),
    ],
)
def test_how_often_an_addition_counts(name: str, figures: dict[str, Any], times: float) -> None:
    assert asleep({}, **figures)._additions(name) == times
    bare = asleep({}, **figures)
    bare.part.memory.ram = None  # type: ignore[misc]
    kept = times if name == "rtc" or (figures.get("ram_kib") and name == "ram-kib") else 0.0
    assert bare._additions(name) == kept


def phase(name: str, state: str | None, hottest: float = 20.0, connected: bool = True) -> Any:
    return some(
        name=name, state=state, connected=connected, temperature=np.array([[0.0], [hottest]])
    )


def test_what_is_stored_draws_by_phase_and_state(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two states of use, one of which idles: in a phase of their own they draw as they do then;
    kept in another state both draw its current; disconnected, or unstated, nothing."""
    monkeypatch.setattr(
        Asleep, "currents", lambda self, name: (None, None, np.array([[9.0]] * 4 + [[7.0]]))
    )
    states = {"deep": some(current="told"), "odd": some(current=None)}
    phases = [
        phase("shelf", "deep", connected=False),
        phase("box", None),
        phase("bag", "odd"),
        phase("rack", "none such"),
        phase("store", "deep"),
    ]
    own = np.array([[1.0], [2.0], [3.0], [4.0], [5.0]])
    use_a, use_w = np.array([[10.0], [20.0]]), np.array([[0.1], [0.2]])
    a, w = asleep(states, phases).stored([own, None], use_a, use_w)
    assert a[..., 0].tolist() == [[0, 0], [2, 20], [0, 0], [0, 0], [7, 7]]
    assert w[..., 0].tolist() == [[0, 0], [0.1, 0.2], [0, 0], [0, 0], [0, 0]]


@pytest.mark.parametrize(
    ("phases", "missing", "warned"),
    [
        ([], [], []),
        ([phase("box", "odd")], ["odd"], []),
        # in its own states the others are told elsewhere
        ([phase("box", None)], [], []),
        ([phase("box", "odd", connected=False)], [], []),
        ([phase("box", "none such"), phase("bag", "odd")], ["odd"], []),
        ([phase("box", "deep", 30.0)], [], []),
        ([phase("box", "deep", 31.0)], [], ["deep in box"]),
        ([phase("box", "deep", 31.0, connected=False)], [], []),
        ([phase("box", None, 31.0)], [], ["deep in box", "last in box"]),
        ([phase("box", "fine", 31.0), phase("bag", "deep", 50.0)], [], ["deep in bag"]),
    ],
)
def test_what_is_unsaid_of_states_before_use(
    phases: list[Any], missing: list[str], warned: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    states = {name: some(current=name) for name in ("deep", "fine", "last")}
    states["odd"] = some(current=None)
    monkeypatch.setattr(
        asleep_module, "told", lambda of, hottest: None if of == "fine" else f"by {hottest:g}"
    )
    found, warnings = asleep(states, phases).unsaid()
    assert found == missing
    assert [one.split(": ")[1] for one in warnings] == [f"sleep state {one}" for one in warned]
    assert all(one.startswith("p: ") for one in warnings)


# What packs lack ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("option", "name"),
    [
        ({"cell": "pill"}, "pill"),
        ({"cell": "pill", "series": 2}, "2 x pill"),
        ({"cell": "pill", "parallel": 3}, "3 strings of pill"),
        ({"cell": "pill", "series": 2, "parallel": 3}, "3 strings of 2 x pill"),
        ({"budget": some(text="1 Ah")}, "budget 1 Ah"),
        ({}, "budget"),
    ],
)
def test_packs_go_by_their_cells(option: dict[str, Any], name: str) -> None:
    of = {"cell": None, "budget": None, "series": 1, "parallel": 1, **option}
    assert cells_name(cast(Any, some(**of))) == name


LAW = {"calendar": some(resistance=1.0), "cycles": some(resistance=1.0)}


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ({}, []),
        ({"ageing": None}, ["ageing.calendar: it loses", "ageing.cycles: it loses"]),
        ({"ageing": some(**{**LAW, "cycles": None})}, ["ageing.cycles: it loses"]),
        (
            {"ageing": some(**{**LAW, "calendar": some(resistance=None)})},
            ["ageing.calendar.resistance: its resistance"],
        ),
        ({"charge": None}, ["charge.min: where", "charge.max: where"]),
        ({"charge": some(min=None, max=1.0)}, ["charge.min: where"]),
        ({"charge": some(min=0.0, max=None)}, ["charge.max: where"]),
    ],
)
def test_what_a_cell_that_is_charged_does_not_state(cell: dict[str, Any], told: list[str]) -> None:
    of = {"cell": "pill", "ageing": some(**LAW), "charge": some(min=0.0, max=45.0), **cell}
    found = unsaid_of_charging(cast(Any, some(**of)))
    assert len(found) == len(told)
    for one, begin in zip(found, told, strict=True):
        assert one.startswith(f"pill states no {begin}")


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ({}, []),
        ({"rechargeable": False, "charge": None}, []),
        ({"charge": None}, []),
        ({"charge": some(efficiency=None)}, ["pill:charge.efficiency"]),
        ({"rechargeable": False, "charge": some(efficiency=None)}, []),
    ],
)
def test_what_a_store_lacks(cell: dict[str, Any], told: list[str]) -> None:
    of = {"cell": "pill", "rechargeable": True, "charge": some(efficiency=0.9), **cell}
    assert missing_store(cast(Any, some(**of))) == told


@pytest.mark.parametrize(
    ("cell", "timed", "aged", "told"),
    [
        ({}, True, True, []),
        ({"capacity": None}, False, False, ["pill:capacity"]),
        # losses by voltage stand for a rate and its doubling
        ({"self_discharge": None}, False, False, ["pill:self-discharge"]),
        ({"self_discharge": None, "doubles_every": None, "leak": 1.0}, False, False, []),
        ({"capacity": None, "leak": 1.0}, False, False, ["pill:capacity"]),
        ({"price": None}, False, False, []),
        ({"price": None}, True, False, ["pill:price.lead-time"]),
        ({"price": some(lead_time=None)}, True, False, ["pill:price.lead-time"]),
        ({"shelf_life": None}, False, False, []),
        # something must end the life of a pack that is charged
        ({"shelf_life": None}, False, True, []),
        ({"shelf_life": None, "ageing": None}, False, True, ["pill:shelf-life"]),
        (
            {"shelf_life": None, "ageing": some(calendar=None, cycles=None)},
            *(False, True, ["pill:shelf-life"]),
        ),
        ({"ageing": None}, False, True, []),
    ],
)
def test_what_a_cell_lacks(
    cell: dict[str, Any], timed: bool, aged: bool, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packs_module, "lacking", lambda ageing, own: [])
    of = {
        **dict.fromkeys(packs_module.CELL_NEEDS, 1.0),
        "cell": "pill",
        "leak": None,
        "shelf_life": 1.0,
        "temperature": some(keys=(), rows=()),
        "ageing": some(calendar=1.0, cycles=None),
        "price": some(lead_time=1.0),
        **cell,
    }
    assert missing_cell(cast(Any, some(**of)), timed, aged) == told


@pytest.mark.parametrize("lost", ["capacity", "resistance"])
def test_every_row_of_a_temperature_table_is_whole(lost: str) -> None:
    rows = [some(capacity=1.0, resistance=1.0) for _ in range(3)]
    setattr(rows[1], lost, None)
    table = some(keys=("-20 degC", "0 degC", "20 degC"), rows=rows)
    needs = dict.fromkeys(packs_module.CELL_NEEDS, 1.0)
    of = some(**{**needs, "cell": "pill", "leak": None, "temperature": table, "price": None})
    (one,) = missing_cell(cast(Any, of))
    assert "0 degC" in one
    assert one.endswith(lost)


# Plans and charges ------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(40))
def test_the_cheapest_options_keep_up_at_every_time(seed: int) -> None:
    """By trying all: of two tasks with three options the least charge a second of which the busy
    shares sum to no more than one, at each of two times; by itself each task takes its cheapest."""
    rng = RNG(seed)
    shape = (1, 3)
    timed = bool(seed % 2)
    charge_a = [rng.uniform(1, 2, shape) for _ in range(2)]
    charge_w = [rng.uniform(0, 3, shape) for _ in range(2)]
    length = [rng.uniform(0.1, 1.0, shape) for _ in range(2)]
    periods = rng.uniform(0.7, 2.0, (2, 2))
    periods[rng.random((2, 2)) < 0.1] = np.inf
    share = 0.3
    rates = [share / periods[0, k] + (1 - share) / periods[1, k] for k in range(2)]
    if min(rates) == 0:
        return
    mean = tuple(np.array([1 / rate]) for rate in rates)
    paces = tuple(tuple(np.array([x]) for x in row) for row in periods) if timed else (mean,)
    product = some(paces=paces, times=(1, 2) if timed else (), tasks=[some(period=p) for p in mean])
    may = [rng.random(shape) < 0.8 for _ in range(2)]
    for one in may:
        one[..., int(rng.integers(3))] = True
    offers = Offers(may=may, charge_a=charge_a, charge_w=charge_w, length=length)
    case = np.zeros(1, dtype=np.intp)
    which, found = _cheapest(offers, cast(Any, product), np.array([3.0]), case, may)

    def charge(k: int, o: int) -> float:
        return float(charge_a[k][0, o] + charge_w[k][0, o] / 3.0)

    def busy(choice: tuple[int, int]) -> float:
        return max(
            sum(float(length[k][0, o]) / float(pace[k][0]) for k, o in enumerate(choice))
            for pace in paces
        )

    every = [
        (a, b)
        for a in range(3)
        for b in range(3)
        if may[0][0, a] and may[1][0, b] and busy((a, b)) <= 1
    ]
    if not every:
        assert len(found) == 0
        return
    best = min(every, key=lambda c: sum(rates[k] * charge(k, o) for k, o in enumerate(c)))
    assert (which.tolist(), found.tolist()) == ([0], [[*best]])


def test_a_pack_that_is_dead_from_the_start_stays_so_however_it_is_charged() -> None:
    """10 uA for a year's interval, of which a fresh pack cannot carry the first second."""
    of = charged(battery_pack(), YEAR, law({1.0: 0.08}, YEAR, 0.5))
    one_charge = life(on_one_charge(of), TEN)
    dead = replace(one_charge, dead=np.ones_like(one_charge.dead))
    found = recharged(of, TEN, dead)
    assert (found.life_s.tolist(), found.next_s.tolist()) == ([[0.0]], [[0.0]])
    assert found.ends_by.tolist() == dead.ends_by.tolist()
    alive = recharged(of, TEN, one_charge)
    assert alive.next_s.tolist() == alive.life_s.tolist()
    assert alive.life_s[0, 0] > YEAR


def test_a_leak_over_voltage_is_told_at_its_own_voltages(tmp_path: Path) -> None:
    """For two cells in a row at twice the voltages, of three strings three times: 1 to 20 uA has
    five between. The depths are where the voltage or the resistance bends, with and without."""
    leaking = {k: v for k, v in CELL.items() if k not in ("self-discharge", "doubles-every")}
    leaking["leak"] = "{2.4 V: 1 µA, 3.2 V: 20 µA}"
    supply = "{cells: [{cell: pill, series: 2, parallel: 3}], converters: [none]}"
    for name, keys in (("leaks", leaking), ("keeps", CELL)):
        cell = {**keys, "voltage-curve": "{0: 3.2 V, 0.3: 3.0 V, 1: 2.4 V}"}
        product = {**PRODUCT, "supply-options": supply}
        found, _ = fed(records(tmp_path / name, product, cells={"pill": cell}))
        pack = found.pack
        assert pack.depth.tolist() == [0.0, 0.3, 1.0]
        if name == "keeps":
            assert pack.drip is None
            continue
        assert pack.drip is not None
        assert len(pack.drip.volts) == 7
        assert pack.drip.volts[:: len(pack.drip.volts) - 1] == pytest.approx((4.8, 6.4))
        assert pack.drip.at(np.array([4.8, 5.6, 6.4])[:, None])[:, 0].tolist() == pytest.approx(
            [3e-6, 31.5e-6, 60e-6]
        )
        # over depth: 0.3 from 20 to 15.25 uA and 0.7 from there to 1
        mean = 3 * (0.3 * (20e-6 + 15.25e-6) / 2 + 0.7 * (15.25e-6 + 1e-6) / 2)
        assert pack.self_discharge_a[0] == pytest.approx(mean, rel=1e-12)
