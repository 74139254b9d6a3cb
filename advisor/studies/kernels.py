"""`kernels`: the pack that boards run on the bench: listed, exported, verified."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.bench.kernels import KERNELS, PACK, PackKernel, digest, sources
from advisor.bench.targets import TARGETS, Pass, Target, missing_tools, run_pass
from advisor.faults import AdvisorError, Fault, FaultError, nearest
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

    def rows(self) -> list[dict[str, Any]]:
        """A row a kernel."""
        return [{**plain(k), "check": k.check} for k in self.kernels]

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
            {**plain(k), "compiler": p.compiler, "flags": p.flags}
            for p in self.passes
            for k in p.kernels
        ]

    def to_frame(self) -> pd.DataFrame:
        """A row a target and kernel."""
        return frame(self.rows())


def kernels() -> Pack:
    """The kernels of the pack, in the order they run."""
    return Pack(tuple(KERNELS.values()))


def exported() -> dict[str, bytes]:
    """The pack's files, name below the folder to bytes: sources, ports, README and notes."""
    files = {name: text.encode() for name, text in sources()}
    for name in ("README.md", "notes.yaml"):
        files[name] = (PACK / name).read_bytes()
    files["notes.yaml"] = files["notes.yaml"].replace(b"DIGEST", digest().encode())
    return files


def verify(names: Sequence[str] = (), level: str = "-Os") -> Verification:
    """Build the pack, run it and see that it computes right.

    Parameters
    ----------
    names : targets; empty for all that this machine has the tools for. level : optimisation.

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
    chosen: list[Target] = [TARGETS[n] for n in dict.fromkeys(names)] or list(TARGETS.values())
    lacking = {t.name: ", ".join(missing_tools(t)) for t in chosen if missing_tools(t)}
    if names and lacking:
        raise AdvisorError(
            "; ".join(f"{name}: not on this machine: {tools}" for name, tools in lacking.items())
        )
    passes = []
    with tempfile.TemporaryDirectory() as folder:
        for target in chosen:
            if target.name not in lacking:
                passes.append(run_pass(target, Path(folder), level))
    if not passes:
        raise AdvisorError("no compiler on this machine: " + "; ".join(lacking.values()))
    return Verification(tuple(passes), tuple(lacking.items()))
