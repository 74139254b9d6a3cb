"""Looks at the answer while a file is being written: on which catalogue, in which product."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from advisor.faults import FaultError, FaultLog

if TYPE_CHECKING:
    from advisor.catalogue.records import Catalogue
    from advisor.catalogue.schema_product import Product
    from advisor.cli.bundles import Files
    from advisor.intake.interview import Interview
    from advisor.studies.preview import Preview

SHIPPED = "frost-post"  # the product that a part is looked at in where there is none of one's own

Look = Callable[[], "Preview"]


def product_looks(catalogue: Catalogue) -> Callable[[Interview], Look]:
    """Looks at a product: which parts of the catalogue at hand lead."""

    def look(interview: Interview) -> Look:
        text = interview.document(assume=True)

        def found() -> Preview:
            from advisor.studies.preview import preview_product

            return preview_product(catalogue, text)

        return found

    return look


def part_looks(
    files: Files, catalogue: Catalogue, reference: str | None
) -> Callable[[Interview], Look]:
    """Looks at a part: where it would stand in a product at hand."""
    at_hand: list[tuple[Catalogue, Product]] = []
    if reference is not None:
        at_hand.append(files.product(reference))  # one that was named has to be right

    def look(interview: Interview) -> Look:
        from advisor.intake.ask_part import TABLE
        from advisor.source import read_text

        identity = interview.identity
        document = read_text(interview.document(assume=True), f"{identity}.yaml")
        keeps = any(key.endswith(".retains") for key in interview.given)

        def found() -> Preview:
            from advisor.studies.preview import preview_part

            log = FaultLog()
            part = TABLE.read(document, identity, catalogue, log)
            log.raise_if_any()
            if not at_hand:
                at_hand.append(_product(files))
            beside, product = at_hand[0]
            return preview_part(beside, product, part, document, keeps=keeps)

        return found

    return look


def warm(files: Files) -> Callable[[], None]:
    """Makes ready what looks need, so that the first is there when it is wanted."""

    def made() -> None:
        # whatever is wrong is told where it is needed
        with contextlib.suppress(Exception):
            from advisor.studies.preview import preview_product

            catalogue, product = _product(files)
            preview_product(catalogue, product)

    return made


def _product(files: Files) -> tuple[Catalogue, Product]:
    """A product of the project that its own catalogue can carry, else a shipped one.

    A shipped one needs the demonstration's cells: one's own parts stand beside its parts then.

    Raises
    ------
    FaultError
        Where that fits no more.
    """
    from advisor.catalogue.shipped import catalogue_folder, load

    for path in _own(files):
        try:
            return load(path, files.folders, files.changes or (), cached=not files.no_cache)
        except FaultError:
            continue
    demonstration = catalogue_folder()
    folders = [demonstration, *(f for f in files.folders if f != demonstration)]
    return load(SHIPPED, folders, files.changes or (), cached=not files.no_cache)


def _own(files: Files) -> Iterator[str]:
    if files.project is not None:
        yield from (str(path) for path in files.project.products.values())
