"""A progress bar on standard error for work that lasts."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Iterator
from typing import TextIO

PATIENCE = 0.3  # s before a bar appears; with the start of the tool some second
EVERY = 0.125  # s between two pictures of it
READING = "reading the files"
TURNING = "|/-\\"
ROOM = 24  # marks of a bar


class Bar:
    """What work tells of itself: the stages' names, and how far each has come.

    It appears after `PATIENCE` and moves by itself, whatever the work tells. While it stands,
    what is said goes above it.
    """

    def __init__(self, stream: TextIO, stage: str) -> None:
        self._stream = stream
        self._stage = stage
        self._done, self._total = 0, 0
        self._begun = time.monotonic()
        self._drawn = 0  # marks of the line that stands
        self._midway = False  # in a line of somebody else's
        self._lock = threading.Lock()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._go, daemon=True)
        self._thread.start()

    def begin(self, stage: str) -> None:
        """A stage of the work begins."""
        with self._lock:
            self._stage, self._done, self._total = stage, 0, 0

    def __call__(self, done: int, total: int) -> None:
        """So much of the stage is done."""
        with self._lock:
            self._done, self._total = done, total

    def say(self, text: str) -> int:
        """Write something else to the stream, above the bar."""
        with self._lock:
            self._erase()
            self._midway = not text.endswith("\n") if text else self._midway
            return self._stream.write(text)

    def close(self) -> None:
        """Take the bar away."""
        self._over.set()
        self._thread.join()
        with self._lock, contextlib.suppress(OSError, ValueError):
            self._erase()
            self._stream.flush()

    def _go(self) -> None:
        wait, turn = PATIENCE, 0
        while not self._over.wait(wait):
            wait, turn = EVERY, turn + 1
            with self._lock:
                if self._midway:
                    continue
                # a terminal that is gone ends the run where it writes, not here
                with contextlib.suppress(OSError, ValueError):
                    line = self._line(turn)
                    # no more than what is left of the line before is painted over
                    self._stream.write("\r" + line.ljust(self._drawn))
                    self._stream.flush()
                    self._drawn = len(line)

    def _line(self, turn: int) -> str:
        """The stage, how far it has come, how long the work has taken; shorter than a line."""
        spent = int(time.monotonic() - self._begun)
        count = bar = ""
        if self._total > 0:
            full = ROOM * min(self._done, self._total) // self._total
            bar = f" [{'#' * full}{'.' * (ROOM - full)}]"
            count = f" {self._done} of {self._total}"
        clock = f" {spent // 60}:{spent % 60:02d}"
        room = _columns(self._stream) - 1
        for text in (f"{self._stage}{count}{bar}{clock}", f"{self._stage}{count}{clock}"):
            if len(text) + 2 <= room:
                break
        return f"{TURNING[turn % len(TURNING)]} {text}"[:room]

    def _erase(self) -> None:
        if self._drawn:
            self._stream.write("\r" + " " * self._drawn + "\r")
            self._drawn = 0


class _Above:
    """Standard error while a bar stands on it."""

    def __init__(self, bar: Bar, stream: TextIO) -> None:
        self._bar, self._stream = bar, stream

    def write(self, text: str) -> int:
        return self._bar.say(text)

    def __getattr__(self, name: str) -> object:
        return getattr(self._stream, name)


def _columns(stream: TextIO) -> int:
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):
        return 80


@contextlib.contextmanager
def progress(quiet: bool, stage: str = READING) -> Iterator[Bar | None]:
    """Give what is to be told (done, in all) and the names of stages, the first being `stage`; None
    where nobody would see the bar."""
    stream = sys.stderr
    if quiet or not stream.isatty():
        yield None
        return
    bar = Bar(stream, stage)
    sys.stderr = _Above(bar, stream)
    try:
        yield bar
    finally:
        sys.stderr = stream
        bar.close()
