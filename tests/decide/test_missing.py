"""Kernels nobody measured: exact where the table is additive, honest where it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special
from scipy.optimize import brentq

from advisor.catalogue.records import ESTIMATED, Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide import missing
from advisor.decide.missing import (
    _additive,
    _figures,
    _Fit,
    _moderated,
    fill_missing,
    notes,
)
from advisor.studies.explain import explain
from advisor.studies.shortlist import shortlist

pytestmark = pytest.mark.once

STRESS = ["integer", "memory", "memory", "float", "integer"]


def without(catalogue: Catalogue, part: str, kernel: str) -> Catalogue:
    old = catalogue.parts[part]
    kernels = {k: v for k, v in old.kernels.items() if k != kernel}
    return replace(catalogue, parts={**catalogue.parts, part: replace(old, kernels=kernels)})


@given(seed=st.integers(0, 9999), gone=st.integers(0, 49))
def test_an_additive_table_is_filled_exactly(seed: int, gone: int) -> None:
    rng = np.random.default_rng(seed)
    truth = rng.normal(size=10)[:, None] + rng.normal(size=5)[None, :]
    table = truth.copy()
    p, k = divmod(gone, 5)
    table[p, k] = np.nan
    fit = _Fit(table, STRESS)
    value, error = fit.predict(p, k), fit.error(p, k)
    # the alternating least squares end at 1e-10
    assert value == pytest.approx(truth[p, k], abs=1e-7)
    assert error == pytest.approx(0.0, abs=1e-7)


@given(seed=st.integers(0, 9999))
def test_effects_are_least_squares(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(7, 4))
    mask = rng.random((7, 4)) < 0.8
    mask[0], mask[:, 0] = True, True
    part, kernel = _additive(table, mask)
    # the same by numpy's own solver of the indicator equations
    rows = [(p, k) for p in range(7) for k in range(4) if mask[p, k]]
    design = np.zeros((len(rows), 11))
    for i, (p, k) in enumerate(rows):
        design[i, p] = design[i, 7 + k] = 1.0
    found, *_ = np.linalg.lstsq(design, [table[r] for r in rows], rcond=None)
    fitted = part[:, None] + kernel[None, :]
    theirs = found[:7, None] + found[None, 7:]
    assert fitted == pytest.approx(theirs, abs=1e-6)


def test_a_leaning_toward_memory_is_carried_over() -> None:
    # parts differ in how they fare on both memory kernels: one tells of the other
    rng = np.random.default_rng(2)
    lean = rng.normal(0, 0.5, 16)
    truth = rng.normal(size=16)[:, None] + rng.normal(size=5)[None, :]
    truth[:, 1:3] += lean[:, None]
    truth += rng.normal(0, 0.02, truth.shape)
    blind = _Fit(truth, ["a", "b", "c", "d", "e"])
    seeing = _Fit(truth, STRESS)
    assert seeing.errors[1] < 0.75 * blind.errors[1]


def test_the_stated_error_is_that_of_entries_left_out() -> None:
    rng = np.random.default_rng(5)
    table = rng.normal(size=12)[:, None] + rng.normal(size=5)[None, :]
    table += rng.normal(0, 0.3, table.shape)
    fit = _Fit(table, ["a", "b", "c", "d", "e"])
    # 12 x 5 table: a residual of 0.3 with 16 effects estimated from 60 entries
    assert fit.errors.mean() == pytest.approx(0.3 * np.sqrt(1 + 16 / 60), rel=0.25)


@pytest.fixture(scope="module")
def frost() -> tuple[Catalogue, Product]:
    return load("frost-post")


def test_without_the_flag_the_part_is_set_aside(frost: tuple[Catalogue, Product]) -> None:
    catalogue, product = frost
    found = shortlist(without(catalogue, "quorvane-jor", "filter"), product, draws=0)
    aside = {a.part: a.missing for a in found.set_aside}
    assert aside["quorvane-jor"] == ("quorvane-jor:kernels.filter",)


def test_with_it_the_part_is_ranked_marked_and_less_sure(frost: tuple[Catalogue, Product]) -> None:
    catalogue, product = frost
    less = without(catalogue, "quorvane-jor", "filter")
    found = shortlist(less, product, draws=500, estimate_missing=True)
    part = next(p for p in found.ranking if p.part == "quorvane-jor")
    assert part.estimated == (
        "quorvane-jor:kernels.filter.fast",
        "quorvane-jor:kernels.filter.slow",
    )
    assert any("filter is estimated for quorvane-jor" in w for w in found.warnings)
    assert found.evidence["estimate"] > 0
    full = shortlist(catalogue, product, draws=500)
    sure = next(p for p in full.ranking if p.part == "quorvane-jor")
    assert sure.estimated == ()
    assert part.score_range.p05 is not None
    assert sure.score_range.p05 is not None
    assert part.score_range.p05 < sure.score_range.p05
    # the others are as they were
    others = {p.part: p.score for p in full.ranking if p.part != "quorvane-jor"}
    assert {p.part: p.score for p in found.ranking if p.part != "quorvane-jor"} == others
    told = explain(less, product, "quorvane-jor", draws=0, estimate_missing=True)
    assert any("rests on estimates" in r for r in told.reasons)


@pytest.mark.parametrize("kernel", ["filter", "transform", "matrix", "hash", "cipher", "crc"])
def test_the_truth_is_within_three_errors(frost: tuple[Catalogue, Product], kernel: str) -> None:
    catalogue, product = frost
    for name in ("quorvane-jor", "tessimur-rud", "helmaric-lep"):
        filled = fill_missing(without(catalogue, name, kernel), product)
        (mine,) = [t for t in filled.estimates if t.part == name]
        assert any(f"{kernel} is estimated for {name}" in n for n in notes(filled, [mine.part]))
        for point, figure in filled.parts[name].kernels[kernel].items():
            true = catalogue.parts[name].kernels[kernel][point]
            assert figure.evidence == ESTIMATED
            for what in ("time", "current"):
                made, known = getattr(figure, what), getattr(true, what)
                sigma = made.shape[1]
                assert abs(np.log(made.nominal / known.nominal)) < 3 * sigma + 0.05


def test_too_little_to_estimate_from_stays_missing(frost: tuple[Catalogue, Product]) -> None:
    catalogue, product = frost
    lone = replace(
        catalogue.parts["quorvane-jor"],
        kernels={"hash": catalogue.parts["quorvane-jor"].kernels["hash"]},
    )
    filled = fill_missing(
        replace(catalogue, parts={**catalogue.parts, "quorvane-jor": lone}), product
    )
    assert "quorvane-jor" not in {t.part for t in filled.estimates}
    assert "filter" not in filled.parts["quorvane-jor"].kernels


def test_nothing_missing_nothing_changed(frost: tuple[Catalogue, Product]) -> None:
    catalogue, product = frost
    complete = catalogue.only(["quorvane-jor", "tessimur-rud"])
    assert fill_missing(complete, product) == complete


@pytest.mark.parametrize(("left", "enough"), [(1, False), (2, True)])
def test_two_kernels_tell_a_part_s_own_pace(left: int, enough: bool) -> None:
    """One alone says as much of the kernel as of the part."""
    rng = np.random.default_rng(4)
    table = rng.normal(size=8)[:, None] + rng.normal(size=5)[None, :]
    table += rng.normal(0, 0.1, table.shape)
    table[3, left:] = np.nan
    assert _Fit(table, STRESS).may(3, 4) is enough


def test_another_clock_goes_by_the_median_of_the_part_s_own_ratios(
    frost: tuple[Catalogue, Product],
) -> None:
    """Kernel by kernel, slow over fast; the median of an odd number of them is one of them."""
    part = frost[0].parts["quorvane-jor"]
    made = _figures(part, [(0.0, 0.1), (0.0, 0.1)], [0.1, 0.1])
    for what in ("time", "current"):
        ratios = [
            getattr(by["slow"], what).nominal / getattr(by["fast"], what).nominal
            for by in part.kernels.values()
            if "slow" in by and "fast" in by
        ]
        ratio = getattr(made["slow"], what).nominal / getattr(made["fast"], what).nominal
        assert ratio == pytest.approx(float(np.exp(np.median(np.log(ratios)))), rel=1e-9)
        assert abs(np.exp(np.mean(np.log(ratios))) / ratio - 1) > 1e-4


@pytest.mark.parametrize(("kernels", "told"), [(2, False), (3, True), (4, True)])
def test_an_entry_is_left_out_where_two_of_its_part_remain(kernels: int, told: bool) -> None:
    table = np.random.default_rng(6).normal(size=(6, kernels))
    fit = _Fit(table, STRESS[:kernels])
    assert np.isfinite(fit.errors).all() == np.isfinite(fit.errors).any() == told


def test_misses_are_freed_of_their_leverage() -> None:
    """An entry of a whole table of P parts and K kernels has the leverage (P + K - 1)/(P K), and
    is missed by 1/(1 - h) as much where it is left out (D. M. Allen, Technometrics 16 (1974) 125,
    from memory)."""
    table = np.random.default_rng(6).normal(size=(6, 3))
    rms, scaled, counts = _Fit(table, STRESS[:3])._left_out()
    assert counts.tolist() == [6, 6, 6]
    assert scaled == pytest.approx(rms**2 * (1 - 8 / 18), rel=1e-9)


def test_variances_are_drawn_toward_a_common_one_as_published() -> None:
    """G. K. Smyth, "Linear models and empirical Bayes methods for assessing differential
    expression", Stat. Appl. Genet. Mol. Biol. 3 (2004), 6.2, the trigamma function solved by a
    library."""
    scaled = np.array([0.01, 0.3, 0.05, 1.2, 0.02, 0.6])
    counts = np.array([10.0, 12.0, 8.0, 10.0, 12.0, 3.0])
    left = 50.0
    own = left * counts / counts.sum()
    e = np.log(scaled) - special.digamma(own / 2) + np.log(own / 2)
    beyond = e.var(ddof=1) - special.polygamma(1, own / 2).mean()
    prior = 2 * brentq(lambda x: special.polygamma(1, x) - beyond, 1e-3, 1e3)
    common = np.exp(e.mean() + special.digamma(prior / 2) - np.log(prior / 2))
    assert 0.5 < prior < left
    spread, freedom = _moderated(scaled, counts, left)
    expected = (prior * common + own * scaled) / (prior + own)
    assert spread**2 == pytest.approx(expected, rel=1e-6)
    assert freedom == pytest.approx(np.minimum(prior + own, left), rel=1e-6)
    # kernels that are alike as far as so few tell share what all miss by
    spread, freedom = _moderated(np.full(6, 0.04), counts, left)
    assert spread == pytest.approx(np.full(6, 0.2), rel=1e-12)
    assert freedom == pytest.approx(np.full(6, left), rel=1e-12)


def test_parts_kernels_and_a_level_are_taken_off_what_is_free(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A two-way table of p rows and k columns leaves (p - 1)(k - 1) (any book on the analysis of
    variance), one less for each entry that is not known, and no fewer than one."""
    asked: list[float] = []

    def told(scaled: np.ndarray, counts: np.ndarray, left: float) -> tuple[np.ndarray, np.ndarray]:
        asked.append(left)
        return scaled, counts

    monkeypatch.setattr(missing, "_moderated", told)
    table = np.random.default_rng(7).normal(size=(8, 5))
    for gone in (0, 3):
        table[:gone, 4] = np.nan
        assert _Fit(table, STRESS).moderated is not None
    few = np.full((8, 5), np.nan)
    few[0], few[:, 0] = 0.0, 0.0
    assert _Fit(few, STRESS).moderated is not None
    assert asked == [7 * 4, 7 * 4 - 3, 1.0]
