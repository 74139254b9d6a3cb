"""A scan carries builds along a lever: right where they stand, nothing where they do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import evaluate
from advisor.decide.scan import scan
from advisor.faults import FaultError
from tests.decide.hand import pair


@pytest.mark.parametrize("product", ["barrel-tag", "frost-post", "valve-driver"])
def test_a_scan_starts_at_what_stands(product: str) -> None:
    """At the stated value of a lever the scan gives the decision's own scores."""
    catalogue, chosen = load(product)
    base = evaluate(catalogue, chosen)
    builds = [build for candidate in base.candidates[:4] for build in candidate.builds]
    names = ("workload.report.loads.radio.current", "rail", "cost.engineer-rate")
    told = 0
    for dotted in names:
        try:
            handle = lever(catalogue, chosen, f"{product}:{dotted}")
        except FaultError:
            continue
        if handle.now is None:
            continue
        places = np.full(3, handle.now)
        found = scan(catalogue, chosen, builds, base.criteria, handle.path, places)
        assert found is not None
        scores = np.array([build.score for build in builds])[:, None]
        np.testing.assert_allclose(found, np.broadcast_to(scores, found.shape), rtol=1e-12)
        told += 1
    assert told >= 2
    units = lever(catalogue, chosen, f"{product}:cost.units").path
    assert scan(catalogue, chosen, builds, base.criteria, units, places) is None


def test_a_part_that_is_too_busy_has_no_points(tmp_path: Path) -> None:
    """An event takes 0.1 ms to wake and 3 x 2 ms of work: 537 % busy at one every 1.136 ms."""
    catalogue, product = pair(tmp_path, {}, {})
    base = evaluate(catalogue, product)
    best = base.candidates[0].best
    event = 6.1e-3
    # one that idles between events need not wake, so it is too busy only below 6.0 ms
    places = np.array([10.0, event * 1.001, event * 0.98, event / 5.37])
    path = lever(catalogue, product, "plain:workload.sample.every").path
    found = scan(catalogue, product, [best], base.criteria, path, places)
    assert found is not None
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
    places = handle.now * np.array([0.5, 1.0, 2.0])
    whole = scan(catalogue, product, builds, base.criteria, handle.path, places)
    assert whole is not None
    # whatever else is carried along, in whatever order
    for n, build in reversed(list(enumerate(builds))):
        alone = scan(catalogue, product, [build], base.criteria, handle.path, places)
        assert alone is not None
        np.testing.assert_allclose(alone[0], whole[n], rtol=1e-12)
