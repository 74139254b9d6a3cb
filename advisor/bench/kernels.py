"""The pack of kernels: what each does, its C files, and the lines that a run of it prints.

The sources stand in `bench/pack/`. A kernel checks its vectors, then every run's whole output, and
says so on the run's line; the log of a run on a board is what `distil` believes.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from advisor.faults import Fault, FaultError, Place
from advisor.source import read_bytes

PACK = Path(__file__).parent / "pack"


@dataclass(frozen=True, slots=True)
class PackKernel:
    """A kernel of the pack.

    `published` names the published vectors that it is checked by; None where its whole output is
    held against the digest of an independent computation only.
    """

    name: str
    work: str
    stresses: str
    published: str | None

    @property
    def check(self) -> str:
        """How a run's result is checked, in words."""
        digest = "digest of an independent computation"
        return digest if self.published is None else f"{self.published}; {digest}"


KERNELS: Mapping[str, PackKernel] = {
    k.name: k
    for k in (
        PackKernel("hash", "one 1 KiB block hashed with SHA-256", "integer", "FIPS 180-4"),
        PackKernel("cipher", "one 1 KiB block enciphered with AES-128", "memory", "FIPS 197"),
        PackKernel("crc", "CRC-32 over 1 KiB, bit by bit", "integer", "the CRC catalogue"),
        PackKernel("filter", "256 samples through a 32-tap fixed-point filter", "integer", None),
        PackKernel(
            "transform",
            "one 256-point fixed-point Fourier transform",
            "memory",
            "the transform of 1, 2, 3, 4",
        ),
        PackKernel("matrix", "one product of two 8 x 8 matrices in floating point", "float", None),
        PackKernel("search", "all placements of eight queens counted", "branch", "OEIS A000170"),
        PackKernel("copy", "16 KiB copied with a stride", "memory", None),
        PackKernel("control", "256 steps of a fixed-point controller", "control", None),
    )
}


def sources() -> Iterator[tuple[str, str]]:
    """(name below the folder, text) of every C file, header and linker script of the pack."""
    for path in sorted(PACK.rglob("*")):
        if path.suffix in (".c", ".h", ".ld"):
            yield path.relative_to(PACK).as_posix(), path.read_text(encoding="utf-8")


def digest() -> str:
    """Of the kernels' own sources, ports apart: the first sixteen digits of their SHA-256."""
    whole = hashlib.sha256()
    for name, text in sources():
        if "/" not in name:
            whole.update(f"{name}\0{text}\0".encode())
    return whole.hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run as its line tells it; `ticks` in the port's own unit."""

    kernel: str
    run: int
    units: int
    ticks: int
    right: bool


@dataclass(frozen=True, slots=True)
class RunLog:
    """The lines of one pass over the pack; `ended` when its last line was read."""

    lines: tuple[RunLine, ...]
    ended: bool

    @property
    def kernels(self) -> Mapping[str, bool]:
        """Whether every run of a kernel computed right, by kernel, in the order they ran."""
        found: dict[str, bool] = {}
        for line in self.lines:
            found[line.kernel] = found.get(line.kernel, True) and line.right
        return found


def read_run(path: Path) -> RunLog:
    """The lines that a board printed, from a file.

    Raises
    ------
    FaultError
        For a file that cannot be read or has no such lines.
    """
    return read_log(read_bytes(path, str(path)).decode("utf-8", "replace"), str(path))


_LINE = re.compile(
    r"kernel=([a-z0-9-]+) run=([0-9]{1,9}) units=([0-9]{1,9}) ticks=([0-9]{1,12}) "
    r"check=(right|WRONG)\Z"
)
_END = re.compile(r"end check=(right|WRONG)\Z")


def read_log(text: str, file: str) -> RunLog:
    """Read the lines that a run of the pack printed; other lines, as of a boot, are passed over.

    Raises
    ------
    FaultError
        For a line that begins as one of ours and is garbled, or a log without any.
    """
    lines, faults, ended = [], [], False
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()
        found = _LINE.match(line)
        if found:
            kernel, run, units, ticks, check = found.groups()
            lines.append(
                RunLine(
                    kernel=kernel,
                    run=int(run),
                    units=int(units),
                    ticks=int(ticks),
                    right=check == "right",
                )
            )
        elif line.startswith("kernel="):
            faults.append(
                Fault(
                    "log",
                    f'"{line}"',
                    "kernel=NAME run=N units=N ticks=N check=right|WRONG",
                    Place(file, number, 1),
                )
            )
        elif _END.match(line):
            ended = True
    if not lines and not faults:
        faults.append(
            Fault("log", "no kernel's line", "the lines a run prints, kernel=…", Place(file, 1, 1))
        )
    if faults:
        raise FaultError(faults)
    return RunLog(tuple(lines), ended)
