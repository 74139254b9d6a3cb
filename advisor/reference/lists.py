"""The page of lists: criteria, limits, ends of life and columns, each from its registry."""

from __future__ import annotations

import re
from collections.abc import Iterator

from advisor.catalogue.criteria import MEASURES, OWN, Measure, measure_of
from advisor.decide.limits import LIMITS
from advisor.model.ends import ENDS
from advisor.reference.declared import Field, fields
from advisor.reference.markdown import BORN, code, table
from advisor.studies.columns import COLUMNS, Column
from advisor.studies.results import BuildResult, CostResult, LifeResult, Power, RankedPart

_LEVELS = {
    "part": "A part by itself. Such needs are never traded against anything.",
    "feed": "A pack with a converter, whatever the part.",
    "option": "A task's operating points and engines.",
    "build": "A part with its pack, converter, sleep state and points.",
}
_LIVE = {
    "part": "as it is",
    "own": "as it is, of the build ranked first",
    "draws": "left out",
    "rank": "reckoned again",
    "score": "reckoned again",
    "build": "of the build that is first then",
}


def ends() -> Iterator[tuple[str, str]]:
    """What may end a battery's life: its name and its words."""
    for end in ENDS:
        yield end.name, end.words


def lists_page() -> str:
    """Every criterion, limit, end of life and column."""
    text = [
        "# Criteria, limits, ends of life, columns",
        BORN,
        "[Criteria](#criteria), [limits](#limits), [ends of life](#ends-of-life), "
        "[columns](#columns).",
        "## Criteria",
        "What `priorities` of a product may weigh. A value at `poor` is worth nothing, one at "
        "`good` everything; where the file gives no anchors, they are those below. A part that "
        "lacks a figure which a weighted criterion reads is set aside by name.",
        table(
            ["criterion", "what it measures", "in JSON", "counted by", "poor to good", "reads"],
            [_criterion(measure) for measure in (*MEASURES, _own())],
        ),
        "## Limits",
        "What may not be exceeded, by the level at which it is asked.",
    ]
    for level, words in _LEVELS.items():
        rows = [
            [code(limit.name), limit.title, limit.dimension or "words"]
            for limit in LIMITS
            if limit.level == level
        ]
        text += [f"### {level}", words, table(["limit", "what must hold", "compares"], rows)]
    text += [
        "## Ends of life",
        "What `ends_by` says of a battery's life: it ends because …",
        table(["ends_by", "because"], [[code(name), words] for name, words in ends()]),
        "## Columns",
        "The columns of `shortlist`: on the screen and in a report by their head, in CSV and data "
        "frames by their name. A page and a workbook of `report` can be given other weights; the "
        "last entry says what becomes of the column there.",
        table(
            ["head", "in CSV", "what it is", "in a workbook", "under other weights"],
            [_column(column) for column in COLUMNS],
        ),
        "CSV has besides a column `points CRITERION` for each criterion, `reason` and `cautions`. "
        "A `*` behind a score marks estimated figures.",
    ]
    return "\n\n".join(text) + "\n"


def _own() -> Measure:
    found = measure_of(f"{OWN}NAME")
    assert found is not None
    return found


def _criterion(measure: Measure) -> list[str]:
    unit = "of 100" if measure.dimension == "score" and measure.unit == "1" else measure.unit
    return [
        code(measure.name),
        measure.title,
        {"1": "share", "currency": "the product's currency"}.get(unit, unit),
        measure.step[1] if measure.dimension != "money" else f"{measure.step[1]} of the currency",
        measure.anchored,
        ", ".join(code(".".join(keys)) for keys in measure.reads),
    ]


def _column(column: Column) -> list[str]:
    return [
        column.head,
        code(column.name) if column.name else "",
        column.legend.replace("{currency}", "the product's currency") or _meaning(column.name),
        column.sheet,
        _LIVE[column.live] if column.head else "",
    ]


def _meaning(name: str) -> str:
    """What a column without a legend is, by the result's field of its name."""
    known: dict[str, Field] = {
        field.name: field
        for result in (Power, CostResult, LifeResult, BuildResult, RankedPart)
        for field in fields(result)
    }
    if name in known:
        return known[name].meaning
    found = re.fullmatch(r"(?P<of>\w+?)_p(?P<share>\d\d)(?P<unit>_\w+)?", name)
    if found is None or f"{found['of']}{found['unit'] or ''}" not in known:
        raise ValueError(f"column {name} has no legend, and no field of a result is called so")
    of = f"{found['of']}{found['unit'] or ''}"
    return f"{int(found['share'])} % of the draws of {code(of)} are below"
