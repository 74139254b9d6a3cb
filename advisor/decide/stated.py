"""Every build of every part at the stated values: which stand, and what rules the others out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.decide.builds import Build, assess
from advisor.decide.costs import PartCost, part_cost, with_addons
from advisor.decide.draining import prepare
from advisor.decide.entrants import Entrants
from advisor.decide.left_out import Supplies, nearest, paired
from advisor.decide.limits import feed_faults, figures_read, plan_faults, row_faults
from advisor.decide.screens import Failed
from advisor.decide.sides import PartSide, part_side
from advisor.decide.stage import Paired, Stage
from advisor.decide.value import Criterion
from advisor.model.battery import averaged
from advisor.model.drain import joined, rows_of
from advisor.model.ends import INDEX
from advisor.model.packs import Feed, cells_name
from advisor.model.plan import Plans, choose
from advisor.model.tables import stack


@dataclass(frozen=True, slots=True)
class Stood:
    """What stands at the stated values.

    Attributes
    ----------
    builds : of each part that has any, the best first. ruled_out : parts that no build saves, with
    what keeps their nearest one out. held : of these, sections of the product of which no figure
    lets any build in. valueless : parts of which no build has a value by every
    criterion, with what is missing. hopes : best scores of the entrants beside, of those that
    stand. costs : of every row that entered. plans : those of each feed, by the identity of what
    was assessed on it. side : the parts' figures.
    """

    builds: Mapping[str, tuple[Build, ...]]
    ruled_out: Mapping[str, tuple[Failed, ...]]
    held: Mapping[str, frozenset[str]]
    valueless: Mapping[str, tuple[str, ...]]
    hopes: Mapping[str, float]
    costs: Sequence[PartCost]
    plans: Mapping[int, Plans]
    side: PartSide


def stand(
    here: Stage,
    entered: Entrants,
    beside: Entrants,
    wanted: Sequence[Criterion],
    pairs: Sequence[Paired],
    supplies: Supplies,
    told: bool = True,
) -> Stood:
    """Every build at the stated values.

    Parameters
    ----------
    entered : at least one. beside : entrants of which only the best score is asked for.
    pairs : each pack with each converter for each rail. supplies : told what comes of each pair by
    those that entered. told : whether it is asked what rules builds out; where it is not, those
    that the chip's supply rules out are not followed.
    """
    fits, read = [*entered.fits, *beside.fits], [*entered.read, *beside.read]
    apart = {one.part.part for one in beside.fits}
    table = stack(read)
    events = here.events(table)
    timed = here.timed(table, events)
    own: dict[str, PartCost] = {}
    part_costs = []
    for one in fits:
        name = one.part.part
        if name not in own:
            own[name] = part_cost(one.part, here.own_cost, here.samplers[name])
        part_costs.append(with_addons(own[name], one.addons, here.own_cost, here.samplers))
    side = part_side(fits, part_costs, here.product, here.samplers, figures_read(here.product))
    names = [one.part.part for one in fits]
    builds: dict[str, list[Build]] = defaultdict(list)
    reasons: dict[str, list[list[Failed]]] = defaultdict(list)
    unfit: list[list[Failed]] = []
    fed = []
    for pair in pairs:
        made, money = here.feed(*pair)
        unmet = feed_faults(made, here.figures)
        if unmet:
            unfit.append(unmet)
            supplies.unfit[paired(made)] = unmet
        else:
            fed.append((made, money))
            supplies.tried(made)
    feeds = [made for made, _ in fed]
    plans_by_feed = choose(feeds, table, here.figures, events, side.floor_v[:, 0])
    plans, asked = [], []
    for (made, money), plan in zip(fed, plans_by_feed, strict=True):
        for p, faults in plan_faults(plan, table, here.figures):
            if names[p] not in apart:
                reasons[names[p]].append(faults)
                supplies.failed[paired(made)].append(faults)
        if not told:
            its = _in_supply(made, side)[plan.part]
            whose, sleep, choice = plan.part[its], plan.sleep[its], plan.choice[its]
            plan = replace(plan, part=whose, sleep=sleep, choice=choice)
        if plan.part.size:
            plans.append(plan)
            asked.append(((made, money), (plan.part, plan.sleep, plan.choice)))
    prepared = prepare(
        [one for one, _ in asked], table, here.figures, timed, side, [rows for _, rows in asked]
    )
    plan_of: dict[int, Plans] = {}
    hopes: dict[str, float] = {}
    unknown: dict[str, list[str]] = defaultdict(list)
    for plan, assessed in zip(
        plans,
        assess(prepared, here.own_cost, here.figures, wanted, marches=here.marches),
        strict=True,
    ):
        plan_of[id(assessed)] = plan
        on = paired(assessed.feed)
        without = np.isnan(assessed.values[:, :, 0])
        rows = zip(
            assessed.part.tolist(),
            row_faults(assessed, side, here.own_cost),
            np.asarray(without.any(axis=0)).tolist(),
            strict=True,
        )
        for r, (part, faults, lacking) in enumerate(rows):
            name = names[part]
            if name in apart:
                if not faults and not lacking:
                    hopes[name] = max(hopes.get(name, -np.inf), float(assessed.score[r, 0]))
            elif faults:
                reasons[name].append(faults)
                supplies.failed[on].append(faults)
            elif lacking:
                # what has no value by a weighted criterion has no score
                lacks = [c.name for c, no in zip(wanted, without[:, r], strict=True) if no]
                supplies.unpriced[on] = assessed.feed_cost.missing
                unknown[name] += assessed.feed_cost.missing or [f"{name}:{n}" for n in lacks]
            else:
                builds[name].append(Build(name, assessed, r))
                supplies.stood.add(on)
    ruled_out: dict[str, tuple[Failed, ...]] = {}
    held: dict[str, frozenset[str]] = {}
    valueless: dict[str, tuple[str, ...]] = {}
    for name in dict.fromkeys(one.part.part for one in entered.fits):
        if builds[name]:
            continue
        if unknown[name]:
            valueless[name] = tuple(dict.fromkeys(unknown[name]))
        else:
            # a pack and a converter that do not go together say nothing of the part
            ruled_out[name] = nearest(reasons[name] or unfit)
            held[name] = _held([*reasons[name], *unfit])
    return Stood(
        builds={name: tuple(sorted(mine, key=_order)) for name, mine in builds.items() if mine},
        ruled_out=ruled_out,
        held=held,
        valueless=valueless,
        hopes=hopes,
        costs=part_costs,
        plans=plan_of,
        side=side,
    )


def _in_supply(feed: Feed, side: PartSide) -> NDArray[np.bool_]:
    """Parts (P,) that a feed's supply at the chip suits, at the stated values."""
    at_chip = feed.fresh_v[0]
    return np.asarray(~((side.most_v[:, 0] < at_chip) | (at_chip < side.least_v[:, 0])))


def _held(faults: Sequence[Sequence[Failed]]) -> frozenset[str]:
    """Sections of the product that bear on none of some faults of each of what is ruled out."""
    each = [frozenset(name for one in some for name in one.apart_from) for some in faults]
    return frozenset.intersection(*each) if each else frozenset()


def _order(build: Build) -> tuple[float, float, Build]:
    return build.order


def averaged_lives(builds: Sequence[Build]) -> list[float]:
    """Battery lives at the stated values with the mean capacity over the places, s.

    It takes the place of the coldest's, so it tells more where that ends the life.
    """
    out = [float(b.assessed.life.life_s[b.row, 0]) for b in builds]
    packs: dict[str, list[int]] = defaultdict(list)
    for i, build in enumerate(builds):
        if build.assessed.life.ends_by[build.row, 0] == INDEX["cold"]:
            packs[cells_name(build.assessed.feed.option)].append(i)
    for members in packs.values():
        drains = [
            rows_of(builds[i].assessed.drain, slice(builds[i].row, builds[i].row + 1))
            for i in members
        ]
        averaged_s = averaged(builds[members[0]].assessed.feed.pack, joined(drains))
        for i, life in zip(members, averaged_s[:, 0], strict=True):
            out[i] = float(life)
    return out
