"""A scan carries builds along levers: right where they stand, nothing where they do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide import scan as scanning
from advisor.decide.drawing import draw_builds
from advisor.decide.evaluate import evaluate
from advisor.decide.scan import scan
from advisor.decide.value import criteria_of
from tests.decide.hand import pair
from tests.decide.random_catalogues import several, unsure

pytestmark = pytest.mark.once


@pytest.mark.parametrize("draws", [0, 40])
@pytest.mark.parametrize("product", ["barrel-tag", "frost-post", "valve-driver"])
def test_a_scan_starts_at_what_stands(product: str, draws: int) -> None:
    """At the stated value of a lever the scan gives the decision's own scores."""
    catalogue, chosen = load(product)
    base = evaluate(catalogue, chosen, draws)
    builds = [build for candidate in base.candidates[:4] for build in candidate.builds[:6]]
    if draws:
        drawn = draw_builds(catalogue, chosen, builds, base.criteria, draws, 1)
        wanted = [d.expected for d in drawn]
    else:
        wanted = [build.score for build in builds]
    names = ("rail", "cost.engineer-rate", "service-life")
    for dotted in names:
        handle = lever(catalogue, chosen, f"{product}:{dotted}")
        assert handle.now is not None
        cases = [(handle.path, handle.now)] * 3
        found, taken = scan(catalogue, chosen, builds, [base.criteria], cases, draws, 1)
        scores = np.broadcast_to(np.array(wanted)[:, None], found.shape)
        stands = np.isfinite(found)
        assert stands.all(axis=1).sum() >= len(builds) / 2
        np.testing.assert_allclose(found[stands], scores[stands], rtol=1e-12)
        assert taken == {handle.path}
    units = lever(catalogue, chosen, f"{product}:cost.units").path
    assert scan(catalogue, chosen, builds, [base.criteria], [(units, 9.0)], draws, 1)[1] == set()


@pytest.mark.parametrize("seed", range(3))
def test_a_scan_is_the_draws_with_the_value_set(seed: int, tmp_path: Path) -> None:
    """Each case is what the draws give with the lever's text set: the spread goes with it."""
    inputs = unsure(several(seed), seed).load(tmp_path)
    base = evaluate(*inputs, 50)
    builds = [c.best for c in base.candidates]
    assert builds
    moved = 0
    paths = ["probe:workload.sample.every", "probe:environment.20 degC.at", "probe:rail"]
    for build in builds:
        part = inputs[0].parts[build.part]
        point = next(iter(part.operating_points))
        paths.append(f"{build.part}:operating-points.{point}.idle-current")
    for path in paths:
        handle = lever(*inputs, path)
        assert handle.now is not None
        places = [0.9 * handle.now, 1.1 * handle.now]
        cases = [(handle.path, x) for x in places]
        found, _ = scan(*inputs, builds, [base.criteria], cases, 50, 1)
        for n, x in enumerate(places):
            there = with_changes(*inputs, [handle.assignment(x)])
            drawn = draw_builds(*there, builds, base.criteria, 50, 1)
            for row, each in zip(found, drawn, strict=True):
                fits = each.fit >= inputs[1].needs.confidence.nominal
                # twelve digits of the value go behind --set
                assert row[n] == (pytest.approx(each.expected, rel=1e-6) if fits else -np.inf)
                moved += 1
    assert moved >= 8


def test_passes_and_memory_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue, product = load("barrel-tag")
    base = evaluate(catalogue, product, 100)
    builds = [candidate.best for candidate in base.candidates[:4]]
    handle = lever(catalogue, product, "barrel-tag:standing-loads.level-strip.current")
    assert handle.now is not None
    cases = [(handle.path, handle.now * x) for x in (0.5, 1.0, 2.0, 4.0)]
    memo: dict[object, object] = {}
    whole, _ = scan(catalogue, product, builds, [base.criteria], cases, 100, 1, memo)  # type: ignore[arg-type]
    few, _ = scan(catalogue, product, builds, [base.criteria], cases, 30, 1, memo)  # type: ignore[arg-type]
    monkeypatch.setattr(scanning, "LONG", 100)
    again, _ = scan(catalogue, product, builds, [base.criteria], cases, 100, 1)
    alone, _ = scan(catalogue, product, builds, [base.criteria], cases, 30, 1)
    np.testing.assert_array_equal(whole, again)
    # the first draws of more are those of fewer
    np.testing.assert_array_equal(few, alone)


@pytest.mark.parametrize("count", [2, 3])
def test_cases_are_weighed_by_criteria_of_their_own(count: int) -> None:
    """An anchor that is the lever: each case as if it were scanned alone."""
    catalogue, product = load("barrel-tag")
    base = evaluate(catalogue, product, 40)
    builds = [candidate.best for candidate in base.candidates[:4]]
    handle = lever(catalogue, product, "barrel-tag:priorities.battery-life.good")
    assert handle.now is not None
    places = [handle.now * x for x in (0.5, 1.3, 2.0)[:count]]
    cases = [(handle.path, x) for x in places]
    there = [with_changes(catalogue, product, [handle.assignment(x)]) for x in places]
    weighed = [criteria_of(*inputs) for inputs in there]
    found, _ = scan(catalogue, product, builds, weighed, cases, 40, 1)
    each = [
        scan(catalogue, product, builds, [one], [case], 40, 1)[0][:, 0]
        for one, case in zip(weighed, cases, strict=True)
    ]
    np.testing.assert_allclose(found, np.stack(each, axis=1), rtol=1e-12)
    first, _ = scan(catalogue, product, builds, weighed[:1], cases, 40, 1)
    assert (np.abs(first - found)[:, 1:] > 0.1).any(axis=0).all()


def test_a_part_that_is_too_busy_has_no_points(tmp_path: Path) -> None:
    """An event takes 0.1 ms to wake and 3 x 2 ms of work: 537 % busy at one every 1.136 ms."""
    catalogue, product = pair(tmp_path, {}, {})
    base = evaluate(catalogue, product)
    best = base.candidates[0].best
    event = 6.1e-3
    # one that idles between events need not wake, so it is too busy only below 6.0 ms
    places = np.array([10.0, event * 1.001, event * 0.98, event / 5.37])
    path = lever(catalogue, product, "plain:workload.sample.every").path
    cases = [(path, x) for x in places.tolist()]
    found, _ = scan(catalogue, product, [best], [base.criteria], cases, 0, 1)
    assert found[0, 0] == pytest.approx(best.score, rel=1e-12)
    assert np.isfinite(found[0]).tolist() == [True, True, False, False]
    for x, stands in zip(places, np.isfinite(found[0]), strict=True):
        there = evaluate(*with_changes(catalogue, product, [f"{path}={x:.12g}s"]))
        assert bool(there.candidates) == stands


def test_a_scan_gives_a_row_a_build() -> None:
    catalogue, product = load("barrel-tag")
    base = evaluate(catalogue, product)
    builds = [build for candidate in base.candidates[:3] for build in candidate.builds]
    handle = lever(catalogue, product, "barrel-tag:workload.sample.every")
    assert handle.now is not None
    cases = [(handle.path, handle.now * share) for share in (0.5, 1.0, 2.0)]
    whole, _ = scan(catalogue, product, builds, [base.criteria], cases, 0, 1)
    # whatever else is carried along, in whatever order
    for n, build in reversed(list(enumerate(builds))):
        alone, _ = scan(catalogue, product, [build], [base.criteria], cases, 0, 1)
        np.testing.assert_allclose(alone[0], whole[n], rtol=1e-12)
