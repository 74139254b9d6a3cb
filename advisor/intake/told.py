"""What a table tells of each part, by its map: keys with the texts behind them, each with its cell."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from advisor.catalogue.fields import MapOf
from advisor.catalogue.kinds import ID, Figure
from advisor.catalogue.schema_map import TableMap
from advisor.faults import Fault, FaultLog, Place
from advisor.intake.cells import Bad, Converter, Style, identity
from advisor.intake.grid import Grid, shown
from advisor.intake.plan import Entry, Plan
from advisor.intake.targets import Target

if TYPE_CHECKING:
    import polars as pl

_SHOWN = 12  # rows or columns that a note names
Keys = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Put:
    """The text that goes behind a key, and the cell that it comes from."""

    text: str
    place: Place
    target: Target
    constant: bool = False


@dataclass(slots=True)
class Told:
    """What a table tells. `rows` go from part to the indices of its rows, in order of the table."""

    grid: Grid
    plan: Plan
    rows: dict[str, list[int]]
    names: dict[str, str]
    notes: list[str]
    log: FaultLog
    values: list[list[str | None]] = field(default_factory=list)
    holes: dict[str, list[str | None]] = field(default_factory=dict)
    currencies: dict[int, list[str | None]] = field(default_factory=dict)
    minimum: list[str | None] = field(default_factory=list)
    others: tuple[str, ...] = ()

    def place(self, part: str) -> Place:
        """Where a part is first named."""
        return self.grid.place(self.rows[part][0], self.plan.part)

    def puts(self, part: str) -> dict[Keys, Put]:
        """The keys that a part gets; noting where rows tell two things of one."""
        out: dict[Keys, Put] = {}
        for row in self.rows[part]:
            given = {hole: values[row] for hole, values in self.holes.items()}
            filled = {hole: text for hole, text in given.items() if text is not None}
            for entry, values in zip(self.plan.entries, self.values, strict=True):
                text = values[row]
                if text is not None:
                    self._put(part, out, entry, text, row, filled)
        self._constants(part, out)
        return out

    def _put(
        self,
        part: str,
        out: dict[Keys, Put],
        entry: Entry,
        text: str,
        row: int,
        filled: Mapping[str, str],
    ) -> None:
        place = self.grid.place(row, entry.column)
        lacking = [hole for hole in entry.target.holes if hole not in filled]
        if lacking:
            column = self.plan.holes[lacking[0]].column
            expected = f"what it is of, in column {self.grid.name(column)} of this row"
            self.log.add(Fault(f"{part}:{entry.target.text}", f'"{text}"', expected, place))
            return
        keys = entry.target.path(filled)
        self._one(part, out, keys, Put(text, place, entry.target))
        codes = self.currencies.get(entry.column)
        code = None if codes is None else codes[row]
        if code is not None and keys[0] == "price" and code != "$":
            from advisor.intake.targets import parse

            self._one(part, out, ("price", "currency"), Put(code, place, parse("price.currency")))

    def _one(self, part: str, out: dict[Keys, Put], keys: Keys, put: Put) -> None:
        stands = out.setdefault(keys, put)
        if stands.text != put.text:
            expected = f'"{stands.text}", as {stands.place.text()} has it, or the row passed over'
            path = f"{part}:{'.'.join(keys)}"
            self.log.add(Fault(path, f'"{put.text}"', expected, put.place))

    def _constants(self, part: str, out: dict[Keys, Put]) -> None:
        """What holds of every part, below a named record or a price only where rows tell of it."""
        told = {keys[:depth] for keys in out for depth in range(1, len(keys))}
        for target, text, place in self.plan.constants:
            fillings: list[dict[str, str]] = [{}]
            if target.holes:
                fillings = [
                    {h: v for h in target.holes if (v := self.holes[h][row]) is not None}
                    for row in self.rows[part]
                ]
                fillings = [f for f in fillings if len(f) == len(target.holes)]
            for filled in fillings:
                keys = target.path(filled)
                named = any(isinstance(step.inside, MapOf) for step in target.steps)
                tied = keys[0] == "price" or (named and keys[0] != "evidence" and len(keys) > 2)
                if (not tied or keys[:-1] in told) and keys not in out:
                    out[keys] = Put(text, place, target, constant=True)

    def least_order(self, part: str) -> int | None:
        """The fewest pieces of a part that are sold."""
        found = {self.minimum[row] for row in self.rows[part]} if self.minimum else set()
        given = [int(text) for text in found if text is not None]
        return max(given, default=None)


def tell(
    grid: Grid, plan: Plan, given: TableMap, log: FaultLog, wanted: Collection[str] | None = None
) -> Told:
    """Read a table by its plan.

    Parameters
    ----------
    log : where faults of cells go. wanted : the only parts that are read; None for all.
    """
    import polars as pl

    below = plan.header.below
    raw = {at: _tidied(grid.columns[at], plan.style) for at in range(len(grid.columns))}
    _merged(grid, plan, raw, log)
    for at in plan.down:
        raw[at] = _filled(raw[at], below)
    kept = pl.Series([True]).new_from_index(0, len(grid.numbers))
    kept = kept & (pl.int_range(0, len(kept), eager=True) >= below)
    if plan.skipped:
        numbers = pl.Series(grid.numbers)
        kept = kept & ~numbers.is_in(sorted(plan.skipped))
    for at, texts in plan.only:
        kept = kept & raw[at].is_in(list(texts)).fill_null(False)
    for at, texts in plan.never:
        kept = kept & ~raw[at].is_in(list(texts)).fill_null(False)
    some = _any([raw[at] for at in plan.mapped - {plan.part}], len(kept))
    named = raw[plan.part].is_not_null()
    notes = list(grid.notes)
    _notes(grid, plan, raw, kept & ~named & ~some, notes)
    for row in (kept & ~named & some).arg_true().to_list():
        place = grid.place(row, plan.part)
        log.add(Fault("part", "nothing", "the part's name, or skip-rows with this row", place))
    kept = kept & named
    ids = _ids(grid, plan, raw[plan.part], kept, given.names, log)
    others: tuple[str, ...] = ()
    if wanted is not None:
        lacking = {text: one for text, one in ids.items() if one not in wanted}
        others = tuple(lacking)
        ids = {text: one for text, one in ids.items() if one in wanted}
    by_name = raw[plan.part].replace_strict(ids, default=None, return_dtype=pl.String)
    kept = kept & by_name.is_not_null()
    rows: dict[str, list[int]] = {}
    at_rows = kept.arg_true().to_list()
    for row, part in zip(at_rows, by_name.filter(kept).to_list(), strict=True):
        rows.setdefault(part, []).append(row)
    names = {part: text for text, part in ids.items()}
    told = Told(grid, plan, rows, names, notes, log, others=others)

    def made(at: int, maker: Converter, path: str) -> list[str | None]:
        series = raw[at].zip_with(kept, pl.Series([None], dtype=pl.String).new_from_index(0, len(kept)))
        values, bad = maker.many(series)
        if bad:
            _bad(grid, at, path, series, bad, log)
        return values.to_list()

    for entry in plan.entries:
        told.values.append(made(entry.column, entry.converter, entry.target.text))
        kind = entry.target.kind
        if isinstance(kind, Figure) and kind.dimension == "money":
            told.currencies[entry.column] = _currencies(raw[entry.column], entry.converter)
    for hole, entry in plan.holes.items():
        told.holes[hole] = made(entry.column, entry.converter, f"{{{hole}}}")
    if plan.minimum is not None:
        told.minimum = made(*plan.minimum, "minimum-order")
    return told


def _tidied(series: pl.Series, style: Style) -> pl.Series:
    """A column's texts without the blanks about them, null where nothing is left."""
    if not style.as_written:
        series = series.str.strip_chars()
    return series.zip_with(series != "", series.clear(len(series))) if len(series) else series


def _filled(series: pl.Series, below: int) -> pl.Series:
    return series.head(below).append(series.slice(below).fill_null(strategy="forward"))


def _any(columns: list[pl.Series], length: int) -> pl.Series:
    """Where any of some columns has a text."""
    import polars as pl

    out = pl.Series([False]).new_from_index(0, length)
    for column in columns:
        out = out | column.is_not_null()
    return out


def _merged(grid: Grid, plan: Plan, raw: dict[int, pl.Series], log: FaultLog) -> None:
    """Let what is merged over several rows stand in each; over several columns it is refused."""
    index = {number: at for at, number in enumerate(grid.numbers)} if grid.regions else {}
    values: dict[int, list[str | None]] = {}
    for region in grid.regions:
        rows = [index[n] for n in range(region.top, region.bottom + 1) if n in index]
        rows = [row for row in rows if row >= plan.header.below]
        columns = [at for at in range(region.left - 1, region.right) if at in plan.mapped]
        if not rows or not columns or grid.numbers[rows[0]] in plan.skipped:
            continue
        if region.right > region.left:
            place = grid.place(rows[0], region.left - 1)
            read = f"a cell merged over {region.right - region.left + 1} columns"
            log.add(Fault("table", read, "a cell a column, or skip-rows with this row", place))
            continue
        held = values.setdefault(columns[0], raw[columns[0]].to_list())
        for row in rows:
            held[row] = held[rows[0]]
    for at, cells in values.items():
        raw[at] = type(raw[at])(cells, dtype=raw[at].dtype)


def _notes(
    grid: Grid, plan: Plan, raw: dict[int, pl.Series], empty: pl.Series, notes: list[str]
) -> None:
    """What of the table goes nowhere."""
    rest = [at for at in raw if at not in plan.mapped and raw[at].slice(plan.header.below).count()]
    filtered = {at for at, _ in (*plan.only, *plan.never)}
    idle = [plan.header.full[at] or grid.name(at) for at in rest if at not in filtered]
    if idle:
        more = f" and {len(idle) - _SHOWN} more" if len(idle) > _SHOWN else ""
        notes.append(f"columns that no key takes: {', '.join(idle[:_SHOWN])}{more}")
    blank = empty & _any([raw[at] for at in rest], len(empty))
    told = [str(grid.numbers[row]) for row in blank.arg_true().to_list()]
    if told:
        more = f" and {len(told) - _SHOWN} more" if len(told) > _SHOWN else ""
        notes.append(f"rows with nothing in the columns read: {', '.join(told[:_SHOWN])}{more}")


def _ids(
    grid: Grid,
    plan: Plan,
    column: pl.Series,
    kept: pl.Series,
    given: Mapping[str, str],
    log: FaultLog,
) -> dict[str, str]:
    """The id of each part by its name in the table."""
    out: dict[str, str] = {}
    seen: dict[str, str] = {}
    texts = column.filter(kept).unique(maintain_order=True).to_list()
    for text in texts:
        name = " ".join(shown(text).split())
        made = given.get(name) or (name if ID.fullmatch(name) else None)
        if made is None and not plan.style.as_written:
            made = identity(name)
        why = None
        if made is None or (text.startswith("\0") and not text.startswith("\0n")):
            expected = "a part's name: letters, digits, blanks, hyphens, dots; or names: for its id"
            why = Bad(f'"{shown(text)}"', expected)
        elif made in seen and seen[made] != name:
            expected = f'a name with an id of its own: "{seen[made]}" has {made} too'
            why = Bad(f'"{name}"', expected)
        if why is not None:
            row = (kept & (column == text)).arg_true()[0]
            log.add(Fault("part", why.read, why.expected, grid.place(row, plan.part)))
            continue
        assert made is not None
        seen[made] = name
        out[text] = made
    return out


def _bad(
    grid: Grid, at: int, path: str, series: pl.Series, bad: Mapping[str, Bad], log: FaultLog
) -> None:
    """Note each cell that could not be read."""
    for row in series.is_in(list(bad)).fill_null(False).arg_true().to_list():
        why = bad[series[row]]
        log.add(Fault(path, why.read, why.expected, grid.place(row, at), why.nearest))


def _currencies(series: pl.Series, maker: Converter) -> list[str | None]:
    """The currency that each cell bears, if any does."""
    import polars as pl

    found = {text: maker.currency(text) for text in series.unique().to_list() if text}
    codes = {text: code for text, code in found.items() if code is not None}
    if not codes:
        return [None] * len(series)
    return series.replace_strict(codes, default=None, return_dtype=pl.String).to_list()

