"""What a file brings into a folder: free places, entries that stand, and what ranks do with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.catalogue.load import load_catalogue, load_product
from advisor.catalogue.shipped import catalogue_folder, product_files
from advisor.faults import FaultError
from advisor.files import Added
from advisor.studies.check import check_catalogue
from advisor.studies.imported import READERS, imported
from advisor.studies.shortlist import shortlist
from tests.intake.packs import HEAD, VALLEY
from tests.intake.trees import EXAMPLE, FIELD


@pytest.fixture
def valley(tmp_path: Path) -> Path:
    path = tmp_path / "valley.pdsc"
    path.write_text(VALLEY, "utf-8")
    return path


def write(folder: Path, found: dict[str, bytes]) -> None:
    with Added(folder, found) as added:
        added.put()


def test_everything_that_is_brought_passes_the_check(tmp_path: Path, valley: Path) -> None:
    ours = tmp_path / "ours"
    write(ours, dict(imported(valley, ours).files))
    for name, text in (("a", EXAMPLE), ("b", FIELD)):
        (tmp_path / f"{name}.dtsi").write_text(text, "utf-8")
        write(ours, dict(imported(tmp_path / f"{name}.dtsi", ours).files))
    catalogue = load_catalogue([ours])
    assert set(catalogue.parts) == {"vn41a-qf", "vn41a-so", "vn41b", "vn70"}
    assert set(catalogue.cells) == {"battery", "store", "elsewhere"}
    assert check_catalogue(catalogue).warnings == ()
    # nothing that was measured elsewhere has crept in
    for part in catalogue.parts.values():
        assert not part.kernels
        assert not part.sleep_states
        assert all(point.idle_current is None for point in part.operating_points.values())
        assert part.evidence["pack"].kind == "pack"


def test_a_part_without_measured_figures_is_set_aside_by_name(tmp_path: Path, valley: Path) -> None:
    ours = tmp_path / "ours"
    write(ours, dict(imported(valley, ours, ["vn41a-qf"]).files))
    catalogue = load_catalogue([catalogue_folder(), ours]).only(["vn41a-qf", "quorvane-jor"])
    product = load_product(product_files()["frost-post"].read_bytes(), catalogue)
    found = shortlist(catalogue, product, draws=0)
    assert [row.part for row in found.ranking] == ["quorvane-jor"]
    (lacking,) = [one for one in found.set_aside if one.part == "vn41a-qf"]
    assert {"vn41a-qf:kernels.filter", "vn41a-qf:price.breaks"} < set(lacking.missing)


def test_what_stands_is_kept(tmp_path: Path, valley: Path) -> None:
    ours = tmp_path / "ours"
    first = imported(valley, ours)
    assert {e.state for e in first.entries} == {"new"}
    write(ours, dict(first.files))
    again = imported(valley, ours)
    assert {e.state for e in again.entries} == {"stands"}
    assert not again.files
    measured = ours / "parts" / "vn70.yaml"
    measured.write_text(measured.read_text("utf-8") + "peak-current: 40 mA\n", "utf-8")
    other = ours / "parts" / "vn41b.yaml"
    other.unlink()
    (ours / "cells").mkdir()
    (ours / "cells" / "vn41a-so.yaml").write_text("cell: vn41a-so\n", "utf-8")
    with pytest.raises(FaultError) as caught:
        imported(valley, ours)
    words = [fault.text() for fault in caught.value.faults]
    assert len(words) == 2
    assert "which cells/vn41a-so.yaml bears" in words[0]
    assert "what was measured would be lost" in words[1]
    assert [e.state for e in imported(valley, ours, ["vn41b"]).entries] == ["new"]


def test_a_folder_that_is_none_and_endings_that_nothing_reads(tmp_path: Path, valley: Path) -> None:
    for folder in (valley, valley / "below"):
        with pytest.raises(FaultError):
            imported(valley, folder)
    for name in ("x.zip", "pdsc", "x"):
        with pytest.raises(FaultError, match=r"\.pack, a pack"):
            imported(tmp_path / name, tmp_path / "ours")
    with pytest.raises(FaultError, match=r"--map: read an option beside \.pdsc"):
        imported(valley, tmp_path / "ours", map="m.yaml")
    assert set(READERS) >= {".pack", ".pdsc", ".dts", ".dtsi"}


def test_files_come_to_a_folder_all_or_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = tmp_path / "ours"
    ours.mkdir()
    (ours / "keep.txt").write_text("mine")
    many = {f"parts/{i}.yaml": b"x" for i in range(40)}
    with Added(ours, many) as added:
        # someone else takes a place meanwhile
        (ours / "parts").mkdir()
        (ours / "parts" / "30.yaml").write_text("theirs")
        with pytest.raises(FileExistsError):
            added.put()
    assert sorted(p.name for p in ours.rglob("*")) == ["30.yaml", "keep.txt", "parts"]
    assert (ours / "parts" / "30.yaml").read_text() == "theirs"
    # where there are no links
    monkeypatch.setattr("advisor.files.os.link", _no_links)
    with Added(ours, many) as added, pytest.raises(FileExistsError):
        added.put()
    (ours / "parts" / "30.yaml").unlink()
    write(ours, many)
    assert len(list((ours / "parts").iterdir())) == 40
    # what is not put is gone, and a new folder with it
    with Added(tmp_path / "new", many):
        pass
    assert sorted(p.name for p in tmp_path.iterdir()) == ["ours"]


def _no_links(*_: object) -> None:
    raise PermissionError


NAMES = st.text(st.sampled_from("aB1-_/. é°"), max_size=5)
ODD = ("", "0", "-1", "0x800", "1e9", "true", "rwx", "UART", "…", "99999999999999999999")
# what stands there as it should, mostly; the odd ones are for every attribute
POOL = {
    "Pname": ("m", "s"),
    "Punits": ("1", "2"),
    "Dcore": ("other", "Q4"),
    "Dfpu": ("FPU", "0"),
    "Dclock": ("1", "32768", "48000000"),
    "name": ("A", "B b", "é"),
    "id": ("IROM1", "IRAM2"),
    "access": ("rx", "rwx", "r", "rwp"),
    "start": ("0", "0x400"),
    "size": ("0", "0x400", "3"),
    "default": ("1", "0"),
    "startup": ("true", "false"),
    "alias": ("A",),
    "count": ("7",),
    "type": ("UART", "VCC", "Temp", "ADC", "RTC", "QFN", "Other"),
    "title": ("a book",),
    "n": ("1", "2", "1.8"),
    "m": ("3", "12"),
    "x": ("",),
}
ELEMENTS = {
    "processor": ("Pname", "Punits", "Dcore", "Dfpu", "Dclock"),
    "memory": ("name", "id", "access", "start", "size", "default", "startup", "alias", "Pname"),
    "feature": ("type", "n", "m", "name", "count"),
    "description": ("x",),
    "book": ("title", "name"),
}
MUST = {"memory": ("start", "size"), "feature": ("type",)}


def _value(key: str) -> st.SearchStrategy[str]:
    good = st.sampled_from(POOL[key])
    return st.integers(0, 19).flatmap(lambda turn: good if turn else st.sampled_from(ODD))


@st.composite
def _levels(draw: st.DrawFn) -> str:
    out = []
    for name in draw(st.lists(st.sampled_from(list(ELEMENTS)), max_size=5)):
        keys = ELEMENTS[name]
        given_ = [*MUST.get(name, ()), *draw(st.lists(st.sampled_from(keys), max_size=3))]
        given_ = list(dict.fromkeys(given_))
        pairs = "".join(f' {key}="{draw(_value(key))}"' for key in given_)
        out.append(f"<{name}{pairs}>{draw(NAMES)}</{name}>")
    return "".join(out)


@pytest.mark.once
@settings(max_examples=40)
@given(_levels(), _levels(), _levels(), NAMES, NAMES)
def test_what_goes_in_passes_the_check_whatever_it_is(
    tmp_path_factory: pytest.TempPathFactory, a: str, b: str, c: str, one: str, two: str
) -> None:
    folder = tmp_path_factory.mktemp("any")
    text = (
        f'{HEAD}<package><name>N {one}</name><devices><family Dvendor="{two}">{a}'
        f'<subFamily>{b}<device Dname="a{one}"/><device Dname="b{two}">{c}</device></subFamily>'
        "</family></devices></package>"
    )
    (folder / "x.pdsc").write_text(text, "utf-8")
    try:
        found = imported(folder / "x.pdsc", folder / "ours")
    except FaultError as error:
        unplaced = [fault for fault in error.faults if fault.place is None]
        if unplaced:
            raise
        return
    write(folder / "ours", dict(found.files))
    assert len(load_catalogue([folder / "ours"]).parts) == 2
