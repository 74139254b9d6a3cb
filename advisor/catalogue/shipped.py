"""Where the shipped catalogue and products are: inside the installed package, or in a checkout."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from advisor.catalogue.load import load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.faults import Fault, FaultError, nearest
from advisor.source import LARGEST

_PACKAGE = Path(__file__).resolve().parent.parent


def _folder(name: str) -> Path:
    installed = _PACKAGE / "shipped" / name
    return installed if installed.is_dir() else _PACKAGE.parent / name


def catalogue_folder() -> Path:
    """The folder of the shipped catalogue."""
    return _folder("catalog")


def product_files() -> dict[str, Path]:
    """The shipped products, id to file, in order of id."""
    return {path.stem: path for path in sorted(_folder("profiles").glob("*.yaml"))}


def find_product(reference: str, own: Mapping[str, Path] | None = None) -> Path:
    """The file of a product named by a path, by an id of one's own or by a shipped one.

    Parameters
    ----------
    own : a project's products, id to file.

    Raises
    ------
    FaultError
        When it is neither.
    """
    path = Path(reference)
    if path.suffix in (".yaml", ".yml") or "/" in reference or "\\" in reference:
        return path
    shipped = product_files() | dict(own or {})
    if reference in shipped:
        return shipped[reference]
    if os.path.exists(path):
        return path
    raise FaultError(
        (
            Fault(
                "PRODUCT",
                f'"{reference}"',
                "a product's file, or one of " + ", ".join(shipped),
                nearest=nearest(reference, tuple(shipped)),
                unknown=True,
            ),
        )
    )


def _standard_input() -> bytes:
    """What comes by standard input, read no further than a file may be long."""
    try:
        return sys.stdin.buffer.read(LARGEST + 1)
    except OSError as error:
        fault = Fault("-", str(error.strerror), "a product by standard input")
        raise FaultError((fault,)) from None


def load(
    reference: str,
    folders: Sequence[Path] = (),
    changes: Sequence[str] = (),
    *,
    cached: bool = False,
    own: Mapping[str, Path] | None = None,
) -> tuple[Catalogue, Product]:
    """A catalogue and a product, read and checked together.

    No `.part-advisor.yaml` is looked for: what is read is what is named here.

    Parameters
    ----------
    reference : a product's id, shipped or of one's `own`, a file, or `-` for standard input.
    folders : catalogue folders; the shipped one when empty.
    changes : `ID:dotted.path=VALUE` each.
    cached : whether the user's cache of catalogues may be read and written.
    own : products that an id may name beside the shipped ones, id to file.

    Raises
    ------
    FaultError
        With every fault found in any file or change.
    """
    where = list(folders) or [catalogue_folder()]
    if reference == "-":
        return load_run(where, _standard_input(), changes, cached=cached)
    return load_run(where, find_product(reference, own), changes, cached=cached)
