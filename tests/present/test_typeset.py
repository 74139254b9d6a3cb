"""Minus signs and ranges in print, and what they leave as it is."""

from __future__ import annotations

import pytest

from advisor.present.typeset import typeset


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("lifetime-cost +0.2, bring-up -0.1", "lifetime-cost +0.2, bring-up −0.1"),
        ("-20 degC", "−20 °C"),
        ("-10 to 45 degC, 22.5 degC", "−10 to 45 °C, 22.5 °C"),
        ("12.0 to 12.0 years", "12.0 years"),
        ("(5.38 to 5.41): 5.24 to buy", "(5.38–5.41): 5.24 to buy"),
        ("ranges are 5 to 95 %.", "ranges are 5–95 %."),
        ("5-95 %, years", "5–95 %, years"),
    ],
)
def test_figures_are_set_as_in_print(text: str, printed: str) -> None:
    assert typeset(text) == printed
    assert typeset(printed) == printed


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-11",
        "lr-6 to lr-14",
        "cell-2-3",
        "10 days to 3 years",
        "from 10 to 3 replacements",  # a change, no range
        "-5 to",
        "p:price.breaks.10000=-5",
        "tasks 1-2-3",
        "up to 8 times",
        "checked by FIPS 180-4; digest of an input",
        "IEC 60086-4",
        "p:sleep-states.ram-kept.current.25 degC",  # a path, which is typed
        '"-10 degC"',
    ],
)
def test_names_dates_and_changes_stay(text: str) -> None:
    assert typeset(text) == text.replace("-5 to", "−5 to")


def test_no_dash_behind_a_minus() -> None:
    assert typeset("-20 to 60 K") == "−20 to 60 K"
    assert typeset("-5 to -3") == "−5 to −3"
