"""The lines of a run are read, and what cannot be so is refused at its line."""

from __future__ import annotations

import pytest

from advisor.bench.runlog import BuildLines, Memory, StateLine, optimised_by, read_log
from advisor.faults import FaultError

LOG = """boot 1.2
kernel=hash run=1 units=20 ticks=5 check=right
kernel=hash run=2 units=20 ticks=6 check=WRONG
kernel=crc version=3 run=1 units=40 ticks=7 check=right
end check=WRONG
"""
BUILT = """built pack=1f2e
built compiler=12.2.1 20221205
built flags=-std=c99 -Os -mcpu=one
built optimised=size
built kernels=hash,crc
built runs=2
"""


def test_lines_of_a_run() -> None:
    found = read_log(LOG, "run.txt")
    assert found.kernels == {"hash": False, "crc": True}
    assert found.ended
    assert not read_log(LOG.rpartition("end")[0], "run.txt").ended
    # a line without a version is of the first
    assert (found.versions("hash"), found.versions("crc"), found.versions("own")) == (
        (1,),
        (3,),
        (),
    )
    assert (found.runs("hash"), found.runs("copy")) == (2, 0)
    assert (found.built, found.states, found.memory) == (BuildLines(), (), None)


def test_lines_of_the_build_states_and_memory() -> None:
    more = "state=idle ms=1200\nstate=sleep ms=4200\nmemory fixed=1324 stack=432 room=724\n"
    found = read_log(BUILT + LOG + more, "run.txt")
    assert found.built == BuildLines(
        pack="1f2e",
        compiler="12.2.1 20221205",
        flags="-std=c99 -Os -mcpu=one",
        optimised="size",
        kernels=("hash", "crc"),
        runs=2,
    )
    assert found.states == (StateLine("idle", 1200), StateLine("sleep", 4200))
    assert found.memory == Memory(fixed=1324, stack=432, room=724)
    unknown = read_log(BUILT.replace("1f2e", "unknown") + LOG, "run.txt").built
    assert unknown.pack is None


GARBLED = {
    "ticks": (LOG.replace("ticks=6", "ticks=?"), r"run\.txt:3:1"),
    "version": (LOG.replace("version=3", "version=x"), r"run\.txt:4:1.*version=N"),
    "no version": (LOG.replace("version=3", "version=0"), r"run\.txt:4:1.*version=N"),
    "no kernels": ("boot\n", "no kernel's line"),
    "state": (LOG + "state=idle ms=\n", r"run\.txt:6:1.*state=idle"),
    "another state": (LOG + "state=nap ms=5\n", r"run\.txt:6:1.*state=nap"),
    "memory": (LOG + "memory fixed=1\n", r"run\.txt:6:1.*memory fixed"),
    "end": (LOG.replace("end check=WRONG", "end check=r"), r"run\.txt:5:1.*end check"),
    "built what": (LOG + "built pack\n", r"run\.txt:6:1.*built NAME=TEXT"),
    "built by whom": (LOG + "built by=me\n", r"run\.txt:6:1.*by.*one of pack, compiler"),
    "runs": (BUILT.replace("runs=2", "runs=two") + LOG, r"run\.txt:6:1.*built runs=two"),
    "two builds": (BUILT + LOG + "built pack=3d4c\n", r"run\.txt:12:1.*one build.*1f2e"),
    "flags it was not given": (
        BUILT.replace("optimised=size", "optimised=speed") + LOG,
        r'run\.txt:4:1.*optimised "speed", by the compiler, with the flags',
    ),
}


@pytest.mark.parametrize("name", GARBLED)
def test_garbled_lines_are_refused_once(name: str) -> None:
    text, words = GARBLED[name]
    with pytest.raises(FaultError, match=words) as caught:
        read_log(text, "run.txt")
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    ("flags", "optimised"),
    [
        ("-std=c99", "none"),
        ("-O2 -O0", "none"),
        ("-O0 -Os", "size"),
        ("-Oz", "size"),
        ("-O", "speed"),
        ("-O3 -mcpu=one", "speed"),
        ("-Og", "speed"),
        ("-Ofast", "speed"),
    ],
)
def test_what_a_compiler_says_of_flags(flags: str, optimised: str) -> None:
    """__OPTIMIZE__ and __OPTIMIZE_SIZE__ as the manual of the GNU C preprocessor has them: from
    memory, and held against the compiler in `test_small_parts`."""
    assert optimised_by(flags) == optimised
