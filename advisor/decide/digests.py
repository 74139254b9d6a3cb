"""Digests of values that are made of arrays, and what they are made of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def digest(value: Any) -> bytes:
    """What tells a value from others that differ in anything."""
    made = hashlib.blake2b(digest_size=16)
    for one in leaves(value):
        if isinstance(one, np.ndarray):
            made.update(f"{one.shape}{one.dtype}".encode())
            made.update(one.tobytes())
        else:
            made.update(repr(one).encode())
    return made.digest()


def leaves(value: Any) -> Iterator[Any]:
    """Everything that a value is made of, in order."""
    if is_dataclass(value):
        yield type(value).__name__
        for field in fields(value):
            yield from leaves(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield key
            yield from leaves(one)
    elif isinstance(value, tuple):
        yield len(value)
        for one in value:
            yield from leaves(one)
    else:
        yield value
