"""What rules the plans of a part in a sleep state on a feed out; see `limits`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.screens import DARK, TAKES, Case, Limit
from advisor.model.plan import Plans
from advisor.model.tables import Stack
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Planned:
    """A part and a sleep state that have no plan: the subject of the limits at `option`."""

    plan: Plans
    table: Stack
    product: ProductFigures
    part: int
    sleep: int

    def best(self, k: int) -> float | None:
        """Length of the shortest event of task `k` by any option, s; None without one."""
        there = self.table.valid[k][self.part]
        return (
            float(self.plan.length[k][self.part, self.sleep][there].min()) if there.any() else None
        )

    def misses(self, k: int) -> bool:
        """Whether no option of task `k` is quick enough."""
        limit, best = self.product.tasks[k].finish_within, self.best(k)
        return limit is not None and best is not None and best > float(limit[0])


def _finish(at: Planned) -> Iterator[Case]:
    for k, task in enumerate(at.product.tasks):
        best = at.best(k)
        if at.plan.late[at.part, at.sleep, k] and at.misses(k) and task.finish_within is not None:
            need = f"workload.{task.name}.finish-within"
            most = float(task.finish_within[0])
            yield Case(need=need, required=most, offered=best, beyond=TAKES)


def _fed(at: Planned) -> Iterator[Case]:
    for k, task in enumerate(at.product.tasks):
        if at.plan.late[at.part, at.sleep, k] and not at.misses(k):
            need = f"workload.{task.name} at an operating point that this supply can feed"
            # no figure of this supply comes near
            yield Case(need=need, required="one", offered="none", broken=True, miss=np.inf)


def _time(at: Planned) -> Iterator[Case]:
    if not at.plan.late[at.part, at.sleep].any():
        busy = float(at.plan.busy[at.part, at.sleep])
        yield Case(need="busy share of the time", required=busy, offered=1.0)


OPTION_LIMITS = (
    Limit(
        name="finish-within",
        level="option",
        title="an option finishes the task in time",
        dimension="time",
        least=False,
        cases=_finish,
        apart_from=DARK,
    ),
    Limit(
        name="fed",
        level="option",
        title="the supply can feed an operating point of the task",
        dimension="",
        cases=_fed,
        apart_from=DARK,
    ),
    Limit(
        name="busy",
        level="option",
        title="the tasks together leave the core time",
        dimension="share",
        cases=_time,
        apart_from=DARK,
    ),
)
