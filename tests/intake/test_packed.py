"""Folders and archives made to harm: what is refused, and that the rest is read whole."""

from __future__ import annotations

import io
import os
import stat
import struct
import time
import zipfile
from collections.abc import Iterable
from pathlib import Path

import pytest

from advisor.faults import FaultError
from advisor.intake import packed
from advisor.intake.packed import Pack, archive, folder, in_archive, opened, why_unsafe

FILES = {"kernels.yaml": b"hash: {}\n", "parts/one.yaml": b"part: one\n", "README.md": b"# Ours\n"}


def read(data: bytes) -> Pack:
    return in_archive(io.BytesIO(data), "x.zip")


def refused(data: bytes) -> str:
    with pytest.raises(FaultError) as error:
        read(data)
    return str(error.value)


def zipped(entries: Iterable[tuple[str | zipfile.ZipInfo, bytes]], how: int = 0) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as made:
        for name, data in entries:
            info = name if isinstance(name, zipfile.ZipInfo) else zipfile.ZipInfo(name)
            info.compress_type = how
            made.writestr(info, data)
    return out.getvalue()


def test_an_archive_is_read_whole() -> None:
    found = read(archive(FILES))
    assert {name: found.read(name) for name in found.sizes} == FILES
    deflated = read(zipped([("parts/", b""), *FILES.items()], zipfile.ZIP_DEFLATED))
    assert {name: deflated.read(name) for name in deflated.sizes} == FILES


def test_an_archive_is_the_same_bytes() -> None:
    """Whatever the order; and another reader takes it (Info-ZIP's rules, as Python has them)."""
    assert archive(FILES) == archive(dict(reversed(FILES.items())))
    with zipfile.ZipFile(io.BytesIO(archive(FILES))) as found:
        assert found.testzip() is None
        assert {i.date_time for i in found.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {i.external_attr >> 16 for i in found.infolist()} == {stat.S_IFREG | 0o644}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("../x.yaml", "leads out"),
        ("parts/../../x.yaml", "leads out"),
        ("/etc/x.yaml", "absolute"),
        ("\\x.yaml", "absolute"),
        ("~/x.yaml", "absolute"),
        ("parts\\x.yaml", "not the same"),
        ("C:x.yaml", "drive"),
        ("https://example.org/x.yaml", "address"),
        ("file:x", "address"),
        ("parts//x.yaml", "not the same"),
        ("./x.yaml", "hidden"),
        (".git/config", "hidden"),
        ("parts/x.yaml.", "not the same"),
        ("parts/x ", "not the same"),
        ("parts/con.yaml", "not the same"),
        ("LPT1", "not the same"),
        ("parts/ä.yaml", "not the same"),
        ("parts/x\n.yaml", "not the same"),
        ("x" * 300, "too long"),
        ("", "empty"),
    ],
)
def test_names_that_lead_elsewhere(name: str, said: str) -> None:
    assert said in (why_unsafe(name) or "")
    if name:
        assert said in refused(zipped([(name, b"x")]))


def test_a_nul_does_not_end_a_name() -> None:
    data = zipped([("parts/a.yamlZ", b"x")]).replace(b"a.yamlZ", b"a.yaml\0")
    assert "parts/a.yaml" in refused(data)


def test_names_that_are_one() -> None:
    with pytest.warns(UserWarning, match="Duplicate"):
        twice = zipped([("a.yaml", b"x"), ("a.yaml", b"y")])
    assert "twice" in refused(twice)
    assert "but for its case" in refused(zipped([("a.yaml", b"x"), ("A.yaml", b"y")]))
    both = zipped([("parts/a.yaml", b"x"), ("Parts/b.yaml", b"y")])
    assert "but for its case" in refused(both)
    for order in (["parts", "parts/a"], ["parts/a", "parts"], ["parts/a", "PARTS"]):
        assert "file and a folder" in refused(zipped([(name, b"x") for name in order]))


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFDIR])
def test_links_and_devices(kind: int) -> None:
    info = zipfile.ZipInfo("parts/x.yaml")
    info.external_attr = (kind | 0o644) << 16
    assert "parts/x.yaml" in refused(zipped([(info, b"/etc/passwd")]))


def test_a_bomb_is_refused_by_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that pack a thousand times smaller, and one beyond what deflate can do: none of their
    bytes is unpacked."""
    monkeypatch.setattr(packed, "MOST_BYTES", 16 * 1024 * 1024)
    data = zipped([(f"parts/{n}.yaml", b"\0" * 4_000_000) for n in range(5)], zipfile.ZIP_DEFLATED)
    assert len(data) < 30_000
    begun = time.process_time()
    assert "19 MiB when unpacked" in refused(data)
    assert time.process_time() - begun < 0.02
    single = bytearray(zipped([("a.yaml", b"\0" * 100)], zipfile.ZIP_DEFLATED))
    at = single.index(b"PK\x01\x02") + 24
    single[at : at + 4] = struct.pack("<L", 200_000_000)
    assert "larger than its packed bytes" in refused(bytes(single))


def test_a_file_that_is_larger_than_it_says() -> None:
    """No more is read than the directory tells, whatever the packed bytes hold."""
    data = bytearray(zipped([("a.yaml", b"\0" * 3_000_000)], zipfile.ZIP_DEFLATED))
    at = data.index(b"PK\x01\x02") + 24
    data[at : at + 4] = struct.pack("<L", 10)
    found = read(bytes(data))
    with pytest.raises(FaultError, match=r"a\.yaml"):
        found.digest("a.yaml")


@pytest.mark.parametrize("at", range(0, 320, 5))
def test_damage_is_no_fault_of_ours(at: int) -> None:
    """Each byte changed on its own is refused, or reads as it was: never a traceback."""
    data = bytearray(archive(FILES))
    data[at] ^= 0xFF
    try:
        found = read(bytes(data))
        read_back = {name: found.read(name) for name in found.sizes}
    except FaultError:
        return
    # a date or a mode that nobody reads; a name changed with the file's own is another name
    assert sorted(read_back.values()) == sorted(FILES.values())


def test_what_is_before_between_or_behind() -> None:
    """One archive in two readings: what some readers pass over is refused."""
    whole = archive(FILES)
    assert "no directory tells" in refused(b"#!/bin/sh\n" + whole)
    assert "no directory at its end" in refused(whole + b"\0")
    assert "no directory at its end" in refused(whole[:-1])
    assert "no directory at its end" in refused(b"")
    out = io.BytesIO(whole)
    with zipfile.ZipFile(out, "a") as made:
        made.comment = whole
    assert "ZIP archive" in refused(out.getvalue())


def test_encrypted_divided_and_otherwise_packed() -> None:
    whole = bytearray(archive({"a.yaml": b"x"}))
    at = whole.index(b"PK\x01\x02")
    secret = whole.copy()
    secret[at + 8] |= 1
    assert "encrypted" in refused(bytes(secret))
    other = zipped([("a.yaml", b"x" * 100)], zipfile.ZIP_BZIP2)
    assert "not read here" in refused(other)
    divided = whole.copy()
    end = whole.index(b"PK\x05\x06")
    divided[end + 4] = 1
    assert "divided" in refused(bytes(divided))


def test_a_directory_too_large_is_not_read() -> None:
    """A central directory is bounded before it is read, as each of its entries takes memory."""
    whole = archive({f"p/{n}": b"" for n in range(20_001)})
    begun = time.process_time()
    assert "20001 files" in refused(whole)
    assert time.process_time() - begun < 0.1


def test_a_folder_is_read_whole(tmp_path: Path) -> None:
    for name, data in FILES.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    (tmp_path / ".hidden").write_text("x")
    (tmp_path / "_notes").mkdir()
    (tmp_path / "_notes" / "x").write_text("x")
    with opened(tmp_path) as found:
        assert {name: found.read(name) for name in found.sizes} == FILES
        # a file that changes while it is read is no file of the pack
        (tmp_path / "README.md").write_text("longer than it was")
        with pytest.raises(FaultError, match="another size"):
            found.read("README.md")
        (tmp_path / "README.md").unlink()
        with pytest.raises(FaultError, match=r"README\.md"):
            found.digest("README.md")


def test_links_in_a_folder(tmp_path: Path) -> None:
    """A loop, a link to a file, a pipe: each is named, none is followed or waited for."""
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "kernels.yaml").symlink_to("/etc/passwd")
    (tmp_path / "parts").mkdir()
    os.mkfifo(tmp_path / "parts" / "x.yaml")
    with pytest.raises(FaultError) as error:
        folder(tmp_path)
    said = str(error.value)
    assert len(error.value.faults) == 3
    assert "loop: read a link" in said
    assert "neither file nor folder" in said


def test_a_file_that_became_a_link_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("1234")
    (tmp_path.parent / "secret").write_text("5678")
    found = folder(tmp_path)
    (tmp_path / "a.yaml").unlink()
    (tmp_path / "a.yaml").symlink_to(tmp_path.parent / "secret")
    with pytest.raises(FaultError):
        found.read("a.yaml")


def test_deep_folders_and_many_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a/b/c/d/e/f/g/h/i/j").mkdir(parents=True)
    with pytest.raises(FaultError, match="too deep"):
        folder(tmp_path)
    (tmp_path / "x").write_bytes(b"12345")
    monkeypatch.setattr(packed, "MOST_BYTES", 4)
    with pytest.raises(FaultError, match="when unpacked"):
        folder(tmp_path)


def test_what_is_neither(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path / "none", Path("/dev/null"), tmp_path / ("x" * 999)):
        with pytest.raises(FaultError), opened(path):
            pass
