"""`outlook`: battery life and cost along a lever, where leaders change, what breaks even."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from advisor.catalogue.levers import NEAR, Lever, grid, lever, span
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rules import exchanged
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.along import Along, Offer
from advisor.decide.builds import Build
from advisor.decide.cautions import cautions
from advisor.decide.evaluate import Evaluation, evaluate
from advisor.decide.left_out import LeftOut
from advisor.decide.marches import Marches
from advisor.decide.missing import fill_missing
from advisor.decide.workers import over_workers
from advisor.faults import Fault, FaultError
from advisor.model.packs import Feed
from advisor.model.served import Services
from advisor.stages import Progress, begin
from advisor.studies.asked import unknown_parts
from advisor.studies.results import Range, frame, invented, moving_warnings, spread
from advisor.studies.shortlist import DRAWS
from advisor.studies.usual import drawn_in, usual

if TYPE_CHECKING:
    import pandas as pd

POINTS, SHOWN = 21, 4
FEW = 500  # draws at a place that is not the value that stands: the first of all
STEP = 0.01  # share of the lever's value within which a jump of a curve is drawn
MOST_CHANGES = 3  # battery changes between two places that are worth telling apart as steps


@dataclass(frozen=True, slots=True)
class Point:
    """A part at a place; None where it does not fit."""

    x: float
    """where on the lever, in its `unit`"""
    battery_life_s: Range | None
    """[s] null where the part does not fit"""
    lifetime_cost: float | None
    """[per unit] expected over the draws; at the stated values without draws"""
    lifetime_cost_p05: float | None
    """[per unit] 5 % of the draws are below"""
    lifetime_cost_p95: float | None
    """[per unit] 95 % of the draws are below"""
    battery_change: float | None
    """[share] chance that the battery is changed in the service life; null without draws"""
    score: float | None
    """[of 100] expected over the draws; at the stated values without draws"""
    step: int
    """1 on the near side of a jump, 2 on its far side, else 0"""
    joined: bool
    """nothing that makes the curve jump changed since the point before"""


@dataclass(frozen=True, slots=True)
class Curve:
    """A part along the lever."""

    part: str
    """the part's id"""
    points: tuple[Point, ...]
    """along the lever"""


@dataclass(frozen=True, slots=True)
class Crossing:
    """From `x` on, up the lever, `to` stands where `before` stood."""

    x: float
    """from here on, up the lever"""
    before: str | None
    """the part that stood there before"""
    to: str | None
    """the part that stands there now"""
    text: str
    """what goes behind `--set PATH=` to stand there"""


COLUMNS = (
    *("lever", "part", "x", "unit", "battery_life_s", "battery_life_p05_s", "battery_life_p95_s"),
    *("lifetime_cost", "lifetime_cost_p05", "lifetime_cost_p95", "battery_change", "score"),
    *("step", "joined"),
)


@dataclass(frozen=True, slots=True)
class LeverOutlook:
    """Curves along one lever."""

    lever: str
    """path of the figure that moves"""
    unit: str
    """of the lever's values"""
    now: float | None
    """the value that stands"""
    curves: tuple[Curve, ...]
    """a curve a part"""
    crossings: tuple[Crossing, ...]
    """changes of the leader by expected score, among the parts looked at"""
    break_even: tuple[Crossing, ...] | None
    """changes of the cheaper by expected lifetime cost, of the two that lead now and fit there;
    null where fewer than two fit now"""
    handle: Lever = field(repr=False)

    def rows(self) -> list[dict[str, object]]:
        """A row a part and place."""
        return [
            dict(zip(COLUMNS, self._row(curve.part, p), strict=True))
            for curve in self.curves
            for p in curve.points
        ]

    def _row(self, part: str, point: Point) -> tuple[object, ...]:
        lives = point.battery_life_s
        return (
            *(self.lever, part, point.x, self.unit),
            *((None,) * 3 if lives is None else (lives.nominal, lives.p05, lives.p95)),
            *(point.lifetime_cost, point.lifetime_cost_p05, point.lifetime_cost_p95),
            *(point.battery_change, point.score, point.step, point.joined),
        )


@dataclass(frozen=True, slots=True)
class Outlook:
    """Outlooks of a product along one lever or more."""

    product: str
    """the product's id"""
    seed: int
    """of the draws"""
    draws: int
    """number of them at the values that stand"""
    place_draws: int
    """number of them at every other place: the first ones"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    currency: str
    """of every amount"""
    rates: Mapping[str, float]
    """currency to what one of it is worth in the product's as things stand, of those that prices
    here are in"""
    life_target_s: float | None
    """[s] the battery life that is wanted"""
    ranking: tuple[str, ...]
    """parts that fit as things stand, the best first"""
    levers: tuple[LeverOutlook, ...]
    """one for each figure that moves"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""

    def rows(self) -> list[dict[str, object]]:
        """A row a lever, part and place."""
        return [row for found in self.levers for row in found.rows()]

    def to_frame(self) -> pd.DataFrame:
        """The rows as a data frame."""
        return frame(self.rows())


def document(found: Outlook) -> dict[str, object]:
    """The outlook as the JSON document: the first lever's keys stand at the top."""

    def of(one: LeverOutlook) -> dict[str, object]:
        return {
            "lever": one.lever,
            "unit": one.unit,
            "now": one.now,
            "curves": one.curves,
            "crossings": [_crossing(c) for c in one.crossings],
            "break_even": None
            if one.break_even is None
            else [_crossing(c) for c in one.break_even],
        }

    return {
        "product": found.product,
        "seed": found.seed,
        "draws": found.draws,
        "place_draws": found.place_draws,
        "invented": found.invented,
        "currency": found.currency,
        "rates": found.rates,
        **of(found.levers[0]),
        "further": [of(one) for one in found.levers[1:]],
        "cautions": found.cautions,
        "left_out": found.left_out,
        "warnings": found.warnings,
    }


def _crossing(found: Crossing) -> dict[str, object]:
    return {"x": found.x, "from": found.before, "to": found.to, "text": found.text}


def outlook(
    catalogue: Catalogue,
    product: Product,
    parts: Sequence[str] = (),
    along: Sequence[str] = (),
    *,
    points: int = POINTS,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    near: float = NEAR,
    steps: bool = True,
    few: int = FEW,
    among: int | None = None,
    base: Evaluation | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Outlook:
    """Battery life and lifetime cost along levers.

    The leader at the values that stand is the first part of `shortlist`. A figure keeps its own
    spread as it moves.

    Parameters
    ----------
    parts : ids to show; when absent, those that lead anywhere and then the first of now, to four.
    along : levers, each `PATH` or `PATH=FROM:TO`; the busiest task's period and the units when
        absent. points : places between the ends. draws, seed, jobs : as for `shortlist`; at each
        place the build is the best one there.
    progress : told how many places are done, of how many. services, estimate_missing :
        as for `shortlist`; what is estimated stays as it is while a figure moves.
    near : share of the lever's value to which changes of the leader are found.
    steps : whether both sides of every jump of a curve are looked for, which takes longest.
    few : draws at a place that is not the value that stands; expected figures are corrected by
        what the few differ by there. among : how many parts, the first of now, may lead; all when
        absent. base : the evaluation of these inputs with these draws, where it is known.

    Raises
    ------
    FaultError
        For an unknown part, a path that leads to no figure, an empty range, or a place where the
        product is not valid.
    """
    faults = faults_of(catalogue, product, parts, along)
    if points < 2:
        faults.append(Fault("--points", str(points), "at least 2"))
    if faults:
        raise FaultError(tuple(faults))
    if estimate_missing:
        catalogue = fill_missing(catalogue, product)
    whole = catalogue
    if parts:
        catalogue = catalogue.only(tuple(dict.fromkeys(parts)))
    now = base
    if now is None or parts:
        kept = Marches(services, kept=0)
        now = evaluate(catalogue, product, draws, seed, jobs, progress, marches=kept)
    asked = [text.partition("=") for text in (along or usual(now))]
    levers = [lever(catalogue, product, path) for path, _, _ in asked]
    ends = [
        span(found, text) if equals else drawn_in(catalogue, product, found)
        for found, (_, equals, text) in zip(levers, asked, strict=True)
    ]
    begin(progress, "going along figures")
    done: list[int] = []
    some = tuple(sorted(c.part.part for c in now.candidates[:among])) if among else ()

    def tell(k: int, total: int) -> None:
        if progress is not None:
            progress(len(done) * total + k, len(levers) * total)

    def through(n: int) -> None:
        done.append(n)
        tell(0, 1)

    def along_one(n: int) -> tuple[LeverOutlook, dict[tuple[str, tuple[str, ...]], Feed]]:
        found, builds = levers[n], list[Build]()
        line = Along(catalogue, product, found, now, few, near)
        at = grid(ends[n], points, found.whole, found.now)
        one = _along(line, at, parts, some, tell, builds, steps)
        return one, {(b.assessed.feed.name, b.addons): b.assessed.feed for b in builds}

    end = now.stated.marches.services.put_away
    each = over_workers(along_one, len(levers), jobs, through, end)
    used = [(c.best.addons, c.best.assessed.feed) for c in now.candidates]
    used += [(addons, feed) for _, here in each for (_, addons), feed in here.items()]
    beside = [catalogue.addons[name] for names, _ in used for name in names]
    return Outlook(
        product=product.product,
        seed=seed,
        draws=draws,
        place_draws=min(draws, few),
        invented=invented(now),
        currency=now.own_cost.currency,
        rates=exchanged(product, catalogue),
        life_target_s=None if product.life_target is None else product.life_target.nominal,
        ranking=tuple(c.part.part for c in now.candidates),
        levers=tuple(one for one, _ in each),
        cautions=cautions([feed for _, feed in used], now.figures.hottest, beside),
        left_out=now.left_out,
        warnings=moving_warnings(now, whole),
    )


def faults_of(
    catalogue: Catalogue, product: Product, parts: Sequence[str], along: Sequence[str]
) -> list[Fault]:
    """Every fault of parts to show and of levers, as of `outlook`; no build is tried for it."""
    faults = unknown_parts(catalogue, [("PART", name) for name in parts])
    if parts and not faults:
        catalogue = catalogue.only(tuple(dict.fromkeys(parts)))
    for text in along:
        path, equals, ends = text.partition("=")
        try:
            span(lever(catalogue, product, path), ends if equals else None)
        except FaultError as error:
            faults += error.faults
    return faults


def _along(
    line: Along,
    places: Sequence[float],
    parts: Sequence[str],
    among: tuple[str, ...],
    tell: Progress,
    builds: list[Build],
    steps: bool,
) -> LeverOutlook:
    now = line.base
    leaders: list[str] = []
    for n, place in enumerate(places):
        leader = line.leader(place, among)
        if leader is not None and leader not in leaders:
            leaders.append(leader)
        tell(n + 1, len(places))
    ranked = [c.part.part for c in now.candidates]
    shown = list(dict.fromkeys(parts or [*ranked[:1], *leaders, *ranked]))
    if not parts:
        shown = shown[: max(SHOWN, len(leaders))]
    drawn: dict[str, list[Point]] = {name: [] for name in shown}
    for place in places:
        offers = line.offers(place, among)
        for name in shown:
            offer = offers.get(name)
            if offer is not None:
                builds.append(offer.candidate.best)
            drawn[name].append(_point(place, offer))
    some = tuple(sorted(shown))
    curves = tuple(
        Curve(name, _joined(line, name, some, among, drawn[name], steps)) for name in shown
    )
    duel = tuple(ranked[:2])

    def cheaper(x: float) -> str | None:
        offers = line.offers(x, among if x in places else duel)
        return _cheaper(offers, duel)

    return LeverOutlook(
        lever=str(line.lever.path),
        unit=line.lever.unit,
        now=line.lever.now,
        curves=curves,
        crossings=_leaders(line, places, among),
        break_even=_changes(line, places, lambda *_: cheaper) if len(duel) == 2 else None,
        handle=line.lever,
    )


def _cheaper(offers: Mapping[str, Offer], duel: Sequence[str]) -> str | None:
    """Of those of the two that fit; None where neither does, or has a cost."""
    there = [(name, offers[name].lifetime) for name in duel if name in offers]
    costs = {name: cost for name, cost in there if cost is not None}
    return min(costs, key=lambda name: costs[name], default=None)


def _leaders(line: Along, places: Sequence[float], among: tuple[str, ...]) -> tuple[Crossing, ...]:
    """Changes of the leader; between two places among those parts alone that may lead there."""

    def between(low: float, high: float) -> Callable[[float], str | None]:
        some = line.may_lead((low, high), among)
        ends = {x: line.leader(x, among) for x in (low, high)}
        if any(leader is None for leader in ends.values()):
            some = among
        return lambda x: ends[x] if x in ends else line.leader(x, some)

    return _changes(line, places, between)


def _changes(
    line: Along,
    places: Sequence[float],
    between: Callable[[float, float], Callable[[float], str | None]],
) -> tuple[Crossing, ...]:
    out = []
    for low, high in pairwise(places):
        key = between(low, high)
        for before, after in line.changes(key, low, high):
            x = line.lever.above(after)
            out.append(Crossing(x, key(before), key(after), line.lever.text(x)))
    return tuple(out)


def _point(x: float, offer: Offer | None, step: int = 0) -> Point:
    if offer is None:
        return Point(
            x=x,
            battery_life_s=None,
            lifetime_cost=None,
            lifetime_cost_p05=None,
            lifetime_cost_p95=None,
            battery_change=None,
            score=None,
            step=step,
            joined=False,
        )
    build, drawn = offer.candidate.best, offer.candidate.drawn
    lives = spread(None if drawn is None else drawn.life_s)
    nominal = float(build.assessed.life.life_s[build.row, 0])
    life = Range(nominal=nominal, p05=lives.p05, p50=lives.p50, p95=lives.p95)
    lifetimes = spread(None if drawn is None else drawn.lifetime)
    return Point(
        x=x,
        battery_life_s=life,
        lifetime_cost=offer.lifetime,
        lifetime_cost_p05=lifetimes.p05,
        lifetime_cost_p95=lifetimes.p95,
        battery_change=offer.change,
        score=offer.score,
        step=step,
        joined=False,
    )


def _joined(
    line: Along,
    part: str,
    shown: tuple[str, ...],
    among: tuple[str, ...],
    points: Sequence[Point],
    steps: bool,
) -> tuple[Point, ...]:
    """The points, with both sides of every jump between them if asked, and where they join."""
    whole = {p.x for p in points}

    def offer(x: float) -> Offer | None:
        return line.offers(x, among if x in whole else shown).get(part)

    def state(x: float) -> tuple[object, ...] | None:
        found = offer(x)
        return None if found is None else found.state

    def few(left: Offer | None, right: Offer | None) -> bool:
        # where the battery is changed over and over between two places, steps would be a smear
        if left is None or right is None or left.changes is None or right.changes is None:
            return True
        return abs(left.changes - right.changes) <= MOST_CHANGES

    out = [points[0]]
    for before, after in pairwise(points):
        if steps and few(offer(before.x), offer(after.x)):
            for low, high in line.jumps(offer, before.x, after.x, max(STEP, line.near)):
                for x, side in ((low, 1), (high, 2)):
                    if before.x < x < after.x and x > out[-1].x:
                        out.append(_point(x, offer(x), side))
        out.append(after)
    same = (a is not None and a == b for a, b in pairwise(state(p.x) for p in out))
    return (out[0], *(replace(p, joined=j) for p, j in zip(out[1:], same, strict=True)))
