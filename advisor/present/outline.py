"""The picture of a trace: in the terminal, and as a file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

from advisor.present.axes import marks, plain
from advisor.present.bench import REHEARSED
from advisor.present.layout import FAINT, Page
from advisor.present.plots import saved, style
from advisor.quantities import show
from advisor.studies.look import Look, names_of_stretches, touched

NARROWEST, WIDEST = 40, 100  # columns of the picture
HIGH = 18  # lines of it
DECADES = 30.0  # a current that spans so much stands on a logarithmic axis
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def look_page(found: Look, width: int) -> Page:
    """The proposed notes, if any, with the picture below them as comments; else the picture."""
    page = Page(width)
    mark = ""
    if found.proposal is not None:
        mark = "# "
        for line in found.proposal.splitlines():
            page.line(line)
        page.line("")
    else:
        page.heading("What the notes cut")
    if found.invented:
        page.line((mark + REHEARSED, FAINT))
    for line in picture(found, width or 80, mark):
        page.line(line.rstrip())
    for letter, (name, cuts) in zip(
        LETTERS * (1 + len(found.stretches) // 26),
        names_of_stretches(found.stretches).items(),
        strict=False,
    ):
        times = f"{cuts[0].start_s:.6g} to {cuts[-1].end_s:.6g} s"
        many = f"{len(cuts)} pulses, " if cuts[0].kind != "state" else ""
        page.line(f"{mark}{letter} {name}: {many}{times}")
    if found.proposal is None:
        for words in found.warnings:
            page.paragraph(words)
    return page


def picture(found: Look, width: int, mark: str = "") -> Iterator[str]:
    """Lines of the picture: extremes of the current over time, and letters of what is cut."""
    import plotext

    drawn = found.outline
    room = min(max(width - len(mark), NARROWEST), WIDEST)
    times = drawn.t.tolist()
    log = _spans_decades(found)

    def at(amperes: float) -> float:
        return math.log10(amperes) if log else amperes

    bottom, top = at(float(drawn.low.min())), at(float(drawn.high.max()))
    floor = bottom - 0.12 * ((top - bottom) or abs(top) or 1.0)
    plotext.clear_figure()
    plotext.theme("clear")
    plotext.plot_size(room, HIGH)
    plotext.title(f"current{', logarithmic' if log else ''}, over time in s")
    # from low to high in each piece, so that every extreme is drawn
    ends = zip(drawn.low.tolist(), drawn.high.tolist(), strict=True)
    middle = [0.5 * (a + b) for a, b in pairwise(times)]
    plotext.plot(
        [t for t in middle for _ in range(2)],
        [at(end) for pair in ends for end in pair],
        marker="*",
    )
    grid = _even(times[0], times[-1], room)
    for letter, cuts in zip(
        LETTERS * (1 + len(found.stretches) // 26),
        names_of_stretches(found.stretches).values(),
        strict=False,
    ):
        inside = [t for t, here in zip(grid, touched(cuts, grid), strict=True) if here]
        if inside:
            plotext.scatter(inside, [floor] * len(inside), marker=letter)
    # as of the ends in ampere, so that a logarithm's marks stand at 1, 2 and 5 too
    up = marks(float(drawn.low.min()), float(drawn.high.max()), log, most=5)
    plotext.yticks([at(y) for y in up], [plain(show(y, "current")) for y in up])
    plotext.ylim(floor, top if top > floor else floor + 1.0)
    plotext.xlim(times[0], times[-1])
    across = marks(times[0], times[-1], log=False, most=6)
    near = 1e-4 * (times[-1] - times[0])
    plotext.xticks(across, [f"{0.0 if abs(x) < near else x:.12g}" for x in across])
    for row in plotext.uncolorize(plotext.build()).splitlines():
        yield mark + row
    plotext.clear_figure()


def _even(low: float, high: float, count: int) -> list[float]:
    return [low + (high - low) * k / (count - 1) for k in range(count)]


def _spans_decades(found: Look) -> bool:
    """Whether the currents are drawn by their logarithm."""
    low, high = float(found.outline.low.min()), float(found.outline.high.max())
    return low > 0 and high > DECADES * low


def save_picture(found: Look, path: Path) -> bytes:
    """The picture as SVG or PNG, by the ending of the file's name, what is cut shaded."""
    from matplotlib.figure import Figure

    drawn = found.outline
    with style(9):
        figure = Figure(figsize=(11, 4.2), layout="constrained")
        axes = figure.subplots()
        middle = 0.5 * (drawn.t[:-1] + drawn.t[1:])
        axes.fill_between(middle, drawn.low, drawn.high, color="C0", linewidth=0.6)
        if _spans_decades(found):
            axes.set_yscale("log")
        for n, (name, cuts) in enumerate(names_of_stretches(found.stretches).items()):
            for k, one in enumerate(cuts):
                axes.axvspan(
                    one.start_s,
                    one.end_s,
                    color=f"C{1 + n % 9}",
                    alpha=0.3,
                    linewidth=0,
                    label=None if k else f"{name} ({len(cuts)})",
                )
        axes.set_xlabel("time, s")
        axes.set_ylabel("current, A")
        axes.grid(True, alpha=0.3)
        title = ", ".join(one.name for one in found.traces)
        axes.set_title(title + ("\n" + REHEARSED if found.invented else ""), fontsize=9)
        if found.stretches:
            axes.legend(fontsize=8)
        return saved(figure, path, dots=150)
