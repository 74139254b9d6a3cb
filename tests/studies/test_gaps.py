"""What to measure next: shipped products, and a synthetic one whose top gap truly matters."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load, product_files
from advisor.present.machine import to_json
from advisor.studies.gaps import gaps
from advisor.studies.shortlist import shortlist
from tests.studies.small import loaded, part

PRODUCT = """
product: plain
invented: true
life-target: 5 years
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {crc: 1}}]
supply-options: {cells: [{budget: 500 mAh, voltage: 3.0 V}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 0 years, good: 40 years}}
"""


def two(root: Path, seed: int) -> tuple[Catalogue, Product]:
    """Two parts nearly alike: the sleep current of one is hardly known, the kernels are."""
    rng = np.random.default_rng(seed)
    sleep = 2.0 * rng.uniform(0.98, 1.02)
    figures = {
        "vague": (
            f"4.00({rng.integers(1, 3)}) mA",
            f"{sleep:.3f} ± {rng.uniform(0.2, 0.35):.3f} µA",
        ),
        "sharp": (f"4.00({rng.integers(1, 3)}) mA", "2.00(1) µA"),
    }
    parts = {
        name: part(name, kernel=kernel, sleep=f"{{25 degC: {current}}}")
        for name, (kernel, current) in figures.items()
    }
    return loaded(root, parts, PRODUCT)


def test_the_vague_figure_comes_first(tmp_path: Path) -> None:
    found = gaps(*two(tmp_path, 1))
    top = found.figures[0]
    assert top.path == "vague:sleep-states.ram-kept.current.25 degC"
    assert top.worth_it
    assert top.score == pytest.approx(found.evpi_score, rel=0.15)
    assert (
        found.advice
        == "First measure the sleep current in ram-kept at 25 degC of vague with a better meter."
    )
    assert {g.path for g in found.groups} == {"vague", "sharp"}


def test_measuring_the_top_gap_moves_the_verdict_more_than_the_last(tmp_path: Path) -> None:
    moved = {"top": [], "last": []}  # type: dict[str, list[float]]
    for seed in range(8):
        inputs = two(tmp_path / str(seed), seed)
        found = gaps(*inputs, draws=2000)
        before = shortlist(*inputs, draws=2000).ranking[0].first_place_probability
        for which, gap in (("top", found.figures[0]), ("last", found.figures[-1])):
            text = {"vague:sleep": "2.0 µA", "sharp:sleep": "2.0 µA"}.get(gap.path[:11], "4 mA")
            there = with_changes(*inputs, [f"{gap.path}={text}"])
            after = shortlist(*there, draws=2000).ranking[0].first_place_probability
            assert before is not None
            assert after is not None
            moved[which].append(abs(after - before))
    assert np.mean(moved["top"]) > np.mean(moved["last"])


def test_nothing_is_worth_measuring_where_the_choice_is_plain() -> None:
    found = gaps(*load("valve-driver"), draws=1000)
    assert found.evpi_score == pytest.approx(0.0, abs=1e-9)
    assert found.advice.startswith("Nothing is worth measuring")
    assert not any(g.worth_it for g in (*found.figures, *found.groups))


@pytest.mark.parametrize("name", sorted(product_files()))
def test_the_document(name: str) -> None:
    inputs = load(name)
    found = gaps(*inputs, draws=1000)
    told = json.loads(to_json(found))
    assert told.keys() >= {"evpi_score", "evpi_money", "figures"}
    assert told["figures"][0].keys() >= {"path", "score", "money", "error"}
    scores = [g.score for g in found.figures]
    assert scores == sorted(scores, reverse=True)
    # no figure is worth more than all of them, give or take its error
    assert all(g.score <= found.evpi_score + 4 * g.error + 1e-9 for g in found.figures)
    assert to_json(gaps(*inputs, draws=1000, jobs=2)) == to_json(found)


def test_a_figure_is_named_as_the_file_writes_it() -> None:
    catalogue, product = load("frost-post")
    found = gaps(catalogue, product, draws=500)
    assert len(found.figures) > 10
    for gap in found.figures:
        if not gap.path.startswith("instrument ") and ".maturity." not in gap.path:
            handle = lever(catalogue, product, gap.path)
            assert handle.u > 0, gap.path


def test_nothing_fits_nothing_to_measure() -> None:
    found = gaps(*load("barrel-tag", changes=["barrel-tag:needs.memory.flash=9 MiB"]), draws=100)
    assert found.chosen is None
    assert found.figures == ()
    assert "Nothing fits" in found.advice
