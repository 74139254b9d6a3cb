"""The report's own content: builds under any weights, breakdowns, curves, inputs, digests."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from advisor.catalogue.shipped import load
from advisor.decide.cautions import GENERAL
from advisor.present.html.page import html_page
from advisor.present.markdown import markdown
from advisor.studies.outlook import outlook
from advisor.studies.report import OfferedBuild, Report, report
from advisor.studies.shortlist import shortlist
from advisor.studies.since import digests
from tests.present.pages import DAY, MOSTLY, PRODUCTS, made
from tests.present.ranking import weighted
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

DIGITS = 9


def ranked(found: Report, weights: Sequence[float]) -> list[tuple[str, float]]:
    """The rule of the page, written again: each part by its best build, ties by current and id."""
    shares = np.array(weights) / sum(weights)

    def key(build: OfferedBuild) -> tuple[float, float, str]:
        return (-round(100 * float(shares @ build.worth), DIGITS), build.battery_a, build.name)

    best = [(min(map(key, part.builds)), part.part) for part in found.parts]
    best.sort(key=lambda row: (*row[0][:2], row[1]))
    return [(part, -score) for (score, _, _), part in best]


@pytest.mark.parametrize("name", mostly_slow(PRODUCTS, 3))
def test_builds_kept_are_enough_for_any_weights(name: str) -> None:
    found = made(name)
    count = len(found.criteria)
    random = np.random.default_rng(3)
    for weights in [*np.eye(count), *random.dirichlet(np.full(count, 0.5), 5)]:
        shown, whole = ranked(found, weights.tolist()), weighted(found, weights.tolist())
        # a build may be a twentieth of a point short of the best one, and parts so near may swap
        assert dict(shown) == pytest.approx(dict(whole), abs=0.05)
        scores = dict(whole)
        assert all(
            scores[mine] == pytest.approx(scores[other], abs=0.1)
            for (mine, _), (other, _) in zip(shown, whole, strict=True)
        )


def test_builds_that_no_weights_choose_are_left_out() -> None:
    found = made("frost-post")
    kept = sum(len(part.builds) for part in found.parts)
    assert kept < sum(len(c.builds) for c in found.shortlist.evaluation.candidates) / 2
    for part in found.parts:
        for build in part.builds:
            others = [b for b in part.builds if b is not build]
            beaten = [b for b in others if all(np.array(b.worth) >= np.array(build.worth))]
            assert all((b.battery_a, b.name) > (build.battery_a, build.name) for b in beaten)


@pytest.mark.parametrize("name", MOSTLY)
def test_breakdowns_add_up(name: str) -> None:
    for part in made(name).parts:
        for build in part.builds:
            assert sum(c.share for c in build.current) == pytest.approx(1.0)
            amounts = [m.amount for m in build.money]
            assert None not in amounts
            assert sum(a for a in amounts if a is not None) == pytest.approx(build.lifetime)
            names = [m.item for m in build.money]
            assert len(set(names)) == len(names)
            assert names[0] == "the part itself"


def test_warns_of_every_pack_that_weights_may_choose() -> None:
    """A cell that another weight brings up has its cautions on the page from the start."""
    catalogue, product = load("frost-post")
    found = report(catalogue.only(["quorvane-sij"]), product, draws=0)
    cells = {build.build.cell for part in found.parts for build in part.builds}
    own = {part.build.cell for part in found.shortlist.ranking}
    assert cells > own
    told = each(found.cautions)
    for cell in cells:
        for text in catalogue.cells[cell].cautions:
            assert (cell, text) in told
    assert each(found.shortlist.cautions) <= told
    assert found.cautions[-1] == GENERAL


def each(cautions: Sequence[str]) -> set[tuple[str, str]]:
    """(what it is of, the caution) of cautions that are told once for several."""
    parted = [text.partition(": ") for text in cautions if text != GENERAL]
    return {(name, text) for names, _, text in parted for name in names.split(", ")}


@pytest.mark.slow
def test_curves_are_those_of_the_outlook_at_their_places() -> None:
    """Coarser, not other: each place's figures and the leaders' places."""
    inputs = load("barrel-tag")
    short = made("barrel-tag").outlook
    assert short is not None
    full = outlook(*inputs, points=11, draws=60)
    for one, other in zip(short.levers, full.levers, strict=True):
        whole = {c.part: {p.x: p for p in c.points} for c in other.curves}
        for curve in one.curves:
            for p in curve.points:
                twin = whole[curve.part][p.x]
                mine, other_life = p.battery_life_s, twin.battery_life_s
                assert (mine is None) == (other_life is None)
                if mine is not None and other_life is not None:
                    assert mine.nominal == pytest.approx(other_life.nominal, rel=1e-12)
                    assert mine.p05 == pytest.approx(other_life.p05, rel=1e-12)
                    assert p.lifetime_cost == pytest.approx(twin.lifetime_cost, rel=1e-12)
        for crossing, exact in zip(one.crossings, other.crossings, strict=True):
            assert (crossing.before, crossing.to) == (exact.before, exact.to)
            assert crossing.x == pytest.approx(exact.x, rel=0.11)


def test_a_curve_breaks_where_its_build_is_another() -> None:
    short = made("frost-post").outlook
    assert short is not None
    points = [p for one in short.levers for c in one.curves for p in c.points]
    assert any(p.joined for p in points)
    assert any(not p.joined for p in points)
    for one in short.levers:
        for curve in one.curves:
            assert not curve.points[0].joined
            for before, after in pairwise(curve.points):
                if after.joined:
                    assert before.battery_life_s is not None
                    assert after.battery_life_s is not None


def test_inputs_are_all_there_with_their_digests() -> None:
    catalogue, product = load("barrel-tag")
    found = made("barrel-tag")
    assert sorted(f.id for f in found.inputs) == sorted(catalogue.documents)
    assert found.digests == digests(catalogue, product)
    part = next(f for f in found.inputs if f.id == "quorvane-tib")
    assert part.invented
    assert "bench" in part.evidence.values()
    with_u = [f for f in part.figures if "(" in f.text or "±" in f.text]
    assert with_u, "figures stand with their uncertainty, as written"


@pytest.mark.slow
def test_same_inputs_same_bytes() -> None:
    inputs = load("barrel-tag")
    one = report(*inputs, draws=600, date=DAY)
    two = report(*inputs, draws=600, date=DAY, jobs=2)
    assert html_page(one) == html_page(two)
    assert markdown(one) == markdown(two)


def test_shortlist_inside_is_the_shortlist() -> None:
    catalogue, product = load("frost-post")
    assert made("frost-post").shortlist == shortlist(catalogue, product, draws=60)
