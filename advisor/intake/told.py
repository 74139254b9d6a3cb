"""What a table tells of each part, by its map: keys, the texts behind them, and their cells."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from advisor.catalogue.fields import MapOf
from advisor.catalogue.kinds import ID, Figure
from advisor.catalogue.schema_map import TableMap
from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, FaultLog, Place
from advisor.intake.cells import Bad, Converter, Style, identity
from advisor.intake.grid import MARK, Grid, shown
from advisor.intake.plan import Entry, Plan
from advisor.intake.targets import Target, parse
from advisor.source import collector_paused

if TYPE_CHECKING:
    import polars as pl

WORKERS = 4  # columns that are made at a time
LONGEST_ID = 100  # characters; a file's name may have 255 bytes on most systems
_SHOWN = 12  # rows or columns that a note names
Keys = tuple[str, ...]
CURRENCY = parse("price.currency")
BREAKS = ("price", "breaks")


class Put:
    """The text that goes behind a key, and where it comes from: a cell, or a place in the map."""

    __slots__ = ("column", "constant", "grid", "row", "target", "text")

    def __init__(
        self, text: str, target: Target, grid: Grid | Place, row: int = 0, column: int = 0
    ) -> None:
        self.text, self.target = text, target
        self.grid, self.row, self.column = grid, row, column
        self.constant = isinstance(grid, Place)

    @property
    def place(self) -> Place:
        """Where it comes from."""
        if isinstance(self.grid, Place):
            return self.grid
        return self.grid.place(self.row, self.column)


@dataclass(slots=True)
class Told:
    """What a table tells.

    `rows` go from part to the indices of its rows, in order of the table, `names` to its name
    there. `others` are names of parts that were not wanted, `spoiled` rows with a cell that could
    not be read, `dropped` the quantities of each part below its minimum order.
    """

    grid: Grid
    plan: Plan
    rows: dict[str, list[int]]
    names: dict[str, str]
    notes: list[str]
    log: FaultLog
    columns: list[pl.Series] = field(default_factory=list)
    named: dict[str, pl.Series] = field(default_factory=dict)
    currencies: dict[int, list[str | None]] = field(default_factory=dict)
    minimum: list[str | None] = field(default_factory=list)
    others: tuple[str, ...] = ()
    spoiled: set[int] = field(default_factory=set)
    dropped: dict[str, tuple[int, ...]] = field(default_factory=dict)
    _values: list[tuple[Entry, list[str | None], dict[tuple[str, ...], Keys]]] | None = None
    _holes: dict[str, list[str | None]] | None = None

    @property
    def values(self) -> list[tuple[Entry, list[str | None], dict[tuple[str, ...], Keys]]]:
        """(entry, its text in each row, its keys by the names that fill them)."""
        if self._values is None:
            pairs = zip(self.plan.entries, self.columns, strict=True)
            self._values = [(entry, series.to_list(), {}) for entry, series in pairs]
        return self._values

    @property
    def holes(self) -> dict[str, list[str | None]]:
        """What fills each placeholder in each row."""
        if self._holes is None:
            self._holes = {hole: series.to_list() for hole, series in self.named.items()}
        return self._holes

    def place(self, part: str) -> Place:
        """Where a part is first named."""
        return self.grid.place(self.rows[part][0], self.plan.part)

    def raise_if_any(self) -> None:
        """Raise the faults of the table, in its order."""
        faults = self.log.faults
        if faults:
            raise FaultError(sorted(faults, key=self._order))

    def _order(self, fault: Fault) -> tuple[int, int]:
        place = fault.place
        own = place is not None and place.file == self.grid.file
        return (place.line, place.column) if place is not None and own else (0, 0)

    def puts(self, part: str) -> dict[Keys, Put]:
        """The keys that a part gets; noting where rows tell two things of one."""
        out: dict[Keys, Put] = {}
        holes, grid = self.holes, self.grid
        for row in self.rows[part]:
            for entry, values, known in self.values:
                text = values[row]
                if text is None:
                    continue
                target = entry.target
                given = tuple([holes[hole][row] or "" for hole in target.holes])
                keys = known.get(given)
                if keys is None:
                    if "" in given:
                        self._unnamed(part, entry, text, row, target.holes[given.index("")])
                        continue
                    keys = known[given] = target.path(dict(zip(target.holes, given, strict=True)))
                put = Put(text, target, grid, row, entry.column)
                stands = out.setdefault(keys, put)
                if stands.text != text:
                    self._twice(part, keys, stands, put)
                if self.currencies and entry.column in self.currencies:
                    self._currency(part, out, entry, row)
        self._constants(part, out)
        return self._from_least(part, out)

    def _from_least(self, part: str, out: dict[Keys, Put]) -> dict[Keys, Put]:
        """Breaks from the minimum order up: the price that holds at it stands there, lower go."""
        least = self.least_order(part)
        known = {int(k[2]): k for k in out if k[:2] == BREAKS and k[2].isdecimal()}
        low = [] if least is None else sorted(q for q in known if q < least)
        if not low:
            return out
        if least not in known:
            out[(*BREAKS, str(least))] = out[known[low[-1]]]
        for quantity in low:
            del out[known[quantity]]
        self.dropped[part] = tuple(low)
        return out

    def _unnamed(self, part: str, entry: Entry, text: str, row: int, hole: str) -> None:
        column = self.plan.holes[hole].column
        expected = f"what it is of, in column {self.grid.name(column)} of this row"
        place = self.grid.place(row, entry.column)
        self.log.add(Fault(f"{part}:{entry.target.text}", f'"{text}"', expected, place))

    def _twice(self, part: str, keys: Keys, stands: Put, put: Put) -> None:
        expected = f'"{stands.text}", as {stands.place.text()} has it, or the row passed over'
        path = f"{part}:{'.'.join(keys)}"
        self.log.add(Fault(path, f'"{put.text}"', expected, put.place))

    def _currency(self, part: str, out: dict[Keys, Put], entry: Entry, row: int) -> None:
        """Put the currency that a cell bears."""
        code = self.currencies[entry.column][row]
        if code is None or entry.target.steps[0].text != "price":
            return
        put = Put(code, CURRENCY, self.grid, row, entry.column)
        if code == "$":
            if not self._has_currency():
                expected = "its currency's code: several have this sign"
                self.log.add(Fault(f"{part}:price.currency", '"$"', expected, put.place))
            return
        stands = out.setdefault(("price", "currency"), put)
        if stands.text != code:
            self._twice(part, ("price", "currency"), stands, put)

    def _has_currency(self) -> bool:
        """Whether the map tells the currency, by a column or once for all."""
        told = (*(e.target for e in self.plan.entries), *(c[0] for c in self.plan.constants))
        return any(target.text == CURRENCY.text for target in told)

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
                    out[keys] = Put(text, target, place)

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
    with collector_paused():
        return _tell(grid, plan, given, log, wanted)


def _tell(
    grid: Grid, plan: Plan, given: TableMap, log: FaultLog, wanted: Collection[str] | None
) -> Told:
    import polars as pl

    below, length = plan.header.below, len(grid.numbers)
    # cells are tidied one by one where they are read: here only those that are compared
    raw = dict(enumerate(grid.columns))
    for at in {plan.part, *plan.down, *(at for at, _ in (*plan.only, *plan.never))}:
        raw[at] = _tidied(raw[at], plan.style)
    _merged(grid, plan, raw, log)
    for at in plan.down:
        raw[at] = _filled(raw[at], below)
    kept = pl.int_range(0, length, eager=True) >= below
    if plan.skipped:
        kept = kept & ~pl.Series(grid.numbers).is_in(sorted(plan.skipped))
    for at, texts in plan.only:
        kept = kept & _said(raw[at]).is_in(list(texts)).fill_null(False)
    for at, texts in plan.never:
        kept = kept & ~_said(raw[at]).is_in(list(texts)).fill_null(False)
    notes = list(grid.notes)
    nameless = kept & raw[plan.part].is_null()
    if nameless.any():
        raw = {at: _tidied(series, plan.style) for at, series in raw.items()}
        some = _any([raw[at] for at in plan.mapped - {plan.part}], length)
        _empty_rows(grid, plan, raw, nameless & ~some, notes)
        for row in (nameless & some).arg_true().to_list():
            place = grid.place(row, plan.part)
            log.add(Fault("part", "nothing", "the part's name, or skip-rows with this row", place))
        kept = kept & ~nameless
    _idle_columns(grid, plan, raw, notes)
    ids = _ids(grid, plan, raw[plan.part], kept, given.names, log, wanted)
    others: tuple[str, ...] = ()
    if wanted is not None:
        others = tuple(text for text, one in ids.items() if one not in wanted)
        ids = {text: one for text, one in ids.items() if one in wanted}
    by_name = raw[plan.part].replace_strict(ids, default=None, return_dtype=pl.String)
    kept = kept & by_name.is_not_null()
    frame = pl.DataFrame({"row": kept.arg_true(), "part": by_name.filter(kept)})
    grouped = frame.group_by("part", maintain_order=True).agg("row")
    rows: dict[str, list[int]] = dict(grouped.iter_rows())
    names = {part: text for text, part in ids.items()}
    told = Told(
        grid=grid,
        plan=plan,
        rows=rows,
        names=names,
        notes=notes,
        log=log,
        others=others,
    )
    nothing = pl.Series([None], dtype=pl.String).new_from_index(0, length)
    whole = int(kept.sum()) == length - below

    def taken(at: int) -> pl.Series:
        if whole:
            return nothing.head(below).append(raw[at].slice(below))
        return raw[at].zip_with(kept, nothing)

    wanted_columns = [(e.column, e.converter, e.target.text) for e in plan.entries]
    wanted_columns += [(e.column, e.converter, f"{{{hole}}}") for hole, e in plan.holes.items()]
    if plan.minimum is not None:
        wanted_columns.append((*plan.minimum, "minimum-order"))
    made = []
    for (at, _, path), (values, bad) in zip(
        wanted_columns,
        _at_the_same_time(lambda one: one[1].many(taken(one[0])), wanted_columns),
        strict=True,
    ):
        if bad:
            told.spoiled.update(_bad(grid, at, path, taken(at), bad, log))
        made.append(values)
    told.columns = made[: len(plan.entries)]
    told.named = dict(zip(plan.holes, made[len(plan.entries) :], strict=False))
    if plan.minimum is not None:
        told.minimum = made[-1].to_list()
    for entry in plan.entries:
        kind = entry.target.kind
        if isinstance(kind, Figure) and kind.dimension == "money":
            codes = _currencies(taken(entry.column), entry.converter)
            if codes is not None:
                told.currencies[entry.column] = codes
    return told


def _at_the_same_time(work: Callable[[Any], Any], given: list[Any]) -> list[Any]:
    """The work on each, in their order; the library of columns lets others go on meanwhile."""
    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(work, given))


def _said(series: pl.Series) -> pl.Series:
    """A column's texts without the marks of a workbook, one blank inside for several."""
    return series.str.replace(f"^{MARK}.", "").str.replace_all(r"\s+", " ")


def _tidied(series: pl.Series, style: Style) -> pl.Series:
    """A column's texts without the blanks about them, null where nothing is left."""
    if not style.as_written:
        series = series.str.strip_chars()
    empty = series == ""
    return series.zip_with(~empty, series.clear(len(series))) if empty.any() else series


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


def _idle_columns(grid: Grid, plan: Plan, raw: dict[int, pl.Series], notes: list[str]) -> None:
    """Say which columns go nowhere."""
    filtered = {at for at, _ in (*plan.only, *plan.never)}
    idle = [
        plan.header.full[at] or grid.name(at)
        for at in raw
        if at not in plan.mapped | filtered and raw[at].slice(plan.header.below).count()
    ]
    if idle:
        more = f" and {len(idle) - _SHOWN} more" if len(idle) > _SHOWN else ""
        notes.append(f"columns that no key takes: {', '.join(idle[:_SHOWN])}{more}")


def _empty_rows(
    grid: Grid, plan: Plan, raw: dict[int, pl.Series], empty: pl.Series, notes: list[str]
) -> None:
    """Say which rows have something, and nothing in the columns that are read."""
    rest = [raw[at] for at in raw if at not in plan.mapped]
    told = [str(grid.numbers[row]) for row in (empty & _any(rest, len(empty))).arg_true()]
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
    wanted: Collection[str] | None,
) -> dict[str, str]:
    """The id of each part by its name in the table; empty where it can be none that is wanted."""
    out: dict[str, str] = {}
    seen: dict[str, str] = {}
    texts = column.filter(kept).unique(maintain_order=True)
    if wanted is not None:
        # most names of a long list are of nobody's parts: they are not looked at one by one
        alike = _said(texts).str.to_lowercase().str.replace_all(r"[\s._-]+", "-")
        others = ~(alike.is_in(list(wanted)) | _said(texts).is_in(list(given)))
        out = dict.fromkeys(texts.filter(others).to_list(), "")
        texts = texts.filter(~others)
    for text in texts.to_list():
        name = " ".join(shown(text).split())
        made = given.get(name) or (name if ID.fullmatch(name) else None)
        if made is None and not plan.style.as_written:
            made = identity(name)
        why = None
        if made is None or (text.startswith("\0") and not text.startswith("\0n")):
            expected = "a part's name: letters, digits, blanks, hyphens, dots; or names: for its id"
            why = Bad(f'"{shown(text)}"', expected)
        elif len(made) > LONGEST_ID:
            why = Bad(f"a name of {len(name)} characters", f"at most {LONGEST_ID}")
        elif made in seen and seen[made].casefold() != name.casefold():
            expected = f'a name with an id of its own: "{seen[made]}" has {made} too'
            why = Bad(f'"{name}"', expected)
        if why is not None and wanted is not None and made not in wanted:
            out[text] = ""  # another's part, whatever it is called
            continue
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
) -> list[int]:
    """Note each cell that could not be read; the rows of them."""
    rows: list[int] = series.is_in(list(bad)).fill_null(False).arg_true().to_list()
    for row in rows:
        why = bad[series[row]]
        log.add(why.fault(path, grid.place(row, at)))
    return rows


def _currencies(series: pl.Series, maker: Converter) -> list[str | None] | None:
    """The currency that each cell bears; None where none does."""
    import polars as pl

    found = {text: maker.currency(text) for text in series.unique().to_list() if text}
    codes = {text: code for text, code in found.items() if code is not None}
    if not codes:
        return None
    return series.replace_strict(codes, default=None, return_dtype=pl.String).to_list()
