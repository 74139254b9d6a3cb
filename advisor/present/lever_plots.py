"""Drawings of what would change the winner, and of what measurements are worth."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from textwrap import fill
from typing import Any

from advisor.dataclass import dataclass
from advisor.present import plots
from advisor.present.axes import marks, steep
from advisor.present.colours import OTHERS, Look, looks
from advisor.present.gaps import MOST as MOST_GAPS
from advisor.present.gaps import worth
from advisor.present.layout import in_print, unbroken
from advisor.present.plots import saved, scale, style
from advisor.present.tables import INVENTED
from advisor.present.tipping import KINDS, LIMITS, MOST, beside, kind_of, short_name
from advisor.present.typeset import typeset
from advisor.studies.findings import tips_words, worths_words
from advisor.studies.gaps import Gap, Gaps
from advisor.studies.tipping import LeverTip, Tipping
from advisor.studies.words import of_draws
from advisor.texts import on_one_line

SMALL = 8.0  # points of most texts
WIDE = 5.2  # inches of a panel
ROW = 0.27  # inches of a bar
BETWEEN = 0.62  # inches between panels, for a title
ABOVE, BELOW, BESIDE = 0.85, 0.4, 0.12  # inches around panels, and between them and texts
LIMITED = 8  # limits that are drawn
NOTHING = "#4e4e4e"  # of a bar behind which no part leads: 3 to 1 against the paper


@dataclass(frozen=True, slots=True)
class _Panel:
    """Bars with a title; `kelvin` those of temperatures, which are drawn in differences."""

    title: str
    tips: Sequence[LeverTip]
    kelvin: bool


def save_tips(found: Tipping, path: Path) -> bytes:
    """The tips as bars from the value now, a panel a kind and one of the limits: SVG or PNG.

    Changes are shares, logarithmic where they span more than tenfold; temperatures are apart.
    """
    from matplotlib.figure import Figure

    tips = [t for t in found.levers if t.tips_at is not None]
    listed, limits = tips[:MOST], found.limits[:LIMITED]
    panels = _panels(found, listed, limits)
    drawn = [tip for panel in panels for tip in panel.tips]
    led = (t.new_winner for t in drawn if t.new_winner is not None)
    painted = looks((*found.contenders, *led))  # as in every drawing of the product
    told = {tip: in_print(f"{tip.now_shown} to {tip.tips_shown}") for tip in drawn}
    with style(SMALL):
        names = max((plots.wide(_name(t, found), SMALL) for t in drawn), default=0.6) + BESIDE
        figures = max((plots.wide(text, SMALL) for text in told.values()), default=0.6) + BESIDE
        heights = [ROW * len(panel.tips) + 0.1 for panel in panels]
        high = ABOVE + sum(heights) + BETWEEN * len(panels) + BELOW
        whole = names + WIDE + figures + 2 * BESIDE
        figure = Figure(figsize=(whole, high))
        at = high - ABOVE
        scales = {kelvin: _scale(panels, kelvin) for kelvin in (False, True)}
        for panel, tall in zip(panels, heights, strict=True):
            at -= 0.25 + tall
            box = ((names + BESIDE) / whole, at / high, WIDE / whole, tall / high)
            _bars(figure.add_axes(box), found, panel, painted, told, scales[panel.kelvin])
            at -= BETWEEN - 0.25
        letters = int(whole / plots.wide("n", SMALL))
        figure.text(
            BESIDE / whole, 1 - 0.1 / high, _head(found), va="top", fontsize=10, weight="bold"
        )
        below = [INVENTED] if found.invented else []
        below += [fill(typeset(unbroken(_finding(found, listed))), letters)]
        figure.text(BESIDE / whole, 1 - 0.33 / high, "\n".join(below), va="top")
        figure.text(BESIDE / whole, 0.1 / high, fill(_beside(found, tips), letters), va="bottom")
        return saved(figure, path, dots=130)


def _head(found: Tipping) -> str:
    if found.winner is None:
        return f"{found.product}: nothing fits, so nothing tips"
    return f"{found.product}: how far from now another part takes over from {found.winner}"


def _finding(found: Tipping, tips: Sequence[LeverTip]) -> str:
    if not tips or found.winner is None:
        return "" if found.winner is None else "No figure that was looked at tips in its range."
    return tips_words(tips, found.winner)


def _beside(found: Tipping, tips: Sequence[LeverTip]) -> str:
    """What is not drawn, as counts, and what the answer goes by."""
    firm = {t.path for t in found.levers if t.tips_at is None} - {t.path for t in found.limits}
    counts = beside(len(tips) - MOST, len(found.limits) - LIMITED, len(firm))
    by = f"{of_draws(found.draws)}, seed {found.seed}" if found.draws else "the stated values"
    rest = f" Not drawn: {', '.join(counts)}." if counts else ""
    return f"By the score over {by}.{rest}"


def _name(tip: LeverTip, found: Tipping) -> str:
    return on_one_line(short_name(tip, found.product))


def _panels(found: Tipping, tips: Sequence[LeverTip], limits: Sequence[LeverTip]) -> list[_Panel]:
    """Kinds of tips with something to draw, then the limits; temperatures behind the rest."""
    groups = [(kind, [t for t in tips if kind_of(t, found.product) == kind]) for kind in KINDS]
    out = []
    for title, some in (*groups, (LIMITS, list(limits))):
        for kelvin in (False, True):
            mine = [t for t in some if (t.distance_k is not None) == kelvin]
            if mine:
                out.append(_Panel(title + (", temperatures" if kelvin else ""), mine, kelvin))
    return out


def _to(tip: LeverTip, kelvin: bool) -> float:
    """Where a bar ends: a difference in kelvin, or how many times the value now."""
    assert tip.tips_at is not None
    return tip.tips_at - tip.now if kelvin else tip.tips_at / tip.now


def _bars(
    axis: Any,
    found: Tipping,
    panel: _Panel,
    painted: Mapping[str, Look],
    told: Mapping[LeverTip, str],
    common: tuple[float, float, bool],
) -> None:
    """Bars from the value now; who leads at their ends, the figures on the right."""
    now = 0.0 if panel.kelvin else 1.0
    low, high, log = common
    for place, tip in enumerate(panel.tips):
        end = _to(tip, panel.kelvin)
        colour = NOTHING
        if tip.new_winner is not None:
            colour = plots.painted(painted[tip.new_winner])["color"]
        axis.barh(place, end - now, left=now, height=0.52, color=colour)
        right = end > now
        axis.annotate(
            _leads(tip),
            (end, place),
            (4 if right else -4, 0),
            textcoords="offset points",
            ha="left" if right else "right",
            va="center_baseline",
        )
        axis.annotate(
            told[tip],
            (1.0, place),
            (72 * BESIDE, 0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            va="center_baseline",
        )
    # marks where bars may be, none below zero of a share
    first = low if log or panel.kelvin else max(low, 0.0)
    places = [x for x in marks(first, high, log, 8) if log or panel.kelvin or x >= 0]
    scale(axis, "x", (low, high), log, _shown(panel.kelvin, log), places)
    axis.axvline(now, color="0.1", linewidth=1)
    axis.set_yticks(range(len(panel.tips)), [_name(tip, found) for tip in panel.tips])
    axis.set_ylim(len(panel.tips) - 0.5, -0.5)
    axis.tick_params("y", length=0)
    axis.spines["left"].set_visible(False)
    axis.set_axisbelow(True)
    axis.set_title(panel.title, loc="left", fontsize=9, weight="bold")


def _shown(kelvin: bool, log: bool) -> Callable[[float], str]:
    """Words of a mark."""

    def words(x: float) -> str:
        if kelvin:
            return typeset(f"{x:+g} K") if x else "now"
        if abs(x - 1) < 1e-9:
            return "now"
        return f"{x:g} times" if log else typeset(f"{100 * (x - 1):+.3g} %")

    return words


def _leads(tip: LeverTip) -> str:
    return on_one_line(tip.new_winner or "nothing fits")


def _scale(panels: Sequence[_Panel], kelvin: bool) -> tuple[float, float, bool]:
    """Ends of the axis that panels share, and whether it is logarithmic."""
    tips = [tip for panel in panels for tip in panel.tips if panel.kelvin == kelvin]
    now = 0.0 if kelvin else 1.0
    ends = [_to(tip, kelvin) for tip in tips]
    log = not kelvin and steep([*ends, now])
    return *_room(ends, [_leads(tip) for tip in tips], now, log), log


def _room(
    ends: Sequence[float], names: Sequence[str], now: float, log: bool
) -> tuple[float, float]:
    """Ends of an axis at which the names at the bars have room within the panel."""
    from math import exp
    from math import log as ln

    def at(x: float) -> float:
        return ln(x) if log else x

    places = [at(x) - at(now) for x in ends]
    # share of the panel that the names on each side take
    left = right = 0.02
    for x, name in zip(places, names, strict=True):
        share = min(plots.wide(name, SMALL) / WIDE + 0.03, 0.4)
        if x > 0:
            right = max(right, share)
        else:
            left = max(left, share)
    low, high = min([0.0, *places]), max([0.0, *places])
    whole = (high - low or 1.0) / (1 - left - right)
    low, high = at(now) + low - left * whole, at(now) + high + right * whole
    return (exp(low), exp(high)) if log else (low, high)


# Worth and effort ------------------------------------------------------------------------------

TALL = 3.6  # inches of a panel
LINE = 0.17  # inches of a name
GAINS, LOSES = "worth it", "not worth it"


def save_worths(found: Gaps, path: Path) -> bytes:
    """What measurements are worth over the hours that they take, with the line of equal worth
    and cost, by figure and by group: SVG or PNG."""
    from matplotlib.figure import Figure

    panels = [
        (title, rows[:MOST_GAPS], len(rows))
        for title, rows in (
            ("By figure", _worthy(found.figures)),
            ("By group", _worthy(found.groups)),
        )
        if rows
    ]
    paid = _paid(found)
    with style(SMALL):
        names = [_said(gap, found, paid) for _, rows, _ in panels for gap in rows]
        room = max((plots.wide(name, SMALL, "bold") for name in names), default=0.6) + 0.5
        high = ABOVE + (TALL + BETWEEN + 0.25) * len(panels) + 0.3
        whole = 0.8 + WIDE + room + BESIDE
        figure = Figure(figsize=(max(whole, 8.0), high))
        whole = max(whole, 8.0)
        at = high - ABOVE + 0.1
        for title, rows, count in panels:
            at -= 0.35 + TALL
            box = (0.8 / whole, at / high, WIDE / whole, TALL / high)
            _dots(figure.add_axes(box), found, title, rows, paid, count - len(rows))
            at -= BETWEEN - 0.1
        letters = int(whole / plots.wide("n", SMALL))
        head = fill(typeset(on_one_line(f"{found.product}: {found.advice}")), int(0.75 * letters))
        figure.text(BESIDE / whole, 1 - 0.1 / high, head, va="top", fontsize=10, weight="bold")
        below = [INVENTED] if found.invented else []
        if found.chosen is not None:
            below.append(fill(typeset(unbroken(on_one_line(worth(found)))), letters))
        lines = head.count("\n") + 1
        figure.text(BESIDE / whole, 1 - (0.15 + 0.18 * lines) / high, "\n".join(below), va="top")
        if not panels:
            figure.text(BESIDE / whole, 0.15 / high, "None is worth anything by itself.")
        else:
            note = "Bars: twice the standard error, beyond which a worth counts."
            if found.no_net is not None:
                note += f" No line of equal worth and cost, as {found.no_net}."
            figure.text(BESIDE / whole, 0.1 / high, fill(note, letters), va="bottom")
        return saved(figure, path, dots=130)


def _worthy(rows: Sequence[Gap]) -> list[Gap]:
    return [gap for gap in rows if gap.score > 0]


def _paid(found: Gaps) -> bool:
    """Whether worths are money for all units."""
    return all(gap.worth_money is not None for gap in (*found.figures, *found.groups))


def _amount(gap: Gap, paid: bool) -> float:
    return (gap.worth_money or 0.0) if paid else gap.score


def _said(gap: Gap, found: Gaps, paid: bool) -> str:
    """A measurement beside its point."""
    told = f"{found.currency} {gap.worth_money:.0f}" if paid else f"{gap.score:.3f} points"
    verdict = GAINS if gap.worth_it else LOSES
    return on_one_line(f"{gap.path}: {told} for {gap.effort_h:g} h, {verdict}")


def _dots(axis: Any, found: Gaps, title: str, rows: Sequence[Gap], paid: bool, more: int) -> None:
    """A panel of points with their names beside it, joined to them by thin lines."""
    hours = [gap.effort_h for gap in rows]
    amounts = [_amount(gap, paid) for gap in rows]
    rate = found.engineer_rate if paid else None
    # the line belongs on the picture: it tells what gains
    on_y = [*amounts, *(rate * x for x in hours)] if rate else amounts
    # both or neither, so that the line is straight
    log = min(on_y) > 0 and min(hours) > 0 and (steep(hours) or steep(on_y))
    x_ends, y_ends = _around(hours, log), _around(on_y, log)
    if rate:
        _even(axis, rate, x_ends, y_ends, log)
    scale(axis, "x", x_ends, log)
    scale(axis, "y", y_ends, log)
    for gap, x, y in zip(rows, hours, amounts, strict=True):
        reach = 2 * y * gap.error / gap.score
        axis.plot(
            [x, x],
            [max(y - reach, y_ends[0]), min(y + reach, y_ends[1])],
            color=OTHERS[0 if gap.worth_it else 1],
            linewidth=1,
            alpha=0.6,
        )
        axis.plot(
            x,
            y,
            marker="o" if gap.worth_it else "s",
            markersize=6,
            linestyle="none",
            color=OTHERS[0 if gap.worth_it else 1],
            markerfacecolor=None if gap.worth_it else "white",
        )
    _names(axis, found, rows, paid)
    unit = f"worth, {found.currency} in all" if paid else "worth, points"
    axis.set_xlabel("an engineer's hours")
    axis.set_ylabel(unit)
    text = worths_words(found, rows) + (f" {more} more not drawn." if more else "")
    axis.set_title(f"{title}: {typeset(text)}", loc="left", fontsize=9)


def _around(values: Sequence[float], log: bool) -> tuple[float, float]:
    """Ends of an axis around values, from zero where it is linear."""
    low, high = min(values), max(values)
    if log:
        wide = max((high / low) ** 0.12, 1.5)
        return low / wide, high * wide
    return 0.0, 1.15 * high or 1.0


def _even(
    axis: Any, rate: float, x_ends: tuple[float, float], y_ends: tuple[float, float], log: bool
) -> None:
    """The line of equal worth and cost; above it a measurement gains."""
    import numpy as np

    x = np.geomspace(*x_ends, 200) if log else np.linspace(*x_ends, 200)
    axis.plot(x, rate * x, color="0.35", linewidth=1, linestyle="--")
    inside = x[(rate * x > y_ends[0]) & (rate * x < y_ends[1])]
    if len(inside):
        place = inside[len(inside) // 5]
        axis.annotate(
            "worth = cost",
            (place, rate * place),
            (4, -4),
            textcoords="offset points",
            va="top",
            color="0.25",
            fontsize=7.5,
        )


def _names(axis: Any, found: Gaps, rows: Sequence[Gap], paid: bool) -> None:
    """Names in a column on the right, none over another, the worthiest on top."""
    order = sorted(rows, key=lambda g: (-_amount(g, paid), -g.effort_h, g.path))
    to_axes = (axis.transData + axis.transAxes.inverted()).transform
    step = LINE / TALL
    wanted = [float(to_axes((g.effort_h, _amount(g, paid)))[1]) for g in order]
    for gap, place in zip(order, _spread(wanted, step), strict=True):
        axis.annotate(
            typeset(_said(gap, found, paid)),
            (gap.effort_h, _amount(gap, paid)),
            (1 + 0.4 / WIDE, place),
            textcoords="axes fraction",
            va="center",
            weight="bold" if gap.worth_it else "normal",
            arrowprops={"arrowstyle": "-", "color": "0.6", "linewidth": 0.6, "shrinkA": 2},
            annotation_clip=False,
        )


def _spread(wanted: Sequence[float], step: float) -> list[float]:
    """Places from the top down, as near to those wanted as a step between neighbours allows."""
    out: list[float] = []
    for place in wanted:
        out.append(min(place, out[-1] - step if out else 1.0))
    # lifted from the floor, lowest first
    for n in range(len(out) - 1, -1, -1):
        floor = 0.0 if n == len(out) - 1 else out[n + 1] + step
        out[n] = max(out[n], floor)
    return out
