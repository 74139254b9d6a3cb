"""`catalog check` and `product check`: what has been read, and what looks odd in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.sense import catalogue_warnings, product_warnings
from advisor.dataclass import dataclass
from advisor.faults import Fault
from advisor.studies.results import frame

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Checked:
    """What was read without a fault, and the warnings of sense."""

    what: str
    counts: dict[str, int]
    warnings: tuple[Fault, ...]

    def to_frame(self) -> pd.DataFrame:
        """The warnings as a data frame, a row a warning."""
        return frame([warning.as_dict() for warning in self.warnings])


def check_catalogue(catalogue: Catalogue) -> Checked:
    """Warnings of a catalogue; reading it has raised its faults already."""
    counts = {
        "parts": len(catalogue.parts),
        "cells": len(catalogue.cells),
        "converters": len(catalogue.converters),
        "add-ons": len(catalogue.addons),
        "kernels": len(catalogue.kernels),
    }
    return Checked("catalogue", counts, catalogue_warnings(catalogue))


def check_product(catalogue: Catalogue, product: Product) -> Checked:
    """Warnings of a product; reading it has raised its faults already."""
    counts = {
        "tasks": len(product.workload),
        "cells": len(product.supply_options.cells),
        "converters": len(product.supply_options.converters),
        "priorities": len(product.priorities),
    }
    return Checked(product.product, counts, product_warnings(product, catalogue))
