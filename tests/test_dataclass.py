"""Dataclasses whose methods are made late are what the standard library's are."""

from __future__ import annotations

import copy
import dataclasses
import itertools
import pickle
from dataclasses import FrozenInstanceError, field
from typing import Any

import pytest

from advisor.dataclass import dataclass

pytestmark = pytest.mark.once

OPTIONS = [
    dict(zip(("frozen", "kw_only", "eq", "order"), on, strict=True))
    for on in itertools.product((False, True), repeat=4)
    if on[2] or not on[3]
]


@dataclass(frozen=True, slots=True)
class Pulse:
    """A record that a pickle finds by its name."""

    amps: float
    seconds: float = 1.0


def pair(options: dict[str, bool]) -> tuple[type[Any], type[Any]]:
    """The same class declared by the standard library and here."""

    def body() -> type[Any]:
        class Pulse:
            """A pulse."""

            amps: float
            seconds: float = 1.0
            tags: tuple[str, ...] = field(default=(), compare=False)
            seen: list[int] = field(default_factory=list, repr=False, hash=False)

            def charge(self) -> float:
                return self.amps * self.seconds

        return Pulse

    return (
        dataclasses.dataclass(slots=True, **options)(body()),
        dataclass(slots=True, **options)(body()),
    )


def outcome(act: Any) -> Any:
    """What a call gives, or the class of what it raises."""
    try:
        return act()
    except Exception as error:
        return type(error)


@pytest.mark.parametrize("options", OPTIONS, ids=str)
def test_what_a_record_does_is_what_the_standard_librarys_does(options: dict[str, bool]) -> None:
    told = []
    for cls in pair(options):
        one, equal, other = cls(amps=1.0), cls(amps=1.0), cls(amps=1.0, seconds=2.0, tags=("a",))

        def put(one: Any = one) -> None:
            one.amps = 3.0

        told.append(
            [
                repr(one),
                *(outcome(lambda a=a, b=b: a == b) for a, b in ((one, equal), (one, other))),
                outcome(lambda a=one, b=equal: hash(a) == hash(b)),
                one == 1,
                *(outcome(lambda a=one, b=other: a < b) for _ in range(2)),
                *(outcome(lambda a=one, b=other: a >= b) for _ in range(2)),
                outcome(lambda cls=cls: cls(1.0, 2.0).amps),
                outcome(cls),
                outcome(lambda cls=cls: cls(1.0, 2.0, (), [], 5)),
                outcome(lambda cls=cls: cls(amps=1.0, watts=2.0)),
                [f.name for f in dataclasses.fields(cls)],
                dataclasses.replace(one, seconds=4.0).charge(),
                dataclasses.asdict(other),
                one.seen is equal.seen,
                copy.deepcopy(other).tags,
                hasattr(one, "__dict__"),
                outcome(put),
                one.amps,
                cls.__match_args__,
            ]
        )
    assert told[0] == told[1]


def test_an_own_method_stays() -> None:
    @dataclass(frozen=True, slots=True)
    class Named:
        name: str
        rest: int = 0

        def __hash__(self) -> int:
            return 7

        def __repr__(self) -> str:
            return self.name

        def __post_init__(self) -> None:
            if not self.name:
                raise ValueError("no name")

    assert (hash(Named("a")), repr(Named("b"))) == (7, "b")
    assert Named("a") == Named("a", 0) != Named("a", 1)
    with pytest.raises(ValueError, match="no name"):
        Named("")


def test_a_class_that_is_derived_has_its_own_methods() -> None:
    @dataclass(frozen=True, slots=True)
    class Load:
        amps: float

    assert Load(1.0) == Load(1.0)

    @dataclass(frozen=True, slots=True)
    class Timed(Load):
        seconds: float

    assert repr(Timed(1.0, 2.0)).endswith("Timed(amps=1.0, seconds=2.0)")
    assert Timed(1.0, 2.0) != Timed(1.0, 3.0)
    assert Timed(1.0, 2.0) != Load(1.0)
    with pytest.raises(FrozenInstanceError):
        Timed(1.0, 2.0).amps = 2.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        del Timed(1.0, 2.0).seconds


def test_a_pickle_gives_it_back() -> None:
    one = Pulse(2.0)
    assert pickle.loads(pickle.dumps(one)) == one


def test_nothing_is_compiled_before_it_is_called() -> None:
    @dataclass(frozen=True, slots=True)
    class Late:
        amps: float

    made = {name: getattr(Late, name) for name in ("__init__", "__eq__", "__hash__", "__repr__")}
    Late(1.0)
    changed = {name for name, method in made.items() if getattr(Late, name) is not method}
    assert changed == {"__init__"}
