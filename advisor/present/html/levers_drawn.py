"""Charts of what would change the winner, and of what measurements are worth."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.present.axes import steep
from advisor.present.html.specs import (
    PLACE,
    THIN,
    Chart,
    Looks,
    Painted,
    Spec,
    axis,
    chart,
    label,
    layer,
    others,
    padded,
)
from advisor.present.tipping import short_name
from advisor.studies.findings import tips_words, worths_words
from advisor.studies.gaps import Gap, Gaps
from advisor.studies.tipping import LeverTip

TIP = 54  # height of a tip with its two lines
NAMED = 8  # points of a chart that bear their name


def tips(some: Sequence[LeverTip], winner: str, product: str, looks: Looks) -> list[Chart]:
    """How far figures may move from the value now before another part leads."""
    out = []
    shares = [t for t in some if t.distance_share is not None and t.now and t.tips_at]
    degrees = [t for t in some if t.distance_k is not None and t.tips_at is not None]
    for kelvin, mine in ((False, shares), (True, degrees)):
        if not mine:
            continue
        rows: list[Spec] = []
        for place, tip in enumerate(mine):
            assert tip.tips_at is not None
            to = tip.tips_at - tip.now if kelvin else tip.tips_at / tip.now
            name, leads = short_name(tip, product), tip.new_winner or "nothing"
            told = f"{tip.now_shown} to {tip.tips_shown}, then {leads}"
            row = {"name": name, "place": place, "at": 0.0 if kelvin else 1.0}
            rows.append({**row, "to": to, "part": leads, "text": [name, told]})
        values = [row["to"] for row in rows]
        if kelvin:
            wide = max(abs(v) for v in values) * 1.1
            ends, title, shown = (
                (-wide, wide),
                "K from the value now",
                lambda v: f"{v:+g}" if v else "now",
            )
        else:
            wide = max(max(v, 1 / v) for v in values if v > 0) ** 1.15
            ends, title, shown = (
                (1 / wide, wide),
                "times the value now",
                lambda v: "now" if v == 1 else f"{v:g}",
            )
        x = axis("at", title, ends, not kelvin, shown)
        y = {
            "field": "name",
            "type": "nominal",
            "sort": PLACE,
            "title": None,
            "axis": None,
            "scale": {"paddingInner": 0, "paddingOuter": 0},
        }
        paint = Painted(tuple(dict.fromkeys(r["part"] for r in rows if r["part"] in looks)), looks)
        out.append(
            chart(
                f"How far from now another part takes over from {winner}",
                tips_words(mine, winner),
                height=TIP * len(rows),
                layer=[
                    *layer(
                        rows,
                        {"type": "bar", "height": 11, "yOffset": TIP / 2 - 8},
                        y=y,
                        x=x,
                        x2={"field": "to"},
                        color=paint.colour(legend=False),
                        tooltip=[
                            {"field": "name"},
                            {"field": "to", "title": title, "format": ".3~g"},
                        ],
                    ),
                    *layer([{"at": rows[0]["at"]}], {"type": "rule", "color": "var(--ink)"}, x=x),
                    *label(rows, {"value": 0}, y, "text", dx=2, dy=-8, lineHeight=14, limit=320),
                ],
            )
        )
    return out


def worths(found: Gaps, some: Sequence[Gap]) -> Chart | None:
    """What measurements are worth over the hours that they take."""
    paid = all(g.worth_money is not None for g in some)
    rows: list[Spec] = []
    for gap in some:
        worth = gap.worth_money if paid else gap.score
        if worth is not None and worth > 0 and gap.effort_h > 0:
            told = "worth it" if gap.worth_it else "not worth it"
            rows.append({"path": gap.path, "x": gap.effort_h, "y": worth, "verdict": told})
    if not rows:
        return None
    unit = f"worth, {found.currency} in all" if paid else "worth, points"
    hours, amounts = [r["x"] for r in rows], [r["y"] for r in rows]
    log_x, log_y = steep(hours), steep(amounts)
    ends = padded(hours, log_x, 0.12)
    x = axis("x", "an engineer's hours", ends, log_x)
    rate = found.engineer_rate if paid else None
    costs = [] if rate is None else [h * rate for h in ends]
    y = axis("y", unit, padded([*amounts, *(c for c in costs if c > 0)], log_y), log_y)
    names = ["worth it", "not worth it"]
    best = sorted(rows, key=lambda r: (r["verdict"] != names[0], -r["y"]))[:NAMED]
    even = (
        [{"x": ends[0], "y": costs[0], "x2": ends[1], "y2": costs[1]}]
        if rate is not None and log_x == log_y
        else []
    )
    return chart(
        "Worth and effort of measurements",
        worths_words(found, some),
        height=300,
        layer=[
            *layer(even, THIN, x=x, y=y, x2={"field": "x2"}, y2={"field": "y2"}),
            *layer(
                rows,
                {"type": "point", "filled": True, "size": 70, "opacity": 1},
                x=x,
                y=y,
                color={"field": "verdict", "scale": others(names), "sort": None},
                shape={"field": "verdict", "sort": names},
                tooltip=[
                    {"field": "path"},
                    {"field": "x", "title": "hours", "type": "quantitative", "format": ".3~g"},
                    {"field": "y", "title": unit, "type": "quantitative", "format": ".3~g"},
                ],
            ),
            *label(best[:3], x, y, "path", fontSize=11, limit=260),
        ],
    )
