"""`kernels list|export|verify` as a user goes: what is told, what is no pass, what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from advisor.bench.kernels import KERNELS, SMALL, digest, shaping
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture
from tests.on_bench.test_kernels import needs


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def log(names: tuple[str, ...] = tuple(KERNELS), runs: int = 2, pack: str | None = None) -> str:
    """A log as the pack prints it."""
    head = (
        f"built pack={pack or digest()}\nbuilt compiler=12.2.1\nbuilt flags={shaping('-Os')}\n"
        f"built optimised=size\nbuilt kernels={','.join(names)}\nbuilt runs={runs}\n"
    )
    body = "".join(
        f"kernel={name} version={KERNELS[name].version} run={n} units=4 ticks=9 check=right\n"
        for name in names
        for n in range(1, runs + 1)
    )
    return head + body + "state=idle ms=1200\nstate=sleep ms=4200\nend check=right\n"


def test_list_tells_needs_and_versions(said: Caller) -> None:
    code, out, _ = said("kernels", "list")
    assert code == 0
    for word in ("version", "RAM", "code", "small", "-DKERNELS_SMALL", "1740", "2228"):
        assert word in out
    rows = json.loads(said("kernels", "list", "--format", "json")[1])["kernels"]
    assert [row["name"] for row in rows] == list(KERNELS)
    assert [row["version"] for row in rows] == [1] * len(KERNELS)
    head = said("kernels", "list", "--format", "csv")[1].splitlines()[0].split(",")
    assert {"ram", "buffer", "stack", "code_least", "small"} <= set(head)


def test_export_of_some(here: Path, said: Caller) -> None:
    assert said("kernels", "export", "a", "--kernels", "crc,hash", "--optimise", "2")[0] == 0
    build = (here / "a" / "build.sh").read_text()
    assert "${CHOSEN--DKERNEL_HASH -DKERNEL_CRC}" in build
    assert "-ffreestanding -O2" in build
    assert 'flags: "-std=c99 -ffreestanding -O2"' in (here / "a" / "notes.yaml").read_text()
    assert said("kernels", "export", "b", "--kernels", "small")[0] == 0
    assert "${CHOSEN--DKERNELS_SMALL}" in (here / "b" / "build.sh").read_text()
    assert "kernel: copy" not in (here / "b" / "notes.yaml").read_text()
    code, _, err = said("kernels", "export", "c", "--kernels", "smal")
    assert code == 2
    assert "nearest valid: small" in err
    code, _, err = said("kernels", "export", "c", "--optimise", "fast")
    assert code == 2
    assert not (here / "c").exists()
    for name in ("a", "b"):
        assert "@" not in (here / name / "build.sh").read_text()
        assert f'PACK_DIGEST "{digest()}"' in (here / name / "built.h").read_text()


def test_a_whole_log_passes(here: Path, said: Caller) -> None:
    (here / "run.txt").write_text(log())
    code, out, _ = said("kernels", "verify", "--log", "run.txt")
    assert code == 0
    assert "as built" in out
    assert "idle for 1200 ms" in out
    assert shaping("-Os") in out
    found = json.loads(said("kernels", "verify", "--log", "run.txt", "--format", "json")[1])
    assert found["right"] is True
    assert [k["fault"] for k in found["kernels"]] == [None] * len(KERNELS)
    assert found["built"]["pack"] == digest()
    # a log of an earlier pack's shape is asked for all
    lines = [x for x in log().splitlines(keepends=True) if not x.startswith("built")]
    (here / "run.txt").write_text("".join(lines))
    code, out, _ = said("kernels", "verify", "--log", "run.txt")
    assert code == 0
    assert "all of the pack" in out


NO_PASS = {
    "a kernel is missing": (
        "".join(x for x in log().splitlines(keepends=True) if "kernel=copy" not in x),
        (),
        "not in the log",
    ),
    "one is missing that was asked for": (log(SMALL), ("--kernels", "copy"), "not in the log"),
    "one is missing that notes ask for": (log(SMALL), ("--bench", "notes.yaml"), "not in the log"),
    "none was built in an old pack": (
        "kernel=crc run=1 units=4 ticks=9 check=right\nend check=right\n",
        (),
        "not in the log",
    ),
    "a run is missing": (
        log().replace("kernel=crc version=1 run=2 units=4 ticks=9 check=right\n", ""),
        (),
        "1 of 2 runs",
    ),
    "another version": (
        log().replace("kernel=crc version=1", "kernel=crc version=2"),
        (),
        "version 2, not 1",
    ),
    "versions mixed": (
        log().replace("kernel=crc version=1 run=2", "kernel=crc version=2 run=2"),
        (),
        "version 1 and 2, not 1",
    ),
    "wrong": (
        log().replace(
            "kernel=crc version=1 run=2 units=4 ticks=9 check=right",
            "kernel=crc version=1 run=2 units=4 ticks=9 check=WRONG",
        ),
        (),
        "WRONG",
    ),
    "cut": (log().replace("end check=right\n", ""), (), "the run broke off"),
}


@pytest.mark.parametrize("name", NO_PASS)
def test_what_is_no_pass_is_named(here: Path, said: Caller, name: str) -> None:
    text, options, words = NO_PASS[name]
    (here / "run.txt").write_text(text)
    assert said("kernels", "export", "pack")[0] == 0
    (here / "notes.yaml").write_text((here / "pack" / "notes.yaml").read_text())
    code, out, _ = said("kernels", "verify", "--log", "run.txt", *options)
    assert code == 1
    assert words in out
    code, out, _ = said("kernels", "verify", "--log", "run.txt", *options, "--format", "json")
    assert json.loads(out)["right"] is False


def test_another_packs_log_is_told(here: Path, said: Caller) -> None:
    (here / "run.txt").write_text(log(pack="0123456789abcdef"))
    code, out, _ = said("kernels", "verify", "--log", "run.txt")
    assert code == 0  # of the same versions, and right
    assert "0123456789abcdef, not" in " ".join(out.split())


def test_options_that_contradict_are_refused(here: Path, said: Caller) -> None:
    (here / "run.txt").write_text(log())
    verify = ("kernels", "verify")
    for options, words in (
        (("--log", "run.txt", "--target", "host"), "a log and a target"),
        (("--bench", "notes.yaml"), "notes without a log"),
        (("--log", "run.txt", "--bench", "notes.yaml", "--kernels", "crc"), "notes and --kernels"),
        (("--kernels", "crx"), "nearest valid: crc"),
    ):
        code, out, err = said(*verify, *options)
        assert (code, out) == (2, "")
        assert words in err


@pytest.mark.once
def test_verify_of_some(said: Caller) -> None:
    needs("host")
    code, out, _ = said("kernels", "verify", "--target", "host", "--kernels", "crc,control")
    assert code == 0
    assert "control" in out
    assert "matrix" not in out
    assert f"pack {digest()}, flags {shaping('-Os')}" in out


@pytest.mark.once
def test_verify_tells_ram(said: Caller) -> None:
    needs("rv32imc")
    for which, ram in (("small", 2048), ("copy", 8192)):
        code, out, _ = said("kernels", "verify", "--target", "rv32imc", "--kernels", which)
        assert code == 0
        assert f"of {ram} bytes" in out
