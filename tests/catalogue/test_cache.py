"""The cache never changes an answer: it may be damaged, stale, raced or gone."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from advisor.catalogue import cache
from advisor.catalogue.load import load_catalogue, load_run
from advisor.catalogue.records import Catalogue
from advisor.catalogue.shipped import catalogue_folder, product_files
from advisor.faults import FaultError

PRODUCT = product_files()["barrel-tag"].read_bytes()


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ADVISOR_CACHE_DIR", str(tmp_path / "cache"))
    return tmp_path / "cache" / cache.OWN


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copied = tmp_path / "catalog"
    shutil.copytree(catalogue_folder(), copied)
    return copied


def cached(folder: Path, *changes: str) -> Catalogue:
    return load_catalogue([folder], changes, cached=True)


def test_warm_equals_cold(kept: Path, folder: Path) -> None:
    cold = load_catalogue([folder])
    first, warm = cached(folder), cached(folder)
    assert len(list(kept.glob("*.json"))) == 1
    assert cold == first == warm
    assert list(warm.parts) == list(cold.parts)
    assert warm.documents["quorvane-tib"].root.value[0][1].value == "quorvane-tib"


def test_it_is_private_plain_and_no_code(kept: Path, folder: Path) -> None:
    cached(folder)
    (entry,) = kept.glob("*.json")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o700
    assert stat.S_IMODE(entry.stat().st_mode) == 0o600
    head, _, body = entry.read_bytes().partition(b"\n")
    assert len(head) == 64
    assert json.loads(body).keys() == {"quantities", "records"}
    assert "pickle" not in Path(cache.__file__).read_text().replace("never pickle", "")


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda data: b"",
    "cut": lambda data: data[: len(data) // 2],
    "one bit": lambda data: data[:500] + bytes([data[500] ^ 1]) + data[501:],
    "another digest": lambda data: b"0" * 64 + data[64:],
    "nonsense": lambda data: b"\x80\x04\x95 not ours",
    "other JSON": lambda data: b"[]",
}


@pytest.mark.parametrize("case", DAMAGE)
def test_a_damaged_entry_is_no_entry(kept: Path, folder: Path, case: str) -> None:
    expected = cached(folder)
    (entry,) = kept.glob("*.json")
    sound = entry.read_bytes()
    entry.write_bytes(DAMAGE[case](sound))
    assert cached(folder) == expected
    # and it is mended
    assert entry.read_bytes() == sound


def test_a_sound_digest_over_wrong_content_is_no_entry(kept: Path, folder: Path) -> None:
    expected = cached(folder)
    (entry,) = kept.glob("*.json")
    for body in (b"{}", b'{"quantities": [], "records": {"parts": {"a": [0, 7]}}}', b"null"):
        sealed(entry, body)
        assert cached(folder) == expected


def sealed(entry: Path, body: bytes) -> None:
    """Write an entry whose digest is right."""
    key = entry.stem.rpartition("-")[2]
    digest = hashlib.sha256(key.encode() + b"\n" + body).hexdigest()
    entry.write_bytes(digest.encode() + b"\n" + body)


def test_an_entry_that_the_sources_do_not_confirm_is_none(kept: Path, folder: Path) -> None:
    """A part more, a part less, and the entry of another catalogue under this one's name."""
    expected = cached(folder)
    (entry,) = kept.glob("*.json")
    found = json.loads(entry.read_bytes().partition(b"\n")[2])
    for change in ("less", "more"):
        parts = dict(found["records"]["parts"])
        if change == "less":
            parts.pop("quorvane-tib")
        else:
            parts["another"] = parts["quorvane-tib"]
        records = {**found["records"], "parts": parts}
        sealed(entry, json.dumps({**found, "records": records}).encode())
        assert cached(folder) == expected
    whole = entry.read_bytes()
    (folder / "parts/quorvane-tib.yaml").unlink()
    fewer = cached(folder)
    assert "quorvane-tib" not in fewer.parts
    (other,) = set(kept.glob("*.json")) - {entry}
    other.write_bytes(whole)
    assert cached(folder) == fewer


@pytest.mark.once
def test_what_is_not_an_entry_is_never_removed(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder named may be full of the user's own files, some of them with an entry's ending."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ADVISOR_CACHE_DIR", ".")
    own = tmp_path / cache.OWN
    own.mkdir(mode=0o700)
    theirs = [place / f"{n}.json" for place in (tmp_path, own) for n in range(20)]
    theirs += [own / f"{cache.NAME}{'g' * 64}.json", own / ".mine.part"]
    for path in theirs:
        path.write_text("mine")
        os.utime(path, (0, 0))
    for n in range(cache.KEPT + 2):
        with (folder / "kernels.yaml").open("a") as file:
            file.write(f"extra-{n}: {{work: none}}\n")
        cached(folder)
    assert [path.read_text() for path in theirs] == ["mine"] * len(theirs)
    assert len(list(own.glob("catalogue-*.json"))) == cache.KEPT + 1  # one is no entry's name


@pytest.mark.parametrize("case", ["pipe", "link", "folder"])
def test_an_entry_that_is_no_file_is_not_waited_for(kept: Path, folder: Path, case: str) -> None:
    expected = cached(folder)
    (entry,) = kept.glob("*.json")
    data = entry.read_bytes()
    entry.unlink()
    if case == "pipe":
        os.mkfifo(entry)
    elif case == "folder":
        entry.mkdir()
    else:
        (kept / "elsewhere").write_bytes(data)
        entry.symlink_to(kept / "elsewhere")
    assert cached(folder) == expected
    # and it is not replaced either
    assert not entry.is_file() or entry.is_symlink()


@pytest.mark.parametrize("case", ["folder", "entry", "owner"])
def test_what_others_may_write_is_not_trusted(
    kept: Path, folder: Path, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = cached(folder)
    (entry,) = kept.glob("*.json")
    found = json.loads(entry.read_bytes().partition(b"\n")[2])
    for quantity in found["quantities"]:
        quantity[0] *= 2
    forged = json.dumps(found).encode()
    sealed(entry, forged)
    assert cached(folder) != expected  # so it was read
    if case == "folder":
        kept.chmod(0o777)
    elif case == "entry":
        entry.chmod(0o666)
    else:
        monkeypatch.setattr(os, "geteuid", lambda: 12345)
    assert cached(folder) == expected


def test_without_a_home_there_is_no_cache(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("ADVISOR_CACHE_DIR", "XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)
    assert cache.folder() is None
    assert cached(folder) == load_catalogue([folder])
    # a relative one is none, by the XDG Base Directory Specification
    monkeypatch.setenv("XDG_CACHE_HOME", "somewhere")
    assert cache.folder() is None


def test_it_is_never_wrong_after_an_edit(kept: Path, folder: Path) -> None:
    before = cached(folder)
    path = folder / "parts/quorvane-tib.yaml"
    text = path.read_text()
    times = path.stat()
    changed = text.replace("flash: 72 KiB", "flash: 36 KiB")
    assert len(changed) == len(text) and changed != text  # noqa: PT018
    path.write_text(changed)
    # the same size, the same times: only the bytes tell
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    after = cached(folder)
    assert after != before
    assert after == load_catalogue([folder])
    path.unlink()
    assert "quorvane-tib" not in cached(folder).parts


@pytest.mark.parametrize("when", [0, 4_000_000_000])
def test_a_clock_that_was_set_changes_nothing(kept: Path, folder: Path, when: int) -> None:
    expected = cached(folder)
    for path in [*kept.iterdir(), *folder.rglob("*.yaml"), folder, kept]:
        os.utime(path, (when, when))
    assert cached(folder) == expected


def test_changes_for_one_run_are_neither_kept_nor_missed(kept: Path, folder: Path) -> None:
    plain = cached(folder)
    changed = cached(folder, "quorvane-tib:price.breaks.1=9.99")
    assert changed.parts["quorvane-tib"] != plain.parts["quorvane-tib"]
    assert cached(folder) == plain
    with pytest.raises(FaultError):
        cached(folder, "quorvane-tib:price.breaks.1=9.99 V")
    both = load_run([folder], PRODUCT, ["quorvane-tib:price.breaks.1=9.99"], cached=True)
    assert both[0].parts == changed.parts


def test_input_that_fails_writes_none(kept: Path, folder: Path) -> None:
    (folder / "parts/quorvane-tib.yaml").write_text("part: quorvane-tib\nfoo: 1\n")
    with pytest.raises(FaultError):
        cached(folder)
    assert not kept.exists()


def test_places_that_cannot_be_used_are_harmless(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = load_catalogue([folder])
    (tmp_path / "file").write_text("")
    for place in (
        "/dev/null/none",
        str(tmp_path / "file"),
        str(tmp_path / "file/below"),
        "/proc/none",
    ):
        monkeypatch.setenv("ADVISOR_CACHE_DIR", place)
        assert cached(folder) == expected


def test_a_full_disk_is_harmless(kept: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert cached(folder) == load_catalogue([folder])
    assert list(kept.iterdir()) == []


@pytest.mark.once
def test_old_entries_go(kept: Path, folder: Path) -> None:
    for n in range(cache.KEPT + 4):
        (folder / "kernels.yaml").write_text(
            (folder / "kernels.yaml").read_text() + f"extra-{n}: {{work: none}}\n"
        )
        cached(folder)
    assert len(list(kept.glob("*.json"))) == cache.KEPT
    assert not list(kept.glob("*.part"))


@pytest.mark.once
def test_processes_at_once(kept: Path, folder: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from advisor.catalogue.load import load_catalogue\n"
        "for _ in range(3):\n"
        "    found = load_catalogue([Path(sys.argv[1])], cached=True)\n"
        "print(len(found.parts), found.parts['quorvane-tib'].price.breaks[1].nominal)"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(4)
    ]
    said = [process.communicate(timeout=60) for process in running]
    assert len({out for out, _ in said}) == 1
    assert all(err == "" for _, err in said)
    assert len(list(kept.glob("*.json"))) == 1
    assert not list(kept.glob("*.part"))
    assert cached(folder) == load_catalogue([folder])


@pytest.mark.once
def test_what_stores_answer_is_kept_for_the_next_run(kept: Path, tmp_path: Path) -> None:
    """The same bytes cold, warm, damaged and without a cache; a wrong entry is none."""
    from typer.testing import CliRunner

    from advisor.cli.application import app

    given = ["shortlist", "crate-call", "--draws", "10", "--format", "json"]

    def said(*more: str) -> str:
        done = CliRunner().invoke(app, [*given, *more])
        assert done.exit_code == 0, done.output
        return done.stdout

    plain = said("--no-cache")
    assert not list(kept.glob("stores-*"))
    assert said() == plain
    (entry,) = kept.glob("stores-*.json")
    before = entry.read_bytes()
    assert said() == plain
    assert entry.read_bytes() == before
    entry.write_bytes(before[:-20])
    assert said() == plain
    assert entry.read_bytes() == before
    # what a store answers is in the entry: of another one the answer would be another
    _, _, body = before.partition(b"\n")
    found = json.loads(body)
    found["fine"] = [[[i, j, z + 9, *of] for i, j, z, *of in rows] for rows in found["fine"]]
    sealed(entry, json.dumps(found).encode())
    assert said() != plain
    assert said("--no-cache") == plain
