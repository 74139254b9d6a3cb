"""Curves: mappings of places to figures, and places that are spelled in two ways."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode

from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.kinds import PAIR, TRIPLE, Figure, Kind, Reading, shape_of
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS
from advisor.figures import Path, same_place
from advisor.quantities import Quantity


def there_already(place: float, keys: Mapping[float, str]) -> str | None:
    """The key of a curve or table that stands for a place; None where none does."""
    return next((key for at, key in keys.items() if same_place(at, place)), None)


def other_spelling(key: Node, stands: str) -> str | None:
    """The key that stands, where this one of the same value is written otherwise."""
    return stands if isinstance(key, ScalarNode) and key.value != stands else None


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve read from a mapping of x to y: x ascending in SI, y a figure at each x.

    `keys` are the places as the file writes them; none for a plain figure, a constant.
    """

    x: tuple[float, ...]
    y: tuple[Quantity, ...]
    keys: tuple[str, ...] = ()

    def entries(self, path: Path) -> Iterator[tuple[Path, Quantity]]:
        """(path, figure) at each place; `path` is the curve's own."""
        if not self.keys:
            yield path, self.y[0]
            return
        for key, quantity in zip(self.keys, self.y, strict=True):
            yield path / key, quantity


@dataclass(frozen=True, slots=True)
class CurveOf:
    """A curve of figures over another dimension; a plain figure stands for a constant."""

    x: Figure
    y: Figure
    constant: bool = True

    def read(self, node: Node, path: str, reading: Reading) -> Curve | None:
        names = (
            {k.value for k, _ in node.value if isinstance(k, ScalarNode)}
            if isinstance(node, MappingNode)
            else set()
        )
        if self.constant and (isinstance(node, ScalarNode) or (names and names <= PAIR | TRIPLE)):
            value = self.y.read(node, path, reading)
            return None if value is None else Curve((0.0,), (value,))
        if not isinstance(node, MappingNode) or not node.value:
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        points: dict[float, Quantity] = {}
        keys: dict[float, str] = {}
        good = True
        for k, v in node.value:
            x = self.x.read(k, path, reading)
            y = self.y.read(v, f"{path}.{k.value}", reading)
            if x is None or y is None:
                good = False
            elif x.u:
                reading.fault(k, path, shape_of(k), "an exact place on the curve")
                good = False
            elif (stands := there_already(x.nominal, keys)) is not None:
                near = other_spelling(k, stands)
                reading.fault(k, path, f"{shape_of(k)} twice", "each place of a curve once", near)
                good = False
            else:
                points[x.nominal], keys[x.nominal] = y, k.value
        if not good:
            return None
        ordered = sorted(points)
        return Curve(
            tuple(ordered), tuple(points[x] for x in ordered), tuple(keys[x] for x in ordered)
        )

    def below(self, name: str) -> Kind | None:
        return self.y

    @property
    def places(self) -> Figure:
        """What its keys are."""
        return self.x

    def describe(self) -> str:
        example = DIMENSIONS[self.x.dimension].example
        word = f"a mapping of {self.x.dimension} to {self.y.dimension} such as {{{example}: …}}"
        return f"{self.y.describe()}, or {word}" if self.constant else word

    def schema(self, shared: Definitions) -> Schema:
        curve = {
            "type": "object",
            "minProperties": 1,
            "propertyNames": self.x.key_schema(),
            "additionalProperties": self.y.schema(shared),
        }
        return {"anyOf": [self.y.schema(shared), curve]} if self.constant else curve


@dataclass(frozen=True, slots=True)
class Table:
    """Places in ascending order with what holds at each; `keys` as the file writes them."""

    at: tuple[float, ...]
    rows: tuple[Any, ...]
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableOf:
    """A mapping of places to something, such as curves; `once` is what a fault asks of a place that
    is there twice."""

    x: Figure
    kind: Kind
    once: str = "each place once"

    def read(self, node: Node, path: str, reading: Reading) -> Table | None:
        if not isinstance(node, MappingNode) or not node.value:
            reading.fault(node, path, shape_of(node), self.describe())
            return None
        rows: dict[float, Any] = {}
        names: dict[float, str] = {}
        good = True
        for k, v in node.value:
            at = self.x.read(k, path, reading)
            name = k.value if isinstance(k, ScalarNode) else "?"
            row = self.kind.read(v, f"{path}.{name}", reading)
            if at is None or row is None:
                good = False
            elif at.u:
                reading.fault(k, path, shape_of(k), f"an exact {self.x.dimension}")
                good = False
            elif (stands := there_already(at.nominal, names)) is not None:
                near = other_spelling(k, stands)
                reading.fault(k, path, f"{shape_of(k)} twice", self.once, near)
                good = False
            else:
                rows[at.nominal], names[at.nominal] = row, name
        if not good:
            return None
        order = sorted(rows)
        return Table(
            at=tuple(order), rows=tuple(rows[x] for x in order), keys=tuple(names[x] for x in order)
        )

    def below(self, name: str) -> Kind | None:
        return self.kind

    @property
    def places(self) -> Figure:
        """What its keys are."""
        return self.x

    def describe(self) -> str:
        example = DIMENSIONS[self.x.dimension].example
        return f"a mapping of {self.x.dimension} such as {example} to {self.kind.describe()}"

    def schema(self, shared: Definitions) -> Schema:
        return {
            "type": "object",
            "minProperties": 1,
            "propertyNames": self.x.key_schema(),
            "additionalProperties": self.kind.schema(shared),
        }
