"""XML and zips that are made to exhaust, to reach out or to lead astray."""

from __future__ import annotations

import struct
import zipfile
from pathlib import Path

import pytest

from advisor.faults import FaultError
from advisor.intake import archive, markup
from advisor.intake.packs_in import read_packs
from tests.intake.packs import VALLEY, description, packed

# the classic attacks on XML readers (common practice, no source): entities that grow, entities and
# document types that fetch, and XInclude, which no plain reader follows
LAUGHS = (
    '<!DOCTYPE package [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;">]>'
    "<package><name>&c;</name></package>"
)
MANY = " ".join(f"a{i}='0'" for i in range(500))
HOSTILE = {
    "entities that grow": (LAUGHS, "a document type"),
    "an outer entity": (
        '<!DOCTYPE package [<!ENTITY x SYSTEM "file:///etc/hostname">]><package/>',
        "a document type",
    ),
    "a type of elsewhere": ('<!DOCTYPE package SYSTEM "http://x.invalid/x"><package/>', "type"),
    "a parameter entity": ('<!DOCTYPE package [<!ENTITY % x "y"> %x;]><package/>', "type"),
    "an entity of nowhere": ("<package>&what;</package>", "undefined entity"),
    "too deep": ("<package>" + "<a>" * 5000 + "</a>" * 5000 + "</package>", "nested too deep"),
    "a huge attribute": (f'<package x="{"y" * 50_000}"/>', "x of 50000 characters"),
    "many attributes": (
        "<package " + " ".join(f"a{i}='0'" for i in range(500)) + "/>",
        "500 attributes",
    ),
    "a huge text": (f"<package><name>{'y' * 50_000}</name></package>", "more than 16384 char"),
    "another document": ("<html/>", "the element html"),
    "no end": ("<package>", "no element found"),
    "two tops": ("<package/><package/>", "junk after"),
    "a twice-given attribute": ('<package a="1" a="2"/>', "duplicate attribute"),
    "a control character": ("<package>\x01</package>", "not well-formed"),
    "nothing": ("", "no element found"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_xml_is_refused_with_its_line(tmp_path: Path, case: str) -> None:
    text, words = HOSTILE[case]
    path = tmp_path / "x.pdsc"
    path.write_text("\n\n" + text, "utf-8")
    with pytest.raises(FaultError) as caught:
        read_packs(path)
    (fault,) = caught.value.faults
    assert words in fault.text()
    assert fault.place is not None
    assert fault.place.line == 3


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "latin-1"])
def test_encodings_that_xml_knows_are_read(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "x.pdsc"
    stated = {"utf-8-sig": "utf-8", "latin-1": "iso-8859-1"}.get(encoding, encoding)
    path.write_bytes(VALLEY.replace("UTF-8", stated).replace("sold", "söld").encode(encoding))
    assert len(read_packs(path).entries) == 4


@pytest.mark.parametrize("encoding", ["no-such", "utf-7", "shift_jis", "idna"])
def test_encodings_that_it_does_not_know_are_a_fault(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "x.pdsc"
    path.write_bytes(VALLEY.replace("UTF-8", encoding).encode())
    with pytest.raises(FaultError, match="encoding"):
        read_packs(path)


def test_too_many_elements_and_too_large_a_document(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(text: str) -> None:
        wanted = {"package": frozenset({"name"})}
        markup.read_xml(text.encode(), "x", "package", wanted, frozenset())

    many = "<package>" + "<name/>" * 300 + "<other/>" * 300 + "</package>"
    read(many)
    monkeypatch.setattr(markup, "MOST", 500)
    with pytest.raises(FaultError, match="more than 500 elements"):
        read(many)
    monkeypatch.setattr(markup, "MOST", 5000)
    monkeypatch.setattr(markup, "MOST_KEPT", 200)
    with pytest.raises(FaultError, match="more than 200 elements of use"):
        read(many)
    monkeypatch.setattr(markup, "LARGEST", 1024)
    with pytest.raises(FaultError, match="0 MiB"):
        read(many)


def refused(path: Path) -> str:
    with pytest.raises(FaultError) as caught:
        read_packs(path)
    return "\n".join(fault.text() for fault in caught.value.faults)


def test_names_that_lead_out_are_refused(tmp_path: Path) -> None:
    bad = ("../x", "a/../../b", "/etc/x", "C:/x", "a\\..\\b", "..")
    path = packed(tmp_path / "x.pack", {"v.pdsc": VALLEY, **dict.fromkeys(bad, "x")})
    words = refused(path)
    assert words.count("names inside the pack") == len(bad)
    # what only looks like it is fine
    read_packs(packed(tmp_path / "y.pack", {"v.pdsc": VALLEY, "a..b/..c": "x"}))


def test_one_description_at_the_top(tmp_path: Path) -> None:
    assert "read none" in refused(packed(tmp_path / "a.pack", {"in/v.pdsc": VALLEY}))
    assert '"a.pdsc", "b.PDSC"' in refused(
        packed(tmp_path / "b.pack", {"a.pdsc": VALLEY, "b.PDSC": VALLEY})
    )
    read_packs(packed(tmp_path / "c.pack", {"a.pdsc": VALLEY, "in/b.pdsc": "x"}))


def test_bombs_are_refused_whatever_they_state(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blanks = description('<device Dname="A"/>') + " " * (40 * 1024 * 1024)
    bomb = packed(tmp_path / "x.pack", {"v.pdsc": blanks})
    assert bomb.stat().st_size < 100_000
    assert "of more than 32 MiB" in refused(bomb)
    # stated smaller than it is: it is read no further than stated, and its sum is wrong
    data = bytearray(bomb.read_bytes())
    for sign, at in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        struct.pack_into("<L", data, data.index(sign) + at, 1000)
    bomb.write_bytes(data)
    assert "a damaged zip" in refused(bomb)
    monkeypatch.setattr(archive, "MOST_NAMES", 10)
    assert "directory of names" in refused(packed(tmp_path / "y.pack", {"v.pdsc": VALLEY}))


def test_other_forms_of_zip_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.pack"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_BZIP2) as made:
        made.writestr("v.pdsc", VALLEY)
    assert "compressed by method 12" in refused(path)
    packed(path, {"v.pdsc": VALLEY})
    data = bytearray(path.read_bytes())
    for sign, at in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        data[data.index(sign) + at] |= 1
    path.write_bytes(data)
    assert "encrypted" in refused(path)
    path.write_bytes(b"PK\x06\x07" + bytes(16) + b"PK\x05\x06" + bytes(18))
    assert "64-bit form" in refused(path)
    for rest in (b"", b"PK", b"\0" * 500, VALLEY.encode(), b"PK\x05\x06" + b"\7\0" * 9):
        path.write_bytes(rest)
        assert "a pack, which is a zip" in refused(path)


def test_every_cut_of_a_pack_is_a_fault(tmp_path: Path) -> None:
    whole = packed(tmp_path / "x.pack", {"v.pdsc": VALLEY}).read_bytes()
    path = tmp_path / "cut.pack"
    for end in range(0, len(whole), 37):
        path.write_bytes(whole[:end])
        assert refused(path)


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "folder.pdsc").mkdir()
    assert "a folder" in refused(tmp_path / "folder.pdsc")
    assert "no such file" in refused(tmp_path / "none.pack")
    assert "a name that cannot be" in refused(Path("a\0.pdsc"))
