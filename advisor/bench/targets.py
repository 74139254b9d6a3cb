"""Building the pack and running it: on this host, or under system emulation.

An emulator counts instructions; it knows nothing of time, wait states, current or energy. So what
comes out of an emulated run is that the kernels compute right there, how large they are, and how
many instructions a unit of work takes with one compiler and one set of flags. None of it ranks
parts.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from advisor.bench.kernels import KERNELS, PACK, RunLog, read_log
from advisor.faults import AdvisorError, FaultError

LIMIT_S = 120.0  # of one build or run
FLAGS = ("-std=c99", "-Wall", "-Wextra")
# without freestanding, loops become calls of a library, which is then what is measured
BARE = ("-ffreestanding", "-nostdlib", "-nostartfiles", "-ffunction-sections", "-Wl,--gc-sections")
FEW, MANY = 1, 11  # units of work in a run, to tell a unit's instructions from the harness's


@dataclass(frozen=True, slots=True)
class Target:
    """What the pack can be built for.

    Attributes
    ----------
    compiler : the command. machine : its flags. code, ram : addresses. emulator : the command and
    its arguments, () for this host. per_tick : instructions a tick of the port stands for.
    """

    name: str
    about: str
    compiler: str
    machine: tuple[str, ...] = ()
    port: str = "host"
    code: int = 0
    ram: int = 0
    emulator: tuple[str, ...] = ()
    per_tick: float | None = None
    ticks_mask: int = 0xFFFFFFFF

    @property
    def tools(self) -> tuple[str, ...]:
        """Commands that must be on the path."""
        return (self.compiler, *self.emulator[:1])


def _arm(name: str, about: str, cpu: str, machine: str, code: int, ram: int, ns: float) -> Target:
    # the timer's period in ns over the 128 ns that an instruction takes at shift=7
    return Target(
        name=name,
        about=about,
        compiler="arm-none-eabi-gcc",
        machine=(*cpu.split(), "-mthumb"),
        port="arm",
        code=code,
        ram=ram,
        emulator=("qemu-system-arm", "-M", machine, "-icount", "shift=7"),
        per_tick=ns / 128,
        ticks_mask=0xFFFFFF,
    )


# The emulator's machines and the compiler's processors go by their own names, here and only here.
TARGETS: Mapping[str, Target] = {
    t.name: t
    for t in (
        Target("host", "this machine", "cc"),
        _arm(
            "armv6m",
            "Armv6-M, soft float, 16 KiB RAM",
            "-mcpu=cortex-m0plus",
            "microbit",
            0,
            0x20000000,
            62.5,
        ),
        _arm(
            "armv7em",
            "Armv7E-M with a float unit",
            "-mcpu=cortex-m4 -mfloat-abi=hard -mfpu=fpv4-sp-d16",
            "mps2-an386",
            0,
            0x20000000,
            40.0,
        ),
        _arm(
            "armv8m",
            "Armv8-M with a float unit",
            "-mcpu=cortex-m33 -mfloat-abi=hard -mfpu=fpv5-sp-d16",
            "mps2-an505",
            0x10000000,
            0x38000000,
            50.0,
        ),
        Target(
            name="rv32imc",
            about="32-bit RISC-V, compressed, soft float",
            compiler="riscv64-unknown-elf-gcc",
            machine=("-march=rv32imc", "-mabi=ilp32", "-Wl,--no-relax"),
            port="riscv",
            code=0x80000000,
            ram=0x80100000,
            emulator=(
                *("qemu-system-riscv32", "-M", "virt", "-bios", "none"),
                *("-cpu", "rv32,a=off,f=off,d=off", "-icount", "shift=0"),
            ),
            per_tick=1.0,
        ),
    )
}
RAM_SIZE = 16 * 1024
_QUIET = ("-display", "none", "-monitor", "none", "-serial", "none")
_HOSTED = ("-semihosting-config", "enable=on,target=native")


class ToolMissingError(AdvisorError):
    """A compiler or an emulator is not on this machine."""


class RunFailedError(AdvisorError):
    """A build or a run that did not end well."""


@dataclass(frozen=True, slots=True)
class Verified:
    """A kernel on a target.

    `code_bytes` is its program code and constants; `instructions` those of one unit of work, None
    on the host, where they are not counted.
    """

    target: str
    kernel: str
    right: bool
    code_bytes: int
    instructions: int | None


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass over the pack on a target: which compiler and flags, and what came of it."""

    target: str
    compiler: str
    flags: str
    kernels: tuple[Verified, ...]


def missing_tools(target: Target) -> tuple[str, ...]:
    """Commands that the target needs and this machine lacks."""
    return tuple(tool for tool in target.tools if shutil.which(tool) is None)


def run_pass(target: Target, work: Path, level: str = "-Os", pack: Path = PACK) -> Pass:
    """Build the pack for a target, run it, and count.

    Parameters
    ----------
    work : an empty folder to build in. level : optimisation. pack : where the sources stand.

    Raises
    ------
    ToolMissingError, RunFailedError
    """
    missing = missing_tools(target)
    if missing:
        raise ToolMissingError(f"{target.name}: not on this machine: {', '.join(missing)}")
    flags = (*FLAGS, level, *target.machine, *(BARE if target.emulator else ()))
    few, log = _built_and_run(target, flags, work, pack, FEW)
    ticks: dict[str, float] = {}
    if target.per_tick is not None:
        _, more = _built_and_run(target, flags, work, pack, MANY)
        before = {line.kernel: line.ticks for line in log.lines}
        span = target.ticks_mask + 1
        for line in more.lines:
            one = before[line.kernel]
            # a counter of few bits may have gone round in the longer run, never in the shorter
            rounds = round((MANY * one / FEW - line.ticks) / span)
            ticks[line.kernel] = (line.ticks + rounds * span - one) / (MANY - FEW)
    kernels = tuple(
        Verified(
            target=target.name,
            kernel=name,
            right=right,
            code_bytes=_size(target, few / f"{name}.o"),
            instructions=_whole(target, name, ticks[name]) if ticks else None,
        )
        for name, right in log.kernels.items()
    )
    return Pass(target.name, _version(target.compiler), " ".join(flags), kernels)


def _whole(target: Target, kernel: str, ticks: float) -> int:
    """Instructions of one unit of work; a count that is no whole number counted something else."""
    assert target.per_tick is not None
    found = ticks * target.per_tick
    if abs(found - round(found)) > 0.25:
        raise RunFailedError(
            f"{target.name}: {kernel} took {found:.2f} instructions, no whole ones"
        )
    return round(found)


def _built_and_run(
    target: Target, flags: Sequence[str], work: Path, pack: Path, units: int
) -> tuple[Path, RunLog]:
    folder = work / f"{target.name}-{units}"
    folder.mkdir()
    common = [target.compiler, *flags, f"-I{pack}", "-DRUNS=2", f"-DUNITS={units}"]
    common.append(f"-DPORT_TICKS_MASK={target.ticks_mask:#x}u")
    objects = []
    for source in (*sorted(pack.glob("*.c")), pack / "ports" / f"{target.port}.c"):
        made = folder / f"{source.stem}.o"
        _call([*common, "-c", str(source), "-o", str(made)])
        objects.append(str(made))
    program = folder / "pack"
    link = [target.compiler, *flags, *objects, "-o", str(program)]
    if target.emulator:
        sizes = {"CODE": target.code, "RAM": target.ram, "RAM_SIZE": RAM_SIZE}
        symbols = ",".join(f"--defsym={name}={value:#x}" for name, value in sizes.items())
        link += [f"-Wl,{symbols}", f"-T{pack / 'ports' / 'memory.ld'}", "-lgcc"]
    _call(link)
    run = [*target.emulator, *_QUIET, *_HOSTED, "-kernel"] if target.emulator else []
    # emulated output arrives on standard error; 1 says that a check failed, which the lines tell
    done = _call([*run, str(program)], good=(0, 1))
    try:
        log = read_log(done.stderr if target.emulator else done.stdout, f"{target.name}'s output")
    except FaultError as error:
        raise RunFailedError(f"{target.name}: garbled output: {error}") from None
    told = [line.kernel for line in log.lines]
    wanted = [name for name in log.kernels for _ in range(2)]
    if not log.ended or told != wanted or (pack == PACK and list(log.kernels) != list(KERNELS)):
        raise RunFailedError(f"{target.name}: the run broke off after {len(log.lines)} lines")
    return folder, log


def _call(command: Sequence[str], good: Sequence[int] = (0,)) -> subprocess.CompletedProcess[str]:
    try:
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            errors="replace",
            stdin=subprocess.DEVNULL,
            timeout=LIMIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise RunFailedError(f"{command[0]}: no end within {LIMIT_S:.0f} s") from None
    if done.returncode not in good:
        words = (done.stderr or done.stdout).strip().splitlines()[-12:]
        raise RunFailedError(
            f"{command[0]}: exit code {done.returncode}\n" + "\n".join(f"  {w}" for w in words)
        )
    return done


def _size(target: Target, made: Path) -> int:
    """Bytes of program code and constants in an object file."""
    size = re.sub(r"(gcc|cc)\Z", "size", target.compiler)
    if shutil.which(size) is None:
        raise ToolMissingError(f"{target.name}: not on this machine: {size}")
    return int(_call([size, str(made)]).stdout.splitlines()[1].split()[0])


def _version(compiler: str) -> str:
    return _call([compiler, "--version"]).stdout.splitlines()[0].strip()
