"""What a trace looks like before anybody has told: layout, columns and their likely roles.

All of it is a guess for a person to confirm; nothing is measured by it.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from advisor.bench import arrays
from advisor.bench.chunks import DELIMITERS, Floats, opened, refused
from advisor.bench.exports import THOUSANDS, cells_of
from advisor.bench.trace import TEXT, ending_of
from advisor.dataclass import dataclass
from advisor.quantities import spellings

HEAD = 1 << 18  # bytes at the start of a text, and of each look further on
LOOKS = 24
ROWS = 200_000  # of an array
LEAST = 3  # rows of numbers
_POINT = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\Z")
_COMMA = re.compile(r"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?\Z")
# (thousands, decimal, shape): what no other reading of a number explains
_PARTED = (
    ("comma", "point", re.compile(r"[+-]?\d{1,3}(?:(?:,\d{3})+\.\d+|(?:,\d{3}){2,})\Z")),
    ("point", "comma", re.compile(r"[+-]?\d{1,3}(?:(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})\Z")),
    ("blank", None, re.compile(r"[+-]?\d{1,3}(?:[ \u00a0\u202f]\d{3})+(?:[.,]\d+)?\Z")),
    ("apostrophe", None, re.compile(r"[+-]?\d{1,3}(?:['\u2019]\d{3})+(?:[.,]\d+)?\Z")),
)
_DATE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d")
_IN_NAME = re.compile(r"^(.*?)[\s_/]*[\[(/_ ]\s*([A-Za-zµμ]+)\s*[\])]?$")
_WORDS = {
    "time": re.compile(r"(?i)^(t|time|zeit|stamp|timestamp|date|epoch|seconds?|millis|micros)\b"),
    "index": re.compile(r"(?i)^(n|k|index|sample|samples|row|no|nr)\b"),
    "current": re.compile(r"(?i)^(i|a|amps?|current|strom|curr)\b"),
    "voltage": re.compile(r"(?i)^(u|v|volts?|voltage|spannung|vdd|vcc|supply)\b"),
    "marker": re.compile(r"(?i)^(m|marker|mark|pin|gpio|trigger|trig|d\d*|logic|digital|din)\b"),
}
_EPOCHS = ((1e9, "s"), (1e12, "ms"), (1e15, "us"), (1e18, "ns"))


@dataclass(frozen=True, slots=True)
class Seen:
    """A column: its name or None, its place from 1, its unit where one stands, and numbers of it.

    `first` are those of successive rows from the start, `all` those of every look; a date and time
    has neither.
    """

    name: str | None
    place: int
    unit: str | None
    first: Floats
    all: Floats
    date: bool = False


@dataclass(frozen=True, slots=True)
class Sniffed:
    """`keys` of `trace` in the notes that differ from what holds without them, and the columns."""

    keys: Mapping[str, str]
    columns: tuple[Seen, ...]


def sniff(path: Path) -> Sniffed:
    """Layout and columns of a trace.

    Raises
    ------
    FaultError
        For a file that no reader knows, and a text in which no rows of numbers are found.
    """
    ending = ending_of(path)
    if ending.startswith(TEXT):
        return _text(path)
    return Sniffed({}, tuple(_arrays(path, ending)))


def _arrays(path: Path, ending: str) -> Iterator[Seen]:
    found = arrays.beginning(path, ending, ROWS)
    for place, (name, values) in enumerate(found.items(), 1):
        unit = unit_of(name)[1]
        yield Seen(name=name, place=place, unit=unit, first=values, all=values)


def _looks(path: Path, encoding: str) -> tuple[list[str], list[list[str]], list[str]]:
    """(lines of the head, whole lines of looks further on, the last lines)."""
    packed = path.name.lower().endswith(".gz")
    size = 0 if packed else path.stat().st_size
    with opened(path) as file:
        head = file.read(HEAD)
        whole = len(head) < HEAD
        later: list[list[str]] = []
        if not packed and not whole:
            # a look begins at an even byte, as both bytes of a wide letter belong together
            for at in np.linspace(HEAD, max(size - HEAD, HEAD), LOOKS):
                file.seek(int(at) // 2 * 2)
                later.append(_lines(file.read(HEAD), encoding)[1:-1])
    lines = _lines(head, encoding)
    if whole:
        return lines, [], lines[-1000:]
    tail: list[str] = []
    if not packed:
        with opened(path) as file:
            file.seek(max(size - HEAD, 0) // 2 * 2)
            tail = _lines(file.read(), encoding)[1:]
    return lines[:-1], later, tail


def _lines(data: bytes, encoding: str) -> list[str]:
    text = data.decode(encoding, "replace").removeprefix("\ufeff")
    return text.replace("\r\n", "\n").removesuffix("\n").split("\n")


def _encoding(path: Path) -> str:
    with opened(path) as file:
        head = file.read(HEAD)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    even, odd = head[::2].count(0), head[1::2].count(0)
    if max(even, odd) > len(head) // 8:
        return "utf-16-be" if even > odd else "utf-16-le"
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _is_number(cell: str) -> bool:
    return bool(
        _POINT.match(cell)
        or _COMMA.match(cell)
        or any(shape.match(cell) for _, _, shape in _PARTED)
    )


def _is_datum(cell: str) -> bool:
    return _is_number(cell) or bool(_DATE.match(cell))


def _delimiter(lines: Sequence[str]) -> tuple[str, int]:
    """(delimiter's word, cells of a row) by which most lines are rows of numbers."""
    best: tuple[float, str, int] | None = None
    for word in ("tab", "semicolon", "bar", "comma", "blanks"):
        rows = [c for c in (cells_of(x, DELIMITERS[word]) for x in lines) if c]
        if not rows:
            continue
        width, often = Counter(len(c) for c in rows).most_common(1)[0]
        alike = [c for c in rows if len(c) == width]
        share = sum(_is_datum(x.strip()) for c in alike for x in c) / (len(alike) * width)
        score = often / len(lines) * share * (1.0 if width > 1 else 0.5)
        if best is None or score > best[0] + 1e-9:
            best = (score, word, width)
    return ("comma", 1) if best is None else (best[1], best[2])


def _text(path: Path) -> Sniffed:
    encoding = _encoding(path)
    lines, later, tail = _looks(path, encoding)
    body = [x for x in lines[-2000:] if x.strip()]
    word, width = _delimiter(body or lines)
    separator = DELIMITERS[word]

    def row_of(line: str) -> tuple[str, ...] | None:
        cells = cells_of(line, separator)
        if cells is None or len(cells) != width:
            return None
        return cells

    rows = [c for c in map(row_of, body) if c]
    usual = Counter(tuple(map(_is_datum, c)) for c in rows).most_common(1)
    data = usual[0][0] if usual else ()
    if not any(data):
        raise refused(str(path), "no rows of numbers", f"a trace of at least {LEAST} rows")

    def is_row(line: str) -> bool:
        cells = row_of(line)
        return cells is not None and all(
            _is_datum(c) for c, numeric in zip(cells, data, strict=True) if numeric
        )

    first = next((n for n, line in enumerate(lines) if is_row(line)), None)
    if first is None or sum(map(is_row, lines[first : first + LEAST])) < LEAST:
        raise refused(str(path), "no rows of numbers", f"a trace of at least {LEAST} rows")
    above = [n for n in range(first) if lines[n].strip() and not lines[n].startswith("#")]
    keys: dict[str, str] = {}
    names, units, top = _head(lines, above, row_of)
    skip = top if any(n < top for n in above) else 0
    cells = [c for c in map(row_of, filter(is_row, lines[first:])) if c]
    more = [c for part in later for c in map(row_of, filter(is_row, part)) if c]
    marks = _marks([x for c in cells + more[:20_000] for x in c])
    if encoding != "utf-8":
        keys["encoding"] = encoding
    if names is None or separator != next((s for s in "\t;," if s in lines[top]), ","):
        keys["delimiter"] = word
    keys |= marks
    if skip:
        keys["skip"] = str(skip)
    if names is None:
        keys["header"] = "none"
    if units is not None:
        keys["unit-rows"] = "1"
    footer = _footer(tail, is_row)
    if footer:
        keys["footer"] = str(footer)
    columns = []
    for k, numeric in enumerate(data):
        if not numeric:
            continue
        name = None if names is None else names[k]
        date = bool(_DATE.match(cells[0][k]))
        unit = None if name is None else unit_of(name)[1]
        if units is not None and _known(units[k].strip("[](){} ")):
            unit = units[k].strip("[](){} ")
        begun = np.empty(0) if date else _values([c[k] for c in cells], marks)
        seen = begun if date else np.append(begun, _values([c[k] for c in more], marks))
        lone = name if name and names is not None and names.count(name) == 1 else None
        columns.append(Seen(name=lone, place=k + 1, unit=unit, first=begun, all=seen, date=date))
    return Sniffed(keys, tuple(columns))


def _head(
    lines: Sequence[str],
    above: Sequence[int],
    row_of: Callable[[str], tuple[str, ...] | None],
) -> tuple[tuple[str, ...] | None, tuple[str, ...] | None, int]:
    """(names, cells of a unit row, the line that begins what is not skipped)."""
    told = [(n, c) for n in above[-2:] if (c := row_of(lines[n])) is not None]
    if not told:
        return None, None, above[-1] + 1 if above else 0
    last = told[-1][1]
    words = [c.strip("[](){} ") for c in last]
    if len(told) == 2 and all(not w or _known(w) for w in words) and any(words):
        return told[0][1], last, told[0][0]
    return last, None, told[-1][0]


def _known(word: str) -> bool:
    return any(word in spellings(d) for d in ("time", "current", "voltage"))


def unit_of(name: str) -> tuple[str, str | None]:
    """(name, unit) of a head such as `I [mA]`, `current_mA` or `t/s`."""
    found = _IN_NAME.match(name)
    if found and found[1] and _known(found[2]):
        return found[1], found[2]
    return name, None


def _marks(cells: Sequence[str]) -> dict[str, str]:
    """Decimal and thousands marks of the cells that are numbers."""
    comma = any("," in c and _COMMA.match(c) for c in cells)
    for thousands, decimal, shape in _PARTED:
        if any(shape.match(c) for c in cells):
            found = {"thousands": thousands}
            return (
                found | {"decimal": "comma"} if (decimal or "comma" * comma) == "comma" else found
            )
    return {"decimal": "comma"} if comma else {}


def _values(cells: Sequence[str], marks: Mapping[str, str]) -> Floats:
    """Numbers of cells; what is none is left out."""
    mark = THOUSANDS.get(marks.get("thousands", ""), "")
    out = []
    for cell in cells:
        text = cell.translate(dict.fromkeys(map(ord, mark))) if mark else cell
        if marks.get("decimal") == "comma":
            text = text.replace(",", ".")
        if _POINT.match(text):
            out.append(float(text))
    return np.array(out)


def _footer(tail: Sequence[str], is_row: Callable[[str], bool]) -> int:
    told = [x for x in tail if x.strip()][::-1]
    return next((n for n, line in enumerate(told) if is_row(line)), 0)


def roles(columns: Sequence[Seen]) -> dict[str, Seen]:
    """Which column is likely to be the time, the current, the voltage and the marker."""
    left = list(columns)
    out: dict[str, Seen] = {}

    def take(role: str, candidates: Sequence[Seen]) -> None:
        if candidates and role not in out:
            out[role] = candidates[0]
            left.remove(candidates[0])

    def called(role: str) -> list[Seen]:
        return [c for c in left if c.name and _WORDS[role].match(c.name)]

    def rising(c: Seen) -> bool:
        """Whether it goes forward, perhaps with a jitter of some samples."""
        if len(c.first) < LEAST or not np.ptp(c.first):
            return False
        return float(np.corrcoef(c.first, np.arange(len(c.first)))[0, 1]) > 0.99

    def steady(c: Seen) -> bool:
        return rising(c) and bool((np.diff(c.first) >= 0).all())

    take("time", [c for c in left if c.date])
    take("time", [c for c in left if c.unit in spellings("time") and rising(c)])
    take("time", [c for c in called("time") + called("index") if rising(c)])
    take("time", [c for c in left[:1] if steady(c)])
    two = [c for c in left if _two_levels(c.all) and c.unit not in spellings("current")]
    take("marker", [c for c in called("marker") if c in two])
    take("current", [c for c in left if c.unit in spellings("current")])
    take("current", called("current"))
    take("voltage", [c for c in left if c.unit in spellings("voltage")])
    take("voltage", [c for c in called("voltage") if c not in two])
    take("marker", [c for c in two if c in left])
    take("marker", [c for c in called("marker") if len(c.all) and np.ptp(c.all)])
    take("current", left)
    return out


def _two_levels(values: Floats) -> bool:
    """Whether nearly all values stand at one of two levels, with few changes between."""
    if len(values) < 8 or np.ptp(values) == 0:
        return False
    share = (values - values.min()) / np.ptp(values)
    ends = (share < 0.15) | (share > 0.85)
    changes = np.count_nonzero(np.diff(share > 0.5))
    return float(ends.mean()) > 0.98 and int(changes) < 0.2 * len(values)


def epoch_of(values: Floats) -> str | None:
    """The unit in which values count from 1970, between 2001 and 2100."""
    if len(values):
        for least, unit in _EPOCHS:
            if least <= values[0] < 4.1 * least:
                return unit
    return None
