"""Intervals drawn with a few letters, one below the other on one scale."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.dataclass import dataclass
from advisor.studies.results import RankedPart
from advisor.studies.words import in_years

ROOM = 20  # letters of an interval
LOW, HIGH, INSIDE, STATED, TARGET = "├┤─●┊"


@dataclass(frozen=True, slots=True)
class Marks:
    """The ends of the scale, a line for each interval, and what its marks are."""

    head: str
    lines: tuple[str, ...]
    legend: str


def marks(parts: Sequence[RankedPart], target_s: float | None) -> Marks | None:
    """Battery lives of parts, 5 to 95 % of the draws, with the target; None without draws, and
    where a life has no end."""
    ends = []
    for part in parts:
        lives = part.battery_life_s
        if lives.p05 is None or lives.p95 is None:
            return None
        ends.append((lives.p05, lives.nominal, lives.p95))
    every = [x for some in ends for x in some] + ([] if target_s is None else [target_s])
    low, high = min(every, default=0.0), max(every, default=0.0)
    if not low < high < float("inf"):
        return None

    def place(x: float) -> int:
        return round((ROOM - 1) * (x - low) / (high - low))

    wanted = None if target_s is None else place(target_s)
    first, last = in_years(low), in_years(high)
    legend = f"{LOW}{INSIDE}{STATED}{INSIDE}{HIGH}: years, 5–95 % and stated"
    if target_s is not None:
        legend += f", {TARGET} wanted"
    return Marks(
        head=first + " " * (ROOM - len(first) - len(last)) + last,
        lines=tuple(_line(place(a), place(b), place(c), wanted) for a, b, c in ends),
        legend=legend,
    )


def _line(low: int, stated: int, high: int, wanted: int | None) -> str:
    """An interval of letters; where marks meet, the stated value stands, then the target."""
    out = [" "] * ROOM
    if high > low:
        out[low : high + 1] = [LOW, *(INSIDE * (high - low - 1)), HIGH]
    if wanted is not None:
        out[wanted] = TARGET
    out[stated] = STATED
    return "".join(out)
