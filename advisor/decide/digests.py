"""Digests of values that are made of arrays, and what they are made of."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def digest(value: Any) -> bytes:
    """What tells a value from others that differ in anything."""
    made = hashlib.blake2b(digest_size=16)
    for one in leaves(value):
        if isinstance(one, np.ndarray):
            made.update(f"{one.shape}{one.dtype.str}".encode())
            made.update(one.tobytes())
        else:
            made.update(repr(one).encode())
    return made.digest()


def leaves(value: Any) -> list[Any]:
    """Everything that a value is made of, in order."""
    out: list[Any] = []
    _gather(value, out)
    return out


def _gather(value: Any, out: list[Any]) -> None:
    if isinstance(value, np.ndarray):
        out.append(value)
    elif is_dataclass(value):
        out.append(type(value).__name__)
        for field in fields(value):
            _gather(getattr(value, field.name), out)
    elif isinstance(value, Mapping):
        for key, one in value.items():
            out.append(key)
            _gather(one, out)
    elif isinstance(value, tuple):
        out.append(len(value))
        for one in value:
            _gather(one, out)
    else:
        out.append(value)
