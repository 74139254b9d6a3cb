"""Paths to figures: found, changed without harm to the rest, listed."""

from __future__ import annotations

from pathlib import Path as FilePath

import pytest
from hypothesis import given
from hypothesis import strategies as st
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from advisor.catalogue.shipped import load, product_files
from advisor.faults import FaultError
from advisor.figures import (
    Path,
    assign,
    changed,
    document_of,
    resolve,
    scalars,
    split_assignment,
    walk,
)
from advisor.source import place_of, read_text

# invented, as all data here
TEXT = """\
product: frost-post
workload:
  - task: sample
    every: 60 s
    kernels: {filter: 8, crc: 1}
    loads: [{load: probe, current: 0.9 mA}]
  - {task: send, every: 1 h}
environment: [{at: -10 degC, share: 0.15}, {at: 12 degC, share: 0.85}]
supply-options:
  cells: [{cell: thumb, series: 1}, {budget: 900 mAh, voltage: 3.0 V}, {cell: twin, series: 1},
          {cell: twin, series: 2}]
  converters: [none, ldo-a]
extras: [{item: 32.768 kHz crystal, price: 0.12}]
voltage-curve: {0: 3.0 V, 0.5: 2.9 V, 0.95: 2.6 V}
price: {breaks: {1: 1.42, 100: 0.98}}
lists: [[a, b], [c]]
"""


def root() -> Node:
    return read_text(TEXT, "frost-post.yaml").root


def plain(node: Node) -> object:
    """A node as Python data, pairs kept in order."""
    if isinstance(node, MappingNode):
        return [(plain(k), plain(v)) for k, v in node.value]
    if isinstance(node, SequenceNode):
        return [plain(v) for v in node.value]
    return node.value


def scalar(node: Node | None) -> str:
    assert isinstance(node, ScalarNode)
    return str(node.value)


FIGURES = {
    "product": "frost-post",
    "workload.sample.every": "60 s",
    "workload.sample.kernels.filter": "8",
    "workload.sample.loads.probe.current": "0.9 mA",
    "workload.send.every": "1 h",
    "environment.-10 degC.share": "0.15",
    "supply-options.cells.thumb.series": "1",
    "supply-options.cells.900 mAh.voltage": "3.0 V",
    "supply-options.converters.ldo-a": "ldo-a",
    "extras.32.768 kHz crystal.price": "0.12",
    "voltage-curve.0": "3.0 V",
    "voltage-curve.0.5": "2.9 V",
    "voltage-curve.0.95": "2.6 V",
    "price.breaks.100": "0.98",
    "lists.2.c": "c",
}


@pytest.mark.parametrize("path", FIGURES)
def test_a_path_finds_its_figure(path: str) -> None:
    assert scalar(resolve(root(), path)) == FIGURES[path]


@pytest.mark.parametrize(
    "path",
    ["nothing", "workload.sampl", "workload.sample.every.more", "voltage-curve.0.7", "workload.",
     ".product", "product.", "workload..every", "lists.3", "lists.0"],
)  # fmt: skip
def test_a_path_to_nothing_finds_nothing(path: str) -> None:
    assert resolve(root(), path) is None


def test_the_empty_path_is_the_whole() -> None:
    whole = root()
    assert resolve(whole, "") is whole


def test_every_figure_listed_is_found_under_its_path() -> None:
    whole = root()
    listed = list(walk(whole))
    assert FIGURES.items() <= {path: str(node.value) for path, node in listed}.items()
    # the second of two entries of one name cannot be told from the first
    for path, node in listed:
        if "twin" not in path:
            assert resolve(whole, path) is node


def test_listing_keeps_the_order_of_the_file() -> None:
    marks = [(n.start_mark.line, n.start_mark.column) for _, n in walk(root())]
    assert marks == sorted(marks)


@pytest.mark.parametrize("path", FIGURES)
def test_a_change_lands_and_leaves_the_rest_as_it_was(path: str) -> None:
    whole = root()
    before = plain(whole)
    value = split_assignment(f"frost-post:{path}=77").value_node
    changed = assign(whole, path, value)
    assert plain(whole) == before
    # a list of scalars names its entries by themselves, so the entry goes by its new name
    parent, _, last = path.rpartition(".")
    now = f"{parent}.77" if FIGURES[path] == last else path
    assert resolve(changed, now) is value
    others = {p: n for p, n in walk(whole) if p != path and "twin" not in p}
    renamed = any(scalar(resolve(whole, path)) == part for part in path.split("."))
    if not renamed:
        for other, node in others.items():
            assert resolve(changed, other) is node


def test_a_whole_mapping_can_be_put_in_a_figures_place() -> None:
    change = split_assignment("frost-post:workload.sample.every={low: 1 s, likely: 2 s, high: 9 s}")
    changed = assign(root(), change.dotted, change.value_node)
    assert scalar(resolve(changed, "workload.sample.every.likely")) == "2 s"


def test_a_key_that_does_not_stand_yet_is_made() -> None:
    value = split_assignment("a:b=3 V").value_node
    made = assign(root(), "needs.temperature.min", value)
    assert resolve(made, "needs.temperature.min") is value
    assert resolve(root(), "needs") is None
    beside = assign(root(), "workload.sample.kernels.hash", value)
    assert resolve(beside, "workload.sample.kernels.hash") is value
    assert scalar(resolve(beside, "workload.sample.kernels.filter")) == "8"


def test_a_new_depth_of_a_curve_is_one_key() -> None:
    value = split_assignment("a:b=2.8 V").value_node
    changed = assign(root(), "voltage-curve.0.7", value)
    assert resolve(changed, "voltage-curve.0.7") is value
    assert scalar(resolve(changed, "voltage-curve.0")) == "3.0 V"
    nested = assign(root(), "efficiency.1.5 mA.low", value)
    curve = resolve(nested, "efficiency")
    assert isinstance(curve, MappingNode)
    assert [k.value for k, _ in curve.value] == ["1.5 mA"]


@pytest.mark.parametrize(
    ("path", "word"),
    [
        ("workload.sampel.every", "sample, send"),
        ("supply-options.converters.boost-z", "none, ldo-a"),
        ("product.name", "which has no keys"),
        ("supply-options.cells.twin.series", "named once; 2"),
    ],
)
def test_a_change_that_cannot_land_says_why_and_where(path: str, word: str) -> None:
    change = split_assignment(f"frost-post:{path}=3")
    with pytest.raises(FaultError) as caught:
        assign(root(), change.dotted, change.value_node)
    (fault,) = caught.value.faults
    assert word in fault.expected
    assert fault.place is not None
    assert fault.place.file == f"--set frost-post:{path}"


def test_an_assignment_is_split() -> None:
    change = split_assignment("frost-post:workload.sample.every = 30 s")
    assert (change.document, change.dotted) == ("frost-post", "workload.sample.every")
    assert scalar(change.value_node) == "30 s"
    assert change.text == "frost-post:workload.sample.every = 30 s"


def test_an_assigned_value_may_hold_equals_signs_and_colons() -> None:
    assert scalar(split_assignment("a:b=8.1 ± 0.2 mA (k=2)").value_node) == "8.1 ± 0.2 mA (k=2)"
    assert scalar(split_assignment("a:note=at 12:30").value_node) == "at 12:30"


def test_every_node_of_an_assigned_value_names_the_option_as_its_place() -> None:
    change = split_assignment("frost-post:a.b={typical: 2 µA, max: [6 µA]}")
    name = "--set frost-post:a.b"
    # the file that the change is laid over is not where the figure stands
    for node in [change.value_node, *(node for _, node in walk(change.value_node))]:
        place = place_of(node, "frost-post.yaml")
        assert (place.file, place.line) == (name, 1)
    largest = resolve(change.value_node, "max")
    assert largest is not None
    assert place_of(largest, "x").column == 22


@pytest.mark.parametrize(
    "text",
    [
        "",
        "=",
        ":",
        "a",
        "a:b",
        "a=3",
        ":b=3",
        "a:=3",
        "a:b=",
        "a:b=   ",
        " : = ",
        "a.b=3:4",
        "a:b.=3",
    ],
)
def test_what_is_no_assignment_is_a_fault(text: str) -> None:
    with pytest.raises(FaultError) as caught:
        split_assignment(text)
    (fault,) = caught.value.faults
    assert fault.place is not None
    assert fault.place.file == "--set"
    assert "ID:KEYS=VALUE" in fault.expected


@pytest.mark.parametrize("value", ["&a 3", "*a", "!!int 3", "{", "[1", "'", "a\0b", "{<<: 3}"])
def test_a_bad_value_is_a_fault_of_the_option(value: str) -> None:
    with pytest.raises(FaultError) as caught:
        split_assignment(f"a:b={value}")
    for fault in caught.value.faults:
        assert fault.place is not None
        assert fault.place.file == "--set a:b"


WORDS = st.text("abc-", min_size=1, max_size=4)


@given(st.lists(WORDS, min_size=1, max_size=5), st.lists(WORDS, min_size=1, max_size=5))
def test_what_is_assigned_is_found_and_a_second_change_keeps_the_first(
    one: list[str], two: list[str]
) -> None:
    start = read_text("z: 1", "z.yaml").root
    first, second = (split_assignment(f"a:b={v}").value_node for v in ("1", "2"))
    changed = assign(start, ".".join(one), first)
    assert resolve(changed, ".".join(one)) is first
    shorter = min(len(one), len(two))
    if one[:shorter] == two[:shorter]:
        return  # one path runs through the other
    both = assign(changed, ".".join(two), second)
    assert resolve(both, ".".join(one)) is first
    assert resolve(both, ".".join(two)) is second
    assert scalar(resolve(both, "z")) == "1"


KEYS = st.text("ab.0", min_size=1, max_size=4)
TREES = st.recursive(
    st.just("1"), lambda below: st.dictionaries(KEYS, below, min_size=1, max_size=3), max_leaves=8
)


def flow(tree: object) -> str:
    if isinstance(tree, dict):
        return "{" + ", ".join(f'"{key}": {flow(below)}' for key, below in tree.items()) + "}"
    return str(tree)


@given(st.dictionaries(KEYS, TREES, min_size=1, max_size=3))
def test_a_path_s_text_is_read_as_the_path(tree: dict[str, object]) -> None:
    whole = read_text(flow(tree), "x.yaml").root
    listed = dict(scalars("x", whole))
    texts = [str(path) for path in listed]
    for path, node in listed.items():
        again = Path.parse(whole, str(path))
        assert str(again) == str(path)
        assert path.node(whole) is node
        assert again.node(whole) is resolve(whole, path.dotted)
        # keys with dots can make two paths read alike; either may then be meant
        assert again in listed
        if texts.count(str(path)) == 1:
            assert again == path


def test_keys_with_dots_are_found_where_a_longer_key_leads_nowhere() -> None:
    whole = read_text('{a: {b.c: 1}, "a.b": {d: 2}}', "x.yaml").root
    assert Path.parse(whole, "x:a.b.c") == Path("x", ("a", "b.c"))
    assert Path.parse(whole, "x:a.b.d") == Path("x", ("a.b", "d"))
    assert Path.parse(whole, "x:a.b.e") == Path("x", ("a.b", "e"))


@pytest.mark.once
def test_every_scalar_of_the_shipped_files_is_found_under_its_path() -> None:
    for name in product_files():
        catalogue, product = load(name)
        for identity in (product.product, *catalogue.documents):
            whole = catalogue.documents[identity].root
            for path, _ in scalars(identity, whole):
                assert Path.parse(whole, str(path)) == path
                assert path.node(whole) is not None


def test_a_path_is_a_value() -> None:
    path = Path("lb") / "voltage-curve" / "0.5"
    assert path == Path("lb").child("voltage-curve", "0.5")
    assert len({path, Path("lb", ("voltage-curve", "0.5"))}) == 1
    assert path != Path("lb", ("voltage-curve", "0", "5"))
    assert (str(path), path.dotted, str(Path("lb"))) == (
        "lb:voltage-curve.0.5",
        "voltage-curve.0.5",
        "lb",
    )
    assert path.within(path)
    assert path.within(path.parent)
    assert path.within(Path("lb"))
    assert not path.within(Path("lb", ("voltage",)))
    assert not path.within(Path("lm"))
    assert not path.parent.within(path)
    assert document_of("lb:voltage-curve.0.5") == "lb"


def test_what_does_not_stand_is_placed_at_the_key_above_it() -> None:
    path = Path.parse(root(), "frost-post:workload.sample.loads.probe.currant")
    here, node = path.placed(root())
    assert here == path.parent
    assert isinstance(node, MappingNode)
    assert path.node(root()) is None
    assert path.nearest(root()) == "current"
    assert path.parent.nearest(root()) is None


def test_a_new_key_is_parsed_as_a_change_makes_it() -> None:
    for text in ("voltage-curve.0.7", "voltage-curve..7", "priorities.own-figures.x.weight"):
        path = Path.parse(root(), f"frost-post:{text}")
        changed = assign(root(), text, split_assignment("a:b=1").value_node)
        assert path.node(changed) is not None
        assert path.node(root()) is None


def test_a_key_that_begins_or_ends_with_a_dot_can_be_set() -> None:
    whole = read_text("{curve: {.5: 1, 5.: {low: 2}}}", "x.yaml").root
    for path, _ in scalars("x", whole):
        change = split_assignment(f"{path}=7")
        changed = assign(whole, change.dotted, change.value_node)
        assert path.node(changed) is change.value_node
    with pytest.raises(FaultError, match="keys with a dot between them"):
        assign(whole, "curve.6.", split_assignment("a:b=1").value_node)


@pytest.mark.parametrize(
    "path",
    [
        "workload.sample.kernels.crc",
        "workload.sample.loads.probe",
        "environment.12 degC",
        "voltage-curve.0.5",
        "price",
        "lists.2",
        "supply-options.converters.ldo-a",
        "workload.send",
    ],
)
def test_null_leaves_a_key_or_an_entry_out_and_the_rest_as_it_was(path: str) -> None:
    change = split_assignment(f"frost-post:{path}=null")
    before = root()
    after = changed(before, change)
    kept = [name for name, _ in walk(before) if not f"{name}.".startswith(f"{path}.")]
    left = [name for name, _ in walk(after)]
    # entries without a name go by their number
    assert len(left) == len(kept)
    assert left == kept or path == "lists.2"
    if path != "lists.2":
        assert resolve(after, path) is None
    assert plain(before) == plain(root())


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("workload.sampel", "sample"),
        ("workload.sample.evry", "every"),
        ("voltage-curve.0.7", "0.5"),
        ("product.name", None),
        ("supply-options.cells.twins", "twin"),
    ],
)
def test_what_does_not_stand_cannot_be_left_out(path: str, near: str | None) -> None:
    change = split_assignment(f"frost-post:{path}=null")
    with pytest.raises(FaultError) as caught:
        changed(root(), change)
    (fault,) = caught.value.faults
    assert "a key that stands" in fault.expected
    assert fault.nearest == near
    assert fault.place is not None
    assert fault.place.file == f"--set frost-post:{path}"


def test_one_of_two_of_a_name_cannot_be_left_out() -> None:
    with pytest.raises(FaultError, match="named once; 2"):
        changed(root(), split_assignment("frost-post:supply-options.cells.twin=null"))


@pytest.mark.parametrize("value", ["'null'", '"null"', "nulls"])
def test_null_as_a_text_is_a_value(value: str) -> None:
    after = changed(root(), split_assignment(f"frost-post:product={value}"))
    assert scalar(resolve(after, "product")) == value.strip("'\"")


def test_what_is_left_out_may_be_put_back_anew() -> None:
    after = changed(root(), split_assignment("frost-post:price=null"))
    again = changed(after, split_assignment("frost-post:price.breaks.5=0.7"))
    assert plain(resolve(again, "price") or again) == [("breaks", [("5", "0.7")])]


@pytest.mark.parametrize(
    ("key", "path"),
    [
        ("product", "frost-post:product"),
        ("workload.report.task", "frost-post:workload.2.task"),
        ("workload.report.loads.radio.for", "frost-post:workload.report.loads.radio.for"),
    ],
)
def test_what_must_stand_is_a_fault_where_it_is_left_out(key: str, path: str) -> None:
    with pytest.raises(FaultError) as caught:
        load("frost-post", changes=[f"frost-post:{key}=null"])
    assert path in [fault.path for fault in caught.value.faults]


def test_without_a_key_is_as_if_it_had_never_stood(tmp_path: FilePath) -> None:
    """Of a part, too, and the document of the catalogue is not touched."""
    text = product_files()["frost-post"].read_text("utf-8")
    line = next(line for line in text.splitlines() if "reservoir:" in line)
    bare = tmp_path / "frost-post.yaml"
    bare.write_text(text.replace(f"{line}\n", ""), "utf-8")
    changes = ["frost-post:supply-options.reservoir=null", "ostrel-yab:price=null"]
    catalogue, product = load("frost-post", changes=changes)
    assert product == load(bare)[1]
    assert product != load("frost-post")[1]
    assert catalogue.parts["ostrel-yab"].price is None
    assert load("frost-post")[0].parts["ostrel-yab"].price is not None
