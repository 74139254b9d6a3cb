"""What the results say of their fields: the text below each, its unit and what it may hold."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
import textwrap
import types
import typing
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from advisor.dataclass import dataclass

_NOTE = re.compile(r"(?:\[(?P<unit>[^\]]+)\](?!\() )?(?P<meaning>.+)", re.S)
_HOLDS = {
    str: "text",
    bool: "true or false",
    int: "whole number",
    float: "number",
    type(None): "null",
}


@dataclass(frozen=True, slots=True)
class Field:
    """A field of a result: its key in JSON, its unit, what it is, and what it holds.

    `inside` are the results below it, each with whether it is reached by a list or a mapping.
    """

    name: str
    unit: str
    meaning: str
    holds: str
    inside: tuple[type, ...]


@cache
def fields(cls: type) -> tuple[Field, ...]:
    """The fields of a result that its JSON shows, in the order of declaration.

    Raises
    ------
    ValueError
        For a field that does not say what it is.
    """
    texts = _texts(cls)
    hints = typing.get_type_hints(cls)
    out = []
    for field in dataclasses.fields(cls):
        if not field.repr:
            continue
        found = _NOTE.fullmatch(texts.get(field.name, ""))
        if found is None:
            raise ValueError(f"{cls.__name__}.{field.name} has no text below it")
        hint = hints[field.name]
        out.append(
            Field(
                name=field.name,
                unit=found["unit"] or "",
                meaning=found["meaning"],
                holds=holds(hint),
                inside=tuple(_results(hint)),
            )
        )
    return tuple(out)


def _texts(cls: type) -> Mapping[str, str]:
    """The text below each annotated name of a class, on one line."""
    found = ast.parse(textwrap.dedent(inspect.getsource(cls))).body[0]
    assert isinstance(found, ast.ClassDef)
    out = {}
    for line, below in zip(found.body, found.body[1:], strict=False):
        if (
            isinstance(line, ast.AnnAssign)
            and isinstance(line.target, ast.Name)
            and isinstance(below, ast.Expr)
            and isinstance(below.value, ast.Constant)
            and isinstance(below.value.value, str)
        ):
            out[line.target.id] = " ".join(below.value.value.split())
    return out


def holds(hint: Any) -> str:
    """What a field of a type holds in JSON, in words.

    Raises
    ------
    TypeError
        For a type that no result has had so far.
    """
    if hint in _HOLDS:
        return _HOLDS[hint]
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return " or ".join(holds(one) for one in inside)
    if origin is tuple:
        return f"list of {_several(inside[0])}"
    if origin is not None and issubclass(origin, Mapping):
        return f"mapping to {_several(inside[1])}"
    if dataclasses.is_dataclass(hint):
        return "keys"
    raise TypeError(f"no words for {hint}")


def _several(hint: Any) -> str:
    one = holds(hint)
    plurals = {"text": "texts", "number": "numbers", "whole number": "whole numbers"}
    return plurals.get(one, one)


def _results(hint: Any) -> Iterator[type]:
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        yield hint
    for inside in typing.get_args(hint):
        yield from _results(inside)
