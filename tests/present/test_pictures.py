"""The report's pictures: colours, marks of axes, and what is drawn of which part."""

from __future__ import annotations

import json
import re
from itertools import combinations

import numpy as np
import pytest

from advisor.present import colours
from advisor.present.axes import apart, marks, plain, steep, times
from advisor.present.html.charts import charts, part_looks
from advisor.present.layout import unbroken
from tests.present.pages import MOSTLY, made, page

pytestmark = pytest.mark.once

# Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
# deficiency", IEEE TVCG 15 (2009), table 1, severity 1.0 (from memory)
SIGHTS = {
    "usual": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
}
# a difference of some 2.3 can just be seen (Mahy, Van Eycken and Oosterlinck, 1994); lines and
# small markers need several times that. Common practice, no source
APART = {"parts": 30.0, "others": 15.0, "between": 9.0}


def _lab(colour: str, sight: np.ndarray) -> np.ndarray:
    """CIELAB of an sRGB colour as seen (IEC 61966-2-1, D65 white)."""
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(sight @ linear, 0, 1)
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    xyz = to_xyz @ linear / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _far(one: str, two: str, sight: str) -> float:
    return float(np.linalg.norm(_lab(one, SIGHTS[sight]) - _lab(two, SIGHTS[sight])))


def test_lightness_itself() -> None:
    """White is 100, black 0, and #777777 some 50 (CIE 15)."""
    found = [_lab(c, SIGHTS["usual"])[0] for c in ("#ffffff", "#000000", "#777777")]
    assert found == pytest.approx([100, 0, 50.0], abs=0.1)


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_colours_are_told_apart_by_all(sight: str, dark: bool) -> None:
    parts = colours.PARTS_DARK if dark else colours.PARTS
    others = colours.OTHERS_DARK if dark else colours.OTHERS
    assert min(_far(a, b, sight) for a, b in combinations(parts, 2)) > APART["parts"]
    assert min(_far(a, b, sight) for a, b in combinations(others, 2)) > APART["others"]
    assert min(_far(a, b, sight) for a in parts for b in others) > APART["between"]


def test_looks_differ() -> None:
    """More parts than colours: none looks like another."""
    found = colours.looks(f"part-{i}" for i in range(24))
    assert len(set(found.values())) == 24


@pytest.mark.parametrize(
    ("low", "high", "log", "expected"),
    [
        (0, 10, False, [0, 2, 4, 6, 8, 10]),
        (3.1, 7.9, False, [4, 5, 6, 7]),
        (-20, 40, False, [-20, -10, 0, 10, 20, 30, 40]),
        (1, 100, True, [1, 2, 5, 10, 20, 50, 100]),
        (625, 40000, True, [1000, 2000, 5000, 10000, 20000]),
        (1e-6, 1e-1, True, [1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1]),
        (12, 18, True, [12, 13, 14, 15, 16, 17, 18]),
        (5, 5, False, [5]),
    ],
)
def test_marks(low: float, high: float, log: bool, expected: list[float]) -> None:
    assert marks(low, high, log) == pytest.approx(expected)


def test_marks_of_time() -> None:
    assert times(0.125, 8) == pytest.approx([0.2, 0.5, 1, 2, 5])
    assert times(112.5, 7200) == [120, 300, 600, 1200, 3600, 7200]


def test_words_of_marks() -> None:
    assert [plain(t) for t in ("1.000 s", "10 mA", "2.50 V", "100", "0.20")] == [
        *("1 s", "10 mA", "2.5 V", "100", "0.2"),
    ]
    assert unbroken("EUR 5.40 in 3 of 4, at 20 degC: 12 %") == (
        "EUR\u00a05.40 in 3 of 4, at 20\u00a0degC: 12\u00a0%"
    )


def test_steep_and_apart() -> None:
    assert steep([1, 10.1])
    assert steep([1, 3.1], 3)
    assert not steep([1, 3], 3)
    assert not any(map(steep, ([1, 10], [0, 100], [])))
    assert apart([1, 2, 3], 0, 4, False)
    assert not apart([1, 1.1], 0, 4, False)
    assert apart([1, 10], 1, 100, True)


@pytest.mark.parametrize("product", MOSTLY)
def test_a_part_has_one_colour_in_all_charts(product: str) -> None:
    """Every scale of parts in the page gives a part the colour of its place in the ranking."""
    found = made(product)
    looks = part_looks(found)
    names = [p.part for p in found.shortlist.ranking]
    assert [looks[n].colour for n in names[:8]] == list(range(8))
    seen = 0
    for some in charts(found).values():
        for one in some:
            for scale in re.findall(r'"scale": (\{"domain": \[[^]]*\], "range": \[[^]]*\]\})',
                                    json.dumps(one.spec)):  # fmt: skip
                read = json.loads(scale)
                for part, colour in zip(read["domain"], read["range"], strict=True):
                    if part in looks and str(colour).startswith("var(--"):
                        assert colour == f"var(--p{looks[part].colour + 1})"
                        seen += 1
    assert seen > 15


@pytest.mark.parametrize("product", MOSTLY)
def test_every_chart_has_a_title_and_a_finding(product: str) -> None:
    """In the page too, where those of the two parts side by side are told live."""
    text = page(product)
    for name, some in charts(made(product)).items():
        for n, one in enumerate(some, 1):
            assert one.title
            assert one.finding.endswith(".") or name in ("current", "money")
            assert f'id="{name.replace(" ", "-")}-{n}-title"' in text
    assert len(text) < 2_000_000
