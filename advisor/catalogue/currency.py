"""A currency's code, as a value or as the key of a rate of exchange."""

from __future__ import annotations

import re

from yaml.nodes import Node

from advisor import grammar
from advisor.catalogue.definitions import Definitions, Schema
from advisor.catalogue.kinds import Reading, value_text
from advisor.dataclass import dataclass

_CODE = re.compile(grammar.CURRENCY)


@dataclass(frozen=True, slots=True)
class Currency:
    """A currency code, as ISO 4217 spells them; of which there are, nothing is said."""

    def read(self, node: Node, path: str, reading: Reading) -> str | None:
        text = value_text(node, path, reading, self.describe())
        if text is None or _CODE.fullmatch(text):
            return text
        from advisor.catalogue.usual_words import currency_meant

        reading.fault(node, path, f'"{text}"', self.describe(), currency_meant(text))
        return None

    def describe(self) -> str:
        return "a currency code: three capital letters, such as EUR"

    def key_schema(self) -> Schema:
        """What it is as a key."""
        return {"pattern": f"^{_CODE.pattern}$"}

    def schema(self, shared: Definitions) -> Schema:
        # a word that other readers of YAML take for true is a text to this one
        return {"type": ["string", "boolean"], **self.key_schema()}
