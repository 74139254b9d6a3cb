"""The live sheets of the workbook, cell by cell: weights, builds, parts, and the shortlist.

score = 100 x sum of share x worth, with share = weight/sum of weights; ties go as in `Build.order`
and `value.precedence`. What a build is worth by a criterion does not depend on the weights: with
draws it is the expected worth, a figure; at the stated values it is worth = (value - poor)/(good -
poor) held to 0..1, as in `decide/value.score`. Each formula stands with the value that it has under
the product's own weights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from advisor.dataclass import dataclass
from advisor.decide.ranks import DIGITS
from advisor.dimensions import YEAR
from advisor.studies.columns import SHEET
from advisor.studies.report import OfferedBuild, Report, Weighted
from advisor.studies.words import build_words

FIRST = 5  # number of the first row below a header, as a formula counts


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula with the value that it has now."""

    text: str
    value: float | str


Cell = str | float | int | Formula | None
Rows = list[list[Cell]]

WEIGHTS = ("criterion", "weight", "share", "poor", "good", "unit")
_SHEET = tuple(column.sheet for column in SHEET)
BUILDS = ("part", "build", "among equals", "score", *_SHEET)
PARTS = ("part", "score", "among equals", "rank", "build", *_SHEET)
SHORTLIST = ("rank", "part", "score", "build", *_SHEET)


MICRO = 1e-6  # A
HOUR = 3600.0  # s


def readable(most: float, unit: str) -> tuple[float, str]:
    """(size in SI, name) of the unit in which figures of up to `most` in `unit` are shown."""
    if unit != "s" or most < HOUR:
        return 1.0, unit
    return (YEAR, "years") if most >= YEAR else (HOUR, "h")


def _unit(one: Weighted) -> tuple[float, str]:
    return readable(max(abs(one.poor), abs(one.good)), one.unit)


def weight_rows(found: Report) -> Rows:
    """Under `WEIGHTS`, a row a criterion; the weights themselves are what one may change."""
    last = FIRST + len(found.criteria) - 1
    shares = _shares(found)
    return [
        [
            c.criterion,
            c.weight,
            Formula(f"=B{row}/SUM(B${FIRST}:B${last})", share),
            c.poor / size,
            c.good / size,
            unit,
        ]
        for row, (c, share) in enumerate(zip(found.criteria, shares, strict=True), FIRST)
        for size, unit in (_unit(c),)
    ]


def build_header(found: Report) -> tuple[str, ...]:
    """`BUILDS`, then each criterion's value, its unit in the head, and what it is worth."""
    names = [c.criterion for c in found.criteria]
    units = [_unit(c)[1] for c in found.criteria]
    values = [n if u == "1" else f"{n}, {u}" for n, u in zip(names, units, strict=True)]
    return (*BUILDS, *values, *(f"worth of {name}" for name in names))


def build_rows(found: Report) -> Rows:
    """A row a build, those of a part together and in the order in which equal scores go."""
    shares = _shares(found)
    sizes = [_unit(c)[0] for c in found.criteria]
    drawn = found.shortlist.draws > 0
    rows: Rows = []
    for part in found.parts:
        # a look-up takes the first of equal scores: the one that `Build.order` puts first
        for build in sorted(part.builds, key=lambda b: (b.battery_a, b.name)):
            rows.append(_build(part.part, build, shares, sizes, FIRST + len(rows), drawn))
    return rows


def _build(
    part: str,
    build: OfferedBuild,
    shares: Sequence[float],
    sizes: Sequence[float],
    row: int,
    drawn: bool,
) -> list[Cell]:
    count = len(shares)
    score = sum(s * u for s, u in zip(shares, build.worth, strict=True))
    terms, worths = [], []
    for i, (value, worth) in enumerate(zip(build.values, build.worth, strict=True)):
        at = f"{_letters(len(BUILDS) + i)}{row}"
        poor, good = f"Weights!$D${FIRST + i}", f"Weights!$E${FIRST + i}"
        part_of = f"({at}-{poor})/({good}-{poor})"
        # beyond all bounds is worth what its end of the scale is worth
        reckoned = math.isfinite(value) and not drawn
        worths.append(Formula(f"=MAX(0,MIN(1,{part_of}))", worth) if reckoned else worth)
        terms.append(f"Weights!$C${FIRST + i}*{_letters(len(BUILDS) + count + i)}{row}")
    return [
        part,
        build_words(build.build),
        build.precedence,
        Formula(f"=ROUND(100*({'+'.join(terms)}),{DIGITS})", round(100 * score, DIGITS)),
        *(column.cell(build) for column in SHEET if column.cell is not None),
        *(
            value / size if math.isfinite(value) else "unbounded"
            for value, size in zip(build.values, sizes, strict=True)
        ),
        *worths,
    ]


def part_rows(found: Report) -> Rows:
    """Under `PARTS`, a row a part in the order of their ids, each by its best build."""
    spans: dict[str, tuple[int, int]] = {}
    row = FIRST
    for part in found.parts:
        spans[part.part] = (row, row + len(part.builds) - 1)
        row += len(part.builds)
    ranking = {p.part: p for p in found.shortlist.ranking}
    best = {part.part: part.best for part in found.parts}
    end = FIRST + len(spans) - 1
    scores, places = f"B${FIRST}:B${end}", f"C${FIRST}:C${end}"
    rows: Rows = []
    for row, name in enumerate(sorted(spans), FIRST):
        first, last = spans[name]
        own = f"Builds!$D${first}:$D${last}"
        # the first of a part's greatest scores is the one that goes before its equals
        at = f"MATCH(MAX({own}),{own},0)"
        letters = [_letters(i) for i in range(len(BUILDS))]
        taken = [f"=INDEX(Builds!${c}${first}:${c}${last},{at})" for c in letters]
        ahead = f"({scores}>B{row})+({scores}=B{row})*({places}<C{row})"
        build = best[name]
        rows.append(
            [
                name,
                Formula(f"=MAX({own})", round(ranking[name].score, DIGITS)),
                Formula(taken[2], build.precedence),
                Formula(f"=1+SUMPRODUCT({ahead})", ranking[name].rank),
                Formula(taken[1], build_words(build.build)),
                *(
                    Formula(text, column.cell(build))
                    for text, column in zip(taken[4:], SHEET, strict=True)
                    if column.cell is not None
                ),
            ]
        )
    return rows


def shortlist_rows(parts: Rows) -> Rows:
    """Under `SHORTLIST`, a row a rank: what `part_rows` gave for the part of that rank."""
    end = FIRST + len(parts) - 1
    by_rank = {now(row[3]): row for row in parts}
    rows: Rows = []
    for rank in range(1, len(parts) + 1):
        at = f"MATCH($A{FIRST + len(rows)},Parts!$D${FIRST}:$D${end},0)"
        cells: list[Cell] = [rank]
        for i in (0, 1, *range(4, len(PARTS))):
            value, column = now(by_rank[rank][i]), _letters(i)
            assert value is not None
            cells.append(Formula(f"=INDEX(Parts!${column}${FIRST}:${column}${end},{at})", value))
        rows.append(cells)
    return rows


def now(cell: Cell) -> str | float | None:
    """What a cell shows under the product's own weights."""
    return cell.value if isinstance(cell, Formula) else cell


def _shares(found: Report) -> list[float]:
    total = sum(c.weight for c in found.criteria)
    return [c.weight / total for c in found.criteria]


def _letters(column: int) -> str:
    """A column's letters, 0 for A."""
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(column))
