"""Figures of money move nothing that builds carry: their scans are the whole pass's."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.catalogue.levers import lever
from advisor.catalogue.shipped import load
from advisor.decide.bills import Purses, of_money
from advisor.decide.evaluate import evaluate
from advisor.decide.leading import Ask, Deciding
from advisor.decide.marches import Marches
from advisor.decide.scan import scan, scan_bills
from advisor.faults import FaultError
from advisor.figures import scalars

pytestmark = pytest.mark.once


@pytest.mark.parametrize(
    ("product", "draws"),
    [("barrel-tag", 0), ("barrel-tag", 24), ("frost-post", 24), ("crate-call", 8)],
)
def test_bills_are_the_whole_pass(product: str, draws: int) -> None:
    """Every figure of money of the product, of a part, of its cell and converter, alone and beside
    others: the same points, builds out at the same places, and the same figures taken."""
    catalogue, chosen = load(product)
    base = evaluate(catalogue, chosen, draws)
    builds = [build for candidate in base.candidates[:3] for build in candidate.builds[:5]]
    feed = builds[0].assessed.feed
    documents = {product, builds[0].part, *(r.converter for r, _ in feed.bought)}
    documents |= {name for build in builds for name in build.addons}
    documents |= {name for name in [feed.option.cell] if name is not None}
    cases = []
    for name in sorted(documents):
        for path, _ in scalars(name, catalogue.documents[name].root):
            try:
                handle = lever(catalogue, chosen, str(path))
            except FaultError:
                continue
            if handle.now and of_money(handle, catalogue, chosen):
                cases += [(handle.path, handle.now * share) for share in (0.2, 1.7, 40.0)]
    assert len({path.document for path, _ in cases}) >= 3
    purses = Purses(catalogue, chosen, base.criteria, 1, {}, Marches())
    purses.of(builds[::2], draws)
    found, taken = scan_bills(catalogue, chosen, builds, [base.criteria], cases, draws, purses)
    whole, also = scan(catalogue, chosen, builds, [base.criteria], cases, draws, 1)
    assert taken == also
    assert len(taken) > 10
    np.testing.assert_allclose(found, whole, rtol=1e-12)
    stands = np.isfinite(found).any(axis=1)
    assert stands.sum() > len(builds) / 2
    assert (np.ptp(np.where(np.isfinite(found), found, 0.0), axis=1)[stands] > 1).all()


def test_what_moves_a_current_is_no_figure_of_money() -> None:
    catalogue, product = load("frost-post")
    told = {
        "frost-post:cost.units": True,
        "frost-post:service-life": True,
        "frost-post:supply-options.reservoir.price": True,
        "frost-post:supply-options.reservoir.leakage": False,
        "frost-post:rail": False,
        "frost-post:workload.sample.every": False,
        "quorvane-jor:price.breaks.1000": True,
        "quorvane-jor:toolchain.setup.high": True,
        "quorvane-jor:supply.min": False,
        "buck-a:price.breaks.1000": True,
    }
    for path, money in told.items():
        assert of_money(lever(catalogue, product, path), catalogue, product) is money, path


def test_a_limit_on_the_units_cost_is_held_at_each_price() -> None:
    """A part dearer than the whole unit may be has no points."""
    catalogue, product = load("barrel-tag")
    base = evaluate(catalogue, product)
    limit = product.cost.unit_cost_limit
    assert limit is not None
    build = base.candidates[0].best
    price = catalogue.parts[build.part].price
    assert price is not None
    assert price.breaks is not None
    paths = [f"{build.part}:price.breaks.{pieces}" for pieces in price.breaks]
    purses = Purses(catalogue, product, base.criteria, 1, {}, Marches())
    cases = [(lever(catalogue, product, p).path, 2 * limit.nominal) for p in paths]
    found, _ = scan_bills(catalogue, product, [build], [base.criteria], cases, 0, purses)
    # of the breaks at least the one that is bought at
    assert np.isneginf(found).any()
    assert np.isfinite(found).any() or len(paths) == 1


@pytest.mark.parametrize("name", ["barrel-tag", "frost-post"])
def test_a_look_along_a_figure_of_money_is_the_whole_one(name: str) -> None:
    """Builds that only their cost ruled out come in where a price falls, or the limit rises."""
    catalogue, product = load(name)
    base = evaluate(catalogue, product, 50)
    names = tuple(sorted(c.part.part for c in base.candidates[:4]))
    best = base.candidates[0].best
    cell = best.assessed.feed.option.cell
    here, plain = (Deciding(catalogue, product, base, names) for _ in range(2))
    here.prepare_looks()
    fell = 0
    paths = [
        f"{name}:cost.unit-cost-limit",
        f"{name}:cost.units",
        f"{name}:service-life",
        f"{name}:priorities.purchase-cost.poor",
        f"{cell}:price.multiple",
        *(f"{cell}:price.breaks.{n}" for n in (1000, 10000)),
        *(f"{best.part}:price.breaks.{n}" for n in (1000, 10000)),
        f"{best.part}:toolchain.setup",
    ]
    for path in paths:
        try:
            handle = lever(catalogue, product, path)
        except FaultError:
            continue
        if not handle.now:
            continue
        for share in (0.1, 4.0):
            x = float(round(share * handle.now)) if handle.whole else share * handle.now
            ask = Ask(handle, x, names, stated=True)
            (found,), (whole,) = here.decided([ask]), plain.decided([ask])
            assert found.standing.scores == pytest.approx(whole.standing.scores, rel=1e-9), path
            assert [b.name for b in found.builds] == [b.name for b in whole.builds], path
            fell += len(whole.standing.scores) < len(names)
    assert fell > 0
