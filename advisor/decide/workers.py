"""Pieces of work that rest on nothing of each other, over processes.

Workers are forks of this process: they have at once what it has read and worked out, and give back
what little they find. Where forks are not to be had (anywhere but on Linux, or inside a worker of
somebody else's) the pieces are done here one after another, which gives the same.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Found = TypeVar("Found")
Done = Callable[[int], None]
What = tuple[Callable[[int], Any], Callable[[], None]]  # a worker's pieces, and its end


def cores() -> int:
    """How many cores this process may use."""
    return os.cpu_count() or 1 if sys.platform != "linux" else len(os.sched_getaffinity(0))


def over_workers(
    work: Callable[[int], Found],
    count: int,
    jobs: int = 1,
    done: Done | None = None,
    after: Callable[[], None] = lambda: None,
) -> list[Found]:
    """`work` of 0, 1, ... up to a count, in this order.

    Parameters
    ----------
    work : what it gives depends on its number alone, not on what was worked on before, and can be
        pickled. Small numbers are begun first. jobs : workers; the result does not depend on it.
    done : told the number of each piece that is through. after : what a worker does at its end.

    A piece whose worker failed or was ended is done again here, so that its fault is told here.
    """
    out: dict[int, Found] = {}

    def through(n: int, found: Found) -> None:
        out[n] = found
        if done is not None:
            done(n)

    if min(jobs, count) > 1 and _may_fork():
        _forked(work, after, count, min(jobs, count), through)
    for n in range(count):
        if n not in out:
            through(n, work(n))
    return [out[n] for n in range(count)]


def over_groups(
    work: Callable[[Sequence[int]], Sequence[Found]],
    groups: Sequence[Sequence[int]],
    jobs: int = 1,
    done: Done | None = None,
    after: Callable[[], None] = lambda: None,
) -> list[Found]:
    """`work` of groups of numbers, which together are 0, 1, ... up to their count, in the order of
    the numbers; a group is a piece.

    Parameters
    ----------
    work : gives one for each number of a group. jobs, after : as for `over_workers`. done : told
        how many numbers are through.
    """
    through = 0

    def tell(k: int) -> None:
        nonlocal through
        through += len(groups[k])
        if done is not None:
            done(through)

    each = over_workers(lambda k: work(groups[k]), len(groups), jobs, tell, after)
    out = {
        n: one
        for group, found in zip(groups, each, strict=True)
        for n, one in zip(group, found, strict=True)
    }
    return [out[n] for n in range(len(out))]


@contextmanager
def beside(work: Callable[[], Found], jobs: int = 1) -> Iterator[Callable[[], Found]]:
    """Begin `work` in a worker where there may be several, for what is done here meanwhile.

    Yields
    ------
    What waits for it, and gives what it found; without workers, or where its own failed, the work
    is done here when this is called. It is ended where nobody asks for it.
    """
    if jobs < 2 or not _may_fork():
        yield work
        return
    from multiprocessing import Pipe

    mine, own = Pipe()

    def found() -> Found:
        try:
            fine, out = mine.recv()
        except (EOFError, OSError):
            fine, out = False, None
        return out if fine else work()

    with _interrupts_held():
        worker = _start((lambda _: work(), lambda: None), own, [mine])
    try:
        own.close()
        with suppress(OSError):  # it is gone: the work is done here
            mine.send(0)
        yield found
    finally:
        worker.terminate()
        worker.join()
        mine.close()


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """An interrupt between a worker's first step and its deafness is heard here alone."""
    import signal

    held = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, signal.SIGTERM))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


def _may_fork() -> bool:
    if sys.platform != "linux":
        return False
    from multiprocessing import current_process

    return not current_process().daemon


def _forked(
    work: Callable[[int], Found],
    after: Callable[[], None],
    count: int,
    jobs: int,
    through: Callable[[int, Found], None],
) -> None:
    """Hand pieces to workers until all are through or one has failed."""
    from multiprocessing import Pipe
    from multiprocessing.connection import Connection, wait

    ends = [Pipe() for _ in range(jobs)]
    team = []
    left = iter(range(count))
    busy: dict[Connection[Any, Any], int] = {}

    def hand_out(end: Connection[Any, Any]) -> None:
        n = next(left, None)
        if n is not None:
            end.send(n)
            busy[end] = n

    try:
        every = [one for both in ends for one in both]
        with _interrupts_held():
            team = [
                _start((work, after), own, [one for one in every if one is not own])
                for _, own in ends
            ]
        for mine, their in ends:
            their.close()
            hand_out(mine)
        while busy:
            for end in wait([*busy]):
                assert isinstance(end, Connection)
                n = busy.pop(end)
                try:
                    fine, found = end.recv()
                except (EOFError, OSError):
                    return
                if not fine:
                    return
                through(n, found)
                hand_out(end)
        for mine, _ in ends:
            mine.send(None)
        for one in team:
            one.join()
    finally:
        for one in team:
            one.terminate()
        for one in team:
            one.join()
        for both in ends:
            for one_end in both:
                one_end.close()


def _start(what: What, end: Connection[Any, Any], others: Sequence[Connection[Any, Any]]) -> Any:
    import warnings
    from multiprocessing import get_context

    worker = get_context("fork").Process(target=_serve, args=(*what, end, others), daemon=True)
    with warnings.catch_warnings():
        # a worker takes no lock that another thread may hold: it reckons, and writes to its pipe
        warnings.simplefilter("ignore", DeprecationWarning)
        worker.start()
    return worker


def _serve(
    work: Callable[[int], Any],
    after: Callable[[], None],
    end: Connection[Any, Any],
    others: Sequence[Connection[Any, Any]],
) -> None:
    """A worker's life: pieces of work until there is no more, or nobody to work for."""
    import gc
    import signal
    import threading
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    assert parent is not None

    def watch(sentinel: int) -> NoReturn:
        wait([sentinel])
        os._exit(1)

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began this ends it
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGINT, signal.SIGTERM))
    # what stands there may wait for a thread that was not forked
    sys.stderr = sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - until the worker's end
    for other in others:
        other.close()  # else nobody would hear of another worker's end
    threading.Thread(target=watch, args=(parent.sentinel,), daemon=True).start()
    gc.freeze()  # what was there before stays shared
    while (n := end.recv()) is not None:
        try:
            answer = True, work(n)
        except Exception:
            answer = False, None
        end.send(answer)
    after()
