"""Whom a search along a lever asks for, and how many parts a hidden difference is told of."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np

from advisor.catalogue.kinds import Figure
from advisor.catalogue.levers import Lever
from advisor.decide.clipping import clips
from advisor.decide.evaluate import evaluate
from advisor.decide.leading import Deciding
from advisor.decide.line import Line
from advisor.figures import Path as Figures
from tests.studies.small import loaded, part

OUT = float("-inf")
TOLD = {"one": [90.0, 90.0], "two": [70.0, 50.0], "three": [60.0, 89.5], "four": [10.0, 10.0]}


def asked(x: float, told: dict[str, list[float]]) -> set[str] | None:
    """The parts that are asked for between the places 1 and 2, `one` being the winner."""
    line = object.__new__(Line)
    line.deciding = cast(Deciding, SimpleNamespace(winner="one", scores=dict.fromkeys(told, 0.0)))
    line.lever = Lever(Figures("made-up", ("figure",)), Figure("share"), "1", 1.0, 0.0)
    line.moves = list(told)
    line._told = np.array([1.0, 2.0]), {name: np.array(row) for name, row in told.items()}
    parts = line.ask(x).parts
    return None if parts is None else set(parts)


def test_whoever_may_lead_on_either_side_of_a_value_is_asked() -> None:
    """A score may jump in between, so the nearer place alone does not tell; and a winner that is
    asked alone leads whatever comes."""
    assert asked(1.1, TOLD) == asked(1.9, TOLD) == {"one", "two", "three"}
    assert asked(1.0, TOLD) == {"one", "two"}
    assert asked(2.0, TOLD) == {"one", "three"}


def test_where_nothing_fits_on_one_side_all_are_asked() -> None:
    assert asked(1.1, {name: [row[0], OUT] for name, row in TOLD.items()}) == set(TOLD)


def test_of_fewer_parts_than_five_all_are_counted(tmp_path: Path) -> None:
    """Every life lies beyond the anchor of a tenth of a year."""
    product = """
product: plain
invented: true
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 3}}]
supply-options: {cells: [{budget: 500 mAh, voltage: 3.0 V}], converters: [none]}
priorities:
  battery-life: {weight: 3, poor: 0 years, good: 0.1 years}
"""
    parts = {name: part(name, "2 ms", "4 mA", "2 µA", "{1: 1.5}", "3 h") for name in ("one", "two")}
    (clip,) = clips(evaluate(*loaded(tmp_path, parts, product), 0))
    assert (clip.head, clip.of, set(clip.parts)) == (2, 2, {"one", "two"})
