"""From what a cell says to the text that a part's file has: digits, units, words, ranges, dates."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor import grammar, quantities
from advisor.catalogue.curves import CurveOf
from advisor.catalogue.kinds import Choice, Day, Figure, Flag, Identity, Kind, Whole
from advisor.catalogue.schema_map import TableMap
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS
from advisor.faults import Fault, Place, nearest
from advisor.intake.grid import BROKEN, DATE, FORMULA, MARK, NUMBER, shown

if TYPE_CHECKING:
    import polars as pl

_THOUSANDS = {"comma": ",", "point": ".", "blank": " \u00a0\u202f", "apostrophe": "'\u2019"}
_BARE = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?")
_RANGE = re.compile(
    r"(.*?[0-9].*?)\s*(?:\.{2,3}|…|–|—|~|\bto\b|\bbis\b|(?<=[0-9A-Za-z°%])\s*-)\s*(.*[0-9].*)"
)
_CURRENCY = re.compile(r"([A-Z]{3}|[€£¥$])?\s*([^A-Z€£¥$]*[0-9][^A-Z€£¥$]*?)\s*([A-Z]{3}|[€£¥$])?")
_SIGNS = {"€": "EUR", "£": "GBP", "¥": "JPY"}
_BROKEN = re.compile(r"#(?:N/A|REF!|DIV/0!|VALUE!|NAME\?|NULL!|NUM!|SPILL!|CALC!)")
_MONTH = re.compile(
    r"\d{1,2}[-. /](?:jan|feb|m[aä]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*\.?"
    r"(?:[-. /]\d{2,4})?|(?:jan|feb|m[aä]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*"
    r"[-. /]\d{2,4}",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Bad:
    """What is wrong with a cell: what was read, what was expected, the nearest."""

    read: str
    expected: str
    nearest: str | None = None

    def fault(self, path: str, place: Place) -> Fault:
        """The same of a key, at a place."""
        return Fault(
            path=path, read=self.read, expected=self.expected, place=place, nearest=self.nearest
        )


@dataclass(frozen=True, slots=True)
class Style:
    """How a table writes its cells."""

    decimal: str = "."
    thousands: str = ""
    blanks: frozenset[str] = frozenset()
    as_written: bool = False
    escaped: bool = False

    @classmethod
    def of(cls, given: TableMap, *, text_file: bool) -> Style:
        """That which a map tells; the export's apostrophes stand in text files only."""
        written = given.cells != "typed"
        return cls(
            decimal="," if given.decimal == "comma" else ".",
            thousands=_THOUSANDS.get(given.thousands or "", ""),
            blanks=frozenset(_tidy(text) for text in given.blanks),
            as_written=written,
            escaped=written and text_file,
        )

    @property
    def words(self) -> str:
        """The way of writing numbers, in words."""
        mark = "a decimal comma" if self.decimal == "," else "a decimal point"
        return mark + (", threes parted as the map says" if self.thousands else "")


def _tidy(text: str) -> str:
    """A text without the blanks about it, one blank inside for several."""
    return " ".join(text.split())


@dataclass(frozen=True, slots=True)
class Converter:
    """Makes of a column's cells what stands behind a key of some kind."""

    kind: Kind
    style: Style
    unit: str = ""
    words: Mapping[str, str] | None = None
    end: str | None = None
    # whether the text is the user's own name, made an id
    name: bool = False

    def one(self, cell: str | None) -> str | Bad | None:
        """What a cell says; nothing where it is blank, the reason where it cannot be read."""
        if not cell:
            return None
        if self.style.as_written:
            return self._written(cell)
        text = _tidy(shown(cell))
        if not text and not cell.startswith(FORMULA):
            return None
        if self.words and text in self.words:
            return self.words[text]
        if text in self.style.blanks:
            return None
        if cell.startswith(MARK):
            return self._typed(cell, text)
        if _BROKEN.fullmatch(text):
            return Bad(f'"{text}"', "a value: the spreadsheet has none, or blanks: names this one")
        return self._text(text)

    def _written(self, cell: str) -> str | Bad | None:
        if cell.startswith(MARK):
            if cell.startswith((NUMBER, DATE)):
                return shown(cell)
            return self._typed(cell, shown(cell))
        if self.style.escaped:
            return cell.removeprefix("'") or None
        return cell

    def _typed(self, cell: str, text: str) -> str | Bad | None:
        """A cell that a workbook has as a number, date, formula or error."""
        if cell.startswith(FORMULA):
            return Bad("a formula without its value", "a value: have a spreadsheet save the table")
        if cell.startswith(BROKEN):
            return Bad(f'"{text}"', "a value, or blanks: names this one")
        if cell.startswith(DATE):
            if isinstance(self.kind, Day):
                return text.partition(" ")[0]
            return Bad(f"the date {text}", self._wanted() + ": a figure that became a date?")
        return replace(self, style=Style())._text(text)

    def _wanted(self) -> str:
        if isinstance(self.kind, CurveOf):
            return self.kind.y.describe()
        return self.kind.describe()

    def _text(self, text: str) -> str | Bad | None:
        kind = self.kind
        if self.end is not None:
            found = _RANGE.fullmatch(text)
            if found is None:
                return Bad(f'"{text}"', "a range such as 1.8 to 3.6: the map asks for its end")
            text = found[1 if self.end == "low" else 2].strip()
            # the unit of both stands behind the second
            unit = re.search(r"[^0-9.,'\u2019\s][^0-9.,]*$", found[2])
            if unit is not None and _ended(text):
                text = f"{text} {unit[0]}"
        if isinstance(kind, (Figure, CurveOf)):
            return self._figure(text)
        if isinstance(kind, Whole):
            number = self._digits(text)
            return number if isinstance(number, Bad) else number.removesuffix("+").strip()
        if isinstance(kind, Choice) and text not in kind.options:
            word = identity(text)
            return word if word in kind.options else text
        if isinstance(kind, Flag):
            return text.lower() if text.lower() in ("true", "false") else text
        if isinstance(kind, Identity) or self.name:
            made = [identity(word) for word in text.split("+")]
            if None in made:
                return Bad(f'"{text}"', "a name of letters, digits, blanks, hyphens, dots")
            return "+".join(word for word in made if word is not None)
        return text

    def _figure(self, text: str) -> str | Bad:
        figure = self.kind.y if isinstance(self.kind, CurveOf) else self.kind
        assert isinstance(figure, Figure)
        if _MONTH.fullmatch(text):
            return Bad(f'"{text}"', figure.describe() + ": a figure that became a date?")
        if figure.dimension == "money":
            found = _CURRENCY.fullmatch(text)
            text = found[2] if found is not None else text
        number = self._digits(text)
        if isinstance(number, Bad):
            return Bad(number.read, figure.describe() + number.expected)
        return with_unit(number, self.unit)

    def currency(self, cell: str | None) -> str | None:
        """The currency that a cell of money bears: a code, or a sign that is `$` for several."""
        if not cell:
            return None
        found = _CURRENCY.fullmatch(_tidy(shown(cell)))
        word = None if found is None else found[1] or found[3]
        return None if word is None else _SIGNS.get(word, word)

    def _digits(self, text: str) -> str | Bad:
        """A text with its numbers as YAML has them."""
        if _BARE.fullmatch(text) and self.style.decimal == "." and not self.style.thousands:
            return text
        style = self.style
        parts = re.escape(style.thousands)
        some = f"[{parts}]" if parts else "(?!)"
        mark = re.escape(style.decimal)
        number = re.compile(
            rf"(?:[0-9]{{1,3}}(?:{some}[0-9]{{3}})+|[0-9]+)(?:{mark}[0-9]*)?|{mark}[0-9]+"
        )
        inside = "".join(set(".,'\u2019\u00a0\u202f" + style.thousands))
        token = re.compile(rf"[.,]?[0-9](?:[0-9{re.escape(inside)}]*[0-9])?[.,]?(?![0-9])")
        wrong: list[str] = []

        def plain(found: re.Match[str]) -> str:
            word = found[0]
            tail = ""
            if word[-1] in ".," and not number.fullmatch(word):
                word, tail = word[:-1], word[-1]
            if not number.fullmatch(word):
                wrong.append(word)
                return found[0]
            for one in style.thousands:
                word = word.replace(one, "")
            return word.replace(style.decimal, ".") + tail

        made = token.sub(plain, text)
        if wrong:
            return Bad(f'"{text}"', f", with {style.words}")
        return made

    def many(self, series: pl.Series) -> tuple[pl.Series, dict[str, Bad]]:
        """A column of cells at once, and what is wrong with which texts of it."""
        import polars as pl

        fast = None
        figure = self.kind if isinstance(self.kind, Figure) else None
        plain = not self.words and self.end is None and not self.style.as_written
        # of few different cells each is looked at once; of many they are made all together
        sample = series.slice(len(series) // 2, 1000)
        many = len(series) > 5000 and sample.n_unique() > 100
        if figure is not None and plain and many and figure.dimension != "money":
            parts, mark = re.escape(self.style.thousands), re.escape(self.style.decimal)
            some = f"|[0-9]{{1,3}}(?:[{parts}][0-9]{{3}})+" if parts else ""
            fast = series.str.contains(f"^(?:[0-9]+{some})(?:{mark}[0-9]+)?$").fill_null(False)
            made = series
            for one in self.style.thousands:
                made = made.str.replace_all(one, "", literal=True)
            if self.style.decimal == ",":
                made = made.str.replace(",", ".", literal=True)
            made = made + (f" {self.unit}" if self.unit else "")
            if self.style.blanks:
                fast = fast & ~series.is_in(list(self.style.blanks))
        if fast is not None and fast.sum() == len(series) - series.null_count():
            return made, {}
        left = series.filter(~fast) if fast is not None else series
        texts = [text for text in left.unique().to_list() if text]
        found = {text: self.one(text) for text in texts}
        bad = {text: one for text, one in found.items() if isinstance(one, Bad)}
        good = {text: one for text, one in found.items() if isinstance(one, str)}
        slow = series.replace_strict(good, default=None, return_dtype=pl.String)
        if fast is None:
            return slow, bad
        return made.zip_with(fast, slow), bad


def _ended(text: str) -> bool:
    """Whether a text ends in a digit, without a unit."""
    return text.rstrip()[-1:].isdigit()


def identity(text: str) -> str | None:
    """A name as an id: lower case, hyphens for blanks, dots and low lines; None for another."""
    text = text.strip()
    if not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9 ._-]*[A-Za-z0-9])?", text) or ".." in text:
        return None
    return re.sub(r"[ ._-]+", "-", text).lower()


def with_unit(text: str, unit: str) -> str:
    """A figure with the unit of its column, unless it has its own."""
    if not unit or not text:
        return text
    if _BARE.fullmatch(text):
        return f"{text} {unit}"
    found = grammar.FIGURE.match(text.replace("\N{MINUS SIGN}", "-"))
    if found is None:
        return text
    half, own = found["half"], (found["unit"] or "").strip()
    if own == "%" and half is not None and found["k"] is None and unit != "%":
        # 8.1 ± 2 %: of the value, which the unit stands behind
        value = text[: found.end("power")].rstrip()
        return f"{value} {unit} ± {half} %"
    if own or found["after"]:
        return text
    cover = re.search(r"\s*\(\s*k\s*=", text)
    if cover is not None:
        return f"{text[: cover.start()]} {unit}{text[cover.start() :]}"
    return f"{text} {unit}"


def unit_of(word: str, kind: Kind) -> str | Bad:
    """A unit as a table names it: its spelling here, or why it is none of the key's.

    Parameters
    ----------
    kind : what stands behind the key.
    """
    figure = kind.y if isinstance(kind, CurveOf) else kind
    word = grammar.unit_word(word.strip("[](){} "))
    if not isinstance(figure, Figure):
        return Bad(f'"{word}"', f"no unit: {kind.describe()} has none")
    if figure.dimension == "money" and (not word or re.fullmatch(r"[A-Z]{3}|[€£¥$]", word)):
        return ""
    known = quantities.spellings(figure.dimension)
    if word in known or (not word and DIMENSIONS[figure.dimension].bare):
        return word
    expected = f"a unit of {figure.dimension}"
    return Bad(f'"{word}"', expected, nearest(word, known))
