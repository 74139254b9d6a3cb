"""The charts of the page, by the name of the table that each stands above and that says the same.

Parts keep their colour through the whole page, in the order of the product's own ranking.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

from advisor.dataclass import dataclass
from advisor.dimensions import YEAR
from advisor.present.axes import apart, steep
from advisor.present.colours import looks
from advisor.present.contents import along
from advisor.present.curves import cost, lever_axis, turns, years
from advisor.present.gaps import MOST as MOST_GAPS
from advisor.present.html import drawn, levers_drawn
from advisor.present.html.specs import (
    PLACE,
    THIN,
    Chart,
    Looks,
    Painted,
    Spec,
    axis,
    chart,
    key,
    label,
    layer,
    others,
    padded,
)
from advisor.present.pictured import CHARGES, CLOUD, WARMTH, period
from advisor.present.tipping import MOST as MOST_TIPS
from advisor.studies.findings import cost_words, life_words, points_words
from advisor.studies.outlook import LeverOutlook, Outlook, Point
from advisor.studies.report import Report

MOST = 12  # parts whose points are drawn
TIPS = 10  # tips that are drawn


def charts(found: Report) -> dict[str, list[Chart]]:
    """Charts by the name of their table; the page fills in `rows` where a chart is live."""
    out: dict[str, list[Chart]] = {}
    painted = part_looks(found)
    ranking = found.shortlist.ranking
    if ranking:
        unit = ranking[0].cost.currency or "no currency"
        names = [c.criterion for c in found.criteria]
        out["ranking"] = [_points(names, points_words(ranking))]
        # what is live is told by the page itself
        out["current"] = [_bars("Mean current at the pack, µA, by what draws it")]
        out["money"] = [_bars(f"Cost over the service life, {unit} a unit, by item")]
        if len(ranking) > 1 and found.shortlist.draws:
            out["ranks"] = [drawn.ranks(ranking, MOST)]
    if found.pictures is not None:
        seen = found.pictures
        if seen.cloud is not None:
            out[CLOUD] = [drawn.cloud(seen.cloud, painted)]
        for n, task in enumerate(seen.tasks):
            out[period(n)] = [drawn.task(task, painted)]
        if seen.charges is not None:
            out[CHARGES] = [drawn.charges(seen.charges)]
        if seen.warmth is not None:
            out[WARMTH] = [drawn.warmth(seen.warmth, painted, found.shortlist.life_target_s)]
    if found.outlook is not None:
        for n, one in enumerate(found.outlook.levers):
            out[along(n)] = list(_curves(found.outlook, one, painted))
    if found.tipping is not None and found.tipping.winner is not None:
        tips = [t for t in found.tipping.levers if t.tips_at is not None][:MOST_TIPS]
        if tips:
            out["tips"] = levers_drawn.tips(
                tips[:TIPS], found.tipping.winner, found.product, painted
            )
    if found.gaps is not None:
        for name, rows in (("figures", found.gaps.figures), ("groups", found.gaps.groups)):
            made = levers_drawn.worths(found.gaps, [g for g in rows if g.score > 0][:MOST_GAPS])
            if made is not None:
                out[name] = [made]
    return {name: kept for name, some in out.items() if (kept := [c for c in some if _shows(c)])}


def _shows(one: Chart) -> bool:
    return bool(one.spec.get("layer", True))


def part_looks(found: Report) -> Looks:
    """Each part's look: those of the ranking first, then those that only lead elsewhere."""
    names = [p.part for p in found.shortlist.ranking]
    if found.outlook is not None:
        names += [c.part for one in found.outlook.levers for c in one.curves]
    if found.tipping is not None:
        names += [t.new_winner for t in found.tipping.levers if t.new_winner is not None]
    return looks(names)


def _points(names: Sequence[str], finding: str) -> Chart:
    """Points by criterion, stacked; rows {part, place, criterion, points, order}."""
    return chart(
        f"Points of the score by criterion, of the first {MOST} parts",
        finding,
        data={"name": "rows"},
        mark={"type": "bar", "stroke": "var(--paper)", "strokeWidth": 1},
        height=22,  # of a row; the page sets as many as there are
        encoding={
            "y": {"field": "part", "type": "nominal", "sort": PLACE, "title": None},
            "x": {"field": "points", "type": "quantitative", "title": "points of 100"},
            "color": {
                "field": "criterion",
                "scale": others(names),
                "sort": None,
                "legend": key(names),
            },
            "order": {"field": "order"},
            "tooltip": [
                {"field": "part"},
                {"field": "criterion"},
                {"field": "points", "type": "quantitative", "format": ".2f"},
            ],
        },
    )


def _bars(title: str) -> Chart:
    """Amounts of two parts beside each other; rows {item, place, part, side, amount}."""
    # the page sets these to the colours of the parts chosen
    colour = {"domain": ["one", "two"], "range": ["var(--one)", "var(--two)"]}
    return chart(
        title,
        "",
        data={"name": "rows"},
        mark={"type": "bar"},
        height=26,  # of a row
        encoding={
            "y": {"field": "item", "type": "nominal", "sort": PLACE, "title": None},
            "yOffset": {"field": "side", "scale": {"paddingOuter": 0.2}},
            "x": {
                "field": "amount",
                "type": "quantitative",
                "title": title.rpartition(",")[0],
                # beside long names there is little room on a phone
                "axis": {"titleAnchor": "end"},
            },
            "color": {"field": "side", "scale": colour, "legend": None},
            "tooltip": [
                {"field": "item"},
                {"field": "part"},
                {"field": "amount", "type": "quantitative", "format": ".4~r"},
            ],
        },
    )


# Along levers ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Readings:
    """What a chart reads off a point: `value`, its range, the value `wanted`."""

    title: str
    value: Callable[[Point], float | None]
    ends: Callable[[Point], tuple[float | None, float | None]]
    wanted: float | None
    finding: str


def _curves(found: Outlook, one: LeverOutlook, painted: Looks) -> Iterator[Chart]:
    """Battery life and cost along a lever, each where there is something to draw."""
    target = found.life_target_s
    wanted = None if target is None else target / YEAR
    unit = found.currency or "no currency"
    lives = _Readings(
        title="battery life, years",
        value=years,
        ends=_life_range,
        wanted=wanted,
        finding=life_words(one),
    )
    title = f"expected cost over the service life, {unit} a unit"
    costs = _Readings(
        title=title,
        value=cost,
        ends=_cost_range,
        wanted=None,
        finding=cost_words(one, found.currency),
    )
    for readings in (lives, costs):
        layers = _layers(one, readings, painted)
        if layers:
            name = readings.title[0].upper() + readings.title[1:]
            yield chart(name, readings.finding, height=280, layer=layers)


def _life_range(point: Point) -> tuple[float | None, float | None]:
    life = point.battery_life_s
    if life is None or life.p05 is None or life.p95 is None:
        return None, None
    return life.p05 / YEAR, life.p95 / YEAR


def _cost_range(point: Point) -> tuple[float | None, float | None]:
    return point.lifetime_cost_p05, point.lifetime_cost_p95


def _layers(one: LeverOutlook, readings: _Readings, painted: Looks) -> list[Spec]:
    """Ranges, lines, dots, crossings and names; a layer without a row is left out."""
    names = [curve.part for curve in one.curves]
    dots: list[Spec] = []
    ranges: list[Spec] = []
    lines: list[Spec] = []
    gaps: list[Spec] = []
    for curve in one.curves:
        before: Spec | None = None
        for point in curve.points:
            y = readings.value(point)
            if y is None:
                before = None
                continue
            dot: Spec = {"part": curve.part, "x": point.x, "y": y}
            dots.append(dot)
            least, most = readings.ends(point)
            if least is not None and most is not None and math.isfinite(least + most):
                ranges.append({"part": curve.part, "x": point.x, "y": least, "y2": most})
            if before is not None:
                piece = {**dot, "x2": before["x"], "y2": before["y"]}
                (lines if point.joined else gaps).append(piece)
            before = dot
    if not dots:
        return []
    wanted = [] if readings.wanted is None else [readings.wanted]
    seen = [*(dot["y"] for dot in dots), *wanted]
    log_y = steep(seen)
    x = _lever_axis(one)
    first, end = x["scale"]["domain"]
    turns = _crossings(one, (first, end)) if readings.value is cost else []
    low, high = padded(seen, True) if log_y else (0.0, max(seen) * 1.08 or 1.0)
    # room for the names of the crossings above the curves
    room = 0.07 * len(turns)
    high *= (high / low) ** room if log_y else 1 + room
    y_axis = axis("y", readings.title, (low, high), log_y)
    last = {dot["part"]: dot for dot in dots}
    beside = apart([dot["y"] for dot in last.values()], low, high, log_y)
    beside = beside and all(dot["x"] == end for dot in last.values())
    paint = Painted(tuple(names), painted)
    colour = paint.colour(legend=not beside)
    both = {"x2": {"field": "x2"}, "y2": {"field": "y2"}}
    tooltip = [
        {"field": "part"},
        {"field": "x", "title": "at", "type": "quantitative", "format": ".4~g"},
        {"field": "y", "title": readings.title, "type": "quantitative", "format": ".3~f"},
    ]
    line = {"type": "rule", "strokeWidth": 2, "strokeCap": "butt"}
    now = [] if one.now is None or not first <= one.now <= end else [{"x": one.now}]
    top = {"value": 0}
    named: Spec = {"type": "text", "align": "left", "baseline": "top", "dx": 3, "fontSize": 11}
    return [
        *layer(
            ranges,
            {"type": "rule", "strokeWidth": 5, "opacity": 0.25, "clip": True},
            x=x,
            y=y_axis,
            y2={"field": "y2"},
            color=colour,
        ),
        *layer(lines, line, x=x, y=y_axis, **both, color=colour, strokeDash=paint.dash(not beside)),
        *layer(gaps, {**line, "strokeDash": [1, 4]}, x=x, y=y_axis, **both, color=colour),
        *layer(
            dots,
            {"type": "point", "filled": True, "size": 36, "opacity": 1},
            x=x,
            y=y_axis,
            color=colour,
            shape=paint.shape(legend=not beside),
            tooltip=tooltip,
        ),
        *layer(now, THIN, x=x),
        *layer([{"y": y} for y in wanted], THIN, y=y_axis),
        *layer(turns, {"type": "rule", "color": "var(--ink)", "strokeWidth": 1}, x=x),
        *(
            piece
            for n, turn in enumerate(turns)
            for piece in layer(
                [turn],
                {**named, "dy": 13 * n, **({"align": "right", "dx": -3} if turn["right"] else {})},
                x=x,
                y=top,
                text={"field": "text"},
            )
        ),
        *(label(list(last.values()), x, y_axis) if beside else []),
    ]


def _crossings(one: LeverOutlook, ends: tuple[float, float]) -> list[Spec]:
    """Where the cheaper of the first two or the leader changes, each once."""
    middle = math.sqrt(ends[0] * ends[1]) if ends[0] > 0 else sum(ends) / 2
    return [{"x": x, "text": text, "right": x > middle} for x, text in turns(one)]


def _lever_axis(one: LeverOutlook) -> Spec:
    """The axis of the lever's places, marked as people count them."""
    places = sorted({p.x for curve in one.curves for p in curve.points})
    ends, log, at = lever_axis(one, places)
    return axis("x", one.lever, ends, log, one.handle.shown, at)


def described(drawings: Mapping[str, Sequence[Chart]]) -> dict[str, list[Spec]]:
    """The specifications alone, as the page's script reads them."""
    return {name: [one.spec for one in some] for name, some in drawings.items()}
