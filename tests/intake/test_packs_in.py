"""Packs to parts: inheritance, memory, features, and what is left to be measured.

The standard is Open-CMSIS-Pack's PDSC format; its pages on `/package/devices/family` hold the
statements and examples named below.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from advisor.faults import FaultError, FaultLog
from advisor.intake.devices import Laid
from advisor.intake.packs_in import read_packs
from advisor.intake.regions import amounts
from tests.intake.packs import HEAD, VALLEY, description, packed
from tests.intake.standard import departures


def parts(tmp_path: Path, text: str, *only: str) -> dict[str, dict[str, object]]:
    path = tmp_path / "made.pdsc"
    path.write_text(text, "utf-8")
    return {e.identity: yaml.safe_load(e.text) for e in read_packs(path, only).entries}


def faults(tmp_path: Path, text: str, *only: str) -> list[str]:
    with pytest.raises(FaultError) as caught:
        parts(tmp_path, text, *only)
    return [
        fault.text().removeprefix(str(tmp_path / "made.pdsc:")) for fault in caught.value.faults
    ]


def test_the_made_up_packs_are_as_the_standard_has_them() -> None:
    assert list(departures(VALLEY)) == []
    assert list(departures(description('<device Dname="A"/>'))) == []
    assert list(departures(VALLEY.replace('size="0x200"', 'size="many"')))
    assert list(departures(VALLEY.replace('start="0x0"', "")))
    assert list(departures(VALLEY.replace("<book ", "<tome ")))
    moved = description('<device Dname="A"><feature type="SPI"/><processor Dclock="1"/></device>')
    assert list(departures(moved))


def test_levels_are_laid_over_each_other(tmp_path: Path) -> None:
    found = parts(tmp_path, VALLEY)
    assert list(found) == ["vn41a-qf", "vn41a-so", "vn41b", "vn70"]
    fin, small, bare, two = found.values()
    # attributes of a processor add up, the inner over the outer
    assert fin["operating-points"] == {"full": {"clock": "44 MHz", "evidence": "pack"}}
    assert small["operating-points"] == {"full": {"clock": "40 MHz", "evidence": "pack"}}
    assert fin["core"] == {"cores": 1, "float-unit": "none"}
    # a region is extended: the size is the device's, the access the sub-family's
    assert fin["memory"] == {"flash": "88 KiB", "ram": "14 KiB"}
    assert bare["memory"] == {"flash": "44 KiB", "ram": "14 KiB"}
    # counts add up over types and names, and an inner entry takes an outer one's place
    assert fin["features"] == {
        "uart": 3,
        "adc-channels": 8,
        "adc-bits": 12,
        "rtc": 1,
        "spi": 1,
        "io": 21,
    }
    assert bare["features"] == {"uart": 4, "adc-channels": 8, "adc-bits": 12, "rtc": 1}
    # a variant's range is its own; where a level states two, what both promise
    assert fin["temperature"] == {"min": "-40 degC", "max": "105 degC"}
    assert small["temperature"] == {"min": "-20 degC", "max": "85 degC"}
    assert fin["supply"] == {"min": "1.8 V", "max": "3.6 V"}
    assert (fin["summary"], bare["summary"]) == (
        "VN41A-QF: Invented field part",
        "VN41B: Smaller store",
    )
    assert fin["evidence"]["pack"]["note"] == "Valley_DFP 2.1.0"  # type: ignore[index]
    assert str(fin["evidence"]["pack"]["date"]) == "2026-04-02"  # type: ignore[index]
    # two processors: one is given an attribute that both levels state, three units in all
    assert two["core"] == {"cores": 3}
    assert two["operating-points"] == {
        "near": {"clock": "96 MHz", "evidence": "pack"},
        "far": {"clock": "48 MHz", "evidence": "pack"},
    }
    assert two["memory"] == {"flash": "352 KiB", "ram": "64 KiB"}
    assert "maker" not in fin


def test_what_is_not_told_is_named_and_stands_as_a_comment(tmp_path: Path) -> None:
    path = tmp_path / "made.pdsc"
    path.write_text(VALLEY, "utf-8")
    brought = read_packs(path, ["VN70", "vn41a"])
    assert [e.identity for e in brought.entries] == ["vn41a-qf", "vn41a-so", "vn70"]
    assert (brought.source, brought.version, brought.passed_over) == ("Valley_DFP", "2.1.0", 1)
    whole, _, bare = brought.entries
    measured = {"kernels", "sleep-states", "blocks", "peak-current", "price", "toolchain"}
    assert measured < set(whole.lacks)
    assert "operating-points.full.idle-current" in whole.lacks
    assert not any(key.startswith(("supply", "memory", "features")) for key in whole.lacks)
    assert {"supply.min", "supply.max", "temperature.min", "features"} < set(bare.lacks)
    for key in whole.lacks:
        assert f"# {key.rpartition('.')[2]}: …" in whole.text, key
    assert any("QFN 28, QFN 28 4x4" in each for each in whole.aside)
    assert any("VN4 manual" in each for each in whole.aside)
    assert "deprecated 2026-01-31" in " ".join(bare.aside)


def test_examples_of_the_standard(tmp_path: Path) -> None:
    """Pages on processor, memory and feature: examples and notes, with invented names."""
    found = parts(
        tmp_path,
        description(
            # "the attributes add-up over the different levels", example 1; its note's clocks
            '<processor Dcore="other" DcoreVersion="r0p1"/>'
            '<memory name="SRAM" access="rwx" start="0x20000000" size="0x20000" default="1"/>'
            '<feature type="Timer" n="4" m="16" name="General Purpose Timer"/>'
            '<subFamily DsubFamily="S">'
            '<processor Dfpu="0" Dmpu="0" Dendian="Little-endian" Dclock="50000000"/>'
            '<memory name="SRAM1" access="rwx" start="0x20020000" size="0x20000" default="1"/>'
            '<memory name="SRAM2" access="rwx" start="0x10000000" size="0x10000" default="1"/>'
            # "Adds to settings from <family>"
            '<feature type="Timer" n="7" m="32" name="General Purpose Timer"/>'
            '<device Dname="A"><memory name="Flash" access="rx" start="0x08000000" size="0x80000" '
            'startup="1" default="1"/></device>'
            '<device Dname="B"><processor Dclock="66000000"/></device></subFamily>'
        ),
    )
    assert found["a"]["memory"] == {"flash": "512 KiB", "ram": "320 KiB"}
    assert found["a"]["core"] == {"cores": 1, "float-unit": "none"}
    assert found["a"]["operating-points"]["full"]["clock"] == "50 MHz"  # type: ignore[index]
    assert found["b"]["operating-points"]["full"]["clock"] == "66 MHz"  # type: ignore[index]
    assert found["b"]["memory"] == {"ram": "320 KiB"}
    assert found["a"]["features"] == {"timer": 11}


@pytest.mark.parametrize(
    ("memory", "flash", "ram"),
    [
        # without access the deprecated ids tell; those without I are outside of the chip
        ('<memory id="IROM1" start="0" size="0x400"/>', "1 KiB", None),
        ('<memory id="IRAM2" start="0" size="1000"/>', None, "1000 B"),
        ('<memory id="ROM1" start="0" size="0x400"/>', None, None),
        # the default access is r: neither executed nor written
        ('<memory name="Store" start="0" size="0x400"/>', None, None),
        ('<memory name="N" access="rwx" start="0" size="0x400" startup="1"/>', "1 KiB", None),
        ('<memory name="P" access="rwp" start="0" size="0x400"/>', None, None),
        # general-purpose ones count where any is; of several alike all
        (
            '<memory name="A" access="rw" start="0" size="0x400" default="1"/>'
            '<memory name="B" access="rw" start="0x400" size="0x400"/>',
            None,
            "1 KiB",
        ),
        (
            '<memory name="A" access="rw" start="0" size="0x400"/>'
            '<memory name="B" access="rw" start="0x400" size="0x400"/>',
            None,
            "2 KiB",
        ),
        # addresses count once; an alias is the same memory
        (
            '<memory name="A" access="rx" start="0" size="0x800"/>'
            '<memory name="B" access="rx" start="0x400" size="0x800"/>',
            "3 KiB",
            None,
        ),
        (
            '<memory name="A" access="rwx" start="0" size="0x800"/>'
            '<memory name="B" access="rwx" start="0x4000" size="0x800" alias="A"/>',
            None,
            "2 KiB",
        ),
        ('<memory name="A" access="rx" start="+0X10" size="0x100000"/>', "1 MiB", None),
    ],
)
def test_memory_by_access_and_name(
    tmp_path: Path, memory: str, flash: str | None, ram: str | None
) -> None:
    found = parts(tmp_path, description(f'<device Dname="A">{memory}</device>'))["a"]
    sizes = {k: v for k, v in (("flash", flash), ("ram", ram)) if v is not None}
    assert found.get("memory", {}) == sizes


@pytest.mark.parametrize(
    ("inner", "features"),
    [
        ('<feature type="UART"/>', "uart 1"),
        ('<feature type="UART" n=""/><feature type="USART" n="2"/>', "uart 3"),
        ('<feature type="QFP" n="32"/>', ""),
        # n of these is no number of pieces
        ('<feature type="RTC" n="32768"/>', "rtc 1"),
        ('<feature type="Crypto" n="128.256"/><feature type="Crypto" n="256"/>', "crypto 2"),
        ('<feature type="NFC" n="A"/><feature type="802.15.4"/>', "nfc 1 ieee-802-15-4 1"),
        (
            '<feature type="ADC" n="5" m="12"/><feature type="ADC" n="2" m="16"/>',
            "adc-channels 7 adc-bits 16",
        ),
        # deprecated spellings
        ('<feature type="A/D" n="5"/><feature type="I/O" count="9"/>', "adc-channels 5 io 9"),
        ('<feature type="I2C" n="2" Pname="x"/><feature type="I2C" n="2" Pname="y"/>', "i2c 4"),
    ],
)
def test_features_count_what_the_standard_says_they_count(
    tmp_path: Path, inner: str, features: str
) -> None:
    found = parts(tmp_path, description(f'<device Dname="A">{inner}</device>'))["a"]
    counts = dict[str, int](found.get("features", {}))  # type: ignore[call-overload]
    assert " ".join(f"{name} {count}" for name, count in counts.items()) == features


def test_floating_point_is_told_where_its_precision_is(tmp_path: Path) -> None:
    told = {"NO_FPU": "none", "SP_FPU": "single", "DP_FPU": "double", "0": "none", "FPU": None}
    for word, unit in told.items():
        inner = f'<device Dname="A"><processor Dcore="Q4" Dfpu="{word}"/></device>'
        found = parts(tmp_path, description(inner))["a"]
        assert found["core"].get("float-unit") == unit  # type: ignore[attr-defined]
        assert found["core"]["architecture"] == "Q4"  # type: ignore[index]


def test_clocks_and_odd_sizes_are_exact(tmp_path: Path) -> None:
    for hertz, clock in (("32768", "32.768 kHz"), ("999", "999 Hz"), ("1000000", "1 MHz")):
        inner = f'<device Dname="A"><processor Dclock="{hertz}"/></device>'
        found = parts(tmp_path, description(inner))["a"]
        assert found["operating-points"]["full"]["clock"] == clock  # type: ignore[index]


def test_every_fault_is_told_at_once_with_its_line(tmp_path: Path) -> None:
    text = description(
        '<device Dname="A">\n'
        '<processor Dclock="fast" Punits="0" Dfpu="some"/>\n'
        '<memory name="M" access="rq" start="here" size="0x99999999999"/>\n'
        '<memory name="N" access="rw" start="0" default="perhaps"/>\n'
        '<feature type="UART" n="two"/>\n'
        '<feature type="VCC" n="3.6" m="1.8"/>\n'
        '<feature type="Temp" n="-400" m="warm"/>\n'
        "<feature n='1'/>\n"
        '</device>\n<device Dname="///"/>\n<device Dname="a"/><device/>'
    )
    assert faults(tmp_path, text) == ["12:20: device: read no Dname; expected its Dname"]
    text = text.replace("<device/>", "")
    found = faults(tmp_path, text)
    lines = [int(one.partition(":")[0]) for one in found]
    words = "\n".join(found)
    for word in (
        *("fast", "Punits", '"some"', '"rq"', '"here"', "0x99999999999", "perhaps", '"two"'),
        *("3.6 to 1.8", '"-400"', '"warm"', "no type", '"///"', "which makes the id a"),
    ):
        assert word in words, word
    assert len(lines) == len(found)
    assert faults(tmp_path, text, "zz*") == [
        '--only: read "zz*"; expected a pattern that fits a device of the pack'
    ]


def test_faults_of_devices_that_are_not_asked_for_are_none(tmp_path: Path) -> None:
    text = description('<device Dname="A"/><device Dname="B"><processor Dclock="x"/></device>')
    assert list(parts(tmp_path, text, "a")) == ["a"]
    assert len(faults(tmp_path, text)) == 1


def test_names_that_yaml_takes_for_nothing_stay_names(tmp_path: Path) -> None:
    inner = "".join(f'<device Dname="{name}"/>' for name in ("NULL", "No", "1e3", "~x"))
    path = tmp_path / "made.pdsc"
    path.write_text(description(inner), "utf-8")
    assert [e.text.partition("part: ")[2].split("\n")[0] for e in read_packs(path).entries] == [
        '"null"',
        "no",
        "1e3",
        "x",
    ]


def test_processors_that_quarrel_on_one_level_are_a_fault(tmp_path: Path) -> None:
    one = '<processor Dcore="other" Dclock="1000"/>'
    same = description(f'<device Dname="A">{one}{one}</device>')
    assert parts(tmp_path, same)["a"]["core"] == {"cores": 1}
    other = description(f'<device Dname="A">{one}<processor Dclock="2000"/></device>')
    assert "on the same level" in faults(tmp_path, other)[0]


def test_a_processor_without_a_name_speaks_of_all(tmp_path: Path) -> None:
    """ "If the information is relevant to all processors, no processor must be specified"."""
    inner = (
        '<processor Pname="a" Dclock="1000"/><processor Dfpu="SP_FPU" Dclock="5000"/>'
        '<device Dname="X"><processor Pname="b"/><processor Dcore="Q4"/></device>'
        '<device Dname="Y"><processor Pname="b" Dclock="7000"/><processor Dclock="9000"/></device>'
    )
    found = parts(tmp_path, description(inner))
    assert found["x"]["core"] == {"architecture": "Q4", "cores": 2, "float-unit": "single"}
    clocks = {
        name: {point: at["clock"] for point, at in part["operating-points"].items()}  # type: ignore[attr-defined]
        for name, part in found.items()
    }
    assert clocks == {"x": {"a": "1 kHz", "b": "5 kHz"}, "y": {"a": "9 kHz", "b": "7 kHz"}}


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 12), st.booleans()), max_size=6))
def test_memory_is_as_many_addresses_as_the_regions_name(
    regions: list[tuple[int, int, bool]],
) -> None:
    """Counted one by one, the general-purpose ones or all where none is."""
    laid = []
    for number, (start, size, general) in enumerate(regions):
        one = {"name": f"R{number}", "access": "rw", "start": str(start), "size": hex(size)}
        laid.append(Laid({**one, "default": str(int(general))}))
    found, _ = amounts(laid, "x", FaultLog())
    counted = [r for r in regions if r[2] and r[1]] or regions
    addresses = {at for start, size, _ in counted for at in range(start, start + size)}
    assert (found["ram"].size if found else 0) == len(addresses)


def test_ranges_without_anything_in_common_are_not_taken(tmp_path: Path) -> None:
    inner = '<feature type="VCC" n="1.1" m="1.3"/><feature type="VCC" n="1.8" m="3.6"/>'
    path = tmp_path / "made.pdsc"
    path.write_text(description(f'<device Dname="A">{inner}</device>'), "utf-8")
    (entry,) = read_packs(path).entries
    assert "supply" not in yaml.safe_load(entry.text)
    assert any("nothing in common" in each for each in entry.aside)


def test_texts_that_a_terminal_would_act_upon_are_refused(tmp_path: Path) -> None:
    for inner in (
        '<device Dname="A"><description>no\u202ewrong</description></device>',
        '<device Dname="A"><book name="x" title="a\u009bb"/></device>',
        '<device Dname="A"><feature type="QFP" name="\u2066"/></device>',
        '<device Dname="A"><memory name="\u200e" access="r" start="0" size="0"/></device>',
    ):
        assert "expected printable text" in faults(tmp_path, description(inner))[0]


def test_a_pack_is_read_as_its_description_is(tmp_path: Path) -> None:
    zipped = packed(tmp_path / "v.pack", {"Coop.Valley_DFP.pdsc": VALLEY, "doc/a.txt": "x"})
    plain = tmp_path / "v.pdsc"
    plain.write_text(VALLEY, "utf-8")
    assert [e.text for e in read_packs(zipped).entries] == [
        e.text for e in read_packs(plain).entries
    ]
    with pytest.raises(FaultError, match=r"v\.pack/x\.pdsc:2:16"):
        read_packs(packed(tmp_path / "v.pack", {"x.pdsc": HEAD + "<package><name>"}))
