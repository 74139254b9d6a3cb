"""What `family` answers with; field names are the JSON's keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from advisor.dataclass import dataclass, field
from advisor.decide.joint import Joined
from advisor.decide.left_out import LeftOut
from advisor.studies.harvests import ServiceResult
from advisor.studies.results import WHERE_STATED, BuildResult
from advisor.studies.words import rails_in_a_cell

ROUNDING = 1e-9  # points; means over draws that are one in truth differ by less


def given_up(favourite: float, score: float) -> float:
    """[points] How far a score is behind the favourite's, each of 0..100; a difference by rounding
    is none."""
    behind = favourite - score
    return 0.0 if abs(behind) <= ROUNDING else behind


@dataclass(frozen=True, slots=True)
class PlannedBuild:
    """A build that a product of the family takes."""

    part: str
    """the part's id"""
    maker: str
    """who makes it"""
    units: int
    """units of the product that are made with it"""
    build: BuildResult
    """how it is built into the product"""
    score: float
    """[of 100] expected score in the product, bought for it alone"""
    life_s: float
    """[s] battery life at the stated values"""
    life_p05_s: float | None
    """[s] of the draws 5 % are below"""
    life_p95_s: float | None
    """[s] of the draws 5 % are above"""
    life_chance: float | None
    """[share] of the draws that reach the life target; none without a target"""
    ends_by: str
    """what ends its battery's life"""
    one_charge_s: float | None = field(default=None, metadata=WHERE_STATED)
    """[s] how long the first charge lasts, of which what comes before use may have taken some, and
    aged the pack; left out where nobody charges it"""
    charges: float | None = field(default=None, metadata=WHERE_STATED)
    """visits over the service life that charge the pack; left out where nobody does"""
    service: ServiceResult | None = field(default=None, metadata=WHERE_STATED)
    """how a store that is harvested into fares; left out where nothing is"""

    def fed(self) -> dict[str, Any]:
        """What not every build has of rails, charging and harvest, by the names of a table."""
        told = {
            "rails": rails_in_a_cell(self.build),
            "one_charge_s": self.one_charge_s,
            "charges": self.charges,
            "days_without_service": None if self.service is None else self.service.lost,
        }
        return {name: value for name, value in told.items() if value not in (None, "")}


@dataclass(frozen=True, slots=True)
class PlannedProduct:
    """What the plan takes for a product."""

    product: str
    """the product's id"""
    part: str
    """its part, or its first one"""
    cell: str
    """its cell"""
    converter: str
    """its converter; `none`: straight from the pack"""
    addons: tuple[str, ...]
    """its companion chips"""
    units: int
    """units to be made"""
    first: PlannedBuild
    """its build"""
    second: PlannedBuild | None
    """that of its second source, where it has one"""
    cost: float
    """[money] its share of the expected cost, for all its units over the service life"""
    cost_per_unit: float
    """[per unit] the same"""
    lines: Mapping[str, float]
    """[money] its cost line by line"""
    score: float
    """[of 100] expected, that of two parts by units"""
    favourite: str
    """the part that it would take by itself, first of its shortlist"""
    favourite_score: float
    """[of 100] of that part"""
    gives_up: float
    """[points] of its favourite's score that it gives up"""
    alone: str
    """the part that it takes where it chooses by the family's aim and buys alone"""
    alone_cost: float
    """[money] what it then costs"""


@dataclass(frozen=True, slots=True)
class AdoptedPart:
    """A part that the plan takes."""

    part: str
    """the part's id"""
    maker: str
    """who makes it"""
    toolchain: str | None
    """its toolchain's id"""
    setup_h: float
    """[h] from the box to the first working program, by itself"""
    products: tuple[str, ...]
    """the products that take it"""


@dataclass(frozen=True, slots=True)
class PurchaseResult:
    """A purchase for the whole family."""

    item: str
    """what is bought, by its id"""
    kind: str
    """`part`, `cell`, `converter` or `add-on`"""
    needed: int
    """pieces that all products need"""
    from_stock: int
    """of them taken from stock"""
    pieces: int
    """pieces bought, more than needed where that costs less"""
    each: float
    """[money] mean price of one"""
    total: float
    """[money] of the purchase"""


@dataclass(frozen=True, slots=True)
class SavingLine:
    """A line of the saving: what it costs in three ways."""

    line: str
    """what is paid for; `all` is the sum of the lines"""
    separate: float
    """[money] each product choosing and buying by itself"""
    pooled: float
    """[money] the same builds, bought and set up together"""
    together: float
    """[money] the plan"""
    saving: float
    """[money] separate less together"""


@dataclass(frozen=True, slots=True)
class OtherPlan:
    """A plan that puts other parts into the products, or that lies elsewhere on the front."""

    cost: float
    """[money] expected"""
    more: float
    """[money] than the plan"""
    score: float
    """[of 100] mean over the products"""
    parts: Mapping[str, str]
    """product to part, or to `first + second`"""
    proven: bool
    """whether it is proven best of its kind"""
    regret: float | None
    """[money] what it costs more on average than the best of the plans listed in each scenario of
    supply"""


@dataclass(frozen=True, slots=True)
class LimitPrice:
    """What a limit costs."""

    limit: str
    """in words"""
    step: str
    """how much looser it was tried"""
    saving: float | None
    """[money or points] what that is worth: 0 where the limit does not bind; none where time ran
    out"""
    unsure: float
    """[money or points] by how much that may be off, where a plan is not proven best"""
    dual: float | None
    """[money or points per unit of the limit] price in the relaxation; none where it has none"""


@dataclass(frozen=True, slots=True)
class SupplyRisk:
    """What supply may cost a product, expected over the time in which it is made, by the price that
    it pays for its part by itself."""

    product: str
    """the product's id"""
    part: str
    """its part, or `first + second`"""
    lead_time: float | None
    """[money] of demand that moves while an order is on its way; none where the part states no
    lead time"""
    allocation: float
    """[money] of allocations: stock held against them, and units not delivered"""
    buffer_weeks: float
    """[weeks] of demand held in stock against allocations"""
    last_buy: float
    """[money] of buying a part for good: what is left over, and what is missing"""
    total: float
    """[money] all of it"""
    alone: float
    """[money] with its first part as the only source"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyPlan:
    """A plan for a family of products."""

    family: str
    """the family's id"""
    summary: str | None
    """the family in a line"""
    seed: int
    """of the draws"""
    draws: int
    """number of them"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    currency: str
    """of all money"""
    aim: str
    """`cost`, `score` or `front`"""
    status: str
    """`optimal`, `feasible` (time ran out), `infeasible` or `none` (time ran out before any)"""
    objective: float | None
    """[money or of 100] expected cost of the plan, or its mean score"""
    bound: float | None
    """[money or of 100] no plan costs less, or scores more"""
    gap: float | None
    """[share] between the two"""
    plan: tuple[PlannedProduct, ...] = ()
    """what each product takes"""
    cost: float | None = None
    """[money] expected over the service life of all units"""
    score: float | None = None
    """[of 100] mean over the products"""
    hours: float | None = None
    """[h] of set-up and porting"""
    capital: float | None = None
    """[money] before the first unit is sold: purchases, set-up, porting, tools"""
    adopted: tuple[AdoptedPart, ...] = ()
    """the parts"""
    purchases: tuple[PurchaseResult, ...] = ()
    """what is bought"""
    separate_cost: float | None = None
    """[money] each product choosing and buying by itself, under its own limits"""
    saving: float | None = None
    """[money] of the plan against that; below 0 where the family's limits cost more than sharing
    saves"""
    lines: tuple[SavingLine, ...] = ()
    """the saving line by line"""
    alternatives: tuple[OtherPlan, ...] = ()
    """next-best plans that put other parts into the products"""
    front: tuple[OtherPlan, ...] = ()
    """every plan that no other betters by cost and by score, where the aim is `front`"""
    limits: tuple[LimitPrice, ...] = ()
    """what each limit costs"""
    conflict: tuple[str, ...] = ()
    """the fewest limits that cannot hold together, where no plan keeps all"""
    conflict_smallest: bool = True
    """whether no fewer limits conflict, which is not known where time ran out"""
    supply: tuple[SupplyRisk, ...] = ()
    """what supply may cost"""
    regret: float | None = None
    """[money] what the plan costs more on average than the best of the plans listed in each
    scenario of supply"""
    assumed: tuple[str, ...]
    """what was taken for granted and may decide"""
    cautions: tuple[str, ...] = ()
    """what to mind with the cells in use"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without, product by product"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""
    joined: tuple[Joined, ...] = field(repr=False, compare=False, default=())
