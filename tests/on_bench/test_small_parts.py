"""The pack on small parts: which kernels are built, the RAM they take, idling and sleeping."""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from advisor.bench import targets
from advisor.bench.kernels import (
    BESIDE,
    KERNELS,
    LEVEL,
    PACK,
    SMALL,
    SMALL_RAM,
    STACK,
    WHOLE_RAM,
    choosing,
    chosen,
    digest,
    ram_of,
    shaping,
)
from advisor.bench.runlog import read_log
from advisor.bench.targets import TARGETS, RunFailedError, run_pass
from advisor.faults import FaultError
from advisor.studies.kernels import exported
from tests.on_bench.test_kernels import EMULATED, needs
from tests.shares import mostly_slow

pytestmark = pytest.mark.once


def test_kernels_by_name() -> None:
    assert chosen(None) == tuple(KERNELS)
    assert chosen("small") == SMALL
    assert chosen("hash,crc") == chosen("crc, hash") == ("hash", "crc")
    with pytest.raises(FaultError, match=r'"crx".*crc'):
        chosen("crx")
    assert choosing(tuple(KERNELS)) == ()
    assert choosing(SMALL) == ("-DKERNELS_SMALL",)
    assert choosing(("crc",)) == ("-DKERNEL_CRC",)


def test_the_small_set_is_that_of_the_needs() -> None:
    """In C and in Python alike: those that fit into 2 KiB, alone and together."""
    header = (PACK / "kernels.h").read_text()
    block, _, rest = header.partition("#ifdef KERNELS_SMALL")[2].partition("#endif")
    assert tuple(re.findall(r"#define KERNEL_(\w+)", block)) == tuple(k.upper() for k in SMALL)
    every, _, _ = rest.partition("#endif")
    assert tuple(re.findall(r"#define KERNEL_(\w+)", every)) == tuple(k.upper() for k in KERNELS)
    assert set(re.findall(r"defined KERNEL_(\w+)", every)) == {k.upper() for k in KERNELS}
    assert set(KERNELS) - set(SMALL) == {"copy"}
    assert ram_of(KERNELS[name] for name in SMALL) <= SMALL_RAM
    assert ram_of(KERNELS.values()) <= WHOLE_RAM
    for kernel in KERNELS.values():
        least, most = kernel.code
        assert 0 < least <= most, kernel.name
        assert 0 < kernel.stack <= STACK, kernel.name
    # the greatest need, not the sum
    assert sum(k.buffer for k in KERNELS.values()) > WHOLE_RAM


def test_what_is_built_must_fit_into_the_ram_of_its_set() -> None:
    target = TARGETS[EMULATED[0]]
    for names, ram in ((SMALL, SMALL_RAM), (SMALL[:1], SMALL_RAM), (("copy",), WHOLE_RAM)):
        assert targets._Asked(target, LEVEL, PACK, names).ram == ram
    assert targets._Asked(target, LEVEL, PACK, tuple(KERNELS)).ram == WHOLE_RAM


def passed(
    target: str, folder: Path, names: tuple[str, ...] = tuple(KERNELS), level: str = LEVEL
) -> targets.Pass:
    """A pass in a folder of its own; all right."""
    needs(target)
    folder.mkdir()
    found = run_pass(TARGETS[target], folder, level, names=names)
    assert [k.kernel for k in found.kernels] == list(names)
    assert all(k.right for k in found.kernels)
    return found


@pytest.mark.parametrize("target", mostly_slow(EMULATED, 3))
@pytest.mark.parametrize("level", mostly_slow(("-Os", "-O0", "-O2", "-O3"), 4))
def test_fits_into_2_and_8_kib(tmp_path: Path, target: str, level: str) -> None:
    """Linked for so much, run there, and the stack never touched its end."""
    for names, ram in ((SMALL, SMALL_RAM), (tuple(KERNELS), WHOLE_RAM)):
        found = passed(target, tmp_path / str(ram), names, level)
        assert found.ram == ram
        memory = found.memory
        assert memory is not None
        assert memory.fixed + memory.room == ram
        # the one buffer and a few words
        largest = max(KERNELS[name].buffer for name in names)
        assert largest < memory.fixed <= largest + BESIDE
        # the reserve that the linker asserts is not less than what is used
        assert 0 < memory.stack <= STACK <= memory.room
        if level == LEVEL:
            assert memory.fixed + memory.stack <= ram_of(KERNELS[name] for name in names)


@pytest.mark.slow
def test_each_kernels_needs_are_those_written_down(tmp_path: Path) -> None:
    """A pack of one kernel, on every target; with an eighth for another compiler."""
    stack = dict.fromkeys(KERNELS, 0)
    code: dict[str, list[int]] = {name: [] for name in KERNELS}
    for target in EMULATED:
        for name, kernel in KERNELS.items():
            found = passed(target, tmp_path / f"{target}-{name}", (name,))
            assert found.memory is not None
            assert 0 < found.memory.fixed - kernel.buffer <= BESIDE
            stack[name] = max(stack[name], found.memory.stack)
            code[name].append(found.kernels[0].code_bytes)
    for name, kernel in KERNELS.items():
        assert stack[name] == pytest.approx(kernel.stack, rel=0.125)
        assert (min(code[name]), max(code[name])) == pytest.approx(kernel.code, rel=0.125)


def planted(folder: Path, name: str, *changes: tuple[str, str]) -> Path:
    """The pack with texts of one file replaced."""
    pack = folder / "pack"
    if not pack.exists():
        shutil.copytree(PACK, pack)
    text = (pack / name).read_text()
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (pack / name).write_text(text)
    return pack


def refused(target: str, folder: Path, pack: Path, names: tuple[str, ...], words: str) -> None:
    needs(target)
    work = folder / f"work-{target}"
    work.mkdir()
    with pytest.raises(RunFailedError, match=words):
        run_pass(TARGETS[target], work, LEVEL, pack, names)


NO_ROOM = r"leave less RAM than STACK|overflowed by"


@pytest.mark.parametrize("target", ["armv6m", "rv32imc"])
def test_one_buffer_too_many_does_not_link(tmp_path: Path, target: str) -> None:
    """32 bytes beside the shared buffer are too many for 2 KiB with the stack's reserve."""
    own = (
        ("static void prepare(void)\n{\n", "static void prepare(void)\n{\n    more[0] = 1;\n"),
        ("static uint32_t crc(", "static volatile uint8_t more[32];\nstatic uint32_t crc("),
    )
    refused(target, tmp_path, planted(tmp_path, "crc.c", *own), SMALL, NO_ROOM)


@pytest.mark.parametrize("target", ["armv6m", "rv32imc"])
def test_a_buffer_a_kernel_does_not_link(tmp_path: Path, target: str) -> None:
    """Side by side in place of over each other they are too many for 8 KiB."""
    beside = ("union shared {", "struct shared {"), ("extern union shared", "extern struct shared")
    planted(tmp_path, "kernels.h", *beside)
    pack = planted(tmp_path, "main.c", ("union shared shared;", "struct shared shared;"))
    refused(target, tmp_path, pack, tuple(KERNELS), NO_ROOM)


@pytest.mark.parametrize("target", ["armv6m", "rv32imc"])
def test_a_stack_that_takes_all_is_told(tmp_path: Path, target: str) -> None:
    """Some more on the stack than there is room for, which no linker sees."""
    deep = (
        "    uint32_t units = asked",
        "    volatile uint8_t deep[340];\n    deep[0] = 1;\n    uint32_t units = asked",
    )
    pack = planted(tmp_path, "main.c", deep)
    refused(target, tmp_path, pack, SMALL, "the stack took all the RAM that it had")


@pytest.mark.parametrize("target", ["host", "armv6m", "rv32imc"])
def test_idles_and_sleeps_as_long_as_it_says(
    tmp_path: Path, target: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At least: a busy machine may take longer. The core waits for its interrupt meanwhile."""
    needs(target)
    monkeypatch.setattr(targets, "IDLE_MS", 900)
    monkeypatch.setattr(targets, "SLEEP_MS", 600)
    real, took = targets._call, []

    def timed(command: list[str], good: tuple[int, ...] = (0,)) -> object:
        start = time.perf_counter()
        done = real(command, good)
        if good != (0,):  # the run, not a build
            took.append((time.perf_counter() - start, done.stdout + done.stderr))
        return done

    monkeypatch.setattr(targets, "_call", timed)
    run_pass(TARGETS[target], tmp_path, names=("crc",))
    assert took
    for seconds, text in took:
        assert seconds > 1.5
        states = read_log(text, "run.txt").states
        assert [(s.state, s.ms) for s in states] == [("idle", 900), ("sleep", 600)]
        # behind the last run
        assert text.index("state=idle") > text.rindex("kernel=")
    if target != "host":
        dump = TARGETS[target].compiler.replace("gcc", "objdump")
        if shutil.which(dump) is None:
            pytest.skip(f"no {dump}")
        shown = subprocess.run(
            [dump, "-d", str(tmp_path / f"{target}-1" / "pack")],
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        )
        assert "wfi" in shown.stdout


def test_no_stretch_where_none_is_wanted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    needs("host")
    monkeypatch.setattr(targets, "SLEEP_MS", 0)
    with pytest.raises(RunFailedError, match="no idle and no sleeping stretch"):
        run_pass(TARGETS["host"], tmp_path, names=("crc",))


BROKEN: dict[str, tuple[str, tuple[str, str], str]] = {
    "a kernel that is not run": (
        *("main.c", ("    &kernel_matrix,\n", "")),
        "no line of matrix: no pass",
    ),
    "a run that is not told": (
        *("main.c", ("run <= RUNS", "run < RUNS")),
        "broke off after 9 lines",
    ),
    "work of another version": (
        *("crc.c", ('{"crc", 1, 40', '{"crc", 2, 40')),
        "crc is of version 2, not of 1",
    ),
    "no idling": (
        *("main.c", ('    hold("state=idle", IDLE_MS, port_idle);\n', "")),
        "no idle and no sleeping stretch",
    ),
    "another pack's digest": (
        *("main.c", ('" PACK_DIGEST "', "0123456789abcdef")),
        "of another build",
    ),
    "other flags": (*("main.c", ('flags=" PACK_FLAGS', 'flags=-Os"')), "of another build"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_missing_is_no_pass(tmp_path: Path, name: str) -> None:
    file, change, words = BROKEN[name]
    refused("host", tmp_path, planted(tmp_path, file, change), tuple(KERNELS), words)


# ------------------------------------------------------------------------- what is exported


Build = Callable[..., str]


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """Write an export, build it as its README says, run it: the lines."""

    def run(files: dict[str, bytes], **environment: str) -> str:
        needs("host")
        for name, data in files.items():
            path = tmp_path / "out" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        short = {"OPTIONS": "-DIDLE_MS=1 -DSLEEP_MS=1 -DRUNS=2", **environment}
        subprocess.run(
            "sh out/build.sh && out/run > run.txt",
            shell=True,
            cwd=tmp_path,
            env={**os.environ, **short},
            check=True,
            timeout=60,
        )
        return (tmp_path / "run.txt").read_text()

    return run


@pytest.mark.parametrize("names", [SMALL, ("hash", "crc"), tuple(KERNELS)])
def test_an_export_of_some_kernels_builds_and_notes_those(
    build: Build, names: tuple[str, ...]
) -> None:
    files = exported(names)
    log = read_log(build(files), "run.txt")
    assert log.built.kernels == names
    assert tuple(log.kernels) == names
    notes = files["notes.yaml"].decode()
    assert tuple(re.findall(r"- \{kernel: (\w+)", notes)) == names
    assert tuple(re.findall(r"^    (\w+): \{time", notes, re.M)) == names
    # all sources go out, whatever is chosen
    assert {n for n in files if n.endswith(".c")} == {n for n in exported() if n.endswith(".c")}


@pytest.mark.parametrize(
    ("level", "optimised"), [("-Os", "size"), ("-O2", "speed"), ("-O0", "none")]
)
def test_export_and_verify_build_alike(
    build: Build, tmp_path: Path, level: str, optimised: str
) -> None:
    """One set of flags: in build.sh, notes, log and `verify`."""
    files = exported(("crc",), level)
    found = passed("host", tmp_path / "work", ("crc",), level)
    assert found.flags == shaping(level)
    assert found.pack == digest()
    assert f'FLAGS="{found.flags}${{MACHINE' in files["build.sh"].decode()
    assert f'built: {{pack: "{digest()}", flags: "{found.flags}"}}' in files["notes.yaml"].decode()
    built = read_log(build(files), "run.txt").built
    assert (built.pack, built.flags, built.optimised) == (digest(), found.flags, optimised)
    assert built.runs == 2


def test_the_exported_build_takes_a_board(build: Build, tmp_path: Path) -> None:
    """Its compiler, its flags and its port, as the README says."""
    port = tmp_path / "mine.c"
    port.write_text((PACK / "ports" / "host.c").read_text())
    text = build(
        exported(("search",)), CC="cc", MACHINE="-fno-inline -DMINE", PORT=str(port), LINK="-lc"
    )
    assert read_log(text, "run.txt").built.flags == f"{shaping(LEVEL)} -fno-inline -DMINE"


def test_a_pack_that_was_told_nothing_says_so(tmp_path: Path) -> None:
    """Compiled in a project of one's own: flags unknown, the rest by the compiler's own word."""
    needs("host")
    parts = [*sorted(str(p) for p in PACK.glob("*.c")), str(PACK / "ports" / "host.c")]
    options = ["-DIDLE_MS=0", "-DSLEEP_MS=0", "-DRUNS=1", "-DKERNEL_CRC", "-O3"]
    command = ["cc", "-std=c99", *options, f"-I{PACK}", *parts, "-o", str(tmp_path / "run")]
    subprocess.run(command, check=True, timeout=60)
    done = subprocess.run(
        [str(tmp_path / "run")], capture_output=True, text=True, check=True, timeout=60
    )
    log = read_log(done.stdout, "run.txt")
    assert (log.built.flags, log.built.pack, log.built.optimised) == (None, None, "speed")
    assert log.built.compiler
    assert log.states == ()


def test_each_kernel_s_buffer_is_that_of_its_member_of_the_union() -> None:
    """Read from the header: each type's bytes times its elements, in whole words."""
    sizes = {"uint8_t": 1, "int16_t": 2, "int32_t": 4, "uint32_t": 4, "float": 4}
    header = (PACK / "kernels.h").read_text().partition("union shared {")[2]
    members = dict(re.findall(r"#ifdef KERNEL_(\w+)\s+struct \{(.*?)\} \w+;", header, re.DOTALL))
    assert {name.lower() for name in members} == set(KERNELS) - {"search"}
    for name, kernel in KERNELS.items():
        total = 0
        # the one number that every kernel may give, where it has no member of its own
        declared = members.get(name.upper(), "uint32_t out;")
        for kind, names in re.findall(r"(\w+) ([^;]+);", declared):
            for dimensions in re.findall(r"\w+((?:\[[\d +]+\])*)", re.sub(r", +", ",", names)):
                each = [sum(map(int, x.split("+"))) for x in re.findall(r"\[([^]]+)\]", dimensions)]
                total += sizes[kind] * math.prod(each)
        assert kernel.buffer == -(-total // 4) * 4, name
