"""Where anchors hide differences: builds whose values lie beyond one count alike there."""

from __future__ import annotations

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.evaluate import Evaluation
from advisor.decide.value import Criterion

FIRST = 5  # parts of the head of the list
NOTHING = ", where differences count nothing"


@dataclass(frozen=True, slots=True)
class Clip:
    """An anchor beyond which some of the compared builds lie, at the stated values.

    Attributes
    ----------
    end : `poor` or `good`. anchor : its value. parts : whose chosen builds lie beyond it, in the
    order of the ranking. head, of : how many of the first parts do, and of how many.
    """

    criterion: Criterion
    end: str
    anchor: float
    parts: tuple[str, ...]
    head: int
    of: int

    @property
    def text(self) -> str:
        """The same in words."""
        count, who = self.head, f"{self.head} of the first {self.of}"
        if not count:
            count = len(self.parts)
            who = f"none of the first {self.of} but {count} further down"
        elif self.of == 1:
            who = "the only part"
        lies = "lies" if count == 1 else "lie"
        return (
            f"{self.criterion.name}: {who} {lies} beyond its {self.end} anchor of "
            f"{self.criterion.shown(self.anchor)}{NOTHING}"
        )


def clips(evaluation: Evaluation) -> tuple[Clip, ...]:
    """The anchors of weighted criteria beyond which a ranked part's chosen build lies, in the order
    of the criteria."""
    names = [c.part.part for c in evaluation.candidates]
    found = []
    for i, criterion in enumerate(evaluation.criteria):
        if evaluation.weights[i] <= 0:
            continue
        values = np.array([c.best.assessed.values[i, c.best.row, 0] for c in evaluation.candidates])
        way = np.sign(criterion.good - criterion.poor)
        for end, anchor, over in (
            ("good", criterion.good, way * (values - criterion.good) > 0),
            ("poor", criterion.poor, way * (criterion.poor - values) > 0),
        ):
            if over.any():
                found.append(
                    Clip(
                        criterion=criterion,
                        end=end,
                        anchor=anchor,
                        parts=tuple(n for n, beyond in zip(names, over, strict=True) if beyond),
                        head=int(over[:FIRST].sum()),
                        of=min(FIRST, len(names)),
                    )
                )
    return tuple(found)
