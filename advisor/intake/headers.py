"""The columns of a table by the names of its header, with what is merged above them."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence

from advisor.catalogue.schema_map import Column
from advisor.dataclass import dataclass
from advisor.faults import letters, nearest
from advisor.intake.cells import Bad
from advisor.intake.grid import Grid, shown

# a unit behind a name: `Flash (KB)`, `Idle [µA]`
BRACKETS = re.compile(r"(.*?)\s*[(\[]([^()\[\]]*)[)\]]\s*")


@dataclass(frozen=True, slots=True)
class Header:
    """Names of a table's columns.

    `full` has what stands above, `ABOVE / BELOW`; `lowest` only what stands lowest. `units` are
    those of the unit row. `below` is the index of the first row below all of them.
    """

    full: tuple[str, ...]
    lowest: tuple[str, ...]
    units: tuple[str, ...]
    below: int

    def find(self, wanted: Column) -> int | Bad:
        """The index of the column that a map means, or why there is none."""
        if wanted.place is not None:
            at = _place(wanted.place)
            if at is None or at >= len(self.full):
                last = f"the table has {len(self.full)}"
                return Bad(f'"{wanted.place}"', f"the letters of a column, such as C; {last}")
            return at
        name = _tidy(wanted.column or "")
        both = (self.full, self.lowest)
        for names in (*both, *(tuple(map(_bare, one)) for one in both)):
            for same in (str, str.casefold):
                found = [at for at, one in enumerate(names) if same(one) == same(name)]
                if len(found) == 1:
                    return found[0]
                if found:
                    places = ", ".join(letters(at + 1) for at in found)
                    expected = f"a column's place: one of {places}"
                    return Bad(f'"{name}" {len(found)} times', expected)
        known = [one for one in dict.fromkeys((*self.full, *self.lowest)) if one]
        return Bad(f'"{name}"', "a column of the table", nearest(name, known))


def _bare(name: str) -> str:
    """A name without the unit in its brackets."""
    found = BRACKETS.fullmatch(name)
    return name if found is None else found[1]


def _place(word: str) -> int | None:
    if not re.fullmatch(r"[A-Z]{1,3}", word):
        return None
    at = 0
    for letter in word:
        at = at * 26 + ord(letter) - ord("A") + 1
    return at - 1


def _tidy(text: str) -> str:
    return " ".join(shown(text).split())


def header_of(grid: Grid, rows: Sequence[int], unit_row: int | None) -> Header | Bad:
    """The names of the columns, from rows of the file by their numbers; why there are none.

    What stands above several columns counts for all of them: a merged cell for those that it
    covers, in a text file a cell for the blanks behind it.
    """
    numbers = grid.numbers[: bisect_right(grid.numbers, max((*rows, unit_row or 1)))]
    index = {number: at for at, number in enumerate(numbers)}
    wanted = [*rows, *([] if unit_row is None else [unit_row])]
    missing = [row for row in wanted if row not in index]
    if missing or not grid.columns:
        return Bad(f"no row {missing[0] if missing else 1} with cells", "a row of the table")
    lines = [[_tidy(cell or "") for cell in grid.row(index[row])] for row in rows]
    for depth, line in enumerate(lines):
        _spread(grid, rows[depth], line, last=depth == len(lines) - 1)
    full, lowest = [], []
    for names in zip(*lines, strict=True):
        pieces = list(dict.fromkeys(name for name in names if name))
        full.append(" / ".join(pieces))
        lowest.append(pieces[-1] if pieces else "")
    units = [""] * len(full)
    if unit_row is not None:
        units = [_tidy(cell or "") for cell in grid.row(index[unit_row])]
    return Header(tuple(full), tuple(lowest), tuple(units), max(index[row] for row in wanted) + 1)


def _spread(grid: Grid, row: int, line: list[str], *, last: bool) -> None:
    """Let a merged name stand in every column that it covers."""
    if grid.sheet:
        for region in grid.regions:
            if region.top <= row <= region.bottom:
                above = grid.numbers.index(region.top) if region.top in grid.numbers else -1
                name = "" if above < 0 else _tidy(grid.columns[region.left - 1][above] or "")
                for at in range(region.left - 1, min(region.right, len(line))):
                    line[at] = line[at] or name
        return
    if last:
        return
    name = ""
    for at, here in enumerate(line):
        name = here or name
        line[at] = name
