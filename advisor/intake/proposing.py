"""A map proposed for a table, from the names of its columns and what stands in them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from advisor.catalogue import compose
from advisor.catalogue.compose import Line
from advisor.catalogue.curves import CurveOf
from advisor.catalogue.edit import quoted
from advisor.catalogue.kinds import Figure, Kind
from advisor.catalogue.schema_map import Column
from advisor.dataclass import dataclass, field
from advisor.dimensions import DIMENSIONS
from advisor.faults import Fault, FaultError
from advisor.intake import trade_words as trade
from advisor.intake.cells import Bad, unit_of
from advisor.intake.exporting import Table, map_of, of_exported
from advisor.intake.grid import MARK, Grid, shown
from advisor.intake.headers import BRACKETS, Header, header_of
from advisor.intake.importing import ALONE, read_map, through
from advisor.intake.tables import read_grid
from advisor.intake.targets import TargetError, parse
from advisor.quantities import spellings

_LOOKED = 20  # rows among which the header is looked for
_SAMPLE = 2000  # rows that are looked at
_NUMBER = re.compile(r"[+-]?[0-9][0-9.,'\u2019\u00a0\u202f ]*")
_RANGE = re.compile(r".*[0-9].*(?:\.{2,3}|…|–|—|~|\bto\b|\bbis\b|[0-9A-Za-z°%] *-).*[0-9].*")
_CODE = re.compile(r"\b([A-Z]{3})\b|([€£])")
_SIGNS = {"€": "EUR", "£": "GBP"}
_CODES = ("EUR", "USD", "GBP", "CHF", "JPY", "CNY", "SEK", "NOK", "DKK", "PLN", "CZK", "CAD", "AUD")
POINT, TABLE = "run", "table"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A map as text, and what to mind of it."""

    text: str
    notes: tuple[str, ...]


@dataclass(slots=True)
class _Key:
    """A column that goes behind a key, or would."""

    key: str
    column: int
    unit: str = ""
    end: str = ""
    words: dict[str, str] = field(default_factory=dict)
    unsure: str = ""
    off: bool = False


def propose(path: Path) -> Proposal:
    """A map for a table; what of it fails on the table itself is said.

    Raises
    ------
    FaultError
        For a table that cannot be read, or in which no header is found.
    """
    grid = read_grid(path, guess=True)
    if not grid.columns:
        raise _none(grid, "an empty table")
    first = [cell or "" for cell in grid.row(0)]
    exported = of_exported(first)
    if exported is not None:
        table = Table(tuple(exported[0]), tuple(exported[1]), ())
        return Proposal(map_of(table, path.name, _layout(grid)), grid.notes)
    return _Proposer(path, grid).proposal()


def _none(grid: Grid, read: str) -> FaultError:
    place = grid.place(0, 0) if grid.numbers else None
    expected = "a row with the names of the columns, the part's among them"
    return FaultError((Fault("table", read, expected, place),))


def _layout(grid: Grid) -> list[Line]:
    lines = [Line("sheet", compose.text(grid.sheet))] if grid.sheet else []
    return lines + [Line(name, text) for name, text in grid.layout.items()]


class _Proposer:
    def __init__(self, path: Path, grid: Grid) -> None:
        self.path, self.grid = path, grid
        self.notes: list[str] = []
        self.rows, self.unit_row = self._header_rows()
        header = header_of(grid, self.rows, self.unit_row)
        assert not isinstance(header, Bad)
        self.header: Header = header
        length = min(len(grid.numbers), header.below + _SAMPLE)
        self.cells = [
            [" ".join(shown(c).split()) for c in column[header.below : length] if c]
            for column in grid.columns
        ]
        self.typed = [
            [c for c in column[header.below : length] if c and not c.startswith(MARK)]
            for column in grid.columns
        ]
        self.decimal, self.thousands = self._digits()
        self.blanks = sorted(
            {cell for cells in self.cells for cell in cells if cell in trade.BLANKS}
        )
        self.constants: dict[str, tuple[str, str]] = {}
        self.holes: dict[str, int] = {}
        self.minimum: int | None = None
        self.skipped: list[int] = []

    # The layout ----------------------------------------------------------------------------------

    def _filled(self, row: int) -> list[str]:
        return [" ".join(shown(cell or "").split()) for cell in self.grid.row(row)]

    def _header_rows(self) -> tuple[list[int], int | None]:
        """The rows of names, and that of units, by their numbers."""
        grid = self.grid
        usual = max(sum(map(bool, self._filled(r))) for r in range(min(_LOOKED, len(grid.numbers))))
        for row in range(min(_LOOKED, len(grid.numbers))):
            cells = [cell for cell in self._filled(row) if cell]
            names = [cell for cell in cells if not _NUMBER.fullmatch(cell)]
            if len(cells) >= max(2, usual / 2) and len(names) >= 0.8 * len(cells):
                break
        else:
            raise _none(grid, "no row of names")
        rows = [row]
        if row and self._above(row - 1, row):
            rows.insert(0, row - 1)
        elif row + 1 < len(grid.numbers) and self._above(row, row + 1):
            rows.append(row + 1)
        below = rows[-1] + 1
        unit_row = None
        if below < len(grid.numbers):
            cells = [cell for cell in self._filled(below) if cell]
            units = [cell for cell in cells if _is_unit(cell)]
            if (
                cells
                and len(units) >= max(1, len(cells) / 2)
                and not any(_NUMBER.fullmatch(cell) for cell in cells)
            ):
                unit_row = grid.numbers[below]
        return [grid.numbers[r] for r in rows], unit_row

    def _above(self, upper: int, lower: int) -> bool:
        """Whether a row has names of several columns each, which the row below it parts."""
        number = self.grid.numbers[upper]
        if any(r.top <= number <= r.bottom and r.right > r.left for r in self.grid.regions):
            return True
        if self.grid.sheet and self.grid.regions:
            return False
        above, below = self._filled(upper), self._filled(lower)
        named = next((at for at, cell in enumerate(above) if cell), len(above))
        parted = [at for at in range(named + 1, len(above)) if not above[at] and below[at]]
        return (
            bool(parted)
            and not below[named]
            and not any(_NUMBER.fullmatch(cell) or _is_unit(cell) for cell in below if cell)
        )

    def _digits(self) -> tuple[str, str | None]:
        """The decimal mark and what parts threes, by the numbers among the texts."""
        texts = [
            found[0].strip()
            for cells in self.typed
            for cell in cells
            for found in [_NUMBER.match(cell)]
            if found and any(m in cell for m in ".,' \u2019")
        ]
        both = [t for t in texts if "," in t and "." in t]
        comma = sum(t.rindex(",") > t.rindex(".") for t in both)
        comma += sum(
            bool(re.fullmatch(r"[0-9]+,(?:[0-9]{1,2}|[0-9]{4,})|0,[0-9]+", t)) for t in texts
        )
        point = sum(t.rindex(".") > t.rindex(",") for t in both)
        point += sum(
            bool(re.fullmatch(r"[0-9]+\.(?:[0-9]{1,2}|[0-9]{4,})|0\.[0-9]+", t)) for t in texts
        )
        decimal = "comma" if comma > point else "point"
        other = "." if decimal == "comma" else ","
        if any(
            re.fullmatch(rf"[0-9]{{1,3}}(?:\{other}[0-9]{{3}})+(?:[.,][0-9]+)?", t) for t in texts
        ):
            return decimal, "point" if other == "." else "comma"
        if any(re.fullmatch(r"[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?", t) for t in texts):
            return decimal, "blank"
        if any(re.fullmatch(r"[0-9]{1,3}(?:['\u2019][0-9]{3})+(?:[.,][0-9]+)?", t) for t in texts):
            return decimal, "apostrophe"
        return decimal, None

    # The keys ------------------------------------------------------------------------------------

    def proposal(self) -> Proposal:
        part = self._column(trade.PART)
        if part is None:
            part = next((at for at, cells in enumerate(self.typed) if cells), None)
            if part is None:
                raise _none(self.grid, "no column of names")
            self.notes.append(f"no column is named as the part's: {self._name(part)} is taken")
        for hole, words in (("kernel", trade.KERNEL), ("point", trade.POINT)):
            at = self._column(words, but=part)
            if at is not None:
                self.holes[hole] = at
        many = len(set(self.cells[part])) < len(self.cells[part])
        quantity = self._column(trade.QUANTITY, but=part) if many else None
        if quantity is not None:
            self.holes["quantity"] = quantity
        self.minimum = self._column(trade.MINIMUM, but=part)
        taken = {part, *self.holes.values(), *([] if self.minimum is None else [self.minimum])}
        keys: list[_Key] = []
        for at in range(len(self.header.full)):
            if at not in taken and self.header.full[at]:
                keys += self._keys(at, {key.key for key in keys})
        used = {hole for key in keys for hole in re.findall(r"\{([^}]*)\}", key.key)}
        self.holes = {hole: at for hole, at in self.holes.items() if hole in used}
        if self.minimum is not None and not any(k.key.startswith("price.breaks") for k in keys):
            self.minimum = None
        self._evidence(keys)
        text = self._text(part, keys)
        for _ in range(3):
            faults = self._tried(text)
            if not self._mended(faults, keys):
                break
            text = self._text(part, keys)
        if faults:
            self.notes.append(f"the table has {len(faults)} faults by this map, such as")
            self.notes += [f"  {fault.text()}" for fault in faults[:3]]
        return Proposal(text, tuple(self.notes))

    def _name(self, at: int) -> str:
        return self.header.full[at] or self.grid.name(at)

    def _column(self, words: str, but: int | None = None) -> int | None:
        for at, name in enumerate(self.header.full):
            plain = _plain(name).lower()
            if at != but and re.fullmatch(words, plain.rpartition(" / ")[2]):
                return at
        return None

    def _keys(self, at: int, there: set[str]) -> Iterator[_Key]:
        """What a column may be; nothing where nobody can tell."""
        name = self.header.full[at]
        own = _own_key(name)
        point = "{point}" if "point" in self.holes else POINT
        kernel = "{kernel}" if "kernel" in self.holes else None
        quantity = "{quantity}" if "quantity" in self.holes else None
        options = (
            [trade.Guess(own)]
            if own
            else list(trade.guesses(_plain(name), point=point, kernel=kernel, quantity=quantity))
        )
        for guess in options:
            ends = (
                (("min", "low"), ("max", "high")) if guess.key.endswith(".range") else (("", ""),)
            )
            made = []
            for last, end in ends:
                key = guess.key.removesuffix("range") + last if last else guess.key
                one = self._key(key, at, end, guess)
                if one is None or key in there:
                    break
                made.append(one)
            else:
                yield from made
                return

    def _key(self, key: str, at: int, end: str, guess: trade.Guess) -> _Key | None:
        try:
            kind = parse(key).kind
        except TargetError:
            return None
        cells = [cell for cell in self.cells[at] if cell not in trade.BLANKS]
        if end and not any(_RANGE.fullmatch(cell) for cell in cells):
            return None
        out = _Key(key, at, end=end, unsure=guess.unsure)
        if key == "lifecycle":
            out.words, lost = _lifecycle(cells)
            if lost:
                out.unsure = f"what does {', '.join(sorted(lost)[:3])} mean?"
        if key.startswith("features.") and cells and not any(map(_NUMBER.match, cells)):
            known = {"yes": "1", "no": "0", "true": "1", "false": "0", "✓": "1"}
            found = {cell: known.get(cell.lower()) for cell in cells}
            if not all(found.values()):
                return None
            out.words = {cell: word for cell, word in found.items() if word is not None}
            out.unsure = "counted as one where it is there"
        self._unit(out, kind, guess.unit)
        if key.startswith("price.breaks") and "price.currency" not in self.constants:
            self._currency(at)
        return out

    def _unit(self, out: _Key, kind: Kind, usual: str) -> None:
        """The unit of a column, where the map has to say it."""
        figure = kind.y if isinstance(kind, CurveOf) else kind
        if not isinstance(figure, Figure) or figure.dimension in ("money", "count", "score"):
            return
        there = self.header.units[out.column].strip("[](){} ")
        bracket = BRACKETS.fullmatch(self.header.lowest[out.column])
        if not there and bracket is not None:
            there = bracket[2].strip()
        if there and not isinstance(unit_of(there, kind), Bad):
            return
        known = spellings(figure.dimension)
        if there in trade.UNITS and trade.UNITS[there] in known:
            out.unit = trade.UNITS[there]
            if figure.dimension == "information":
                out.unsure = out.unsure or f"{there} taken as {out.unit}: of memory a K is 1024"
            return
        cells = [cell for cell in self.cells[out.column] if cell not in trade.BLANKS]
        bare = [cell for cell in cells if _NUMBER.fullmatch(cell)]
        if usual and (bare or out.end):
            out.unit = usual
            out.unsure = out.unsure or f"the table tells no unit; {usual} is usual"

    def _currency(self, at: int) -> None:
        """The currency that a price's column names."""
        where = f"{self.header.full[at]} {self.header.units[at]}"
        for found in _CODE.finditer(where):
            code = found[1] or _SIGNS[found[2]]
            if code in _CODES:
                self.constants["price.currency"] = (code, "")
                return

    def _evidence(self, keys: Sequence[_Key]) -> None:
        """Where figures come from, for what asks for it."""
        if any(key.key == "price.currency" for key in keys):
            self.constants.pop("price.currency", None)
        named = ("operating-points.", "kernels.", "sleep-states.", "blocks.")
        held = dict.fromkeys(
            ".".join(key.key.split(".")[: 3 if key.key.startswith("kernels.") else 2])
            for key in keys
            if key.key.startswith(named) and not key.off
        )
        if not held:
            return
        words = "unsure: bench or datasheet, where the figures are from there"
        self.constants[f"evidence.{TABLE}.kind"] = ("estimate", words)
        self.constants[f"evidence.{TABLE}.note"] = (f"from {self.path.name}", "")
        for at in held:
            self.constants[f"{at}.evidence"] = (TABLE, "")

    # The text ------------------------------------------------------------------------------------

    def _text(self, part: int, keys: Sequence[_Key]) -> str:
        lines = _layout(self.grid)
        lines.append(Line("header", f"[{', '.join(map(str, self.rows))}]"))
        if self.unit_row is not None:
            lines.append(Line("unit-row", str(self.unit_row)))
        if self.decimal == "comma":
            lines.append(Line("decimal", "comma"))
        if self.thousands is not None:
            lines.append(Line("thousands", self.thousands))
        if self.blanks:
            lines.append(Line("blanks", "[" + ", ".join(map(_quoted, self.blanks)) + "]"))
        lines.append(Line("part", self._where(part)))
        if self.holes:
            rows = [Line(hole, self._where(at)) for hole, at in self.holes.items()]
            lines.append(Line("rows", rows))
        idle = [
            self._name(at)
            for at in range(len(self.header.full))
            if at not in {part, self.minimum, *self.holes.values(), *(k.column for k in keys)}
            and self.cells[at]
        ]
        above = f"no key is told for: {', '.join(idle)}" if idle else ""
        made = [self._line(key) for key in keys]
        if all(line.off for line in made):
            put_off = "\n".join(f"{line.key}: {line.value}  ({line.behind})" for line in made)
            lines.append(Line("keys", "{}", above=f"{above}\n{put_off}".strip()))
        else:
            lines.append(Line("keys", made, above=above))
        if self.minimum is not None:
            lines.append(Line("minimum-order", self._where(self.minimum)))
        if self.constants:
            fixed = [
                Line(compose.text(key), compose.text(text), behind=words)
                for key, (text, words) in self.constants.items()
            ]
            lines.append(Line("constants", fixed))
        if self.skipped:
            rows_ = ", ".join(f'"{row}"' for row in sorted(set(self.skipped)))
            words = "they name something and say nothing of it"
            lines.append(Line("skip-rows", f"[{rows_}]", behind=words))
        head = f"A map for {self.path.name}, guessed from its columns: look it through."
        return compose.document(lines, head)

    def _where(self, at: int) -> str:
        """A column as a map names it."""
        for name in (self.header.lowest[at], self.header.full[at]):
            if name and self.header.find(Column(column=name)) == at:
                return compose.text(name)
        return f"{{place: {self.grid.name(at)}}}"

    def _line(self, key: _Key) -> Line:
        where = self._where(key.column)
        more = {}
        if key.unit:
            more["unit"] = compose.text(key.unit)
        if key.end:
            more["end"] = key.end
        if key.words:
            pairs = ", ".join(f"{compose.text(a)}: {_quoted(b)}" for a, b in key.words.items())
            more["words"] = f"{{{pairs}}}"
        text = where
        if more:
            first = where[1:-1] if where.startswith("{place") else f"column: {where}"
            text = "{" + ", ".join([first, *(f"{n}: {t}" for n, t in more.items())]) + "}"
        behind = f"unsure: {key.unsure}" if key.unsure else ""
        return Line(compose.text(key.key), text, behind=behind, off=key.off)

    # The trial -----------------------------------------------------------------------------------

    def _tried(self, text: str) -> list[Fault]:
        """The faults of the table by a map."""
        try:
            given, document = read_map(Path("map"), text)
            through(self.grid, given, document)
        except FaultError as error:
            return list(error.faults)
        return []

    def _mended(self, faults: Sequence[Fault], keys: Sequence[_Key]) -> bool:
        """Pass over rows of titles, and put off columns of which most cells are something else."""
        done = False
        bad: dict[int, list[Fault]] = {}
        for fault in faults:
            if fault.place is None or fault.place.file != self.grid.file:
                continue
            if fault.read == ALONE or fault.path == "part":
                self.skipped.append(fault.place.line)
                done = True
            else:
                bad.setdefault(fault.place.column - 1, []).append(fault)
        for key in keys:
            wrong = bad.get(key.column, [])
            if not key.off and len(wrong) > len(self.cells[key.column]) / 3:
                key.off, done = True, True
                key.unsure = f"cells are read as {wrong[0].read}; expected {wrong[0].expected}"
        return done


def _quoted(text: str) -> str:
    return text if re.fullmatch(r"[A-Za-z][A-Za-z/.-]*", text) else quoted(text)


def _plain(name: str) -> str:
    """A name without units in brackets."""
    return " / ".join(
        (BRACKETS.fullmatch(piece) or [None, piece])[1] or piece for piece in name.split(" / ")
    )


def _own_key(name: str) -> str | None:
    """A name that is a key of a part itself."""
    plain = _plain(name)
    try:
        target = parse(plain)
    except TargetError:
        return None
    return plain if not target.holes else None


def _is_unit(text: str) -> bool:
    word = text.strip("[](){} ")
    return word in trade.UNITS or word in _CODES or any(word in spellings(d) for d in DIMENSIONS)


def _lifecycle(cells: Sequence[str]) -> tuple[dict[str, str], set[str]]:
    """(meaning of each word, the words that nobody knows)."""
    words, lost = {}, set()
    for cell in dict.fromkeys(cells):
        for pattern, meaning in trade.LIFECYCLE.items():
            if re.fullmatch(pattern, cell.lower()):
                if cell != meaning:
                    words[cell] = meaning
                break
        else:
            lost.add(cell)
    return words, lost
