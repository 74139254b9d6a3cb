"""The plans at one level of the cut-off, on figures small enough to follow by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from advisor.model.cheapest import _turns, crossed, plans_at
from advisor.model.reach import ALL


@pytest.mark.parametrize(
    ("charge_a", "empty", "ends"),
    [
        # 6 W s against 2.4 C: alike at 2.5 V, so neither is the cheaper from 3 V down to 2 V
        (2.4, 2.0, [2.0, 3.0]),
        # alike at 1.5 V only, where this pack never is
        (4.0, 2.0, [2.9, 2.9]),
        # a pack that gives next to no voltage in the end is looked at down to a fifth
        (2.4, 0.01, [0.58, 3.0]),
    ],
)
def test_charges_are_compared_at_voltages_that_the_pack_has(
    charge_a: float, empty: float, ends: list[float]
) -> None:
    options = SimpleNamespace(
        charge_a=np.array([[[charge_a, 0.0]]]), charge_w=np.array([[[0.0, 6.0]]])
    )
    feed = SimpleNamespace(
        pack=SimpleNamespace(open_v=np.array([[3.0], [empty]])), nominal_v=np.array([2.9])
    )
    rows: Any = SimpleNamespace(
        feeds=(feed,),
        tasks=(options,),
        direct=np.ones(1, bool),
        nominal_v=np.array([2.9]),
        fresh_v=np.array([3.0]),
        empty_v=np.array([empty]),
    )
    crosses = crossed(rows, [np.ones((1, 1, 2), dtype=bool)])
    turns = _turns(cast(Any, feed)) if crosses[0] else np.array([2.9])
    assert crosses.tolist() == [ends != [2.9, 2.9]]
    assert [turns.min(), turns.max()] == pytest.approx(ends, rel=1e-12)


def level(**changed: Any) -> Any:
    """One part on two feeds, with three options of a task that cost 1 C, 6 W s and 2.4 C; the
    first reaches less deep."""
    feed = SimpleNamespace(
        pack=SimpleNamespace(open_v=np.array([[3.0], [2.0]]), reservoir=None),
        nominal_v=np.array([2.9]),
    )
    task = SimpleNamespace(
        charge_a=np.array([[[1.0, 0.0, 2.4]]] * 2),
        charge_w=np.array([[[0.0, 6.0, 0.0]]] * 2),
        length=np.ones((2, 1, 3)),
        peak=np.array([[[3.0, 2.0, 1.0]]] * 2),
    )
    one = SimpleNamespace(
        depth=np.array([[[0.3, ALL, ALL]]] * 2),
        index=(np.empty(0, np.intp),) * 3,
        pulse=np.empty(0),
        peak=None,
    )
    for name, value in changed.items():
        setattr(one if hasattr(one, name) else task, name, value)
    rows = SimpleNamespace(
        feeds=(feed, SimpleNamespace(**vars(feed))),
        parts=1,
        tasks=(task,),
        direct=np.ones(2, bool),
        nominal_v=np.full(2, 2.9),
        fresh_v=np.full(2, 3.0),
        empty_v=np.full(2, 2.0),
    )
    every = np.ones((2, 1, 3), bool)
    return SimpleNamespace(
        rows=rows, here=every[:, :, 0], inside=(every,), reaches=(one,), place=np.array([0, 1])
    )


def plans_of(made: Any) -> list[list[int]]:
    """Options at a level, feed by feed."""
    pace = np.array([100.0])
    product: Any = SimpleNamespace(
        tasks=[SimpleNamespace(period=pace, finish_within=None)],
        paces=((pace,),),
        times=(),
        waits=False,
    )
    rows = plans_at(made, product).tolist()
    return [sorted({choice for row, _, choice in rows if row == f}) for f in (0, 1)]


def test_further_voltages_are_looked_at_where_the_cheapest_of_all_options_changes_alone() -> None:
    """Of the other two the 6 W s are cheaper at 3 V, the 2.4 C at 2 V. Where 1 C is cheaper than
    both at either end, that is left at the nominal voltage; another feed changes nothing."""
    assert plans_of(level()) == [[0, 1], [0, 1]]
    dear = np.array([[[5.0, 0.0, 2.4]], [[1.0, 0.0, 2.4]]])
    assert plans_of(level(charge_a=dear)) == [[1, 2], [0, 1]]
    assert plans_of(level(charge_a=dear[::-1])) == [[0, 1], [1, 2]]


def test_the_least_peak_is_looked_at_where_a_reservoir_bears_a_pulse_limit() -> None:
    """An option of the second feed was asked about; what the battery model found takes the place
    of the current at the rail."""
    peak = np.array([[[3.0, 2.0, 1.0]], [[0.5, 2.0, 1.0]]])
    asked = {"index": (np.array([1]), np.array([0]), np.array([0])), "peak": peak}
    made = level(**asked, pulse=np.array([9.0]), depth=np.full((2, 1, 3), ALL))
    assert plans_of(made) == [[0], [0]]
    peak[1, 0, 0] = 3.0
    assert plans_of(made) == [[0], [0]]
    for feed in made.rows.feeds:
        feed.pack = SimpleNamespace(**{**vars(feed.pack), "reservoir": "some"})
    assert plans_of(made) == [[0], [0, 2]]
    made.reaches[0].pulse = np.array([np.inf])
    assert plans_of(made) == [[0], [0]]
