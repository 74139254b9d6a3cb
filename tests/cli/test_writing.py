"""Nothing of the user's is lost: what may be written, and how it is written."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from advisor.catalogue.shipped import catalogue_folder, product_files
from advisor.cli.writing import Output, check_outputs, deliver, write_folder
from advisor.faults import FaultError
from advisor.files import Staged, remove_leftovers, whole_of
from tests.cli.conftest import Caller
from tests.on_bench.sessions import NOTES

LIST = ["product", "list"]


@pytest.fixture
def mine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A product of the user's own, in the folder that the calls are made in."""
    monkeypatch.chdir(tmp_path)
    text = product_files()["barrel-tag"].read_text("utf-8")
    (tmp_path / "mine.yaml").write_text(text.replace("product: barrel-tag", "product: mine"))
    return tmp_path / "mine.yaml"


def put(path: Path, data: bytes) -> None:
    deliver({Output(path, "--output"): data})


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# What may not be written ------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["itself", "link", "further name", "way round"])
@pytest.mark.parametrize("command", ["product check", "shortlist", "report"])
def test_an_input_is_not_written_over(mine: Path, said: Caller, way: str, command: str) -> None:
    # a report's name has an ending of its own
    mine = mine.rename("mine.md" if command == "report" else "mine.yaml")
    other = Path("other.md" if command == "report" else "other.yaml")
    if way == "link":
        other.symlink_to(mine.resolve())
    elif way == "further name":
        os.link(mine, other)
    else:
        other = mine if way == "itself" else Path("..", Path.cwd().name, mine)
    before = mine.read_bytes()
    code, out, err = said(*command.split(), f"./{mine}", "-o", str(other))
    assert (code, out) == (2, "")
    assert "--output: read an input of this run" in err
    assert "nothing written" in err
    assert mine.read_bytes() == before


def test_nor_a_file_of_the_catalogue_nor_a_record(mine: Path, said: Caller) -> None:
    folder = Path("catalog")
    folder.mkdir()
    Path("elsewhere").mkdir()
    (folder / "parts").symlink_to("../elsewhere")
    for name in ("kernels.yaml", "parts/quorvane-tib.yaml"):
        (folder / name).write_bytes((catalogue_folder() / name).read_bytes())
    for target in ("catalog/kernels.yaml", "elsewhere/quorvane-tib.yaml"):
        code, _, err = said("catalog", "list", "--catalog", "catalog", "-o", target)
        assert (code, "an input of this run" in err) == (2, True)
    decided = said(
        *("decide", "mine.yaml", "quorvane-tib", "--because", "x", "--draws", "0", "-o", "r.yaml")
    )
    assert decided[0] == 0
    code, _, err = said("revisit", "r.yaml", "--product", "mine.yaml", "-o", "r.yaml")
    assert (code, "an input of this run" in err) == (2, True)


def test_nor_what_nobody_may_write(mine: Path, said: Caller) -> None:
    Path("kept").write_text("kept")
    Path("kept").chmod(0o444)
    Path("to-it").symlink_to("kept")
    for target in ("kept", "to-it"):
        code, _, err = said(*LIST, "-o", target)
        assert code == 2
        assert "--output: read a file that may not be written" in err
    assert Path("kept").read_text() == "kept"
    mine.chmod(0o444)
    code, _, err = said("weights", "mine.yaml", "--write", "--draws", "0")
    assert code == 2
    assert "--write: read a file that may not be written" in err


def test_nor_two_outputs_in_one_place(mine: Path, said: Caller) -> None:
    outlook = ["outlook", "mine.yaml", "--points", "3", "--draws", "0", "-q"]
    Path("c.svg").write_text("")
    os.link("c.svg", "d.svg")
    for one, other in (("a.svg", "a.svg"), ("a.svg", "./a.svg"), ("c.svg", "d.svg")):
        code, _, err = said(*outlook, "--plot", one, "-o", other)
        assert code == 2
        assert "--output: read where --plot goes" in err or "--plot: read where --output" in err
    assert not Path("a.svg").exists()


def test_nor_links_that_lead_nowhere_or_to_themselves(mine: Path, said: Caller) -> None:
    Path("round").symlink_to("round")
    Path("away").symlink_to("nowhere/at/all")
    for target in ("round", "away"):
        code, _, err = said(*LIST, "-o", target)
        assert (code, "--output" in err) == (2, True)


def test_a_shipped_product_is_not_the_user_s_own(
    said: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = product_files()["barrel-tag"]
    before = shipped.read_bytes()
    monkeypatch.chdir(shipped.parent)
    (tmp_path / "barrel-tag.yaml").symlink_to(shipped)
    for reference in ("./barrel-tag.yaml", str(tmp_path / "barrel-tag.yaml"), str(shipped)):
        code, _, err = said("weights", reference, "--write", "--draws", "0")
        assert code == 2
        assert "a product's file of your own" in err
    assert shipped.read_bytes() == before


# How it is written ------------------------------------------------------------------------------


def test_links_stay_links(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep/file").write_bytes(b"old")
    (tmp_path / "one").symlink_to("two")
    (tmp_path / "two").symlink_to("deep/file")
    (tmp_path / "new").symlink_to("deep/made")
    put(tmp_path / "one", b"new")
    put(tmp_path / "new", b"made")
    assert (tmp_path / "deep/file").read_bytes() == b"new"
    assert (tmp_path / "deep/made").read_bytes() == b"made"
    assert all((tmp_path / name).is_symlink() for name in ("one", "two", "new"))
    assert names(tmp_path / "deep") == ["file", "made"]


def test_modes_and_further_names_stay(tmp_path: Path) -> None:
    for mode in (0o600, 0o640, 0o755):
        path = tmp_path / f"{mode:o}"
        path.write_bytes(b"old")
        path.chmod(mode)
        before = path.stat().st_ino
        os.link(path, tmp_path / f"{mode:o} too")
        put(path, b"n")
        assert stat.S_IMODE(path.stat().st_mode) == mode
        assert path.stat().st_ino == before
        assert (tmp_path / f"{mode:o} too").read_bytes() == b"n"
        alone = tmp_path / f"{mode:o} alone"
        alone.write_bytes(b"old")
        alone.chmod(mode)
        put(alone, b"new and longer")
        assert stat.S_IMODE(alone.stat().st_mode) == mode
        assert alone.read_bytes() == b"new and longer"
    assert not [name for name in names(tmp_path) if name.startswith(".")]
    old = os.umask(0o027)
    try:
        put(tmp_path / "fresh", b"x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "fresh").stat().st_mode) == 0o640


def test_a_file_that_keeps_its_place_is_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that is mounted by itself cannot be renamed over."""
    path = tmp_path / "file"
    path.write_bytes(b"old and longer")

    def busy(*_: object) -> None:
        raise OSError(16, "Device or resource busy")

    monkeypatch.setattr(os, "replace", busy)
    put(path, b"new")
    assert path.read_bytes() == b"new"
    assert names(tmp_path) == ["file"]


def test_what_is_half_written_over_is_told_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    os.link(path, tmp_path / "too")

    def killed(new: object, file: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copyfileobj", killed)
    with pytest.raises(KeyboardInterrupt):
        put(path, b"new")
    monkeypatch.undo()
    whole = whole_of(path)
    assert whole.read_bytes() == b"new"
    remove_leftovers(tmp_path)
    with pytest.raises(FaultError, match=f"half-written by a run.*{whole.name}"):
        check_outputs([Output(path, "--output")])
    os.replace(whole, path)
    check_outputs([Output(path, "--output")])


def test_where_there_is_no_room_nothing_is_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    os.link(path, tmp_path / "too")
    room = os.posix_fallocate

    def full(descriptor: int, offset: int, size: int) -> None:
        room(descriptor, offset, size - 1)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    with pytest.raises(FaultError, match="No space left"):
        put(path, b"new and longer")
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["file", "too"]


def test_everything_is_on_disk_before_it_is_in_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    sync, replace = os.fsync, os.replace

    def synced(descriptor: int) -> None:
        kind = os.fstat(descriptor).st_mode
        told.append("folder" if stat.S_ISDIR(kind) else "file")
        sync(descriptor)

    def replaced(*where: Path) -> None:
        told.append("rename")
        replace(*where)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", replaced)
    put(tmp_path / "file", b"x")
    assert told == ["file", "rename", "folder"]


def test_what_is_new_takes_no_other_s_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "record"
    with Staged(path, b"ours", new=True) as staged:
        path.write_bytes(b"came meanwhile")
        with pytest.raises(FileExistsError):
            staged.put()
    assert path.read_bytes() == b"came meanwhile"
    with Staged(tmp_path / "free", b"ours", new=True) as staged:
        staged.put()

    def none(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    # where names cannot be given so
    monkeypatch.setattr(os, "link", none)
    with Staged(tmp_path / "too", b"ours", new=True) as staged:
        staged.put()
    assert (tmp_path / "free").read_bytes() == (tmp_path / "too").read_bytes() == b"ours"
    assert names(tmp_path) == ["free", "record", "too"]


def test_all_or_nothing_of_several(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    both = {Output(tmp_path / "a", "-o"): b"new", Output(tmp_path / "no/b", "--plot"): b"new"}
    with pytest.raises(FaultError, match="--plot"):
        deliver(both)
    assert (tmp_path / "a").read_bytes() == b"old"

    def full() -> None:
        raise FaultError(())

    with pytest.raises(FaultError):
        deliver({Output(tmp_path / "a", "-o"): b"new"}, full)
    assert (tmp_path / "a").read_bytes() == b"old"

    def gone() -> None:
        raise BrokenPipeError

    # whoever read the screen has gone, the file is still wanted
    with pytest.raises(BrokenPipeError):
        deliver({Output(tmp_path / "a", "-o"): b"new"}, gone)
    assert (tmp_path / "a").read_bytes() == b"new"
    assert names(tmp_path) == ["a"]


def test_what_dead_runs_left_goes_and_nothing_else(tmp_path: Path) -> None:
    dead = tmp_path / ".part-advisor-0123456789abcdef.part"
    dead.write_bytes(b"half")
    folder = tmp_path / ".part-advisor-0123456789abcde0.part"
    (folder / "below").mkdir(parents=True)
    theirs = [".part-advisor-notes.part", ".file.part", ".part-advisor-0123456789abcdef.partial"]
    for name in theirs:
        (tmp_path / name).write_bytes(b"mine")
    with Staged(tmp_path / "living", b"x") as living:
        put(tmp_path / "file", b"x")
        assert living._file.exists()
        living.put()
    assert names(tmp_path) == sorted([*theirs, "file", "living"])


def test_a_new_folder_is_there_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    contents = {"a": b"1", "below/b": b"2"}
    (tmp_path / "private").mkdir(mode=0o700)
    (tmp_path / "link").symlink_to("private")
    write_folder(tmp_path / "link", contents)
    assert (tmp_path / "link").is_symlink()
    assert stat.S_IMODE((tmp_path / "private").stat().st_mode) == 0o700
    assert (tmp_path / "private/below/b").read_bytes() == b"2"
    for taken in ("private", "link", "private/a"):
        with pytest.raises(FaultError, match="a new or empty folder"):
            write_folder(tmp_path / taken, contents)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FaultError, match="No space left"):
        write_folder(tmp_path / "new", contents)
    assert names(tmp_path) == ["link", "private"]


def test_a_name_of_any_length_that_a_file_may_bear(tmp_path: Path) -> None:
    put(tmp_path / ("n" * 255), b"x")
    assert names(tmp_path) == ["n" * 255]


# Devices and pipes ------------------------------------------------------------------------------


def call(*arguments: str, **options: object) -> subprocess.CompletedProcess[bytes]:
    line = [sys.executable, "-m", "advisor", *arguments]
    return subprocess.run(line, capture_output=True, timeout=60, check=False, **options)  # type: ignore[call-overload,no-any-return]


@pytest.mark.once
def test_devices_and_pipes_are_streamed_to(tmp_path: Path) -> None:
    whole = call(*LIST).stdout
    assert call(*LIST, "-o", "/dev/stdout").stdout == whole
    assert call(*LIST, "-o", "/dev/fd/2").stderr == whole
    assert call(*LIST, "-o", "/dev/null").returncode == 0
    full = call(*LIST, "-o", "/dev/full")
    assert (full.returncode, full.stdout) == (2, b"")
    assert b"No space left" in full.stderr
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    assert call(*LIST, "-o", str(pipe)).returncode == 0
    reader.join(60)
    assert read == [whole]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_standard_output_s_own_file_goes_on_where_it_is(tmp_path: Path) -> None:
    whole = call(*LIST).stdout
    script = f"(echo first; {sys.executable} -m advisor product list -o /dev/stdout; echo last)"
    subprocess.run(["bash", "-c", f"{script} > out"], cwd=tmp_path, check=True, timeout=60)
    assert (tmp_path / "out").read_bytes() == b"first\n" + whole + b"last\n"
    script = f"{sys.executable} -m advisor product list -o out >> out"
    done = subprocess.run(["bash", "-c", script], cwd=tmp_path, check=False, timeout=60)
    assert done.returncode == 2
    assert (tmp_path / "out").read_bytes() == b"first\n" + whole + b"last\n"


def test_nor_is_standard_input_s_own_file_written_over(mine: Path) -> None:
    before = mine.read_bytes()
    with mine.open("rb") as file:
        done = call("product", "check", "-", "-o", mine.name, stdin=file)
    assert done.returncode == 2
    assert b"an input of this run" in done.stderr
    assert mine.read_bytes() == before


# Files that are edited --------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\r", "\u2028", "\u2029", "\r\n"], ids=ascii)
def test_weights_go_where_the_parser_saw_them(mine: Path, said: Caller, end: str) -> None:
    """Each ends a line for the parser; a lone one used to shift all that follows."""
    text = mine.read_text("utf-8").replace("\nrail:", f"\n# a{end}# remark\nrail:", 1)
    mine.write_bytes(text.encode())
    order = "battery-life,lifetime-cost,purchase-cost,memory-headroom,toolchain"
    code, _, err = said("weights", "mine.yaml", "--order", order, "--write", "--draws", "0")
    assert (code, err) == (0, "")
    after = mine.read_bytes().decode()
    assert f"\n# a{end}# remark\nrail:" in after
    old, new = text.splitlines(), after.splitlines()
    assert len(old) == len(new)
    assert 1 <= sum(a != b for a, b in zip(old, new, strict=True)) <= 5
    assert said("product", "check", "mine.yaml")[0] == 0


# Sessions on the bench --------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Notes whose overhead has a trace of its own."""
    monkeypatch.chdir(tmp_path)
    overhead = "{trace: board.csv, from: 0.01 s, to: 0.1 s}"
    text = NOTES.replace("board-overhead: 1.200(2) mA", f"board-overhead: {overhead}")
    assert overhead in text
    (tmp_path / "notes.yaml").write_text(text)
    return tmp_path


RECORDING = "t,i,m\n0,1,0\n"


@pytest.mark.parametrize("name", ["trace.csv", "board.csv", "link.csv", "notes.yaml", "odd.npz"])
def test_no_rehearsal_over_a_recording(bench: Path, said: Caller, name: str) -> None:
    if name == "link.csv":
        Path(name).symlink_to("far.csv")
    there = Path("far.csv" if name == "link.csv" else name)
    if name != "notes.yaml":
        there.write_text(RECORDING)
    before = there.read_bytes()
    target = "trace.csv" if name == "board.csv" else name
    code, out, err = said("rehearse", "notes.yaml", "-o", target)
    assert (code, out) == (2, "")
    assert "nothing written" in err
    assert there.read_bytes() == before
    # neither of the two is there
    assert names(bench) == sorted({"notes.yaml", there.name, name} - {""})


def test_a_rehearsal_over_a_rehearsal_and_beside_its_overhead(bench: Path, said: Caller) -> None:
    for seed in ("1", "2"):
        assert said("rehearse", "notes.yaml", "-o", "trace.csv", "--seed", seed)[0] == 0
    assert names(bench) == ["board.csv", "notes.yaml", "trace.csv"]
    for target in ("board.csv", f"../{bench.name}/board.csv"):
        code, _, err = said("rehearse", "notes.yaml", "-o", target)
        assert code == 2
        assert "board-overhead.trace" in err
    Path("too.csv").symlink_to("board.csv")
    assert said("rehearse", "notes.yaml", "-o", "too.csv")[0] == 2


@pytest.mark.parametrize("name", ["../board.csv", "/tmp/board.csv", "below/board.csv", ".."])
def test_the_overhead_s_trace_stays_beside_the_notes(bench: Path, said: Caller, name: str) -> None:
    notes = Path("notes.yaml")
    notes.write_text(notes.read_text().replace("trace: board.csv", f"trace: {name}"))
    code, _, err = said("rehearse", "notes.yaml", "-o", "trace.csv")
    assert code == 2
    assert "it is written beside the notes" in err or name == ".."
    assert names(bench) == ["notes.yaml"]


def test_distil_writes_over_none_of_its_inputs(bench: Path, said: Caller) -> None:
    assert said("rehearse", "notes.yaml", "-o", "trace.csv")[0] == 0
    Path("link.yaml").symlink_to("board.csv")
    before = {name: Path(name).read_bytes() for name in ("notes.yaml", "trace.csv", "board.csv")}
    for target in ("notes.yaml", "trace.csv", "board.csv", "link.yaml"):
        code, out, err = said("distil", "trace.csv", "--bench", "notes.yaml", "-o", target)
        assert (code, out) == (2, "")
        assert "an input of this run" in err
    assert before == {name: Path(name).read_bytes() for name in before}
    part = Path("bench-demo.yaml")
    part.write_bytes("# é\u2028# remark\rpart: bench-demo\r\n".encode())
    code, _, err = said("distil", "trace.csv", "--bench", "notes.yaml", "-o", part.name, "-q")
    assert (code, err) == (0, "")
    assert part.read_bytes().startswith("# é\u2028# remark\rpart: bench-demo\r\n".encode())
    assert b"operating-points" in part.read_bytes()
