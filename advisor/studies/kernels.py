"""`kernels`: the pack that boards run on the bench: listed, exported, verified."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.bench.kernels import (
    KERNELS,
    LEVEL,
    PACK,
    PackKernel,
    choosing,
    digest,
    ram_of,
    shaping,
    sources,
)
from advisor.bench.notes import read_notes
from advisor.bench.runlog import RunLog, read_run
from advisor.bench.targets import TARGETS, Pass, Target, missing_tools, run_pass
from advisor.dataclass import dataclass
from advisor.faults import AdvisorError, Fault, FaultError, nearest
from advisor.stages import Progress, begin
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd

COUNTED = (
    "Instructions are counted by an emulator, per unit of work, with the compiler and flags named. "
    "They say nothing of time, current or energy, and rank no parts."
)


@dataclass(frozen=True, slots=True)
class Pack:
    """The kernels of the pack."""

    kernels: tuple[PackKernel, ...]

    @property
    def ram(self) -> tuple[int, int]:
        """Bytes of RAM that the small set takes at most, and all of them, stack included."""
        return ram_of(k for k in self.kernels if k.small), ram_of(self.kernels)

    def rows(self) -> list[dict[str, Any]]:
        """A row a kernel; RAM and code in bytes."""
        return [
            {
                "name": k.name,
                "version": k.version,
                "work": k.work,
                "stresses": k.stresses,
                "published": k.published,
                "check": k.check,
                "ram": k.ram,
                "buffer": k.buffer,
                "stack": k.stack,
                "code_least": k.code[0],
                "code_most": k.code[1],
                "small": k.small,
            }
            for k in self.kernels
        ]

    def to_frame(self) -> pd.DataFrame:
        """A row a kernel."""
        return frame(self.rows())


@dataclass(frozen=True, slots=True)
class Verification:
    """Passes over the pack, targets left out for want of tools, and whether all computed right."""

    passes: tuple[Pass, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def right(self) -> bool:
        """Whether something ran and every kernel computed right."""
        return bool(self.passes) and all(k.right for p in self.passes for k in p.kernels)

    def rows(self) -> list[dict[str, Any]]:
        """A row a target and kernel."""
        return [
            {**plain(k), "compiler": p.compiler, "flags": p.flags, "pack": p.pack}
            for p in self.passes
            for k in p.kernels
        ]

    def to_frame(self) -> pd.DataFrame:
        """A row a target and kernel."""
        return frame(self.rows())


@dataclass(frozen=True, slots=True)
class LoggedKernel:
    """A kernel by a log's lines; `fault` says why it does not pass, None where it does."""

    kernel: str
    version: int | None
    runs: int
    fault: str | None


@dataclass(frozen=True, slots=True)
class Logged:
    """A log held against the kernels that were asked of it.

    `asked` says by what they were asked. `remarks` are on the whole log, and make no pass worse.
    """

    log: RunLog
    asked: str
    kernels: tuple[LoggedKernel, ...]
    remarks: tuple[str, ...]

    @property
    def right(self) -> bool:
        """Whether every kernel that was asked for is there, whole, of our version and right."""
        return self.log.ended and all(k.fault is None for k in self.kernels)

    def rows(self) -> list[dict[str, Any]]:
        """A row a kernel."""
        return [plain(k) for k in self.kernels]

    def document(self) -> dict[str, Any]:
        """As `kernels verify --log` prints it in JSON."""
        return {
            "right": self.right,
            "asked": self.asked,
            "kernels": self.rows(),
            "remarks": list(self.remarks),
            **plain(self.log),
        }

    def to_frame(self) -> pd.DataFrame:
        """A row a kernel."""
        return frame(self.rows())


def kernels() -> Pack:
    """The kernels of the pack, in the order they run."""
    return Pack(tuple(KERNELS.values()))


def exported(names: Sequence[str] = tuple(KERNELS), level: str = LEVEL) -> dict[str, bytes]:
    """The pack's files, name below the folder to bytes: sources, ports, build, README and notes.

    Parameters
    ----------
    names : the kernels that `build.sh` builds and the notes tell of; the sources are of all.
    level : optimisation.
    """
    files = dict(sources())
    for name in ("README.md", "build.sh", "notes.yaml"):
        files[name] = (PACK / name).read_text(encoding="utf-8")
    files["built.h"] = files["built.h"].replace(
        'PACK_DIGEST "unknown"', f'PACK_DIGEST "{digest()}"'
    )
    files["build.sh"] = files["build.sh"].replace("@CHOSEN@", " ".join(choosing(names)))
    files["notes.yaml"] = _of(names, files["notes.yaml"]).replace("@DIGEST@", digest())
    return {name: text.replace("@FLAGS@", shaping(level)).encode() for name, text in files.items()}


def _of(names: Sequence[str], notes: str) -> str:
    """The notes without the lines of kernels that were not chosen."""
    out = []
    for line in notes.splitlines(keepends=True):
        found = re.match(r"  - \{kernel: ([a-z]+),|    ([a-z]+): \{time:", line)
        if found is None or (found[1] or found[2]) in names:
            out.append(line)
    return "".join(out)


def verify_log(path: Path, names: Sequence[str] = (), bench: Path | None = None) -> Logged:
    """Hold the lines that a board printed against the kernels that were asked for.

    Parameters
    ----------
    names : the kernels; empty for those of `bench`, the session's notes, or without them for those
    that the log says were built, or all of the pack where it does not.

    Raises
    ------
    FaultError
        For a log or notes that cannot be read.
    """
    log = read_run(path)
    asked, by = tuple(names), "as asked"
    if not asked and bench is not None:
        pulses = read_notes(bench).pulses
        asked, by = tuple(dict.fromkeys(s.kernel for s in pulses if s.kernel)), f"as in {bench}"
    elif not asked and log.built.kernels is not None:
        asked, by = log.built.kernels, "as built"
    elif not asked:
        asked, by = tuple(KERNELS), "all of the pack"
    remarks = []
    if log.built.pack is not None and log.built.pack != digest():
        remarks.append(
            f"The log is of another pack than `kernels export` writes now: {log.built.pack}, "
            f"not {digest()}."
        )
    if not log.ended:
        remarks.append("The last line is not there: the run broke off, or the log was cut.")
    # what ran beyond that is told too
    all_of_them = dict.fromkeys((*asked, *log.kernels))
    return Logged(log, by, tuple(_logged(log, name) for name in all_of_them), tuple(remarks))


def _logged(log: RunLog, name: str) -> LoggedKernel:
    versions, runs = log.versions(name), log.runs(name)
    ours = KERNELS[name].version if name in KERNELS else None
    fault = None
    if not runs:
        fault = "not in the log"
    elif not log.kernels[name]:
        fault = "WRONG"
    elif len(versions) > 1 or (ours is not None and versions != (ours,)):
        told = " and ".join(map(str, versions))
        fault = f"version {told}, not {ours}" if ours is not None else f"versions {told}"
    elif log.built.runs is not None and runs != log.built.runs:
        fault = f"{runs} of {log.built.runs} runs"
    return LoggedKernel(
        kernel=name,
        version=versions[0] if len(versions) == 1 else None,
        runs=runs,
        fault=fault,
    )


def verify(
    names: Sequence[str] = (),
    level: str = LEVEL,
    chosen: Sequence[str] = tuple(KERNELS),
    progress: Progress | None = None,
) -> Verification:
    """Build the pack, run it and see that it computes right.

    Parameters
    ----------
    names : targets; empty for all that this machine has the tools for. level : optimisation.
    chosen : kernels. progress : told how many targets are through, of how many.

    Raises
    ------
    FaultError
        For a target that is none. AdvisorError for tools that a named target lacks, and for a
        build or a run that fails.
    """
    unknown = [n for n in names if n not in TARGETS]
    if unknown:
        raise FaultError(
            tuple(
                Fault(
                    path="--target",
                    read=f'"{n}"',
                    expected="one of " + ", ".join(TARGETS),
                    place=None,
                    nearest=nearest(n, TARGETS),
                )
                for n in unknown
            )
        )
    targets: list[Target] = [TARGETS[n] for n in dict.fromkeys(names)] or list(TARGETS.values())
    lacking = {t.name: ", ".join(missing_tools(t)) for t in targets if missing_tools(t)}
    if names and lacking:
        raise AdvisorError(
            "; ".join(f"{name}: not on this machine: {tools}" for name, tools in lacking.items())
        )
    passes = []
    with tempfile.TemporaryDirectory() as folder:
        for done, target in enumerate(targets):
            begin(progress, f"building and running for {target.name}")
            if progress is not None:
                progress(done, len(targets))
            if target.name not in lacking:
                passes.append(run_pass(target, Path(folder), level, names=chosen))
    if not passes:
        raise AdvisorError("no compiler on this machine: " + "; ".join(lacking.values()))
    return Verification(tuple(passes), tuple(lacking.items()))
