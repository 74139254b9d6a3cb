"""The charts of the page, as Vega-Lite specifications.

Colours are the page's own variables, so that a chart follows light, dark and paper by itself, and
every chart stands beside a table that says the same.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from advisor.dimensions import YEAR
from advisor.present.contents import along
from advisor.present.curves import cost, ticks, years
from advisor.studies.outlook import LeverOutlook, Outlook, Point
from advisor.studies.report import Report

Spec = dict[str, Any]

COLOURS = 8  # --c1 to --c8 of the style sheet; further criteria and parts begin anew
MOST = 12  # parts whose points are drawn
STEEP = 20.0  # from this ratio on, figures are drawn on a logarithmic scale
DASHES = ([1, 0], [6, 3], [2, 2], [8, 3, 2, 3])

# the order of rows given later is not the order in which they would be drawn
_PLACE = {"field": "place", "op": "min"}
_TEXT = {"labelColor": "var(--ink)", "titleColor": "var(--ink)"}
_CONFIG: Spec = {
    "background": "transparent",
    "font": "system-ui, sans-serif",
    "view": {"stroke": None},
    "axis": {
        **_TEXT,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "gridColor": "var(--line)",
        "domainColor": "var(--faint)",
        "tickColor": "var(--faint)",
        "labelLimit": 260,
        "tickCount": 6,
    },
    "legend": {
        **_TEXT,
        "labelFontSize": 12,
        "orient": "top",
        "title": None,
        "labelLimit": 260,
        "columns": 2,
    },
}


def colour_of(names: Sequence[str]) -> Spec:
    """A scale that gives each name a colour of the page."""
    return {
        "domain": list(names),
        "range": [f"var(--c{i % COLOURS + 1})" for i in range(len(names))],
    }


def spec(description: str, **more: Any) -> Spec:
    """A specification in the page's looks, as wide as its place."""
    return {
        "description": description,
        "width": "container",
        "config": _CONFIG,
        **more,
    }


def charts(found: Report) -> dict[str, list[Spec]]:
    """Specifications by the name of the table that they stand above; the page fills in `rows`."""
    out: dict[str, list[Spec]] = {}
    if found.parts:
        unit = found.shortlist.ranking[0].cost.currency or "no currency"
        out["ranking"] = [_points([c.criterion for c in found.criteria])]
        out["current"] = [_bars("Mean current at the pack, µA")]
        out["money"] = [_bars(f"Cost over the service life, {unit} a unit")]
    if found.outlook is not None:
        for n, one in enumerate(found.outlook.levers):
            drawn = list(_curves(found.outlook, one))
            if drawn:
                out[along(n)] = drawn
    return out


def _points(names: Sequence[str]) -> Spec:
    """Points by criterion, stacked; rows {part, place, criterion, points, order}."""
    return spec(
        f"Points of the score by criterion, for the first {MOST} parts; the table says the same",
        data={"name": "rows"},
        mark={"type": "bar", "stroke": "var(--paper)", "strokeWidth": 1},
        height=22,  # of a row; the page sets as many as there are
        encoding={
            "y": {"field": "part", "type": "nominal", "sort": _PLACE, "title": None},
            "x": {"field": "points", "type": "quantitative", "title": "points of 100"},
            "color": {"field": "criterion", "scale": colour_of(names), "sort": None},
            "order": {"field": "order"},
            "tooltip": [
                {"field": "part"},
                {"field": "criterion"},
                {"field": "points", "type": "quantitative", "format": ".2f"},
            ],
        },
    )


def _bars(title: str) -> Spec:
    """Amounts of two parts beside each other; rows {item, place, part, side, amount}."""
    colour = {"domain": ["one", "two"], "range": ["var(--c1)", "var(--c2)"]}
    return spec(
        f"{title}, by item, of the two parts chosen; the table says the same",
        data={"name": "rows"},
        mark={"type": "bar"},
        height=26,  # of a row
        encoding={
            "y": {"field": "item", "type": "nominal", "sort": _PLACE, "title": None},
            "yOffset": {"field": "side", "scale": {"paddingOuter": 0.2}},
            "x": {"field": "amount", "type": "quantitative", "title": title},
            "color": {"field": "side", "scale": colour, "legend": None},
            "tooltip": [
                {"field": "item"},
                {"field": "part"},
                {"field": "amount", "type": "quantitative", "format": ".4~r"},
            ],
        },
    )


def _curves(found: Outlook, one: LeverOutlook) -> Iterator[Spec]:
    """Battery life and cost along a lever, each where there is something to draw."""
    target = found.life_target_s
    wanted = None if target is None else target / YEAR
    unit = found.currency or "no currency"
    lives = _Readings("battery life, years", years, _life_range, wanted)
    costs = _Readings(
        title=f"expected cost over the service life, {unit} a unit",
        value=cost,
        ends=_cost_range,
        wanted=None,
        steep=True,
    )
    for readings in (lives, costs):
        layers = _layers(one, readings)
        if layers:
            about = f"{readings.title} along {one.lever}; the table says the same"
            yield spec(about, height=260, layer=layers)


@dataclass(frozen=True, slots=True)
class _Readings:
    """What a chart reads off a point: `value`, its range, the value `wanted`."""

    title: str
    value: Callable[[Point], float | None]
    ends: Callable[[Point], tuple[float | None, float | None]]
    wanted: float | None
    steep: bool = False  # whether it may be drawn on a logarithmic scale


def _life_range(point: Point) -> tuple[float | None, float | None]:
    life = point.battery_life_s
    if life is None or life.p05 is None or life.p95 is None:
        return None, None
    return life.p05 / YEAR, life.p95 / YEAR


def _cost_range(point: Point) -> tuple[float | None, float | None]:
    return point.lifetime_cost_p05, point.lifetime_cost_p95


def _layers(one: LeverOutlook, readings: _Readings) -> list[Spec]:
    """Ranges, lines, dots and marks; a layer without a row is left out."""
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
    x, y_axis = _axes(one, readings, [dot["y"] for dot in dots])
    colour = {
        "field": "part",
        "scale": colour_of(names),
        "sort": None,
        "legend": {"symbolOpacity": 1, "symbolType": "circle", "symbolStrokeWidth": 0},
    }
    dashes = [DASHES[i % len(DASHES)] for i in range(len(names))]
    dashed = {"strokeDash": {"field": "part", "scale": {"domain": names, "range": dashes}}}
    both = {"x2": {"field": "x2"}, "y2": {"field": "y2"}}
    tooltip = [
        {"field": "part"},
        {"field": "x", "title": "at", "type": "quantitative", "format": ".4~g"},
        {"field": "y", "title": readings.title, "type": "quantitative", "format": ".3~f"},
    ]
    thin = {"type": "rule", "color": "var(--faint)", "strokeDash": [4, 3]}
    line = {"type": "rule", "strokeWidth": 2, "strokeCap": "butt"}
    low, high = x["scale"]["domain"]
    now = one.now is not None and low <= one.now <= high
    wanted = [] if readings.wanted is None else [{"y": readings.wanted}]
    drawn: list[tuple[list[Spec], Spec, Spec]] = [
        (
            ranges,
            {"type": "rule", "strokeWidth": 5, "opacity": 0.25},
            {"x": x, "y": y_axis, "y2": {"field": "y2"}, "color": colour},
        ),
        (lines, line, {"x": x, "y": y_axis, **both, "color": colour, **dashed}),
        (gaps, {**line, "strokeDash": [1, 4]}, {"x": x, "y": y_axis, **both, "color": colour}),
        (
            dots,
            {"type": "point", "filled": True, "size": 30, "opacity": 1},
            {"x": x, "y": y_axis, "color": colour, "tooltip": tooltip},
        ),
        ([{"x": one.now}] if now else [], thin, {"x": x}),
        (wanted, thin, {"y": y_axis}),
    ]
    return [{"data": {"values": r}, "mark": m, "encoding": e} for r, m, e in drawn if r]


def _axes(one: LeverOutlook, readings: _Readings, seen: Sequence[float]) -> tuple[Spec, Spec]:
    """The axis of the lever's places, with their names, and that of the readings."""
    places = sorted({p.x for curve in one.curves for p in curve.points})
    log = places[0] > 0
    marks = ticks(places, log)
    named = (f"datum.value == {x!r} ? {json.dumps(one.handle.shown(x))}" for x in marks)
    x: Spec = {
        "field": "x",
        "type": "quantitative",
        "title": one.lever,
        "scale": {
            "type": "log" if log else "linear",
            "domain": [places[0], places[-1]],
            "nice": False,
        },
        "axis": {
            "values": marks,
            "labelExpr": " : ".join([*named, "''"]),
            "labelOverlap": "greedy",
        },
    }
    y: Spec = {"field": "y", "type": "quantitative", "title": readings.title}
    low, high = min(seen), max(seen)
    if readings.steep and low > 0 and high > STEEP * low:
        y["scale"] = {"type": "log", "nice": False}
        y["axis"] = {"values": _decades(low, high)}
    return x, y


def _decades(low: float, high: float) -> list[float]:
    """1, 2 and 5 times the powers of ten from `low` to `high`; over three decades the powers."""
    steps = (1, 2, 5) if high < 1000 * low else (1,)
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    marks = (step * 10.0**power for power in range(first, last + 1) for step in steps)
    return [x for x in marks if low <= x <= high]
