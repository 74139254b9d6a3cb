"""What a report says of rails, charging and harvest: the first part's at length, the others' in a
row each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from advisor.present.blocks import Block, Grid, Section, Words
from advisor.present.charging import charging_words
from advisor.present.gating import FILLS, gate_row
from advisor.present.harvest import days, harvest_words
from advisor.quantities import show
from advisor.studies.words import because, life, pack, per_cent, rails

if TYPE_CHECKING:
    from collections.abc import Sequence

    from advisor.studies.explain import Explanation
    from advisor.studies.results import RankedPart


def feeding(found: Explanation, ranking: Sequence[RankedPart]) -> Section | None:
    """How the first part's builds are fed, beside those of the others; None where its product has
    neither further rails nor anything switched off, charged or harvested."""
    blocks = (*_switched(found), *_charged(found), *_harvested(found), *_each(ranking))
    if not blocks:
        return None
    told = [
        *(["rails"] if found.gating or any(p.build.rails for p in ranking) else []),
        *(["charging"] if found.charging is not None else []),
        *(["harvest"] if found.harvest is not None else []),
    ]
    *most, last = told or ["rails"]
    title = f"{', '.join(most)} and {last}" if most else last
    return Section("feeding", title[0].upper() + title[1:], blocks, fold="narrow")


def _switched(found: Explanation) -> Iterator[Block]:
    if not found.gating:
        return
    pays = [one for one in found.gating if one.gated]
    if pays:
        yield Words(
            f"{found.part}: switched off between uses: {', '.join(one.gate for one in pays)}."
        )
    yield Grid(
        "gates",
        f"What switching off takes and saves, {found.part}",
        FILLS,
        tuple(gate_row(one) for one in found.gating),
    )


def _charged(found: Explanation) -> Iterator[Block]:
    if found.charging is not None:
        lives = found.battery_life_s
        told = f"The life of the pack ends because {because(lives.ends_by)}."
        for text in (*charging_words(found.charging, lives.nominal), told):
            yield Words(text)


def _harvested(found: Explanation) -> Iterator[Block]:
    if found.harvest is None:
        return
    for text in harvest_words(found.harvest):
        yield Words(text)
    yield Grid(
        "months",
        f"The store of {found.part} month by month",
        ("month", "harvest a day", "days without service", "mean level at dawn"),
        tuple(
            (m.month, show(m.income_j, "energy"), days(m.lost), per_cent(m.level))
            for m in found.harvest.months
        ),
    )


def _each(ranking: Sequence[RankedPart]) -> Iterator[Block]:
    """A row a part, with the columns of which some part has something to tell."""
    columns = {
        "fed by": [", ".join((p.build.converter, *rails(p.build))) for p in ranking],
        "a charge lasts": [life(p.battery_life_s.one_charge) for p in ranking],
        "visits to charge": [
            "-" if p.cost.charges is None else f"{p.cost.charges:g}" for p in ranking
        ],
        "days without service": [
            "-" if p.service is None else days(p.service.lost) for p in ranking
        ],
        "harvest over load": [
            "-" if p.service is None or p.service.cover is None else f"{p.service.cover:.3g}"
            for p in ranking
        ],
        "the store holds": [
            "-"
            if p.service is None or p.service.store_days is None
            else f"{p.service.store_days:.3g} days"
            for p in ranking
        ],
    }
    if not any(p.build.rails for p in ranking):
        del columns["fed by"]
    columns = {name: cells for name, cells in columns.items() if any(cell != "-" for cell in cells)}
    if not columns:
        return
    columns["ends by"] = [p.battery_life_s.ends_by for p in ranking]
    words = 2 + ("fed by" in columns)
    yield Grid(
        "fed",
        "How each part is fed",
        ("part", "pack", *columns),
        tuple(
            (p.part, pack(p.build), *(cells[n] for cells in columns.values()))
            for n, p in enumerate(ranking)
        ),
        texts=words,
        first=5,
        rest="parts",
    )
