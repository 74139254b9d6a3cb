"""Parts from a table by its map: read, and held against the catalogue that they go into."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from advisor.catalogue.load import load_catalogue, read_document
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_map import TableMap
from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultLog
from advisor.intake.filling import Filled, new_part, put_into, record_of
from advisor.intake.grid import Grid
from advisor.intake.plan import plan_of
from advisor.intake.tables import read_grid
from advisor.intake.told import Keys, Put, Told, tell
from advisor.source import Document, collector_paused, read_bytes

ALONE = "a name and nothing else"


def standing(folder: Path) -> Catalogue:
    """The catalogue of a folder; an empty one where there is none yet.

    Raises
    ------
    FaultError
        For a catalogue that has faults itself.
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return Catalogue()
    return load_catalogue([folder])


def read_through(
    path: Path,
    given: TableMap,
    document: Document,
    wanted: Collection[str] | None = None,
    data: bytes | None = None,
) -> Told:
    """Read a table through its map.

    Parameters
    ----------
    document : the map's own. wanted : the only parts that are read; None for all.
    data : what is about to be the file's.

    Raises
    ------
    FaultError
        With every fault of the map and of the table's header.
    """
    grid = read_grid(
        path,
        sheet=given.sheet,
        encoding=given.encoding,
        delimiter=given.delimiter,
        data=data,
    )
    return tell(grid, plan_of(grid, given, document), given, FaultLog(), wanted)


def through(grid: Grid, given: TableMap, document: Document) -> dict[str, Part]:
    """The parts that a table tells of by a map, for none of a catalogue.

    Raises
    ------
    FaultError
        With every fault of the map or, where it has none, of the table.
    """
    told = tell(grid, plan_of(grid, given, document), given, FaultLog())
    return records_of(told, Catalogue())


def read_map(path: Path, text: str | None = None) -> tuple[TableMap, Document]:
    """A map and its document.

    Raises
    ------
    FaultError
        With every fault of it.
    """
    return read_document(TableMap, path, text)


@dataclass(frozen=True, slots=True)
class Written:
    """A part from a table: the text of its file, and what became of it."""

    part: str
    name: str
    rows: tuple[int, ...]
    values: int
    new: bool
    filled: Filled
    before: str = ""


def parts_of(told: Told, folder: Path, update: bool) -> list[Written]:
    """Every part that a table tells of, checked with the catalogue that it goes into.

    Raises
    ------
    FaultError
        With every fault of the table's cells and of the parts that they make.
    """
    with collector_paused():
        return _parts_of(told, folder, update)


def _parts_of(told: Told, folder: Path, update: bool) -> list[Written]:
    there = standing(folder)
    log, out = told.log, list[Written]()
    others = {identity: kind for kind, found in there.kinds.items() for identity in found}
    for part in told.rows:
        place = told.place(part)
        puts = told.puts(part)
        if _nothing(told, part, puts):
            continue
        kind = others.get(part)
        if kind is not None and (kind != "part" or not update):
            expected = "a new part, or --update to put into what stands"
            if kind != "part":
                expected = "an id that nothing else of the catalogue bears"
            log.add(Fault(part, f"a {kind} that stands already", expected, place))
            continue
        rows = tuple(told.grid.numbers[row] for row in told.rows[part])
        before = ""
        if kind is None:
            head = _head(told, part, rows)
            filled = new_part(part, puts, place, head, there, log)
        else:
            file = there.documents[part].file
            before = read_bytes(Path(file), file).decode("utf-8-sig")
            filled = put_into(part, puts, before, file, there, log)
        if filled is not None:
            name = told.names[part]
            out.append(
                Written(
                    part=part,
                    name=name,
                    rows=rows,
                    values=len(puts),
                    new=kind is None,
                    filled=filled,
                    before=before,
                )
            )
    told.raise_if_any()
    return out


def _nothing(told: Told, part: str, puts: Mapping[Keys, Put]) -> bool:
    """Note a part that a table names and says nothing of."""
    if told.plan.style.as_written or any(not put.constant for put in puts.values()):
        return False
    if not told.spoiled.isdisjoint(told.rows[part]):
        return True  # what it says could not be read
    expected = "something of the part in its rows, or the rows passed over"
    told.log.add(Fault(part, ALONE, expected, told.place(part)))
    return True


def _head(told: Told, part: str, rows: tuple[int, ...]) -> str:
    """Where a part comes from, for whoever goes on in its file."""
    grid = told.grid
    where = Path(grid.file).name + (f", sheet {grid.sheet}" if grid.sheet else "")
    which = f"row {rows[0]}" if len(rows) == 1 else f"rows {rows[0]} to {rows[-1]}"
    name = told.names[part]
    named = "" if name == part else f"{name}. "
    return f"{named}From {where}, {which}. What is not stated is not known."


def files_of(written: list[Written], folder: Path) -> Mapping[Path, str]:
    """The files of the parts."""
    return {folder / "parts" / f"{one.part}.yaml": one.filled.text for one in written}


def records_of(told: Told, catalogue: Catalogue) -> dict[str, Part]:
    """The parts that a table tells of, read and checked, without their files.

    Raises
    ------
    FaultError
        With every fault of the table's cells and of the parts.
    """
    log, out = told.log, dict[str, Part]()
    for part in told.rows:
        puts = told.puts(part)
        if _nothing(told, part, puts):
            continue
        found = record_of(part, puts, told.place(part), catalogue, log)
        if found is not None:
            out[part] = found[0]
    told.raise_if_any()
    return out
