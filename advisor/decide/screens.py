"""Needs that a part must meet: screens, never traded against anything."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.catalogue.schema_parts import LIFECYCLES, Part
from advisor.catalogue.schema_product import Product
from advisor.quantities import show


@dataclass(frozen=True, slots=True)
class Failed:
    """A need that is not met.

    `required` and `offered` are SI figures, or words; `dimension` says how to show them. `miss` is
    how far the offer is from the need, as a share of the need: the smallest is the nearest miss.
    """

    need: str
    required: float | str
    offered: float | str | None
    dimension: str = ""
    miss: float = 1.0

    @property
    def text(self) -> str:
        """`features.adc-bits: 12 needed, 10 offered`."""
        return (
            f"{self.need}: {self._show(self.required)} needed, {self._show(self.offered)} offered"
        )

    def _show(self, value: float | str | None) -> str:
        if value is None:
            return "nothing"
        if isinstance(value, str):
            return value
        if not self.dimension:
            return f"{value:.4g}"
        return show(value, self.dimension)


@dataclass(frozen=True, slots=True)
class Screened:
    """What a screen found on one part: needs it fails, and paths of figures that are missing."""

    failed: tuple[Failed, ...]
    missing: tuple[str, ...]


def gap(required: float, offered: float) -> float:
    """How far an offer is from what is required, as a share of it."""
    return abs(required - offered) / max(abs(required), 1e-30)


def screen(part: Part, product: Product) -> Screened:
    """Hold one part against the product's needs."""
    failed: list[Failed] = []
    missing: list[str] = []
    needs = product.needs
    for name in ("flash", "ram"):
        need, offer = getattr(needs.memory, name), getattr(part.memory, name)
        if need is None:
            continue
        if offer is None:
            missing.append(f"memory.{name}")
        elif offer.nominal < need.nominal:
            short = gap(need.nominal, offer.nominal)
            failed.append(
                Failed(f"memory.{name}", need.nominal, offer.nominal, "information", short)
            )
    for name, count in needs.features.items():
        feature = part.features.get(name)
        if feature is None:
            missing.append(f"features.{name}")
        elif feature.nominal < count.nominal:
            short = gap(count.nominal, feature.nominal)
            failed.append(
                Failed(f"features.{name}", count.nominal, feature.nominal, "count", short)
            )
    _temperature(part, product, failed, missing)
    if needs.lifecycle is not None:
        if part.lifecycle is None:
            missing.append("lifecycle")
        elif part.lifecycle not in needs.lifecycle:
            steps = [
                abs(LIFECYCLES.index(part.lifecycle) - LIFECYCLES.index(state))
                for state in needs.lifecycle
            ]
            failed.append(
                Failed(
                    "lifecycle",
                    " or ".join(needs.lifecycle),
                    part.lifecycle,
                    miss=min(steps, default=len(LIFECYCLES)) / len(LIFECYCLES),
                )
            )
    used = {block: None for task in product.workload for block in task.uses}
    failed += [Failed(f"blocks.{b}", 1.0, 0.0, "count") for b in used if b not in part.blocks]
    return Screened(tuple(failed), tuple(f"{part.part}:{m}" for m in missing))


def _temperature(part: Part, product: Product, failed: list[Failed], missing: list[str]) -> None:
    """The part's rating must cover what is asked for and where the product stands."""
    places = [stay.at.nominal for stay in product.environment]
    for end, sign in (("min", 1.0), ("max", -1.0)):
        asked = getattr(product.needs.temperature, end)
        wanted = [] if asked is None else [(f"temperature.{end}", asked.nominal)]
        if places:
            wanted.append((f"environment {end}", min(places) if sign > 0 else max(places)))
        rated = getattr(part.temperature, end)
        if rated is None:
            if wanted:
                missing.append(f"temperature.{end}")
            continue
        for need, at in wanted:
            if sign * (rated.nominal - at) > 0:
                # a share of a temperature means nothing; 100 K is a span of ratings
                gap = abs(rated.nominal - at) / 100
                failed.append(Failed(need, at, rated.nominal, "temperature", gap))
                break
