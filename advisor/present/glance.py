"""What a report says first: five figures of the first part, its cautions, what else decides."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.dataclass import dataclass
from advisor.decide.cautions import BUTTON, GENERAL
from advisor.present.tables import (
    UNSURE,
    awake,
    beyond,
    cautions_of,
    charges_words,
    clipped,
    cost_range,
    seldom,
)
from advisor.studies.results import BuildResult, CostResult, RankedPart
from advisor.studies.shortlist import Shortlist
from advisor.studies.words import build_words, life, life_range, money, pack, per_cent

DRAWN = "5 to 95 % of the draws"
AHEAD = 5  # parts of a list before the rest is asked for


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with what it is called and what there is to say about it."""

    name: str
    value: str
    about: str


def five(found: Shortlist) -> tuple[Figure, ...]:
    """Part and cell, battery life, cost, points and why, how sure; of the first part."""
    best = found.ranking[0]
    rest = build_words(best.build).removeprefix(f"{pack(best.build)}, ")
    return (
        Figure("Part and cell", f"{best.part} on {pack(best.build)}", rest),
        Figure("Battery life", life(best.battery_life_s.nominal), _life(best, found)),
        _cost(best.cost),
        Figure("Points", f"{best.score:.1f} of 100", best.reason),
        _sure(found),
    )


def _life(best: RankedPart, found: Shortlist) -> str:
    lives = best.battery_life_s
    spread = life_range(lives.p05, lives.p95)
    said = [f"{spread} in {DRAWN}"] if spread else []
    if found.life_target_s is not None:
        met = best.meets_life_target_probability
        short = "short of the " if lives.nominal < found.life_target_s else ""
        said.append(
            f"{short}wanted {life(found.life_target_s)}"
            + ("" if met is None else f", met in {per_cent(met)} of draws")
        )
    return "; ".join([*said, f"ends because {best.ends}"])


def _cost(cost: CostResult) -> Figure:
    where = "a unit over the service life"
    if cost.expected is None:
        name = "Cost at the stated values"
        if cost.lifetime is None:
            return Figure(name, "not known", "a price that it needs is missing")
        bought = (cost.purchase, cost.development, cost.upkeep)
        changes = cost.replacements or 0.0
        change = f" ({changes:g} on average)" if changes % 1 else f" ({changes:g})"
    else:
        name = "Expected cost"
        bought = (cost.expected_purchase, cost.expected_development, cost.expected_upkeep)
        often = cost.change_probability
        change = "" if often is None else f" (needed in {per_cent(often)} of draws)"
    outside = ", the mean outside" if beyond(cost) else ""
    spread = cost_range(cost, "", f" in {DRAWN}{outside}; ")
    buy, develop, upkeep = map(money, bought)
    about = f"{spread}{where}: {buy} to buy, {develop} to develop, {upkeep} for battery changes"
    return Figure(name, money(cost.told, cost.currency), about + change + charges_words(cost))


def _sure(found: Shortlist) -> Figure:
    name = "How sure"
    if len(found.ranking) < 2:
        told = "the only part that keeps every need and limit"
        could = () if found.verdict is None else found.verdict.could_lead
        return Figure(name, "no other fits", "; ".join([told, *could]))
    if found.verdict is None:
        return Figure(name, "not looked at", UNSURE)
    word, _, told = found.verdict.text.partition(": ")
    return Figure(name, f"{word}, {per_cent(found.verdict.chance)}", told)


def beside(found: Shortlist) -> list[str]:
    """What else decides about the first part, in sentences: how often it fits, why it never
    sleeps, where its figures lie beyond what counts."""
    return [*seldom(found.ranking[0]), *awake(found), *clipped(found)]


def foremost(
    build: BuildResult | None, cautions: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(those told, those on other cells): on button cells first, then those of the build, then what
    holds for every answer."""
    own = [] if build is None else cautions_of(build, cautions)
    told = [text for text in cautions if text.endswith(BUTTON) or text in own or text == GENERAL]
    return tuple(told), tuple(text for text in cautions if text not in told)
