"""Drawings as files: SVG or PNG, the same bytes for the same figure.

Parts have the colours, dashes and markers that they have in the report's page.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from advisor.present.axes import marks, plain
from advisor.present.colours import DASHES, MARKERS, PARTS, Look


@contextmanager
def style(size: float) -> Iterator[None]:
    """Settings within which figures are made and saved: a font size, no chance in an SVG's ids,
    texts as they are written."""
    import matplotlib as mpl

    with mpl.rc_context(
        {"svg.hashsalt": "part-advisor", "font.size": size, "text.parse_math": False}
    ):
        yield


def wide(text: str, size: float, weight: str = "normal") -> float:
    """Inches that a text takes in so many points."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    font = FontProperties(size=size, weight=weight)
    return float(TextToPath().get_text_width_height_descent(text, font, False)[0]) / 72


def saved(figure: Any, path: Path, dots: int) -> bytes:
    """A figure by the ending of the file's name, at `dots` per inch where it is made of dots."""
    kind = path.suffix.lower().lstrip(".")
    out = io.BytesIO()
    figure.savefig(out, format=kind, dpi=dots, metadata={"Date": None} if kind == "svg" else {})
    return out.getvalue()


def painted(look: Look) -> dict[str, Any]:
    """How a part's line is drawn."""
    dash = DASHES[look.dash]
    return {
        "color": PARTS[look.colour],
        "marker": MARKERS[look.marker],
        "linestyle": (0, dash) if dash[1] else "-",
    }


def scale(
    axis: Any,
    which: str,
    ends: tuple[float, float],
    log: bool,
    shown: Callable[[float], str] = "{:,g}".format,
    at: Sequence[float] | None = None,
) -> None:
    """Set the axis `x` or `y` from end to end, marked at steps of 1, 2 and 5 or at `at`."""
    from matplotlib.ticker import NullLocator

    getattr(axis, f"set_{which}scale")("log" if log else "linear")
    getattr(axis, f"set_{which}lim")(*ends)
    places = list(at) if at is not None else marks(*ends, log)
    getattr(axis, f"set_{which}ticks")(places, [plain(shown(x)) for x in places])
    getattr(axis, f"{which}axis").set_minor_locator(NullLocator())
    axis.grid(True, axis=which, alpha=0.3)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def named(axis: Any, spots: Sequence[tuple[float, float, str]], beside: bool) -> None:
    """Names beside the last points where they do not touch; else a legend."""
    if not beside:
        axis.legend(fontsize=8, frameon=False)
        return
    for x, y, name in spots:
        axis.annotate(
            name, (x, y), (6, 0), textcoords="offset points", va="center", annotation_clip=False
        )
