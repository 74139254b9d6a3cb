"""Parts that are out as things stand, and which of them a look elsewhere is worth while for.

A part that fails a need, or of which no build fits, may come in where a figure of the product is
another. What a part fails by itself is quickly told at any value; whether it has a build that fits
takes a decision.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from advisor.catalogue.criteria import MOVED_BY, Keys
from advisor.catalogue.levers import Lever
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass, field
from advisor.decide.builds import Build
from advisor.decide.costs import part_cost
from advisor.decide.evaluate import Evaluation
from advisor.decide.lacking import feed_pairs
from advisor.decide.left_out import Supplies
from advisor.decide.screens import Failed, screen
from advisor.model.maturity import maturity

MEMORY: Keys = ("needs", "memory")
CONFIDENCE = "needs.confidence"
# of the product, what bears on needs of parts: where it stands, what it runs and what it asks for
ASKED: tuple[Keys, ...] = (("needs",), ("environment",), ("times",), ("before-use",), ("workload",))


@dataclass(frozen=True, slots=True)
class Waiting:
    """Parts that are out as things stand, but for those that lack figures.

    Attributes
    ----------
    parts : all of them, in order. failing : those that fail needs of their own, with the names of
    these. unbuilt : those of which no build fits. dear : of these, those that cost more with the
    cheapest supply than a unit may: only figures of money let them in. unsure : of these, those of
    which a build fits at the stated values, but in too few of the draws. held : of them, sections
    of the product of which no figure lets any build in.
    """

    parts: tuple[str, ...] = ()
    records: Mapping[str, Part] = field(default_factory=dict)
    failing: Mapping[str, frozenset[str]] = field(default_factory=dict)
    unbuilt: frozenset[str] = frozenset()
    dear: frozenset[str] = frozenset()
    unsure: frozenset[str] = frozenset()
    most: Mapping[str, float] = field(default_factory=dict)
    reasons: Mapping[str, tuple[Failed, ...]] = field(default_factory=dict)
    held: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def worth_a_look(
        self, product: Product, lever: Lever, money: bool, least: float
    ) -> tuple[str, ...]:
        """Parts of which a build may fit for a product that a lever has moved, but for those that
        are worth less than so many points; `money`: whether it moves nothing else."""
        if money:
            return tuple(sorted(self.unbuilt))
        keys = lever.path.keys
        out = {p for p in self.unbuilt - self.dear if keys[0] not in self.held.get(p, ())}
        if keys[0] not in MOVED_BY and keys[:2] != MEMORY:
            out = {p for p in out if self.most[p] >= least}
        if any(keys[: len(some)] == some for some in ASKED):
            out |= {p for p, names in self.failing.items() if self._needs(p, product) != names}
        return tuple(sorted(out))

    def bars(self, build: Build, product: Product) -> bool:
        """Whether the part of a build fails a need of its own for a product, and no add-on brings
        what it lacks."""
        return not build.addons and bool(self._needs(build.part, product))

    def _needs(self, part: str, product: Product) -> frozenset[str]:
        return frozenset(one.need for one in screen(self.records[part], product).failed)


def waiting(base: Evaluation) -> Waiting:
    """The parts that a decision found out."""
    parts = tuple(sorted(set(base.screened) - set(base.set_aside)))
    records = {name: base.catalogue.parts[name] for name in parts}
    unbuilt = frozenset(parts) & base.unbuilt
    failing = {
        name: frozenset(one.need for one in base.screened[name])
        for name in parts
        if name not in unbuilt
    }
    unsure = frozenset(p for p in unbuilt if any(CONFIDENCE in f.need for f in base.screened[p]))
    least = _least(base, unbuilt)
    limit = base.own_cost.limit
    # a price that is missing makes it no number, which is greater than none
    dear = frozenset(p for p, one in least.items() if one > limit)
    return Waiting(
        parts=parts,
        records=records,
        failing=failing,
        unbuilt=unbuilt,
        dear=dear,
        unsure=unsure,
        most=_most(base, least),
        reasons={name: base.screened[name] for name in unbuilt},
        held=base.held,
    )


def _least(base: Evaluation, parts: Collection[str]) -> dict[str, float]:
    """What a unit with each part costs at least, with the cheapest supply, whether it fits or not;
    NaN where a price is missing."""
    if not parts:
        return {}
    here = base.stated
    pairs, _, _ = feed_pairs(base.catalogue, base.product, Supplies())
    supply = min(float(here.feed(*pair)[1].each[0]) for pair in pairs)
    own = {p: part_cost(base.catalogue.parts[p], here.own_cost, here.samplers[p]) for p in parts}
    return {p: float(cost.each[0]) + supply for p, cost in own.items()}


def _most(base: Evaluation, least: Mapping[str, float]) -> dict[str, float]:
    """The points that parts are worth at most, by what they cost at least, their tools and their
    memory, were they worth all by every other criterion."""
    out = {}
    needs = base.product.needs.memory
    for part, cost in least.items():
        record = base.catalogue.parts[part]
        answers = maturity(record.toolchain)
        pairs = (needs.flash, record.memory.flash), (needs.ram, record.memory.ram)
        left = [1 - a.nominal / b.nominal for a, b in pairs if a and b and b.nominal > 0]
        known: dict[str, float] = {
            "purchase-cost": cost,
            "lifetime-cost": cost,
            "toolchain": np.nan if answers is None else answers.high,
            "memory-headroom": min(left, default=np.nan),
        }
        points = 0.0
        for criterion, weight in zip(base.criteria, base.weights.tolist(), strict=True):
            worth = float(criterion.utility(np.asarray(known.get(criterion.name, np.nan))))
            points += 100 * weight * (1.0 if np.isnan(worth) else worth)
        out[part] = points
    return out
