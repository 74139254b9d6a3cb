"""Uncertainty budgets: terms, degrees of freedom, and what holds the value in 95 % of cases.

JCGM 100:2008 (GUM): u is the root sum of squares of independent terms (5.1.2), type A from
repeats (4.2), type B from a statement (4.3), effective degrees of freedom by Welch and
Satterthwaite (G.4.1), coverage by Student's t at them. Where one rectangular term is more than half
of the variance that rule is wrong, and the coverage factor is of the convolved distributions
(JCGM 101:2008, 5 and 6.4; here on a grid rather than by draws).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.quantities import Quantity

COVERAGE = 0.95
DOMINANT = 0.5  # share of the variance
GRID = 1 << 14
REACH = 14.0  # standard uncertainties to each side of the grid's middle
# degrees of freedom below which tails go on far beyond that, and how far the grid goes then
HEAVY, FAR = 4.0, 100.0

Shape = Literal["normal", "rectangular", "t"]


@dataclass(frozen=True, slots=True)
class Term:
    """A line of a budget: `u` its contribution to the result's standard uncertainty.

    `t` terms are means of repeats with `dof` degrees of freedom; `rectangular` ones have half-width
    u √3.
    """

    source: str
    type: Literal["A", "B"]
    u: float
    shape: Shape = "normal"
    dof: float = math.inf


@dataclass(frozen=True, slots=True)
class Result:
    """A value with its budget; k95 u is the half-width of the 95 % interval."""

    value: float
    u: float
    dof: float
    k95: float
    budget: tuple[Term, ...]

    @property
    def expanded(self) -> float:
        """Half-width of the 95 % interval."""
        return self.k95 * self.u

    def without(self, *sources: str) -> float:
        """Standard uncertainty without some terms, for a file that states them elsewhere."""
        return math.hypot(*(t.u for t in self.budget if t.source not in sources))


def stated(source: str, figure: Quantity, factor: float) -> Term:
    """Type B from a stated figure; `factor` carries its u to the result."""
    shape: Shape = "rectangular" if figure.kind == "rectangular" else "normal"
    return Term(source, "B", figure.u * abs(factor), shape)


def limit_of_error(source: str, limit: Quantity | None, factor: float) -> Term:
    """Type B from a limit of error: rectangular, u = a/√3."""
    half = 0.0 if limit is None else limit.nominal
    return Term(source, "B", half / math.sqrt(3) * abs(factor), "rectangular")


def combined(value: float, terms: Sequence[Term]) -> Result:
    """A value with the budget of its independent terms; terms of zero are left out."""
    kept = tuple(t for t in terms if t.u != 0)
    if not kept:
        return Result(value=value, u=0.0, dof=math.inf, k95=1.96, budget=())
    # shares of u rather than powers of it: these overflow before u itself does
    u = math.hypot(*(t.u for t in kept))
    if not math.isfinite(u):
        return Result(value=value, u=u, dof=math.inf, k95=1.96, budget=kept)
    spent = sum((t.u / u) ** 4 / t.dof for t in kept)
    dof = 1 / spent if spent else math.inf
    dominant = any(t.shape == "rectangular" and (t.u / u) ** 2 > DOMINANT for t in kept)
    k = half_width([replace(t, u=t.u / u) for t in kept]) if dominant else student(dof)
    return Result(value=value, u=u, dof=dof, k95=k, budget=kept)


def student(dof: float, coverage: float = COVERAGE) -> float:
    """Coverage factor of Student's t; of the normal distribution where `dof` is infinite."""
    from scipy.special import ndtri, stdtrit

    p = 0.5 * (1 + coverage)
    return float(ndtri(p)) if math.isinf(dof) else float(stdtrit(dof, p))


def half_width(terms: Sequence[Term], coverage: float = COVERAGE) -> float:
    """Half-width that holds `coverage` of the sum of the terms' distributions.

    All are symmetric about zero, so the shortest interval is centred. Repeats follow a t
    distribution scaled by their u (JCGM 101:2008, 6.4.9); what lies beyond the grid lies outside.
    The grid's error is below 1e-4 of the result, of two or three repeats below 1e-3.
    """
    from scipy.special import ndtr, stdtr

    width = math.sqrt(sum(t.u**2 for t in terms))
    heavy = any(t.shape == "t" and t.dof < HEAVY for t in terms)
    step = 2 * (FAR if heavy else REACH) * width / GRID
    edges = (np.arange(GRID + 1) - GRID // 2 - 0.5) * step
    spectrum = np.ones(GRID // 2 + 1, dtype=complex)
    normal = math.sqrt(sum(t.u**2 for t in terms if t.shape == "normal"))
    below: list[NDArray[np.float64]] = []
    if normal:
        below.append(ndtr(edges / normal))
    for term in terms:
        if term.shape == "rectangular":
            half = term.u * math.sqrt(3)
            below.append(np.clip(0.5 + edges / (2 * half), 0.0, 1.0))
        elif term.shape == "t":
            below.append(stdtr(term.dof, edges / term.u))
    for distribution in below:
        spectrum = spectrum * np.fft.rfft(np.fft.ifftshift(np.diff(distribution)))
    density = np.fft.fftshift(np.fft.irfft(spectrum, GRID))
    middle = GRID // 2
    outward = np.cumsum(density[middle:])
    inside = 2 * outward - density[middle]  # mass within k + 1/2 steps of the middle
    at = int(np.searchsorted(inside, coverage))
    start = inside[at - 1] if at else 0.0
    return float((at - 0.5 + (coverage - start) / (inside[at] - start)) * step)


def repeats(values: Sequence[float] | NDArray[np.float64], source: str) -> tuple[float, Term]:
    """(mean, its type A term s/√n with n − 1 degrees of freedom) of two or more repeats."""
    given = np.asarray(values, dtype=float)
    n = len(given)
    with np.errstate(over="ignore", invalid="ignore"):  # whoever reports it asks that it be finite
        u = float(np.std(given, ddof=1)) / math.sqrt(n)
    return float(given.mean()), Term(source=source, type="A", u=u, shape="t", dof=n - 1)
