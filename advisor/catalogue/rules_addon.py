"""Rules of add-ons; see `rules`."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule, no_breaks, order, unknown_evidence
from advisor.catalogue.schema_supply import AddOn


def _ranges(addon: AddOn, _: Catalogue) -> Iterator[Breach]:
    yield from order(addon.supply.min, addon.supply.max, "supply.min")
    yield from order(addon.temperature.min, addon.temperature.max, "temperature.min")
    for name, block in addon.gives.blocks.items():
        yield from order(block.supply.min, block.supply.max, f"gives.blocks.{name}.supply.min")


def _brings_nothing(addon: AddOn, _: Catalogue) -> Iterator[Breach]:
    counts = [*addon.gives.features.values(), *addon.gives.grades.values()]
    if not addon.gives.blocks and not any(count.nominal for count in counts):
        yield "gives", "nothing", None


def _counted_and_graded(addon: AddOn, catalogue: Catalogue) -> Iterator[Breach]:
    """Features that this add-on grades and that it or another one counts."""
    for name in addon.gives.grades:
        for other in {addon.addon: addon, **catalogue.addons}.values():
            if name in other.gives.features or name in other.takes.features:
                yield f"gives.grades.{name}", f"a grade, and {other.addon} counts it", None
                break


ADDON_FAULTS = (
    Rule("a range whose lower end is not above its upper end", _ranges),
    Rule("a feature, a grade or a block that it brings", _brings_nothing),
    Rule("a feature that all add-ons either count or grade", _counted_and_graded),
    Rule("an entry of this file's evidence", unknown_evidence),
    Rule("at least one price break", no_breaks),
)
