"""What passes keep for each other: battery lives, and what stores answer.

Of lives what has the same pack and the same drains is worked out once.

A price, a weight or an anchor that moves leaves what packs carry as it is. Over a row of cases
equal columns are marched once; from pass to pass what was worked out is kept, by a digest of
all that it rests on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.decide.digests import digest, leaves
from advisor.decide.profiles import Latest, Profiles
from advisor.model.battery import Life, lives
from advisor.model.drain import Drain, Pack
from advisor.model.served import Services

KEPT = 60_000_000  # bytes of results that are kept, the latest


class Marches:
    """Results of marches, by what they rest on, and the answers of stores that are harvested into.

    `services` are those of other studies, new ones when absent; `kept` how many bytes of results;
    `profiles` the figures of parts that are known, none kept when absent.
    """

    def __init__(
        self,
        services: Services | None = None,
        kept: int = KEPT,
        profiles: Profiles | None = None,
    ) -> None:
        self.services = services or Services()
        self.profiles = profiles or Profiles()
        self._known = Latest(kept) if kept else None

    def lives(
        self, pack: Pack, drains: Sequence[Drain], fresh: bool, means: bool, cases: int
    ) -> list[Life]:
        """`battery.lives`, from what is known or of each different case once."""
        if pack.reservoir is None:
            return lives(pack, drains, fresh, means)  # which takes no longer than a digest
        if self._known is None:
            return lives_of_cases(pack, drains, fresh, means, cases)
        # what comes of a key is the same whoever asks first
        key = digest((pack, tuple(drains), fresh, means, cases))
        found: list[Life] | None = self._known.get(key)
        if found is None:
            found = lives_of_cases(pack, drains, fresh, means, cases)
            self._known.put(key, sum(a.nbytes for a in _arrays(tuple(found))), found)
        return found


def lives_of_cases(
    pack: Pack, drains: Sequence[Drain], fresh: bool, means: bool, cases: int
) -> list[Life]:
    """`battery.lives` where the draw axis holds so many cases behind each other, N = cases x draws:
    those that are alike in all are marched once."""
    size = drains[0].share.shape[2]
    if cases == 1 or pack.reservoir is None or len(pack.depth) == size:
        # as long as the draws, a table could be taken for some
        return lives(pack, drains, fresh, means)
    if _apart(drains, cases):
        return lives(pack, drains, fresh, means)
    first, which = _alike((pack, tuple(drains)), cases, size)
    if len(first) == cases:
        return lives(pack, drains, fresh, means)
    draws = np.arange(size).reshape(cases, -1)
    some, back = draws[first].ravel(), np.arange(len(first) * draws.shape[1])
    some_pack, some_drains = _changed((pack, tuple(drains)), size, lambda x: x[..., some])
    found = lives(some_pack, some_drains, fresh, means)
    columns = back.reshape(len(first), -1)[which].ravel()
    out: list[Life] = _changed(tuple(found), len(some), lambda x: x[..., columns])
    return list(out)


def _apart(drains: Sequence[Drain], cases: int) -> bool:
    """Whether all cases surely differ: the first build's first draw of some state in each."""
    drain = drains[0]
    for array in (drain.power_w, drain.constant_a, drain.share, drain.cut_off_v):
        first = array[0].reshape(-1, cases, array.shape[-1] // cases)[:, :, 0]
        if (np.diff(np.sort(first, axis=1), axis=1) > 0).all(axis=1).any():
            return True
    return False


def _alike(value: Any, cases: int, size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """(Q,) the first of each different case, and (P,) which of those each one is alike to."""
    hashes = [hashlib.blake2b(digest_size=16) for _ in range(cases)]
    for array in _arrays(value):
        if array.ndim and array.shape[-1] == size:
            each = array.reshape(*array.shape[:-1], cases, size // cases)
            if (each == each[..., :1, :]).all():
                continue  # the same in every case, and no news of any
            for n, one in enumerate(hashes):
                one.update(each[..., n, :].tobytes())
    seen: dict[bytes, int] = {}
    first: list[int] = []
    which: list[int] = []
    for n, one in enumerate(hashes):
        at = seen.setdefault(one.digest(), len(seen))
        which.append(at)
        if at == len(first):
            first.append(n)
    return np.array(first, dtype=np.intp), np.array(which, dtype=np.intp)


def _arrays(value: Any) -> Iterator[NDArray[Any]]:
    return (one for one in leaves(value) if isinstance(one, np.ndarray))


def _changed(value: Any, size: int, change: Callable[[NDArray[Any]], NDArray[Any]]) -> Any:
    """A value with another draw axis, of the arrays (..., size) that it is made of."""
    if isinstance(value, np.ndarray):
        return change(value) if value.ndim and value.shape[-1] == size else value
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: _changed(getattr(value, f.name), size, change) for f in fields(value)}
        return replace(value, **parts)
    if isinstance(value, Mapping):
        return {key: _changed(one, size, change) for key, one in value.items()}
    if isinstance(value, tuple):
        return tuple(_changed(one, size, change) for one in value)
    return value
