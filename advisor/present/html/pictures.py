"""The pictures of a report's page as one SVG or PNG: the same specifications, on paper."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from html import escape
from typing import Any

from advisor.present.colours import css
from advisor.present.html import charts as of_product
from advisor.present.html import family_charts as of_family
from advisor.present.html.page import HERE
from advisor.present.html.specs import Chart, Spec
from advisor.present.tables import INVENTED
from advisor.studies.family_report import FamilyReport
from advisor.studies.report import Report
from advisor.texts import on_one_line

ROOM = 470  # px that a picture is wide, its axis apart
LETTERS = 84  # of a line above it
BESIDE = 2  # pictures in a row
FINE = 2.0  # dots of a PNG for each px
LIVE = ("current", "money")  # of two parts that a reader chooses in the page
# of a specification of its own, which is none within another
_OUTER = ("config", "width", "description")


def report_picture(found: Report, kind: str) -> bytes:
    """All pictures of a product's report, `svg` or `png`."""
    drawn = of_product.charts(found)
    some = [_filled(found, one) for one in drawn.pop("ranking", [])]
    some += [one for name, listed in drawn.items() if name not in LIVE for one in listed]
    return _sheet(_title(found.product, found.summary, found.invented), some, kind)


def family_picture(found: FamilyReport, kind: str) -> bytes:
    """All pictures of a family's report, `svg` or `png`."""
    plan = found.plan
    some = [one for listed in of_family.charts(plan).values() for one in listed]
    return _sheet(_title(plan.family, plan.summary, plan.invented), some, kind)


def _title(name: str, summary: str | None, invented: bool) -> tuple[str, ...]:
    about = f"{name}: {summary}" if summary else name
    return (on_one_line(about), *([INVENTED] if invented else []))


def _filled(found: Report, one: Chart) -> Chart:
    """The chart of points with the rows that a page reckons anew under other weights."""
    total = sum(c.weight for c in found.criteria)
    rows = [
        {
            "part": part.part,
            "place": place,
            "criterion": criterion.criterion,
            "points": 100 * criterion.weight / total * part.best.worth[order],
            "order": order,
        }
        for place, part in enumerate(found.parts[: of_product.MOST])
        for order, criterion in enumerate(found.criteria)
    ]
    high = one.spec["height"] * min(len(found.parts), of_product.MOST)
    spec = {**one.spec, "height": high, "data": {"values": rows}}
    return replace(one, spec=spec)


def _sheet(title: Sequence[str], some: Sequence[Chart], kind: str) -> bytes:
    import vl_convert

    name, *about = title
    spec = {
        "title": {
            "text": name,
            "subtitle": about if some else [*about, "Nothing fits, so there is nothing to draw."],
            "anchor": "start",
            "fontSize": 18,
            "offset": 16,
            **_INK,
        },
        "config": {**(some[0].spec["config"] if some else {}), "background": "var(--paper)"},
        "padding": 16,
    }
    if some:
        alone = {"color", "shape", "strokeDash", "size", "opacity"}
        spec |= {
            "concat": [_inner(one) for one in some],
            "columns": BESIDE,
            "spacing": {"row": 36, "column": 48},
            "resolve": {
                "scale": dict.fromkeys(alone, "independent"),
                "legend": dict.fromkeys(alone, "independent"),
            },
        }
    else:
        spec |= {"mark": "point", "data": {"values": []}, "width": ROOM, "height": 1}
    painted = _painted(spec, dict(_variables()))
    if kind == "png":
        return bytes(vl_convert.vegalite_to_png(painted, scale=FINE))
    told = "".join(f"{one.title}. {one.finding} " for one in some)
    words = f"<title>{escape(name)}</title><desc>{escape(told)}</desc>"
    text = str(vl_convert.vegalite_to_svg(painted))
    return re.sub(r"(<svg\b[^>]*>)", lambda m: m[1] + words, text, count=1).encode()


_INK = {"color": "var(--ink)", "subtitleColor": "var(--faint)", "subtitleFontSize": 12}


def _inner(one: Chart) -> Spec:
    """A chart under its title and finding."""
    finding = _lines(one.finding)
    title = {
        "text": _lines(on_one_line(one.title)),
        "subtitle": finding,
        "anchor": "start",
        "frame": "group",
        "fontSize": 13,
        "offset": 8,
        **_INK,
    }
    spec = {key: value for key, value in one.spec.items() if key not in _OUTER}
    return {**spec, "title": title, "width": ROOM}


def _lines(text: str) -> list[str]:
    return textwrap.wrap(text, LETTERS, break_on_hyphens=False)


def _variables() -> Iterator[tuple[str, str]]:
    """The colours of the page in the light, by the names of their variables."""
    for style in (css(), (HERE / "page.css").read_text("utf-8")):
        light = style.partition("@media")[0]
        yield from re.findall(r"--(\w+): (#[0-9a-f]{6});", light)


_NAMED = re.compile(r"var\(--(\w+)\)")
# CSS Color 5, 3.1, which browsers alone know
_MIXED = re.compile(r"color-mix\(in srgb, #(\w{6}) (\d+)%, #(\w{6})\)")


def _mixed(found: re.Match[str]) -> str:
    share = int(found[2]) / 100
    both = zip(bytes.fromhex(found[1]), bytes.fromhex(found[3]), strict=True)
    return "#" + bytes(round(share * a + (1 - share) * b) for a, b in both).hex()


def _painted(value: Any, colours: Mapping[str, str]) -> Any:
    """A specification with colours in place of variables."""
    if isinstance(value, str):
        return _MIXED.sub(_mixed, _NAMED.sub(lambda m: colours[m[1]], value))
    if isinstance(value, Mapping):
        return {key: _painted(inner, colours) for key, inner in value.items()}
    if isinstance(value, Iterable):
        return [_painted(inner, colours) for inner in value]
    return value
