"""YAML changed by what it is made of: keys and values gone, twice, elsewhere, of other kinds."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from tests.fuzz import texts

STR, MAP, SEQ = (f"tag:yaml.org,2002:{word}" for word in ("str", "map", "seq"))


class _Dumper(yaml.emitter.Emitter, yaml.serializer.Serializer, yaml.resolver.BaseResolver):
    """Writes nodes, every scalar as it stands."""

    def __init__(self, stream: Any) -> None:
        yaml.emitter.Emitter.__init__(self, stream, width=10_000, allow_unicode=True)
        yaml.serializer.Serializer.__init__(self)
        yaml.resolver.BaseResolver.__init__(self)


class _Out(list[str]):
    def write(self, text: str) -> None:
        self.append(text)


def tree(text: str) -> Node:
    """The nodes of a YAML text."""
    node = yaml.compose(text, Loader=yaml.BaseLoader)
    assert node is not None
    return node


def dumped(root: Node) -> str:
    """A tree as text."""
    out = _Out()
    dumper = _Dumper(out)
    dumper.open()
    dumper.serialize(root)
    dumper.close()
    return "".join(out)


def scalar(text: str) -> ScalarNode:
    """A scalar, in quotes where it would not be itself without."""
    return ScalarNode(STR, text)


def copied(node: Node) -> Node:
    """A tree of its own with the same text."""
    if isinstance(node, MappingNode):
        pairs = [(copied(k), copied(v)) for k, v in node.value]
        return MappingNode(node.tag, pairs, flow_style=node.flow_style)
    if isinstance(node, SequenceNode):
        items = [copied(item) for item in node.value]
        return SequenceNode(node.tag, items, flow_style=node.flow_style)
    assert isinstance(node, ScalarNode)
    return ScalarNode(node.tag, node.value, style=node.style)


def everywhere(root: Node) -> Iterator[Node]:
    """Every node but keys."""
    yield root
    if isinstance(root, MappingNode):
        for _, value in root.value:
            yield from everywhere(value)
    elif isinstance(root, SequenceNode):
        for value in root.value:
            yield from everywhere(value)


def keyed(root: Node) -> list[MappingNode]:
    """Every mapping that is not empty."""
    return [n for n in everywhere(root) if isinstance(n, MappingNode) and n.value]


def _entry(rng: random.Random, root: Node) -> tuple[MappingNode, int] | None:
    # one key of all, not one mapping of all: most keys stand deep
    places = [(m, i) for m in keyed(root) for i in range(len(m.value))]
    return rng.choice(places) if places else None


def _delete(rng: random.Random, root: Node) -> None:
    if found := _entry(rng, root):
        del found[0].value[found[1]]


def _twice(rng: random.Random, root: Node) -> None:
    if found := _entry(rng, root):
        mapping, at = found
        key, value = mapping.value[at]
        to = rng.randrange(len(mapping.value) + 1)
        mapping.value.insert(to, (copied(key), copied(value)))


def _key(rng: random.Random, root: Node) -> None:
    if found := _entry(rng, root):
        mapping, at = found
        key, value = mapping.value[at]
        old = key.value if isinstance(key, ScalarNode) else ""
        mapping.value[at] = (scalar(texts.text(rng, old)), value)


def _value(rng: random.Random, root: Node) -> None:
    places = [n for n in everywhere(root) if isinstance(n, ScalarNode)]
    if places:
        node = rng.choice(places)
        node.value = texts.text(rng, node.value)
        node.style = None


def _number(rng: random.Random, root: Node) -> None:
    places = [n for n in everywhere(root) if isinstance(n, ScalarNode) and n.value[:1].isdigit()]
    if places:
        node = rng.choice(places)
        node.value = rng.choice((texts.rescaled, texts.spread, texts.other_unit))(rng, node.value)


def _nudge(rng: random.Random, root: Node) -> None:
    places = [n for n in everywhere(root) if isinstance(n, ScalarNode) and n.value[:1].isdigit()]
    if places:
        node = rng.choice(places)
        node.value = texts.nudged(rng, node.value)


def _kind(rng: random.Random, root: Node) -> None:
    """A list for a figure, a figure for a mapping, a pair or triple of figures, nothing."""
    if not (found := _entry(rng, root)):
        return
    mapping, at = found
    key, value = mapping.value[at]
    old = value.value if isinstance(value, ScalarNode) else "1 mA"
    made: list[Callable[[], Node]] = [
        lambda: SequenceNode(SEQ, [value], flow_style=True),
        lambda: SequenceNode(SEQ, [], flow_style=True),
        lambda: MappingNode(MAP, [], flow_style=True),
        lambda: MappingNode(MAP, [(scalar("a"), value)], flow_style=True),
        lambda: _several(rng, old, ("typical", "max")),
        lambda: _several(rng, old, ("low", "likely", "high")),
        lambda: scalar(texts.figure(rng)),
        lambda: scalar(""),
        lambda: copied(rng.choice(list(everywhere(root)))),
    ]
    mapping.value[at] = (key, rng.choice(made)())


def _several(rng: random.Random, old: str, names: tuple[str, ...]) -> Node:
    pairs = [(scalar(n), scalar(rng.choice((old, texts.rescaled(rng, old))))) for n in names]
    return MappingNode(MAP, pairs, flow_style=True)


def _swap(rng: random.Random, root: Node) -> None:
    """The values of two keys, often of one kind."""
    places = [(m, i) for m in keyed(root) for i in range(len(m.value))]
    if len(places) < 2:
        return
    (a, i), (b, j) = rng.sample(places, 2)
    one, two = copied(a.value[i][1]), copied(b.value[j][1])
    a.value[i], b.value[j] = (a.value[i][0], two), (b.value[j][0], one)


def _names(rng: random.Random, root: Node) -> None:
    """Two keys of one mapping."""
    wide = [m for m in keyed(root) if len(m.value) > 1]
    if wide:
        mapping = rng.choice(wide)
        i, j = rng.sample(range(len(mapping.value)), 2)
        (a, x), (b, y) = mapping.value[i], mapping.value[j]
        mapping.value[i], mapping.value[j] = (b, x), (a, y)


def _many(rng: random.Random, root: Node) -> None:
    """Entries of a list many times, each of another name or none."""
    lists = [n for n in everywhere(root) if isinstance(n, SequenceNode) and n.value]
    if not lists:
        return
    chosen = rng.choice(lists)
    entry = rng.choice(chosen.value)
    renamed = rng.random() < 0.8
    for number in range(rng.choice((1, 2, 5, 12, 40))):
        new = copied(entry)
        if renamed and isinstance(new, MappingNode) and new.value:
            key, value = new.value[0]
            if isinstance(value, ScalarNode):
                new.value[0] = (key, scalar(f"{value.value}{number}"))
        chosen.value.append(new)


def _deep(rng: random.Random, root: Node) -> None:
    if found := _entry(rng, root):
        mapping, at = found
        key, value = mapping.value[at]
        for _ in range(rng.choice((2, 30, 70, 150))):
            value = (
                SequenceNode(SEQ, [value], flow_style=True)
                if rng.random() < 0.5
                else MappingNode(MAP, [(scalar("a"), value)], flow_style=True)
            )
        mapping.value[at] = (key, value)


def _shared(rng: random.Random, root: Node) -> None:
    """An anchor and its alias, a tag, a merge."""
    if not (found := _entry(rng, root)):
        return
    mapping, at = found
    _, value = mapping.value[at]
    way = rng.randrange(3)
    if way == 0:
        mapping.value.append((scalar("again"), value))
    elif way == 1:
        value.tag = rng.choice(("!x", "tag:yaml.org,2002:python/none", "tag:yaml.org,2002:float"))
    else:
        mapping.value[at] = (scalar("<<"), value)


CHANGES = (
    *((_number,) * 6),
    *((_value,) * 3),
    *((_delete,) * 3),
    *((_kind,) * 2),
    *((_swap,) * 2),
    *(_twice, _key, _names, _many, _deep, _shared),
)

MILD = (*((_nudge,) * 6), _delete, _number)


def changed(rng: random.Random, text: str) -> bytes:
    """A YAML text with a few changes, now and then in its bytes."""
    root = tree(text)
    if rng.random() < 0.5:
        # what may be read to the end, and so comes to the figures themselves
        for _ in range(rng.choice((1, 2, 4, 8))):
            rng.choice(MILD)(rng, root)
    else:
        for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 5))):
            rng.choice(CHANGES)(rng, root)
    try:
        data = dumped(root).encode("utf-8", "surrogatepass")
    except RecursionError:
        data = text.encode() + b"a: " + b"[" * 5000
    return texts.damaged(rng, data) if rng.random() < 0.08 else data
