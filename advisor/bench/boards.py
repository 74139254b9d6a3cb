"""Several boards of one part: their figures merged, and what the next unit will draw.

Boards differ by more than each one's own uncertainty. The random-effects model: board i's true
value is normal about the part's mean m with the between-board standard deviation tau, and its
measurement normal about that with its own u_i. `dersimonian_laird` gives tau by moments
(DerSimonian and Laird, Controlled Clinical Trials 7 (1986) 177). With two to four boards that
estimate is zero in half of the cases and says nothing; so `pooled` takes the whole distribution of
tau, with a half-normal prior of the scale usual for such a figure, a flat one for m, and the
likelihood of what the boards show, m integrated out (Gelman, Bayesian Analysis 1 (2006) 515;
Friede et al., Research Synthesis Methods 8 (2017) 79; cited from memory). One board is the case in
which the prior is all that is known of tau.

What a product gets is not the mean board but the next one: a normal about m with tau, averaged over
what is not known of both. Currents and times are merged in their logarithms, so that spreads are
relative and no board is negative.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass

Floats = NDArray[np.float64]

FAR = 3.0  # standardised residual from which a board is shown as an outlier (common practice)
NORMAL_95 = 1.959963984540054
PLACES = 200  # of tau
# Scale of tau's prior, relative, by what the figure is (common practice, no source): a core clocked
# by a crystal, a core's draw over a batch, leakage, an oscillator that starts.
SPREADS = {
    "time": 0.005,
    "current": 0.05,
    "idle-current": 0.05,
    "sleep-current": 0.30,
    "wake-time": 0.10,
    "wake-charge": 0.15,
}


@dataclass(frozen=True, slots=True)
class Moments:
    """The estimate by moments: `tau2` between boards, `mean` with its `u`, and Cochran's `q`."""

    tau2: float
    mean: float
    u: float
    q: float


def dersimonian_laird(values: Sequence[float], u: Sequence[float]) -> Moments:
    """Random effects by moments, of n >= 2 values with standard uncertainties above zero.

    Units are those of the values; tau2 of their square. For groups of one common repeatability it
    is the analysis of variance of ISO 5725-2.
    """
    y, s = np.asarray(values, dtype=float), np.asarray(u, dtype=float)
    w = 1 / s**2
    fixed = float((w * y).sum() / w.sum())
    q = float((w * (y - fixed) ** 2).sum())
    tau2 = max(0.0, (q - (len(y) - 1)) / float(w.sum() - (w**2).sum() / w.sum()))
    w = 1 / (s**2 + tau2)
    return Moments(tau2, float((w * y).sum() / w.sum()), float(w.sum() ** -0.5), q)


@dataclass(frozen=True, slots=True)
class Pooled:
    """What n boards say of their part, in the values' own units.

    `mean` with its standard uncertainty and the half-width of its 95 % interval; `tau` the median
    of what the between-board spread may be; of the next unit `next_u`, the standard deviation, and
    the half-width of its 95 % interval. `residuals` of each board against what the others lead to
    expect of it, in standard deviations: one board among few cannot be far from a mean that it
    makes itself.
    """

    mean: float
    mean_u: float
    mean_half_95: float
    tau: float
    next_u: float
    next_half_95: float
    residuals: tuple[float, ...]

    @property
    def outliers(self) -> tuple[int, ...]:
        """Places of the boards whose residual is beyond `FAR`."""
        return tuple(i for i, r in enumerate(self.residuals) if abs(r) > FAR)


def pooled(
    values: Sequence[float], u: Sequence[float], spread: float, common: float = 0.0
) -> Pooled:
    """Merge n >= 1 boards.

    Parameters
    ----------
    values, u : (n,) each board's value and standard uncertainty, without what all share. spread :
        scale of tau's half-normal prior, above zero. common : standard uncertainty that all boards
        share, as through one meter; it is of the mean and does not average out.
    """
    y, s = np.asarray(values, dtype=float), np.asarray(u, dtype=float)
    found = _posterior(y, s, spread)
    mean, mean_u = found.moments(common, 0.0)
    _, next_u = found.moments(common, 1.0)
    residuals = []
    for i in range(len(y)):
        if len(y) == 1:
            residuals.append(0.0)
            continue
        rest = np.arange(len(y)) != i
        other, sd = _posterior(y[rest], s[rest], spread).moments(0.0, 1.0)
        residuals.append(float((y[i] - other) / math.hypot(sd, s[i])))
    return Pooled(
        mean=mean,
        mean_u=mean_u,
        mean_half_95=found.half_width(common, 0.0),
        tau=found.median_tau(),
        next_u=next_u,
        next_half_95=found.half_width(common, 1.0),
        residuals=tuple(residuals),
    )


@dataclass(frozen=True, slots=True)
class _Posterior:
    """Of tau at T places: their weights, and the normal distribution of the mean at each."""

    tau: Floats
    weight: Floats
    mean: Floats
    variance: Floats

    def moments(self, common: float, units: float) -> tuple[float, float]:
        """Mean and standard deviation of the part's mean (`units` 0) or of the next unit (1)."""
        mean = float((self.weight * self.mean).sum())
        within = self.variance + units * self.tau**2 + (self.mean - mean) ** 2
        return mean, math.sqrt(float((self.weight * within).sum()) + common**2)

    def half_width(self, common: float, units: float) -> float:
        """Half of the interval between 2.5 and 97.5 %."""
        from scipy.special import ndtr

        sd = np.sqrt(self.variance + units * self.tau**2 + common**2)
        ends = []
        for p in (0.025, 0.975):
            low = float((self.mean - 12 * sd).min())
            high = float((self.mean + 12 * sd).max())
            for _ in range(45):
                middle = 0.5 * (low + high)
                below = float((self.weight * ndtr((middle - self.mean) / sd)).sum())
                low, high = (middle, high) if below < p else (low, middle)
            ends.append(0.5 * (low + high))
        return 0.5 * (ends[1] - ends[0])

    def median_tau(self) -> float:
        """Half of the weight is below."""
        return float(np.interp(0.5, np.cumsum(self.weight) - 0.5 * self.weight, self.tau))


def _posterior(y: Floats, s: Floats, spread: float) -> _Posterior:
    """What is known of tau and of the mean after (n,) values with uncertainties (n,)."""
    apart = float(np.ptp(y))
    least = min(x for x in (spread, apart, float(s.max())) if x > 0)
    most = max(spread, apart)
    tau = np.geomspace(1e-4 * least, 8 * most, PLACES)
    w = 1 / (s[:, None] ** 2 + tau**2)
    total = w.sum(axis=0)
    mean = (w * y[:, None]).sum(axis=0) / total
    square = (w * (y[:, None] - mean) ** 2).sum(axis=0)
    log = 0.5 * np.log(w).sum(axis=0) - 0.5 * np.log(total) - 0.5 * square
    if len(y) == 1:
        log = np.zeros(PLACES)  # one board says nothing of tau
    log = log - 0.5 * (tau / spread) ** 2 + np.log(tau)  # places are even in the logarithm
    weight = np.exp(log - log.max())
    return _Posterior(tau, weight / weight.sum(), mean, 1 / total)


def merged(values: Sequence[float], u: Sequence[float]) -> tuple[float, float]:
    """(value, u) of one board from its sessions, by their weights.

    Sessions that differ by more than their uncertainties widen u by Birge's ratio (Physical Review
    40 (1932) 207, cited from memory); it is never made less by it.
    """
    y, s = np.asarray(values, dtype=float), np.asarray(u, dtype=float)
    if len(y) == 1:
        return float(y[0]), float(s[0])
    if not s.all():
        # exact ones leave the others no weight
        y = y[s == 0]
        return float(y.mean()), float(y.std(ddof=1)) if len(y) > 1 else 0.0
    w = 1 / s**2
    mean = float((w * y).sum() / w.sum())
    birge = math.sqrt(float((w * (y - mean) ** 2).sum()) / (len(y) - 1))
    return mean, float(w.sum() ** -0.5) * max(1.0, birge)


@dataclass(frozen=True, slots=True)
class Figure:
    """A part's figure from its boards, SI: `value` with the standard uncertainty `u` of the next
    unit, and `mean_u`, that of the mean board; the rest is relative, as `Pooled` has it."""

    value: float
    u: float
    mean_u: float
    relative: Pooled


def figure(
    values: Sequence[float], u: Sequence[float], spread: float, common: Sequence[float] = ()
) -> Figure:
    """A part's figure from n >= 1 boards' values above zero, (n,) SI with their u.

    Parameters
    ----------
    spread : scale of tau's prior, relative. common : (n,) relative standard uncertainties that the
        boards share; none if absent.

    `u` is such that a draw's 95 % interval is that of the next unit, which for few boards is wider
    than its standard deviation would make it.
    """
    y = np.asarray(values, dtype=float)
    relative = np.sqrt(np.log1p((np.asarray(u, dtype=float) / y) ** 2))
    shared = float(np.mean(common)) if len(common) else 0.0
    found = pooled([float(x) for x in np.log(y)], [float(x) for x in relative], spread, shared)
    s = found.next_half_95 / NORMAL_95
    value = math.exp(found.mean + 0.5 * s * s)
    return Figure(
        value=value,
        u=value * math.sqrt(math.expm1(s * s)),
        mean_u=value * found.mean_u,
        relative=found,
    )


@dataclass(frozen=True, slots=True)
class Expected:
    """What n boards would reach, relative half-widths of 95 %: of the mean, of the next unit."""

    boards: int
    mean_half_95: float
    next_half_95: float


def expected(boards: int, u: float, common: float, tau: float, spread: float) -> Expected:
    """What n boards of one part would say, if they scatter as their spread lets expect.

    Parameters
    ----------
    u, common : relative standard uncertainties of one board's figure: its own, and what all share.
    tau : the true between-board spread. spread : scale of its prior; both relative.
    """
    from scipy.special import ndtri

    scores = ndtri((np.arange(boards) + 0.5) / boards)
    if boards > 1:
        scores = scores / scores.std(ddof=1)
    values = [float(x) for x in scores * math.hypot(tau, u)]
    found = pooled(values, [u] * boards, spread, common)
    return Expected(boards, found.mean_half_95, found.next_half_95)
