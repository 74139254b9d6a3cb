"""What stores answer from run to run: kept in the user's cache, by pattern and by the code."""

from __future__ import annotations

import hashlib
from pathlib import Path

from advisor.catalogue import cache
from advisor.model import (
    lattice,
    leaking,
    pieces,
    served,
    standing,
    store,
    store_chain,
    store_load,
    weather,
)

# all code that answers rest on
BY = (store, served, lattice, leaking, pieces, standing, store_chain, store_load, weather)
KIND = "stores-"  # what the names of its entries begin with
# entries: those of a few products with what a study moves about them, a fifth of a MB each
KEPT = 128


class Shelf:
    """Answers in the user's cache; see `advisor.model.served.Shelf`."""

    def read(self, pattern: str) -> bytes | None:
        """What was kept for a pattern, if it is sound."""
        return cache.entry(KIND, _key(pattern))

    def write(self, pattern: str, text: str) -> None:
        """Keep what is known of a pattern, where that is possible."""
        cache.keep(KIND, _key(pattern), text, KEPT)


def _key(pattern: str) -> str:
    digest = hashlib.sha256()
    for module in BY:
        assert module.__file__ is not None
        digest.update(Path(module.__file__).read_bytes() + b"\0")
    digest.update(pattern.encode())
    return digest.hexdigest()
