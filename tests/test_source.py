"""YAML with its places: what is read, what is refused, and where."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from yaml.nodes import MappingNode, ScalarNode

from advisor.faults import Fault, FaultError
from advisor.figures import walk
from advisor.source import DEEPEST, LARGEST, MOST, place_of, read_file, read_text


def refused(text: str | bytes) -> tuple[Fault, ...]:
    with pytest.raises(FaultError) as caught:
        read_text(text, "a.yaml")
    faults = caught.value.faults
    assert all(f.place is not None and f.place.file == "a.yaml" for f in faults)
    return faults


def test_places_are_lines_and_columns_of_the_file() -> None:
    text = (
        "part: a\nsupply: {min: 1.8 V,\n         max: 3.6 V}\nlist:\n  - {load: x, current: 2 mA}\n"
    )
    document = read_text(text, "a.yaml")
    places = {path: place_of(node, document.file) for path, node in walk(document.root)}
    lines = text.splitlines()
    for path, value in (
        ("supply.min", "1.8 V"),
        ("supply.max", "3.6 V"),
        ("list.x.current", "2 mA"),
    ):
        place = places[path]
        assert lines[place.line - 1][place.column - 1 :].startswith(value)


def test_values_stay_what_was_written() -> None:
    document = read_text("off: no\n1e3: 1e-6\nnull: ~\n010: 0x1F\n2026-01-01: yes\n", "a.yaml")
    assert isinstance(document.root, MappingNode)
    pairs = [(k.value, v.value) for k, v in document.root.value]
    assert pairs == [
        ("off", "no"),
        ("1e3", "1e-6"),
        ("null", "~"),
        ("010", "0x1F"),
        ("2026-01-01", "yes"),
    ]
    assert all(isinstance(v, ScalarNode) for _, v in document.root.value)


def test_a_byte_order_mark_is_no_part_of_the_first_key() -> None:
    document = read_text(b"\xef\xbb\xbfpart: a\n", "a.yaml")
    assert isinstance(document.root, MappingNode)
    assert document.root.value[0][0].value == "part"


@pytest.mark.parametrize(
    ("text", "word", "line", "column"),
    [
        ("a: &x 1\n", "&x", 1, 4),
        ("a: 1\nb: *x\n", "*x", 2, 4),
        ("a: !!float 1\n", "tag", 1, 4),
        ("a: !x 1\n", "tag", 1, 4),
        ("<<: {a: 1}\n", "<<", 1, 1),
        ("a: 1\n---\nb: 2\n", "second document", 2, 1),
        ("%YAML 1.1\n---\na: 1\n", "directive", 1, 1),
        ("a: [1\n", "", 2, 1),
        ("a: 1\n  b: 2\n", "", 2, 4),
        ("a: \x07\n", "", 1, 4),
        ("a: 1\x00\n", "", 1, 5),
        ("\ta: 1\n", "", 1, 1),
        ("", "empty", 1, 1),
        ("# only this\n", "empty", 1, 1),
    ],
)
def test_what_is_refused_and_where(text: str, word: str, line: int, column: int) -> None:
    fault = refused(text)[0]
    assert word in fault.read
    assert fault.place is not None
    assert (fault.place.line, fault.place.column) == (line, column)


def test_a_quoted_merge_key_is_a_key() -> None:
    document = read_text('"<<": 1\n', "a.yaml")
    assert isinstance(document.root, MappingNode)
    assert document.root.value[0][0].value == "<<"


def test_every_construct_of_a_file_is_told() -> None:
    faults = refused("a: &x 1\nb: *x\nc: !t 2\n")
    assert [f.place.line for f in faults if f.place] == [1, 2, 3]


@pytest.mark.parametrize("data", [b"a: \xff\n", b"\xff\xfea\x00", b"part: caf\xe9\n"])
def test_what_is_not_utf_8(data: bytes) -> None:
    assert "UTF-8" in refused(data)[0].expected


@pytest.mark.parametrize("beside", ["", "\xb5", "\u2013", "\U0001f347"])
def test_the_same_characters_are_refused_whatever_stands_beside_them(beside: str) -> None:
    """Texts of few kinds of characters are looked through by another pattern."""
    read = []
    for n in range(0x120):
        try:
            read_text(f"a: 'b{chr(n)}c{beside}'\n", "a.yaml")
        except FaultError:
            continue
        read.append(n)
    # C0 and C1 controls, and the quote; by YAML 1.1, production c-printable
    assert read == [0x9, 0xA, 0xD, *range(0x20, 0x27), *range(0x28, 0x7F), *range(0xA0, 0x120)]


def test_depth_and_length_are_bounded() -> None:
    read_text("[" * DEEPEST + "]" * DEEPEST, "a.yaml")
    assert "deep" in refused("[" * (DEEPEST + 2) + "]" * (DEEPEST + 2))[0].read
    assert "deep" in refused("- " * 5000 + "x")[0].read
    assert str(MOST) in refused("[" + "a," * (MOST + 10) + "]")[0].read


def test_size_is_bounded(tmp_path: Path) -> None:
    assert refused(b"a: " + b"x" * LARGEST)
    path = tmp_path / "big.yaml"
    path.write_bytes(b"a: " + b"x" * LARGEST)
    with pytest.raises(FaultError) as caught:
        read_file(path)
    assert "big.yaml" in caught.value.faults[0].text()


@pytest.mark.parametrize("name", ["missing.yaml", "folder.yaml"])
def test_what_is_no_file(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder.yaml").mkdir()
    with pytest.raises(FaultError) as caught:
        read_file(tmp_path / name)
    assert name in caught.value.faults[0].text()


def faults_of(data: str | bytes) -> tuple[Fault, ...]:
    """The faults of reading; none where it was read."""
    try:
        read_text(data, "a.yaml")
    except FaultError as error:
        return error.faults or (Fault("", "an error without faults", ""),)
    return ()


ODD = "ab:-[]{}&*!|>%@#'\"\n ,?~"


@given(text=st.one_of(st.text(max_size=200), st.text(alphabet=ODD, max_size=80)))
def test_any_text_is_read_or_refused_at_a_place(text: str) -> None:
    for fault in faults_of(text):
        assert fault.place is not None
        assert fault.place.line >= 1
        assert fault.place.column >= 1


@given(data=st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    assert all(fault.place is not None for fault in faults_of(data))
