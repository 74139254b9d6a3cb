"""A product by its id or its file, with the shipped catalogue or one's own."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from advisor.catalogue.places import catalogue_folder, find_product, product_files
from advisor.faults import Fault, FaultError
from advisor.names import Named, paths_of, texts_of

if TYPE_CHECKING:
    from pathlib import Path

    from advisor.catalogue.records import Catalogue
    from advisor.catalogue.schema_product import Product


def _standard_input() -> bytes:
    """What comes by standard input, read no further than a file may be long."""
    from advisor.source import LARGEST

    try:
        return sys.stdin.buffer.read(LARGEST + 1)
    except OSError as error:
        fault = Fault("-", str(error.strerror), "a product by standard input")
        raise FaultError((fault,)) from None


def load(
    reference: Named,
    folders: Named | Sequence[Named] = (),
    changes: str | Sequence[str] = (),
    *,
    cached: bool = False,
    own: Mapping[str, Path] | None = None,
) -> tuple[Catalogue, Product]:
    """A catalogue and a product, read and checked together.

    No `.part-advisor.yaml` is looked for: what is read is what is named here.

    Parameters
    ----------
    reference : a product's id, shipped or of one's `own`, a file, or `-` for standard input.
    folders : catalogue folders, one or several; the shipped one when empty.
    changes : `ID:dotted.path=VALUE`, one or several.
    cached : whether the user's cache of catalogues may be read and written.
    own : products that an id may name beside the shipped ones, id to file.

    Raises
    ------
    FaultError
        With every fault found in any file or change.
    """
    from advisor.catalogue.load import faults_beside, load_run

    where = paths_of(folders) or [catalogue_folder()]
    changes = texts_of(changes)
    try:
        source = _standard_input() if reference == "-" else find_product(reference, own)
    except FaultError as error:
        products = (str(reference), *product_files(), *(own or ()))
        raise faults_beside(where, products, changes, error, cached=cached) from None
    return load_run(where, source, changes, cached=cached)


__all__ = ["catalogue_folder", "find_product", "load", "product_files"]
