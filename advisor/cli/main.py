"""The entry point of `part-advisor`; see `codes` for what it ends with.

Whatever takes long to load is loaded inside, where an interrupt is told as one.
"""

from __future__ import annotations

import os
import sys

from advisor.cli.codes import INTERRUPTED

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import NoReturn


def run() -> NoReturn:
    """Entry point of the console script."""
    import signal

    times: list[int] = []  # of interrupts

    def heard(number: int, _: object) -> None:
        times.append(number)
        raise KeyboardInterrupt

    def lost(unraisable: sys.UnraisableHookArgs) -> None:
        # raised where nothing can be: it is remembered
        if unraisable.exc_type is not KeyboardInterrupt:
            sys.__unraisablehook__(unraisable)

    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, heard)
            sys.unraisablehook = lost
        _open_streams()
        _collect_seldom()
        _keep_freed_memory()
        if shell := os.environ.get("PART_ADVISOR_COMPLETE"):
            from advisor.cli.completing import answer

            answer(shell, sys.argv[1:])
            sys.exit(0)
        code = call(sys.argv[1:], lambda: bool(times))
        # what comes after the answer is no part of it
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        code = _interrupted()
    if code == INTERRUPTED:
        # not by way of the interpreter's end, which an interrupt inside a library may change
        os._exit(code)
    sys.exit(code)


def call(arguments: list[str], stopped: Callable[[], bool] = lambda: False) -> int:
    """Run one call and give its exit code; no traceback reaches the user.

    `stopped` tells of an interrupt that something in between made something else of, or nothing.
    """
    try:
        from advisor.cli.application import carry_out

        code = carry_out(arguments, stopped)
    except KeyboardInterrupt:
        return _interrupted()
    except Exception:
        if not stopped():
            raise
        return _interrupted()
    return _interrupted() if stopped() and code != INTERRUPTED else code


def _interrupted() -> int:
    try:  # noqa: SIM105 - the library for it is one more to load
        print("part-advisor: interrupted", file=sys.stderr, flush=True)
    except OSError:
        pass
    return INTERRUPTED


def _collect_seldom() -> None:
    """Look for circles of what is no longer used a hundredth as often as usual, and not at all
    until a command begins: a run makes many records and few circles, and looking takes a twentieth
    of it."""
    import gc

    gc.set_threshold(70_000, 10, 10)
    gc.disable()


def _keep_freed_memory() -> None:
    """Have the C library keep what arrays free for the next ones, where mallopt(3) can tell it so
    (GNU C Library manual, "Malloc Tunable Parameters"). Arrays of draws are as large as what it
    gives back to the system each time, and their pages anew take a twentieth of a run."""
    trim_threshold, mmap_threshold = -1, -3
    try:
        import ctypes  # which the arrays' library loads as well

        mallopt = ctypes.CDLL(None).mallopt
        mallopt(trim_threshold, 1 << 28)
        mallopt(mmap_threshold, 1 << 23)
    except (AttributeError, ImportError, OSError, TypeError):
        pass  # another C library: nothing is lost but time


def _open_streams() -> None:
    """Make of the standard streams what can be relied on, whatever they are."""
    import io

    from advisor.cli.streams import plain_marks

    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # or the next file to be opened would take its place, and what is printed with it
            os.open(os.devnull, os.O_RDWR)
    # None where closed at start, which their types do not say
    if sys.stdin is None:  # type: ignore[unreachable,unused-ignore]
        sys.stdin = open(os.devnull)  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115
    if sys.stdout is None:
        # it takes nothing, and says so
        sys.stdout = io.TextIOWrapper(io.BufferedReader(io.FileIO(os.devnull)))
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a character that the encoding lacks stands as a plain mark, else as its escape
            stream.reconfigure(errors=plain_marks())
