"""The records of decisions, for a product and for a family: every key, declared once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from advisor.catalogue.fields import ListOf, MapOf, Record, key
from advisor.catalogue.kinds import Choice, Day, Figure, Flag, Identity, Text, Whole
from advisor.catalogue.schema_family import OBJECTIVES
from advisor.dataclass import dataclass
from advisor.quantities import Quantity

MOST_DRAWS = 1_000_000  # as many as a command takes
SCORE = Figure("score", most=100.0, exact=True)
VERDICTS = ("settled", "leaning", "open", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedPart:
    """A part of the ranking as it stood."""

    part: str = key(Identity("part"), "the part, by its id", required=True)
    score: Quantity = key(SCORE, "its score of 100", required=True)
    first: Quantity | None = key(
        Figure("share", most=1.0, exact=True), "share of draws in which it was first"
    )
    battery_life: Quantity | None = key(Figure("time", exact=True), "battery life")
    lifetime_cost: Quantity | None = key(Figure("money", exact=True), "cost over the service life")


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionRecord:
    """Which part was chosen for a product, why, and all that it was chosen on."""

    decision: str = key(Identity("product"), "the product, by its id", required=True)
    part: str = key(Identity("part"), "the part that was chosen", required=True)
    because: str = key(Text(), "why, in the team's words", required=True)
    date: datetime.date = key(Day(), "when", required=True)
    version: str | None = key(Text(), "of the tool", informational=True)
    currency: str | None = key(Text(), "of the costs", informational=True)
    draws: int = key(Whole(0, MOST_DRAWS), "draws of the uncertainties", required=True)
    seed: int = key(Whole(0), "seed of the draws", required=True)
    verdict: str | None = key(Choice(VERDICTS), "how firm the order was", informational=True)
    changes: tuple[str, ...] = key(
        ListOf(Text("PATH=VALUE")), "figures that were set for it", default=()
    )
    estimate_missing: bool = key(
        Flag(), "whether kernels that parts were not measured with were estimated", default=False
    )
    product_file: str | None = key(
        Text("a path"), "the product's file, from the record's folder; absent: a shipped product"
    )
    catalogs: tuple[str, ...] = key(
        ListOf(Text("a path")),
        "catalogue folders, from the record's folder; absent: the shipped one",
        default=(),
    )
    ranking: tuple[RecordedPart, ...] = key(
        ListOf(Record(RecordedPart), named_by="part"), "the order at the time", required=True
    )
    digests: Mapping[str, str] = key(
        MapOf(Text("a digest"), "id"), "SHA-256 of each file's figures", required=True
    )
    figures: Mapping[str, str] = key(
        MapOf(Text(), "path"), "figures of the product and of the parts nearest to it", default={}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedBuild:
    """A build of a plan, by what finds it again."""

    part: str = key(Identity("part"), "the part, by its id", required=True)
    build: str = key(
        Text(),
        "its name: part, pack and converter, sleep state, points",
        required=True,
    )
    fed_by: str = key(Text(), "pack and converter", required=True)
    pieces: Mapping[str, int] = key(
        MapOf(Whole(), "part, cell, converter or add-on"), "pieces bought a unit", required=True
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedProduct:
    """What a plan takes for a product."""

    product: str = key(Identity("product"), "the product, by its id", required=True)
    units: int = key(Whole(), "units to be made", required=True)
    first: RecordedBuild = key(Record(RecordedBuild), "its build", required=True)
    second: RecordedBuild | None = key(
        Record(RecordedBuild), "that of its second source, where it has one"
    )
    cost: Quantity = key(
        Figure("money", exact=True), "its share of the expected cost, all units", required=True
    )
    score: Quantity = key(SCORE, "its score of 100", required=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyRecord:
    """Which plan was chosen for a family of products, why, and all that it was chosen on."""

    family_decision: str = key(
        Identity("family"),
        "the family, by its id; `family` for products named one by one",
        required=True,
    )
    because: str = key(Text(), "why, in the team's words", required=True)
    date: datetime.date = key(Day(), "when", required=True)
    version: str | None = key(Text(), "of the tool", informational=True)
    currency: str | None = key(Text(), "of all money", informational=True)
    draws: int = key(Whole(0, MOST_DRAWS), "draws of the uncertainties", required=True)
    seed: int = key(Whole(0), "seed of the draws", required=True)
    aim: str = key(Choice(OBJECTIVES), "what the plan was sought by", required=True)
    changes: tuple[str, ...] = key(
        ListOf(Text("PATH=VALUE")), "figures that were set for it", default=()
    )
    estimate_missing: bool = key(
        Flag(), "whether kernels that parts were not measured with were estimated", default=False
    )
    family_file: str | None = key(
        Text("a path"), "the family's file, from the record's folder; absent: a shipped family"
    )
    product_files: Mapping[str, str] = key(
        MapOf(Text("a path"), "product"),
        "files of products, from the record's folder, that are neither shipped nor beside the "
        "family's file",
        default={},
    )
    catalogs: tuple[str, ...] = key(
        ListOf(Text("a path")),
        "catalogue folders, from the record's folder; absent: the shipped one",
        default=(),
    )
    products: tuple[RecordedProduct, ...] = key(
        ListOf(Record(RecordedProduct), named_by="product"), "what each takes", required=True
    )
    cost: Quantity = key(
        Figure("money", exact=True),
        "expected cost of the plan, all units",
        required=True,
    )
    score: Quantity = key(SCORE, "mean score of the plan, of 100", required=True)
    best_cost: Quantity = key(
        Figure("money", exact=True), "that of the best plan at the time", required=True
    )
    best_score: Quantity = key(SCORE, "that of the best plan at the time", required=True)
    digests: Mapping[str, str] = key(
        MapOf(Text("a digest"), "id"), "SHA-256 of each file's figures", required=True
    )
    figures: Mapping[str, str] = key(
        MapOf(Text(), "path"), "figures of the family, its products and what it buys", default={}
    )
