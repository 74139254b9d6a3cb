"""The entry point of `part-advisor`; see `codes` for what it ends with.

Whatever takes long to load is loaded inside, where an interrupt is told as one.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from typing import NoReturn

from advisor.cli.codes import INTERRUPTED


def run() -> NoReturn:
    """Entry point of the console script."""
    try:
        _open_streams()
        code = call(sys.argv[1:])
        # what comes after the answer is no part of it
        _deaf()
    except KeyboardInterrupt:
        _deaf()
        code = _interrupted()
    sys.exit(code)


def call(arguments: list[str]) -> int:
    """Run one call and give its exit code; no traceback reaches the user."""
    try:
        from advisor.cli.application import carry_out

        return carry_out(arguments)
    except KeyboardInterrupt:
        return _interrupted()


def _interrupted() -> int:
    with contextlib.suppress(OSError):
        print("part-advisor: interrupted", file=sys.stderr, flush=True)
    return INTERRUPTED


def _deaf() -> None:
    """Heed no further interrupt."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


class _Closed(io.TextIOBase):
    """Standard output that was closed: nothing can be written to it, and that is told."""

    def writable(self) -> bool:
        return False

    def write(self, text: str) -> int:
        raise OSError(9, "closed")


def _open_streams() -> None:
    """Make of the standard streams what can be relied on, whatever they are."""
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
        sys.stdout = _Closed()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a character that the encoding lacks stands as its escape
            stream.reconfigure(errors="backslashreplace")
