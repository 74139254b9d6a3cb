"""JSON without leeway, and its canonical form: the vectors of RFC 8785."""

from __future__ import annotations

import json
import struct
import time

import pytest

from advisor.faults import FaultError
from advisor.intake.plain_json import DEEPEST, canonical, read_json

# RFC 8785, appendix B: the bits of a double and its text
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers(bits: str, text: str) -> None:
    """RFC 8785, appendix B, through the reader too."""
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    # what the RFC writes without a point is to the reader a whole number, exact to 2**53 only
    read = read_json(json.dumps([value]).encode(), "x.json")
    assert canonical(read) == f"[{text}]".encode()


def test_example_document() -> None:
    """RFC 8785, 3.2.2 and 3.2.4: the document that it shows on the way, and its bytes; without the
    control character U+000F, which no text of ours may hold."""
    given = rb"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    assert (
        canonical(read_json(given, "x.json"))
        == (
            '{"literals":[null,true,false],'
            '"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            '"string":"€$\\nA\'B\\"\\\\\\\\\\"/"}'
        ).encode()
    )


def test_control_characters_are_spelled_as_the_standard_spells_them() -> None:
    """RFC 8785, 3.2.2.2, on a document that was not read from a file."""
    assert canonical('€$\x0f\nA\'B"\\\\"/') == '"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'.encode()


def test_keys_go_by_their_code_units() -> None:
    """RFC 8785, 3.2.3: as UTF-16, so that a smiley comes before a Hebrew letter."""
    given = {
        "€": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "😀": "Emoji: Grinning Face",
        "\x80": "Control",
        "ö": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(canonical(given)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"a": 1, "a": 1}', 'the key "a" twice'),
        (b'{"a": {"b": [{"c": 1, "c": 2}]}}', 'the key "c" twice'),
        (b'{"a": NaN}', "NaN"),
        (b'{"a": -Infinity}', "-Infinity"),
        (b'{"a": 1e999}', "1e999"),
        (b'{"a": 9007199254740993}', "9007199254740993"),
        (b'{"a": ' + b"9" * 10_000 + b"}", "whole number"),
        (b'{"a": 0.' + b"1" * 10_000 + b"}", "a double's range"),
        (b'{"a": "\xff"}', "x.json:1:8"),
        (b'{"a": "\\ud800"}', "U+D800"),
        (b'{"a": ["b", ["\\u202e"]]}', "U+202E"),
        (b'{"a\\u0000": 1}', "NUL"),
        (b"\xef\xbb\xbf{}", "x.json:1:1"),
        (b"{", "x.json:1:2"),
        (b"", "x.json:1:1"),
        (b"{} {}", "Extra data"),
        (b'{"a": 1,}', "x.json"),
        (b" " * (4 * 1024 * 1024 + 1), "4.0 MiB"),
    ],
)
def test_leeway_is_refused(data: bytes, said: str) -> None:
    with pytest.raises(FaultError) as error:
        read_json(data, "x.json")
    assert said in str(error.value)


def test_depth_is_bounded() -> None:
    inside = b"[" * DEEPEST + b"]" * DEEPEST
    assert read_json(inside, "x.json") is not None
    for bad in (b"[" + inside + b"]", b'{"a":' * 800_000, b"[" * 4_000_000):
        with pytest.raises(FaultError, match="too deep"):
            read_json(bad, "x.json")
    assert read_json(b'["' + b"[" * 1000 + b'\\"[["]', "x.json") == ["[" * 1000 + '"[[']


def test_hostile_text_is_told_soon() -> None:
    """Quotes without an end must not be looked for again and again: a
    search that took the square of their number would not end."""
    size = 256 * 1024
    begun = time.process_time()
    read_json(b'["' + b"a" * (2 * size - 4) + b'"]', "x.json")
    plain = time.process_time() - begun
    begun = time.process_time()
    for bad in (b'["' + b'\\"' * (size - 1), b'"' + b"\\" * (2 * size - 1), b'"' * (2 * size)):
        with pytest.raises(FaultError):
            read_json(bad, "x.json")
    assert time.process_time() - begun < 30 * plain + 1
