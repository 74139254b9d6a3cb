"""Devicetree source as nodes with places: the part of the language that describes values.

Nodes, labels, properties, `/dts-v1/`, `&label` extensions, comments; strings, bytes and arrays of
cells, whose numbers are decimal, hexadecimal or octal, negative in parentheses (Devicetree
Specification 0.4, chapter 6, from memory). What another program must work out first is refused
by its name: `/include/`, preprocessor lines, deletions.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, Place

LARGEST = 4 * 1024 * 1024  # bytes of a file
DEEPEST = 64  # nodes inside one another
MOST = 500_000  # pieces of the text

_PIECE = re.compile(
    r"""
    (?P<space> [ \t\r\n\f\v]+ | //[^\n]* | (?s:/\*.*?\*/) )
  | (?P<line> \#[ \t]*(?:include|define|undef|ifn?def|if|elif|else|endif|pragma|error|warning|line)
      (?![\w,-])[^\n]* )
  | (?P<text> "(?:[^"\\\n]|\\.)*" )
  | (?P<order> /[a-z0-9-]+/ )
  | (?P<label> [A-Za-z_][A-Za-z0-9_]*: )
  | (?P<reference> &(?:[A-Za-z_][A-Za-z0-9_]*|\{[^}\s]*\}) )
  | (?P<bytes> \[[0-9A-Fa-f \t\r\n]*\] )
  | (?P<mark> [{}=;,<>()\-+*/%~!|^?:&] )
  | (?P<name> [A-Za-z0-9,._+?\#@'-]+ )
    """,
    re.VERBOSE | re.MULTILINE,
)
_NUMBER = re.compile(r"(?:0[xX]([0-9A-Fa-f]{1,16})|(0[0-7]*)|([1-9][0-9]{0,19}))(?:[uU]?[lL]{0,2})")
_ESCAPE = re.compile(r"\\(.)")


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the text: its kind, what stands there, and where."""

    kind: str
    text: str
    line: int
    column: int


@dataclass(slots=True)
class Property:
    """A property: its values in order (numbers of an array, texts, or what is neither) and place.

    `odd` is the first piece of its values that is neither a number nor a text.
    """

    name: str
    line: int
    column: int
    arrays: list[list[int]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    odd: Piece | None = None

    @property
    def cells(self) -> list[int]:
        """The numbers of all its arrays."""
        return [number for array in self.arrays for number in array]

    def place(self, file: str) -> Place:
        """Where it begins."""
        return Place(file, self.line, self.column)


@dataclass(slots=True)
class Node:
    """A node: its name, labels, properties by name and children by name."""

    name: str
    line: int
    column: int
    labels: list[str] = field(default_factory=list)
    properties: dict[str, Property] = field(default_factory=dict)
    children: dict[str, Node] = field(default_factory=dict)

    def place(self, file: str) -> Place:
        """Where it begins."""
        return Place(file, self.line, self.column)

    def walk(self) -> Iterator[Node]:
        """The node and all below it, in the order of the text."""
        left = [self]
        while left:
            node = left.pop()
            yield node
            left += reversed(node.children.values())


def read_devicetree(data: bytes, file: str) -> Node:
    """The root of a source; nodes that extend a label of elsewhere stand below it by that label.

    Raises
    ------
    FaultError
        When it cannot be read, or needs another program first.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        place = Place(file, line, column)
        read = f"byte 0x{data[error.start]:02x}"
        raise FaultError((Fault("file", read, "text in UTF-8", place),)) from None
    return _Parser(_pieces(text, file), file).source()


def _pieces(text: str, file: str) -> list[Piece]:
    pieces: list[Piece] = []
    faults: list[Fault] = []
    at, line, start = 0, 1, 0
    while at < len(text):
        found = _PIECE.match(text, at)
        place = Place(file, line, at - start + 1)
        if found is None:
            what = "a text without an end" if text[at] == '"' else f'"{text[at]}"'
            if text.startswith("/*", at):
                what = "a comment without an end"
            faults.append(Fault("file", what, "a devicetree source", place))
            break
        kind, piece = found.lastgroup or "", found[0]
        if kind == "line":
            word = " ".join(piece.split())
            expected = "a source that the preprocessor has been over"
            faults.append(Fault("file", f"the preprocessor line {word}", expected, place))
        elif kind != "space":
            pieces.append(Piece(kind, piece, line, at - start + 1))
        if len(pieces) > MOST:
            faults.append(Fault("file", f"more than {MOST} pieces", f"at most {MOST}", place))
        if len(faults) >= 20 or len(pieces) > MOST:
            break
        ends = piece.count("\n")
        if ends:
            line += ends
            start = at + piece.rfind("\n") + 1
        at = found.end()
    if faults:
        raise FaultError(faults)
    return pieces


class _Parser:
    def __init__(self, pieces: list[Piece], file: str) -> None:
        self.pieces, self.file, self.at = pieces, file, 0
        self.labelled: dict[str, Node] = {}
        last = pieces[-1] if pieces else Piece("", "", 1, 1)
        self.end = Piece("end", "the end of the file", last.line, last.column)

    # ------------------------------------------------------------------------------- pieces

    @property
    def next(self) -> Piece:
        return self.pieces[self.at] if self.at < len(self.pieces) else self.end

    def take(self) -> Piece:
        piece = self.next
        self.at += 1
        return piece

    def refuse(self, piece: Piece, expected: str) -> FaultError:
        read = piece.text if piece.kind == "end" else f'"{piece.text}"'
        place = Place(self.file, piece.line, piece.column)
        return FaultError((Fault("file", read, expected, place),))

    def wanted(self, mark: str) -> None:
        piece = self.take()
        if piece.text != mark or piece.kind not in ("mark", "order"):
            raise self.refuse(piece, f'"{mark}"')

    # ------------------------------------------------------------------------------ grammar

    def source(self) -> Node:
        root = Node("/", 1, 1)
        while self.next.kind != "end":
            if self.next.kind == "order":
                self._order()
                continue
            labels = self._labels()
            piece = self.take()
            if piece.kind == "mark" and piece.text == "/":
                node = root
            elif piece.kind == "reference":
                name = piece.text[1:]
                # what another file defines stands by its label
                new = Node(name, piece.line, piece.column, [name])
                node = self._known(name, root) or root.children.setdefault(name, new)
            else:
                raise self.refuse(piece, 'a node, "/" or "&label"')
            self._label(node, labels)
            self._body(node, 1)
        return root

    def _known(self, name: str, root: Node) -> Node | None:
        """The node of a label, or of a path in braces."""
        if not name.startswith("{"):
            return self.labelled.get(name)
        node: Node | None = root
        for step in name[1:-1].split("/"):
            if step and node is not None:
                node = node.children.get(step)
        return node

    def _order(self) -> None:
        piece = self.take()
        if piece.text in ("/dts-v1/", "/plugin/"):
            self.wanted(";")
        elif piece.text == "/memreserve/":
            while self.next.kind == "name":
                self.take()
            self.wanted(";")
        else:
            raise self.refuse(piece, "a source in one file with nothing to be left out of it")

    def _labels(self) -> list[str]:
        labels = []
        while self.next.kind == "label":
            labels.append(self.take().text[:-1])
        return labels

    def _label(self, node: Node, labels: list[str]) -> None:
        for label in labels:
            node.labels.append(label)
            self.labelled[label] = node

    def _body(self, node: Node, depth: int) -> None:
        if depth > DEEPEST:
            raise self.refuse(self.next, f"at most {DEEPEST} levels")
        self.wanted("{")
        while not (self.next.kind == "mark" and self.next.text == "}"):
            if self.next.kind == "order" and self.next.text == "/omit-if-no-ref/":
                self.take()
            labels = self._labels()
            piece = self.take()
            if piece.kind != "name":
                raise self.refuse(piece, "a property, a node or }")
            if self.next.text == "{" and self.next.kind == "mark":
                new = Node(piece.text, piece.line, piece.column)
                child = node.children.setdefault(piece.text, new)
                self._label(child, labels)
                self._body(child, depth + 1)
            else:
                node.properties[piece.text] = self._property(piece)
        self.take()
        self.wanted(";")

    def _property(self, name: Piece) -> Property:
        out = Property(name.text, name.line, name.column)
        piece = self.take()
        if piece.text == ";" and piece.kind == "mark":
            return out
        if piece.text != "=" or piece.kind != "mark":
            raise self.refuse(piece, '"=", "{" or ";"')
        while True:
            self._value(out)
            self._labels()
            piece = self.take()
            if piece.kind == "mark" and piece.text == ";":
                return out
            if piece.kind != "mark" or piece.text != ",":
                raise self.refuse(piece, '"," or ";"')

    def _value(self, out: Property) -> None:
        self._labels()
        piece = self.take()
        if piece.kind == "text":
            out.texts.append(_ESCAPE.sub(_plain, piece.text[1:-1]))
        elif piece.kind == "mark" and piece.text == "<":
            out.arrays.append(self._array(out))
        elif piece.kind in ("bytes", "reference"):
            out.odd = out.odd or piece
        elif piece.kind == "order" and piece.text == "/bits/":
            out.odd = out.odd or piece
            self.take()
            self.wanted("<")
            self._array(out)
        else:
            raise self.refuse(piece, "a text, <numbers> or [bytes]")

    def _array(self, out: Property) -> list[int]:
        numbers: list[int] = []
        while True:
            piece = self.take()
            if piece.kind == "mark" and piece.text == ">":
                return numbers
            if piece.kind == "name" and (number := _number(piece.text)) is not None:
                numbers.append(number)
            elif piece.kind == "mark" and piece.text == "(":
                number = self._negative(piece, out)
                if number is not None:
                    numbers.append(number)
            elif piece.kind in ("name", "reference"):
                out.odd = out.odd or piece
            elif piece.kind != "label":
                raise self.refuse(piece, "a number or >")

    def _negative(self, first: Piece, out: Property) -> int | None:
        """A number in parentheses with its sign; what is to be reckoned is passed over and kept."""
        inside = []
        depth = 1
        while depth:
            piece = self.take()
            if piece.kind == "end" or piece.text in (";", "{", "}"):
                raise self.refuse(piece, ")")
            depth += {"(": 1, ")": -1}.get(piece.text, 0)
            inside.append(piece)
        words = [piece.text for piece in inside[:-1]]
        # `-10` comes as one name, `- 10` as two pieces
        sign, digits = 1, "".join(words)
        if digits.startswith("-"):
            sign, digits = -1, digits[1:]
        number = _number(digits) if len(words) <= 2 else None
        if number is None:
            out.odd = out.odd or Piece("sum", f"({' '.join(words)})", first.line, first.column)
            return None
        return sign * number


def _number(text: str) -> int | None:
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    if found[1]:
        return int(found[1], 16)
    return int(found[2], 8) if found[2] else int(found[3])


def _plain(found: re.Match[str]) -> str:
    return {"n": "\n", "t": "\t", "r": "\r", "0": "\0"}.get(found[1], found[1])
