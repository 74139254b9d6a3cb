"""Cautions that the cells, the surroundings and the files call for.

They repeat what cell makers' safety sheets and transport rules commonly say (common practice, no
source); they stand in for no local code and no licensed practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_supply import UNFAMILIAR, UNSTATED, AddOn, Cell
from advisor.decide.builds import Build
from advisor.model.packs import Feed

GENERAL = (
    "This advises, it does not certify: follow local codes and have a qualified engineer check "
    "the design."
)
BUTTON = (
    "button cells kill children: a swallowed one can burn through within hours. Use a compartment "
    "that needs a tool, warn on the product, keep spares locked away, follow local law; if "
    "swallowed, get emergency help at once."
)
HOT = 45.0  # degC from which heat ages and endangers cells enough to say so
WIDEST_BUTTON = 32.0  # mm; a cell no wider than this and flatter than wide can be swallowed

LITHIUM = re.compile(r"lithium|(?<![a-z])li(?![a-z])|(?<![a-z])li-?(?:ion|po|fe|co|mn|ni)")
# systems without lithium; of any other it is not known that it holds none
OTHER = re.compile(
    r"alkali|zinc|silver|lead|capacitor|supercap|ultracap|double.layer|"
    r"nickel.?(?:metal|cadmium|iron|hydrogen)|ni-?(?:mh|cd|fe)(?![a-z])"
)

_SIZE = re.compile(r"([0-9.]+)\s*mm\s*(?:x|×|by)\s*([0-9.]+)\s*mm", re.IGNORECASE)


def is_button(cell: Cell) -> bool:
    """Whether a cell is small and flat: told by its size, else by its words."""
    found = _SIZE.search(cell.size or "")
    if found:
        across, high = float(found[1]), float(found[2])
        return across <= WIDEST_BUTTON and high < across
    words = f"{cell.chemistry or ''} {cell.summary or ''} {cell.size or ''}".lower()
    return "button" in words or "coin" in words


def lithium_in(cell: Cell) -> tuple[bool, str | None]:
    """Whether a cell counts as a lithium one, and what to say where that is for want of better
    knowledge."""
    words = (cell.chemistry or "").lower()
    if LITHIUM.search(words):
        return True, None
    if OTHER.search(words):
        return False, None
    return True, UNFAMILIAR if words else UNSTATED


def cautions(
    feeds: Iterable[Feed], hottest: float, addons: Iterable[AddOn] = ()
) -> tuple[str, ...]:
    """What to warn of, for the feeds and the add-ons in use and the hottest place (degC).

    Each sentence once, behind the ids that it is of; those on button cells first.
    """
    of: dict[str, list[str]] = {}

    def tell(told: Iterable[tuple[str, str]]) -> None:
        for name, text in told:
            names = of.setdefault(text, [])
            if name not in names:
                names.append(name)

    by_name = {feed.name: feed for feed in feeds}
    for _, feed in sorted(by_name.items()):
        told = [] if feed.cell is None else [(feed.cell.cell, t) for t in _of_pack(feed, hottest)]
        told += [(one.converter, text) for one, _ in feed.bought for text in one.cautions]
        tell(told)
    for name, addon in sorted({addon.addon: addon for addon in addons}.items()):
        tell((name, text) for text in addon.cautions)
    first = sorted(of, key=lambda text: text != BUTTON)
    return (*(f"{', '.join(of[text])}: {text}" for text in first), GENERAL)


def cautions_of(builds: Iterable[Build], catalogue: Catalogue, hottest: float) -> tuple[str, ...]:
    """What to warn of, for builds with their add-ons and the hottest place (degC)."""
    some = list(builds)
    addons = {name: catalogue.addons[name] for build in some for name in build.addons}
    return cautions([build.assessed.feed for build in some], hottest, addons.values())


def _of_pack(feed: Feed, hottest: float) -> list[str]:
    out: list[str] = []
    option, cell = feed.option, feed.cell
    if cell is not None:
        lithium, unsure = lithium_in(cell)
        if is_button(cell):
            out.append(BUTTON)
        if unsure is not None:
            out.append(unsure)
        if lithium and not cell.rechargeable:
            out.append(
                "lithium primary cell: never charge, short, crush, heat or mix with "
                "other cells; it can vent, burn or burst. Transport rules for lithium cells apply."
            )
        if cell.rechargeable:
            out.append(
                "rechargeable: charge only with a protected charger made for it, "
                "within its temperature limits, never below 0 degC unless its maker allows it."
            )
        if cell.rechargeable and lithium:
            out.append(
                "lithium cell that is charged: overcharge, deep discharge, a short, frost while "
                "charging or damage can make it vent, burn or burst, also long after. Its voltage "
                "and current limits are its maker's: use a charger and a protection circuit made "
                "for it, charge it attended or, where nobody is by as with a panel, inside what is "
                "built to hold a failing cell, away from what burns; take out cells that swell. "
                "What is said here of its ageing is a forecast, no leave to use it: the maker's "
                "data, local codes and a licensed practitioner decide. Transport rules for "
                "lithium cells apply."
            )
        if option.parallel > 1:
            out.append(
                "cells in parallel can charge each other: fit same-lot fresh cells "
                "and the blocking or fusing that the cell's maker asks for."
            )
        if option.series > 1:
            out.append(
                "cells in series: change all together, never mix old and new or "
                "different kinds; a weak cell can be driven into reverse and leak."
            )
        if hottest >= HOT:
            out.append(
                f"the product sees {hottest:g} degC: heat ages cells and can make "
                "them vent; keep within the cell maker's limits and out of direct sun."
            )
        out += cell.cautions
    return out
