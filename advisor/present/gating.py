"""What is switched off between uses, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.present.layout import Page
from advisor.quantities import show

if TYPE_CHECKING:
    from advisor.studies.explain import Explanation
    from advisor.studies.gating import GateResult

FILLS = ("what", "switched off", "takes from the pack", "standing by", "pays for rests of", "rests")


def gate_row(one: GateResult) -> tuple[str, ...]:
    """What is switched off, or might be, under `FILLS`."""
    by = one.standing_by_w
    pays = "-" if by is None else "none"
    if one.pays_beyond_s is not None:
        pays = f"over {show(one.pays_beyond_s, 'time')}"
    return (
        one.gate,
        "yes" if one.gated else "no",
        show(one.takes_j, "energy"),
        "rail off" if one.rail_off else "not stated" if by is None else show(by, "power"),
        pays,
        "never used" if one.rest_s is None else show(one.rest_s, "time"),
    )


def switched(page: Page, result: Explanation) -> None:
    """What each switching on takes, and from what rest on it pays; nothing where nothing is."""
    if not result.gating:
        return
    page.heading("What is switched off between uses, and from what rest on that pays")
    for one in result.gating:
        does = "is" if one.gated else "would be"
        parts = [
            f"filling takes {show(one.charge_c, 'charge')} ({show(one.energy_j, 'energy')}) at its "
            "rail",
            *([f"a start {show(one.start_up_j, 'energy')}"] if one.start_up_j else []),
            f"in all {show(one.takes_j, 'energy')} from the pack",
        ]
        if one.rail_off:
            pays = "between uses its rail is off, so it would not stand by"
        elif one.standing_by_w is None:
            pays = "what standing by would take is not stated"
        else:
            by = f"standing by takes {show(one.standing_by_w, 'power')}"
            rest = "no rest at all" if one.pays_beyond_s is None else None
            rest = rest or f"rests beyond {show(one.pays_beyond_s or 0.0, 'time')}"
            pays = f"{by}, so it pays for {rest}"
        rests = "it is never used" if one.rest_s is None else f"it rests {show(one.rest_s, 'time')}"
        page.paragraph(
            f"{one.gate} {does} switched off: {', '.join(parts)}; {pays}; {rests}", "  ", "    "
        )
