"""The report's pictures as tables of the same figures."""

from __future__ import annotations

from collections.abc import Iterator

from advisor.dataclass import dataclass
from advisor.quantities import show
from advisor.studies import words
from advisor.studies.pictures import Charges, Cloud, Pictures, TaskCurrent, Warmth

CLOUD, CHARGES, WARMTH = "spots", "charges", "warmth"


@dataclass(frozen=True, slots=True)
class Pictured:
    """A table with its title, the finding above it and a note; rows begin with their name."""

    name: str
    title: str
    finding: str
    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def period(number: int) -> str:
    """The name of the table of a task's states, by its place among the tasks."""
    return f"period {number}"


def cloud(found: Cloud) -> Pictured:
    """Life and cost of each part, and whether another is better in both."""
    unit = found.currency or "no currency"
    note = (
        f"Dots: {found.shown} of {found.of} draws of each of the first parts; markers: the median "
        "life and the expected cost. Parts far from these are in the table alone."
    )
    return Pictured(
        name=CLOUD,
        title="",
        finding=found.finding,
        caption="Median life and expected cost",
        header=("part", "battery life", f"{unit} a unit", "beaten in both"),
        rows=tuple(
            (s.part, words.life(s.life_s), words.money(s.cost), "no" if s.front else "yes")
            for s in found.spots
        ),
        note=note if found.shown else "",
    )


def by_state(found: Pictures) -> Iterator[Pictured]:
    """The states of each task, then where the charge goes."""
    for n, task in enumerate(found.tasks):
        yield _period(n, task)
    if found.charges is not None:
        yield _charges(found.charges)


def _period(number: int, task: TaskCurrent) -> Pictured:
    return Pictured(
        name=period(number),
        title=f"One period of {task.task}, {show(task.period_s, 'time')}",
        finding=task.finding,
        caption=f"Current during {task.task}, and how long, at {task.where}",
        header=("state", *(p.part for p in task.parts)),
        rows=tuple(
            (
                state,
                *(
                    f"{show(p.current_a[s], 'current')} for {show(p.duration_s[s], 'time')}"
                    if p.duration_s[s] > 0
                    else "-"
                    for p in task.parts
                ),
            )
            for s, state in enumerate(task.states)
        ),
    )


def _charges(found: Charges) -> Pictured:
    return Pictured(
        name=CHARGES,
        title="Where the charge goes",
        finding=found.finding,
        caption="Mean current at the pack of the first parts",
        header=("drawn by", *found.amounts),
        rows=tuple(
            (name, *(show(a[i], "current") if a[i] else "-" for a in found.amounts.values()))
            for i, name in enumerate(found.names)
        ),
    )


def warmth(found: Warmth) -> Pictured:
    """Life at each temperature, a column a part, with what is new in its build."""

    def cell(part: int, place: int) -> str:
        one = found.parts[part]
        life = one.life_s[place]
        new = {switch.at: switch.to for switch in one.switches}.get(found.places[place])
        text = "does not fit" if life is None else words.life(life)
        return f"{text}; now {new}" if new else text

    return Pictured(
        name=WARMTH,
        title="Over temperature",
        finding=found.finding,
        caption="Battery life over temperature",
        header=("at", *(p.part for p in found.parts)),
        rows=tuple(
            (f"{place:g} degC", *(cell(p, i) for p in range(len(found.parts))))
            for i, place in enumerate(found.places)
        ),
        note="The same temperature all the time, at the stated values; dotted lines are those of "
        "the product, rings are where another build is the best.",
    )
