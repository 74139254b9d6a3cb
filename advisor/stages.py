"""How work that lasts tells which stage it is at and how far it has come."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int], None]
"""Told (done, in all) of a stage; it may have a `begin` as well, told the name of each."""


def begin(progress: Progress | None, stage: str) -> None:
    """Tell that a stage of the work begins, to a progress that hears names."""
    heard = getattr(progress, "begin", None)
    if heard is not None:
        heard(stage)
