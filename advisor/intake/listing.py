"""The questions of a table as they are listed, before anything is answered."""

from __future__ import annotations

from advisor.catalogue.records import Catalogue
from advisor.dataclass import dataclass
from advisor.intake.interview import Table, View


@dataclass(frozen=True, slots=True)
class QuestionRow:
    """A question as it is listed: `key` is what its answer is called, `<names>` in it one's own."""

    key: str
    question: str
    example: str
    default: str | None
    reason: str | None
    needed: bool


def listed(table: Table, catalogue: Catalogue) -> list[QuestionRow]:
    """Every question of a table, with the default that holds before anything is answered."""
    rows = []
    view = View({}, catalogue)
    for step in table.steps:
        default = step.default(view) if callable(step.default) else step.default
        names = _names(step.key)
        rows.append(
            QuestionRow(
                key=step.key.format(*names),
                question=step.words.format(*names),
                example=step.example,
                default=None if default is None else default.text,
                reason=None if default is None else default.reason,
                needed=step.needed,
            )
        )
    return rows


def _names(key: str) -> list[str]:
    """What stands for the names in a key: what they are names of."""
    steps = key.split(".")
    before = [steps[i - 1] for i, step in enumerate(steps) if step.startswith("{")]
    known = {"workload": "task", "rates": "currency", "{0}": "operating point"}
    return [f"<{known.get(name, name.removesuffix('s').replace('-', ' '))}>" for name in before]
