"""What a log tells of the build, held against the notes: whose work was measured, built how.

Notes are written by hand and may be those of the build before; the log comes out of the program
that ran.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from advisor.bench.kernels import KERNELS, digest
from advisor.bench.notes import Session
from advisor.bench.runlog import BuildLines, RunLog, optimised_by
from advisor.catalogue.schema_parts import Build
from advisor.faults import FaultLog


def as_built(session: Session, run: RunLog, log: FaultLog) -> Session:
    """The session with the build that the log tells, where the notes do not say more.

    Notes a fault for what the notes state otherwise. Flags may be fewer in the notes than in the
    log, a compiler's text another as long as its version is the same.
    """
    stated, told = session.notes.built, run.built
    whole: dict[str, str] = {}
    for name, same in (("pack", str.__eq__), ("compiler", _one_version), ("flags", _fewer)):
        notes, line = getattr(stated, name), getattr(told, name)
        if notes is None or line is None:
            if line is not None:
                whole[name] = line
            continue
        if not same(notes, line):
            session.fault(log, f"built.{name}", f'"{notes}", and the log "{line}"', _EXPECTED)
        elif name == "flags":
            whole[name] = line
    _level(session, stated, told, log)
    return replace(session, notes=replace(session.notes, built=replace(stated, **whole)))


_EXPECTED = "what the log tells, or the log of what the notes tell"


def _level(session: Session, stated: Build, told: BuildLines, log: FaultLog) -> None:
    """Note flags of the notes that the compiler was not given, by its own word in the log."""
    if stated.flags is None or told.flags is not None or told.optimised is None:
        return
    if "-O" in stated.flags and optimised_by(stated.flags) != told.optimised:
        read = f'"{stated.flags}", and the log optimised for "{told.optimised}"'
        session.fault(log, "built.flags", read, _EXPECTED)


def _one_version(notes: str, line: str) -> bool:
    """Whether two texts on a compiler may be of one: by the first number with dots of each."""
    one, other = (re.search(r"\d+(?:\.\d+)*", text) for text in (notes, line))
    if one is None or other is None:
        return True
    short, long = sorted((one[0].split("."), other[0].split(".")), key=len)
    return long[: len(short)] == short


def _fewer(notes: str, line: str) -> bool:
    return set(notes.split()) <= set(line.split())


def versions(session: Session, run: RunLog | None, log: FaultLog) -> Mapping[str, int]:
    """Version of the work of each kernel of the notes; none where nothing tells it.

    Notes a fault for a log of several versions, and of another than this pack's: figures of the
    catalogue are of that, and figures of other work cannot stand beside them.
    """
    out: dict[str, int] = {}
    for kernel in dict.fromkeys(s.kernel for s in session.pulses if s.kernel is not None):
        ours = KERNELS[kernel].version if kernel in KERNELS else None
        if run is None:
            if ours is not None and session.notes.built.pack == digest():
                out[kernel] = ours
            continue
        found = run.versions(kernel)
        if len(found) == 1 and ours in (None, found[0]):
            out[kernel] = found[0]
        elif found:
            told = " and ".join(map(str, found))
            expected = (
                "one version of its work"
                if ours is None
                else f"version {ours}: figures of other work are not mixed; export the pack anew"
            )
            session.fault(log, "log", f"kernel {kernel} of version {told}", expected)
    return out
