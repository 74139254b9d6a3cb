"""A value is replaced and nothing else moves."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.catalogue.edit import replaced
from advisor.catalogue.shipped import product_files
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
