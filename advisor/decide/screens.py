"""Limits, and those that a part must meet by itself: screens, never traded against anything.

A limit is declared once, with its words, its level and what it compares; the same declaration says
what fails at the stated values and masks whole arrays of draws or of places along a lever. Those of
packs, options and builds are in `limits`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.criteria import Keys
from advisor.catalogue.schema_life import ASLEEP, DISCONNECTED
from advisor.catalogue.schema_parts import LIFECYCLES, Part
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.model.draws import Array
from advisor.quantities import Quantity, show, spellings, unmet

LEAD_TIME: Keys = ("price", "lead-time")
UNIT_COST = "unit-cost-limit"
# what limits are apart from that ask neither how full packs are nor for how long
DARK = ("harvest",)
DELIVERY = "weeks"  # in which times to delivery are told
TAKES = "it takes"  # before a time that is longer than it may be


@dataclass(frozen=True, slots=True)
class Failed:
    """A need that is not met.

    `required` and `offered` are SI figures, or words; `dimension` says how to show them, `unit` in
    which unit where the one that suits each is not to be taken: of money, the currency. `miss` is
    how far the offer is from the need, as a share of the need: the smallest is the nearest miss.
    `apart_from` : sections of the product of which no figure bears on it. `beyond` : where what is
    required is the most that may be, the words before what there is.
    """

    need: str
    required: float | str
    offered: float | str | None
    dimension: str = ""
    miss: float = 1.0
    unit: str = ""
    apart_from: tuple[str, ...] = ()
    beyond: str = ""

    @property
    def text(self) -> str:
        """`features.adc-bits: 12 needed, 10 offered`; `lead-time: at most 8 weeks, it takes 9`."""
        told = ([self._show(x, n) for x in (self.required, self.offered)] for n in (3, 4, 6, 9))
        brief = next(told)
        # as many digits as tell the two apart
        needed, offered = next((pair for pair in (brief, *told) if pair[0] != pair[1]), brief)
        return unmet(self.need, needed, offered, self.beyond)

    def _show(self, value: float | str | None, digits: int) -> str:
        if value is None:
            return "nothing"
        if isinstance(value, str):
            return value
        if not self.dimension:
            return f"{value:.{max(digits, 4)}g}"
        if self.dimension == "money":
            return f"{self.unit} {value:.{max(digits - 1, 2)}f}".lstrip()
        if self.unit:
            return f"{value / spellings(self.dimension)[self.unit]:.{digits}g} {self.unit}"
        return show(value, self.dimension, digits)


Level = Literal["part", "feed", "option", "build"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One thing that a limit compares.

    Attributes
    ----------
    need : in words. required, offered : SI figures or arrays (R, N), or words; None where nothing
    is offered. missing : path of the part's figure that is not stated, in place of an offer.
    broken : whether it is; None to compare the two. miss : how far the offer is from the need,
    None for their gap as a share of the need. unit, beyond : as for `Failed`.
    """

    need: str
    required: Array | float | str = 0.0
    offered: Array | float | str | None = None
    missing: str | None = None
    broken: NDArray[np.bool_] | bool | None = None
    miss: float | None = None
    unit: str = ""
    beyond: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit: what it is called, at which level it is asked, and its cases for a subject.

    Attributes
    ----------
    title : in words. dimension : of its figures; empty for words. least : whether the offer must
    be at least what is required, as it must where nothing is told; else it must not pass it.
    reads : keys of the part's own figures that its cases take from the subject. apart_from :
    sections of the product of which no figure bears on it.
    """

    name: str
    level: Level
    title: str
    dimension: str
    least: bool = True
    cases: Callable[[Any], Iterator[Case]]
    reads: tuple[Keys, ...] = ()
    apart_from: tuple[str, ...] = ()

    def bad(self, case: Case) -> NDArray[np.bool_]:
        """Where a case is broken, (R, N) or broadcast to it."""
        with np.errstate(invalid="ignore"):
            return np.atleast_2d(self.compared(case))

    def compared(self, case: Case) -> NDArray[np.bool_]:
        """Where a case is broken, (R, N) or in as few dimensions as it has: quicker for many."""
        if case.broken is not None:
            return np.asarray(case.broken)
        compare = np.less if self.least else np.greater
        return np.asarray(compare(case.offered, case.required))  # type: ignore[arg-type]

    def failed(self, case: Case, row: int = 0) -> Failed:
        """What a row of a broken case fails, at the stated values."""
        return self.each_failed(case, [row])[0]

    def each_failed(self, case: Case, rows: Sequence[int]) -> list[Failed]:
        """What several rows of a case fail that is broken in each, at the stated values."""
        if not rows:
            return []
        if isinstance(case.required, str) or isinstance(case.offered, str | None):
            miss = 1.0 if case.miss is None else case.miss
            same = Failed(
                need=case.need,
                required=case.required,  # type: ignore[arg-type]
                offered=case.offered,  # type: ignore[arg-type]
                dimension=self.dimension,
                miss=miss,
                apart_from=self.apart_from,
                beyond=case.beyond,
            )
            return [same for _ in rows]
        wanted, given, _ = np.broadcast_arrays(case.required, case.offered, self.bad(case))
        # what is alike for all builds has one row
        pairs = [(float(wanted[at, 0]), float(given[at, 0])) for at in range(len(wanted))]
        return [
            Failed(
                need=case.need,
                required=a,
                offered=b,
                dimension=self.dimension,
                miss=gap(a, b) if case.miss is None else case.miss,
                unit=case.unit,
                apart_from=self.apart_from,
                beyond=case.beyond,
            )
            for a, b in (pairs[row if len(pairs) > 1 else 0] for row in rows)
        ]


@dataclass(frozen=True, slots=True)
class Screened:
    """What a screen found on one part: needs it fails, and paths of figures that are missing."""

    failed: tuple[Failed, ...]
    missing: tuple[str, ...]


def gap(required: float, offered: float) -> float:
    """How far an offer is from what is required, as a share of it."""
    return abs(required - offered) / max(abs(required), 1e-30)


@dataclass(frozen=True, slots=True)
class Asked:
    """A part held against a product: the subject of the limits at the level `part`. Those of
    temperature, state of supply and lead time hold an add-on in its place as well."""

    part: Any
    product: Product


def _of(need: str, required: Quantity, offered: Quantity | None, path: str, unit: str = "") -> Case:
    """A need of one of the part's own figures."""
    if offered is None:
        return Case(need=need, missing=path)
    return Case(need=need, required=required.nominal, offered=offered.nominal, unit=unit)


def _memory(asked: Asked) -> Iterator[Case]:
    for name in ("flash", "ram"):
        need = getattr(asked.product.needs.memory, name)
        if need is not None:
            path = f"memory.{name}"
            yield _of(path, need, getattr(asked.part.memory, name), path)


def _features(asked: Asked) -> Iterator[Case]:
    for name, count in asked.product.needs.features.items():
        path = f"features.{name}"
        yield _of(path, count, asked.part.features.get(name), path)


def _temperatures(end: str) -> Callable[[Asked], Iterator[Case]]:
    """The part's rating must cover what is asked for and where the product stands."""
    sign = 1.0 if end == "min" else -1.0

    def cases(asked: Asked) -> Iterator[Case]:
        places = [stay.at.nominal for stay in asked.product.stays]
        places += [
            stay.at.nominal
            for phase in asked.product.before_use
            if phase.state != DISCONNECTED
            for stay in phase.environment
        ]
        needed = getattr(asked.product.needs.temperature, end)
        wanted = [] if needed is None else [(f"temperature.{end}", needed.nominal)]
        if places:
            wanted.append((f"environment {end}", min(places) if sign > 0 else max(places)))
        rated = getattr(asked.part.temperature, end)
        if rated is None:
            if wanted:
                yield Case(need=f"temperature.{end}", missing=f"temperature.{end}")
            return
        for need, at in wanted:
            if sign * (rated.nominal - at) > 0:
                # a share of a temperature means nothing; 100 K is a span of ratings
                miss = abs(rated.nominal - at) / 100
                yield Case(need=need, required=at, offered=rated.nominal, broken=True, miss=miss)
                return

    return cases


def _lifecycle(asked: Asked) -> Iterator[Case]:
    wanted, state = asked.product.needs.lifecycle, asked.part.lifecycle
    if wanted is None:
        return
    if state is None:
        yield Case(need="lifecycle", missing="lifecycle")
    elif state not in wanted:
        steps = [abs(LIFECYCLES.index(state) - LIFECYCLES.index(one)) for one in wanted]
        miss = min(steps, default=len(LIFECYCLES)) / len(LIFECYCLES)
        words = " or ".join(wanted)
        yield Case(need="lifecycle", required=words, offered=state, broken=True, miss=miss)


def _lead_time(asked: Asked) -> Iterator[Case]:
    longest, price = asked.product.needs.lead_time, asked.part.price
    if longest is not None:
        offered = None if price is None else price.lead_time
        case = _of("lead-time", longest, offered, ".".join(LEAD_TIME), DELIVERY)
        yield replace(case, beyond=TAKES)


def _points(asked: Asked) -> Iterator[Case]:
    for task in asked.product.workload:
        if task.at is not None and task.at not in asked.part.operating_points:
            offered = " or ".join(asked.part.operating_points) or None
            need = f"workload.{task.task}.at"
            yield Case(need=need, required=task.at, offered=offered, broken=True)


def _stored(asked: Asked) -> Iterator[Case]:
    for phase in asked.product.before_use:
        if phase.state not in (DISCONNECTED, ASLEEP, *asked.part.sleep_states):
            need = f"before-use.{phase.phase}.state"
            offered = " or ".join(asked.part.sleep_states) or None
            yield Case(need=need, required=phase.state or "one", offered=offered, broken=True)


def _blocks(asked: Asked) -> Iterator[Case]:
    used = {block: None for task in asked.product.workload for block in task.uses}
    for block in used:
        if block not in asked.part.blocks:
            yield Case(need=f"blocks.{block}", required=1.0, offered=0.0)


PART_LIMITS = (
    Limit(
        name="memory",
        level="part",
        title="least flash and RAM",
        dimension="information",
        cases=_memory,
    ),
    Limit(
        name="features",
        level="part",
        title="least counts of features",
        dimension="count",
        cases=_features,
    ),
    Limit(
        name="temperature.min",
        level="part",
        title="rated down to what is needed and to the coldest place",
        dimension="temperature",
        least=False,
        cases=_temperatures("min"),
    ),
    Limit(
        name="temperature.max",
        level="part",
        title="rated up to what is needed and to the hottest place",
        dimension="temperature",
        cases=_temperatures("max"),
    ),
    Limit(
        name="lifecycle",
        level="part",
        title="a state of supply that is acceptable",
        dimension="",
        cases=_lifecycle,
    ),
    Limit(
        name="lead-time",
        level="part",
        title="delivered in time",
        dimension="time",
        least=False,
        cases=_lead_time,
    ),
    Limit(
        name="at",
        level="part",
        title="the operating point that a task must run at",
        dimension="",
        cases=_points,
    ),
    Limit(
        name="blocks",
        level="part",
        title="the on-chip blocks that tasks use",
        dimension="count",
        cases=_blocks,
    ),
    Limit(
        name="before-use",
        level="part",
        title="the sleep states that it is kept in before use",
        dimension="",
        cases=_stored,
    ),
)


def screen(part: Part, product: Product, limits: Sequence[Limit] = PART_LIMITS) -> Screened:
    """Hold one part against the product's needs."""
    failed: list[Failed] = []
    missing: list[str] = []
    for limit in limits:
        for case in limit.cases(Asked(part, product)):
            if case.missing is not None:
                missing.append(case.missing)
            elif limit.bad(case).any():
                failed.append(limit.failed(case))
    return Screened(tuple(failed), tuple(f"{part.part}:{m}" for m in missing))
