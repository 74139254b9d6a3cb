"""The charts of the page, as Vega-Lite specifications.

Colours are the page's own variables, so that a chart follows light, dark and paper by itself, and
every chart stands beside a table that says the same.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

from advisor.present.contents import along
from advisor.present.curves import cost, ticks, years
from advisor.quantities import YEAR
from advisor.studies.outlook import Curve, LeverOutlook, Outlook
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


def _colour(names: Sequence[str]) -> Spec:
    return {
        "domain": list(names),
        "range": [f"var(--c{i % COLOURS + 1})" for i in range(len(names))],
    }


def _spec(description: str, **more: Any) -> Spec:
    return {
        "description": description,
        "width": "container",
        "config": _CONFIG,
        **more,
    }


def charts(found: Report) -> dict[str, list[Spec]]:
    """Specifications by the name of the table that they stand above; the page fills in `rows`."""
    if not found.parts:
        return {}
    unit = found.shortlist.ranking[0].cost.currency or "no currency"
    out = {
        "ranking": [_points([c.criterion for c in found.criteria])],
        "current": [_bars("Mean current at the pack, µA")],
        "money": [_bars(f"Cost over the service life, {unit} a unit")],
    }
    if found.outlook is not None:
        for n, one in enumerate(found.outlook.levers):
            drawn = list(_curves(found.outlook, one))
            if drawn:
                out[along(n)] = drawn
    return out


def _points(names: Sequence[str]) -> Spec:
    """Points by criterion, stacked; rows {part, place, criterion, points, order}."""
    return _spec(
        f"Points of the score by criterion, for the first {MOST} parts; the table says the same",
        data={"name": "rows"},
        mark={"type": "bar", "stroke": "var(--paper)", "strokeWidth": 1},
        height=22,  # of a row; the page sets as many as there are
        encoding={
            "y": {"field": "part", "type": "nominal", "sort": _PLACE, "title": None},
            "x": {"field": "points", "type": "quantitative", "title": "points of 100"},
            "color": {"field": "criterion", "scale": _colour(names), "sort": None},
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
    return _spec(
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
    rows = [row for curve in one.curves for row in _rows(curve)]
    lives = [row for row in rows if row["years"] is not None]
    costs = [row for row in rows if row["cost"] is not None]
    if lives:
        target = found.life_target_s
        wanted = None if target is None else target / YEAR
        yield _curve(found, one, rows, "years", "battery life, years", wanted)
    if costs:
        unit = found.currency or "no currency"
        yield _curve(found, one, rows, "cost", f"cost over the service life, {unit} a unit", None)


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _rows(curve: Curve) -> Iterator[Spec]:
    """A row a place, each with the place before it and whether the curve runs on from there."""
    before: Spec | None = None
    for p in curve.points:
        life = p.battery_life_s
        low, high = (None, None) if life is None else (life.p05, life.p95)
        row: Spec = {
            "part": curve.part,
            "x": p.x,
            "years": years(p),
            "years_low": None if low is None else _finite(low / YEAR),
            "years_high": None if high is None else _finite(high / YEAR),
            "cost": cost(p),
            "cost_low": _finite(p.lifetime_cost_p05),
            "cost_high": _finite(p.lifetime_cost_p95),
            "joined": p.joined,
        }
        if before is not None:
            row |= {f"{name}_before": before[name] for name in ("x", "years", "cost")}
        before = row
        yield row


def _decades(low: float, high: float) -> list[float]:
    """1, 2 and 5 times the powers of ten from `low` to `high`; over three decades the powers."""
    steps = (1, 2, 5) if high < 1000 * low else (1,)
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    marks = (step * 10.0**power for power in range(first, last + 1) for step in steps)
    return [x for x in marks if low <= x <= high]


def _curve(
    found: Outlook, one: LeverOutlook, rows: list[Spec], y: str, title: str, wanted: float | None
) -> Spec:
    names = [curve.part for curve in one.curves]
    places = sorted({row["x"] for row in rows})
    log = places[0] > 0
    marks = ticks(places, log)
    shown = {x: one.handle.shown(x) for x in marks}
    label = " : ".join(f"datum.value == {x!r} ? {json.dumps(shown[x])}" for x in marks) + " : ''"
    x_axis = {
        "field": "x",
        "type": "quantitative",
        "title": one.lever,
        "scale": {"type": "log", "nice": False} if log else {"nice": False, "zero": False},
        "axis": {"values": marks, "labelExpr": label, "labelOverlap": "greedy"},
    }
    y_axis: Spec = {"field": y, "type": "quantitative", "title": title}
    seen = [row[y] for row in rows if row[y] is not None]
    if y == "cost" and min(seen) > 0 and max(seen) > STEEP * min(seen):
        y_axis["scale"] = {"type": "log", "nice": False}
        y_axis["axis"] = {"values": _decades(min(seen), max(seen))}
    colour = {
        "field": "part",
        "scale": _colour(names),
        "sort": None,
        "legend": {"symbolOpacity": 1, "symbolType": "circle", "symbolStrokeWidth": 0},
    }
    known = f"isValid(datum['{y}'])"
    pieces = f"{known} && isValid(datum['{y}_before'])"
    ends = {"x2": {"field": "x_before"}, "y2": {"field": f"{y}_before"}}
    dashes = [DASHES[i % len(DASHES)] for i in range(len(names))]
    layers: list[Spec] = []
    if found.draws and len(names) > 0:
        layers.append(
            {
                "transform": [
                    {"filter": f"isValid(datum['{y}_low']) && isValid(datum['{y}_high'])"}
                ],
                "mark": {"type": "rule", "strokeWidth": 5, "opacity": 0.25},
                "encoding": {
                    "x": x_axis,
                    "y": {**y_axis, "field": f"{y}_low"},
                    "y2": {"field": f"{y}_high"},
                    "color": colour,
                },
            }
        )
    for joined, dash in (("datum.joined", None), ("!datum.joined", [1, 4])):
        stroke: Spec = (
            {"strokeDash": {"field": "part", "scale": {"domain": names, "range": dashes}}}
            if dash is None
            else {"strokeDash": {"value": dash}}
        )
        layers.append(
            {
                "transform": [{"filter": f"{pieces} && {joined}"}],
                "mark": {"type": "rule", "strokeWidth": 2, "strokeCap": "butt"},
                "encoding": {"x": x_axis, "y": y_axis, **ends, "color": colour, **stroke},
            }
        )
    layers.append(
        {
            "transform": [{"filter": known}],
            "mark": {"type": "point", "filled": True, "size": 30, "opacity": 1},
            "encoding": {
                "x": x_axis,
                "y": y_axis,
                "color": colour,
                "tooltip": [
                    {"field": "part"},
                    {"field": "x", "title": "at", "type": "quantitative", "format": ".4~g"},
                    {"field": y, "title": title, "type": "quantitative", "format": ".3~f"},
                ],
            },
        }
    )
    thin = {"type": "rule", "color": "var(--faint)", "strokeDash": [4, 3]}
    if one.now is not None and places[0] <= one.now <= places[-1]:
        layers.append(
            {
                "data": {"values": [{"x": one.now}]},
                "mark": thin,
                "encoding": {"x": x_axis},
            }
        )
    if wanted is not None:
        layers.append({"data": {"values": [{y: wanted}]}, "mark": thin, "encoding": {"y": y_axis}})
    return _spec(
        f"{title} along {one.lever}; the table says the same",
        data={"values": rows},
        height=260,
        layer=layers,
    )
