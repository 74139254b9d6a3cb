"""How an answer on one line is written, and which keys of a file it fills.

A form only takes words apart: what each may be is for the schema's own reader, once it stands in
the document. Whatever begins with a brace or bracket is YAML already and stands as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Protocol

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue import compose
from advisor.catalogue.edit import quoted
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError
from advisor.quantities import QuantityError, read_quantity
from advisor.source import read_text

Keys = tuple[str, ...]
Filled = dict[Keys, str]  # keys of the file, from its root, to YAML text on one line
Notes = dict[Keys, str]  # keys of the file to what is said above them
_ID = re.compile(r"[a-z][a-z0-9-]*")
_PAIR = re.compile(r"(?:typ(?:ical)?\.?\s+)?(?P<typical>[^{}]+?),?\s+max\.?\s+(?P<max>[^{}]+)")
_CYCLES = re.compile(r"(.+?)\s*cycles")
_BARE = re.compile(r"[+-]?[0-9]*\.?[0-9]+")
_MAP = re.compile(r"[\[{]")


class Form(Protocol):
    """How an answer is written."""

    def read(self, text: str, at: Keys) -> Filled:
        """What an answer fills; `at` are the keys that it stands at.

        Raises
        ------
        FaultError
            When it cannot be taken apart.
        """


def refused(read: str, expected: str) -> FaultError:
    """A fault of an answer, whose path the question knows."""
    return FaultError((Fault("", f'"{read}"' if read else "nothing", expected),))


def value(text: str) -> str:
    """A figure, a word or YAML in braces, as YAML text on one line."""
    text = text.strip()
    if not text:
        raise refused("", "a value")
    pair = _PAIR.fullmatch(text)
    if pair is not None:
        return compose.mapping(**{name: value(one) for name, one in pair.groupdict().items()})
    if _MAP.match(text):
        return _flow(read_text(f"a: {text}", "the answer").root.value[0][1])
    return _scalar(text)


def _scalar(text: str) -> str:
    """As it stands where that reads back, in a mapping on one line too; else in quotes."""
    try:
        root = read_text(f"{{a: {text}}}", "").root
    except FaultError:
        return quoted(text)
    inside = root.value
    same = (
        isinstance(root, MappingNode)
        and len(inside) == 1
        and isinstance(inside[0][1], ScalarNode)
        and inside[0][1].value == text
        and not inside[0][1].style
    )
    return text if same else quoted(text)


def _flow(node: Node) -> str:
    if isinstance(node, MappingNode):
        pairs = (f"{_flow(k)}: {_flow(v)}" for k, v in node.value)
        return "{" + ", ".join(pairs) + "}"
    if isinstance(node, SequenceNode):
        return "[" + ", ".join(map(_flow, node.value)) + "]"
    assert isinstance(node, ScalarNode)
    return quoted(node.value) if node.style else _scalar(node.value)


def pieces(text: str, marks: str = ",;") -> list[str]:
    """The pieces of a list, which commas part; none inside braces, brackets or parentheses."""
    out, depth, begin = [], 0, 0
    for i, character in enumerate(text):
        depth += (character in "([{") - (character in ")]}")
        if character in marks and depth == 0:
            out.append(text[begin:i])
            begin = i + 1
    return [piece.strip() for piece in (*out, text[begin:])]


def named(piece: str) -> tuple[str | None, str]:
    """(name, what follows it) of `sample 10 s`, `sample: 10 s` or `sample=10 s`; None: no name."""
    found = re.match(r"([a-z][a-z0-9.+-]*)\s*(?:[:=]\s*|\s+|$)", piece)
    if found is None or found[1].rstrip(".") in ("typ", "typical", "max"):
        return None, piece
    return found[1], piece[found.end() :].strip()


@dataclass(frozen=True, slots=True)
class One:
    """One value."""

    def read(self, text: str, at: Keys) -> Filled:
        return {at: value(text)}


@dataclass(frozen=True, slots=True)
class Words:
    """Free text."""

    def read(self, text: str, at: Keys) -> Filled:
        return {at: compose.text(text)}


@dataclass(frozen=True, slots=True)
class Several:
    """Values in a fixed order, such as `64 KiB, 8 KiB`; `-` for one that is not known."""

    names: tuple[str, ...]

    def read(self, text: str, at: Keys) -> Filled:
        if _MAP.match(text):
            return {at: value(text)}
        found = pieces(re.sub(r"\s+to\s+|\.\.\.?", ",", text))
        unit = re.search(r"[0-9]\s*([^\W\d_]+)$", found[-1])
        if unit is not None:  # 1.8 to 3.6 V: one unit for all
            found = [f"{one} {unit[1]}" if _BARE.fullmatch(one) else one for one in found]
        if len(found) > len(self.names) or not any(one not in ("-", "") for one in found):
            raise refused(text, " and ".join(self.names) + ": a value each, - for one unknown")
        return {
            (*at, name): value(one)
            for name, one in zip(self.names, found, strict=False)
            if one not in ("-", "")
        }


@dataclass(frozen=True, slots=True)
class Run:
    """Time and current of a run, `1.61 ms, 2.9 mA`, or cycles in place of the time."""

    def read(self, text: str, at: Keys) -> Filled:
        found = pieces(text)
        counted = _CYCLES.fullmatch(found[0])
        if counted is None:
            return Several(("time", "current")).read(text, at)
        if len(found) > 2:
            raise refused(text, "cycles, and perhaps a current")
        out = {(*at, "cycles"): value(counted[1])}
        if len(found) == 2:
            out[(*at, "current")] = value(found[1])
        return out


@dataclass(frozen=True, slots=True)
class ByName:
    """Values by name, such as `sample 10 s, report 1 h`.

    `key` is the key below a name that takes the value, if it is no value itself. A value without a
    name takes `unnamed`. `own` is the key that holds the name, in a list of records. With `whole` a
    mapping in braces is all that stands below a name.
    """

    key: str = ""
    unnamed: str = ""
    own: str = ""
    whole: bool = False

    def read(self, text: str, at: Keys) -> Filled:
        if _MAP.match(text) and not self.key and not self.own:
            return {at: value(text)}
        out: Filled = {}
        for piece in filter(None, pieces(text)):
            name, rest = named(piece)
            if name is None and self.unnamed:
                name = self.unnamed
            if name is None or not rest:
                raise refused(piece, "a name and its value, such as " + self.example())
            if (*at, name, self.own) in out or (*at, name, self.key) in out or (*at, name) in out:
                raise refused(f"{name} twice", "each name once")
            if self.own:
                out[(*at, name, self.own)] = name
            below_it = bool(self.key) and not (self.whole and rest.startswith("{"))
            out[(*at, name, self.key) if below_it else (*at, name)] = value(rest)
        if not out:
            raise refused(text, "a name and its value, such as " + self.example())
        return out

    def example(self) -> str:
        return f"{self.unnamed or 'name'} VALUE"


@dataclass(frozen=True, slots=True)
class Names:
    """Names, such as `ram, rtc`; `none` for no name at all, or with `word` a name as others are."""

    word: bool = False

    def read(self, text: str, at: Keys) -> Filled:
        if _MAP.match(text):
            return {at: value(text)}
        if text == "none" and not self.word:
            return {at: "[]"}
        found = [name for piece in pieces(text) for name in piece.split()]
        return {at: "[" + ", ".join(map(_scalar, found)) + "]"}


@dataclass(frozen=True, slots=True)
class Chosen:
    """Names that later questions ask about and that are no key themselves; `none` for none."""

    def read(self, text: str, at: Keys) -> Filled:
        found = [] if text == "none" else [n for piece in pieces(text) for n in piece.split()]
        for name in found:
            if not _ID.fullmatch(name):
                raise refused(name, "names: lower-case letters, digits and hyphens")
        return {(*at, name, ""): "" for name in found}


@dataclass(frozen=True, slots=True)
class Loads:
    """Loads of a task, `radio 26 mA for 60 ms`, perhaps with `asleep`; `none` for none.

    `standing` ones have no time.
    """

    standing: bool = False

    def read(self, text: str, at: Keys) -> Filled:
        if text == "none":
            return {at: "[]"}
        out: Filled = {}
        for piece in filter(None, pieces(text)):
            name, rest = named(piece)
            if name is None or not rest:
                raise refused(piece, f"a name and what it draws, such as {self.example()}")
            if (*at, name, "load") in out:
                raise refused(f"{name} twice", "each name once")
            out[(*at, name, "load")] = name
            word = re.search(r"\s+(asleep|idle)$", rest)
            rest = rest[: word.start()] if word else rest
            drawn, time = rest, ""
            if not self.standing:
                drawn, time = _for(rest, piece)
            out[(*at, name, _drawn(drawn))] = value(drawn)
            if time:
                out[(*at, name, "for")] = value(time)
            if word and not self.standing:
                out[(*at, name, "cpu")] = word[1]
        if not out:
            raise refused(text, f"a name and what it draws, such as {self.example()}")
        return out

    def example(self) -> str:
        return "divider 0.8 uA" if self.standing else "radio 26 mA for 60 ms"


def _for(rest: str, piece: str) -> tuple[str, str]:
    """(what is drawn, how long)."""
    found = re.fullmatch(r"(.+?)\s+for\s+(.+)", rest)
    if found is None:
        found = re.fullmatch(r"(.*?\S)\s+([0-9.]+\s*[^\s0-9]+)", rest)
    if found is None:
        raise refused(piece, "a name, what it draws and how long, such as radio 26 mA for 60 ms")
    return found[1], found[2]


def _drawn(text: str) -> str:
    """The key by which a load tells what it draws: by its unit, else a current."""
    for dimension in ("current", "power", "charge"):
        try:
            read_quantity(text, dimension)
        except QuantityError:
            continue
        return dimension
    return "current"


@dataclass(frozen=True, slots=True)
class Stays:
    """Temperatures with their share of the time, `-10 degC 20 %, 20 degC 80 %`, or one alone."""

    def read(self, text: str, at: Keys) -> Filled:
        out: Filled = {}
        found = [piece for piece in pieces(text) if piece]
        for piece in found:
            share = re.search(r"\s+(?:for\s+)?([0-9.]+(?:\s*%)?)$", piece)
            if share is None and len(found) > 1:
                raise refused(piece, "a temperature and its share, such as -10 degC 20 %")
            warm = piece[: share.start()] if share else piece
            if (*at, warm, "at") in out:
                raise refused(f"{warm} twice", "each temperature once")
            out[(*at, warm, "at")] = value(warm)
            out[(*at, warm, "share")] = value(share[1]) if share else "1"
        if not out:
            raise refused(text, "a temperature, such as 20 degC")
        return out


@dataclass(frozen=True, slots=True)
class Packs:
    """Cells by id, `2 x ID` for two in series, or `220 mAh at 3 V` for an ideal source."""

    def read(self, text: str, at: Keys) -> Filled:
        out: Filled = {}
        for i, piece in enumerate(filter(None, pieces(text)), 1):
            ideal = re.fullmatch(r"(.*\d.*?)\s*(?:at|@)\s*(.+)", piece)
            series = re.fullmatch(r"([0-9]+)\s*[x*]\s*(\S+)", piece)
            entry = (*at, str(i))
            if ideal:
                out[(*entry, "budget")] = value(ideal[1])
                out[(*entry, "voltage")] = value(ideal[2])
            elif series:
                out[(*entry, "cell")] = value(series[2])
                out[(*entry, "series")] = series[1]
            else:
                out[(*entry, "cell")] = value(piece)
        if not out:
            raise refused(text, "cells by id, or a source such as 220 mAh at 3 V")
        return out


@dataclass(frozen=True, slots=True)
class Priced:
    """A price with its currency: `1.10 EUR`, or by quantity `EUR 1: 1.90, 1000: 1.10`."""

    def read(self, text: str, at: Keys) -> Filled:
        found = re.findall(r"\b[A-Z]{3}\b", text)
        if len(set(found)) != 1:
            raise refused(text, "a price and its currency, such as 1.10 EUR")
        out: Filled = {(*at, "currency"): found[0]}
        for piece in filter(None, pieces(re.sub(r"\b[A-Z]{3}\b", " ", text))):
            quantity, colon, each = (one.strip() for one in piece.rpartition(":"))
            # apostrophes and blanks may part the thousands of a quantity, never a point or comma
            quantity = re.sub(r"[ ']", "", quantity) if colon else "1"
            if (*at, "breaks", quantity) in out:
                raise refused(f"{quantity} twice", "each quantity once")
            out[(*at, "breaks", quantity)] = value(each)
        return out


@dataclass(frozen=True, slots=True)
class Graded:
    """One word for all of some names, and others by name: `partial, compiler full`."""

    names: tuple[str, ...]

    def read(self, text: str, at: Keys) -> Filled:
        out: Filled = {}
        for piece in filter(None, pieces(text)):
            name, rest = named(piece)
            if rest and name is not None:
                out[(*at, name)] = compose.text(rest)
            elif not out:
                out = {(*at, one): compose.text(piece) for one in self.names}
            else:
                raise refused(piece, "a name and its answer, such as compiler full")
        return out


@dataclass(frozen=True, slots=True)
class Spread:
    """A value, or its least, likeliest and greatest: `3 h, 5 h, 16 h`."""

    def read(self, text: str, at: Keys) -> Filled:
        found = [] if _MAP.match(text) else pieces(text)
        if len(found) == 3:
            names = ("low", "likely", "high")
            parts = dict(zip(names, map(value, found), strict=True))
            return {at: compose.mapping(**parts)}
        if len(found) > 1:
            raise refused(text, "one value, or the least, the likeliest and the greatest")
        return {at: value(text)}


def below(filled: Filled, at: Keys) -> Iterator[str]:
    """The names right below some keys, in order, each once."""
    n = len(at)
    yield from dict.fromkeys(keys[n] for keys in filled if keys[:n] == at and len(keys) > n)
