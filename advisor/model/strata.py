"""Random numbers that are spread evenly: a Latin hypercube of nested strata.

Each sixteenth of a figure's distribution is drawn once in every block of 16 draws, in random order
(McKay, Beckman and Conover 1979). What a mean owes to each figure by itself is then known almost
without chance, which is left in what figures do together. The strata are nested, so that fewer
draws, which are the first of more, are spread as evenly: where in its sixteenth a draw lies the
digits of its block's number say, read backwards in base 2 (van der Corput 1935) and shifted at
random for each sixteenth, so that 16 x 2^k first draws take each 16 x 2^k-th once. Each figure has
an order and shifts of its own: two figures are independent of each other.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHARES = 16  # of a distribution, each drawn once in as many draws
DIGITS = 10  # binary ones, of the place in a sixteenth
ROUND = 1 << DIGITS  # blocks that fill all places; more begin anew
PLACES = SHARES * ROUND  # a normal deviate's variance is 1 - 8e-5 on so many
ENDS = 1024  # angles at which a beta distribution is summed


def uniform(rng: np.random.Generator, draws: int) -> Array:
    """Draws (draws,) of the uniform distribution between 0 and 1, a share of 1."""
    return np.asarray((_places(rng, draws) + 0.5) / PLACES)


def normal(rng: np.random.Generator, draws: int) -> Array:
    """Draws (draws,) of the standard normal distribution, a count of deviations."""
    return _normal_quantiles()[_places(rng, draws)]


def beta(alpha: float, other: float, rng: np.random.Generator, draws: int) -> Array:
    """Draws (draws,) of the beta distribution with exponents of at least 1, a share of 1.

    Its distribution is summed by trapezia over the angle t of x = sin²(t/2), in which its density
    is smooth up to both ends, and turned round between their ends.
    """
    angle, log_sin, log_cos = _angles()
    density = np.exp((2 * alpha - 1) * log_sin + (2 * other - 1) * log_cos)
    below = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1])])
    found = np.interp(uniform(rng, draws), below / below[-1], angle)
    return np.asarray(np.sin(found / 2) ** 2)


def _places(rng: np.random.Generator, draws: int) -> NDArray[np.uint32]:
    """Strata that the draws lie in, (draws,) of 0 up to PLACES."""
    blocks = -(-draws // SHARES)
    out = np.empty((blocks, SHARES), dtype=np.uint32)
    inside, own = _backwards(), np.arange(SHARES, dtype=np.uint32)
    for start in range(0, blocks, ROUND):
        here = out[start : start + ROUND]
        raw = rng.bit_generator.random_raw(SHARES // 2 * (len(here) + 1)).view(np.uint32)
        first = own * np.uint32(ROUND) + (raw[:SHARES] & np.uint32(ROUND - 1))
        # random numbers whose last digits tell where they stood: sorted, these are in random order
        keys = raw[SHARES:].reshape(here.shape)
        keys &= np.uint32(0xFFFFFFFF & -SHARES)
        keys |= own
        keys.sort(axis=1)
        keys &= np.uint32(SHARES - 1)
        here[:] = first[keys] ^ inside[: len(here), None]
    return out.reshape(-1)[:draws]


@cache
def _angles() -> tuple[Array, Array, Array]:
    """Angles t from 0 to pi, with the logarithms of sin(t/2) and cos(t/2), (ENDS,) each."""
    angle = np.linspace(0.0, np.pi, ENDS)
    with np.errstate(divide="ignore"):
        return angle, np.log(np.sin(angle / 2)), np.log(np.sin(angle[::-1] / 2))


@cache
def _backwards() -> NDArray[np.uint32]:
    """The digits of 0, 1, ... read backwards, (ROUND,)."""
    count = np.arange(ROUND, dtype=np.uint32)
    out = np.zeros(ROUND, dtype=np.uint32)
    for digit in range(DIGITS):
        out |= ((count >> np.uint32(digit)) & np.uint32(1)) << np.uint32(DIGITS - 1 - digit)
    return out


@cache
def _normal_quantiles() -> Array:
    """The standard normal distribution's quantiles in the middle of all strata, (PLACES,)."""
    from statistics import NormalDist

    quantile = NormalDist().inv_cdf
    lower = np.array([quantile((n + 0.5) / PLACES) for n in range(PLACES // 2)])
    out = np.concatenate([lower, -lower[::-1]])
    out.flags.writeable = False
    return out
