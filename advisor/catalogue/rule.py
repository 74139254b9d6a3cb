"""What a rule that joins several keys is, and the rules that several kinds of record share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from advisor.catalogue.evidence import measured
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.faults import nearest

# (dotted path, what was read, the nearest valid word or None)
Breach = tuple[str, str, str | None]


@dataclass(frozen=True, slots=True)
class Rule:
    """`breaches(record, catalogue)` yields where the record breaks the rule `expected`."""

    expected: str
    breaches: Callable[[Any, Catalogue], Iterable[Breach]]
    severity: str = "fault"
    unknown: bool = False  # what is named may stand in a file that was not read


def order(low: Any, high: Any, path: str) -> Iterator[Breach]:
    """A range whose lower end is above its upper end."""
    if low is not None and high is not None and low.nominal > high.nominal:
        yield path, f"{low.text} above {high.text}", None


def no_breaks(record: Any, _: Catalogue) -> Iterator[Breach]:
    """A price without any break."""
    if record.price is not None and record.price.breaks is not None and not record.price.breaks:
        yield "price.breaks", "nothing", None


def unknown_evidence(record: Part | AddOn, _: Catalogue) -> Iterator[Breach]:
    """Evidence that is named and does not stand in the file."""
    for path, told in measured(record):
        if told.evidence is not None and told.evidence not in record.evidence:
            near = nearest(told.evidence, tuple(record.evidence))
            yield (path / "evidence").dotted, f'"{told.evidence}"', near
        for name, evidence in getattr(told, "evidence_of", {}).items():
            if evidence not in record.evidence:
                near = nearest(evidence, tuple(record.evidence))
                yield (path / "evidence-of" / name).dotted, f'"{evidence}"', near
