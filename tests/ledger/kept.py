"""Figures of answers as they were kept, and what has changed since.

A regression net and nothing more: a kept figure says what the code said when it was kept, not what
is right, which the tests with sources of their own hold. `python -m tests.ledger` writes it anew.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).with_name("figures")
# NumPy's versions and the sums of different processors differ in the last digits only (two of each
# agree to 1e-8); where a pack's end is searched for, steps laid otherwise move it by up to 1e-6
RELATIVE = 3e-6
DIGITS = 10
NOTHING = 1e-13  # what is left of a difference of equals


def told(answer: Any) -> Any:
    """What is kept of a plain answer: its figures, names and sentences."""
    if isinstance(answer, dict):
        return {str(k): told(v) for k, v in answer.items() if k != "summary"}
    if isinstance(answer, (list, tuple)):
        return [told(v) for v in answer]
    if isinstance(answer, bool) or answer is None:
        return answer
    if isinstance(answer, (int, float)):
        number = float(answer)
        return float(f"{number:.{DIGITS}g}") if math.isfinite(number) else str(number)
    return str(answer)


def differences(now: Any, kept: Any, path: str = "") -> Iterator[str]:
    """Every figure that is not as kept, by its path."""
    if isinstance(now, dict) and isinstance(kept, dict):
        for key in [*kept, *(k for k in now if k not in kept)]:
            below = f"{path}.{key}" if path else key
            if key in now and key in kept:
                yield from differences(now[key], kept[key], below)
            else:
                yield f"{below}: {'gone' if key in kept else 'new'}"
    elif isinstance(now, list) and isinstance(kept, list):
        if len(now) != len(kept):
            yield f"{path}: {len(now)} entries, kept {len(kept)}"
        for i, (a, b) in enumerate(zip(now, kept, strict=False)):
            yield from differences(a, b, f"{path}[{i}]")
    elif not _same(now, kept):
        yield f"{path}: {now}, kept {kept}"


def _same(now: Any, kept: Any) -> bool:
    if type(now) is float and type(kept) in (float, int):
        return math.isclose(now, kept, rel_tol=RELATIVE, abs_tol=NOTHING)
    return type(now) is type(kept) and bool(now == kept)


def hold(name: str, answer: Any) -> None:
    """Assert that a case's answer is as it was kept."""
    changed = list(differences(told(answer), read(name)))
    words = f"{len(changed)} figures are not as kept; if that is meant: python -m tests.ledger"
    assert not changed, "\n".join((words, *changed[:40]))


def read(name: str) -> Any:
    """What is kept of a case."""
    return json.loads((FOLDER / f"{name}.json").read_text("utf-8"))


def write(name: str, answer: Any) -> None:
    """Keep a case, its entries line by line."""
    FOLDER.mkdir(exist_ok=True)
    lines = [
        f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False, separators=(',', ':'))}"
        for key, value in answer.items()
    ]
    (FOLDER / f"{name}.json").write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")
