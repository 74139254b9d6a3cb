"""Work that cannot be what the notes name is refused, with the likeliest cause."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from advisor.bench.kernels import KERNELS
from advisor.bench.notes import read_notes
from advisor.bench.plausible import INSTRUCTIONS, told
from advisor.bench.runlog import read_log
from advisor.bench.targets import TARGETS, missing_tools, run_pass
from advisor.faults import FaultError, FaultLog
from advisor.studies.distil import distil
from tests.on_bench.layouts import BODY, LENGTHS, RATE, notes_of, rows

THREE = """segments:
  - {kernel: hash, units: 20, runs: 3}
  - {kernel: filter, units: 40, runs: 3}
  - {kernel: search, units: 20, runs: 2}
"""
COUNTER = 1_000_000  # ticks a second
KERNEL_OF = ("hash",) * 3 + ("filter",) * 3 + ("search",) * 2
UNITS = {"hash": 20, "filter": 40, "search": 20}


def lines(order: tuple[str, ...] = ("hash", "filter", "search"), **times: float) -> str:
    """The log of the runs, the ticks of some kernels so many times what they are."""
    out = dict.fromkeys(order, "")
    for kernel, length in zip(KERNEL_OF, LENGTHS, strict=True):
        run = out[kernel].count("\n") + 1
        ticks = round(length / RATE * COUNTER * times.get(kernel, 1.0))
        out[kernel] += (
            f"kernel={kernel} run={run} units={UNITS[kernel]} ticks={ticks} check=right\n"
        )
    return "boot\n" + "".join(out[kernel] for kernel in order) + "end check=right\n"


def session(folder: Path, log: str, *changes: tuple[str, str]) -> tuple[Path, list[Path]]:
    """Notes of three kernels at 60 MHz, with their log and trace."""
    notes = notes_of(folder)
    text = notes.read_text("utf-8")
    text = text[: text.index("segments:")] + THREE
    for old, new in (("{name: fast}", "{name: fast, clock: 60 MHz}\nlog: run.txt"), *changes):
        assert old in text
        text = text.replace(old, new)
    notes.write_text(text, "utf-8")
    (folder / "run.txt").write_text(log)
    (folder / "a.csv").write_text("t,i,m\n" + BODY)
    return notes, [folder / "a.csv"]


@pytest.mark.parametrize("times", [1.0, 0.02, 40.0])
def test_any_counter_that_keeps_its_rate_will_do(tmp_path: Path, times: float) -> None:
    log = lines(hash=times, filter=times, search=times)
    found = distil(*session(tmp_path, log))
    assert len(found.warnings) == 3
    assert all("show little of their scatter" in words for words in found.warnings)


WRONG: dict[str, tuple[str, tuple[tuple[str, str], ...], str]] = {
    "min for s": (
        *(lines(), (("unit: s}", "unit: min}"),)),
        "cycles a unit of work at 60.0 MHz.*times too many: is the unit s",
    ),
    "ms for s": (
        *(lines(), (("unit: s}", "unit: ms}"),)),
        "hash: 2[78]. cycles.*1000 times too few: is the unit s",
    ),
    "us for s": (
        *(lines(), (("unit: s}", "unit: us}"),)),
        r"1e\+06 times too few: is the unit s",
    ),
    "a clock of 60 kHz": (
        *(lines(), (("60 MHz", "60 kHz"),)),
        "times too few; are units, runs and the clock right|is the unit min",
    ),
    "units of another build": (
        lines().replace("units=40", "units=40000"),
        (("units: 40,", "units: 40000,"),),
        "filter: 1.* cycles.*are units, runs and the clock right",
    ),
    "another order": (
        *(lines(("filter", "hash", "search")), ()),
        "kernels in the order filter, hash, search.*hash, filter, search, the order of segments",
    ),
    "a log of two passes": (lines() * 2, (), "kernels in the order hash, filter, search, hash"),
    "twice the work": (
        *(lines(filter=2.0), ()),
        "filter: .* ticks a second.*2 times too many.*are its units and runs",
    ),
    "a counter that went round": (
        *(lines(search=0.37), ()),
        "search: .*2.7 times too few.*did the counter go round",
    ),
    "another session's log": (
        *(lines(hash=1.3), ()),
        "hash: .*1.3 times too many.*the log of another session",
    ),
    "no ticks": (lines(hash=0.0), (), "hash: no ticks at all"),
    "a counter beyond the clock": (
        lines().replace("hash", "own").replace("filter", "mine").replace("search", "ours"),
        (
            *(("hash", "own"), ("filter", "mine"), ("search", "ours")),
            *(("unit: s}", "unit: us}"), ("60 MHz", "600 MHz")),
        ),
        "1.67e.03 a cycle.*is the unit of time right",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_work_that_cannot_be_is_refused_with_its_likeliest_cause(tmp_path: Path, name: str) -> None:
    log, changes, words = WRONG[name]
    with pytest.raises(FaultError, match=words):
        distil(*session(tmp_path, log, *changes))


def test_a_kernel_that_computes_wrong_twice_is_told_once(tmp_path: Path) -> None:
    log = lines()
    wrong = [line for line in log.splitlines() if line.startswith("kernel=hash")][:2]
    for line in wrong:
        log = log.replace(line, line.replace("check=right", "check=WRONG"))
    with pytest.raises(FaultError) as caught:
        distil(*session(tmp_path, log))
    assert str(caught.value).count("computed wrong in run 1;") == 1
    assert "computed wrong in run 2" not in str(caught.value)


def test_a_unit_is_looked_for_beyond_the_one_that_the_notes_say(tmp_path: Path) -> None:
    notes, paths = session(tmp_path, lines())
    text = rows(lambda k, i, m: f"{1000 * k / RATE},{i},{m}\n")
    paths[0].write_text("t,i,m\n" + text)
    with pytest.raises(FaultError, match="1000 times too many: is the unit ms"):
        distil(notes, paths)


def test_runs_of_a_log_that_contradicts_the_notes_are_told_of_nothing(tmp_path: Path) -> None:
    notes, _ = session(tmp_path, lines())
    log = FaultLog()
    run = read_log(lines().replace("units=40", "units=30"), "run.txt")
    assert told(read_notes(notes), run, log) == ()
    assert [f.read for f in log.faults] == ["3 runs of filter, of [30] units"]
    assert len(told(read_notes(notes), read_log(lines(), "run.txt"), log)) == 3


def test_a_log_may_hold_more_kernels_than_the_trace(tmp_path: Path) -> None:
    before = "kernel=copy run=1 units=3 ticks=7 check=WRONG\n"
    found = distil(*session(tmp_path, before + lines()))
    assert list(found.figures.kernels) == ["hash", "filter", "search"]


def test_an_engine_is_held_to_no_instructions_of_a_core(tmp_path: Path) -> None:
    log = lines().replace("units=20", "units=60000")
    changes = (("kernel: hash, units: 20", "kernel: hash, engine: sha, units: 60000"),)
    more = (("kernel: search, units: 20", "kernel: search, engine: own, units: 60000"),)
    found = distil(*session(tmp_path, log, *changes, *more))
    assert list(found.figures.kernels) == ["hash+sha", "filter", "search+own"]
    with pytest.raises(FaultError, match=r"search: .*too few"):
        distil(*session(tmp_path, log, *changes, ("search, units: 20", "search, units: 60000")))


def test_every_kernel_of_the_pack_has_its_bounds() -> None:
    assert list(INSTRUCTIONS) == list(KERNELS)
    assert all(0 < least < most for least, most in INSTRUCTIONS.values())


# what comes near the least of every kernel, and near the most
FEWEST, MOST = ("armv7em", "-O3"), ("armv6m", "-O0")
COUNTED = [
    pytest.param(name, level, marks=() if (name, level) in (FEWEST, MOST) else pytest.mark.slow)
    for name in [n for n, t in TARGETS.items() if t.emulator]
    for level in ("-Os", "-O3", "-O0")
]


@pytest.mark.parametrize(("name", "level"), COUNTED)
def test_counted_instructions_lie_between_those_written_down(
    tmp_path: Path, name: str, level: str
) -> None:
    """With a tenth for another compiler than the one they were counted with."""
    target = TARGETS[name]
    if missing_tools(target) or shutil.which(target.compiler) is None:
        pytest.skip("no tools for this target")
    for kernel in run_pass(target, tmp_path, level).kernels:
        least, most = INSTRUCTIONS[kernel.kernel]
        assert kernel.instructions is not None
        assert 0.9 * least <= kernel.instructions <= 1.1 * most
        assert (name, level) != FEWEST or kernel.instructions <= 1.25 * least
        assert (name, level) != MOST or kernel.instructions >= 0.6 * most
