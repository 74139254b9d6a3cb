"""Which column of an export is likely to be what, by names, units and numbers; all made up."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.bench.chunks import Floats
from advisor.bench.sniff import Seen, _delimiter, roles

N = 60
DRAW = np.random.default_rng(3)
COLUMNS: dict[str, Floats] = {
    "rising": np.arange(N, dtype=np.float64) * 0.5,
    "once up": (np.arange(N) >= 30).astype(np.float64),
    "noise": DRAW.normal(5.0, 0.1, N),
    "other noise": DRAW.normal(3.0, 0.01, N),
}


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        # a supply's name without a unit, before and behind the current
        (
            (("t", "rising"), ("amps", "noise"), ("vdd", "other noise")),
            {"time": "t", "current": "amps", "voltage": "vdd"},
        ),
        (
            (("t", "rising"), ("vcc", "other noise"), ("x", "noise")),
            {"time": "t", "current": "x", "voltage": "vcc"},
        ),
        # what stands at two levels is no supply, whatever its name
        (
            (("t", "rising"), ("supply", "once up"), ("x", "noise")),
            {"time": "t", "current": "x", "marker": "supply"},
        ),
        # a first column that changes once never goes back, and is no time for that
        (
            (("own", "once up"), ("x", "noise")),
            {"marker": "own", "current": "x"},
        ),
        ((("own", "rising"), ("x", "noise")), {"time": "own", "current": "x"}),
        # a later one that never goes back may be a sum, such as the charge
        ((("x", "noise"), ("own", "rising")), {"current": "x"}),
    ],
)
def test_columns_are_told_by_name_and_numbers(
    given: tuple[tuple[str, str], ...], expected: dict[str, str]
) -> None:
    columns = [
        Seen(name, place, None, COLUMNS[what], COLUMNS[what])
        for place, (name, what) in enumerate(given, 1)
    ]
    assert {role: seen.name for role, seen in roles(columns).items()} == expected


@pytest.mark.parametrize(
    ("line", "word", "width"),
    [
        ("1,5;2,5", "semicolon", 2),
        ("1.5,2.5", "comma", 2),
        ("1,5\t2,5\t0", "tab", 3),
        ("1,5 2,5", "blanks", 2),
        ("2026-03-11T10:00:00,5;1,5;0", "semicolon", 3),
        ("1|2|3", "bar", 3),
        ("1.5", "tab", 1),
    ],
)
def test_a_delimiter_is_what_leaves_numbers_in_every_cell(line: str, word: str, width: int) -> None:
    """Decimal commas make more cells, of which not all are numbers."""
    assert _delimiter([line] * 9 + ["a note; of, words"]) == (word, width)
