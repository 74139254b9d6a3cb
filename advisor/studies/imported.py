"""`catalog import`: what a file brings into a catalogue, what entries lack, what is left out."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.catalogue.load import FOLDERS
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd

    from advisor.intake.entries import Brought, Entry


@dataclass(frozen=True, slots=True)
class Reader:
    """What reads files of an ending: what they are, the options it takes, the reading itself."""

    what: str
    takes: frozenset[str]
    read: Callable[..., Brought]


def _packs(path: Path, only: Sequence[str] = ()) -> Brought:
    from advisor.intake.packs_in import read_packs

    return read_packs(path, only)


def _batteries(path: Path, only: Sequence[str] = ()) -> Brought:
    from advisor.intake.batteries_in import read_batteries

    return read_batteries(path, only)


READERS: Mapping[str, Reader] = {
    ".pack": Reader("a pack (Open-CMSIS-Pack): parts", frozenset({"only"}), _packs),
    ".pdsc": Reader("a pack's description: parts", frozenset({"only"}), _packs),
    ".dts": Reader("a devicetree source: cells", frozenset({"only"}), _batteries),
    ".dtsi": Reader("a devicetree source: cells", frozenset({"only"}), _batteries),
}
"""By the ending of a file, in lower case, what reads it."""


@dataclass(frozen=True, slots=True)
class ImportedEntry:
    """An entry that a file brings."""

    kind: str
    """part, cell, converter or addon"""
    id: str
    """its id"""
    name: str
    """what the source calls it"""
    file: str
    """its file, below the catalogue's folder"""
    state: str
    """`new`, or `stands` where the same file is there already"""
    facts: Mapping[str, str]
    """what to know it by, as its file writes it"""
    lacks: tuple[str, ...]
    """keys that the source does not tell: to be measured or looked up"""
    aside: tuple[str, ...]
    """what the source tells and the file has no key for, or does not count, with why"""


@dataclass(frozen=True, slots=True)
class Imported:
    """What a file brings into a catalogue."""

    source: str
    """the source's own name"""
    version: str | None
    """its version, where it states one"""
    folder: str
    """the catalogue's folder"""
    entries: tuple[ImportedEntry, ...]
    """what it brings, in its own order"""
    passed_over: int
    """entries that were not asked for"""
    files: Mapping[str, bytes]
    """the new files by their path below the folder; not in the JSON"""

    def document(self) -> dict[str, Any]:
        """The result for JSON."""
        return {
            "source": self.source,
            "version": self.version,
            "folder": self.folder,
            "passed_over": self.passed_over,
            "entries": [
                {
                    "kind": e.kind,
                    "id": e.id,
                    "name": e.name,
                    "file": e.file,
                    "state": e.state,
                    "facts": dict(e.facts),
                    "lacks": list(e.lacks),
                    "aside": list(e.aside),
                }
                for e in self.entries
            ],
        }

    def rows(self) -> list[dict[str, Any]]:
        """A row an entry."""
        return [
            {
                "kind": e.kind,
                "id": e.id,
                "name": e.name,
                "file": e.file,
                "state": e.state,
                "lacks": "; ".join(e.lacks),
                "aside": "; ".join(e.aside),
            }
            for e in self.entries
        ]

    def to_frame(self) -> pd.DataFrame:
        """The entries as a data frame."""
        return frame(self.rows())


def imported(
    path: Path | str, folder: Path | str, only: Sequence[str] = (), **options: Any
) -> Imported:
    """What a file brings into the catalogue in a folder; nothing is written.

    Parameters
    ----------
    path : its ending says what it is, see `READERS`. folder : there already, or not yet.
    only : patterns of names, `*` and `?` standing for anything; all where there is none.
    options : those of the file's reader.

    Raises
    ------
    FaultError
        For an ending that nothing reads, an option that its reader does not take, whatever is wrong
        with the file, and entries that stand in the folder and are not the same.
    """
    path, folder = Path(path), Path(folder)
    reader = reader_of(path)
    given = {name: value for name, value in {"only": only, **options}.items() if value}
    faults = [
        Fault(f"--{name}", f"an option beside {path.suffix}", _taken(reader))
        for name in given
        if name not in reader.takes
    ]
    if faults:
        raise FaultError(faults)
    return placed(reader.read(path, **given), folder)


def _taken(reader: Reader) -> str:
    options = ", ".join(f"--{name}" for name in sorted(reader.takes)) or "none"
    return f"options of its own: {options}"


def reader_of(path: Path) -> Reader:
    """What reads a file, by its ending.

    Raises
    ------
    FaultError
        For an ending that nothing reads.
    """
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        ending = f'"{path.suffix}"' if path.suffix else "no ending"
        expected = "; ".join(f"{name}, {one.what}" for name, one in READERS.items())
        raise FaultError((Fault("FILE", ending, expected),))
    return reader


def placed(brought: Brought, folder: Path) -> Imported:
    """What was brought, held against what stands in a catalogue's folder.

    Raises
    ------
    FaultError
        With every entry that stands there otherwise, or bears the id of another kind's entry.
    """
    log = FaultLog()
    if os.path.lexists(folder) and not os.path.isdir(folder):
        raise FaultError((Fault("--into", f'a file, "{folder}"', "a catalogue's folder"),))
    there = {name: _names(folder / name, log) for name in FOLDERS}
    entries = []
    files: dict[str, bytes] = {}
    for entry in brought.entries:
        file = f"{entry.folder}/{entry.identity}.yaml"
        data = entry.text.encode()
        state = _state(entry, folder / file, data, there, log)
        if state == "new":
            files[file] = data
        entries.append(
            ImportedEntry(
                kind=FOLDERS[entry.folder][0],
                id=entry.identity,
                name=entry.name,
                file=file,
                state=state,
                facts=dict(entry.facts),
                lacks=entry.lacks,
                aside=entry.aside,
            )
        )
    log.raise_if_any()
    return Imported(
        source=brought.source,
        version=brought.version,
        folder=str(folder),
        entries=tuple(entries),
        passed_over=brought.passed_over,
        files=files,
    )


def _names(folder: Path, log: FaultLog) -> frozenset[str]:
    try:
        return frozenset(os.listdir(folder))
    except FileNotFoundError:
        return frozenset()
    except OSError as error:
        log.add(Fault("--into", f"{folder}: {error.strerror}", "a folder that can be read"))
        return frozenset()


def _state(
    entry: Entry, path: Path, data: bytes, there: Mapping[str, frozenset[str]], log: FaultLog
) -> str:
    """Whether an entry is new or stands; faults are noted."""
    name = f"{entry.identity}.yaml"
    other = next((f for f, names in there.items() if f != entry.folder and name in names), None)
    if other is not None:
        read = f'the id "{entry.identity}", which {other}/{name} bears'
        log.add(Fault(entry.name, read, "an id of its own", entry.place))
    if name not in there[entry.folder]:
        return "new"
    try:
        same = path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        same = False
    if not same:
        read = f'another "{path}", which stands'
        expected = "a free place, or the same file; what was measured would be lost"
        log.add(Fault(entry.name, read, expected, entry.place))
    return "stands"
