"""The pack computes right, on this host and emulated; planted faults are caught; lines are read."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.kernels import KERNELS, LEVEL, PACK, digest, shaping, sources
from advisor.bench.notes import read_notes
from advisor.bench.runlog import read_log
from advisor.bench.targets import TARGETS, Pass, RunFailedError, _whole, missing_tools, run_pass
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.studies.kernels import exported
from tests.on_bench import kernel_reference as reference

pytestmark = pytest.mark.once

CI = os.environ.get("CI") == "true"


def needs(target: str) -> None:
    """Skip where the target's tools are missing; in CI that is a failure."""
    missing = missing_tools(TARGETS[target])
    if missing and CI:
        pytest.fail(f"{target} needs {', '.join(missing)}")
    if missing:
        pytest.skip(f"{target} needs {', '.join(missing)}, which this machine lacks")


def literal(source: str) -> int:
    """The digest that a kernel's source holds its output against."""
    found = re.search(r"return (?:d|shared(?:\.crc)?\.out) == (0x[0-9a-f]+|\d+)u?;", source)
    assert found is not None
    return int(found[1], 0)


def test_digests_are_of_independent_computations() -> None:
    """hashlib, zlib and an independent cipher library; NumPy for what nothing is published for."""
    text = dict(sources())
    re_, im = reference.transformed()
    expected = {
        "cipher": reference.enciphered(),
        "crc": reference.checked(),
        "filter": reference.digest(reference.filtered(), 2),
        "transform": reference.digest(np.stack([re_, im], axis=1).ravel(), 2),
        "matrix": reference.digest(reference.multiplied(), 4),
        "copy": reference.digest(reference.copied(), 4),
        "control": reference.digest(reference.controlled(), 4),
        "search": 92,  # OEIS A000170
    }
    for name, value in expected.items():
        assert literal(text[f"{name}.c"]) == value, name
    held = re.findall(r"0x([0-9a-f]{2})\b", text["hash.c"].partition("result(void)")[2])
    assert bytes.fromhex("".join(held)) == reference.hashed()


def test_reference_transform_is_a_transform() -> None:
    """`numpy.fft` to a few last digits of Q15: eight stages round at most half a digit each."""
    real, imaginary = reference.transformed()
    exact = np.fft.fft(reference.transform_input()) / 256
    assert np.abs(real + 1j * imaginary - exact).max() < 4


def test_reference_controller_settles() -> None:
    """Each quarter ends near its wanted value, within 5 % of the jump before it."""
    path = reference.controlled()
    wanted = [65536, -98304, 98304, 16384]
    before = 0
    for k, value in enumerate(wanted):
        assert abs(path[64 * k + 63] - value) < 0.05 * abs(value - before) + 500
        before = value


@pytest.mark.parametrize("level", ["-O0", "-O2", "-Os"])
def test_right_on_this_host(tmp_path: Path, level: str) -> None:
    needs("host")
    found = run_pass(TARGETS["host"], tmp_path, level)
    # a host has what it has
    assert found.ram is None
    assert [k.kernel for k in found.kernels] == list(KERNELS)
    assert all(k.right and k.code_bytes > 60 for k in found.kernels)
    assert all(k.instructions is None for k in found.kernels)


EMULATED = [name for name, target in TARGETS.items() if target.emulator]


def test_memory_and_timers_of_the_emulated_machines() -> None:
    """Code from 0 and RAM from 0x20000000 (Arm v7-M Architecture Reference Manual, B3.1), or the
    secure aliases of the board with TrustZone; RISC-V's RAM from 0x80000000 (its machine's own
    documentation). Timers of 16, 25 and 20 MHz against 7.8125 million instructions a second."""
    machines = {t: (TARGETS[t].code, TARGETS[t].ram, TARGETS[t].per_tick) for t in EMULATED}
    assert machines == {
        "armv6m": (0, 0x2000_0000, 7.8125 / 16),
        "armv7em": (0, 0x2000_0000, 7.8125 / 25),
        "armv8m": (0x1000_0000, 0x3800_0000, 7.8125 / 20),
        "rv32imc": (0x8000_0000, 0x8010_0000, 1.0),
    }
    # and of the Arm timers so many ticks a millisecond
    each = {t: "".join(TARGETS[t].defined) for t in EMULATED}
    assert each == {
        "armv6m": "-DPORT_TICKS_PER_MS=16000u",
        "armv7em": "-DPORT_TICKS_PER_MS=25000u",
        "armv8m": "-DPORT_TICKS_PER_MS=20000u",
        "rv32imc": "",
    }


@pytest.mark.slow
@pytest.mark.parametrize("target", EMULATED)
def test_right_and_counted_under_emulation(tmp_path: Path, target: str) -> None:
    needs(target)
    passes: list[Pass] = []
    for k, level in enumerate(("-Os", "-Os", "-O2", "-O0")):
        folder = tmp_path / str(k)
        folder.mkdir()
        passes.append(run_pass(TARGETS[target], folder, level))
    small, again, fast, plain = passes
    assert [k.kernel for k in small.kernels] == list(KERNELS)
    assert all(k.right for found in passes for k in found.kernels)
    assert small == again, "counts are repeatable"
    assert small.flags != fast.flags
    # even where the counter goes round in the longer run
    for kernel, slow in zip(small.kernels, plain.kernels, strict=True):
        assert kernel.instructions is not None
        assert slow.instructions is not None
        assert kernel.instructions < slow.instructions < 10 * kernel.instructions
        assert 100 < kernel.code_bytes < 2000
        # the work was not optimised away
        assert 2000 < kernel.instructions < 1_000_000


@pytest.mark.slow
def test_float_hardware_shows(tmp_path: Path) -> None:
    """The float matrix takes many times the instructions where floats are computed by software."""
    needs("armv6m")
    needs("armv7em")
    counts = {}
    for name in ("armv6m", "armv7em"):
        found = run_pass(TARGETS[name], tmp_path)
        counts[name] = {k.kernel: k.instructions or 0 for k in found.kernels}
    assert counts["armv6m"]["matrix"] > 8 * counts["armv7em"]["matrix"]
    assert counts["armv6m"]["crc"] < 2 * counts["armv7em"]["crc"]


PLANTED = {
    "hash": ("turn(s[4], 6)", "turn(s[4], 7)"),
    "cipher": ("? 0x1b : 0", "? 0x1d : 0"),
    "crc": ("0xedb88320u, shared", "0xedb88321u, shared"),
    "filter": ("int32_t sum = 0x4000", "int32_t sum = 0x2000"),
    "transform": ("shift_right(u - x, 1)", "shift_right(u - x + 1, 1)"),
    "matrix": ("k < 8; k++", "k < 7; k++"),
    "search": ("(right | bit) >> 1", "(right | bit) >> 2"),
    "copy": ("stride = 2 * pass + 3", "stride = 2 * pass + 5"),
    "control": ("times(error, 410)", "times(error, 411)"),
}


@pytest.mark.parametrize("kernel", KERNELS)
def test_planted_fault_is_caught(tmp_path: Path, kernel: str) -> None:
    """One fault in a kernel's source: its lines say WRONG, the others' do not."""
    needs("host")
    pack = tmp_path / "pack"
    shutil.copytree(PACK, pack)
    path = pack / f"{kernel}.c"
    old, new = PLANTED[kernel]
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))
    work = tmp_path / "work"
    work.mkdir()
    found = run_pass(TARGETS["host"], work, "-O1", pack)
    assert {k.kernel for k in found.kernels if not k.right} == {kernel}


def test_no_heap_and_no_library() -> None:
    for name, text in sources():
        if not name.startswith("ports/"):
            included = set(re.findall(r"#include [<\"]([^>\"]+)", text))
            assert included <= {"stdint.h", "kernels.h", "port.h", "built.h"}, name
            assert not re.search(r"\b(malloc|calloc|alloca|printf|memcpy)\b", text), name


def test_strict_c99_without_a_warning(tmp_path: Path) -> None:
    needs("host")
    flags = ["-std=c99", "-pedantic-errors", "-Wall", "-Wextra", "-Werror", "-O2"]
    for name, _ in sources():
        if name.endswith(".c") and name not in ("ports/arm.c", "ports/riscv.c"):
            made = str(tmp_path / "a.o")
            command = ["cc", *flags, f"-I{PACK}", "-c", str(PACK / name), "-o", made]
            subprocess.run(command, check=True, timeout=60)


def test_pack_and_shipped_catalogue_agree() -> None:
    shipped = load_catalogue([catalogue_folder()]).kernels
    assert list(shipped) == list(KERNELS)
    for name, kernel in KERNELS.items():
        assert shipped[name].stresses == kernel.stresses
        assert shipped[name].version == kernel.version
    assert sum(1 for k in KERNELS.values() if k.published) >= 4


def test_a_count_of_instructions_is_the_whole_number_next_to_it() -> None:
    """Of 0.3125 instructions a tick: 13 ticks are 4.06, 14 are 4.38, which is no count."""
    target = TARGETS["armv7em"]
    assert _whole(target, "hash", 13) == 4
    with pytest.raises(RunFailedError, match=r"hash took 4\.38 instructions"):
        _whole(target, "hash", 14)


def test_every_kernel_tells_what_it_is_checked_by() -> None:
    """Published vectors where there are some, and an independent computation always."""
    for kernel in KERNELS.values():
        published, _, digest = kernel.check.rpartition("; ")
        assert published == (kernel.published or "")
        assert digest == "digest of an independent computation"


def test_example_port_of_the_export_compiles(tmp_path: Path) -> None:
    """The lines that the pack's README shows are whole: they compile, and link with the pack."""
    needs("host")
    text = (PACK / "README.md").read_text()
    found = re.search(r"```c\n(.*?)```", text, re.S)
    assert found is not None
    assert found[1].count("\n") <= 50
    (tmp_path / "mine.c").write_text(found[1])
    parts = [str(p) for p in sorted(PACK.glob("*.c"))]
    command = ["cc", "-std=c99", f"-I{PACK}", *parts, str(tmp_path / "mine.c"), "-o"]
    subprocess.run([*command, str(tmp_path / "run")], check=True, timeout=60)


def test_export_builds_as_it_says(tmp_path: Path) -> None:
    needs("host")
    run = [sys.executable, "-c", "from advisor.cli.main import run; run()"]
    subprocess.run([*run, "kernels", "export", "pack"], cwd=tmp_path, check=True, timeout=60)
    text = (tmp_path / "pack" / "README.md").read_text()
    line = re.search(r"^    (sh build\.sh && .*)$", text, re.M)
    assert line is not None
    subprocess.run(line[1], shell=True, cwd=tmp_path / "pack", check=True, timeout=60)
    log = read_log((tmp_path / "pack" / "run.txt").read_text(), "run.txt")
    assert log.ended
    assert len(log.lines) == 20 * len(KERNELS)
    assert all(log.kernels.values())
    assert (log.built.pack, log.built.flags) == (digest(), shaping(LEVEL))
    # the stretches that the exported notes cut lie within those that the pack holds
    notes = read_notes(tmp_path / "pack" / "notes.yaml")
    for segment, state in zip(notes.states, log.states, strict=True):
        assert segment.begin is not None
        assert segment.end is not None
        assert 0.8 < (segment.end.nominal - segment.begin.nominal) / (state.ms / 1000) < 1


def test_the_notes_name_the_pack() -> None:
    """Its digest is of the kernels' sources and of nothing that a port changes."""
    notes = exported()["notes.yaml"].decode()
    assert f'built: {{pack: "{digest()}", flags: "{shaping(LEVEL)}"}}' in notes
    whole = hashlib.sha256()
    for path in sorted(PACK.glob("*.[ch]")):
        if path.name != "built.h":  # which the digest is written into
            whole.update(f"{path.name}\0{path.read_text()}\0".encode())
    assert digest() == whole.hexdigest()[:16]
