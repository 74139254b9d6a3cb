"""What native code says on standard error while it reads a user's file."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from advisor.cli.streams import unpanicked
from advisor.faults import FaultError

PANIC = b"thread 'reader' panicked at src/lib.rs:1:1:\nassertion failed\nstack backtrace:\n"


def test_a_panic_is_a_fault_of_the_file(capfd: pytest.CaptureFixture[str]) -> None:
    with (
        pytest.raises(FaultError, match=r"trace\.parquet:1:1.*breaks down"),
        unpanicked("trace.parquet"),
    ):
        os.write(2, PANIC)
    os.write(2, b"after")
    assert capfd.readouterr().err == "after"


def test_a_fault_that_is_told_stands_alone(capfd: pytest.CaptureFixture[str]) -> None:
    own = FaultError(())
    try:
        with unpanicked("trace.parquet"):
            os.write(2, PANIC)
            raise own
    except FaultError as error:
        assert error is own  # noqa: PT017 - no block of one statement is to raise it
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("error", [None, RuntimeError])
def test_other_words_are_passed_on(
    capfd: pytest.CaptureFixture[str], error: type[Exception] | None
) -> None:
    try:
        with unpanicked("trace.parquet"):
            os.write(2, b"a library warns\n")
            if error is not None:
                raise error
    except RuntimeError:
        pass
    assert capfd.readouterr().err == "a library warns\n"


@pytest.mark.parametrize("closed", ["", "os.close(2)"])
def test_our_own_words_come_at_once(closed: str) -> None:
    """Behind them, and whatever standard error is: a panic leaves them as they are."""
    program = f"""
import os, sys
{closed}
from advisor.cli.streams import unpanicked
from advisor.faults import FaultError
stream = sys.stderr
try:
    with unpanicked("trace.parquet"):
        if not {bool(closed)}:
            print("at work", file=sys.stderr)
            os.write(2, {PANIC!r})
        print("inside")
except FaultError:
    print("refused")
assert sys.stderr is stream
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ("" if closed else "at work\n")
    assert done.stdout == ("inside\n" if closed else "inside\nrefused\n")
