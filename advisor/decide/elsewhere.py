"""The files with one lever at another value, read and checked once."""

from __future__ import annotations

from advisor.catalogue.kinds import Read
from advisor.catalogue.levers import Lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.decide.profiles import Latest
from advisor.faults import FaultError

MOVED = 256  # moved files that are kept, the latest


class Elsewhere:
    """A catalogue and a product with levers at other values, one at a time."""

    def __init__(self, catalogue: Catalogue, product: Product) -> None:
        self.catalogue, self.product = catalogue, product
        self._known = Latest(MOVED)
        self._read: Read = {}

    def at(self, lever: Lever, x: float) -> tuple[Catalogue, Product] | None:
        """The files with a lever at a value (SI); None where it may not stand there."""
        key = lever.path, x
        found: tuple[tuple[Catalogue, Product] | None] | None = self._known.get(key)
        if found is None:
            try:
                found = (self.changed(self.catalogue, lever, x),)
            except FaultError:
                found = (None,)
            self._known.put(key, 1, found)
        return found[0]

    def changed(self, catalogue: Catalogue, lever: Lever, x: float) -> tuple[Catalogue, Product]:
        """The same for a catalogue with more or fewer parts, anew each time.

        Raises
        ------
        FaultError
            For a value (SI) that may not stand there.
        """
        return with_changes(catalogue, self.product, [lever.assignment(x)], self._read)
