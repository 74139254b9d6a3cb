"""Paths to figures: `ID:dotted.keys`, list entries by their own names.

Keys may hold dots themselves (`voltage-curve.0.5`), so a path's text is matched against the keys
that are there, the longest first, once; from then on a path is a value that carries its keys. A
place on a curve or in a table may be spelled otherwise than the file does (`293.15 K` for `20
degC`): it is the file's key that the path then carries.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from yaml.error import Mark
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, Place, nearest
from advisor.quantities import QuantityError, read_quantity
from advisor.source import read_text

# what curves, tables and environments are over
PLACES = ("temperature", "share", "current", "voltage", "time")
_NUMBER = frozenset("+-0123456789.")
# a list's entry is named by the first of these keys that it has
NAME_KEYS = (
    *("task", "load", "cell", "item", "at", "converter", "addon", "part", "kernel", "budget"),
    *("product", "time", "phase", "rail"),
)
SET = "--set"
# behind --set it leaves a key out
NOTHING = "null"
# a new key that begins with a decimal number, such as a depth in a voltage curve, is one key
_DECIMAL = re.compile(r"[+-]?[0-9]*\.[0-9]+[^.]*")
# a priority that names one of the user's own figures is one key
_OWN = re.compile(r"own-figures\.[^.]+")


# a dot at either end, or two in a row, is part of a number or else a slip
_SLIP = re.compile(r"\A\.|(?<![0-9])\.\Z|(?<![0-9])\.\.(?![0-9])")


@dataclass(frozen=True, slots=True, order=True)
class Path:
    """Where a figure stands: its document's id, and the keys on the way down as the file has them.

    An entry of a list goes by its name (`name_of`), else by its number.
    """

    document: str
    keys: tuple[str, ...] = ()

    def __str__(self) -> str:
        """`ID:dotted.keys`; the id alone for a whole document."""
        return f"{self.document}:{self.dotted}" if self.keys else self.document

    def __truediv__(self, key: str) -> Path:
        """The path of a key below this one."""
        return Path(self.document, (*self.keys, key))

    @property
    def dotted(self) -> str:
        """The keys without the document's id."""
        return ".".join(self.keys)

    @property
    def parent(self) -> Path:
        """What this lies in; a document lies in itself."""
        return Path(self.document, self.keys[:-1])

    def child(self, *keys: str) -> Path:
        """The path of keys below this one."""
        return Path(self.document, (*self.keys, *keys))

    def within(self, other: Path) -> bool:
        """Whether this is the other path or lies below it."""
        return self.document == other.document and self.keys[: len(other.keys)] == other.keys

    def node(self, root: Node) -> Node | None:
        """What stands here in the document of that root; None where nothing does."""
        here, node = self.placed(root)
        return node if here.keys == self.keys else None

    def placed(self, root: Node) -> tuple[Path, Node]:
        """(path, node) of the deepest key on the way here that stands."""
        node = root
        for n, key in enumerate(self.keys):
            found = next((child for name, child in _children(node) if name == key), None)
            if found is None:
                return Path(self.document, self.keys[:n]), node
            node = found
        return self, node

    def nearest(self, root: Node) -> str | None:
        """The key that stands nearest to the first one here that does not; None without one."""
        here, node = self.placed(root)
        if here.keys == self.keys:
            return None
        missing = self.keys[len(here.keys)]
        return nearest(missing, names_in(node))

    @classmethod
    def parse(cls, root: Node, text: str) -> Path:
        """The path that a text is, by the keys below the root of its document.

        Of several readings that of the longest keys is taken. What does not stand is taken to be
        the keys that a change (`assign`) would make.
        """
        document, _, dotted = text.partition(":")
        return cls(document, tuple(name for name, _ in steps(root, dotted)))


def document_of(text: str) -> str:
    """The id of the document that a path's text leads into."""
    return text.partition(":")[0]


@dataclass(frozen=True, slots=True)
class Assignment:
    """A change to a figure: the document's id, the dotted path in it, the value as a node."""

    document: str
    dotted: str
    value_node: Node
    text: str


def name_of(entry: Node) -> str | None:
    """The name by which a path finds a list's entry; None where it has none."""
    if isinstance(entry, ScalarNode):
        return str(entry.value)
    if isinstance(entry, MappingNode):
        given = {k.value: v for k, v in entry.value if isinstance(k, ScalarNode)}
        for name in NAME_KEYS:
            if isinstance(given.get(name), ScalarNode):
                return str(given[name].value)
    return None


def _children(node: Node) -> list[tuple[str, Node]]:
    if isinstance(node, MappingNode):
        return [(str(k.value), v) for k, v in node.value if isinstance(k, ScalarNode)]
    if isinstance(node, SequenceNode):
        return [(name_of(v) or str(i), v) for i, v in enumerate(node.value, 1)]
    return []


def names_in(node: Node) -> list[str]:
    """The keys of a mapping, or the names of a list's entries; none of a scalar."""
    return [name for name, _ in _children(node)]


def _step(node: Node, dotted: str) -> tuple[int, str] | None:
    """(index of the child that `dotted` begins with, what is left of the path)."""
    ways = []
    for i, (name, child) in enumerate(_children(node)):
        rest = dotted[len(name) + 1 :]
        # a scalar has nothing below it: beside the key `0`, `0.7` is another key
        on = rest and not isinstance(child, ScalarNode) and dotted.startswith(name + ".")
        if on or dotted == name:
            ways.append((i, rest, child))
    if len(ways) > 1:
        # the longest key, but one that leads on to something before one that does not
        ways.sort(key=lambda way: len(way[1]))
        ways.sort(key=lambda way: resolve(way[2], way[1]) is None)
    return ways[0][:2] if ways else _spelled_otherwise(node, dotted)


def _spelled_otherwise(node: Node, dotted: str) -> tuple[int, str] | None:
    """As `_step`, where the path begins with the place of a child in another spelling of it."""
    if dotted[:1] not in _NUMBER:
        return None
    ends = [n for n, letter in enumerate(dotted) if letter == "."]
    for end in (len(dotted), *reversed(ends)):
        wanted, rest = _place(dotted[:end]), dotted[end + 1 :]
        if wanted is None:
            continue
        for i, (name, child) in enumerate(_children(node)):
            leads_on = not rest or not isinstance(child, ScalarNode)
            there = _place(name) if leads_on and name[:1] in _NUMBER else None
            if there and there[0] == wanted[0] and same_place(there[1], wanted[1]):
                return i, rest
    return None


def same_place(one: float, other: float) -> bool:
    """Whether two places are one: a key in K and one in degC differ by rounding."""
    return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)


def _place(text: str) -> tuple[str, float] | None:
    """(dimension, SI value) of a place on a curve or in a table; None of any other key."""
    for dimension in PLACES:
        try:
            found = read_quantity(text, dimension)
        except QuantityError:
            continue
        return None if found.u else (dimension, found.nominal)
    return None


def resolve(root: Node, dotted: str) -> Node | None:
    """The node at a path; None where nothing stands."""
    node = root
    while dotted:
        step = _step(node, dotted)
        if step is None:
            return None
        i, dotted = step
        node = _children(node)[i][1]
    return node


def _new_key(dotted: str, inside: str) -> str:
    """The key that a change makes where nothing stands; `inside` is the key it is put below."""
    whole = _DECIMAL.match(dotted) or (inside == "priorities" and _OWN.match(dotted))
    return whole[0] if whole else dotted.partition(".")[0]


def steps(root: Node, dotted: str) -> Iterator[tuple[str, Node | None]]:
    """(name, node) of each key on the way down a path; nodes that are not there are None."""
    node: Node | None = root
    name = ""
    while dotted:
        found = None if node is None else _step(node, dotted)
        if found is None or node is None:
            name = _new_key(dotted, name)
            node, dotted = None, dotted[len(name) + 1 :]
        else:
            name, node = _children(node)[found[0]]
            dotted = found[1]
        yield name, node


def assign(root: Node, dotted: str, value: Node, inside: str = "") -> Node:
    """A new root with `value` at the path; what lies off the path is shared, nothing is changed.

    Keys that do not stand yet are made, so that reading the record tells whether they may.
    `inside` is the key that the root stands behind, if any.

    Raises
    ------
    FaultError
        For a list that has no such entry or several of that name, or a figure with keys asked for
        below it.
    """
    if not dotted:
        return value
    step = _step(root, dotted)
    if step is not None:
        i, rest = step
        names = names_in(root)
        if names.count(names[i]) > 1:
            raise _refused(dotted, f"an entry named once; {names.count(names[i])} bear it", value)
        assert isinstance(root, (MappingNode, SequenceNode))
        if isinstance(root, MappingNode):
            pairs = list(root.value)
            index = [n for n, (k, _) in enumerate(pairs) if isinstance(k, ScalarNode)][i]
            key, old = pairs[index]
            pairs[index] = (key, assign(old, rest, value, key.value))
            return MappingNode(root.tag, pairs, root.start_mark, root.end_mark)
        items = list(root.value)
        items[i] = assign(items[i], rest, value)
        return SequenceNode(root.tag, items, root.start_mark, root.end_mark)
    if isinstance(root, MappingNode):
        name = _new_key(dotted, inside)
        rest = dotted[len(name) + 1 :]
        if not name or dotted == f"{name}.":
            raise _refused(dotted, "keys with a dot between them", value)
        if name in names_in(root):
            raise _refused(dotted, f'a path that ends at "{name}", which has no keys', value)
        made = ScalarNode("tag:yaml.org,2002:str", name, value.start_mark, value.end_mark)
        empty = MappingNode("tag:yaml.org,2002:map", [], value.start_mark, value.end_mark)
        pairs = [*root.value, (made, assign(empty, rest, value, name))]
        return MappingNode(root.tag, pairs, root.start_mark, root.end_mark)
    known = ", ".join(names_in(root)) or "none in an empty list"
    raise _refused(dotted, f"an entry that stands: {known}", value)


def leaves_out(value: Node) -> bool:
    """Whether a change's value is the bare word that leaves its key out; in quotes it is a text."""
    return isinstance(value, ScalarNode) and value.value == NOTHING and not value.style


def remove(root: Node, dotted: str, value: Node) -> Node:
    """A new root without what stands at the path, a key or an entry of a list.

    `value` is the change's, whose place faults bear.

    Raises
    ------
    FaultError
        Where nothing stands at the path, or several entries of that name.
    """
    if resolve(root, dotted) is None:
        names = [name for name, _ in steps(root, dotted)]
        near = Path("", tuple(names)).nearest(root)
        raise _refused(dotted, "a key that stands, to leave it out", value, near)
    step = _step(root, dotted)
    assert step is not None
    assert isinstance(root, (MappingNode, SequenceNode))
    name_index, rest = step
    names = names_in(root)
    if names.count(names[name_index]) > 1:
        many = names.count(names[name_index])
        raise _refused(dotted, f"an entry named once; {many} bear it", value)
    if isinstance(root, MappingNode):
        pairs = list(root.value)
        index = [n for n, (k, _) in enumerate(pairs) if isinstance(k, ScalarNode)][name_index]
        key, old = pairs[index]
        pairs[index : index + 1] = [(key, remove(old, rest, value))] if rest else []
        return MappingNode(root.tag, pairs, root.start_mark, root.end_mark)
    items = list(root.value)
    old = items[name_index]
    items[name_index : name_index + 1] = [remove(old, rest, value)] if rest else []
    return SequenceNode(root.tag, items, root.start_mark, root.end_mark)


def changed(root: Node, change: Assignment) -> Node:
    """A new root with a change laid over it: a value that stands there, or nothing any more.

    Raises
    ------
    FaultError
        As `assign` and `remove` do.
    """
    if leaves_out(change.value_node):
        return remove(root, change.dotted, change.value_node)
    return assign(root, change.dotted, change.value_node)


def _refused(dotted: str, expected: str, value: Node, near: str | None = None) -> FaultError:
    place = Place(value.start_mark.name, 1, 1)
    read = f'"{dotted}"'
    fault = Fault(path=dotted, read=read, expected=expected, place=place, nearest=near)
    return FaultError((fault,))


def scalars(document: str, root: Node) -> Iterator[tuple[Path, ScalarNode]]:
    """Every scalar of a document with its path, in the order of the file."""
    return _below(Path(document), root)


def _below(path: Path, node: Node) -> Iterator[tuple[Path, ScalarNode]]:
    for name, child in _children(node):
        here = path / name
        if isinstance(child, ScalarNode):
            yield here, child
        else:
            yield from _below(here, child)


def walk(root: Node) -> Iterator[tuple[str, ScalarNode]]:
    """Every scalar below a node with its dotted keys, in the order of the file."""
    for path, node in scalars("", root):
        yield path.dotted, node


def _rename(node: Node, file: str) -> None:
    """Let the marks of a node and all below it bear the change's name in place of a file's."""
    mark = node.start_mark
    node.start_mark = Mark(file, mark.index, mark.line, mark.column, None, 0)
    if isinstance(node, MappingNode):
        for k, v in node.value:
            _rename(k, file)
            _rename(v, file)
    elif isinstance(node, SequenceNode):
        for item in node.value:
            _rename(item, file)


def split_assignment(text: str) -> Assignment:
    """Read `ID:dotted.path=VALUE`; VALUE is YAML, so `{typical: 2 µA, max: 6 µA}` works, and a
    bare `null` leaves the key out.

    Raises
    ------
    FaultError
        When it is not of that form.
    """
    path, equals, value = text.partition("=")
    document, colon, dotted = path.partition(":")
    keys = dotted.strip()
    whole = keys and not _SLIP.search(keys)
    if not (equals and colon and document.strip() and whole and value.strip()):
        raise FaultError(
            (
                Fault(
                    SET,
                    f'"{text}"',
                    "ID:KEYS=VALUE, such as frost-post:workload.sample.every=30s",
                    Place(SET, 1, 1),
                ),
            )
        )
    file = f"{SET} {path.strip()}"
    node = read_text(value.strip(), file).root
    _rename(node, file)
    return Assignment(document.strip(), keys, node, text)
