"""XML of others as a tree with places: what is asked for, nothing that could act or exhaust.

A document type is refused, so there are no entities but the five of XML itself, and nothing is
fetched. Depth, length and number are bounded.
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.parsers import expat

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, Place

LARGEST = 32 * 1024 * 1024  # bytes of a document; the largest packs' descriptions have some 15 MB
DEEPEST = 64  # elements inside one another
MOST = 2_000_000  # elements
MOST_KEPT = 500_000  # elements that are asked for
MOST_ATTRIBUTES = 64  # of an element
LONGEST = 16_384  # characters of an attribute, or of an element's text


@dataclass(slots=True)
class Element:
    """An element: its attributes, its text, the elements in it by their name, and its place."""

    name: str
    attributes: Mapping[str, str]
    line: int
    column: int
    text: str = ""
    below: dict[str, list[Element]] = field(default_factory=dict)

    def place(self, file: str) -> Place:
        """Where it begins."""
        return Place(file, self.line, self.column)


def read_xml(
    data: bytes, file: str, root: str, wanted: Mapping[str, frozenset[str]], texts: frozenset[str]
) -> Element:
    """Read a document.

    Parameters
    ----------
    file : its name, for faults. root : what its outermost element is called.
    wanted : by an element's name, those in it that are kept; all others are passed over.
    texts : the elements whose text is kept.

    Raises
    ------
    FaultError
        When it is no such document, or could act or exhaust.
    """
    return _Reading(file, root, wanted, texts).tree(data)


class _Reading:
    def __init__(
        self, file: str, root: str, wanted: Mapping[str, frozenset[str]], texts: frozenset[str]
    ) -> None:
        self.file, self.root, self.wanted, self.texts = file, root, wanted, texts
        self.top: Element | None = None
        self.open: list[Element] = []
        self.over = 0  # depth below an element that is passed over
        self.count = self.kept = 0
        self.pieces: list[str] = []
        self.length = 0
        # names as they stand: a prefix is part of one
        self.parser = parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        parser.StartDoctypeDeclHandler = self.doctype
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.CharacterDataHandler = self.characters

    def tree(self, data: bytes) -> Element:
        if len(data) > LARGEST:
            mega = LARGEST // 1024 // 1024
            self.refuse(f"more than {mega} MiB", f"a document of at most {mega} MiB", 1, 1)
        try:
            self.parser.Parse(data, True)
        except expat.ExpatError as error:
            words = expat.ErrorString(error.code) or "text that is not XML"
            self.refuse(f"bad XML: {words}", "an XML document", error.lineno, error.offset + 1)
        except (LookupError, ValueError) as error:
            self.refuse(f"an encoding that is not known ({error})", "text in UTF-8", 1, 1)
        assert self.top is not None  # a document without an element is an error of the parser's
        return self.top

    def refuse(
        self, read: str, expected: str, line: int | None = None, column: int | None = None
    ) -> None:
        place = Place(
            self.file,
            self.parser.CurrentLineNumber if line is None else line,
            self.parser.CurrentColumnNumber + 1 if column is None else column,
        )
        raise FaultError((Fault("file", read, expected, place),))

    def doctype(self, name: str, system: str | None, public: str | None, inner: int) -> None:
        self.refuse(f"a document type, {name}", "plain XML without a document type or entities")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST:
            self.refuse(f"more than {MOST} elements", f"at most {MOST}")
        if len(self.open) + self.over >= DEEPEST:
            self.refuse("elements nested too deep", f"at most {DEEPEST} levels")
        if len(attributes) > MOST_ATTRIBUTES:
            self.refuse(f"{len(attributes)} attributes", f"at most {MOST_ATTRIBUTES}")
        for key, value in attributes.items():
            if len(value) > LONGEST:
                self.refuse(f"{key} of {len(value)} characters", f"at most {LONGEST}")
        if self.over:
            self.over += 1
            return
        if not self.open:
            if name != self.root:
                self.refuse(f"the element {name}", f"the element {self.root}")
        elif name not in self.wanted.get(self.open[-1].name, ()):
            self.over = 1
            return
        self.kept += 1
        if self.kept > MOST_KEPT:
            self.refuse(f"more than {MOST_KEPT} elements of use", f"at most {MOST_KEPT}")
        parser = self.parser
        found = Element(name, attributes, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)
        if self.open:
            self.open[-1].below.setdefault(name, []).append(found)
        else:
            self.top = found
        self.open.append(found)
        self.pieces, self.length = [], 0

    def end(self, name: str) -> None:
        if self.over:
            self.over -= 1
            return
        found = self.open.pop()
        if found.name in self.texts:
            found.text = "".join(self.pieces)
        self.pieces, self.length = [], 0

    def characters(self, piece: str) -> None:
        if self.over or not self.open or self.open[-1].name not in self.texts:
            return
        self.length += len(piece)
        if self.length > LONGEST:
            self.refuse(f"a text of more than {LONGEST} characters", f"at most {LONGEST}")
        self.pieces.append(piece)
