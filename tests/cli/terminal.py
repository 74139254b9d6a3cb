"""A real terminal for tests: types a line whenever the tool asks for one."""

from __future__ import annotations

import os
import select
import struct
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

HANG = 120  # s, a guard against hanging on a slow machine, no claim of speed
ROOT = Path(__file__).resolve().parents[2]
END = "\x04"  # what a terminal takes for the end of input
STOP = "\x03"  # what it takes for an interrupt


@dataclass(frozen=True)
class Session:
    """What a call ended with, what the terminal showed, and how many lines were typed."""

    code: int
    shown: str
    typed: int


def session(
    arguments: Sequence[str],
    lines: Sequence[str],
    folder: Path,
    *,
    columns: int = 80,
    at_once: bool = False,
    environment: Mapping[str, str] | None = None,
) -> Session:
    """Run the tool in a terminal of its own.

    Parameters
    ----------
    lines : typed one by one, each when a question waits for it; `END` and `STOP` are keys, not
        lines. at_once : pasted before anything is asked.
    """
    import fcntl
    import pty
    import termios

    given: dict[str, str | None] = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder)}
    given |= {"ADVISOR_CACHE_DIR": str(folder / ".cache"), "TERM": "xterm", "COLUMNS": None}
    given |= environment or {}
    child, terminal = pty.fork()
    if child == 0:  # pragma: no cover - the tool takes this process's place
        os.chdir(folder)
        settings = {name: value for name, value in given.items() if value is not None}
        os.execve(sys.executable, [sys.executable, "-m", "advisor", *arguments], settings)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    left, shown, seen, typed = list(lines), b"", 0, 0
    if at_once:
        os.write(terminal, "".join(f"{line}\n" for line in left).encode())
        typed, left = len(left), []
    end = time.monotonic() + HANG
    try:
        while time.monotonic() < end:
            if select.select([terminal], [], [], 0.1)[0]:
                try:
                    data = os.read(terminal, 65536)
                except OSError:  # the other end is gone
                    break
                if not data:
                    break
                shown += data
            if left and shown[seen:].endswith(b"> "):
                seen = len(shown)
                line = left.pop(0)
                typed += 1
                os.write(terminal, line.encode() if line in (END, STOP) else f"{line}\n".encode())
        else:
            raise AssertionError(f"no end after {HANG} s: {shown[-500:]!r}")
    finally:
        os.close(terminal)
        _, status = os.waitpid(child, 0)
    text = shown.decode("utf-8", "backslashreplace").replace("\r\n", "\n")
    assert "Traceback" not in text
    return Session(os.waitstatus_to_exitcode(status), text, typed)
