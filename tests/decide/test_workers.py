"""Pieces of work over workers: the same as one after another, and nobody left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from advisor.catalogue.shipped import load
from advisor.decide.workers import beside, cores, over_groups, over_workers
from advisor.present.machine import to_json
from advisor.studies.tipping import tipping

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="forks are taken on Linux alone")


@pytest.mark.parametrize("jobs", [1, 2, 5])
def test_what_is_found_stands_in_the_order_of_the_pieces(jobs: int) -> None:
    told: list[int] = []
    assert over_workers(lambda n: n * n, 7, jobs, told.append) == [n * n for n in range(7)]
    assert sorted(told) == list(range(7))
    assert over_workers(lambda n: n, 0, jobs) == []


@LINUX
def test_several_processes_work() -> None:
    def slowly(_: int) -> int:
        time.sleep(0.05)
        return os.getpid()

    assert len(set(over_workers(slowly, 8, 2)) - {os.getpid()}) == 2
    assert set(over_workers(slowly, 2, 1)) == {os.getpid()}
    assert cores() >= 1


@pytest.mark.parametrize("jobs", [1, 3])
def test_a_fault_is_raised_here_as_it_was_there(jobs: int) -> None:
    def work(n: int) -> int:
        if n == 2:
            raise KeyError("the third")
        return n

    with pytest.raises(KeyError, match="the third"):
        over_workers(work, 5, jobs)


@LINUX
def test_what_a_killed_worker_had_is_done_here() -> None:
    here = os.getpid()

    def work(n: int) -> int:
        if n == 1 and os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return 10 * n

    assert over_workers(work, 4, 2) == [0, 10, 20, 30]


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_is_done_beside_is_given_when_it_is_asked_for(jobs: int) -> None:
    with beside(os.getpid, jobs) as found:
        assert (found() == os.getpid()) is (jobs == 1 or sys.platform != "linux")

    def fails() -> int:
        raise KeyError("beside")

    with pytest.raises(KeyError, match="beside"), beside(fails, jobs) as found:
        found()


@LINUX
def test_what_is_begun_beside_ends_with_what_it_was_begun_for(tmp_path: Path) -> None:
    here, note = os.getpid(), tmp_path / "process"

    def lasts() -> int:
        if os.getpid() != here:
            note.write_text(str(os.getpid()))
            time.sleep(60)
        return 7

    def meanwhile() -> None:
        with beside(lasts, 2):
            while not (note.exists() and note.read_text()):
                time.sleep(0.01)
            raise ValueError("meanwhile")

    with pytest.raises(ValueError, match="meanwhile"):
        meanwhile()
    assert not _stands(int(note.read_text()))

    def dies() -> int:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return 7

    with beside(dies, 2) as found:
        assert found() == 7


# tells the processes of its workers, which would be at it for a minute
LONG = """
import os, sys, time
from advisor.decide.workers import over_groups, over_workers
def work(n):
    os.write(1, f"{os.getpid()}\\n".encode())
    time.sleep(60)
over_workers(work, 4, 2)
"""


def _stands(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


@LINUX
@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_whom_they_work_for(sign: signal.Signals) -> None:
    begun = subprocess.Popen(
        [sys.executable, "-c", LONG], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert begun.stdout is not None
    workers = [int(begun.stdout.readline()) for _ in range(2)]
    assert all(_stands(one) for one in workers)
    begun.send_signal(sign)
    _, said = begun.communicate(timeout=20)
    until = time.monotonic() + 10
    while any(_stands(one) for one in workers) and time.monotonic() < until:
        time.sleep(0.02)
    assert not any(_stands(one) for one in workers)
    # an interrupt is told once, by the process that was begun
    assert said.count(b"Traceback") == (1 if sign == signal.SIGINT else 0)


@pytest.mark.once
def test_tips_are_the_same_bytes_over_any_number_of_workers() -> None:
    """Levers of the product, of a part and a weight, and one that no scan tells anything of."""
    catalogue, product = load("barrel-tag")
    few = ["quorvane-tib", "quorvane-sij", "tessimur-mub", "vantle-gaf"]
    inputs = catalogue.only(few), product
    paths = [
        "barrel-tag:workload.sample.every",
        "barrel-tag:priorities.purchase-cost.weight",
        "barrel-tag:cost.unit-cost-limit",
        "barrel-tag:cost.units",
        "quorvane-tib:supply.max",
        "quorvane-tib:sleep-states.ram-kept.current.25 degC",
        "tessimur-mub:price.breaks.10000",
    ]
    one, two, four = (tipping(*inputs, paths, draws=60, jobs=n) for n in (1, 2, 4))
    assert to_json(one) == to_json(two) == to_json(four)
    # and a figure's tip does not depend on what else is asked
    alone = tipping(*inputs, paths[:1], draws=60).levers
    assert list(alone) == [tip for tip in two.levers if tip.path == paths[0]]


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_comes_of_groups_stands_in_the_order_of_their_numbers(jobs: int) -> None:
    told: list[int] = []
    groups = [[3, 0], [1], [4, 2]]
    found = over_groups(lambda group: [10 * n for n in group], groups, jobs, told.append)
    assert found == [0, 10, 20, 30, 40]
    assert sorted(told) == told
    assert (len(told), told[-1]) == (3, 5)
    assert over_groups(lambda group: [], [], jobs) == []
