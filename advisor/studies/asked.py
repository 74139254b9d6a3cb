"""Parts that a command was asked about."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.catalogue.records import Catalogue
from advisor.faults import Fault, nearest


def unknown_parts(catalogue: Catalogue, given: Iterable[tuple[str, str]]) -> list[Fault]:
    """Faults of parts that the catalogue does not have, of (option, id)."""
    return [
        Fault(
            option,
            f'"{part}"',
            "a part of the catalogue",
            nearest=nearest(part, tuple(catalogue.parts)),
            unknown=True,
        )
        for option, part in given
        if part not in catalogue.parts
    ]
