"""A progress bar on standard error for work that lasts."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator

PATIENCE = 1.0  # s before a bar appears


@contextlib.contextmanager
def progress(quiet: bool) -> Iterator[Callable[[int, int], None] | None]:
    """Give a function to tell (done, in all); None where nobody would see the bar."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    begun = time.monotonic()
    with contextlib.ExitStack() as bar:
        shown: list[Callable[[int, int], None]] = []

        def tell(done: int, total: int) -> None:
            if not shown and done < total and time.monotonic() - begun > PATIENCE:
                shown.append(_open(bar))
            for update in shown:
                update(done, total)

        yield tell


def _open(bar: contextlib.ExitStack) -> Callable[[int, int], None]:
    from rich.console import Console
    from rich.progress import Progress

    shown = bar.enter_context(Progress(console=Console(stderr=True), transient=True))
    task = shown.add_task("draws")

    def update(done: int, total: int) -> None:
        shown.update(task, completed=done, total=total)

    return update
