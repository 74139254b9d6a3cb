"""A value is replaced and nothing else moves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import figures
from advisor.catalogue.edit import Tree, placed, quoted, replaced
from advisor.catalogue.shipped import catalogue_folder, product_files
from advisor.faults import FaultError
from advisor.figures import resolve
from advisor.source import read_text

TEXT = """# a head
product: a   # the id
list:
  - {load: eye, current: 2 mA, for: 3 ms}  # µA would be nice
  - load: ear
    current: 4 mA
priorities:   # what matters
  battery-life: {weight: 5, poor: 2 years}
  "quoted": {weight: 1}

tail: |
  kept as it is
"""


def test_comments_order_and_layout_stay() -> None:
    found = replaced(
        TEXT, "a.yaml", {"priorities.battery-life.weight": "31.5", "list.ear.current": "40 mA"}
    )
    assert found == TEXT.replace("weight: 5,", "weight: 31.5,").replace("4 mA", "40 mA")


def test_several_values_on_a_line() -> None:
    found = replaced(TEXT, "a.yaml", {"list.eye.current": "200 mA", "list.eye.for": "1 s"})
    assert "{load: eye, current: 200 mA, for: 1 s}  # µA would be nice" in found


@pytest.mark.parametrize("path", ["nothing", "list", "tail", "priorities.battery-life.nothing"])
def test_what_is_no_plain_value_is_a_fault(path: str) -> None:
    with pytest.raises(FaultError) as caught:
        replaced(TEXT, "a.yaml", {path: "1"})
    assert path in caught.value.faults[0].path


def test_line_ends_and_a_byte_order_mark_stay() -> None:
    text = "\ufeffproduct: a\r\nrail: 3 V # volts\r\n"
    assert replaced(text, "a.yaml", {"product": "bcd"}) == text.replace(": a", ": bcd")
    assert replaced(text, "a.yaml", {"rail": "2.5 V"}) == text.replace("3 V", "2.5 V")


@given(
    name=st.sampled_from(sorted(product_files())),
    weights=st.lists(st.floats(0, 100), min_size=6, max_size=6),
)
def test_shipped_products_keep_everything_else(name: str, weights: list[float]) -> None:
    text = product_files()[name].read_text()
    root = read_text(text, name).root
    criteria = re.findall(r"(?m)^  ([a-z-]+): \{weight", text)
    values = {f"priorities.{c}.weight": f"{w:.4g}" for c, w in zip(criteria, weights, strict=False)}
    found = replaced(text, name, values)
    after = read_text(found, name).root
    for path, value in values.items():
        node = resolve(after, path)
        assert node is not None
        assert node.value == value
        assert resolve(root, path) is not None
    blank = re.compile(r"weight: [^,}]+")
    assert blank.sub("weight", found) == blank.sub("weight", text)


def catalogue_files() -> dict[str, Path]:
    return {path.stem: path for path in (catalogue_folder() / "parts").iterdir()}


PART = """# our part
part: a      # the id

supply: {min: 2.0 V}  # of the pin
kernels:   # as measured
  hash:
    fast: {time: 1 ms, current: 2 mA, evidence: sheet}  # from the sheet
    # slow is not measured yet
  crc:
    fast:
      time: 3 ms
      current: 4 mA

evidence:
  sheet: {kind: datasheet}
empty:
open: {}
# the end"""


def put(**tree: str | Tree) -> str:
    return placed(PART, "a.yaml", {k.replace("_", "-"): v for k, v in tree.items()})


def test_placed_values_replace_and_join_what_stands() -> None:
    after = put(
        kernels={
            "hash": {
                "fast": {"time": "1.20(3) ms", "supply": "3.3 V"},
                "slow": {"time": "5 ms", "current": "1 mA"},
            },
            "crc": {"fast": {"current": "4.4 mA", "evidence": "bench"}},
            "copy": {"fast": {"time": "9 ms"}},
        },
        evidence={"bench": {"kind": "bench", "note": quoted('a "word": more')}},
        empty="1",
        open={"a": "1"},
        invented="true",
    )
    kept = [line for line in PART.splitlines() if line not in after.splitlines()]
    assert kept == [
        "    fast: {time: 1 ms, current: 2 mA, evidence: sheet}  # from the sheet",
        "      current: 4 mA",
        "empty:",
        "open: {}",
    ]
    lines = after.splitlines()
    assert (
        "    fast: {time: 1.20(3) ms, current: 2 mA, evidence: sheet, supply: 3.3 V}"
        "  # from the sheet" in lines
    )
    root = read_text(after, "a.yaml").root
    expected = {
        "kernels.hash.fast.time": "1.20(3) ms",
        "kernels.hash.slow.current": "1 mA",
        "kernels.crc.fast.current": "4.4 mA",
        "kernels.crc.fast.evidence": "bench",
        "kernels.crc.fast.time": "3 ms",
        "kernels.copy.fast.time": "9 ms",
        "evidence.bench.note": 'a "word": more',
        "evidence.sheet.kind": "datasheet",
        "empty": "1",
        "open.a": "1",
        "invented": "true",
        "supply.min": "2.0 V",
    }
    for path, value in expected.items():
        node = resolve(root, path)
        assert node is not None, path
        assert node.value == value, path


@pytest.mark.parametrize("part", sorted(catalogue_files()))
def test_placed_in_shipped_parts_moves_nothing_else(part: str) -> None:
    before = catalogue_files()[part].read_text("utf-8")
    tree: Tree = {
        "kernels": {"hash": {"night": {"time": "1 ms"}}, "new": {"fast": {"time": "2 s"}}}
    }
    after = placed(before, part, tree)
    theirs = iter(after.splitlines())
    assert all(line in theirs for line in before.splitlines()), "lines stay, in their order"
    assert len(after.splitlines()) == len(before.splitlines()) + 3
    # and again: what stands is replaced by itself
    assert placed(after, part, tree) == after


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("last", ["", "\n", "\n\n# bye\n"])
def test_placed_keeps_ends_of_lines(ending: str, last: str) -> None:
    text = f"part: a\nkernels: {{}}{last}".replace("\n", ending)
    after = placed(text, "a.yaml", {"kernels": {"hash": "1"}, "more": {"a": {"b": {"c": "2"}}}})
    assert after.replace("\r\n", "").count("\n") == (0 if ending == "\r\n" else after.count("\n"))
    root = read_text(after, "a.yaml").root
    for path in ("kernels.hash", "more.a.b.c", "part"):
        assert resolve(root, path) is not None


def test_placed_needs_a_mapping() -> None:
    with pytest.raises(FaultError, match="no mapping"):
        placed("- a\n", "a.yaml", {"b": "1"})


ENDS = ["\n", "\r\n", "\r", "\u2028", "\u2029"]


@pytest.mark.parametrize("end", ENDS, ids=ascii)
@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["plain", "marked"])
def test_edits_go_by_the_parser_s_own_marks(end: str, mark: str) -> None:
    """A line ends for the parser where it does not for `splitlines`, and the other way round."""
    text = f"{mark}# é 👩\u200d💻{end}# x\na: 1 # {end}b: {{c: 2, d: 'x'}}{end}e:{end}  f: 3"
    assert replaced(text, "f", {"a": "10", "b.c": "20", "e.f": "30"}) == (
        text.replace("a: 1", "a: 10").replace("c: 2", "c: 20").replace("f: 3", "f: 30")
    )
    usual = end if end in ("\r\n", "\r") else "\n"
    after = placed(text, "f", {"b": {"c": "20", "n": "1"}, "e": {"g": {"h": "4"}}, "z": "5"})
    assert after == (
        text.replace("c: 2, d: 'x'", "c: 20, d: 'x', n: 1")
        + f"{usual}  g: {{h: 4}}{usual}z: 5{usual}"
    )


def test_a_block_of_text_is_replaced_whole() -> None:
    text = "a: |\n  one\n  two\n\n# remark\nb: >-\n  three\n  four"
    assert placed(text, "f", {"a": "1", "b": "2"}) == "a: 1\n\n# remark\nb: 2"
    assert placed(text, "f", {"c": "3"}) == text + "\nc: 3\n"
    assert placed("a: |\n  one\n# remark\n", "f", {"c": "3"}) == "a: |\n  one\nc: 3\n# remark\n"


@given(
    st.lists(
        st.sampled_from(
            [
                *("a: 1", "b: {c: 2}", "d:", "  e: 3", "# x", "f: 'y'", "g: |", "  text", ""),
                *("h: [1, 2]", "i: {}", "- 5", "  # z", "j: {k: {l: 4}, m: }"),
            ]
        ),
        max_size=8,
    ),
    st.lists(st.sampled_from(ENDS), min_size=8, max_size=8),
    st.sampled_from(["a", "b.c", "d.e", "d", "g", "h", "i.n", "j.k.l", "j.m", "new", "i"]),
)
def test_what_is_edited_reads_as_wanted_or_is_refused(
    lines: list[str], ends: list[str], dotted: str
) -> None:
    text = "".join(line + end for line, end in zip(lines, ends, strict=False))
    *above, last = dotted.split(".")
    tree: Tree = {last: "new"}
    for name in reversed(above):
        tree = {name: tree}
    try:
        before = scalars(text)
        after = scalars(placed(text, "f", tree))
    except FaultError:
        return
    assert after[dotted] == "new"
    apart = {k: v for k, v in after.items() if not f"{k}.".startswith(f"{dotted}.")}
    kept = {
        k: v
        for k, v in before.items()
        if not f"{k}.".startswith(f"{dotted}.") and not f"{dotted}.".startswith(f"{k}.")
    }
    assert apart == kept


def scalars(text: str) -> dict[str, str]:
    """Every value of a text by its dotted keys."""
    return {dotted: node.value for dotted, node in figures.walk(read_text(text, "f").root)}
