"""What a product's priorities may weigh, declared once: everything there is to say of a criterion.

Whatever asks about criteria reads it here: the keys of a product's file and their faults, the
screening of parts that lack a figure, scores, reasons, trade terms, the reference.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import ceil, floor, log10, nan
from typing import Any, Literal, Protocol

from advisor.catalogue.schema_supply import Cell
from advisor.dataclass import dataclass
from advisor.dimensions import YEAR
from advisor.quantities import show

# a product's record: its schema reads the criteria, so it cannot be named here
Product = Any

OWN = "own-figures."
CURRENCY = "currency"  # in place of a unit: the product's
Better = Literal["more", "less", "either"]
Keys = tuple[str, ...]  # of a part's file, on the way down to a figure
SETUP: Keys = ("toolchain", "setup")
MATURITY: Keys = ("toolchain", "maturity")
HOUR = 3600.0
DAY = 86400.0
ENERGY = "energy-per-day"  # the one criterion that goes by means over the battery life

_RESTS_ON_COST = "this figure, which a weighted cost rests on; write 0 for none"
_MEASURABLE = "a need that this criterion can measure"


class View(Protocol):
    """What a criterion may read of builds; arrays (R, N) or broadcast to it: R builds, N draws.

    life_s : s. lifetime, purchase : per unit, in the product's currency. energy_per_day : J/day.
    headroom, memory_headroom, days_without : shares. toolchain : 0..100.
    """

    @property
    def life_s(self) -> Any: ...
    @property
    def lifetime(self) -> Any: ...
    @property
    def purchase(self) -> Any: ...
    @property
    def energy_per_day(self) -> Any: ...
    @property
    def headroom(self) -> Any: ...
    @property
    def memory_headroom(self) -> Any: ...
    @property
    def toolchain(self) -> Any: ...
    @property
    def days_without(self) -> Any: ...

    def figure(self, keys: Keys) -> Any:
        """A part's own figure that the criterion reads, by its keys, SI."""


@dataclass(frozen=True, slots=True)
class Ask:
    """What a weighted criterion asks of the product: `met` or not, at `path`.

    `read` says what stands there when it is not met, `expected` what should.
    """

    path: str
    met: Callable[[Product], bool]
    expected: str = _RESTS_ON_COST
    read: str = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A criterion: what it measures, in what, and what a build is worth by it.

    Attributes
    ----------
    title : what it is, in words. better : which way its values are better; `either` where only the
    user knows, by the anchors. dimension : of its values and anchors. unit : of its values in
    JSON, `CURRENCY` for the product's. step : what people count it in, as (SI amount, words).
    anchors : (poor, good) of the product where the file gives none; NaN where it cannot be said.
    anchored : the same in words, `POOR to GOOD`.
    anchors_rest_on : (path, whether the product states it) of what they are taken from, if any.
    asks : what it asks of the product. reads : keys of the part that it rests on; the part is set
    aside where one of them has no value. value : of a view of builds, (R, N) SI.
    words : a value as a person would say it, where its dimension alone does not tell.

    Raises
    ------
    ValueError
        For a declaration without unit, step or paths, or whose value cannot be asked for.
    """

    name: str
    title: str
    better: Better
    dimension: str
    unit: str
    step: tuple[float, str]
    anchors: Callable[[Product, Cell | None], tuple[float, float]]
    anchored: str
    reads: tuple[Keys, ...]
    value: Callable[[View], Any]
    anchors_rest_on: tuple[str, Callable[[Product], bool]] | None = None
    asks: tuple[Ask, ...] = ()
    words: Callable[[float], str] | None = None

    def __post_init__(self) -> None:
        amount, words = self.step
        whole = self.name and self.title and self.dimension and self.unit and words
        directed = self.better in ("more", "less", "either")
        if not (
            whole
            and directed
            and amount > 0
            and self.anchored
            and self.reads
            and callable(self.value)
        ):
            raise ValueError(
                f"criterion {self.name!r} needs a title, a way that is better, a dimension, a "
                "unit, a step above zero and anchors with their words, the paths that it reads, "
                "and a value"
            )

    def shown(self, value: float, currency: str) -> str:
        """A value as a person would say it."""
        if self.words is not None:
            return self.words(value)
        if self.dimension == "money":
            if 0 < abs(value) < 0.005:  # two decimals would call it nothing
                return f"{currency} {value:.{1 - floor(log10(abs(value)))}f}"
            return f"{currency} {value:.2f}" if abs(value) < float("inf") else f"{currency} ∞"
        if self.dimension == "share":
            return f"{100 * value:.3g} %"
        if self.dimension == "score":
            return f"{value:.3g}"
        return show(value, self.dimension)


def _target(product: Product) -> float:
    return nan if product.life_target is None else float(product.life_target.nominal)


def _limit(product: Product) -> float:
    limit = product.cost.unit_cost_limit
    return nan if limit is None else float(limit.nominal)


def _visits(product: Product) -> float:
    """Battery changes over the service life that the life target implies, without a target none."""
    target, service = product.life_target, product.service_life
    if target is None or service is None:
        return 0.0
    # a service life of just so many targets needs no change at its very end
    return float(max(ceil(service.nominal / target.nominal - 1e-9) - 1, 0))


def _charging(product: Product) -> float:
    """Cost of the visits over the service life that charge a pack as old as the life target."""
    recharge, service = product.recharge, product.service_life
    if recharge is None or recharge.cost is None or recharge.every is None or service is None:
        return 0.0
    visits = ceil(service.nominal / recharge.every.nominal - 1e-9) - 1 - _visits(product)
    return float(max(visits, 0.0) * recharge.cost.nominal)


def _life_cost(product: Product) -> float:
    visit = product.cost.service_visit
    each = nan if visit is None else float(visit.nominal)
    return 2 * (_limit(product) + _visits(product) * each + _charging(product))


def _fixed(poor: float, good: float) -> Callable[[Product, Cell | None], tuple[float, float]]:
    return lambda product, cell: (poor, good)


def nominal_energy(product: Product, first_cell: Cell | None) -> float:
    """Energy of the first pack option at its nominal voltage, J; NaN where unstated."""
    option = product.supply_options.cells[0]
    if option.budget is not None and option.voltage is not None:
        return float(option.budget.nominal * option.voltage.nominal)
    if first_cell is None or first_cell.capacity is None or first_cell.nominal_voltage is None:
        return nan
    cells = option.series * option.parallel
    return float(first_cell.capacity.nominal * first_cell.nominal_voltage.nominal * cells)


LIFE_TARGET = ("life-target", lambda product: product.life_target is not None)
COST_LIMIT = ("cost.unit-cost-limit", lambda product: product.cost.unit_cost_limit is not None)


def _bought(product: Product, name: str) -> bool:
    """Whether what is bought for the harvest has a price."""
    record = None if product.harvest is None else getattr(product.harvest, name)
    return record is None or record.price is not None


def _costs(*names: str) -> tuple[Ask, ...]:
    """The keys of `cost` that a cost rests on, and the price of the reservoir that is bought."""

    def stated(name: str) -> Callable[[Product], bool]:
        return lambda product: getattr(product.cost, name.replace("-", "_")) is not None

    def priced(product: Product) -> bool:
        reservoir = product.supply_options.reservoir
        return reservoir is None or reservoir.price is not None

    return (
        *(Ask(f"cost.{name}", stated(name)) for name in names),
        Ask("supply-options.reservoir.price", priced),
        Ask("harvest.panel.price", lambda product: _bought(product, "panel")),
        Ask("harvest.charger.price", lambda product: _bought(product, "charger")),
    )


# a part's draw is known by these; what of them a product needs is asked where events are laid out
_DRAW = (("operating-points",), ("kernels",), ("sleep-states",))

MEASURES = (
    Measure(
        name="battery-life",
        title="how long a set of cells lasts",
        better="more",
        dimension="time",
        unit="s",
        step=(YEAR, "one year"),
        anchors=lambda product, cell: (0.0, 2 * _target(product)),
        anchored="0 to 2 × `life-target`",
        anchors_rest_on=LIFE_TARGET,
        reads=_DRAW,
        value=lambda view: view.life_s,
    ),
    Measure(
        name="lifetime-cost",
        title="what a unit costs over the service life, battery changes included",
        better="less",
        dimension="money",
        unit=CURRENCY,
        step=(1.0, "1"),
        anchors=lambda product, cell: (_life_cost(product), 0.0),
        anchored=(
            "2 × (`cost.unit-cost-limit` + `cost.service-visit` for each battery change that "
            "`life-target` implies over `service-life`, and `recharge.cost` for each charge "
            "between them) to 0"
        ),
        anchors_rest_on=COST_LIMIT,
        asks=(
            *_costs("currency", "units", "engineer-rate", "service-visit", "tools"),
            Ask("service-life", lambda product: product.service_life is not None),
            Ask(
                "recharge.cost",
                lambda product: product.recharge is None or product.recharge.cost is not None,
            ),
        ),
        reads=(("price",), SETUP, *_DRAW),
        value=lambda view: view.lifetime,
    ),
    Measure(
        name="purchase-cost",
        title="what the parts of a unit cost",
        better="less",
        dimension="money",
        unit=CURRENCY,
        step=(1.0, "1"),
        anchors=lambda product, cell: (2 * _limit(product), 0.0),
        anchored="2 × `cost.unit-cost-limit` to 0",
        anchors_rest_on=COST_LIMIT,
        asks=_costs("currency", "units"),
        reads=(("price",),),
        value=lambda view: view.purchase,
    ),
    Measure(
        name="toolchain",
        title="maturity of the part's tools, of 100",
        better="more",
        dimension="score",
        unit="1",
        step=(10.0, "10 points"),
        anchors=_fixed(0.0, 100.0),
        anchored="0 to 100",
        reads=(MATURITY,),
        value=lambda view: view.toolchain,
    ),
    Measure(
        name="bring-up",
        title="time from the box to a first working program",
        better="less",
        dimension="time",
        unit="s",
        step=(HOUR, "one hour"),
        anchors=_fixed(40 * HOUR, 0.0),
        anchored="40 h to 0",
        reads=(SETUP,),
        value=lambda view: view.figure(SETUP),
        words=lambda seconds: f"{seconds / HOUR:.3g} h",
    ),
    Measure(
        name="time-headroom",
        title="share of the tightest deadline that is left",
        better="more",
        dimension="share",
        unit="1",
        step=(0.1, "10 percentage points"),
        anchors=_fixed(0.0, 1.0),
        anchored="0 to 1",
        asks=(
            Ask(
                "priorities.time-headroom",
                lambda product: any(t.finish_within is not None for t in product.workload),
                _MEASURABLE,
                "no task with finish-within",
            ),
        ),
        reads=_DRAW,
        value=lambda view: view.headroom,
    ),
    Measure(
        name="memory-headroom",
        title="share of the scarcer of flash and RAM that is left",
        better="more",
        dimension="share",
        unit="1",
        step=(0.1, "10 percentage points"),
        anchors=_fixed(0.0, 0.75),
        anchored="0 to 0.75",
        asks=(
            Ask(
                "priorities.memory-headroom",
                lambda product: (
                    product.needs.memory.flash is not None or product.needs.memory.ram is not None
                ),
                _MEASURABLE,
                "no needs.memory",
            ),
        ),
        reads=(("memory",),),
        value=lambda view: view.memory_headroom,
    ),
    Measure(
        name="board-area",
        title="board area that the part takes, with all that stands beside it",
        better="less",
        dimension="area",
        unit="m2",
        step=(1e-5, "10 mm2"),
        # a stamp's worth of board: common practice, no source
        anchors=_fixed(4e-4, 0.0),
        anchored="400 mm2 to 0",
        reads=(("board-area",),),
        value=lambda view: view.figure(("board-area",)),
    ),
    Measure(
        name="days-without-service",
        title="share of the days on which a store that is harvested into does not carry the load",
        better="less",
        dimension="share",
        unit="1",
        step=(0.001, "0.1 percentage points"),
        # some eighteen days a year: common practice, no source
        anchors=_fixed(0.05, 0.0),
        anchored="5 % to 0",
        asks=(
            Ask(
                "priorities.days-without-service",
                lambda product: product.harvest is not None,
                _MEASURABLE,
                "no harvest",
            ),
        ),
        reads=_DRAW,
        value=lambda view: view.days_without,
    ),
    Measure(
        name=ENERGY,
        title="energy that the pack gives in a day",
        better="less",
        dimension="energy",
        unit="J/day",
        step=(1.0, "1 J/day"),
        anchors=lambda product, cell: (
            nominal_energy(product, cell) / _target(product) * DAY,
            0.0,
        ),
        anchored="nominal energy of the first pack/`life-target` to 0",
        anchors_rest_on=LIFE_TARGET,
        reads=_DRAW,
        value=lambda view: view.energy_per_day,
        words=lambda joules: f"{show(joules, 'energy')}/day",
    ),
)
CRITERIA = {measure.name: measure for measure in MEASURES}
# keys of a product below which anything may move criteria: what all anchors above read, and weights
MOVED_BY = frozenset(
    ("life-target", "service-life", "cost", "recharge", "supply-options", "priorities")
)


def measure_of(name: str) -> Measure | None:
    """The criterion of a name, the user's own figures among them; None where there is none."""
    if not name.startswith(OWN) or name == OWN:
        return CRITERIA.get(name)
    own = ("own-figures", name.removeprefix(OWN))
    return Measure(
        name=name,
        title="a figure of the user's own",
        better="either",
        dimension="score",
        unit="1",
        step=(1.0, "1 point"),
        anchors=_fixed(nan, nan),
        anchored="none: the product states them",
        anchors_rest_on=(f"priorities.{name}", lambda product: False),
        reads=(own,),
        value=lambda view: view.figure(own),
    )


def measures(product: Product) -> Iterator[Measure]:
    """The criteria that a product weighs, in the order of its file."""
    for name in product.priorities:
        found = measure_of(name)
        assert found is not None, name  # the kind of `priorities` reads no other
        yield found


def anchors_of(product: Product, measure: Measure, first_cell: Cell | None) -> tuple[float, float]:
    """(poor, good) of a criterion that the product weighs: those of its file, else the criterion's.

    NaN where they cannot be said.
    """
    priority = product.priorities[measure.name]
    poor, good = measure.anchors(product, first_cell)
    if priority.poor is not None:
        poor = priority.poor.nominal
    if priority.good is not None:
        good = priority.good.nominal
    return float(poor), float(good)


def unmet(product: Product, expected: str) -> Iterator[Ask]:
    """What the product's criteria ask for in vain with these words, each path once."""
    asked: dict[str, Ask] = {}
    for measure in measures(product):
        for ask in measure.asks:
            if ask.expected == expected and not ask.met(product):
                asked.setdefault(ask.path, ask)
    yield from asked.values()


def asked_words(declared: Sequence[Measure] = MEASURES) -> tuple[str, ...]:
    """Every wording by which criteria ask something of a product."""
    return tuple(dict.fromkeys(ask.expected for m in declared for ask in m.asks))
