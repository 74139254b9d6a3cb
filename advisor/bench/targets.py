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
from pathlib import Path

from advisor.bench.kernels import (
    KERNELS,
    LEVEL,
    PACK,
    SHAPING,
    SMALL,
    SMALL_RAM,
    STACK,
    WHOLE_RAM,
    choosing,
    digest,
    shaping,
)
from advisor.bench.runlog import Memory, RunLog, read_log
from advisor.dataclass import dataclass
from advisor.faults import AdvisorError, FaultError

LIMIT_S = 120.0  # of one build or run
WARNINGS = ("-Wall", "-Wextra")
BARE = ("-nostdlib", "-nostartfiles")  # of linking, for machines without a C library
IDLE_MS, SLEEP_MS = 2, 3  # that an emulated port idles and sleeps: long enough to be woken
FEW, MANY = 1, 11  # units of work in a run, to tell a unit's instructions from the harness's


@dataclass(frozen=True, slots=True)
class Target:
    """What the pack can be built for.

    Attributes
    ----------
    compiler : the command. machine : its flags. code, ram : addresses. emulator : the command and
    its arguments, () for this host. per_tick : instructions a tick of the port stands for.
    defined : what the port must be told.
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
    defined: tuple[str, ...] = ()

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
        defined=(f"-DPORT_TICKS_PER_MS={1e6 / ns:.0f}u",),
    )


# The emulator's machines and the compiler's processors go by their own names, here and only here.
TARGETS: Mapping[str, Target] = {
    t.name: t
    for t in (
        Target("host", "this machine", "cc"),
        _arm(
            "armv6m",
            "Armv6-M, soft float",
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
    version: int
    right: bool
    code_bytes: int
    instructions: int | None


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass over the pack on a target, and what came of it.

    `flags` are those that shape the kernels' code, `pack` is the digest of their sources, `ram`
    the bytes of RAM that the pack was linked for and `memory` what it took; both None on the host.
    """

    target: str
    compiler: str
    flags: str
    pack: str
    ram: int | None
    memory: Memory | None
    kernels: tuple[Verified, ...]


def missing_tools(target: Target) -> tuple[str, ...]:
    """Commands that the target needs and this machine lacks."""
    return tuple(tool for tool in target.tools if shutil.which(tool) is None)


def run_pass(
    target: Target,
    work: Path,
    level: str = LEVEL,
    pack: Path = PACK,
    names: Sequence[str] = tuple(KERNELS),
) -> Pass:
    """Build kernels of the pack for a target, run them, and count.

    An emulated pack is linked for so much RAM as its kernels are promised to fit into.

    Parameters
    ----------
    work : an empty folder to build in. level : optimisation. pack : where the sources stand.
    names : the kernels.

    Raises
    ------
    ToolMissingError, RunFailedError
    """
    missing = missing_tools(target)
    if missing:
        raise ToolMissingError(f"{target.name}: not on this machine: {', '.join(missing)}")
    asked = _Asked(target, level, pack, tuple(names))
    few, log = _built_and_run(asked, work, FEW)
    ticks: dict[str, float] = {}
    if target.per_tick is not None:
        _, more = _built_and_run(asked, work, MANY)
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
            version=log.versions(name)[0],
            right=right,
            code_bytes=_size(target, few / f"{name}.o"),
            instructions=_whole(target, name, ticks[name]) if ticks else None,
        )
        for name, right in log.kernels.items()
    )
    return Pass(
        target=target.name,
        compiler=_version(target.compiler),
        flags=asked.flags,
        pack=digest(),
        ram=asked.ram if target.emulator else None,
        memory=log.memory,
        kernels=kernels,
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is to be built and run."""

    target: Target
    level: str
    pack: Path
    names: tuple[str, ...]

    @property
    def flags(self) -> str:
        """Those that shape the kernels' code."""
        return shaping(self.level, self.target.machine)

    @property
    def ram(self) -> int:
        """Bytes of RAM that the kernels must fit into."""
        return SMALL_RAM if set(self.names) <= set(SMALL) else WHOLE_RAM


def _whole(target: Target, kernel: str, ticks: float) -> int:
    """Instructions of one unit of work; a count that is no whole number counted something else."""
    assert target.per_tick is not None
    found = ticks * target.per_tick
    if abs(found - round(found)) > 0.25:
        raise RunFailedError(
            f"{target.name}: {kernel} took {found:.2f} instructions, no whole ones"
        )
    return round(found)


def _built_and_run(asked: _Asked, work: Path, units: int) -> tuple[Path, RunLog]:
    target = asked.target
    folder = work / f"{target.name}-{units}"
    folder.mkdir()
    program = _built(asked, folder, units)
    run = [*target.emulator, *_QUIET, *_HOSTED, "-kernel"] if target.emulator else []
    # emulated output arrives on standard error; 1 says that a check failed, which the lines tell
    done = _call([*run, str(program)], good=(0, 1))
    try:
        log = read_log(done.stderr if target.emulator else done.stdout, f"{target.name}'s output")
    except FaultError as error:
        raise RunFailedError(f"{target.name}: garbled output: {error}") from None
    _whole_log(asked, log)
    return folder, log


def _built(asked: _Asked, folder: Path, units: int) -> Path:
    """The program, built."""
    target, pack = asked.target, asked.pack
    shape = [*SHAPING, asked.level, *target.machine]
    common = [target.compiler, *WARNINGS, *shape, f"-I{pack}", "-DRUNS=2", f"-DUNITS={units}"]
    common += [f"-DPORT_TICKS_MASK={target.ticks_mask:#x}u", *target.defined]
    common += [f"-DIDLE_MS={IDLE_MS}", f"-DSLEEP_MS={SLEEP_MS}", *choosing(asked.names)]
    common += [f'-DPACK_DIGEST="{digest()}"', f'-DPACK_FLAGS="{asked.flags}"']
    objects = []
    for source in (*sorted(pack.glob("*.c")), pack / "ports" / f"{target.port}.c"):
        made = folder / f"{source.stem}.o"
        _call([*common, "-c", str(source), "-o", str(made)])
        objects.append(str(made))
    program = folder / "pack"
    link = [target.compiler, *shape, *objects, "-o", str(program)]
    if target.emulator:
        sizes = {"CODE": target.code, "RAM": target.ram, "RAM_SIZE": asked.ram, "STACK": STACK}
        symbols = ",".join(f"--defsym={name}={value:#x}" for name, value in sizes.items())
        link += [*BARE, f"-Wl,{symbols}", f"-T{pack / 'ports' / 'memory.ld'}", "-lgcc"]
    _call(link)
    return program


def _whole_log(asked: _Asked, log: RunLog) -> None:
    """Refuse a run that did not do all that it was built for, or had too little RAM."""
    name = asked.target.name
    missing = [kernel for kernel in asked.names if kernel not in log.kernels]
    if missing:
        raise RunFailedError(f"{name}: no line of {', '.join(missing)}: no pass")
    if not log.ended or [line.kernel for line in log.lines] != [
        kernel for kernel in asked.names for _ in range(2)
    ]:
        raise RunFailedError(f"{name}: the run broke off after {len(log.lines)} lines")
    for kernel in asked.names:
        found = log.versions(kernel)
        if found != (KERNELS[kernel].version,):
            raise RunFailedError(
                f"{name}: {kernel} is of version {', '.join(map(str, found))}, not of "
                f"{KERNELS[kernel].version}"
            )
    if (log.built.flags, log.built.pack) != (asked.flags, digest()):
        raise RunFailedError(f"{name}: the log is of another build: {log.built}")
    if [state.state for state in log.states] != ["idle", "sleep"]:
        raise RunFailedError(f"{name}: no idle and no sleeping stretch after the kernels")
    memory = log.memory
    if asked.target.emulator and (memory is None or memory.stack >= memory.room):
        raise RunFailedError(f"{name}: the stack took all the RAM that it had, or more")


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
