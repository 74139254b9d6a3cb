"""A new file from the keys that were filled: every key with its meaning, what may be filled in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from advisor.catalogue import compose
from advisor.catalogue.compose import Line
from advisor.catalogue.edit import flow
from advisor.catalogue.fields import ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import Kind
from advisor.intake.forms import Filled, Keys

LONGEST = 88  # characters of a line with its comment, its indent aside; longer ones go above
Tree = dict[str, Any]  # a key to YAML text or to a tree of its own


def nested(filled: Filled) -> Tree:
    """The tree of flat keys; what a later answer says of a key stands."""
    out: Tree = {}
    for keys, text in filled.items():
        if keys[-1] == "":
            continue  # a name that was chosen and has nothing below it yet
        here = out
        for name in keys[:-1]:
            inside = here.get(name)
            if not isinstance(inside, dict):
                inside = here[name] = {}
            here = inside
        here[keys[-1]] = text
    return out


def document(
    cls: type[Any],
    filled: Filled,
    notes: Mapping[Keys, str],
    blanks: Mapping[Keys, str],
    head: str,
) -> str:
    """The text of a new file.

    Parameters
    ----------
    notes : what is said above a key, such as the reason of a default. blanks : keys that may be
        filled in, with an example each; `*` for any name. They stand as comments.
    """
    writer = _Writer(notes, blanks)
    return compose.document(list(writer.record(cls, nested(filled), ())), head)


class _Writer:
    def __init__(self, notes: Mapping[Keys, str], blanks: Mapping[Keys, str]) -> None:
        self.notes, self.blanks = notes, blanks
        self.said: set[tuple[str, str]] = set()  # titles, each told where its key first stands

    def record(self, cls: type[Any], tree: Tree, at: Keys) -> Iterator[Line]:
        for name, declared in specification(cls).items():
            here = (*at, name)
            blank = self._blank(here)
            if name in tree:
                yield self._line(declared.kind, name, tree[name], here, self._title(cls, name))
            elif blank is not None and (cls.__name__, f"# {name}") not in self.said:
                self.said.add((cls.__name__, f"# {name}"))
                long = len(declared.title) + len(blank) + len(name) > LONGEST
                above, behind = (declared.title, "") if long else ("", declared.title)
                yield Line(name, blank, above=above, behind=behind, off=True)

    def _title(self, cls: type[Any], name: str) -> str:
        place = (cls.__name__, name)
        if place in self.said:
            return ""
        self.said.add(place)
        return specification(cls)[name].title

    def _blank(self, at: Keys) -> str | None:
        for keys, example in self.blanks.items():
            if len(keys) == len(at) and all(k in ("*", a) for k, a in zip(keys, at, strict=True)):
                return example
        return None

    def _line(self, kind: Kind, name: str, found: Any, at: Keys, title: str) -> Line:
        above = self.notes.get(at, "")
        flat = found if isinstance(found, str) else ""
        if len(title) + len(flat) + len(name) > LONGEST:
            above, title = f"{title}\n{above}".rstrip("\n"), ""
        if isinstance(found, str):
            return Line(name, found, above=above, behind=title)
        if isinstance(kind, Record):
            return Line(name, list(self.record(kind.cls, found, at)), above=above, behind=title)
        if isinstance(kind, ListOf) and isinstance(kind.kind, Record):
            inside = kind.kind.cls
            items = [list(self.record(inside, one, (*at, n))) for n, one in found.items()]
            return Line(name, items, above=above, behind=title)
        plain = all(isinstance(one, str) for one in found.values()) and not self._noted(at)
        if plain and len(title) + len(flow(found)) <= LONGEST:
            return Line(name, flow(found), above=above, behind=title)
        below = [self._line(_inside(kind, n), n, one, (*at, n), "") for n, one in found.items()]
        return Line(name, below, above=above, behind=title)

    def _noted(self, at: Keys) -> bool:
        return any(keys[: len(at)] == at and len(keys) > len(at) for keys in self.notes)


def _inside(kind: Kind, name: str) -> Kind:
    if isinstance(kind, MapOf):
        return kind.kind
    below = getattr(kind, "below", None)
    found: Kind | None = below(name) if below is not None else None
    return kind if found is None else found
