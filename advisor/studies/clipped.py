"""Anchors beyond which differences count nothing, as an answer tells them."""

from __future__ import annotations

from advisor.dataclass import dataclass
from advisor.decide.clipping import clips
from advisor.decide.evaluate import Evaluation


@dataclass(frozen=True, slots=True)
class ClippedResult:
    """An anchor of a weighted criterion beyond which chosen builds lie, so that differences there
    count nothing."""

    criterion: str
    """its name"""
    anchor: str
    """`poor` or `good`"""
    value: float
    """the anchor, in the criterion's unit"""
    parts: tuple[str, ...]
    """ranked parts whose chosen builds lie beyond it at the stated values"""
    head: int
    """how many of the first five parts do"""
    text: str
    """the same in words"""


def clipped_results(evaluation: Evaluation) -> tuple[ClippedResult, ...]:
    """Every anchor beyond which chosen builds lie."""
    return tuple(
        ClippedResult(
            criterion=one.criterion.name,
            anchor=one.end,
            value=one.anchor,
            parts=one.parts,
            head=one.head,
            text=one.text,
        )
        for one in clips(evaluation)
    )
