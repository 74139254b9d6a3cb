"""The pack of kernels: what each does and takes, its C files, and how they are to be built.

The sources stand in `bench/pack/`. A kernel checks its vectors, then every run's whole output, and
says so on the run's line (`bench/runlog`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, nearest

PACK = Path(__file__).parent / "pack"
LEVEL = "-Os"  # of optimisation, unless another is asked for, in what is exported and verified
# All that shapes the kernels' code beside the machine. Without freestanding, loops become calls of
# a library, which is then what is measured.
SHAPING = ("-std=c99", "-ffreestanding")
SMALL_RAM = 2 * 1024  # bytes of RAM of a small part
WHOLE_RAM = 8 * 1024  # and of one that takes the whole pack
STACK = 704  # bytes that the stack must be left: more than any target's needs, even at -O0
BESIDE = 12  # bytes of RAM beside buffer and stack: the harness's and an emulated port's own


@dataclass(frozen=True, slots=True)
class PackKernel:
    """A kernel of the pack.

    Attributes
    ----------
    version : of its work: figures of another version are of other work, and are not mixed.
    published : the published vectors that it is checked by; None where its whole output is held
    against the digest of an independent computation only. buffer : bytes of the shared buffer that
    it works in. stack : bytes of stack that a pack of it alone takes. code : least and most bytes
    of code and constants. Stack and code are those of the emulated targets at `LEVEL`, measured
    with one compiler; a test links and runs them.
    """

    name: str
    version: int
    work: str
    stresses: str
    published: str | None
    buffer: int
    stack: int
    code: tuple[int, int]

    @property
    def check(self) -> str:
        """How a run's result is checked, in words."""
        digest = "digest of an independent computation"
        return digest if self.published is None else f"{self.published}; {digest}"

    @property
    def ram(self) -> int:
        """Bytes of RAM that a pack of this kernel alone takes at most, stack included."""
        return ram_of((self,))

    @property
    def small(self) -> bool:
        """Whether it is of the small set: a part of 2 KiB of RAM can run it."""
        return self.ram <= SMALL_RAM


def ram_of(kernels: Iterable[PackKernel]) -> int:
    """Bytes of RAM that a pack of these takes at most: largest buffer and stack, not their sum."""
    chosen = tuple(kernels)
    return max(k.buffer for k in chosen) + BESIDE + max(k.stack for k in chosen)


KERNELS: Mapping[str, PackKernel] = {
    k.name: k
    for k in (
        PackKernel(
            name="hash",
            version=1,
            work="one 1 KiB block hashed with SHA-256",
            stresses="integer",
            published="FIPS 180-4",
            buffer=1312,
            stack=416,
            code=(1121, 1423),
        ),
        PackKernel(
            name="cipher",
            version=1,
            work="one 1 KiB block enciphered with AES-128",
            stresses="memory",
            published="FIPS 197",
            buffer=1200,
            stack=240,
            code=(951, 1241),
        ),
        PackKernel(
            name="crc",
            version=1,
            work="CRC-32 over 1 KiB, bit by bit",
            stresses="integer",
            published="the CRC catalogue",
            buffer=1028,
            stack=168,
            code=(244, 296),
        ),
        PackKernel(
            name="filter",
            version=1,
            work="256 samples through a 32-tap fixed-point filter",
            stresses="integer",
            published=None,
            buffer=1088,
            stack=168,
            code=(331, 353),
        ),
        PackKernel(
            name="transform",
            version=1,
            work="one 256-point fixed-point Fourier transform",
            stresses="memory",
            published="the transform of 1, 2, 3, 4",
            buffer=1024,
            stack=188,
            code=(1070, 1164),
        ),
        PackKernel(
            name="matrix",
            version=1,
            work="one product of two 8 x 8 matrices in floating point",
            stresses="float",
            published=None,
            buffer=768,
            stack=220,
            code=(279, 487),
        ),
        PackKernel(
            name="search",
            version=1,
            work="all placements of eight queens counted",
            stresses="branch",
            published="OEIS A000170",
            buffer=4,
            stack=492,
            code=(215, 301),
        ),
        PackKernel(
            name="copy",
            version=1,
            work="16 KiB copied with a stride",
            stresses="memory",
            published=None,
            buffer=2048,
            stack=168,
            code=(253, 295),
        ),
        PackKernel(
            name="control",
            version=1,
            work="256 steps of a fixed-point controller",
            stresses="control",
            published=None,
            buffer=1024,
            stack=168,
            code=(232, 240),
        ),
    )
}
SMALL = tuple(name for name, kernel in KERNELS.items() if kernel.small)


def chosen(text: str | None, option: str = "--kernels") -> tuple[str, ...]:
    """The kernels that an option names, in the pack's order: `small`, names with commas, or all.

    Raises
    ------
    FaultError
        For names that are no kernels of the pack.
    """
    if text is None:
        return tuple(KERNELS)
    if text == "small":
        return SMALL
    names = [name.strip() for name in text.split(",")]
    unknown = [name for name in names if name not in KERNELS]
    if unknown:
        known = ("small", *KERNELS)
        expected = "small, or some of " + ", ".join(KERNELS)
        raise FaultError(
            [Fault(option, f'"{n}"', expected, nearest=nearest(n, known)) for n in unknown]
        )
    return tuple(name for name in KERNELS if name in names)


def choosing(names: Sequence[str]) -> tuple[str, ...]:
    """The compiler's definitions that build these kernels of the pack."""
    if set(names) == set(KERNELS):
        return ()
    if set(names) == set(SMALL):
        return ("-DKERNELS_SMALL",)
    return tuple(f"-DKERNEL_{name.upper()}" for name in names)


def shaping(level: str, machine: Sequence[str] = ()) -> str:
    """The flags that shape the kernels' code, as the log tells them."""
    return " ".join((*SHAPING, level, *machine))


def sources() -> Iterator[tuple[str, str]]:
    """(name below the folder, text) of every C file, header and linker script of the pack."""
    for path in sorted(PACK.rglob("*")):
        if path.suffix in (".c", ".h", ".ld"):
            yield path.relative_to(PACK).as_posix(), path.read_text(encoding="utf-8")


def digest() -> str:
    """Of the kernels' own sources, ports apart: the first sixteen digits of their SHA-256."""
    whole = hashlib.sha256()
    for name, text in sources():
        if "/" not in name and name != "built.h":
            whole.update(f"{name}\0{text}\0".encode())
    return whole.hexdigest()[:16]
