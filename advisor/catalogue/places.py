"""Where the shipped catalogue and products are: inside the installed package, or in a checkout."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from advisor.faults import Fault, FaultError, nearest
from advisor.names import Named

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


def family_files() -> dict[str, Path]:
    """The shipped families, id to file, in order of id: each in a folder of its own name."""
    found = sorted(_folder("profiles").glob("*/*.yaml"))
    return {path.stem: path for path in found if path.stem == path.parent.name}


def find_product(reference: Named, own: Mapping[str, Path] | None = None) -> Path:
    """The file of a product named by a path or, in a text, by an id: of one's own or shipped.

    Parameters
    ----------
    own : a project's products, id to file.

    Raises
    ------
    FaultError
        When it is neither.
    """
    path = Path(reference)
    if not isinstance(reference, str):
        return path
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
