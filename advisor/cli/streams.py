"""The standard streams: what is said on them, and what becomes of it where they do not take it."""

from __future__ import annotations

import codecs
import contextlib
import os
import sys
from collections.abc import Iterator
from typing import IO, TextIO

from advisor.faults import Fault, FaultError, Place

STDOUT = "standard output"
# what stands for a character that an encoding lacks
_PLAIN = {
    "–": "-",
    "−": "-",
    "—": "-",
    "’": "'",
    "·": "*",
    "²": "^2",
    "√": "sqrt",
    "≈": "~",
    "∞": "inf",
    "…": "...",
    "×": "x",
    "±": "+/-",
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "°": "deg",
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "│": "|",
    "├": "|",
    "┤": "|",
    "┊": ":",
    "─": "-",
    "┌": "+",
    "┐": "+",
    "└": "+",
    "┘": "+",
    "┬": "+",
    "┴": "+",
    "┼": "+",
    "●": "o",
    "█": "#",
    "▉": "#",
    "▊": "#",
    "▋": "#",
    "▌": "#",
    "▍": " ",
    "▎": " ",
    "▏": " ",
}
_NAME = "part-advisor-plain"
_PANIC = b"panicked at "  # as native code begins what it says of its own faults
_HEARD = 0.2  # s after which an interrupt is heard at the latest


def plain_marks() -> str:
    """The name of the way to write what an encoding lacks: as a plain mark, else as an escape."""

    def written(error: UnicodeError) -> tuple[str | bytes, int]:
        if isinstance(error, UnicodeEncodeError):
            character = error.object[error.start]
            if character in _PLAIN:
                return _PLAIN[character], error.start + 1
            error = UnicodeEncodeError(
                error.encoding, error.object, error.start, error.start + 1, error.reason
            )
        return codecs.backslashreplace_errors(error)

    codecs.register_error(_NAME, written)
    return _NAME


def write_out(text: str) -> None:
    """Write to standard output.

    Raises
    ------
    FaultError
        When it does not take it, as where a disk is full.
    BrokenPipeError
        When its reader has gone.
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        silence(sys.stdout)
        raise FaultError((Fault(STDOUT, str(error.strerror), "room for the answer"),)) from None


def await_answer() -> None:
    """Wait until a terminal has something to read, and hear an interrupt meanwhile.

    One that comes between a question and the system's own wait for the answer would be heard with
    the next key only. A terminal gives a line at a time, so none waits unseen in a buffer.
    """
    if os.name != "posix" or not sys.stdin.isatty():
        return
    import select

    with contextlib.suppress(OSError, ValueError):  # what cannot be waited for is just read
        while not select.select([sys.stdin], [], [], _HEARD)[0]:
            pass


def say(text: str) -> None:
    """Write a line to standard error; what cannot be said is no reason to fail."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        silence(sys.stderr)


def silence(*streams: TextIO) -> None:
    """Point streams at nothing, so that closing them at exit raises nothing."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    for stream in streams:
        try:
            os.dup2(nothing, stream.fileno())
        except (OSError, ValueError):
            continue
    os.close(nothing)


@contextlib.contextmanager
def unpanicked(of: str) -> Iterator[None]:
    """Hear what native code says on the process's standard error while it reads `of`.

    A reader that panics says so there, from a thread of its own, and may take what it has read for
    the whole.

    Raises
    ------
    FaultError
        Where one panicked and nothing else was raised.
    """
    try:
        kept = os.dup(2)
    except OSError:  # closed: nobody hears it
        yield
        return
    import tempfile

    stream = sys.stderr
    with contextlib.ExitStack() as stack:
        stack.callback(os.close, kept)
        heard = stack.enter_context(tempfile.TemporaryFile())
        stack.enter_context(_own_words(stream, kept))
        os.dup2(heard.fileno(), 2)
        stack.callback(os.dup2, kept, 2)
        try:
            yield
        except FaultError:
            raise
        except BaseException:
            _pass_on(heard, kept)
            raise
        heard.seek(0)
        if _PANIC in heard.read():
            read = "what a reader of such files breaks down on"
            raise FaultError((Fault("file", read, "a whole file", Place(of, 1, 1)),))
        _pass_on(heard, kept)


@contextlib.contextmanager
def _own_words(stream: TextIO, kept: int) -> Iterator[None]:
    """Our own words go where standard error went, `kept`, where that is what they go to."""
    try:
        own = stream.fileno() == 2
        stream.flush()
    except (OSError, ValueError):
        own = False
    if not own:
        yield
        return
    sys.stderr = open(  # noqa: SIM115 - what it is on is closed by whoever opened it
        kept, "w", encoding=stream.encoding, errors=stream.errors, buffering=1, closefd=False
    )
    try:
        yield
    finally:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.flush()
        sys.stderr = stream


def _pass_on(heard: IO[bytes], kept: int) -> None:
    heard.seek(0)
    with contextlib.suppress(OSError):
        os.write(kept, heard.read())
