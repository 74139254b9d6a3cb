"""The pictures of the page: clouds, currents, charges, temperatures, ranks, tips and worths."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from advisor.dimensions import YEAR
from advisor.present.axes import apart, steep
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
from advisor.present.machine import rounded
from advisor.present.typeset import typeset
from advisor.quantities import show
from advisor.studies.findings import ranks_words
from advisor.studies.pictures import Charges, Cloud, TaskCurrent, Warmth
from advisor.studies.results import RankedPart

DIGITS = 4  # of a draw, to keep the page small
RANKS = 5  # that are told apart
TONES = (100, 58, 40, 26, 14, 5)  # of a rank, %
DAY_MAH = 24e3  # mAh a day of an ampere
TALL = 3.0  # from this ratio on, costs are drawn on a logarithmic scale
NAMED = 8  # points of a chart that bear their name


def cloud(found: Cloud, looks: Looks) -> Chart:
    """Cost over life: draws as dots, what is expected as markers, the front as a line."""
    named = [s for s in found.spots if s.draws] or list(found.spots)[:NAMED]
    paint = Painted(tuple(s.part for s in named), looks)
    draws = [draw for s in named for draw in s.draws]
    seen = [s for s in found.spots if s in named or s.front]
    lives = [*(life / YEAR for life, _ in draws), *(s.life_s / YEAR for s in seen)]
    costs = [*(cost for _, cost in draws), *(s.cost for s in seen)]
    target = [] if found.target_s is None else [found.target_s / YEAR]
    # a battery change in a few draws costs many times the unit: the others would be one line
    log_x, log_y = steep([*lives, *target]), steep(costs, TALL)
    x = axis("x", "battery life, years", padded([*lives, *target], log_x), log_x)
    unit = found.currency or "no currency"
    y = axis("y", f"cost over the service life, {unit} a unit", padded(costs, log_y), log_y)
    (left, right), (low, high) = x["scale"]["domain"], y["scale"]["domain"]
    spots = [
        {"part": s.part, "x": s.life_s / YEAR, "y": s.cost}
        for s in found.spots
        if left <= s.life_s / YEAR <= right and low <= s.cost <= high
    ]
    front = sorted((s for s in found.spots if s.front), key=lambda s: s.life_s)
    line = [
        {"x": one.life_s / YEAR, "y": one.cost, "x2": two.life_s / YEAR, "y2": two.cost}
        for one, two in pairwise(front)
    ]
    mine = {s.part for s in named}
    tooltip = [
        {"field": "part"},
        {"field": "x", "title": "median life, years", "type": "quantitative", "format": ".3~f"},
        {"field": "y", "title": "expected cost", "type": "quantitative", "format": ".2f"},
    ]
    point = {"type": "point", "filled": True, "opacity": 1}
    dot = {"type": "point", "filled": True, "size": 14, "opacity": 0.45}
    beside = [s for s in spots if s["part"] in mine]
    return chart(
        "Cost over life: the draws, what is expected, and the parts beaten by none",
        found.finding,
        height=320,
        layer=[
            *(
                piece
                for one in named
                for piece in layer(
                    [rounded({"x": life / YEAR, "y": cost}, DIGITS) for life, cost in one.draws],
                    {**dot, "color": f"var(--p{looks[one.part].colour + 1})"},
                    x=x,
                    y=y,
                )
            ),
            *layer([{"x": t} for t in target], THIN, x=x),
            *layer(
                line,
                {"type": "rule", "color": "var(--ink)", "strokeDash": [5, 3]},
                x=x,
                y=y,
                x2={"field": "x2"},
                y2={"field": "y2"},
            ),
            *layer(
                [s for s in spots if s["part"] not in mine],
                {**point, "size": 40, "color": "var(--faint)", "filled": False},
                x=x,
                y=y,
                tooltip=tooltip,
            ),
            *layer(
                beside,
                {**point, "size": 95, "stroke": "var(--paper)", "strokeWidth": 1},
                x=x,
                y=y,
                color=paint.colour(legend=True),
                shape=paint.shape(legend=True),
                tooltip=tooltip,
            ),
        ],
    )


def task(found: TaskCurrent, looks: Looks) -> Chart:
    """The current at the rails state by state, one step after the other, all as wide."""
    paint = Painted(tuple(p.part for p in found.parts), looks)
    first = found.parts[0]
    steps: list[Spec] = []
    rises: list[Spec] = []
    middles: list[Spec] = []
    for part in found.parts:
        before: float | None = None
        for n, (a, s) in enumerate(zip(part.current_a, part.duration_s, strict=True)):
            if s <= 0 or a <= 0:
                before = None
                continue
            row: Spec = {"part": part.part, "x": n, "y": a}
            steps.append({**row, "x2": n + 1})
            if before is not None:
                rises.append({**row, "y2": before})
            told = {"state": found.states[n], "for": show(s, "time"), "a": show(a, "current")}
            middles.append({**row, "x": n + 0.5, **told})
            before = a
    if not steps:
        return chart(f"Current during {found.task}", found.finding, height=0, layer=[])
    values = [row["y"] for row in steps]
    log = steep(values)
    low, high = padded(values, log, 0.12)
    y = axis("y", "current", (low, high), log, lambda a: show(a, "current"), most=6)
    count = len(found.states)
    names = {
        n + 0.5: f"{found.states[n].removeprefix('kernel ')} {show(first.duration_s[n], 'time')}"
        for n in range(count)
    }
    x = axis(
        "x",
        f"state, and how long for {first.part}",
        (0, count),
        False,
        names.__getitem__,
        list(names),
    )
    x["axis"] |= {"labelAngle": -32, "labelOverlap": False, "grid": False, "labelLimit": 200}
    last = {m["part"]: m for m in middles}
    beside = apart([m["y"] for m in last.values()], low, high, log)
    colour = paint.colour(legend=not beside)
    rule = {"type": "rule", "strokeWidth": 2.5}
    tooltip = [
        {"field": "part"},
        {"field": "state"},
        {"field": "a", "title": "current"},
        {"field": "for"},
    ]
    return chart(
        f"Current during {found.task}, state by state, at {found.where}",
        found.finding,
        height=260,
        layer=[
            *layer(steps, rule, x=x, y=y, x2={"field": "x2"}, color=colour),
            *layer(
                rises,
                {**rule, "strokeWidth": 1, "opacity": 0.7},
                x=x,
                y=y,
                y2={"field": "y2"},
                color=colour,
            ),
            *layer(
                middles,
                {"type": "point", "filled": True, "size": 45, "opacity": 1},
                x=x,
                y=y,
                color=colour,
                shape=paint.shape(legend=not beside),
                tooltip=tooltip,
            ),
            *(label([{**m, "x": count} for m in last.values()], x, y, dx=4) if beside else []),
        ],
    )


def charges(found: Charges) -> Chart:
    """What the first parts take of the pack a day, by what draws it."""
    rows: list[Spec] = []
    sums: list[Spec] = []
    for place, (part, amounts) in enumerate(found.amounts.items()):
        at = 0.0
        for n, (name, a) in enumerate(zip(found.names, amounts, strict=True)):
            amount = a * DAY_MAH
            if a > 0:
                row = {"part": part, "place": place, "drawn by": name, "order": n}
                rows.append({**row, "amount": amount, "at": at, "to": at + amount})
            at += amount
        sums.append({"part": part, "place": place, "at": at, "text": f"{at:.3g}"})
    title = "charge from the pack, mAh a day"
    high = max((s["at"] for s in sums), default=1.0) or 1.0
    y = {"field": "part", "type": "nominal", "sort": PLACE, "title": None}
    x = axis("at", title, (0.0, high * 1.2), False)
    colour = {
        "field": "drawn by",
        "scale": others(found.names),
        "sort": None,
        "legend": key(found.names),
    }
    told = [
        {"field": "part"},
        {"field": "drawn by"},
        {"field": "amount", "type": "quantitative", "format": ".3~g", "title": "mAh a day"},
    ]
    return chart(
        "Charge from the pack, by part and state",
        found.finding,
        height=26 * len(found.amounts),
        layer=[
            *layer(
                rows,
                {"type": "bar", "stroke": "var(--paper)", "strokeWidth": 1},
                y=y,
                x=x,
                x2={"field": "to"},
                color=colour,
                tooltip=told,
            ),
            *label(sums, x, y, "text", dx=5),
        ],
    )


def warmth(found: Warmth, looks: Looks, target_s: float | None) -> Chart:
    """Battery life over temperature, with what changes in a build where it does."""
    paint = Painted(tuple(p.part for p in found.parts), looks)
    rows: list[Spec] = []
    lines: list[Spec] = []
    turns: list[Spec] = []
    for part in found.parts:
        before: Spec | None = None
        new = {switch.at: switch.to for switch in part.switches}
        for place, life in zip(found.places, part.life_s, strict=True):
            if life is None or life == float("inf"):
                before = None
                continue
            row: Spec = {"part": part.part, "x": place, "y": life / YEAR}
            rows.append({**row, "build": new.get(place, "as before")})
            if before is not None:
                lines.append({**row, "x2": before["x"], "y2": before["y"]})
            if place in new:
                turns.append({**row, "text": new[place]})
            before = row
    wanted = [] if target_s is None else [target_s / YEAR]
    values = [*(row["y"] for row in rows), *wanted] or [1.0]
    log = steep(values)
    low, high = padded(values, log, 0.1) if log else (0.0, max(values) * 1.22)
    ends = found.places[0], found.places[-1]
    x = axis(
        "x", "temperature, the same all the time", ends, False, lambda t: typeset(f"{t:g} degC")
    )
    y = axis("y", "battery life, years", (low, high), log)
    last = {row["part"]: row for row in rows}
    beside = apart([row["y"] for row in last.values()], low, high, log)
    beside = beside and all(row["x"] == ends[1] for row in last.values())
    colour = paint.colour(legend=not beside)
    told = [
        {"field": "part"},
        {"field": "x", "title": "°C", "type": "quantitative"},
        {"field": "y", "title": "years", "type": "quantitative", "format": ".3~f"},
        {"field": "build", "title": "new in the build"},
    ]
    stays = [{"x": t} for t in found.stays]
    return chart(
        "Battery life, and where another build takes over",
        found.finding,
        height=300,
        layer=[
            *layer(stays, {**THIN, "strokeDash": [1, 3]}, x=x),
            *layer([{"y": t} for t in wanted], THIN, y=y),
            *layer(
                lines,
                {"type": "rule", "strokeWidth": 2},
                x=x,
                y=y,
                x2={"field": "x2"},
                y2={"field": "y2"},
                color=colour,
                strokeDash=paint.dash(not beside),
            ),
            *layer(
                rows,
                {"type": "point", "filled": True, "size": 50, "opacity": 1},
                x=x,
                y=y,
                color=colour,
                shape=paint.shape(legend=not beside),
                tooltip=told,
            ),
            *layer(
                turns,
                {"type": "point", "filled": False, "size": 190, "strokeWidth": 2},
                x=x,
                y=y,
                color=colour,
            ),
            *_turn_names(turns, x, y),
            *(label(list(last.values()), x, y) if beside else []),
        ],
    )


def _turn_names(turns: Sequence[Spec], x: Spec, y: Spec) -> list[Spec]:
    """What is new at a switch, above it; what several parts change alike is told once."""
    by_place: dict[float, dict[str, Spec]] = {}
    for turn in turns:
        by_place.setdefault(turn["x"], {}).setdefault(turn["text"], turn)
    out: list[Spec] = []
    told = 0
    left, right = x["scale"]["domain"]
    for place, some in by_place.items():
        late = place > (left + 2 * right) / 3
        side = {"align": "right", "dx": -8} if late else {"align": "left", "dx": 8}
        for turn in sorted(some.values(), key=lambda t: -float(t["y"])):
            # one above the other, so that neighbours do not touch on a narrow screen
            dy = -13 - 13 * (told % 4)
            written = {"fontSize": 11, "dy": dy, **side}
            # the paper about the words, below them: a line may run through
            halo = {"stroke": "var(--paper)", "strokeWidth": 4, "strokeJoin": "round"}
            out += label([turn], x, y, "text", **written, **halo)
            out += label([turn], x, y, "text", **written)
            told += 1
    return out


def ranks(ranking: Sequence[RankedPart], most: int) -> Chart:
    """Shares of the draws in which a part has each rank."""
    rows: list[Spec] = []
    names = [f"rank {n + 1}" for n in range(RANKS)] + ["later"]
    for place, part in enumerate(ranking[:most]):
        shares = list(part.rank_acceptability or ())
        told = [*shares[:RANKS], *[0.0] * (RANKS - len(shares)), sum(shares[RANKS:])]
        at = 0.0
        for n, share in enumerate(told):
            if share > 0:
                row = {"part": part.part, "place": place, "rank": names[n], "share": share}
                rows.append({**row, "at": at, "to": at + share, "middle": at + share / 2})
            at += share
    y = {"field": "part", "type": "nominal", "sort": PLACE, "title": None}
    x = axis("at", "share of the draws", (0.0, 1.0), False, lambda s: f"{100 * s:g} %", most=6)
    tones = [f"color-mix(in srgb, var(--link) {tone}%, var(--paper))" for tone in TONES]
    scale = {"domain": names, "range": tones}
    told_by = [
        {"field": "part"},
        {"field": "rank"},
        {"field": "share", "type": "quantitative", "format": ".0%"},
    ]
    middle = {**x, "field": "middle"}
    wide = [row for row in rows if row["share"] >= 0.12]
    dark = [row for row in wide if row["rank"] == names[0]]
    light = [row for row in wide if row["rank"] != names[0]]
    written = {"align": "center", "dx": 0, "fontSize": 11}
    return chart(
        "Shares of ranks over the draws",
        ranks_words(ranking),
        height=24 * len(ranking[:most]),
        layer=[
            *layer(
                rows,
                {"type": "bar", "stroke": "var(--faint)", "strokeWidth": 0.5},
                y=y,
                x=x,
                x2={"field": "to"},
                color={"field": "rank", "scale": scale, "sort": None},
                tooltip=told_by,
            ),
            *label(dark, middle, y, "rank", **written, color="var(--paper)"),
            *label(light, middle, y, "rank", **written),
        ],
    )
