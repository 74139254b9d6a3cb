"""The log of the pack: the lines that a pass over it prints, and what they tell of the build.

It is what `distil` believes of a board: how the pack was built, which version of each work ran,
that every run computed right, and for how long it idled and slept.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import field, fields
from pathlib import Path

from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, Place
from advisor.source import read_bytes

FIRST = 1  # the version of works that tell none
UNKNOWN = "unknown"  # what a pack says of its build where it was not told


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run as its line tells it; `ticks` in the port's own unit, `version` of the work."""

    kernel: str
    version: int
    run: int
    units: int
    ticks: int
    right: bool


@dataclass(frozen=True, slots=True)
class BuildLines:
    """How the pack was built, by its own lines; None where it tells nothing or does not know.

    `optimised` is what the compiler itself said: for `size`, for `speed`, or `none`. `kernels`
    were chosen, and each has `runs` runs.
    """

    pack: str | None = None
    compiler: str | None = None
    flags: str | None = None
    optimised: str | None = None
    kernels: tuple[str, ...] | None = None
    runs: int | None = None


@dataclass(frozen=True, slots=True)
class StateLine:
    """A stretch without work that was held for `ms` milliseconds: `idle` or `sleep`."""

    state: str
    ms: int


@dataclass(frozen=True, slots=True)
class Memory:
    """RAM in bytes: of variables, that the stack reached, and that the stack had."""

    fixed: int
    stack: int
    room: int


@dataclass(frozen=True, slots=True)
class RunLog:
    """The lines of one pass over the pack; `ended` when its last line was read."""

    lines: tuple[RunLine, ...]
    ended: bool
    built: BuildLines = field(default_factory=BuildLines)
    states: tuple[StateLine, ...] = ()
    memory: Memory | None = None

    @property
    def kernels(self) -> Mapping[str, bool]:
        """Whether every run of a kernel computed right, by kernel, in the order they ran."""
        found: dict[str, bool] = {}
        for line in self.lines:
            found[line.kernel] = found.get(line.kernel, True) and line.right
        return found

    def versions(self, kernel: str) -> tuple[int, ...]:
        """The versions of a kernel's work that its lines tell; one in the log of one pass."""
        return tuple(sorted({line.version for line in self.lines if line.kernel == kernel}))

    def runs(self, kernel: str) -> int:
        """How many runs of a kernel there are."""
        return sum(line.kernel == kernel for line in self.lines)


def read_run(path: Path) -> RunLog:
    """The lines that a board printed, from a file.

    Raises
    ------
    FaultError
        For a file that cannot be read or has no such lines.
    """
    return read_log(read_bytes(path, str(path)).decode("utf-8", "replace"), str(path))


_LINE = re.compile(
    r"kernel=(?P<kernel>[a-z0-9-]+)(?: version=(?P<version>[1-9][0-9]{0,3}))? "
    r"run=(?P<run>[0-9]{1,9}) units=(?P<units>[0-9]{1,9}) ticks=(?P<ticks>[0-9]{1,12}) "
    r"check=(?P<check>right|WRONG)\Z"
)
_BUILT = re.compile(r"built (?P<name>[a-z]+)=(?P<value>.+)\Z")
_STATE = re.compile(r"state=(?P<state>idle|sleep) ms=(?P<ms>[0-9]{1,10})\Z")
_MEMORY = re.compile(
    r"memory fixed=(?P<fixed>[0-9]{1,10}) stack=(?P<stack>[0-9]{1,10}) room=(?P<room>[0-9]{1,10})\Z"
)
_END = re.compile(r"end check=(?P<check>right|WRONG)\Z")
# what a line begins with, its pattern and its shape in words
_SHAPES = (
    ("kernel=", _LINE, "kernel=NAME version=N run=N units=N ticks=N check=right|WRONG"),
    ("built ", _BUILT, "built NAME=TEXT"),
    ("state=", _STATE, "state=idle|sleep ms=N"),
    ("memory fixed=", _MEMORY, "memory fixed=N stack=N room=N"),
    ("end check=", _END, "end check=right|WRONG"),
)
_NAMES = tuple(f.name for f in fields(BuildLines))


def read_log(text: str, file: str) -> RunLog:
    """Read the lines that a run of the pack printed; other lines, as of a boot, are passed over.

    Raises
    ------
    FaultError
        For a line that begins as one of ours and is garbled, for lines of several builds or of
        flags that the compiler was not given, or for a log without any run.
    """
    lines, states, ended, memory = [], [], False, None
    built: dict[str, str] = {}
    faults: list[Fault] = []
    for number, raw in enumerate(text.splitlines(), 1):
        line, place = raw.strip(), Place(file, number, 1)
        shape = next((s for s in _SHAPES if line.startswith(s[0])), None)
        if shape is None:
            continue
        found = shape[1].match(line)
        if found is None:
            faults.append(Fault("log", f'"{line}"', shape[2], place))
            continue
        told = found.groupdict()
        if shape[1] is _LINE:
            lines.append(
                RunLine(
                    kernel=told["kernel"],
                    version=int(told["version"] or FIRST),
                    run=int(told["run"]),
                    units=int(told["units"]),
                    ticks=int(told["ticks"]),
                    right=told["check"] == "right",
                )
            )
        elif shape[1] is _BUILT:
            faults += _keep(built, told["name"], told["value"], place)
        elif shape[1] is _STATE:
            states.append(StateLine(told["state"], int(told["ms"])))
        elif shape[1] is _MEMORY:
            memory = Memory(**{name: int(value) for name, value in told.items()})
        else:
            ended = True
    if not lines and not faults:
        expected = "the lines a run prints, kernel=…"
        faults.append(Fault("log", "no kernel's line", expected, Place(file, 1, 1)))
    if faults:
        raise FaultError(faults)
    return RunLog(
        lines=tuple(lines),
        ended=ended,
        built=_build(built),
        states=tuple(states),
        memory=memory,
    )


def _keep(built: dict[str, str], name: str, value: str, place: Place) -> list[Fault]:
    """Keep what a line tells of the build; what is wrong with it."""
    if name not in _NAMES:
        return [Fault("log", f'"{name}"', "one of " + ", ".join(_NAMES), place)]
    if name == "runs" and not re.fullmatch("[0-9]{1,9}", value):
        return [Fault("log", f'"built runs={value}"', "built runs=N", place)]
    if built.setdefault(name, value) != value:
        return [Fault("log", f'{name} "{value}"', f'one build: "{built[name]}" above', place)]
    flags, optimised = built.get("flags", UNKNOWN), built.get("optimised", UNKNOWN)
    if (
        name in ("flags", "optimised")
        and UNKNOWN not in (flags, optimised)
        and optimised != optimised_by(flags)
    ):
        read = f'optimised "{optimised}", by the compiler, with the flags "{flags}"'
        return [Fault("log", read, "the flags that the kernels were built with", place)]
    return []


def optimised_by(flags: str) -> str:
    """What a compiler says of flags, `size`, `speed` or `none`: the last level counts."""
    levels = [flag[2:] for flag in flags.split() if flag.startswith("-O")]
    if not levels or levels[-1] == "0":
        return "none"
    return "size" if levels[-1] in ("s", "z") else "speed"


def _build(told: Mapping[str, str]) -> BuildLines:
    known = {name: value for name, value in told.items() if value != UNKNOWN}
    kernels, runs = known.get("kernels"), known.get("runs")
    return BuildLines(
        pack=known.get("pack"),
        compiler=known.get("compiler"),
        flags=known.get("flags"),
        optimised=known.get("optimised"),
        kernels=None if kernels is None else tuple(kernels.split(",")),
        runs=None if runs is None else int(runs),
    )
