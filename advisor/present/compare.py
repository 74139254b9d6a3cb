"""The screens and drawings of `compare`."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from advisor.catalogue.schema_parts import Variant
from advisor.present import plots
from advisor.present.axes import steep
from advisor.present.colours import Look, looks
from advisor.present.layout import FAINT, STRONG, Page
from advisor.present.plots import saved, scale, style
from advisor.present.tables import INVENTED
from advisor.quantities import show
from advisor.studies.compare import Comparison, Flip, Row

MOST = 10  # flips that are told in full
LISTED = 12  # parts of a matrix
ACROSS = 3  # kernels that are drawn side by side
FEW = 12  # rows of all kernels that are told in full without being asked for
KINDS = {
    "kernel": "by energy between two kernels",
    "draw": "between draw and energy",
    "clock": "by time between the parts' own clocks and the common one",
}


def compare_page(found: Comparison, width: int, full: bool = False) -> Page:
    """Energies of parts and kernels against the best, and where ranks flip.

    `full` tells every kernel's rows, bars and what stands beside; where they are few they are told
    anyway.
    """
    page = Page(width)
    page.heading("Kernels by part, one unit of work at each part's own fastest clock")
    if found.invented:
        page.paragraph(INVENTED, style=FAINT)
    rows = sum(row.native for some in found.kernels.values() for row in some)
    if full or rows <= FEW:
        _in_full(page, found)
        return page
    page.paragraph(
        "Energy against the best of a kernel; *: by an engine; ~: it cannot be told from the best.",
        style=FAINT,
    )
    _matrix(page, found, _native, ties=True)
    if found.clock_hz is not None:
        page.heading(f"At {_megahertz(found.clock_hz)}, {_why_there(found)}")
        _matrix(page, found, lambda row: None if row.at_clock is None else row.at_clock.energy_j)
    _flips_in_short(page, found.flips)
    page.paragraph("--full tells times, currents, set-up, toolchains and prices too.", style=FAINT)
    return page


Energy = Callable[[Row], float | None]  # of a row, J


def _least(rows: Sequence[Row], energy: Energy) -> dict[str, tuple[float, Row]]:
    """The least energy of each part, and the row of it."""
    out: dict[str, tuple[float, Row]] = {}
    for row in rows:
        found = energy(row)
        if found is not None and (row.part not in out or found < out[row.part][0]):
            out[row.part] = found, row
    return out


def _native(row: Row) -> float | None:
    return row.energy_j if row.native else None


def _ratios(
    found: Comparison, energy: Energy
) -> tuple[dict[str, dict[str, float]], dict[tuple[str, str], Row]]:
    """Of each part and kernel the least energy over the best part's, and the row of it."""
    ratios: dict[str, dict[str, float]] = {}
    rows_of: dict[tuple[str, str], Row] = {}
    for kernel, rows in found.kernels.items():
        least = _least(rows, energy)
        best = min((x for x, _ in least.values()), default=0.0)
        for part, (x, row) in least.items():
            ratios.setdefault(part, {})[kernel] = x / best
            rows_of[part, kernel] = row
    return ratios, rows_of


def _order(ratios: Mapping[str, Mapping[str, float]]) -> list[str]:
    """Parts by their mean ratio, the least first."""

    def mean(part: str) -> float:
        return sum(map(math.log, ratios[part].values())) / len(ratios[part])

    return sorted(ratios, key=lambda part: (mean(part), part))


def _matrix(page: Page, found: Comparison, energy: Energy, ties: bool = False) -> None:
    """Parts by kernels: energies over the best, the parts of the least mean ratio first.

    `ties` marks those that cannot be told from the best.
    """
    ratios, rows_of = _ratios(found, energy)
    kernels = list(dict.fromkeys(kernel for _, kernel in rows_of))
    marks = {
        # each is its own equal
        key: ("*" if Variant.parse(row.point).engines else "")
        + ("~" if ties and row.tied and ratios[key[0]][key[1]] > 1 else "")
        for key, row in rows_of.items()
    }
    order = _order(ratios)
    listed = order[:LISTED]

    def row_of(part: str, some: Sequence[str]) -> list[str]:
        told = ratios[part]
        return [part, *(_ratio(told[k]) + marks[part, k] if k in told else "-" for k in some)]

    while kernels:
        # as many kernels side by side as there is room for
        count = len(kernels)
        while count > 1 and not page.takes(
            ["part", *kernels[:count]], [row_of(part, kernels[:count]) for part in listed]
        ):
            count -= 1
        some, kernels = kernels[:count], kernels[count:]
        page.table(
            ["part", *some],
            [row_of(part, some) for part in listed],
            [False, *(True for _ in some)],
            styles=[STRONG],
        )
    if len(order) > len(listed):
        page.paragraph(f"and {len(order) - len(listed)} more: --full", "   ", style=FAINT)


def _ratio(ratio: float) -> str:
    """`1.00`, `15.1`, `402`: three figures that count."""
    return f"{ratio:.{2 if ratio < 9.995 else 1 if ratio < 99.95 else 0}f}"


def _why_there(found: Comparison) -> str:
    """How the parts stand to the common clock, and how it came about."""
    among = f"of {found.clock_within} of {len(found.parts)} parts"
    if found.clock_chosen:
        return f"between the measured clocks {among}; another: --at-clock"
    return f"between the measured clocks {among}"


def _flips_in_short(page: Page, flips: tuple[Flip, ...]) -> None:
    page.heading("Where ranks flip")
    if not flips:
        page.paragraph("Nowhere beyond the uncertainties.", "  ")
    for kind, words in KINDS.items():
        some = [flip for flip in flips if flip.kind == kind]
        if some:
            most = max(some, key=lambda flip: flip.factor)
            page.paragraph(f"{len(some)} {words}, such as: {flip_words(most)}.", "  ", "    ")


def _in_full(page: Page, found: Comparison) -> None:
    """A table and bars for each kernel, then where ranks flip, then what stands beside."""
    page.paragraph(
        "x: against the best; ~: the energy cannot be told from the best one's (twice the "
        "standard uncertainty, a shared instrument's gain apart)",
        style=FAINT,
    )
    if found.clock_hz is not None:
        page.paragraph(f"At {_megahertz(found.clock_hz)}, {_why_there(found)}.", style=FAINT)
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
        # the best is its own equal
        "~" if row.tied and row.energy_ratio != 1 else "",
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
    told = [(r, r.energy_j) for r in rows if r.energy_j is not None]
    if len(told) >= 2:
        page.bars([(f"{r.part} {r.point}", j, show(j, "energy")) for r, j in told])


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


def save_dots(found: Comparison, path: Path, full: bool = False) -> bytes:
    """Energy by part for each kernel, at each part's own clock and at the common one.

    An SVG or PNG. Logarithmic where it spans more than tenfold; bars are standard uncertainties.
    The parts of the matrix, unless `full`; panels of kernels stand side by side.
    """
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    order = _order(_ratios(found, _native)[0])
    drawn = order if full else order[:LISTED]
    shown = {
        k: [r for r in rows if r.native and r.energy_j is not None and r.part in drawn]
        for k, rows in found.kernels.items()
    }
    shown = {k: rows for k, rows in shown.items() if rows}
    painted = looks(order)
    more = len(order) - len(drawn)
    with style(8):
        across = min(ACROSS, len(shown)) or 1
        bands = [list(shown.items())[n : n + across] for n in range(0, len(shown), across)]
        heights = [0.2 * max(len(rows) for _, rows in band) + 0.7 for band in bands] or [1.0]
        wide = 8.5 if across == 1 else 5.2 * across
        figure = Figure(figsize=(wide, sum(heights) + 0.9), layout="constrained")
        axes: Any = figure.subplots(
            len(heights), across, squeeze=False, gridspec_kw={"height_ratios": heights}
        )
        for axis in axes.flat:
            axis.set_visible(False)
        for axis, (kernel, rows) in zip(axes.flat, shown.items(), strict=False):
            axis.set_visible(True)
            every = [r for r in found.kernels[kernel] if r.native and r.energy_j is not None]
            _dots(axis, kernel, rows, painted, every[0])
        said = ["each at its own fastest clock"]
        if found.clock_hz is not None:
            said = ["filled: at its own fastest clock", f"hollow: at {_megahertz(found.clock_hz)}"]
            keys = [
                Line2D([], [], marker="o", color="0.3", markerfacecolor=face, linestyle="none")
                for face in ("0.3", "white")
            ]
            figure.legend(keys, said, loc="outside lower center", ncols=2, frameon=False)
        title = "Energy of one unit of work, µJ" + ("" if len(said) > 1 else f", {said[0]}")
        if more:
            title += (
                f"\nthe first {len(drawn)} parts by mean ratio to the best; {more} more: --full"
            )
        figure.suptitle(title + ("\n" + INVENTED if found.invented else ""), fontsize=9)
        return saved(figure, path, dots=130)


def _dots(
    axis: Any, kernel: str, rows: Sequence[Row], painted: Mapping[str, Look], least: Row
) -> None:
    """A kernel's energies in µJ, a line a row; the two clocks of a row are joined.

    `least` : the row of the least energy, drawn or not.
    """
    seen: list[float] = []
    for place, row in enumerate(rows):
        look = plots.painted(painted[row.part])
        how = {"color": look["color"], "marker": look["marker"], "markersize": 5, "ls": "none"}
        own, held = 1e6 * (row.energy_j or 0.0), row.at_clock
        seen.append(own)
        if held is not None and held.energy_j is not None:
            there = 1e6 * held.energy_j
            seen.append(there)
            axis.plot([own, there], [place, place], color=look["color"], linewidth=1, alpha=0.6)
            u = 1e6 * (held.energy_u_j or 0.0)
            axis.errorbar(there, place, xerr=u, **how, markerfacecolor="white")
        axis.errorbar(own, place, xerr=1e6 * (row.energy_u_j or 0.0), **how)
    log = steep(seen)
    low, high = min(seen), max(seen)
    ends = (low / 1.3, high * 1.3) if log else (0.0, high * 1.08 or 1.0)
    scale(axis, "x", ends, log, "{:.6g}".format)
    axis.set_yticks(range(len(rows)), [f"{r.part} {r.point}" for r in rows])
    axis.set_ylim(len(rows) - 0.5, -0.5)
    hidden = "" if least in rows else " (not drawn)"
    told = f"{kernel}: {least.part}{hidden} takes least, {show(_own(least), 'energy')}"
    axis.set_title(told, fontsize=8, loc="left")


def _own(row: Row) -> float:
    assert row.energy_j is not None
    return row.energy_j


def _megahertz(hertz: float) -> str:
    return f"{hertz / 1e6:.4g} MHz"
