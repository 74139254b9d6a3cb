"""Choosing a microcontroller for a battery product.

The same verbs as the command line, lazily imported::

    import advisor

    catalogue, product = advisor.load("frost-post")
    advisor.shortlist(catalogue, product).to_frame()
"""

from __future__ import annotations

# typing would be most of what importing this loads, unguarded against an interrupt
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from advisor.catalogue.families import load_family
    from advisor.catalogue.load import load_catalogue, load_product
    from advisor.catalogue.records import Catalogue
    from advisor.catalogue.shipped import load
    from advisor.faults import AdvisorError, FaultError
    from advisor.studies.check import check_catalogue, check_product
    from advisor.studies.combine import combine
    from advisor.studies.compare import compare
    from advisor.studies.distil import distil
    from advisor.studies.explain import explain
    from advisor.studies.family import family
    from advisor.studies.gaps import gaps
    from advisor.studies.hours import hours
    from advisor.studies.imported import imported
    from advisor.studies.inventory import inventory
    from advisor.studies.kernels import kernels
    from advisor.studies.look import look
    from advisor.studies.outlook import outlook
    from advisor.studies.record import decide, revisit
    from advisor.studies.rehearse import rehearse
    from advisor.studies.report import report
    from advisor.studies.schema import schema
    from advisor.studies.sharing import pack, verify
    from advisor.studies.shortlist import shortlist
    from advisor.studies.tipping import tipping
    from advisor.studies.weights import weights

_HOME = {
    "AdvisorError": "advisor.faults",
    "Catalogue": "advisor.catalogue.records",
    "FaultError": "advisor.faults",
    "check_catalogue": "advisor.studies.check",
    "check_product": "advisor.studies.check",
    "combine": "advisor.studies.combine",
    "compare": "advisor.studies.compare",
    "decide": "advisor.studies.record",
    "distil": "advisor.studies.distil",
    "explain": "advisor.studies.explain",
    "family": "advisor.studies.family",
    "gaps": "advisor.studies.gaps",
    "hours": "advisor.studies.hours",
    "imported": "advisor.studies.imported",
    "inventory": "advisor.studies.inventory",
    "kernels": "advisor.studies.kernels",
    "load": "advisor.catalogue.shipped",
    "load_catalogue": "advisor.catalogue.load",
    "load_family": "advisor.catalogue.families",
    "load_product": "advisor.catalogue.load",
    "look": "advisor.studies.look",
    "outlook": "advisor.studies.outlook",
    "pack": "advisor.studies.sharing",
    "rehearse": "advisor.studies.rehearse",
    "report": "advisor.studies.report",
    "revisit": "advisor.studies.record",
    "schema": "advisor.studies.schema",
    "shortlist": "advisor.studies.shortlist",
    "tipping": "advisor.studies.tipping",
    "verify": "advisor.studies.sharing",
    "weights": "advisor.studies.weights",
}

__all__ = [
    "AdvisorError",
    "Catalogue",
    "FaultError",
    "check_catalogue",
    "check_product",
    "combine",
    "compare",
    "decide",
    "distil",
    "explain",
    "family",
    "gaps",
    "hours",
    "imported",
    "inventory",
    "kernels",
    "load",
    "load_catalogue",
    "load_family",
    "load_product",
    "look",
    "outlook",
    "pack",
    "rehearse",
    "report",
    "revisit",
    "schema",
    "shortlist",
    "tipping",
    "verify",
    "weights",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])
