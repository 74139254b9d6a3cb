"""Programs written out in the LP file format, against the files on record in lp_files/.

One file for each family of rows and bounds. UPDATE_LP_FILES=1 in the environment writes them anew.
"""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import pytest

from advisor.lp import Model, Status

HERE = Path(__file__).parent
SECONDS = 20.0


def rows_of_every_sense() -> Model:
    model = Model("rows")
    for name in ("x", "y"):
        model.variable(name)
    model.constraint("at most", {"x": 1, "y": 2.5}, "<=", 10)
    model.constraint("at least", {"x": 1e-6, "y": -1 / 3}, ">=", -4)
    model.constraint("equal", {"x": 3, "y": -3}, "=", 0)
    model.minimise({"x": -1, "y": 2e-6})
    return model


def bounds_of_every_kind() -> Model:
    model = Model("bounds")
    boxes = {"plain": (0, math.inf), "free": (-math.inf, math.inf), "fixed": (2, 2)}
    boxes |= {"above": (1.5, math.inf), "below": (-math.inf, 4), "between": (-1, 1)}
    for name, (lower, upper) in boxes.items():
        model.variable(name, lower, upper)
    model.constraint("all", dict.fromkeys(boxes, 1.0), ">=", -7)
    costs = {"plain": 3.0, "free": 1.0, "fixed": 1.0, "above": 2.0, "below": 0.5, "between": 4.0}
    model.minimise(costs)
    return model


def whole_numbers() -> Model:
    model = Model("whole numbers")
    model.variable("open", 0, 1, integer=True)
    model.variable("packs", 0, 12, integer=True)
    model.variable("pieces")
    model.constraint("only when open", {"packs": 1, "open": -12}, "<=", 0)
    model.constraint("full packs", {"pieces": 1, "packs": -100}, "<=", 0)
    model.constraint("wanted", {"pieces": 1}, ">=", 250)
    model.minimise({"open": 40, "packs": 71.5, "pieces": 0.01})
    return model


NAMES = ("free", "st", "e12", "2nd", "a-b", "a b", "A_B", "µA", "", ".x", "p:k.hash", "y" * 300)


def names_of_every_kind() -> Model:
    model = Model("names: of every kind")
    for i, name in enumerate(NAMES):
        model.variable(name, 0, i + 1)
    for i, name in enumerate(NAMES):
        model.constraint(name, {name: 1.0, NAMES[0]: 0.5}, ">=", i / 4)
    model.minimise(dict.fromkeys(NAMES, 1.0))
    return model


GOLDEN = [rows_of_every_sense, bounds_of_every_kind, whole_numbers, names_of_every_kind]


@pytest.mark.parametrize("make", GOLDEN, ids=lambda make: make.__name__)
def test_lp_files(make: Any) -> None:
    path = HERE / "lp_files" / f"{make.__name__}.lp"
    text = make().text()
    if os.environ.get("UPDATE_LP_FILES") == "1":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("make", GOLDEN, ids=lambda make: make.__name__)
def test_lp_files_mean_what_was_solved(make: Any) -> None:
    """HiGHS's own reader of the format, which knows nothing of us, finds the same optimum."""
    import highspy

    reader: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    reader.setOptionValue("output_flag", False)
    path = HERE / "lp_files" / f"{make.__name__}.lp"
    assert reader.readModel(str(path)) == highspy.HighsStatus.kOk
    reader.run()
    assert reader.getModelStatus() == highspy.HighsModelStatus.kOptimal
    found = make().solve(SECONDS)
    assert found.status is Status.OPTIMAL
    assert found.objective == pytest.approx(reader.getInfo().objective_function_value, rel=1e-9)


def test_every_name_comes_back() -> None:
    found = names_of_every_kind().solve(SECONDS)
    assert set(found.values) == set(NAMES)
    assert set(found.duals) == set(NAMES)
