"""Dataclasses whose methods are made when they are first called.

The standard library compiles up to nine methods of each class where it is declared. Of the
hundreds of records that a run declares it makes some and compares fewer, so that takes longer than
reading the catalogue. What is declared here is a dataclass to `dataclasses.fields` and `replace`
and to type checkers, and has slots.
"""

from __future__ import annotations

import dataclasses
from dataclasses import MISSING, Field, FrozenInstanceError, field
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass", "field"]

if TYPE_CHECKING:
    from collections.abc import Callable
    from dataclasses import dataclass

Made = tuple[str, list[str], dict[str, Any]]  # parameters, lines of the body, names that they read
ORDER = {"__lt__": "<", "__le__": "<=", "__gt__": ">", "__ge__": ">="}


def _dataclass(
    cls: type[Any] | None = None,
    /,
    *,
    frozen: bool = False,
    slots: bool = False,
    kw_only: bool = False,
    eq: bool = True,
    order: bool = False,
) -> Any:
    """`dataclasses.dataclass`, with these of its options."""

    def declared(cls: type[Any]) -> type[Any]:
        assert slots, f"{cls.__name__} is to have slots"
        own = {name for name in cls.__dict__ if name != "__hash__"}
        if cls.__dict__.get("__hash__") is not None:
            own.add("__hash__")
        if not cls.__doc__:
            cls.__doc__ = cls.__name__  # else its signature would be looked for
        cls = dataclasses.dataclass(init=False, repr=False, eq=False, slots=True, kw_only=kw_only)(
            cls
        )
        made: dict[str, Callable[[type[Any]], Made]] = {"__init__": _init, "__repr__": _repr}
        if frozen:
            made["__init__"] = _frozen_init
            _freeze(cls)
        if eq:
            made["__eq__"] = lambda cls: _comparison(cls, "==")
        if eq and frozen:
            made["__hash__"] = _hash
        elif eq and "__hash__" not in own:
            cls.__hash__ = None  # type: ignore[assignment]
        for name, sign in ORDER.items() if order else ():
            made[name] = lambda cls, sign=sign: _comparison(cls, sign)  # type: ignore[misc]
        for name, source in made.items():
            if name not in own:
                _later(cls, name, source)
        return cls

    return declared if cls is None else declared(cls)


if not TYPE_CHECKING:
    dataclass = _dataclass


def _later(cls: type[Any], name: str, source: Callable[[type[Any]], Made]) -> None:
    """Give a class a method that is compiled, and takes this one's place, when it is called."""

    def first(*args: Any, **named: Any) -> Any:
        parameters, body, read = source(cls)
        text = f"def {name}({parameters}):\n " + "\n ".join(body)
        exec(text, read)
        method = read[name]
        method.__qualname__ = f"{cls.__qualname__}.{name}"
        setattr(cls, name, method)
        return method(*args, **named)

    first.__name__ = name
    setattr(cls, name, first)


def _init(cls: type[Any], put: Callable[[str], str] = "self.{0} = {0}".format) -> Made:
    read: dict[str, Any] = {"MISSING": MISSING}
    given: list[str] = []
    named: list[str] = []
    body: list[str] = []
    for one in dataclasses.fields(cls):
        name = one.name
        text = name
        if one.default is not MISSING:
            read[f"_of_{name}"] = one.default
            text = f"{name}=_of_{name}"
        elif one.default_factory is not MISSING:
            read[f"_of_{name}"] = one.default_factory
            text = f"{name}=MISSING"
            body.append(f"if {name} is MISSING: {name} = _of_{name}()")
        assert one.init, f"{cls.__name__}.{name} is to be given"
        (named if one.kw_only else given).append(text)
        body.append(put(name))
    if hasattr(cls, "__post_init__"):
        body.append("self.__post_init__()")
    return ", ".join(["self", *given, *(["*", *named] if named else [])]), body or ["pass"], read


def _frozen_init(cls: type[Any]) -> Made:
    # by the slots' own descriptors, which take what the class refuses
    parameters, body, read = _init(cls, "_put_{0}(self, {0})".format)
    read |= {f"_put_{f.name}": getattr(cls, f.name).__set__ for f in dataclasses.fields(cls)}
    return parameters, body, read


def _repr(cls: type[Any]) -> Made:
    shown = ", ".join(f"{f.name}={{self.{f.name}!r}}" for f in dataclasses.fields(cls) if f.repr)
    return "self", [f"return f'{{self.__class__.__qualname__}}({shown})'"], {}


def _all(cls: type[Any], who: str, among: Callable[[Field[Any]], bool]) -> str:
    told = [f"{who}.{f.name}" for f in dataclasses.fields(cls) if among(f)]
    return f"({', '.join(told)}{',' if len(told) == 1 else ''})"


def _comparison(cls: type[Any], sign: str) -> Made:
    one, other = (_all(cls, who, lambda f: f.compare) for who in ("self", "other"))
    body = [
        f"if other.__class__ is self.__class__: return {one} {sign} {other}",
        "return NotImplemented",
    ]
    return "self, other", body, {}


def _hash(cls: type[Any]) -> Made:
    told = _all(cls, "self", lambda f: f.compare if f.hash is None else f.hash)
    return "self", [f"return hash({told})"], {}


def _freeze(cls: type[Any]) -> None:
    """Refuse that fields are set or deleted, and keep what copies and pickles need."""
    names = {f.name for f in dataclasses.fields(cls)}

    def put(self: Any, name: str, value: Any) -> None:
        if type(self) is cls or name in names:
            raise FrozenInstanceError(f"cannot assign to field {name!r}")
        super(cls, self).__setattr__(name, value)

    def delete(self: Any, name: str) -> None:
        if type(self) is cls or name in names:
            raise FrozenInstanceError(f"cannot delete field {name!r}")
        super(cls, self).__delattr__(name)

    methods = {
        "__setattr__": put,
        "__delattr__": delete,
        "__getstate__": _state,
        "__setstate__": _restore,
    }
    for name, method in methods.items():
        if name not in cls.__dict__:
            setattr(cls, name, method)


def _state(record: Any) -> list[Any]:
    return [getattr(record, f.name) for f in dataclasses.fields(record)]


def _restore(record: Any, state: list[Any]) -> None:
    for one, value in zip(dataclasses.fields(record), state, strict=True):
        object.__setattr__(record, one.name, value)
