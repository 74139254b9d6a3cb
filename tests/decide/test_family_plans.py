"""Plans of families against trying all plans, and what must never happen."""

from __future__ import annotations

import pytest

from advisor.decide.family_plans import solve
from advisor.lp import Status
from tests.decide.small_families import drawn, every_plan, keeps

# the gap at which a search may stop, on either side
NEAR = 3e-6
QUICK = range(12)
REST = range(12, 200)


def against_all_plans(seed: int) -> None:
    family = drawn(seed)
    kept = [p for p in every_plan(family) if keeps(family, p)]
    for objective in ("cost", "score"):
        found = solve(family, objective)
        assert (found.status is Status.INFEASIBLE) == (not kept), seed
        if kept:
            assert found.proven
            best = min(p.cost for p in kept) if objective == "cost" else max(p.score for p in kept)
            assert found.value == pytest.approx(best, rel=NEAR), (seed, objective)
            # what is proven best can be no better than itself, whichever way is better
            assert found.bound == pytest.approx(best, rel=NEAR, abs=1e-9), (seed, objective)


@pytest.mark.parametrize("seed", QUICK)
def test_against_trying_all_plans(seed: int) -> None:
    against_all_plans(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", REST)
def test_against_trying_all_plans_of_many_families(seed: int) -> None:
    against_all_plans(seed)
