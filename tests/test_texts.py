"""Texts stay texts: on a screen, in a shell, in a spreadsheet, in JSON."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.faults import FaultError
from advisor.present.layout import Page, Typed
from advisor.present.machine import to_csv, to_json
from advisor.present.markdown import code, escaped
from advisor.source import read_text
from advisor.texts import HOSTILE, in_shell, on_one_line, spreadsheet_cell, visible

# Bidi_Control, from PropList.txt of the Unicode Character Database
BIDIRECTIONAL = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
CONTROLS = "".join(map(chr, [*range(0x20), *range(0x7F, 0xA0)]))
HARMLESS = ["plain", "µA ± 5 %", "naïve 日本語 עברית", "👩\u200d💻", "a\u200cb", "−40 °C"]


def test_controls_are_all_hostile() -> None:
    for character in set(CONTROLS) - set("\t\n") | set(BIDIRECTIONAL) | {"\udcff"}:
        assert HOSTILE.search(character), repr(character)
        assert unicodedata.category(character) in ("Cc", "Cf", "Cs")
        assert character not in visible(f"a{character}b")
    for text in HARMLESS:
        assert visible(text) == on_one_line(text) == text


@pytest.mark.parametrize("character", ["\x1b", "\x7f", "\x9b", "\r", "\0", *BIDIRECTIONAL])
@pytest.mark.parametrize("where", ["value", "key", "in a list"])
def test_a_control_may_not_be_spelled(character: str, where: str) -> None:
    spelled = f'"a\\u{ord(character):04x}b"'
    text = {"value": f"k: {spelled}", "key": f"{spelled}: 1", "in a list": f"k: [1, {spelled}]"}
    with pytest.raises(FaultError, match=f"U\\+{ord(character):04X}|NUL") as caught:
        read_text(text[where], "f.yaml")
    (fault,) = caught.value.faults
    assert fault.place is not None
    assert (fault.place.line, fault.place.column) == (1, text[where].index('"') + 1)
    # a backslash that is none of YAML's escapes stays what it is
    read_text(f"k: 'a\\u{ord(character):04x}b'", "f.yaml")


@pytest.mark.parametrize("character", ["\u202e", "\x1b", "\x85", "\x9b"])
def test_a_control_may_not_stand_in_a_comment(character: str) -> None:
    with pytest.raises(FaultError) as caught:
        read_text(f"a: 1\rb: 2\r\nc: 3 # {character}\n", "f.yaml")
    place = caught.value.faults[0].place
    assert place is not None
    assert (place.line, place.column) == (3, 8)  # all three ends of a line count


@settings(max_examples=40)
@given(st.text(alphabet=st.characters(exclude_characters="\0", exclude_categories=["Cs"])))
def test_a_shell_reads_back_what_is_printed(text: str) -> None:
    printed = in_shell(text)
    assert not HOSTILE.search(printed)
    assert "\n" not in printed
    done = subprocess.run(
        ["bash", "-c", f"printf %s {printed}"],
        capture_output=True,
        check=True,
        env={"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"},
    )
    assert done.stdout == text.encode()


@pytest.mark.parametrize(
    "word", ["a b", "$(touch taken)", "`x`", "a'b\"c", "~", "*", "a;b", "\x1b[2J", "p\udcff", ""]
)
def test_a_command_is_words_however_it_is_broken(word: str) -> None:
    page = Page(30)
    page.typed(Typed(("printf", "%s|", "--set", word, "x" * 40)), "    ")
    done = subprocess.run(["bash", "-c", page.plain()], capture_output=True, check=True)
    assert done.stdout == b"--set|" + os.fsencode(word) + b"|" + b"x" * 40 + b"|"
    assert not HOSTILE.search(page.plain())


SIGNS = ["=", "+", "-", "@", "＝", "＋", "－", "＠", "﹦", "﹢", "﹣", "﹫", "−", "⁼", "₊", "⁻"]


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("before", ["", " ", "\u3000", "\u200b", "\ufeff", "\t", "\r"])
def test_no_cell_is_a_formula_in_any_script(sign: str, before: str) -> None:
    cell = next(csv.reader(io.StringIO(to_csv([{"a": f"{before}{sign}1+A1"}]).split("\n")[1])))[0]
    assert cell.startswith("'")
    head = to_csv([{f"{before}{sign}x": 1}]).split("\n")[0]
    assert head.lstrip('"').startswith("'")


@pytest.mark.parametrize("text", ["-5", "+1.5e3", "-.5", "-0", "1", "a=b", "x-y", "日本"])
def test_what_is_no_formula_is_left_alone(text: str) -> None:
    assert spreadsheet_cell(text) == text


@given(st.text())
def test_json_means_the_same_and_shows_no_control(text: str) -> None:
    document = to_json({text: [text]})
    assert json.loads(document) == {text: [text]}
    assert not HOSTILE.search(document)
    assert json.loads(to_json({text: [text]}, ascii_only=True)) == {text: [text]}
    assert to_json({text: [text]}, ascii_only=True).isascii()


@given(st.text())
def test_no_screen_acts(text: str) -> None:
    page = Page(40)
    page.heading(text)
    page.paragraph(text, "  ")
    page.table([text, "b"], [[text, "1"], ["a", text]], [False, True], notes=[text])
    page.bars([(text, 0.5, text)])
    shown = page.plain() + to_csv([{text: text}]) + escaped(text) + code(in_shell(text))
    assert not HOSTILE.search(shown)
