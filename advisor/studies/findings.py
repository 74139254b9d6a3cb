"""What the charts of other studies show, in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from advisor.decide.reasons import against_rival
from advisor.quantities import show
from advisor.studies.gaps import Gap, Gaps
from advisor.studies.outlook import Curve, LeverOutlook, Point
from advisor.studies.results import RankedPart
from advisor.studies.tipping import LeverTip
from advisor.studies.words import money, per_cent

MOST = 3  # changes that are told one by one


def points_words(ranking: Sequence[RankedPart]) -> str:
    """Who leads by how much, and by what."""
    first = ranking[0]
    if len(ranking) == 1:
        return f"{first.part} is alone, with {first.score:.1f} points."
    second = ranking[1]
    text = f"With the product's own weights {first.part} leads with {first.score:.1f} points, "
    text += against_rival(first.score - second.score, second.part)
    leads = {
        name: one.points - second.criteria[name].points
        for name, one in first.criteria.items()
        if name in second.criteria
    }
    most = max(leads, key=lambda name: leads[name], default=None)
    if most is not None and leads[most] > 0:
        text += f"; most of the lead is {most}"
    return text + "."


def ranks_words(ranking: Sequence[RankedPart]) -> str:
    """How often the first parts are first."""
    shares = [
        (p.part, p.rank_acceptability[0]) for p in ranking if p.rank_acceptability is not None
    ]
    shares.sort(key=lambda one: -one[1])
    told = [f"{part} in {per_cent(share)}" for part, share in shares[:MOST] if share > 0]
    never = sum(share == 0 for _, share in shares)
    text = f"First of the draws: {', '.join(told)}"
    return text + (f"; {never} of {len(shares)} parts are never first." if never else ".")


def tips_words(tips: Sequence[LeverTip], winner: str) -> str:
    """The nearest tip, and how many are near."""
    first = tips[0]
    shares = [t.distance_share for t in tips if t.distance_share is not None]
    near = sum(share <= 0.1 for share in shares)
    text = f"The nearest is {first.path}: from {first.now_shown} to {first.tips_shown}, "
    text += f"where {first.new_winner} takes over from {winner}"
    if shares:
        text += f". {near} of {len(shares)} tip within a tenth of the value now"
    return f"{text}."


def worths_words(found: Gaps, rows: Sequence[Gap]) -> str:
    """How many measurements gain, and which most."""
    gain = [gap for gap in rows if gap.worth_it]
    if not gain:
        return f"None of {len(rows)} is worth its effort."
    best = max(gain, key=lambda gap: gap.score if gap.net is None else gap.net)
    text = f"{len(gain)} of {len(rows)} are worth their effort, most of all {best.path}"
    if best.net is not None:
        text += f": {found.currency} {best.worth_money:.0f} for {best.effort_h:g} hours"
    return text + "."


def life_words(one: LeverOutlook) -> str:
    """Who lives longest at both ends of a lever."""
    return _ends(one, _life, lambda x: show(x, "time"), least=False, what="lives longest")


def cost_words(one: LeverOutlook, currency: str) -> str:
    """Who is cheapest at both ends of a lever, and where that and the lead change."""
    text = _ends(one, _cost, lambda x: money(x, currency), least=True, what="costs least")
    beside = one.break_even or ()
    for name, changes, none in (
        ("Cheaper of the first two", beside, "neither"),
        ("Leader", one.crossings, "nothing"),
    ):
        told = [f"{c.to or none} from {one.handle.shown(c.x)} on" for c in changes[:MOST]]
        more = len(changes) - len(told)
        if told:
            text += f" {name}: {', '.join(told)}" + (f", and {more} more changes." if more else ".")
    return text


def _life(point: Point) -> float | None:
    found = point.battery_life_s
    return None if found is None or not math.isfinite(found.nominal) else found.nominal


def _cost(point: Point) -> float | None:
    found = point.lifetime_cost
    return None if found is None or not math.isfinite(found) else found


def _ends(
    one: LeverOutlook,
    reading: Callable[[Point], float | None],
    words: Callable[[float], str],
    least: bool,
    what: str,
) -> str:
    said = []
    whole = [p.x for p in one.curves[0].points if p.step == 0]
    for x in (whole[0], whole[-1]):
        values = [(v, c.part) for c in one.curves if (v := reading(_at(c, x))) is not None]
        if not values:
            said.append(f"at {one.handle.shown(x)} no part fits")
            continue
        best, part = min(values) if least else max(values, key=lambda one: one[0])
        alike = sum(math.isclose(v, best, rel_tol=0.01) for v, _ in values)
        if alike == len(values) > 1:
            said.append(f"at {one.handle.shown(x)} all are alike, {words(best)}")
        else:
            said.append(f"at {one.handle.shown(x)} {part} {what}, {words(best)}")
    text = "; ".join(said)
    return text[:1].upper() + text[1:] + "."


def _at(curve: Curve, x: float) -> Point:
    return next(p for p in curve.points if p.x == x and p.step == 0)
