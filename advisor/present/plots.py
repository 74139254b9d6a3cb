"""Drawings as files: SVG or PNG, the same bytes for the same figure."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any


@contextmanager
def style(size: float) -> Iterator[None]:
    """Settings within which figures are made and saved: a font size, no chance in an SVG's ids."""
    import matplotlib as mpl

    with mpl.rc_context({"svg.hashsalt": "part-advisor", "font.size": size}):
        yield


def saved(figure: Any, path: Path, dots: int) -> bytes:
    """A figure by the ending of the file's name, at `dots` per inch where it is made of dots."""
    kind = path.suffix.lower().lstrip(".")
    out = io.BytesIO()
    figure.savefig(out, format=kind, dpi=dots, metadata={"Date": None} if kind == "svg" else {})
    return out.getvalue()
