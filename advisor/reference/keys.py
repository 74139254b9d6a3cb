"""The page of YAML keys."""

from __future__ import annotations

from advisor.catalogue.schema_parts import CYCLES_WITHIN, RUN_CURRENT_WITHIN
from advisor.dimensions import DIMENSIONS
from advisor.present.reference import HOW_TO_READ, key_notes
from advisor.reference.markdown import BORN, code, table
from advisor.studies.schema import KINDS, Reference, schema

_FIGURES = """\
## How a figure is written

A physical figure is text with its unit: `12.3 mA`, `2.4 µA`, `9 us`, `64 KiB`, `5 years`,
`-40 degC`, `0.8 %/year`, `80 EUR/h`. A bare number stands only where there is no unit. A year is
365.25 days, KiB is 1024 B, and the `µ` may be a `u`.

{notations}

A standard or an expanded uncertainty is drawn normal; where the figure cannot be negative and u is
above 20 % of its value, lognormal with the same mean and deviation.

`cycles` and `run-current` stand in for what was not measured, and are of low grade: nine truths in
ten are taken to lie within a factor of {cycles:g} and of {slope:g} of them, or within what they
state where that is wider, lognormal, each by itself (common practice, no source). A time is cycles
over clock, a current the run current times the clock, with its base; 1 µA/MHz is 1 pC per cycle.

A curve is a mapping of x to y, such as `{{25 degC: 2.4 µA, 85 degC: 18 µA}}`: straight between its
points and flat outside, unless its key says otherwise.
"""

_GUM = "JCGM 100:2008"
_NOTATIONS = [
    ["`8.1(2) mA`", "standard uncertainty 0.2 mA, normal", f"{_GUM}, 7.2.2"],
    [
        "`8.1 ± 0.2 mA` or `8.1 +/- 0.2 mA`",
        "half-width 0.2 mA, rectangular, u = a/√3; draws keep these limits, and limits below what "
        "the figure can be are refused",
        f"{_GUM}, 4.3.7",
    ],
    ["`8.1 ± 0.2 mA (k=2)`", "expanded uncertainty, u = U/k, normal", f"{_GUM}, 6.2"],
    ["`8.1 mA ± 2 %`", "half-width of 2 % of the value", f"{_GUM}, 4.3.7"],
    [
        "`{typical: 2.4 µA, max: 6 µA}`",
        "lognormal, median at typical, 99 % at max; the stated value is typical",
        "common practice, no source",
    ],
    [
        "`{low: 2 h, likely: 3 h, high: 8 h}`",
        "PERT beta distribution; the stated value is the mean (L + 4M + H)/6",
        "Malcolm et al., Operations Research 7 (1959) 646",
    ],
]


def keys_page() -> str:
    """Every key of every kind of file."""
    text = [
        "# Keys of the files",
        BORN,
        HOW_TO_READ.replace("<names>", code("<names>")),
        "Faults of form (keys, words, figures and units) come first, all of every file at once. "
        "What joins keys (ids that must exist, shares, ranges, rates of exchange) is looked at in "
        "each file whose form is right, so mending its form may bring up more.",
        "The same as JSON Schema, for editors: `part-advisor schema KIND --format json`.",
        "Kinds: " + ", ".join(f"[{kind}](#{kind})" for kind in KINDS) + ".",
        _FIGURES.format(
            notations=table(["written", "means", "after"], _NOTATIONS),
            cycles=CYCLES_WITHIN,
            slope=RUN_CURRENT_WITHIN,
        ).rstrip(),
        "## Units",
        "What may be written, and what the figure is in JSON and CSV. Where there is no unit a "
        "bare number stands.",
        table(["figure", "units", "computed in"], [_units(name) for name in DIMENSIONS]),
    ]
    for kind in KINDS:
        found = schema(kind)
        text += [f"## {kind}", f"File: `{found.file}`.", _keys(found)]
    return "\n\n".join(text) + "\n"


def _units(name: str) -> list[str]:
    dimension = DIMENSIONS[name]
    units = [code(unit) for unit in dimension.units if unit]
    if name == "money-rate":
        units = [code("EUR/h"), "any currency's three letters, per `h`, `day` or `min`"]
    elif name == "rate":
        units = ["`/` or `%/` and a unit of time, such as `%/year`"]
    si = "" if dimension.si_unit == "1" else dimension.si_unit
    return [name, ", ".join(["none"] * dimension.bare + units), si]


def _keys(found: Reference) -> str:
    rows = [[code(k.path), k.title, k.what, "; ".join(key_notes(k))] for k in found.keys]
    return table(["key", "meaning", "what may stand", "notes"], rows)
