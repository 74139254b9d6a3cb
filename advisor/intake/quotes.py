"""A distributor's quote put onto parts that stand: prices, multiples, lead times; nothing else."""

from __future__ import annotations

from pathlib import Path

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_map import TableMap
from advisor.catalogue.schema_parts import Part, Price
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError
from advisor.intake.filling import Filled, put_into
from advisor.intake.importing import read_through
from advisor.intake.told import BREAKS, Told
from advisor.source import Document, place_of, read_bytes

_OLD = ("multiple", "discount", "lead-time", "stock", "date", "offer")


@dataclass(frozen=True, slots=True)
class Quoted:
    """A part with its new price.

    `was` and `now` are the prices; `stays` the keys of the price that the quote says nothing of;
    `dropped` the quantities below the minimum order, which cannot be bought.
    """

    part: str
    name: str
    was: Price | None
    now: Price
    stays: tuple[str, ...]
    dropped: tuple[int, ...]
    least: int | None
    filled: Filled
    before: str


@dataclass(frozen=True, slots=True)
class Quote:
    """What a quote says of a catalogue.

    `unknown` are names of the quote that no part bears, `silent` parts that it says nothing of.
    """

    parts: tuple[Quoted, ...]
    unknown: tuple[str, ...]
    silent: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def currencies(self) -> dict[str, int]:
        """Parts quoted in each currency."""
        out: dict[str, int] = {}
        for one in self.parts:
            code = one.now.currency or ""
            out[code] = out.get(code, 0) + 1
        return out


def quote(path: Path, given: TableMap, document: Document, folder: Path) -> Quote:
    """Put a quote onto the parts of a catalogue, in memory.

    Raises
    ------
    FaultError
        With every fault: of the map, which may have keys of the price only, of the cells, of prices
        without a currency or in two, and of the parts that they make.
    """
    _prices_only(given, document)
    catalogue = load_catalogue([folder])
    told = read_through(path, given, document, catalogue.parts)
    done = []
    for part in told.rows:
        one = _quoted(told, part, catalogue)
        if one is not None:
            done.append(one)
    told.raise_if_any()
    silent = tuple(part for part in catalogue.parts if part not in told.rows)
    return Quote(tuple(done), told.others, silent, tuple(told.notes))


def _prices_only(given: TableMap, document: Document) -> None:
    faults = []
    for section, keys in (("keys", given.keys), ("constants", given.constants)):
        for name in keys:
            if name.partition(".")[0] != "price":
                expected = "a key of the price: catalog import --update takes others"
                place = place_of(document.root, document.file)
                faults.append(Fault(f"map:{section}.{name}", f'"{name}"', expected, place))
    if faults:
        raise FaultError(faults)


def _quoted(told: Told, part: str, catalogue: Catalogue) -> Quoted | None:
    puts = told.puts(part)
    breaks = {keys: put for keys, put in puts.items() if keys[:2] == BREAKS}
    place = told.place(part)
    if not breaks and not told.spoiled.isdisjoint(told.rows[part]):
        return None  # its price could not be read
    if not breaks:
        read = f'"{told.names[part]}" without a price'
        told.log.add(Fault(f"{part}:price.breaks", read, "a price, or the row passed over", place))
        return None
    was = catalogue.parts[part].price
    if ("price", "currency") not in puts:
        expected = "its currency: a column, or price.currency in constants"
        told.log.add(Fault(f"{part}:price.currency", "a price without one", expected, place))
        return None
    file = catalogue.documents[part].file
    before = read_bytes(Path(file), file).decode("utf-8-sig")
    new = {int(keys[2]) for keys in breaks if keys[2].isdecimal()}
    gone = set(was.breaks or ()) - new if was is not None else set()
    filled = put_into(part, puts, before, file, catalogue, told.log, whole=BREAKS if gone else ())
    if filled is None or filled.part.price is None:
        return None
    stays = tuple(
        key
        for key in _OLD
        if ("price", key) not in puts and was is not None and _stands(catalogue.parts[part], key)
    )
    return Quoted(
        part=part,
        name=told.names[part],
        was=was,
        now=filled.part.price,
        stays=stays,
        dropped=told.dropped.get(part, ()),
        least=told.least_order(part),
        filled=filled,
        before=before,
    )


def _stands(part: Part, key: str) -> bool:
    found = stated(part, ("price", key))
    return found is not None and (key, found) not in (("multiple", 1), ("discount", "all-units"))
