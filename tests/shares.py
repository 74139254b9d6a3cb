"""Which of many alike cases run wherever tests run, and which are marked slow."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def mostly_slow(cases: Iterable[Any], every: int) -> list[Any]:
    """Cases for `parametrize`: each `every`-th, from the first, as it is; the others slow.

    A case that is a tuple stands for several arguments.
    """
    return [
        case
        if i % every == 0
        else pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow)
        for i, case in enumerate(cases)
    ]
