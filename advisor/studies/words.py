"""Figures of a result in words, alike on every screen and in every file."""

from __future__ import annotations

import math
from collections.abc import Mapping

from advisor.catalogue.schema_parts import Variant
from advisor.dimensions import YEAR
from advisor.model.ends import ENDS, INDEX
from advisor.model.tables import never_sleeps
from advisor.quantities import show
from advisor.studies.results import BuildResult


def of_draws(count: int) -> str:
    """`1000 draws`, `1 draw`."""
    return f"{count} draw{'' if count == 1 else 's'}"


def money(amount: float | None, currency: str = "") -> str:
    """An amount with two decimals; a dash where it is not known."""
    if amount is None:
        return "-"
    if not math.isfinite(amount):
        return f"{currency} unbounded".strip()
    return f"{currency} {amount:.2f}".strip()


def exchange(rates: Mapping[str, float], currency: str) -> str:
    """`1 USD = 0.92 EUR` and the like; empty where nothing is exchanged."""
    return ", ".join(f"1 {name} = {rate:.7g} {currency}" for name, rate in rates.items())


def life(seconds: float | None) -> str:
    """A battery life in words."""
    return "-" if seconds is None else show(seconds, "time")


def life_range(low: float | None, high: float | None) -> str:
    """`4.1–6.3 years`; empty without draws."""
    if low is None or high is None:
        return ""
    if low >= YEAR and math.isfinite(high):
        return f"{between(in_years(low), in_years(high))} years"
    first, last = life(low).split(" "), life(high).split(" ")
    if first[1:] == last[1:]:
        return " ".join([between(first[0], last[0]), *first[1:]])
    return f"{life(low)} to {life(high)}"


def life_with_range(nominal: float, low: float | None, high: float | None) -> str:
    """`5.2 years (4.1–6.3 years)`; a range that is no wider than its figures tell is said so."""
    told, spread = life(nominal), life_range(low, high)
    if spread == told:
        return f"{told} (the same in 5–95 % of draws)"
    return f"{told} ({spread})" if spread else told


def between(low: str, high: str) -> str:
    """Two figures as a range, one where they read alike."""
    return low if low == high else f"{low}–{high}"


def per_cent(share: float | None) -> str:
    """A share as per cent; a dash where it is not known."""
    if share is None:
        return "-"
    if 0 < share < 0.01:
        return "<1 %"
    if 0.99 < share < 1:
        return ">99 %"
    return f"{100 * share:.0f} %"


def pack(build: BuildResult) -> str:
    """`alk-pen 2s1p` and the like: cells in series and strings in parallel."""
    if build.series == 1 and build.parallel == 1:
        return build.cell
    return f"{build.cell} {build.series}s{build.parallel}p"


def fed(build: BuildResult) -> str:
    """`through buck-a, radio by boost-a`: what stands between the pack and the rails."""
    way = "straight from the pack" if build.converter == "none" else f"through {build.converter}"
    return ", ".join((way, *rails(build)))


def fitted(build: BuildResult) -> str:
    """` with net-link`; empty without add-ons."""
    return f" with {' and '.join(build.addons)}" if build.addons else ""


def rails_in_a_cell(build: BuildResult) -> str:
    """`radio: boost-a` and the like, as tables have it; empty without further rails."""
    return ", ".join(f"{rail}: {name}" for rail, name in build.rails.items())


def rails(build: BuildResult) -> list[str]:
    """`radio by boost-a` and the like: further rails with their converters."""
    return [
        f"{rail} straight from the pack" if name == "none" else f"{rail} by {name}"
        for rail, name in build.rails.items()
    ]


def build_words(build: BuildResult) -> str:
    """The build in a line."""
    sleep = f"sleeping in {build.sleep_state}"
    if never_sleeps(build.sleep_state):
        sleep = f"never asleep, {build.sleep_state}"
    tasks = ", ".join(
        f"{task} at {Variant(point, build.engines[task])}"
        for task, point in build.operating_points.items()
    )
    return f"{pack(build)}, {fed(build)}{fitted(build)}, {sleep}" + (f", {tasks}" if tasks else "")


def in_years(seconds: float | None) -> str:
    """A battery life as a number of years."""
    if seconds is None:
        return "-"
    years = seconds / YEAR
    if not math.isfinite(years):
        return "no end"
    return f"{years:.2f}" if years < 10 else f"{years:.1f}"


def because(ends_by: str) -> str:
    """Why a battery's life ends, in words, by the name of what ends it."""
    return ENDS[INDEX[ends_by]].words


def ended_by(ends_by: str) -> str:
    """What ends a battery's life, as a noun."""
    return ENDS[INDEX[ends_by]].noun
