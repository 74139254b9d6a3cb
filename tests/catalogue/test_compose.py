"""New documents: what is written reads back as it was meant, comments and all."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from yaml.nodes import MappingNode, ScalarNode

from advisor.catalogue.compose import Line, document, mapping, text
from advisor.source import read_text


def test_comments_lists_and_what_is_off_stand_where_they_belong() -> None:
    written = document(
        [
            Line("part", "ostrel-new"),
            Line(
                "memory",
                mapping(flash="64 KiB", ram="8 KiB"),
                above="from the sheet",
                behind="one bank",
            ),
            Line("sleep-states", [Line("deep", [Line("current", "2 µA"), Line("supply", "3 V")])]),
            Line(
                "workload",
                [
                    [Line("task", "sample", above="what it does"), Line("every", "60 s")],
                    [Line("task", "report"), Line("every", "2 h", off=True)],
                ],
            ),
            Line("price", [Line("breaks", "{1: 2}")], off=True),
        ],
        head="Invented.\n\nTwo paragraphs.",
    )
    assert written == (
        "# Invented.\n#\n# Two paragraphs.\n"
        "part: ostrel-new\n"
        "# from the sheet\n"
        "memory: {flash: 64 KiB, ram: 8 KiB}  # one bank\n"
        "sleep-states:\n  deep:\n    current: 2 µA\n    supply: 3 V\n"
        "workload:\n    # what it does\n  - task: sample\n    every: 60 s\n"
        "  - task: report\n    # every: 2 h\n"
        "# price:\n#   breaks: {1: 2}\n"
    )


@pytest.mark.once
@given(st.text(max_size=12) | st.sampled_from(["no", "1e3", "a: b", "a #b", "~", "- a", "12:30"]))
def test_free_text_reads_back_as_it_was(words: str) -> None:
    if any(0xD800 <= ord(c) < 0xE000 for c in words):
        return  # no YAML can spell it
    try:
        root = read_text(f"a: {text(words)}\nb: {{c: {text(words)}}}\n", "").root
    except Exception:
        # the reader refuses what a terminal would act upon, however it is spelled
        assert not words.isprintable() or not words
        return
    first, second = (value for _, value in root.value)
    assert isinstance(second, MappingNode)
    for node in (first, second.value[0][1]):
        assert isinstance(node, ScalarNode)
        assert node.value == words
        assert node.tag == "tag:yaml.org,2002:str"


def test_a_comment_cannot_end_its_line() -> None:
    written = document([Line("a", "1", above="x\ry: 2\x85z: 3\u2028w: 4", behind="p\nq: 5")])
    assert [key.value for key, _ in read_text(written, "").root.value] == ["a"]


@pytest.mark.parametrize("value", ["[", "1\nb: 2", "{a: 1", ": :", "&x 1"])
def test_what_is_no_value_is_refused(value: str) -> None:
    with pytest.raises(ValueError, match="document"):
        document([Line("a", value)])


def test_a_key_that_comes_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="document"):
        document([Line("a", "1"), Line("a", "2")])
