"""The outlook: charts for a terminal, figures for a file, and the words beside them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from textwrap import fill
from typing import Any

from advisor.dataclass import dataclass
from advisor.dimensions import YEAR
from advisor.present import plots
from advisor.present.axes import apart, marks, plain, steep, times
from advisor.present.colours import Look, looks
from advisor.present.layout import FAINT, STRONG, Page, Typed, setting
from advisor.present.left_out import folded, left_out
from advisor.present.plots import named, saved, scale, style
from advisor.present.tables import INVENTED, caution_words, notes
from advisor.studies.findings import cost_words, life_words
from advisor.studies.outlook import Crossing, LeverOutlook, Outlook, Point
from advisor.studies.words import exchange, in_years, life, money, of_draws

NARROWEST, WIDEST = 40, 100  # columns of a chart
HIGH, LOW = 15, 11  # lines of a chart, and of one where the rest is folded
IN_SHORT = 4  # changes along a lever that are told by name
ALIKE = 0.01  # relative; a life that moves less does not tell much along a lever
TURNS = 6  # changes along a lever that are marked
LEADER = "Leader by expected score"
BREAK_EVEN = "Cheaper by expected cost, of the two that lead now (break-even)"
CHEAPER = "Cheaper of the two that lead now"
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
    """A chart a lever, and who leads where along it.

    `everything` tells both charts, what sets each change, a table of each part, what the answer
    rests on and every caution; the rest is a count.
    """
    page = Page(width)
    page.heading(f"{found.product}: outlook")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    for one in found.levers:
        _lever(page, found, one, everything)
    if everything:
        page.heading("What this rests on")
        page.paragraph(" ".join([rests(found), *exchanged(found)]), "  ")
        left_out(page, found.left_out, True)
        notes(page, found.warnings, found.cautions)
        return page
    _folded(page, found)
    notes(page, found.warnings)
    return page


def _folded(page: Page, found: Outlook) -> None:
    """The foremost caution, how the figures came, and what is not told, as counts."""
    if found.cautions:
        page.lines.append([])
        short = caution_words(found.cautions[0], len(found.cautions) - 1, "--all")
        page.paragraph(short, style=STRONG)
    fitting = [one for one in found.levers if _fits(one)]
    charts = sum(len(_charts(found, one)) - 1 for one in fitting)
    rows = sum(len(place_rows(one)) for one in fitting)
    counts = [f"{charts} more chart{'' if charts == 1 else 's'}"] if charts else []
    counts += [f"{rows} rows of figures"] if rows else []
    by = (
        f"Expected over {of_draws(found.draws)}{_fewer(found)}, seed {found.seed}"
        if found.draws
        else "Stated values"
    )
    beside = f"; {' and '.join(counts)}: --all" if counts else ""
    page.paragraph(f"{by}{beside}", style=FAINT)
    for text in exchanged(found):
        page.paragraph(text, style=FAINT)
    if found.left_out:
        page.line((folded(found.left_out, page.width), FAINT))


def exchanged(found: Outlook) -> list[str]:
    """The rates of exchange behind the amounts, but for those that move; empty without any."""
    moved = {one.lever for one in found.levers}
    rates = {
        name: rate
        for name, rate in found.rates.items()
        if f"{found.product}:cost.rates.{name}" not in moved
    }
    return [f"Exchanged at {exchange(rates, found.currency)}."] if rates else []


def _fewer(found: Outlook) -> str:
    """How many draws are taken away from the values that stand, where fewer are."""
    return f" ({found.place_draws} away from now)" if found.place_draws < found.draws else ""


def rests(found: Outlook) -> str:
    """What the curves are of, and what their places tell."""
    if found.draws:
        how = (
            f"Costs and scores are expected over {of_draws(found.draws)}{_fewer(found)}, seed "
            f"{found.seed}; "
            "ranges are 5 to 95 % of them. A figure keeps its own spread as it moves."
        )
    else:
        how = "Stated values only, no draws."
    return (
        f"{how} At each place every part has its best build there. Leaders are compared at the "
        "places of the table and chart; what comes and goes between two places is not seen."
    )


@dataclass(frozen=True, slots=True)
class _Chart:
    """What a chart reads off the places, with its title; `band` draws the range of the first."""

    title: str
    reading: Reading
    band: bool = False


def _charts(found: Outlook, one: LeverOutlook) -> list[_Chart]:
    """The charts along a lever, first the one by which it tells most: life, where any changes."""
    points = [p for c in one.curves for p in c.points]
    out = [_Chart("battery life, years (dots: 5 to 95 % of a)", years, band=True)]
    if any(cost(p) is not None for p in points):
        unit = found.currency or "no currency"
        out.append(_Chart(f"expected cost over the service life, {unit} a unit", cost))
    moved = any(
        max(some) > (1 + ALIKE) * min(some)
        for c in one.curves
        if (some := [y for p in c.points if (y := years(p)) is not None])
    )
    return out if moved else out[::-1]


def _fits(one: LeverOutlook) -> bool:
    return any(years(p) is not None for c in one.curves for p in c.points)


def _lever(page: Page, found: Outlook, one: LeverOutlook, everything: bool) -> None:
    handle = one.handle
    now = "" if one.now is None else f", now {plain(handle.shown(one.now))}"
    page.heading(f"Along {one.lever}{now}")
    if not _fits(one):
        page.paragraph("Nothing fits anywhere on the way.", "  ")
        return
    page.paragraph(
        "  ".join(f"{LETTERS[i % 26]} {c.part}" for i, c in enumerate(one.curves)),
        "  ",
        style=FAINT,
    )
    charts = _charts(found, one)
    for one_chart in charts if everything else charts[:1]:
        _chart(page, one, one_chart, HIGH if everything else LOW)
    if not everything:
        page.paragraph(in_short(one, "Leader", one.crossings), "  ", "    ")
        if one.break_even is not None:
            page.paragraph(in_short(one, CHEAPER, one.break_even, "neither"), "  ", "    ")
        return
    for lines in all_told(one):
        _told(page, lines)
    _table(page, one)


def in_short(one: LeverOutlook, what: str, found: Sequence[Crossing], none: str = "nothing") -> str:
    """The changes along a lever in a sentence, the first of them by name."""
    if not found:
        return f"{what}: no change on the way."
    told = [f"{what}: {found[0].before or none} at first"]
    told += [f"{c.to or none} from {one.handle.shown(c.x)} on" for c in found[:IN_SHORT]]
    more = len(found) - IN_SHORT
    told += [f"and {more} more change{'' if more == 1 else 's'}"] if more > 0 else []
    return ", ".join(told) + "."


def _chart(page: Page, one: LeverOutlook, chart: _Chart, high: int) -> None:
    """Curves of letters; plain characters, so that no colour loses nothing."""
    import plotext

    places = sorted({p.x for c in one.curves for p in c.points})
    plotext.clear_figure()
    plotext.theme("clear")
    width = min(max(page.width or 80, NARROWEST), WIDEST)
    plotext.plot_size(width, high)
    plotext.title(chart.title)
    log_x = places[0] > 0
    bands = [
        [
            (p.x, value / YEAR)
            for p in one.curves[0].points
            if p.battery_life_s is not None
            and (value := getattr(p.battery_life_s, which)) is not None
            and math.isfinite(value)
        ]
        for which in ("p05", "p95")
        if chart.band
    ]
    pieces = [_pieces(curve.points, chart.reading) for curve in one.curves]
    drawn = [*bands, *(piece for some in pieces for piece in some)]
    values = [y for piece in drawn for _, y in piece]
    log_y = steep(values)

    def at(x: float, log: bool) -> float:
        return math.log10(x) if log else x

    def spots(piece: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
        return [at(x, log_x) for x, _ in piece], [at(y, log_y) for _, y in piece]

    for band in bands:
        if band:
            plotext.scatter(*spots(band), marker=".")
    for i, some in reversed(list(enumerate(pieces))):
        for piece in some:
            plotext.plot(*spots(piece), marker=LETTERS[i % 26])
    (left, right), _, across = lever_axis(one, places)
    room = (at(right, log_x) - at(left, log_x)) * 8 / width or 1.0
    across = [x for x in across if at(x, log_x) < at(right, log_x) - room] or [left]
    plotext.xlim(at(left, log_x), at(right, log_x))
    plotext.xticks([at(x, log_x) for x in across], [plain(one.handle.shown(x)) for x in across])
    if values:
        up = marks(min(values), max(values), log_y, 5)
        plotext.yticks([at(y, log_y) for y in up], [f"{y:,g}" for y in up])
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


Lines = list[tuple[str, Typed | None]]


def all_told(one: LeverOutlook) -> list[Lines]:
    """Who leads along a lever, and of the two that lead now which is cheaper, where there are two;
    each in lines with what sets the place, if anything does."""
    out = [_changes(one, LEADER, one.crossings, "nothing fits")]
    if one.break_even is not None:
        out.append(_changes(one, BREAK_EVEN, one.break_even, "neither fits"))
    return out


def _changes(one: LeverOutlook, what: str, found: Sequence[Crossing], none: str) -> Lines:
    if not found:
        return [(f"{what}: no change on the way.", None)]
    out: Lines = [(f"{what}: {found[0].before or none} at first", None)]
    for crossing in found:
        text = f"from {one.handle.shown(crossing.x)} on: {crossing.to or none}"
        out.append((text, setting(one.lever, crossing.text)))
    return out


def _told(page: Page, lines: Lines) -> None:
    for n, (text, sets) in enumerate(lines):
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

    drawn = (c.part for one in found.levers for c in one.curves)
    painted = looks((*found.ranking, *drawn))  # as in every drawing of the product
    target = None if found.life_target_s is None else found.life_target_s / YEAR
    unit = found.currency or "no currency"
    with style(9):
        figure = Figure(figsize=(12, 4.2 * len(found.levers) + 0.6), layout="constrained")
        axes = figure.subplots(len(found.levers), 2, squeeze=False)
        for row, one in zip(axes, found.levers, strict=True):
            _drawn(row[0], one, years, painted, life_words(one), target)
            row[0].set_ylabel("battery life, years")
            _drawn(row[1], one, cost, painted, cost_words(one, found.currency))
            row[1].set_ylabel(f"expected cost over the service life, {unit} a unit")
            _turns(row[1], one)
        title = f"{found.product}: outlook"
        if found.invented:
            title += "\n" + INVENTED
        figure.suptitle(title, fontsize=10)
        return saved(figure, path, dots=150)


def _drawn(
    axes: Any,
    one: LeverOutlook,
    reading: Reading,
    painted: Mapping[str, Look],
    finding: str,
    wanted: float | None = None,
) -> None:
    """Curves with their ranges; dotted where something makes them jump."""
    last: dict[str, tuple[float, float]] = {}
    seen = [] if wanted is None else [wanted]
    for curve in one.curves:
        how = plots.painted(painted[curve.part])
        before: tuple[float, float] | None = None
        for point in curve.points:
            y = reading(point)
            if y is None:
                before = None
                continue
            seen.append(y)
            if before is not None:
                line = how["linestyle"] if point.joined else ":"
                axes.plot(*zip(before, (point.x, y), strict=True), color=how["color"], ls=line)
            before = last[curve.part] = (point.x, y)
        drawn = [(p.x, y) for p in curve.points if (y := reading(p)) is not None]
        if drawn:
            axes.plot(
                *zip(*drawn, strict=True),
                color=how["color"],
                marker=how["marker"],
                markersize=4,
                linestyle="none",
                label=curve.part,
            )
        bands = [(p.x, *_band(p, reading)) for p in curve.points]
        there = [band for band in bands if math.isfinite(sum(band))]
        if there:
            x, least, most = zip(*there, strict=True)
            axes.vlines(x, least, most, color=how["color"], alpha=0.25, linewidth=4)
    axes.set_title(fill(finding, 88), fontsize=8, loc="left")
    places = sorted({p.x for curve in one.curves for p in curve.points})
    x_ends, log_x, at = lever_axis(one, places)
    scale(axes, "x", x_ends, log_x, one.handle.shown, at)
    log_y = steep(seen)
    if not seen:
        return
    low, high = min(seen), max(seen)
    ends = (low / 1.15, high * 1.15) if log_y else (0.0, high * 1.1 or 1.0)
    scale(axes, "y", ends, log_y)
    if wanted is not None:
        axes.axhline(wanted, color="0.5", linewidth=0.8, linestyle="--")
    if one.now is not None:
        axes.axvline(one.now, color="0.5", linewidth=0.8, linestyle="--")
    axes.set_xlabel(one.lever)
    beside = apart([y for _, y in last.values()], *ends, log_y)
    beside = beside and all(x == places[-1] for x, _ in last.values())
    named(axes, [(x, y, part) for part, (x, y) in last.items()], beside)


def _band(point: Point, reading: Reading) -> tuple[float, float]:
    """5 to 95 % of what is read; not a number where there is none."""
    if reading is cost:
        low, high = point.lifetime_cost_p05, point.lifetime_cost_p95
        scale_by = 1.0
    else:
        lives = point.battery_life_s
        low, high = (None, None) if lives is None else (lives.p05, lives.p95)
        scale_by = YEAR
    if low is None or high is None:
        return math.nan, math.nan
    return low / scale_by, high / scale_by


def _turns(axes: Any, one: LeverOutlook) -> None:
    """Where the cheaper of the first two or the leader changes."""
    for n, (x, text) in enumerate(turns(one)):
        axes.axvline(x, color="0.2", linewidth=0.8)
        axes.annotate(
            text,
            (x, 1.0),
            (3, -3 - 11 * n),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            fontsize=7,
            va="top",
        )


def turns(one: LeverOutlook) -> list[tuple[float, str]]:
    """(place, words) of the changes of the cheaper of the first two and of the leader."""
    out: dict[float, list[str]] = {}
    for words, changes, none in (
        ("cheaper", one.break_even or (), "neither"),
        ("leads", one.crossings, "nothing"),
    ):
        for change in changes:
            out.setdefault(change.x, []).append(f"{change.to or none} {words}")
    return [
        (x, f"{one.handle.shown(x)}: {', '.join(said)}") for x, said in sorted(out.items())[:TURNS]
    ]


def lever_axis(
    one: LeverOutlook, places: Sequence[float]
) -> tuple[tuple[float, float], bool, list[float]]:
    """(ends, whether logarithmic, marks) of an axis over a lever's places."""
    low, high = places[0], places[-1]
    log = low > 0 and one.handle.dimension != "temperature"
    timed = log and one.handle.dimension == "time"
    return (low, high), log, times(low, high, 6) if timed else marks(low, high, log, 6)
