"""The record of a decision: every key, declared once."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from advisor.catalogue.fields import ListOf, MapOf, Record, key
from advisor.catalogue.kinds import Choice, Day, Figure, Flag, Identity, Text, Whole
from advisor.quantities import Quantity

MOST_DRAWS = 1_000_000  # as many as a command takes
VERDICTS = ("settled", "leaning", "open", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedPart:
    """A part of the ranking as it stood."""

    part: str = key(Identity("part"), "the part, by its id", required=True)
    score: Quantity = key(Figure("score", exact=True), "its score of 100", required=True)
    first: Quantity | None = key(
        Figure("share", exact=True), "share of draws in which it was first"
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
