"""The ranking under other weights by the whole decision, to compare the reports' own with."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.catalogue.load import with_changes
from advisor.catalogue.shipped import load
from advisor.decide.evaluate import Candidate, evaluate
from advisor.studies.report import Report


def weighted(found: Report, weights: Sequence[float]) -> list[tuple[str, float]]:
    """(part, score) in order, of a shipped product under other weights."""
    return [(c.part.part, c.score) for c in decided(found, weights)]


def decided(found: Report, weights: Sequence[float]) -> tuple[Candidate, ...]:
    """The ranked parts of a shipped product under other weights."""
    changes = [
        f"{found.product}:priorities.{c.criterion}.weight={w!r}"
        for c, w in zip(found.criteria, weights, strict=True)
    ]
    listed = found.shortlist
    changed = with_changes(*load(found.product), changes)
    return tuple(evaluate(*changed, draws=listed.draws, seed=listed.seed).candidates)
