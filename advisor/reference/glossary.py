"""The glossary: every figure of the answers, and the words of the files."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator, Mapping

from advisor.dataclass import dataclass
from advisor.reference.declared import Field, fields
from advisor.reference.markdown import BORN, code, slug, table
from advisor.studies.compare import Comparison
from advisor.studies.explain import Explanation
from advisor.studies.family_results import FamilyPlan
from advisor.studies.gaps import Gaps
from advisor.studies.outlook import Outlook
from advisor.studies.schema import KeyRow, schema
from advisor.studies.shortlist import Shortlist
from advisor.studies.tipping import Tipping
from advisor.studies.weights import Weights

# command -> what it answers with
ANSWERS: Mapping[str, type] = {
    "shortlist": Shortlist,
    "explain": Explanation,
    "compare": Comparison,
    "outlook": Outlook,
    "tipping": Tipping,
    "gaps": Gaps,
    "weights": Weights,
    "family": FamilyPlan,
}
_BESIDE = {
    "outlook": "In JSON the first lever's keys stand in the document itself and those of others in "
    "`further`, in place of `levers`; a crossing's `before` is `from`, and `life_target_s` is left "
    "out.",
}


@dataclass(frozen=True, slots=True)
class Term:
    """A word of the files: the kind of file, the keys that it stands for, what it means.

    `unit` where it is not that of the keys' figures.
    """

    word: str
    kind: str
    keys: tuple[str, ...]
    meaning: str
    unit: str | None = None


_POINT = "operating-points.<operating point>"
_SLEEP = "sleep-states.<sleep state>"
TERMS = (
    Term("operating point", "part", ("operating-points",), "a clock setting of the core"),
    Term("idle current", "part", (f"{_POINT}.idle-current",), "clocks on, waiting"),
    Term(
        "kernel",
        "part",
        ("kernels",),
        "a piece of computing work; a part states time and current for one unit of it",
    ),
    Term(
        "engine",
        "part",
        ("kernels",),
        "hardware on the chip that does a kernel's work, written `POINT+ENGINE`",
    ),
    Term(
        "block",
        "part",
        ("blocks.<block>.current",),
        "an on-chip device such as a radio; its current above the idle core, for one use",
    ),
    Term(
        "wake charge", "part", (f"{_SLEEP}.wake-charge",), "charge of one wake from a sleep state"
    ),
    Term(
        "evidence",
        "part",
        ("evidence.<evidence>.kind",),
        "`bench` (measured), `datasheet`, `estimate`, or `pack` (came with a data pack)",
    ),
    Term(
        word="depth of discharge",
        kind="cell",
        keys=("voltage-curve",),
        meaning="charge taken out of the rated capacity",
        unit="share",
    ),
    Term(
        "internal resistance",
        "cell",
        ("resistance",),
        "of the cell, over depth; a factor over temperature",
    ),
    Term("cut-off", "cell", ("cut-off",), "least voltage of the cell"),
    Term(
        "self-discharge",
        "cell",
        ("self-discharge",),
        "loss of the rated capacity at 20 °C; doubles with every `doubles-every` of warming",
    ),
    Term(
        "two wells",
        "cell",
        ("two-well.c", "two-well.k"),
        "kinetic battery model: c the share at hand, k the rate constant k' at which the rest "
        "follows",
    ),
    Term(
        "efficiency",
        "converter",
        ("efficiency",),
        "output power over input power, the converter's own draw included",
    ),
    Term("quiescent current", "converter", ("quiescent",), "input current without load"),
    Term(
        "dropout",
        "converter",
        ("dropout",),
        "least difference of input and output of a linear converter",
    ),
    Term(
        "reservoir",
        "product",
        ("supply-options.reservoir",),
        "a capacitor across the pack that carries pulses; `esr` its series resistance",
    ),
    Term(
        "anchors",
        "product",
        ("priorities.<criterion>.poor", "priorities.<criterion>.good"),
        "values of a criterion that are worth nothing and everything",
    ),
    Term("rail", "product", ("rails",), "a further voltage, with converters of its own"),
    Term(
        "gated",
        "product",
        ("rails.<rail>.gated",),
        "switched off between uses; each switching on fills its `capacitance` and starts its "
        "converter",
    ),
    Term(
        "recharge",
        "product",
        ("recharge.every",),
        "the interval at which somebody charges the pack",
    ),
    Term(
        "ageing",
        "cell",
        ("ageing",),
        "loss of capacity and growth of resistance, by time and by cycles",
    ),
    Term(
        "harvest",
        "product",
        ("harvest",),
        "what a panel or another source puts into the cells, by months or by a file of hours",
    ),
)

# What screens say, in the order in which a reader meets it; beside a word its key in JSON.
WORDS = (
    ("build", "build", "a part with its pack, converter, sleep state and operating points"),
    (
        "score",
        "score",
        "of 100: weighted points of the criteria added up, the mean over draws",
    ),
    ("stated", "stated_score", "the score with every figure at its stated value, without draws"),
    (
        "draws",
        "draws",
        "the decision taken many times, each with figures drawn within their stated uncertainty",
    ),
    ("5–95 %", "battery_life_s", "the range that leaves one draw in twenty out at either end"),
    ("leads in", "first_place_probability", "share of draws in which the part has the most points"),
    (
        "what choosing a part gives away",
        "expected_regret",
        "what it gives away in a draw against the best of that draw, on average; its trade term is "
        "expected regret",
    ),
    (
        "beaten by",
        "dominated_by",
        "parts at least as good by every criterion, as stated and as expected over the draws, and "
        "better by one: no weights save it",
    ),
    (
        "settled, leaning, open",
        "verdict",
        "whether the lead holds against the draws, the luck in it taken off, and against parts "
        "that could lead with what they lack",
    ),
    (
        "beyond an anchor",
        "clipped",
        "where a criterion already has all or none of its points, so differences count nothing",
    ),
    ("missing data", "set_aside", "a part lacks a figure that is needed, named by its path"),
    ("left out", "left_out", "what no build may use, each with its reason"),
    ("nearest miss", "nearest_miss", "the part that fails least of those that fail a need"),
    ("tips at", "tips_at", "the nearest value of a figure at which another part leads"),
    (
        "change needed",
        "told_at",
        "how far the value told is from the one that stands; `distance_share` and `distance_k` say "
        "how far `tips_at` is",
    ),
    ("u", "told_at", "the same, in the figure's own standard uncertainties, see `distance_u`"),
    ("worth", "score", "points gained on average by knowing a figure before choosing"),
    (
        "pays for rests of",
        "pays_beyond_s",
        "the rest between two uses beyond which switching off takes less than standing by",
    ),
    ("a charge", "one_charge", "how long one charge of the new pack lasts"),
    ("visits to charge", "charges", "over the service life, those that change the pack apart"),
    (
        "lost, days without service",
        "lost",
        "share of the days on which a store that is harvested into does not carry the load",
    ),
    ("harvest over load", "cover", "what is harvested in a year over what the pack gives"),
    ("the store holds", "store_days", "load that it carries by itself, beyond the nights"),
)

_INTRODUCTION = """\
What the answers' figures mean, by their keys in JSON; the same names are the fields of the results
in Python. Figures are SI unless their unit says otherwise; amounts are in the product's currency.
What is not known is null, never zero. Columns of the shortlist's screen and CSV, criteria,
limits and ends of life are in [lists.md](lists.md), keys of the files in [keys.md](keys.md).
"""


def glossary_page() -> str:
    """Every result of the commands in `ANSWERS`, and the words of the files."""
    commands = ", ".join(f"[{name}](#{name})" for name in ANSWERS)
    text = [
        "# Glossary",
        BORN,
        _INTRODUCTION.strip(),
        f"Answers: {commands}. [Words of the screens](#words-of-the-screens). "
        "[Words of the files](#words-of-the-files).",
    ]
    told: dict[type, str] = {}
    for name, answer in ANSWERS.items():
        text += [f"## {name}", *_answer(name, answer, told)]
    text += [
        "## Words of the screens",
        table(["word", "key in JSON", "meaning"], [[w, code(k), m] for w, k, m in WORDS]),
        "## Words of the files",
        table(["word", "key", "unit", "meaning"], [_term(term) for term in TERMS]),
    ]
    return "\n\n".join(text) + "\n"


def _answer(command: str, answer: type, told: dict[type, str]) -> Iterator[str]:
    """An answer's own keys, then those below them; a result that was told is linked to."""
    waiting = [("", answer)]
    for path, result in waiting:
        told.setdefault(result, f"{command}: {path}" if path else command)
    while waiting:
        path, result = waiting.pop(0)
        if path:
            yield f"### {command}: {path}"
        about = (inspect.getdoc(result) or "").partition("\n\n")[0].replace("\n", " ")
        yield re.sub(r"\bNone\b", "null", about)
        if not path and command in _BESIDE:
            yield _BESIDE[command]
        below = []
        for field in fields(result):
            for inside in field.inside:
                if inside not in told:
                    at = f"{path}.{field.name}".lstrip(".")
                    told[inside] = f"{command}: {at}"
                    below.append((at, inside))
        yield table(["key", "holds", "unit", "meaning"], [_row(f, told) for f in fields(result)])
        waiting = below + waiting


def _row(field: Field, told: Mapping[type, str]) -> list[str]:
    holds = field.holds
    for inside in field.inside:
        holds = holds.replace("keys", f"[keys](#{slug(told[inside])})")
    return [code(field.name), holds, field.unit, field.meaning]


def _term(term: Term) -> list[str]:
    """A word's row; its keys and unit are as the files' declarations have them."""
    rows: dict[str, KeyRow] = {row.path: row for row in schema(term.kind).keys}
    known = {*rows, *(path.rpartition(".")[0] for path in rows)}
    if lost := set(term.keys) - known:
        raise ValueError(f"{term.word}: {term.kind} has no key {', '.join(sorted(lost))}")
    units = {rows[key].unit or "" for key in term.keys if key in rows}
    unit = ", ".join(sorted(units)) if term.unit is None else term.unit
    keys = ", ".join(code(key) for key in term.keys)
    return [term.word, f"{keys} of a {term.kind}", unit, term.meaning]
