"""The builds of an explanation as a table: the chosen one against those it beat."""

from __future__ import annotations

from advisor.catalogue.schema_parts import Variant
from advisor.present.layout import STRONG, Page
from advisor.studies.explain import Explanation
from advisor.studies.words import fed, fitted, life, money, pack, rails


def build_table(page: Page, result: Explanation, everything: bool) -> None:
    """The chosen build of an explanation against those it beat."""
    if len(result.builds) < 2:
        return
    if not everything:
        other = result.builds[1]
        points = other.score if other.expected is None else other.expected
        page.paragraph(
            f"Of {result.builds_in_all} builds the next best is on {pack(other.build)}, "
            f"{fed(other.build)}{fitted(other.build)}, sleeping in {other.build.sleep_state}: "
            f"{points:.1f} points, {life(other.battery_life_s)} (--all for the others).",
            hanging="  ",
        )
        return
    page.heading(
        f"The build against those it beat ({result.builds_in_all} in all, the best of each pack, "
        "converter, sleep state and add-ons)"
    )
    rows = []
    used = []
    railed = any(item.build.rails for item in result.builds)
    added = any(item.build.addons for item in result.builds)
    for item in result.builds:
        rows.append(
            [
                pack(item.build),
                item.build.converter,
                *([", ".join(rails(item.build))] if railed else []),
                *([" ".join(item.build.addons)] if added else []),
                item.build.sleep_state,
                f"{item.score:.1f}",
                *([] if item.expected is None else [f"{item.expected:.1f}"]),
                life(item.battery_life_s),
                item.ends_by,
                money(item.lifetime),
            ]
        )
        used.append(
            ", ".join(
                f"{task} at {Variant(point, item.build.engines[task])}"
                for task, point in item.build.operating_points.items()
            )
        )
    beside_it = [*(["rails"] if railed else []), *(["add-ons"] if added else [])]
    drawn = [] if result.builds[0].expected is None else ["expected"]
    ends = [*(True for _ in drawn), True, False, True]
    page.table(
        ["pack", "converter", *beside_it, "sleep", "stated", *drawn, "life", "ends by", "cost"],
        rows,
        [False, False, *(False for _ in beside_it), False, True, *ends],
        used if len(set(used)) > 1 else [],
        [STRONG],
        indent="  ",
    )
