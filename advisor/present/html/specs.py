"""What all charts of the page share, as pieces of Vega-Lite specifications.

Colours are the page's own variables, so that a chart follows light, dark and paper by itself.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from advisor.dataclass import dataclass
from advisor.present.axes import marks, plain
from advisor.present.colours import DASHES, OTHERS, SHAPES, Look
from advisor.present.layout import unbroken
from advisor.present.typeset import typeset

Spec = dict[str, Any]
Looks = Mapping[str, Look]

LONG = 14  # characters; of longer names no two stand beside each other on a phone

_TEXT = {"labelColor": "var(--ink)", "titleColor": "var(--ink)"}
_CONFIG: Spec = {
    "background": "transparent",
    "font": "system-ui, sans-serif",
    "view": {"stroke": None},
    "axis": {
        **_TEXT,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "gridColor": "var(--line)",
        "domainColor": "var(--faint)",
        "tickColor": "var(--faint)",
        "labelLimit": 260,
        "tickCount": 6,
    },
    "legend": {
        **_TEXT,
        "labelFontSize": 12,
        "orient": "top",
        "title": None,
        "labelLimit": 260,
        "columns": 2,
    },
    "text": {"color": "var(--ink)", "fontSize": 12},
}
# the order of rows given later is not the order in which they would be drawn
PLACE = {"field": "place", "op": "min"}
_KEY = {"symbolOpacity": 1, "symbolStrokeWidth": 0, "symbolDash": [1, 0], "symbolSize": 80}
THIN = {"type": "rule", "color": "var(--faint)", "strokeDash": [4, 3]}


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart with its title and what it shows, in words."""

    title: str
    finding: str
    spec: Spec


def chart(title: str, finding: str, **more: Any) -> Chart:
    """A chart as wide as its place."""
    spec = {"description": title, "width": "container", "config": _CONFIG, **more}
    return Chart(typeset(title), unbroken(typeset(finding)), spec)


def layer(rows: Sequence[Spec], mark: Spec, **encoding: Any) -> list[Spec]:
    """A layer of rows; none where there is no row."""
    return [{"data": {"values": list(rows)}, "mark": mark, "encoding": encoding}] if rows else []


def others(names: Sequence[str]) -> Spec:
    """The scale of colours of what is no part."""
    count = len(OTHERS)
    return {
        "domain": list(names),
        "range": [f"var(--k{i % count + 1})" for i in range(len(names))],
    }


def key(names: Sequence[str]) -> Spec:
    """A legend that a narrow screen has room for."""
    return {"columns": 1 if max(map(len, names), default=0) > LONG else 2}


@dataclass(frozen=True, slots=True)
class Painted:
    """Parts in their own colours, dashes and markers."""

    names: tuple[str, ...]
    looks: Looks

    def _key(self) -> Spec:
        return {**_KEY, **key(self.names)}

    def colour(self, legend: bool) -> Spec:
        """The channel of colour; with a legend where labels cannot stand beside."""
        scale = {
            "domain": list(self.names),
            "range": [f"var(--p{self.looks[n].colour + 1})" for n in self.names],
        }
        return {
            "field": "part",
            "scale": scale,
            "sort": None,
            "legend": self._key() if legend else None,
        }

    def shape(self, legend: bool) -> Spec:
        """The channel of the marker."""
        scale = {
            "domain": list(self.names),
            "range": [SHAPES[self.looks[n].marker] for n in self.names],
        }
        return {
            "field": "part",
            "scale": scale,
            "sort": None,
            "legend": self._key() if legend else None,
        }

    def dash(self, legend: bool) -> Spec:
        """The channel of the dash."""
        scale = {
            "domain": list(self.names),
            "range": [list(DASHES[self.looks[n].dash]) for n in self.names],
        }
        return {
            "field": "part",
            "scale": scale,
            "sort": None,
            "legend": self._key() if legend else None,
        }


def axis(
    field: str,
    title: str,
    ends: tuple[float, float],
    log: bool,
    shown: Callable[[float], str] | None = None,
    at: Sequence[float] | None = None,
    most: int = 7,
) -> Spec:
    """A channel of figures from end to end, marked at steps of 1, 2 and 5 (or `at` places).

    `shown` puts a mark into words.
    """
    low, high = ends
    places = list(at) if at is not None else marks(low, high, log, most)
    about: Spec = {"values": places, "labelOverlap": "greedy", "format": ",~r"}
    if shown is not None:
        named = (f"datum.value == {x!r} ? {json.dumps(plain(shown(x)))}" for x in places)
        about["labelExpr"] = " : ".join([*named, "''"])
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": {
            "type": "log" if log else "linear",
            "domain": [low, high],
            "nice": False,
            **({} if log else {"zero": False}),
        },
        "axis": about,
    }


def padded(values: Sequence[float], log: bool, share: float = 0.06) -> tuple[float, float]:
    """Ends of an axis a little beyond the values."""
    low, high = min(values), max(values)
    if log:
        wide = (high / low) ** share if high > low else 1.1
        return low / wide, high * wide
    wide = (high - low) * share or abs(high) * share or 1.0
    return (low - wide if low != 0 else 0.0), high + wide


def label(rows: Sequence[Spec], x: Spec, y: Spec, field: str = "part", **mark: Any) -> list[Spec]:
    """Names beside points, in ink, so that they can be read whatever the colour."""
    about = {"type": "text", "align": "left", "baseline": "middle", "dx": 8, **mark}
    return layer(rows, about, x=x, y=y, text={"field": field})
