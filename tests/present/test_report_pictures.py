"""The pictures of a report as files: what the page draws, in the page's own colours."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import matplotlib.image
import numpy as np
import pytest

from advisor.present.colours import PARTS
from advisor.present.html.charts import charts
from advisor.present.html.family_charts import charts as family_charts
from advisor.present.html.pictures import LIVE, family_picture, report_picture
from tests.present.family_pages import family_made
from tests.present.pages import made

pytestmark = pytest.mark.once

SVG = "{http://www.w3.org/2000/svg}"


def words(root: ElementTree.Element) -> str:
    """The texts that are drawn, a line of a title after the other."""
    drawn = root.iter(f"{SVG}text")
    return " ".join(" ".join(" ".join(e.itertext()).split()) for e in drawn)


@cache
def drawn_once() -> bytes:
    """The picture of a shipped product's report."""
    return report_picture(made("barrel-tag"), "svg")


def test_every_picture_of_the_page_is_drawn_with_its_finding() -> None:
    found = made("barrel-tag")
    text = drawn_once().decode()
    root = ElementTree.fromstring(text)
    told = words(root)
    drawn = [one for name, some in charts(found).items() if name not in LIVE for one in some]
    assert len(drawn) > 8
    for one in drawn:
        assert one.title in told
        assert " ".join(one.finding.split()) in told
    description = root.find(f"{SVG}desc")
    assert description is not None
    assert drawn[-1].finding in (description.text or "")
    assert "DEMONSTRATION DATA" in told
    # colours of the page in place of its variables, the first part's among them
    assert "var(" not in text
    assert "color-mix" not in text
    assert PARTS[0] in text
    assert 'fill="black"' not in text


def test_points_are_those_of_the_shortlist() -> None:
    """Bars of the first part add up to its score: their ends are where its axis has it."""
    found = made("barrel-tag")
    text = drawn_once().decode()
    first = found.shortlist.ranking[0]
    said = re.findall(rf'points: ([0-9.]+)[^"]*part: {first.part}|part: {first.part}[^"]*', text)
    labels = re.findall(r'aria-label="([^"]*)"', text)
    mine = [one for one in labels if first.part in one and "points" in one]
    points = [float(m[1]) for one in mine if (m := re.search(r"points[^:]*: ([0-9.]+)", one))]
    assert said
    assert sum(points) == pytest.approx(first.score, abs=0.05)


@pytest.mark.slow
def test_a_png_is_the_same_drawn_fine() -> None:
    found = made("barrel-tag")
    svg = ElementTree.fromstring(drawn_once())
    seen = matplotlib.image.imread(io.BytesIO(report_picture(found, "png")), format="png")
    assert seen.shape[1] == pytest.approx(2 * float(svg.attrib["width"]), rel=0.01)
    # nothing at its edges, much of it paper
    assert np.all(seen[:4, :, :3] == 1)
    assert 0.7 < np.mean(np.all(seen[..., :3] == 1, axis=-1)) < 0.99


def test_a_familys_pictures_name_every_plan_once() -> None:
    found = family_made()
    told = words(ElementTree.fromstring(family_picture(found, "svg")))
    (plans,) = family_charts(found.plan)["plans"]
    dots, labels = (one["data"]["values"] for one in plans.spec["layer"])
    named = ", ".join(one["at"] for one in labels).split(", ")
    assert sorted(named) == sorted(dot["at"] for dot in dots)
    # a plan of the front that is a next-best one too has one label
    assert len(labels) < len(dots)
    for one in labels:
        assert one["at"] in told


def test_nothing_that_fits_is_said() -> None:
    found = made("barrel-tag")
    bare = replace(found.shortlist, ranking=())
    none = replace(found, shortlist=bare, parts=(), pictures=None, outlook=None, explanation=None)
    text = report_picture(none, "svg").decode()
    assert "Nothing fits, so there is nothing to draw." in words(ElementTree.fromstring(text))
