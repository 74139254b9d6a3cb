"""What the report's pictures show, reckoned from its evaluation, each with its finding in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np

from advisor.catalogue.schema_life import Stay
from advisor.dataclass import dataclass
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.quantities import Quantity, show
from advisor.studies.consumers import Consumer
from advisor.studies.results import BuildResult, build_result, known
from advisor.studies.words import money, pack, per_cent, rails

FIRST = 8  # parts whose draws and charges are drawn: as many as there are colours
FEW = 3  # parts whose states and temperatures are drawn
THIN = 120  # draws of a part that are drawn
STACKED = 7  # consumers that are told apart
RAILS = "the rails, each at its own voltage"
STEP, FAR = 5.0, 40.0  # degC between temperatures; beyond so wide a span twice that
ALIKE = 0.01  # relative; lives as near are told as equal


@dataclass(frozen=True, slots=True)
class Spot:
    """A part by cost and life; `draws` of the first parts only, life (s) and cost of each."""

    part: str
    life_s: float
    cost: float
    front: bool
    draws: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Cloud:
    """Expected cost over median life, with draws of the first parts.

    `front` marks parts that no other beats by one without losing by the other. `of` : draws that
    the shown ones are taken of, evenly.
    """

    spots: tuple[Spot, ...]
    target_s: float | None
    currency: str
    shown: int
    of: int
    finding: str


@dataclass(frozen=True, slots=True)
class PartCurrent:
    """A part's current at its rails (A) in each state of a task, and how long it lasts (s)."""

    part: str
    current_a: tuple[float, ...]
    duration_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class TaskCurrent:
    """One period of a task, state by state; the last state is sleep, until the next event.

    `where` the currents flow: further rails count with the first, each at its own voltage.
    """

    task: str
    period_s: float
    states: tuple[str, ...]
    parts: tuple[PartCurrent, ...]
    where: str
    finding: str


@dataclass(frozen=True, slots=True)
class Charges:
    """Mean current at the pack, A, of the first parts by what draws it: `amounts` by `names`."""

    names: tuple[str, ...]
    amounts: Mapping[str, tuple[float, ...]]
    finding: str


@dataclass(frozen=True, slots=True)
class Switch:
    """A part's build is another from a temperature (degC) on; `to` what is new in it."""

    at: float
    to: str


@dataclass(frozen=True, slots=True)
class Warmed:
    """A part's battery life (s) at each temperature, None where it does not fit."""

    part: str
    life_s: tuple[float | None, ...]
    switches: tuple[Switch, ...]


@dataclass(frozen=True, slots=True)
class Warmth:
    """Battery life were the product always as warm, at the stated values; temperatures in degC."""

    places: tuple[float, ...]
    parts: tuple[Warmed, ...]
    stays: tuple[float, ...]
    finding: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """What is drawn; None where there is nothing to draw."""

    cloud: Cloud | None
    tasks: tuple[TaskCurrent, ...]
    charges: Charges | None
    warmth: Warmth | None


def pictures(found: Evaluation, currents: Mapping[str, Sequence[Consumer]]) -> Pictures | None:
    """The pictures of an evaluation; None where nothing fits.

    Parameters
    ----------
    currents : part to what draws current in its best build, in order of rank.
    """
    if not found.candidates:
        return None
    return Pictures(
        cloud=_cloud(found), tasks=_tasks(found), charges=_charges(currents), warmth=_warmth(found)
    )


# Cost and life ---------------------------------------------------------------------------------


def _cloud(found: Evaluation) -> Cloud | None:
    spots: list[Spot] = []
    for place, candidate in enumerate(found.candidates):
        build, drawn = candidate.best, candidate.drawn
        if drawn is None:
            life = float(build.assessed.life.life_s[build.row, 0])
            cost = known(build.assessed.costs.lifetime[build.row, 0])
            dots: tuple[tuple[float, float], ...] = ()
        else:
            life, cost = float(np.median(drawn.life_s)), known(drawn.cost)
            dots = () if place >= FIRST else tuple(_thinned(drawn.life_s, drawn.lifetime))
        if cost is not None and math.isfinite(life) and math.isfinite(cost):
            spots.append(
                Spot(part=candidate.part.part, life_s=life, cost=cost, front=False, draws=dots)
            )
    if not spots:
        return None
    spots = [replace(one, front=not any(_beats(two, one) for two in spots)) for one in spots]
    target = found.product.life_target
    wanted = None if target is None else target.nominal
    currency = found.own_cost.currency
    return Cloud(
        spots=tuple(spots),
        target_s=wanted,
        currency=currency,
        shown=min(THIN, found.draws),
        of=found.draws,
        finding=_cloud_words(spots, found.candidates[0], wanted, currency),
    )


def _thinned(life: np.ndarray, cost: np.ndarray) -> Iterator[tuple[float, float]]:
    """Draws at even distances; they are independent, so which ones does not matter."""
    for i in np.linspace(0, len(life) - 1, min(THIN, len(life))).astype(int).tolist():
        if math.isfinite(life[i]) and math.isfinite(cost[i]):
            yield float(life[i]), float(cost[i])


def _beats(one: Spot, other: Spot) -> bool:
    no_worse = one.life_s >= other.life_s and one.cost <= other.cost
    return no_worse and (one.life_s > other.life_s or one.cost < other.cost)


def _cloud_words(
    spots: Sequence[Spot], first: Candidate, wanted: float | None, currency: str
) -> str:
    front = sorted((s for s in spots if s.front), key=lambda s: (s.cost, s.part))
    cheap, long = front[0], front[-1]
    if len(front) == 1:
        text = (
            f"{cheap.part} costs least ({money(cheap.cost, currency)}) and no part lives longer "
            f"({show(cheap.life_s, 'time')})"
        )
    else:
        text = (
            f"{len(front)} of {len(spots)} parts are beaten by none in both: from {cheap.part} "
            f"({money(cheap.cost, currency)}, {show(cheap.life_s, 'time')}) to {long.part} "
            f"({money(long.cost, currency)}, {show(long.life_s, 'time')})"
        )
    if wanted is not None and first.drawn is not None:
        short = float((first.drawn.life_s < wanted).mean())
        text += f"; {first.part.part} falls short of {show(wanted, 'time')} in "
        text += "no draw" if short == 0 else f"{per_cent(short)} of the draws"
    return text + "."


# Current over a period -------------------------------------------------------------------------


def _tasks(found: Evaluation) -> tuple[TaskCurrent, ...]:
    some = found.candidates[:FEW]
    out = []
    for k, task in enumerate(found.product.workload):
        drawn: list[PartCurrent] = []
        states: list[str] = []
        for candidate in some:
            build = candidate.best
            assessed, row = build.assessed, build.row
            lines = assessed.timeline
            feed = assessed.feed
            rail = lines.rail_current(feed.chip_voltage())[row, :, 0]
            for one, on_it in zip(feed.rails, lines.filled_by(row).rails, strict=True):
                rail = rail + np.where(on_it.on[:, 0], one.current(on_it)[:, 0], 0.0)
            here = lines.tasks[k]
            period = float(lines.period[k, 0])
            lasting = lines.duration[row, here, 0]
            states = [str(name) for name in lines.names[k]]
            drawn.append(
                PartCurrent(
                    part=candidate.part.part,
                    current_a=(*map(float, rail[here]), float(rail[-1])),
                    duration_s=(*map(float, lasting), max(period - float(lasting.sum()), 0.0)),
                )
            )
        kept = [s for s in range(len(states) + 1) if any(p.duration_s[s] > 0 for p in drawn)]
        parts = tuple(_only(p, kept) for p in drawn)
        names = tuple([*states, "sleep"][s] for s in kept)
        out.append(
            TaskCurrent(
                task=task.task,
                period_s=period,
                states=names,
                parts=parts,
                where=RAILS if found.product.rails else "the rail",
                finding=_task_words(names, parts, period),
            )
        )
    return tuple(out)


def _only(part: PartCurrent, kept: Sequence[int]) -> PartCurrent:
    return PartCurrent(
        part=part.part,
        current_a=tuple(part.current_a[s] for s in kept),
        duration_s=tuple(part.duration_s[s] for s in kept),
    )


def _task_words(states: Sequence[str], parts: Sequence[PartCurrent], period: float) -> str:
    first = parts[0]
    currents = first.current_a
    top = max(range(len(states)), key=lambda s: currents[s] * (first.duration_s[s] > 0))
    charge = [a * t for a, t in zip(currents, first.duration_s, strict=True)]
    most = max(range(len(states)), key=lambda s: charge[s])
    text = f"{first.part} draws most in {states[top]} ({show(currents[top], 'current')})"
    if states[-1] == "sleep" and top != len(states) - 1 and currents[-1] > 0:
        text += f", {float(f'{currents[top] / currents[-1]:.2g}'):,.0f} times its sleep"
    if sum(charge) > 0:
        share = per_cent(charge[most] / sum(charge))
        text += f"; over a period of {show(period, 'time')} {states[most]} takes {share} of"
        text += " the charge"
    low = min(parts, key=lambda p: p.current_a[-1])
    if low is not first and states[-1] == "sleep":
        text += f". {low.part} sleeps lowest, at {show(low.current_a[-1], 'current')}"
    return text + "."


# Charge by state -------------------------------------------------------------------------------


def _charges(currents: Mapping[str, Sequence[Consumer]]) -> Charges:
    by_part = {part: _merged(some) for part, some in list(currents.items())[:FIRST]}
    most: dict[str, float] = {}
    for amounts in by_part.values():
        for name, a in amounts.items():
            most[name] = max(most.get(name, 0.0), a)
    names = sorted(most, key=lambda name: (-most[name], name))
    told, rest = names[:STACKED], names[STACKED:]
    table = {
        part: (
            *(amounts.get(name, 0.0) for name in told),
            *([sum(amounts.get(name, 0.0) for name in rest)] if rest else []),
        )
        for part, amounts in by_part.items()
    }
    shown = (*told, *(["the rest"] if rest else []))
    return Charges(names=shown, amounts=table, finding=_charge_words(shown, table))


def _merged(some: Sequence[Consumer]) -> dict[str, float]:
    """Amounts above zero under names that other parts have too."""
    out: dict[str, float] = {}
    for one in some:
        name = one.consumer
        if name.startswith("sleep ("):
            name = "sleep"
        elif name.startswith("loss in "):
            name = "converter"
        if one.a > 0:
            out[name] = out.get(name, 0.0) + one.a
    return out


def _charge_words(names: Sequence[str], table: Mapping[str, tuple[float, ...]]) -> str:
    first, own = next(iter(table.items()))
    sums = {part: sum(amounts) for part, amounts in table.items()}
    if not sums[first] > 0:
        return f"{first} draws nothing."
    top = max(range(len(names)), key=lambda i: own[i])
    text = f"{first} spends most on {names[top]}: {per_cent(own[top] / sums[first])}"
    text += f" of {show(sums[first], 'current')}"
    least, most = min(sums, key=sums.__getitem__), max(sums, key=sums.__getitem__)
    if len(table) > 1 and sums[most] > sums[least]:
        text += (
            f". Of these, {least} draws least ({show(sums[least], 'current')}) and {most} most "
            f"({show(sums[most], 'current')})"
        )
    return text + "."


# Life over temperature -------------------------------------------------------------------------


def _warmth(found: Evaluation) -> Warmth | None:
    """One decision a temperature, at the stated values and among the first parts only."""
    stays = [stay.at.nominal for stay in found.product.environment]
    if not stays:
        return None
    names = [candidate.part.part for candidate in found.candidates[:FEW]]
    some = found.catalogue.only(tuple(sorted(names)))
    places = _places(min(stays), max(stays))
    builds: dict[str, list[tuple[float, BuildResult] | None]] = {name: [] for name in names}
    for place in places:
        text = f"{place:g} degC"
        stay = Stay(
            at=Quantity(place, "temperature", text=text, unit_text="degC"),
            share=Quantity(1.0, "share", text="1"),
            entry=text,
        )
        stays_there = replace(found.product, environment=(stay,))
        there = evaluate(some, stays_there, marches=found.stated.marches)
        best = {c.part.part: c.best for c in there.candidates}
        for name in names:
            build = best.get(name)
            builds[name].append(
                None
                if build is None
                else (float(build.assessed.life.life_s[build.row, 0]), build_result(build))
            )
    parts = tuple(_warmed(name, places, builds[name]) for name in names)
    usual = max(found.product.environment, key=lambda stay: stay.share.nominal)
    return Warmth(
        places=tuple(places),
        parts=parts,
        stays=tuple(stays),
        finding=_warmth_words(places, parts, usual.at.nominal),
    )


def _places(low: float, high: float) -> list[float]:
    """Round temperatures, degC, from below the coldest stay to above the warmest."""
    step = STEP if high - low <= FAR else 2 * STEP
    return [step * i for i in range(math.ceil(low / step) - 1, math.floor(high / step) + 2)]


def _warmed(
    part: str, places: Sequence[float], found: Sequence[tuple[float, BuildResult] | None]
) -> Warmed:
    switches = []
    before: BuildResult | None = None
    for place, here in zip(places, found, strict=True):
        if here is None:
            continue
        if before is not None and here[1] != before:
            switches.append(Switch(place, _new(before, here[1])))
        before = here[1]
    return Warmed(part, tuple(None if x is None else x[0] for x in found), tuple(switches))


def _new(before: BuildResult, after: BuildResult) -> str:
    """What a build has that the one before had not."""
    out = []
    if pack(after) != pack(before):
        out.append(pack(after))
    if after.converter != before.converter:
        out.append("no converter" if after.converter == "none" else after.converter)
    out += [words for words in rails(after) if words not in rails(before)]
    if after.sleep_state != before.sleep_state:
        out.append(after.sleep_state)
    for task, point in after.operating_points.items():
        if (point, after.engines[task]) != (before.operating_points[task], before.engines[task]):
            out.append(f"{task} at {'+'.join((point, *after.engines[task]))}")
    return ", ".join(out) or "another build"


def _warmth_words(places: Sequence[float], parts: Sequence[Warmed], usual: float) -> str:
    """Who lives longest from which temperature on."""
    leaders = []
    for i, place in enumerate(places):
        lives = {p.part: life for p in parts if (life := p.life_s[i]) is not None}
        top = max(lives.values(), default=0.0)
        leaders.append((place, tuple(p for p, x in lives.items() if x >= (1 - ALIKE) * top)))
    runs = [(next(group)[0], who) for who, group in groupby(leaders, key=lambda one: one[1])]
    said = []
    for n, (place, who) in enumerate(runs):
        if not who:
            what = "nothing fits"
        elif len(who) == len(parts) > 1:
            what = "all live alike, within 1 %"
        else:
            what = f"{' and '.join(who)} {'live' if len(who) > 1 else 'lives'} longest"
        if len(runs) == 1:
            said.append(f"{what} at every temperature drawn")
        elif n == 0:
            said.append(f"below {_degrees(runs[1][0])} {what}")
        else:
            said.append(f"from {_degrees(place)} on {what}")
    text = "; ".join(said)
    near = min(range(len(places)), key=lambda i: abs(places[i] - usual))
    lasts = [f"{p.part} {show(x, 'time')}" for p in parts if (x := p.life_s[near]) is not None]
    if lasts:
        text += f". At {_degrees(places[near])}: {', '.join(lasts)}"
    return text[0].upper() + text[1:] + "."


def _degrees(place: float) -> str:
    return f"{place:g} degC"
