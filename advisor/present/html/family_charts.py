"""The charts of a family's page: what it costs in three ways, and plans by cost and score."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from advisor.present.family import amount, parts_of
from advisor.present.family_contents import numbered
from advisor.present.html.specs import Chart, Spec, chart, layer, others
from advisor.studies.family_results import FamilyPlan

TOUCHING = 0.06  # of what a chart spans; labels of dots nearer than that overlap
WAYS = {
    "separate": "separately",
    "pooled": "bought together",
    "together": "the plan",
}


def charts(plan: FamilyPlan) -> dict[str, list[Chart]]:
    """Charts by the section at whose head they stand."""
    out = {}
    if plan.lines:
        out["saving"] = [_ways(plan)]
    if plan.plan and (plan.alternatives or plan.front):
        out["plans"] = [_plans(plan)]
    return out


def _ways(plan: FamilyPlan) -> Chart:
    """Expected cost by line, stacked, in three ways."""
    *lines, total = plan.lines
    coin = plan.currency
    told = amount(abs(total.saving), coin)
    finding = (
        f"The plan costs {amount(total.together, coin)}, {told} "
        f"{'less' if total.saving >= 0 else 'more'} than choosing separately"
    )
    if lines:
        most = max(lines, key=lambda one: abs(one.saving))
        how = "less" if most.saving >= 0 else "more"
        if most.saving:
            finding += f"; {most.line} alone: {amount(abs(most.saving), coin)} {how}"
    names = [one.line for one in lines]
    rows = [
        {"way": way, "line": one.line, "amount": getattr(one, key), "order": n}
        for key, way in WAYS.items()
        for n, one in enumerate(lines)
        if getattr(one, key)
    ]
    tooltip = [
        {"field": "way"},
        {"field": "line"},
        {"field": "amount", "type": "quantitative", "format": ",.2f"},
    ]
    return chart(
        f"Expected cost by line, {coin}: separately, the same builds bought together, the plan",
        f"{finding}.",
        height=150,
        layer=layer(
            rows,
            {"type": "bar", "stroke": "var(--paper)", "strokeWidth": 1},
            y={"field": "way", "type": "nominal", "sort": [*WAYS.values()], "title": None},
            x={
                "field": "amount",
                "type": "quantitative",
                "title": f"expected cost, {coin}",
                "axis": {"format": ",.0f", "tickCount": 4},
            },
            color={"field": "line", "scale": others(names), "sort": None},
            order={"field": "order"},
            tooltip=tooltip,
        ),
    )


def _dots(plan: FamilyPlan) -> Iterator[dict[str, Any]]:
    """The plan, the next-best ones and the front, each with a short name."""
    assert plan.cost is not None
    assert plan.score is not None
    of = {one.product: one.part for one in plan.plan}
    parts = "; ".join(f"{product}: {part}" for product, part in of.items())
    yield {"cost": plan.cost, "score": plan.score, "what": "the plan", "at": "plan", "of": parts}
    for kind, name, listed in (
        ("next best", "alternatives", plan.alternatives),
        ("front", "front", plan.front),
    ):
        for n, one in enumerate(listed, 1):
            same = abs(one.more) < 1e-6 * abs(plan.cost) and abs(one.score - plan.score) < 1e-6
            if not same:
                where = {"cost": one.cost, "score": one.score}
                yield {**where, "what": kind, "at": numbered(name, n), "of": parts_of(one)}


def _labels(dots: Sequence[Spec]) -> list[Spec]:
    """The names of dots, one label where dots lie so near each other that theirs would overlap."""
    wide = max(d["cost"] for d in dots) - min(d["cost"] for d in dots)
    high = max(d["score"] for d in dots) - min(d["score"] for d in dots)
    out: list[Spec] = []
    for dot in dots:
        for one in out:
            aside = abs(dot["cost"] - one["cost"]) <= TOUCHING * wide
            if aside and abs(dot["score"] - one["score"]) <= TOUCHING * high:
                one["at"] += f", {dot['at']}"
                break
        else:
            out.append({name: dot[name] for name in ("cost", "score", "at")})
    return out


def _plans(plan: FamilyPlan) -> Chart:
    """Plans by cost and score; those further up and further left are better."""
    dots = list(_dots(plan))
    coin = plan.currency
    if len(dots) < 2:
        finding = "No plan of those listed differs from the plan"
    elif plan.aim == "score":
        near = min(dots[1:], key=lambda dot: -dot["score"])
        finding = f"The next plan by score loses {dots[0]['score'] - near['score']:.2f} points"
    else:
        near = min(dots[1:], key=lambda dot: dot["cost"])
        apart = near["score"] - dots[0]["score"]
        side = "more" if apart >= 0 else "less"
        finding = (
            f"The next plan by cost is {amount(near['cost'] - dots[0]['cost'], coin)} dearer and "
            f"scores {abs(apart):.1f} points {side}"
        )
    whats = list(dict.fromkeys(str(dot["what"]) for dot in dots))
    x = {
        "field": "cost",
        "type": "quantitative",
        "title": f"expected cost, {coin}",
        "scale": {"zero": False, "nice": True, "padding": 24},
        "axis": {"tickCount": 4},
    }
    y = {
        "field": "score",
        "type": "quantitative",
        "title": "mean score, of 100",
        "scale": {"zero": False, "nice": True, "padding": 16},
    }
    tooltip = [
        {"field": "at", "title": "plan"},
        {"field": "of", "title": "parts"},
        {"field": "cost", "type": "quantitative", "format": ",.2f"},
        {"field": "score", "type": "quantitative", "format": ".2f"},
    ]
    point = {"type": "point", "filled": True, "size": 90, "opacity": 1}
    colour = {"field": "what", "scale": others(whats), "sort": None}
    named = {"type": "text", "dy": -12}
    return chart(
        f"Cost and mean score of {len(dots)} plans: the plan, next-best ones by number"
        + (", those of the front with an f" if plan.front else ""),
        f"{finding}.",
        height=260,
        layer=[
            *layer(dots, point, x=x, y=y, color=colour, tooltip=tooltip),
            *layer(_labels(dots), named, x=x, y=y, text={"field": "at"}),
        ],
    )
