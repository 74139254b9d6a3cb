"""The screens and drawings of `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from advisor.present.layout import FAINT, Page
from advisor.present.plots import saved, style
from advisor.present.tables import INVENTED
from advisor.quantities import show
from advisor.studies.compare import Comparison, Flip, Row

MOST = 10  # flips that are told


def compare_page(found: Comparison, width: int) -> Page:
    """A table and bars for each kernel, then where ranks flip."""
    page = Page(width)
    page.heading("Kernels by part, one unit of work at each part's own fastest clock")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    page.paragraph(
        "x: against the best; ~: the energy cannot be told from the best one's (twice the "
        "standard uncertainty, a shared instrument's gain apart)",
        style=FAINT,
    )
    for kernel, rows in found.kernels.items():
        native = [r for r in rows if r.native]
        work = found.work.get(kernel)
        page.heading(f"{kernel}" + (f": {work}" if work else ""))
        if not native:
            page.paragraph("Nobody states it.", "  ")
            continue
        page.table(
            ["part", "point", "time", "x", "current", "energy", "x", ""],
            [_row(r) for r in native],
            [False, False, True, True, True, True, True, False],
            [_there(r) for r in native],
            indent="  ",
        )
        _bars(page, native)
        if kernel in found.missing:
            page.paragraph(f"not stated by {', '.join(found.missing[kernel])}", "  ", style=FAINT)
    _flips(page, found.flips)
    _beside(page, found)
    return page


def _beside(page: Page, found: Comparison) -> None:
    page.heading("Beside the energy")
    rows = []
    for part, beside in found.parts.items():
        tools = beside.toolchain
        score = "-"
        if tools is not None:
            open_ones = tools.high > tools.low
            score = f"{tools.score:.0f}" + (
                f" ({tools.low:.0f} to {tools.high:.0f})" if open_ones else ""
            )
        hours = "-" if beside.setup_h is None else f"{beside.setup_h:.3g} h"
        if beside.setup_h is not None and beside.setup_u_h:
            hours += f" ±{beside.setup_u_h:.2g} h"
        prices = list(beside.prices.items())
        ends = prices[:1] + prices[-1:] if len(prices) > 1 else prices
        money = ", ".join(f"{p:.2f} from {n}" for n, p in ends)
        rows.append([part, hours, score, f"{money} {beside.currency or ''}".strip() or "-"])
    page.table(
        ["part", "set-up", "toolchain", "price each"],
        rows,
        [False, True, True, False],
        indent="  ",
    )
    for words in found.toolchains:
        page.paragraph(f"- {words}", "  ", "    ")


def _row(row: Row) -> list[str]:
    return [
        row.part,
        row.point,
        show(row.time_s, "time"),
        f"{row.time_ratio:.2f}",
        show(row.current_a, "current"),
        "-"
        if row.energy_j is None
        else show(row.energy_j, "energy") + _within(row.energy_j, row.energy_u_j),
        "-" if row.energy_ratio is None else f"{row.energy_ratio:.2f}",
        "~" if row.tied else "",
    ]


def _within(value: float, u: float | None) -> str:
    """The standard uncertainty of a figure, relative; nothing where none is known."""
    return f" ±{100 * u / value:.1f} %" if u else ""


def _there(row: Row) -> str:
    """The row at the common clock, in words."""
    held = row.at_clock
    if held is None:
        return ""
    words = [f"at {held.clock_hz / 1e6:.4g} MHz"]
    for value, u, dimension in (
        (held.time_s, held.time_u_s, "time"),
        (held.current_a, held.current_u_a, "current"),
        (held.energy_j, held.energy_u_j, "energy"),
    ):
        if value is not None:
            words.append(show(value, dimension) + _within(value, u))
    return ", ".join(words) + (f" ({held.why})" if held.why else "")


def _bars(page: Page, rows: list[Row]) -> None:
    told = [r for r in rows if r.energy_j is not None]
    if len(told) < 2:
        return
    most = max(r.energy_j or 0.0 for r in told)
    page.bars(
        [
            (f"{r.part} {r.point}", (r.energy_j or 0.0) / most, show(r.energy_j or 0.0, "energy"))
            for r in told
        ]
    )


def flip_words(flip: Flip) -> str:
    """A flip in words."""
    by = f"by {flip.factor:.2f} or more"
    if flip.kind == "kernel":
        return f"{flip.first} uses less on {flip.here}, {flip.second} on {flip.there}, {by} each"
    if flip.kind == "draw":
        return (
            f"{flip.first} draws less on {flip.here}, yet {flip.second} uses less, being done "
            f"sooner, {by} each"
        )
    return (
        f"{flip.first} is faster on {flip.here} at its own clock, {flip.second} at the common "
        f"one, {by} each"
    )


def _flips(page: Page, flips: tuple[Flip, ...]) -> None:
    page.heading("Where ranks flip")
    if not flips:
        page.paragraph("Nowhere beyond the uncertainties.", "  ")
        return
    for flip in flips[:MOST]:
        page.paragraph(flip_words(flip), "  ", "    ")
    if len(flips) > MOST:
        page.paragraph(f"and {len(flips) - MOST} more (--format json)", "  ", style=FAINT)


def save_bars(found: Comparison, path: Path) -> bytes:
    """Energy by part for each kernel with its standard uncertainty, as an SVG or PNG."""
    from matplotlib.figure import Figure

    shown = {
        k: [r for r in rows if r.native and r.energy_j is not None]
        for k, rows in found.kernels.items()
    }
    shown = {k: rows for k, rows in shown.items() if rows}
    with style(8):
        heights = [0.22 * len(rows) + 0.7 for rows in shown.values()] or [1.0]
        figure = Figure(figsize=(8, sum(heights) + 0.6), layout="constrained")
        axes: Any = figure.subplots(
            len(heights), 1, squeeze=False, gridspec_kw={"height_ratios": heights}
        )
        for axis, (kernel, rows) in zip(axes[:, 0], shown.items(), strict=False):
            axis.barh(
                [f"{r.part} {r.point}" for r in rows],
                [1e6 * (r.energy_j or 0.0) for r in rows],
                xerr=[1e6 * (r.energy_u_j or 0.0) for r in rows],
                color="C0",
            )
            axis.invert_yaxis()
            axis.set_title(f"{kernel}: energy of one unit of work, µJ", fontsize=9)
            axis.grid(True, axis="x", alpha=0.3)
        if found.invented:
            figure.suptitle(INVENTED, fontsize=8)
        return saved(figure, path, dots=130)
