"""Intervals of estimated kernels over made-up catalogues of which the truth is known.

No source: the catalogues are drawn here, in ways that the estimate does not assume (kernels of
unequal noise, parts of unequal noise, heavy tails, leanings toward a stress).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import KernelFigure
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide.missing import fill_missing
from advisor.model.draws import sample
from advisor.quantities import exact
from tests.shares import mostly_slow

pytestmark = pytest.mark.once

NAMES = ("filter", "crc", "transform", "hash", "matrix", "cipher", "sort", "pack")
STRESSES = ("float", "integer", "float", "integer", "float", "integer", "memory", "memory")
POINTS = ("fast", "slow")
SORTS = ("plain", "leaning", "kernels differ", "parts differ", "heavy tails")


def truth(rng: np.random.Generator, parts: int, kernels: int, sort: str) -> np.ndarray:
    """Logarithms of what each kernel takes, (P, K): parts and kernels by factors, and noise."""
    table = rng.normal(0, 1, (parts, 1)) + rng.normal(0, 1.5, kernels)
    noise = np.full((parts, kernels), 0.15)
    if sort == "kernels differ":
        noise = noise * np.exp(rng.normal(0, 0.5, kernels))
    if sort == "parts differ":
        noise = noise * np.exp(rng.normal(0, 0.3, (parts, 1)))
    if sort == "leaning":
        lean = {s: rng.normal(0, 0.3, parts) for s in set(STRESSES)}
        table += np.stack([lean[s] for s in STRESSES[:kernels]], axis=1)
    drawn = (
        rng.standard_t(4, noise.shape) if sort == "heavy tails" else rng.normal(size=noise.shape)
    )
    return table + noise * drawn


def made_up(
    shipped: Catalogue, tables: dict[str, np.ndarray], slower: dict[str, np.ndarray]
) -> Catalogue:
    """A catalogue of parts with two clocks; a figure that is NaN is not stated."""
    template = shipped.parts["quorvane-jor"]
    fast, slow = (template.operating_points[p] for p in POINTS)
    parts = {}
    for p in range(len(tables["time"])):
        kernels = {
            NAMES[k]: {
                point: KernelFigure(
                    **{  # type: ignore[arg-type]
                        what: exact(
                            float(
                                np.exp(tables[what][p, k] + (point == "slow") * slower[what][p, k])
                            ),
                            what,
                        )
                        for what in tables
                    },
                    supply=fast.supply,
                    evidence=None,
                )
                for point in POINTS
            }
            for k in range(tables["time"].shape[1])
            if np.isfinite(tables["time"][p, k])
        }
        points = {"fast": fast, "slow": slow}
        parts[f"p{p}"] = replace(template, part=f"p{p}", kernels=kernels, operating_points=points)
    some = next(iter(shipped.kernels.values()))
    stress = {n: replace(some, stresses=s) for n, s in zip(NAMES, STRESSES, strict=True)}
    return replace(shipped, parts=parts, kernels=stress)


def held(
    inputs: tuple[Catalogue, Product], parts: int, kernels: int, gone: float, sort: str, seed: int
) -> list[bool]:
    """Whether 5 to 95 % of the draws of each estimated figure hold its truth."""
    shipped, product = inputs
    rng = np.random.default_rng(seed)
    true = {what: truth(rng, parts, kernels, sort) for what in ("time", "current")}
    # what a slower clock does is a part's own, and nearly the same for all its kernels
    slower = {
        what: rng.normal(1.0, 0.2, (parts, 1)) + rng.normal(0, 0.05, (parts, kernels))
        for what in true
    }
    hidden = rng.random((parts, kernels)) < gone
    catalogue = made_up(
        shipped, {what: np.where(hidden, np.nan, t) for what, t in true.items()}, slower
    )
    count = next(iter(product.workload[0].kernels.values()))
    task = replace(product.workload[0], kernels=dict.fromkeys(NAMES[:kernels], count))
    filled = fill_missing(catalogue, replace(product, workload=(task,)))
    out = []
    for one in filled.estimates:
        p, k = int(one.part[1:]), NAMES.index(one.kernel)
        assert hidden[p, k]
        for point in POINTS:
            for what, table in true.items():
                quantity = getattr(filled.parts[one.part].kernels[one.kernel][point], what)
                low, high = np.quantile(sample(quantity, rng, 1000), [0.05, 0.95])
                there = np.exp(table[p, k] + (point == "slow") * slower[what][p, k])
                out.append(bool(low <= there <= high))
    return out


@pytest.mark.parametrize(
    ("parts", "kernels", "gone", "runs"),
    mostly_slow(
        [(24, 8, 0.2, 4), (6, 4, 0.1, 60), (7, 5, 0.25, 40), (12, 6, 0.1, 20), (12, 6, 0.3, 10)], 5
    ),
)
def test_nine_truths_in_ten_lie_in_the_drawn_interval(
    parts: int, kernels: int, gone: float, runs: int
) -> None:
    inputs = load("frost-post")
    shares = {
        sort: np.mean([h for n in range(runs) for h in held(inputs, parts, kernels, gone, sort, n)])
        for sort in SORTS
    }
    assert 0.87 <= np.mean(list(shares.values())) <= 0.93, shares
    # some hundred figures of few catalogues, 2 % chance each
    assert all(0.83 <= share <= 0.97 for share in shares.values()), shares
