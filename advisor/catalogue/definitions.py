"""Pieces of JSON Schema that the kinds build theirs from."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Schema = dict[str, Any]


class Definitions:
    """The schemas of a document that stand once, under a name, and are referred to."""

    def __init__(self) -> None:
        self.found: dict[str, Schema] = {}

    def refer(self, name: str, body: Callable[[], Schema]) -> Schema:
        """A reference to the schema of that name, which is made when first asked for."""
        if name not in self.found:
            self.found[name] = {}
            self.found[name] = body()
        return {"$ref": f"#/$defs/{name}"}


def exactly(properties: Schema) -> Schema:
    """The schema of a mapping with all of these keys and no others."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
