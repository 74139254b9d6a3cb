"""Battery nodes to cells: the published binding's properties, and the language around them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from advisor.faults import FaultError
from advisor.intake.batteries_in import CHEMISTRIES, read_batteries
from advisor.intake.devicetree import read_devicetree
from advisor.intake.entries import Entry
from tests.intake.trees import EXAMPLE, FIELD, node


def entries(tmp_path: Path, text: str, *only: str) -> dict[str, Entry]:
    path = tmp_path / "made.dts"
    path.write_text(text, "utf-8")
    return {e.identity: e for e in read_batteries(path, only).entries}


def cell(tmp_path: Path, inner: str) -> dict[str, Any]:
    (entry,) = entries(tmp_path, node(inner)).values()
    return dict(yaml.safe_load(entry.text))


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(FaultError) as caught:
        entries(tmp_path, text)
    start = str(tmp_path / "made.dts:")
    return [fault.text().removeprefix(start) for fault in caught.value.faults]


def test_the_bindings_own_example(tmp_path: Path) -> None:
    """Battery Characteristics, `power/supply/battery.yaml`: its example's figures."""
    (entry,) = entries(tmp_path, EXAMPLE).values()
    found = yaml.safe_load(entry.text)
    assert found["cell"] == "battery"
    assert found["capacity"] == "1430 mAh"
    assert found["cut-off"] == "3.2 V"
    assert found["resistance"] == "0.25 ohm"
    # energy over charge: 5.29 Wh / 1.43 Ah
    assert found["nominal-voltage"] == "3.699 V"
    assert found["temperature"] == {
        "-10 degC": {"resistance": 0.6},
        "0 degC": {"resistance": 0.8},
        "10 degC": {"resistance": 0.9},
        "20 degC": {"resistance": 1},
    }
    # its tables end at 90 %: beyond that a curve would be flat, and promise what is not there
    assert "voltage-curve" not in found
    assert "an open-circuit table at 10 degC from 100 to 90 % only" in entry.aside
    assert {"voltage-curve", "chemistry", "price", "self-discharge"} < set(entry.lacks)
    assert "temperature.-10 degC.capacity" in entry.lacks
    # it is charged, of what is not stated: as wary as of lithium
    assert found["rechargeable"] is True
    assert "lithium" in " ".join(found["cautions"])
    for words in ("re-charge-voltage-microvolt 250000", "operating-range-celsius -30 50"):
        assert words in entry.aside


def test_the_table_nearest_to_room_temperature_that_is_whole(tmp_path: Path) -> None:
    both = entries(tmp_path, FIELD)
    assert list(both) == ["store", "elsewhere"]
    found = yaml.safe_load(both["store"].text)
    assert found["voltage-curve"] == {0: "3.4 V", 0.5: "3.3 V", 1: "2.9 V"}
    assert "# open circuit, at 25 degC" in both["store"].text
    assert found["chemistry"] == "lithium iron phosphate"
    # a later extension by label takes the property's place; 0106500 is octal
    assert found["capacity"] == "1600 mAh"
    assert found["resistance"] == f"{0o106500 / 1e6:g} ohm"
    assert found["temperature"] == {"-10 degC": {"resistance": 2.5}, "25 degC": {"resistance": 1}}
    assert any("at -20 degC from 100 to 20 % only" in each for each in both["store"].aside)
    assert yaml.safe_load(both["elsewhere"].text)["capacity"] == "0.001 mAh"
    assert list(entries(tmp_path, FIELD, "cell*")) == ["store"]


def test_every_cell_that_is_charged_carries_cautions(tmp_path: Path) -> None:
    for word, name in CHEMISTRIES.items():
        found = cell(tmp_path, f'device-chemistry = "{word}";')
        assert found["chemistry"] == name
        assert found["rechargeable"] is True
        words = " ".join(found["cautions"])
        assert ("lithium" in words) == ("lithium" in name)
        assert "charge only with a charger" in words
    found = cell(tmp_path, 'device-chemistry = "lithium-ion-of-tomorrow";')
    assert (found["chemistry"], found["rechargeable"]) == ("lithium ion of tomorrow", True)
    for inner in ("", 'device-chemistry = "zinc-something";', "re-charge-voltage-microvolt = <1>;"):
        found = cell(tmp_path, inner)
        assert "treat it as a lithium cell" in found["cautions"][0]


@pytest.mark.parametrize(
    ("inner", "words"),
    [
        ("charge-full-design-microamp-hours = <0>;", "read 0; expected one number from 1"),
        ("charge-full-design-microamp-hours = <1 2>;", "read 1, 2;"),
        ('charge-full-design-microamp-hours = "1";', "read no number"),
        ("charge-full-design-microamp-hours;", "read no number"),
        ("charge-full-design-microamp-hours = <CAPACITY>;", 'read "CAPACITY"; expected plain'),
        ("charge-full-design-microamp-hours = <(2 * 3)>;", 'read "(2 * 3)"'),
        ("charge-full-design-microamp-hours = [01];", 'read "[01]"'),
        ("charge-full-design-microamp-hours = /bits/ 8 <1>;", 'read "/bits/"'),
        ("charge-full-design-microamp-hours = <&b>;", 'read "&b"'),
        ("ocv-capacity-table-0 = <1 100>;", "no ocv-capacity-celsius beside it"),
        ("ocv-capacity-celsius = <25>; ocv-capacity-table-1 = <1 100>;", "read table 1"),
        ("ocv-capacity-celsius = <25>; ocv-capacity-table-0 = <1 100 2>;", "read 3 numbers"),
        ("ocv-capacity-celsius = <25>; ocv-capacity-table-0 = <1 101>;", "read <1 101>"),
        ("ocv-capacity-celsius = <25>; ocv-capacity-table-0 = <2 0 1 100>;", "that fall"),
        ("ocv-capacity-celsius = <25>; ocv-capacity-table-0 = <2 0 2 0>;", "once"),
        ("ocv-capacity-celsius = <(-300)>;", "a temperature beyond all"),
        ("resistance-temp-table = <20 0>;", "read <20 0>"),
        ("resistance-temp-table = <20 100>, <20 90>;", "read <20 90>"),
        ('device-chemistry = "a", "b";', "read 2 texts"),
        ('device-chemistry = "a\u202eb";', "expected printable text"),
        (
            "voltage-min-design-microvolt = <2>; voltage-max-design-microvolt = <1>;",
            "read 2; expected at most 1",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, inner: str, words: str) -> None:
    (fault,) = faults(tmp_path, node(inner))
    assert fault.startswith("3:")
    assert words in fault


def test_a_nominal_voltage_that_no_cell_has_is_left_out(tmp_path: Path) -> None:
    both = (
        "charge-full-design-microamp-hours = <1000000>; energy-full-design-microwatt-hours = <%d>;"
    )
    assert cell(tmp_path, both % 3_700_000)["nominal-voltage"] == "3.7 V"
    for energy in (1, 3_700, 3_700_000_000):
        assert "nominal-voltage" not in cell(tmp_path, both % energy)


def test_all_faults_of_a_source_at_once(tmp_path: Path) -> None:
    one = 'x: n%d { compatible = "simple-battery"; charge-full-design-microamp-hours = <0>; };'
    text = f"/dts-v1/;\n/ {{ {one % 1}\n{one % 2} }};"
    assert [f.partition(":")[0] for f in faults(tmp_path, text)] == ["3", "2", "3"]


def test_what_needs_another_program_is_refused_by_name(tmp_path: Path) -> None:
    text = '/dts-v1/;\n#include "a.dtsi"\n  #define X 1\n/ { #size-cells = <1>; };\n'
    found = faults(tmp_path, text)
    assert [f.partition(":")[0] for f in found] == ["2", "3"]
    assert '#include "a.dtsi"' in found[0]
    for word in ("/include/", "/delete-node/"):
        (fault,) = faults(tmp_path, f'/dts-v1/;\n{word} "x";\n')
        assert fault.startswith(f'2:1: file: read "{word}"')
    (fault,) = faults(tmp_path, "/ { /delete-property/ x; };")
    assert '"/delete-property/"' in fault


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "1:1"),
        ("/dts-v1/", "1:1"),
        ("/ { a = <1>", "1:11"),
        ("/ { a = <1>; }", "1:14"),
        ("/ { a = <1; };", "1:11"),
        ('/ { a = "x; };', "1:9"),
        ("/ { /* a", "1:5"),
        ("/ { a = <(1>; };", "1:13"),
        ("/ { a b; };", "1:7"),
        ("/ { = 1; };", "1:5"),
        ("x { };", "1:1"),
        ("/ { };\n\x00", "2:1"),
        ("/ { " + "a { " * 100 + "}; " * 100 + "};", "1:259"),
    ],
)
def test_broken_sources_are_a_fault_where_they_break(tmp_path: Path, text: str, place: str) -> None:
    (fault,) = faults(tmp_path, text)
    assert fault.startswith(f"{place}: ")


def test_bytes_that_are_no_text_are_a_fault(tmp_path: Path) -> None:
    with pytest.raises(FaultError, match=r"x:2:5: file: read byte 0xff"):
        read_devicetree(b"/ {\nab: \xff", "x")


def test_the_language_around_the_values(tmp_path: Path) -> None:
    text = (
        "/dts-v1/; /plugin/; /memreserve/ 0x1000 0x10;\n"
        'a1: / { l1: l2: n@1,0 { p; q = l3: <1 l4: 2>, "a\\"b\\n", [0a 0B], &l1, <&l1 (-0x10)>;\n'
        "  /omit-if-no-ref/ m { }; }; };\n"
        "/ { n@1,0 { q2 = <5>; }; };\n&{/n@1,0} { z = <1>; };\n&{/none} { };"
    )
    root = read_devicetree(text.encode(), "x")
    inner = root.children["n@1,0"]
    assert inner.labels == ["l1", "l2"]
    assert inner.properties["q"].arrays == [[1, 2], [-16]]
    assert inner.properties["q"].texts == ['a"b\n']
    assert inner.properties["q"].odd is not None
    assert inner.properties["p"].cells == []
    assert list(inner.properties) == ["p", "q", "q2", "z"]
    assert [n.name for n in root.walk()] == ["/", "n@1,0", "m", "{/none}"]
