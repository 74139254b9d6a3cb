"""The outlook: charts for a terminal, figures for a file, and the words beside them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from advisor.dimensions import YEAR
from advisor.present.layout import FAINT, Page, Typed, setting
from advisor.present.left_out import left_out
from advisor.present.plots import saved, style
from advisor.present.tables import INVENTED, notes
from advisor.studies.outlook import Crossing, LeverOutlook, Outlook, Point
from advisor.studies.words import in_years, life, money

NARROWEST, WIDEST = 40, 100  # columns of a chart
HIGH = 15  # lines of a chart
LEADER = "Leader by expected score"
BREAK_EVEN = "Cheaper by expected cost, of the two that lead now (break-even)"
LETTERS = "abcdefghijklmnopqrstuvwxyz"

Reading = Callable[[Point], float | None]


def years(point: Point) -> float | None:
    """Battery life in years; None where the part does not fit or the life has no end."""
    found = point.battery_life_s
    return None if found is None or not math.isfinite(found.nominal) else found.nominal / YEAR


def cost(point: Point) -> float | None:
    """Lifetime cost; None where it is unknown or without bound."""
    found = point.lifetime_cost
    return None if found is None or not math.isfinite(found) else found


def outlook_page(found: Outlook, width: int, everything: bool = False) -> Page:
    """Two charts a lever, what changes along it, and a table."""
    page = Page(width)
    page.heading(f"{found.product}: outlook")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    for one in found.levers:
        _lever(page, found, one)
    page.heading("What this rests on")
    page.paragraph(rests(found), "  ")
    left_out(page, found.left_out, everything)
    notes(page, found.warnings, found.cautions)
    return page


def rests(found: Outlook) -> str:
    """What the curves are of, and what their places tell."""
    if found.draws:
        few = f" ({found.place_draws} away from now)" if found.place_draws < found.draws else ""
        how = (
            f"Costs and scores are expected over {found.draws} draws{few}, seed {found.seed}; "
            "ranges are 5 to 95 % of them. A figure keeps its own spread as it moves."
        )
    else:
        how = "Stated values only, no draws."
    return (
        f"{how} At each place every part has its best build there. Leaders are compared at the "
        "places of the table and chart; what comes and goes between two places is not seen."
    )


def _lever(page: Page, found: Outlook, one: LeverOutlook) -> None:
    handle = one.handle
    now = "" if one.now is None else f", now {handle.shown(one.now)}"
    page.heading(f"Along {one.lever}{now}")
    if not any(years(p) is not None for c in one.curves for p in c.points):
        page.paragraph("Nothing fits anywhere on the way.", "  ")
        return
    page.paragraph(
        "  ".join(f"{LETTERS[i % 26]} {c.part}" for i, c in enumerate(one.curves)),
        "  ",
        style=FAINT,
    )
    _chart(page, one, "battery life, years (dots: 5 to 95 % of a)", years, band=True)
    if any(cost(p) is not None for c in one.curves for p in c.points):
        unit = found.currency or "no currency"
        _chart(page, one, f"expected cost over the service life, {unit} a unit", cost, band=False)
    _told(page, one, LEADER, one.crossings)
    _told(page, one, BREAK_EVEN, one.break_even)
    _table(page, one)


def _chart(page: Page, one: LeverOutlook, title: str, reading: Reading, band: bool) -> None:
    """Curves of letters; plain characters, so that no colour loses nothing."""
    import plotext

    places = sorted({p.x for c in one.curves for p in c.points})
    log = places[0] > 0
    plotext.clear_figure()
    plotext.theme("clear")
    width = min(max(page.width or 80, NARROWEST), WIDEST)
    plotext.plot_size(width, HIGH)
    plotext.title(title)

    def at(x: float) -> float:
        return math.log10(x) if log else x

    if band and one.curves:
        for which in ("p05", "p95"):
            dots = [
                (at(p.x), value / YEAR)
                for p in one.curves[0].points
                if p.battery_life_s is not None
                and (value := getattr(p.battery_life_s, which)) is not None
                and math.isfinite(value)
            ]
            if dots:
                plotext.scatter(*map(list, zip(*dots, strict=True)), marker=".")
    for i, curve in reversed(list(enumerate(one.curves))):
        for piece in _pieces(curve.points, reading):
            xs, ys = [at(x) for x, _ in piece], [y for _, y in piece]
            plotext.plot(xs, ys, marker=LETTERS[i % 26])
    marks = ticks(places, log)
    plotext.xticks([at(x) for x in marks], [one.handle.shown(x) for x in marks])
    for row in plotext.uncolorize(plotext.build()).splitlines():
        page.line(row.rstrip())
    plotext.clear_figure()


def _pieces(points: Sequence[Point], reading: Reading) -> list[list[tuple[float, float]]]:
    """Runs of points at which a part fits."""
    out: list[list[tuple[float, float]]] = [[]]
    for point in points:
        value = reading(point)
        if value is None:
            out.append([])
        else:
            out[-1].append((point.x, value))
    return [piece for piece in out if piece]


def ticks(places: Sequence[float], log: bool) -> list[float]:
    """Five marks of an axis that ends at the first and last place."""
    low, high = places[0], places[-1]
    if log:
        return [low * (high / low) ** (i / 4) for i in range(5)]
    return [low + (high - low) * i / 4 for i in range(5)]


def told(one: LeverOutlook, what: str, found: Sequence[Crossing]) -> list[tuple[str, Typed | None]]:
    """What changes along a lever, in lines: each with what sets the place, if anything does."""
    if not found:
        return [(f"{what}: no change on the way.", None)]
    out: list[tuple[str, Typed | None]] = [
        (f"{what}: {found[0].before or 'nothing fits'} at first", None)
    ]
    for crossing in found:
        text = f"from {one.handle.shown(crossing.x)} on: {crossing.to or 'nothing fits'}"
        out.append((text, setting(one.lever, crossing.text)))
    return out


def _told(page: Page, one: LeverOutlook, what: str, found: Sequence[Crossing]) -> None:
    for n, (text, sets) in enumerate(told(one, what, found)):
        page.paragraph(text, "    " if n else "  ", "      " if n else "    ")
        if sets:
            page.typed(sets, "      ", FAINT)


PLACES = ["part", "at", "battery life", "5-95 %, years", "cost", "5-95 %", "changed", "score"]


def place_rows(one: LeverOutlook) -> list[list[str]]:
    """Each part at a handful of places, under `PLACES`."""
    whole = [p.x for p in one.curves[0].points if p.step == 0]
    places = whole[:: max(1, (len(whole) - 1) // 4)]
    also = [x for x in (one.now, whole[-1]) if x in whole and x not in places]
    places = sorted([*places, *dict.fromkeys(also)])
    rows = []
    for curve in one.curves:
        by_place = {p.x: p for p in curve.points if p.step == 0}
        for x in places:
            point = by_place[x]
            lives = point.battery_life_s
            ranged = (
                ""
                if lives is None or lives.p05 is None or lives.p95 is None
                else f"{in_years(lives.p05)}-{in_years(lives.p95)}"
            )
            rows.append(
                [
                    curve.part if x == places[0] else "",
                    one.handle.shown(x) + (" (now)" if x == one.now else ""),
                    "does not fit" if lives is None else life(lives.nominal),
                    ranged,
                    money(point.lifetime_cost),
                    _between(point.lifetime_cost_p05, point.lifetime_cost_p95),
                    "-" if point.battery_change is None else f"{100 * point.battery_change:.0f} %",
                    "-" if point.score is None else f"{point.score:.1f}",
                ]
            )
    return rows


def _between(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{money(low)}-{money(high)}"


def _table(page: Page, one: LeverOutlook) -> None:
    page.table(PLACES, place_rows(one), [False, *[True] * (len(PLACES) - 1)], indent="  ")


def save_plot(found: Outlook, path: Path) -> bytes:
    """The curves as an SVG or PNG, by the ending of the file's name."""
    from matplotlib.figure import Figure

    columns = 2
    with style(9):
        figure = Figure(figsize=(11, 3.6 * len(found.levers) + 0.6), layout="constrained")
        axes = figure.subplots(len(found.levers), columns, squeeze=False)
        for row, one in zip(axes, found.levers, strict=True):
            _drawn(row[0], one, years, "battery life, years", band=("battery_life_s", YEAR))
            if found.life_target_s is not None:
                row[0].axhline(
                    found.life_target_s / YEAR, color="0.5", linewidth=0.8, linestyle="--"
                )
            unit = found.currency or "no currency"
            _drawn(row[1], one, cost, f"cost over the service life, {unit} a unit", band=None)
            row[0].legend(fontsize=8)
        title = f"{found.product}: outlook"
        if found.invented:
            title += "\n" + INVENTED
        figure.suptitle(title, fontsize=10)
        return saved(figure, path, dots=150)


STYLES = ("-", "--", "-.", ":")


def _drawn(
    axes: Any, one: LeverOutlook, reading: Reading, title: str, band: tuple[str, float] | None
) -> None:
    for i, curve in enumerate(one.curves):
        color = f"C{i % 10}"
        for n, piece in enumerate(_pieces(curve.points, reading)):
            axes.plot(
                *zip(*piece, strict=True),
                color=color,
                linestyle=STYLES[i % len(STYLES)],
                label=None if n else curve.part,
            )
        if band is not None:
            spread = [
                (p.x, p.battery_life_s.p05 / band[1], p.battery_life_s.p95 / band[1])
                for p in curve.points
                if p.battery_life_s is not None
                and p.battery_life_s.p05 is not None
                and p.battery_life_s.p95 is not None
                and math.isfinite(p.battery_life_s.p95)
            ]
            if spread:
                x, low, high = zip(*spread, strict=True)
                axes.fill_between(x, low, high, color=color, alpha=0.15, linewidth=0)
    if all(p.x > 0 for c in one.curves for p in c.points):
        axes.set_xscale("log")
    if one.now is not None:
        axes.axvline(one.now, color="0.7", linewidth=0.8)
    unit = "" if one.unit in ("", "1") else f", {one.unit}"
    axes.set_xlabel(f"{one.lever}{unit}")
    axes.set_title(title, fontsize=9)
    axes.grid(True, alpha=0.3)
