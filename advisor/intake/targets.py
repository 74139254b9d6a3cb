"""Keys of a part with placeholders, `kernels.{kernel}.fast.time`, parsed by the declarations."""

from __future__ import annotations

import re
from collections.abc import Mapping

from advisor.catalogue.curves import CurveOf
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import PAIR, TRIPLE, Figure, Kind
from advisor.catalogue.schema_parts import Answer, AnswerKind, Part
from advisor.dataclass import dataclass
from advisor.faults import nearest

PART = Record(Part)
_HOLE = re.compile(r"\{([^{}.]*)\}")
_END = re.compile(r"(.+)\.(typical|max|low|likely|high)")


class TargetError(ValueError):
    """A text that is no key of a part: what was expected, and the nearest."""

    def __init__(self, expected: str, near: str | None = None) -> None:
        super().__init__(expected)
        self.expected = expected
        self.nearest = near


@dataclass(frozen=True, slots=True)
class Step:
    """A key on the way down: its text with the placeholders in it, and the kind it stands in."""

    text: str
    inside: Kind
    holes: tuple[str, ...]

    def filled(self, given: Mapping[str, str]) -> str:
        """The key with its placeholders filled."""
        if not self.holes:
            return self.text
        if len(self.text) == len(self.holes[0]) + 2:
            return given[self.holes[0]]
        return _HOLE.sub(lambda hole: given[hole[1]], self.text)


@dataclass(frozen=True, slots=True)
class Target:
    """A key of a part and the kind of what stands behind it; `holes` are its placeholders."""

    text: str
    steps: tuple[Step, ...]
    kind: Kind
    holes: tuple[str, ...]

    def path(self, given: Mapping[str, str]) -> tuple[str, ...]:
        """The keys with their placeholders filled."""
        return tuple([step.filled(given) for step in self.steps])


def parse(text: str, *, whole: bool = False) -> Target:
    """Read a key of a part.

    Parameters
    ----------
    whole : whether it may lead to a mapping as well.

    Raises
    ------
    TargetError
        For what no part may have, with the nearest key.
    """
    kind: Kind = PART
    rest, steps = text, list[Step]()
    while rest:
        name, rest, below = _step(kind, rest, text)
        steps.append(Step(name, kind, tuple(_HOLE.findall(name))))
        kind = below
    if not steps or (not whole and not is_leaf(kind)):
        some = ", ".join(_names(kind)[:6])
        raise TargetError(f"a key of a part that a value stands behind, below it {some}")
    holes = tuple(dict.fromkeys(hole for step in steps for hole in step.holes))
    return Target(text, tuple(steps), kind, holes)


def is_leaf(kind: Kind) -> bool:
    """Whether a cell can hold what stands behind a key of this kind."""
    return not isinstance(kind, (Record, MapOf)) and not (
        isinstance(kind, ListOf) and isinstance(kind.kind, Record)
    )


def _names(kind: Kind) -> list[str]:
    if isinstance(kind, Either):
        return _names(kind.record)
    if isinstance(kind, Record):
        return list(specification(kind.cls))
    if isinstance(kind, AnswerKind):
        return list(specification(Answer))
    if isinstance(kind, MapOf):
        return list(kind.keys) or [f"a {kind.names}"]
    return ["nothing"]


def _step(kind: Kind, rest: str, text: str) -> tuple[str, str, Kind]:
    """(key, what is left, the kind below it) of the next step."""
    name, _, after = rest.partition(".")
    if isinstance(kind, (Record, AnswerKind)):
        below = kind.below(name)
        if below is None:
            before = text[: len(text) - len(rest)]
            near = nearest(name, _names(kind))
            raise TargetError(
                "a key of a part, here one of " + ", ".join(_names(kind)),
                None if near is None else before + near,
            )
        return name, after, below
    if isinstance(kind, Either):
        return _step(kind.plain if rest in PAIR | TRIPLE else kind.record, rest, text)
    if isinstance(kind, Figure) and rest in PAIR | TRIPLE:
        return rest, "", kind
    if isinstance(kind, CurveOf):
        if kind.constant and rest in PAIR | TRIPLE:
            return rest, "", kind.y
        return (*_ended(rest), kind.y)
    if isinstance(kind, MapOf):
        known = kind.keys and not _HOLE.search(name) and name not in kind.keys
        if known:
            raise TargetError("one of " + ", ".join(kind.keys), nearest(name, kind.keys))
        if isinstance(kind.kind, (Record, MapOf, AnswerKind)):
            below = kind.kind
        else:
            # names may have a dot, as temperatures have; only a spread goes below them
            name, after = _ended(rest) if isinstance(kind.kind, Figure) else (rest, "")
            below = kind.kind
        if not name:
            raise TargetError(f"a {kind.names} between the dots")
        return name, after, below
    if isinstance(kind, ListOf) and isinstance(kind.kind, Record):
        return name, after, kind.kind
    raise TargetError("a key of a part, which has none below that", text[: -len(rest) - 1])


def _ended(rest: str) -> tuple[str, str]:
    """A name, and the end of a spread behind it."""
    found = _END.fullmatch(rest)
    return (found[1], found[2]) if found else (rest, "")
