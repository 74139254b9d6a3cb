"""A project's own file, which names its catalogues and products, so that no call has to.

It is looked for in the working folder and above, as far as the user's home or the root of a file
system. Whoever can plant one chooses what an answer rests on: one that is not the user's own or
root's, or that anybody may write to, is not used, with a warning. Only the command line asks for
it; from Python folders are named.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from pathlib import Path

from advisor.catalogue.fields import ListOf, key, read_record
from advisor.catalogue.kinds import Flag, Reading, Text
from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, FaultLog, Place
from advisor.source import Document, MappingNode, place_of, read_bytes, read_file

NAME = ".part-advisor.yaml"
_PRODUCT = re.compile(rb"^product[ \t]*:", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectFile:
    """Which catalogues and products commands read where a call names none."""

    catalogues: tuple[str, ...] = key(
        ListOf(Text("a folder")),
        "catalogue folders, from this file's own; later ones are laid over earlier ones; none: the "
        "demonstration catalogue",
        default=(),
    )
    demonstration: bool = key(
        Flag(), "whether the demonstration catalogue lies beneath them", default=False
    )
    products: tuple[str, ...] = key(
        ListOf(Text("a folder or a file")),
        "folders of products, or their files, from this file's own folder: a call names them by id",
        default=(),
    )


@dataclass(frozen=True, slots=True)
class Project:
    """What a project's file names, as paths from the working folder.

    `catalogues` are empty where it names none. `products` goes from id to file, `places` are the
    folders of products.
    """

    file: Path
    catalogues: tuple[Path, ...] = ()
    demonstration: bool = False
    products: dict[str, Path] = field(default_factory=dict)
    places: tuple[Path, ...] = ()


def find_project(start: Path | None = None) -> tuple[Project | None, str | None]:
    """The project that a folder lies in, and a warning where one is there that is not used.

    Parameters
    ----------
    start : the folder; the working folder when absent.

    Raises
    ------
    FaultError
        With every fault of the file; for two products of one id, and places that are not there.
    """
    try:
        folder = Path(os.path.abspath(start or os.getcwd()))
    except OSError:
        return None, None  # the working folder is gone
    for above in _upwards(folder):
        file = above / NAME
        try:
            there = (os.lstat(file), os.stat(file))
        except (OSError, ValueError):
            continue
        if not stat.S_ISREG(there[1].st_mode):
            return None, f"{_shown(file)} is no file: not used"
        why = _distrusted(there)
        if why is not None:
            return None, f"{_shown(file)} {why}: not used"
        return _read(file), None
    return None, None


def _upwards(folder: Path) -> Iterator[Path]:
    """A folder and those above it, up to the user's home or the root of its file system."""
    home = os.path.realpath(os.path.expanduser("~"))
    for above in (folder, *folder.parents):
        yield above
        if os.path.realpath(above) == home or os.path.ismount(above):
            return


def _distrusted(there: tuple[os.stat_result, ...]) -> str | None:
    """Why a file may be somebody else's word; None where it is the user's own or root's.

    Parameters
    ----------
    there : of the name, which may be a link, and of what it leads to.
    """
    if not hasattr(os, "geteuid"):
        return None
    if any(one.st_uid not in (os.geteuid(), 0) for one in there):
        return "belongs to somebody else"
    if there[-1].st_mode & stat.S_IWOTH:
        return "may be written by anybody"
    return None


def _shown(path: Path) -> Path:
    """A path as the user would type it: from the working folder where it is not far."""
    try:
        near = Path(os.path.relpath(path))
    except (OSError, ValueError):
        return path
    return path if near.parts[:3] == ("..", "..", "..") else near


def _read(file: Path) -> Project:
    document = read_file(file, str(_shown(file)))
    log = FaultLog()
    found = read_record(ProjectFile, document.root, "", Reading(document.file, NAME, log))
    log.raise_if_any()
    products: dict[str, Path] = {}
    places = []
    for name in found.products:
        place = file.parent / name
        inside = sorted(place.glob("*.yaml")) if place.is_dir() else [place]
        if place.is_dir():
            places.append(_shown(place))
        elif not place.is_file():
            log.add(_fault(document, "products", name, "nothing there", "a folder or a file"))
            continue
        for path in inside:
            if path.name.startswith(".") or (place.is_dir() and not _is_product(path)):
                continue
            if path.stem in products and products[path.stem] != _shown(path):
                both = f'"{path.stem}" in {products[path.stem]} and in {_shown(path)}'
                log.add(_fault(document, "products", name, both, "products each with its own id"))
            products[path.stem] = _shown(path)
    for name in found.catalogues:
        if not (file.parent / name).is_dir():
            expected = "a catalogue folder, such as `catalog start` makes"
            log.add(_fault(document, "catalogues", name, "no folder there", expected))
    log.raise_if_any()
    return Project(
        file=_shown(file),
        catalogues=tuple(_shown(file.parent / name) for name in found.catalogues),
        demonstration=found.demonstration,
        products=products,
        places=tuple(places),
    )


def _is_product(path: Path) -> bool:
    """Whether a file of a folder is meant as a product: others may lie there too."""
    try:
        return _PRODUCT.search(read_bytes(path, str(path))) is not None
    except FaultError:
        return False


def _fault(document: Document, key: str, name: str, read: str, expected: str) -> Fault:
    """A fault at an entry of a list of the file."""
    assert isinstance(document.root, MappingNode)
    place: Place | None = None
    for k, entries in document.root.value:
        if getattr(k, "value", None) == key:
            for entry in entries.value:
                if entry.value == name:
                    place = place_of(entry, document.file)
    return Fault(f"{NAME}:{key}.{name}", read, expected, place)
