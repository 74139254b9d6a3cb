"""Families to time: 12 products, 200 parts of 12 makers, three breaks each."""

from __future__ import annotations

import random

from advisor.decide.family import Family, Item, Limits, Member, Option, Platform
from advisor.decide.family_model import program
from advisor.decide.family_plans import solve
from advisor.decide.family_search import Ask
from tests.bench.registry import Row, Scale, benchmark, timed, turn_about


def drawn(products: int = 12, parts: int = 200, seed: int = 1, limited: bool = False) -> Family:
    """An invented family; with `limited` every kind of limit is on and may bind."""
    draw = random.Random(seed)
    makers = [f"maker-{k}" for k in range(12)]
    items = []
    platforms = []
    for j in range(parts):
        price = draw.uniform(0.6, 3.5)
        first = draw.choice([1, 1, 10, 100])
        breaks = (
            (first, round(price, 4)),
            (draw.choice([1000, 2500]), round(price * draw.uniform(0.8, 0.93), 4)),
            (draw.choice([10_000, 25_000]), round(price * draw.uniform(0.6, 0.79), 4)),
        )
        items.append(
            Item(
                name=f"part-{j}",
                kind="part",
                breaks=breaks,
                multiple=draw.choice([1, 1, 1, 250]),
                incremental=draw.random() < 0.2,
                stock=draw.choice([0] * 19 + [1500]),
            )
        )
        platforms.append(
            Platform(
                part=f"part-{j}",
                maker=draw.choice(makers),
                setup_h=round(draw.uniform(15, 90), 1),
                toolchain=f"chain-{draw.randrange(40)}",
            )
        )
    for c in range(6):
        price = draw.uniform(0.4, 2.5)
        items.append(
            Item(
                name=f"cell-{c}",
                kind="cell",
                breaks=(
                    (1, round(price, 4)),
                    (5000, round(0.85 * price, 4)),
                    (30_000, round(0.7 * price, 4)),
                ),
            )
        )
    members = []
    for p in range(products):
        units = draw.choice([500, 800, 1200, 2000, 4000, 7500])
        options = []
        for j in range(parts):
            quality = draw.gauss(0, 1)
            cell = draw.randrange(6)
            options.append(
                Option(
                    name=f"part-{j}",
                    part=f"part-{j}",
                    feed=f"cell-{cell}",
                    pieces={f"part-{j}": 1, f"cell-{cell}": draw.choice([1, 1, 2])},
                    other=round(draw.uniform(0, 0.5), 4),
                    upkeep=round(draw.uniform(0, 3), 4),
                    supply=round(draw.uniform(0, 900), 2),
                    score=round(60 + 12 * quality, 3),
                    life_chance=round(
                        min(1.0, max(0.0, 0.85 + 0.12 * quality + draw.gauss(0, 0.1))), 3
                    ),
                )
            )
        best = max(options, key=lambda o: o.score)
        second = limited and p < 3
        pairs = {(a, b): round(draw.uniform(0, 300), 2) for a in makers for b in makers if a != b}
        members.append(
            Member(
                name=f"product-{p}",
                units=units,
                options=tuple(options),
                favourite=best.name,
                tools=500.0,
                life_chance=0.8 if limited and p % 2 == 0 else None,
                give_up=25.0 if limited and p % 3 == 0 else None,
                second=("required" if p == 0 else "allowed") if second else "refused",
                second_share=0.3 if second else 0.0,
                porting_h=20.0 if second else 0.0,
                two_sources=pairs if second else None,
            )
        )
    limits = Limits(parts=3, hours=170.0, capital=130_000.0) if limited else Limits()
    return Family(
        members=tuple(members),
        items=tuple(items),
        platforms=tuple(platforms),
        rate=85.0,
        limits=limits,
    )


@benchmark("family", "a plan for a family against the same program given to scipy's solver whole")
def families(scale: Scale) -> list[Row]:
    """Twelve products of 200 parts with three breaks; small where it only has to run."""
    rows = []
    for what, limited in (("a family's plan", False), ("with every kind of limit", True)):
        family = drawn(limited=limited) if scale.rounds > 1 else drawn(3, 12)

        def ours(family: Family = family) -> float:
            return timed(lambda: solve(family, seconds=600.0))

        def theirs(family: Family = family) -> float:
            return timed(lambda: _by_scipy(family))

        times = turn_about(3 if scale.rounds > 1 else 1, [ours, theirs])
        mine, other = (sorted(t)[len(t) // 2] for t in times)
        rows.append(Row(what, mine, "scipy's milp", other, 3.0))
    return rows


def _by_scipy(family: Family) -> object:
    """The cheapest plan of the whole program, by scipy's door to its solver."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    made = program(family)
    terms = Ask().of(made)
    _, boxes = made.model.columns()
    at = {name: k for k, name in enumerate(boxes)}
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    low: list[float] = []
    high: list[float] = []
    for k, (_, sense, rhs, row) in enumerate(made.model.rows()):
        rows += [k] * len(row)
        columns += [at[n] for n in row]
        values += row.values()
        low.append(-np.inf if sense == "<=" else rhs)
        high.append(np.inf if sense == ">=" else rhs)
    found = milp(
        np.array([terms.get(n, 0.0) for n in boxes]),
        integrality=np.array([made.model.is_whole(n) for n in boxes]),
        bounds=Bounds(*np.array(list(boxes.values())).T),
        constraints=LinearConstraint(
            csr_array((values, (rows, columns)), shape=(len(low), len(at))), low, high
        ),
        options={"mip_rel_gap": 1e-6},
    )
    assert found.success
    return found
