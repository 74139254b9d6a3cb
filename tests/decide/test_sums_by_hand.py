"""Small sums of the decision, each against one by hand or by plain Python."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.catalogue.records import ESTIMATED
from advisor.decide.builds import Build
from advisor.decide.hopes import _placed
from advisor.decide.information import CROSSED, _products
from advisor.decide.leading import Deciding
from advisor.decide.missing import _cycles, _same_core

pytestmark = pytest.mark.once


def core(architecture: str | None, float_unit: str | None = None) -> Any:
    return SimpleNamespace(core=SimpleNamespace(architecture=architecture, float_unit=float_unit))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (core("rv32imc"), core("RV32IMC"), True),
        (core("rv32imc"), core("armv7m"), False),
        (core(None), core("armv7m"), False),
        (core("armv7m"), core(None), False),
        (core(None), core(None), False),
        (SimpleNamespace(core=None), core("armv7m"), False),
        (core("armv7m"), SimpleNamespace(core=None), False),
        (core("armv7m", "single"), core("armv7m"), True),
        (core("armv7m", "single"), core("armv7m", "single"), True),
        (core("armv7m", "single"), core("armv7m", "none"), False),
    ],
)
def test_whose_cores_are_the_same(one: Any, other: Any, same: bool) -> None:
    assert _same_core(one, other) is same


def entry(time: float | None = None, cycles: float | None = None, evidence: str = "") -> Any:
    figures = [None if x is None else SimpleNamespace(nominal=x) for x in (time, cycles)]
    return SimpleNamespace(time=figures[0], cycles=figures[1], evidence=evidence)


@pytest.mark.parametrize(
    ("entries", "found"),
    [
        # 2 ms at 4 MHz and 1 ms at 10 MHz: 8,000 and 10,000 cycles, and what is stated is left
        ({"slow": entry(time=2e-3), "fast": entry(time=1e-3, cycles=7.0)}, 9_000.0),
        ({"slow": entry(time=2e-3), "fast": entry(cycles=7.0)}, 8_000.0),
        ({"slow": entry(cycles=5_000.0), "fast": entry(cycles=7_000.0)}, 6_000.0),
        # a time at no known clock tells no cycles, its own statement does
        ({"odd": entry(time=1e-3, cycles=50.0)}, 50.0),
        ({"odd": entry(time=1e-3)}, None),
        # neither do estimates, nor what an engine did
        ({"slow": entry(time=2e-3, evidence=ESTIMATED), "fast": entry(cycles=3.0)}, 3.0),
        ({"fast+aes": entry(time=2e-3), "slow+aes": entry(cycles=3.0)}, None),
        ({}, None),
    ],
)
def test_cycles_are_those_measured_else_those_stated(
    entries: dict[str, Any], found: float | None
) -> None:
    clocks = {"slow": 4e6, "fast": 10e6, "odd": None}
    points = {
        name: SimpleNamespace(clock=None if hz is None else SimpleNamespace(nominal=hz))
        for name, hz in clocks.items()
    }
    part: Any = SimpleNamespace(kernels={"crc": entries}, operating_points=points)
    assert _cycles(part, "crc") == (None if found is None else pytest.approx(found, rel=1e-12))
    assert _cycles(part, "hash") is None


@dataclass(frozen=True)
class Inner:
    far_in: int
    beside: int = 2


@dataclass(frozen=True)
class Outer:
    the_inner: Inner
    table: dict[str, Inner]


def test_a_value_is_placed_behind_its_keys_and_nothing_else_moves() -> None:
    record = Outer(Inner(1), {"a": Inner(5), "b-c": Inner(6)})
    assert _placed(record, ("the-inner", "far-in"), 9) == Outer(Inner(9), record.table)
    found = _placed(record, ("table", "b-c", "far-in"), 9)
    assert found == Outer(Inner(1), {"a": Inner(5), "b-c": Inner(9)})
    assert record.table["b-c"] == Inner(6)


def test_products_are_of_the_figures_that_move_most() -> None:
    """Of 24 figures those 20 whose product with what is ahead is greatest, in their order."""
    random = np.random.default_rng(4)
    z = random.standard_normal((200, 24))
    strength = random.permutation(24) + 1.0
    ahead = np.stack([z @ strength, -z @ strength], axis=1) + 7.0
    found = _products(z, ahead)
    moved = [
        sum(abs(float(z[:, k] @ (ahead[:, r] - ahead[:, r].mean()))) for r in range(2))
        for k in range(24)
    ]
    some = sorted(sorted(range(24), key=lambda k: -cast(float, moved[k]))[:CROSSED])
    columns = [np.ones(200), *z.T, *(z * z).T]
    columns += [z[:, i] * z[:, j] for i, j in combinations(some, 2)]
    np.testing.assert_allclose(found, np.stack(columns, axis=1))


def test_scores_under_another_weight_are_means_by_all_of_them() -> None:
    """Shares of 3, 2 and 5; the second at 1, 4 and 8 where it says 4: doubled at 8."""
    base = SimpleNamespace(
        criteria=[SimpleNamespace(name=name) for name in ("life", "cost", "room")],
        weights=np.array([0.3, 0.2, 0.5]),
    )
    worth = {"one": np.array([0.9, 0.1, 0.4]), "two": np.array([0.2, 1.0, 0.6])}
    deciding = cast(Deciding, SimpleNamespace(base=base, worth=worth))
    lever: Any = SimpleNamespace(path=SimpleNamespace(keys=("priorities", "cost")), now=4.0)
    builds = cast(list[Build], ["one", "nobody", "two"])
    found = Deciding.weighed(deciding, lever, builds, np.array([1.0, 4.0, 8.0]))
    for n, second in enumerate((0.05, 0.2, 0.4)):
        weights = np.array([0.3, second, 0.5])
        for row, name in ((0, "one"), (2, "two")):
            exact = 100 * sum(w * x for w, x in zip(weights, worth[name], strict=True))
            assert found[row, n] == pytest.approx(exact / sum(weights))
    assert (found[1] == -np.inf).all()
