"""Names of files as callers give them: texts or paths, one or several."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

Named = str | os.PathLike[str]


def paths_of(given: Named | Sequence[Named]) -> list[Path]:
    """Paths of one name or of several."""
    return [Path(name) for name in listed(given)]


def texts_of(given: str | Sequence[str]) -> list[str]:
    """Texts, of which one may stand by itself."""
    return [given] if isinstance(given, str) else list(given)


def listed(given: Named | Sequence[Named]) -> list[Named]:
    """Names as a list."""
    return [given] if isinstance(given, str | os.PathLike) else list(given)
