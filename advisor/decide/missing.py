"""Kernels that a part was not measured with, estimated from what it and the others were.

On logarithms time and current are nearly additive: a kernel costs so much, a part is so fast. With
y[p, k] the logarithm at each part's fastest clock,

    y[p, k] = m + a[p] + b[k] + s[p, k],

a and b by least squares over what was measured; s, the part's leaning toward kernels that stress
the same thing, is the mean of its other residuals there, shrunk toward zero by how well such means
have predicted (an empirical Bayes estimate: Efron & Morris, JASA 70 (1975) 311-319). The error is
what leaving out each known entry in turn gives. An entry whose part or kernel is known from few
others is missed by more, so each miss is freed of its leverage first and the estimate bears its
own; the kernels' variances are drawn toward a common one, as few misses tell little of a variance
(moderated t: Smyth, Statistical Applications in Genetics and Molecular Biology 3 (2004) 1, art. 3).
As a variance from few misses is itself unsure, the limits are those of Student's t: the estimate is
lognormal with t's 5 and 95 % points, so that nine truths in ten lie between its own. Other clocks
follow the part's own ratios, as far as these agree with one another.

Where that has too little to go by, the cycles that parts of the same core take stand in, for a part
that states its run current (`catalogue/sheet`). What was measured is never replaced.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from statistics import median  # that of the arrays loads masked ones

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import ESTIMATED, Catalogue, Estimate, beside
from advisor.catalogue.schema_parts import (
    CYCLES,
    CYCLES_WITHIN,
    RUN_CURRENT_WITHIN,
    Evidence,
    KernelFigure,
    Part,
    Variant,
)
from advisor.catalogue.schema_product import Product
from advisor.catalogue.sheet import lacking, stood_in
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.quantities import NORMAL_95, lognormal

PRIOR_RATIO = 2.0  # degrees of freedom that all parts' ratios add to a part's own
LEAST_PARTS, LEAST_KERNELS = 4, 2  # known entries of a kernel, and of a part, to estimate from
WHAT = ("time", "current")


def fill_missing(
    catalogue: Catalogue, product: Product, stated_of: Collection[str] | None = None
) -> Catalogue:
    """The catalogue with the product's kernels estimated where a part lacks them.

    Only plain runs are made, no engine's. Of a part with fewer than two measured kernels, and of a
    kernel that fewer than four parts state, cycles are made where the part's run current and its
    clock do the rest, and parts of the same core tell them.

    Parameters
    ----------
    stated_of : the parts in question, where their stated values alone are asked for: how well they
    are known then stays out, which takes longest.
    """
    wanted = _wanted(product)
    gaps = {
        name: [k for k in wanted if not _native(part, k) and not _complete(part, k)]
        for name, part in catalogue.parts.items()
        if stated_of is None or name in stated_of
    }
    if not any(gaps.values()):
        return catalogue
    names = sorted(catalogue.parts)
    kernels = sorted({k for part in catalogue.parts.values() for k in part.kernels})
    stress = [_stress(catalogue, k) for k in kernels]
    tables = [_table(catalogue, names, kernels, what) for what in WHAT]
    fits = [_Fit(table, stress) for table in tables]
    spreads = [_ratio_spread(catalogue, what) for what in WHAT]
    parts = dict(catalogue.parts)
    out = []
    for name in names:
        for kernel in gaps.get(name, ()):
            part, why = catalogue.parts[name], ""
            made: dict[str, KernelFigure] = {}
            at = names.index(name), kernels.index(kernel) if kernel in kernels else -1
            if kernel in kernels and all(fit.may(*at) for fit in fits):
                asked = stated_of is None
                predicted = [(fit.predict(*at), fit.error(*at) if asked else 0.0) for fit in fits]
                made = _figures(part, predicted, spreads)
            if made and stated_of is None:
                missed = [100 * float(np.expm1(fit.errors[at[1]])) for fit in fits]
                why = (
                    f"leaving out what is known misses its time by {missed[0]:.0f} % and its "
                    f"current by {missed[1]:.0f} %"
                )
            if not made:
                made, why = _by_core(catalogue, part, kernel)
            if made:
                parts[name] = _with(parts[name], kernel, made)
                paths = tuple(str(Path(name, ("kernels", kernel, point))) for point in made)
                out.append(Estimate(part=name, kernel=kernel, paths=paths, why=why))
    return replace(catalogue, parts=parts, estimates=tuple(out))


def with_stand_ins(catalogue: Catalogue, product: Product) -> Catalogue:
    """The catalogue with what its parts' own cycles and run currents stand in for put on record."""
    wanted = _wanted(product)
    filled = {path for one in catalogue.estimates for path in one.paths}
    out = []
    for name, part in catalogue.parts.items():
        for kernel in wanted:
            by_made: dict[tuple[str, ...], list[str]] = {}
            for variant in part.kernels.get(kernel, {}):
                path = str(Path(name, ("kernels", kernel, variant)))
                made = stood_in(part, kernel, variant)
                if made and path not in filled and not lacking(part, kernel, variant):
                    by_made.setdefault(made, []).append(path)
            out += [
                Estimate(part=name, kernel=kernel, paths=tuple(paths), why=_STANDS[made])
                for made, paths in by_made.items()
            ]
    return replace(catalogue, stand_ins=tuple(out))


_BY_CYCLES = f"its time is cycles over clock, right to a factor of {CYCLES_WITHIN:g}"
_BY_SLOPE = f"its current is by run-current, right to a factor of {RUN_CURRENT_WITHIN:g}"
_NINE = "in nine cases of ten (common practice, no source)"
_STANDS = {
    ("time",): f"{_BY_CYCLES} {_NINE}",
    ("current",): f"{_BY_SLOPE} {_NINE}",
    ("time", "current"): f"{_BY_CYCLES}, {_BY_SLOPE} {_NINE}",
}


# beside an answer that moves figures
STAY = "what is estimated stays as it is while a figure moves"


def notes(catalogue: Catalogue, parts: Collection[str]) -> tuple[str, ...]:
    """What was estimated of some parts, kernel by kernel, and how well that is known."""
    told: dict[tuple[str, str], list[str]] = {}
    for one in (*catalogue.estimates, *catalogue.stand_ins):
        if one.part in parts:
            told.setdefault((one.kernel, one.why), []).append(one.part)
    return tuple(
        f"{kernel} is estimated for {', '.join(dict.fromkeys(names))}: {why}"
        for (kernel, why), names in sorted(told.items())
    )


def _wanted(product: Product) -> list[str]:
    return list(dict.fromkeys(k for task in product.workload for k in task.kernels))


def _complete(part: Part, kernel: str) -> bool:
    """Whether the part's own figures make up a plain run of a kernel somewhere."""
    return any(
        not Variant.parse(v).engines and not lacking(part, kernel, v)
        for v in part.kernels.get(kernel, {})
    )


def _by_core(catalogue: Catalogue, part: Part, kernel: str) -> tuple[dict[str, KernelFigure], str]:
    """(entries with the cycles that parts of the same core take, why they may stand)."""
    cycles = {
        name: found
        for name, other in sorted(catalogue.parts.items())
        if name != part.part and _same_core(part, other)
        for found in [_cycles(other, kernel)]
        if found is not None
    }
    if not cycles:
        return {}, ""
    logs = np.log(np.array(list(cycles.values())))
    apart = float(logs.std(ddof=1)) if logs.size > 1 else 0.0
    wide = float(np.hypot(CYCLES.unsure, apart))
    factor = np.exp(NORMAL_95 * wide)
    text = f"estimated, nine in ten within a factor of {factor:.2g}"
    quantity = lognormal(float(np.exp(median(logs.tolist()))), wide, "count", text)
    made = {}
    for point in part.operating_points:
        stands = part.kernels.get(kernel, {}).get(point, KernelFigure())
        figure = replace(stands, cycles=quantity, evidence=ESTIMATED)
        if not lacking(_with(part, kernel, {point: figure}), kernel, point):
            made[point] = figure
    of = ", ".join(cycles)
    return made, (
        f"its cycles are those of {of}, of the same core, right to a factor of {factor:.2g}, and "
        f"{_BY_SLOPE} {_NINE}"
    )


def _same_core(one: Part, other: Part) -> bool:
    """Whether both state one architecture, and no floating-point hardware that differs."""
    if one.core is None or other.core is None or one.core.architecture is None:
        return False
    same = (other.core.architecture or "").casefold() == one.core.architecture.casefold()
    units = {core.float_unit for core in (one.core, other.core)} - {None}
    return same and len(units) < 2


def _cycles(part: Part, kernel: str) -> float | None:
    """Cycles of a kernel as measured, the median over the clocks; else as stated."""
    found: dict[bool, list[float]] = {True: [], False: []}
    for variant, figure in part.kernels.get(kernel, {}).items():
        clock = _clock(part, variant) if variant in part.operating_points else 0.0
        if figure.evidence == ESTIMATED or Variant.parse(variant).engines:
            continue
        if figure.time is not None and clock:
            found[True].append(figure.time.nominal * clock)
        elif figure.cycles is not None:
            found[False].append(figure.cycles.nominal)
    known = found[True] or found[False]
    return float(median(known)) if known else None


def _stress(catalogue: Catalogue, kernel: str) -> str:
    record = catalogue.kernels.get(kernel)
    return "" if record is None or record.stresses is None else record.stresses


def _native(part: Part, kernel: str) -> str | None:
    """The plain variant of a kernel at the part's fastest clock."""
    found = [
        v
        for v, f in part.kernels.get(kernel, {}).items()
        if not Variant.parse(v).engines and v in part.operating_points and f.time and f.current
    ]
    return max(found, key=lambda v: (_clock(part, v), v), default=None)


def _clock(part: Part, point: str) -> float:
    clock = part.operating_points[point].clock
    return 0.0 if clock is None else clock.nominal


def _value(part: Part, kernel: str, point: str | None, what: str) -> float:
    figure = None if point is None else part.kernels[kernel].get(point)
    quantity = None if figure is None else getattr(figure, what)
    return np.nan if quantity is None else float(quantity.nominal)


def _table(catalogue: Catalogue, names: list[str], kernels: list[str], what: str) -> Array:
    """Logarithms at each part's fastest clock, (P, K); NaN where nothing was measured."""
    rows = [
        [_value(catalogue.parts[p], k, _native(catalogue.parts[p], k), what) for k in kernels]
        for p in names
    ]
    return np.asarray(np.log(np.array(rows, dtype=np.float64)))


class _Fit:
    """The additive model with shrunk leanings, and its left-out errors."""

    def __init__(self, table: Array, stress: list[str]) -> None:
        self.table, self.stress = table, np.array(stress)
        self.known = ~np.isnan(table)
        self.leverage = _leverage(self.known)

    @cached_property
    def _missed(self) -> tuple[Array, Array, Array]:
        return self._left_out()

    @property
    def errors(self) -> Array:
        """Root mean square of the misses of left-out entries, (K,) shares (of logarithms)."""
        return self._missed[0]

    @cached_property
    def moderated(self) -> tuple[Array, Array]:
        """Deviation about the model, of logarithms, and degrees of freedom (a count), (K,)."""
        _, scaled, counts = self._missed
        # parts, kernels and a common level are estimated from the same entries
        lost = sum(self.known.shape) - 1
        left = max(float(self.known.sum()) - lost, 1.0)
        return _moderated(scaled, counts, left)

    def may(self, p: int, k: int) -> bool:
        """Whether there is enough to estimate an entry from."""
        return bool(
            self.known[:, k].sum() >= LEAST_PARTS
            and self.known[p].sum() >= LEAST_KERNELS
            and len(self._telling(k)) >= LEAST_PARTS - 1
            and np.isfinite(self.leverage[p, k])
        )

    def predict(self, p: int, k: int) -> float:
        """The logarithm of an entry."""
        return self._estimate(self.known, p, k)

    def error(self, p: int, k: int) -> float:
        """Deviation of the normal whose 5 to 95 % holds nine truths in ten."""
        from scipy.special import stdtrit

        spread, freedom = self.moderated
        wide = float(stdtrit(freedom[k], 0.95)) / NORMAL_95
        return float(spread[k]) * float(np.sqrt(1 + float(self.leverage[p, k]))) * wide

    def _telling(self, k: int) -> list[int]:
        """Parts of which an entry of a kernel can be left out and estimated from the others."""
        enough = self.known[:, k].sum() - 1 >= LEAST_PARTS - 1
        return [
            int(p)
            for p in np.nonzero(self.known[:, k])[0]
            # an entry left out is missed by 1/(1 - leverage) as much
            if enough
            and self.known[p].sum() - 1 >= LEAST_KERNELS
            and 1 - self.leverage[p, k] > 1e-9
        ]

    def _left_out(self) -> tuple[Array, Array, Array]:
        """Per kernel what leaving out each entry misses it by, root mean square; the mean square
        of the misses freed of their leverage; and their number, each (K,)."""
        kernels = self.table.shape[1]
        rms, scaled, counts = np.full(kernels, np.nan), np.zeros(kernels), np.zeros(kernels)
        for k in range(kernels):
            misses, shares = [], []
            for p in self._telling(k):
                mask = self.known.copy()
                mask[p, k] = False
                misses.append(self._estimate(mask, p, k) - self.table[p, k])
                shares.append(1 - self.leverage[p, k])
            if misses:
                counts[k] = len(misses)
                scaled[k] = np.mean(np.square(misses) * shares)
            if len(misses) >= LEAST_PARTS - 1:
                rms[k] = np.sqrt(np.mean(np.square(misses)))
        return rms, scaled, counts

    def _estimate(self, mask: NDArray[np.bool_], p: int, k: int) -> float:
        part, kernel = _additive(self.table, mask)
        residual = np.where(mask, self.table - part[:, None] - kernel[None, :], 0.0)
        alike = mask & (self.stress == self.stress[k])[None, :]
        alike[:, k] = False
        count = alike.sum(axis=1)
        mean = np.where(alike, residual, 0.0).sum(axis=1) / np.maximum(count, 1)
        # how far such means have told the residual of this kernel, over the parts that have both
        both = mask[:, k] & (count > 0)
        weight = 0.0
        if both.sum() >= LEAST_PARTS - 1:
            square = float((mean[both] ** 2).sum())
            weight = float((mean[both] * residual[both, k]).sum()) / square if square else 0.0
        leaning = min(max(weight, 0.0), 1.0) * float(mean[p])
        return float(part[p] + kernel[k] + leaning)


def _additive(table: Array, mask: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Part and kernel effects by least squares over the known entries, alternating to the end."""
    values = np.where(mask, table, 0.0)
    rows, columns = np.maximum(mask.sum(axis=1), 1), np.maximum(mask.sum(axis=0), 1)
    kernel = values.sum(axis=0) / columns
    part = np.zeros(len(table))
    for _ in range(200):
        part = (values - np.where(mask, kernel[None, :], 0.0)).sum(axis=1) / rows
        after = (values - np.where(mask, part[:, None], 0.0)).sum(axis=0) / columns
        done = np.abs(after - kernel).max() < 1e-10
        kernel = after
        if done:
            break
    return part, kernel


def _leverage(mask: NDArray[np.bool_]) -> Array:
    """Variance of the additive model's fit at each entry, in units of an entry's own, (P, K).

    Infinite where no chain of known entries joins the part with the kernel.
    """
    rows, columns = mask.sum(axis=1), mask.sum(axis=0)
    known = mask.astype(np.float64)
    part = known / np.maximum(rows, 1)[:, None]
    # the parts' effects eliminated: what is left of the normal equations are the kernels'
    left = np.diag(columns.astype(np.float64)) - known.T @ part
    inverse = np.linalg.pinv(left, rcond=1e-10, hermitian=True)
    out = np.full(mask.shape, np.inf)
    unit = np.eye(mask.shape[1])
    for p in np.nonzero(rows)[0]:
        v = unit - part[p]
        joined = np.abs(v @ (inverse @ left) - v).max(axis=1) < 1e-8
        out[p] = np.where(joined, 1 / rows[p] + np.einsum("ki,ij,kj->k", v, inverse, v), np.inf)
    return out


def _moderated(scaled: Array, counts: Array, left: float) -> tuple[Array, Array]:
    """Deviation and degrees of freedom of each kernel, its variance drawn toward a common one.

    The misses of all kernels have `left` degrees of freedom together, each kernel's a share by
    their number. How far kernels differ beyond what so few tell is read off the spread of the
    logarithms of their variances.
    """
    from scipy.special import digamma, polygamma

    total = counts.sum()
    if total == 0:
        return np.full_like(scaled, np.nan), np.full_like(scaled, 1.0)
    own = left * counts / total
    pooled = float((scaled * counts).sum() / total)
    some = (counts >= LEAST_PARTS - 1) & (scaled > 0)
    prior, common = left, pooled
    if some.sum() >= 3:
        half = own[some] / 2
        z = np.log(scaled[some]) - digamma(half) + np.log(half)
        beyond = float(z.var(ddof=1) - polygamma(1, half).mean())
        if beyond > 0:
            prior = min(2 * _trigamma_inverse(beyond), left)
            wanted = float(z.mean() + digamma(prior / 2) - np.log(prior / 2))
            common = pooled if prior >= left else float(np.exp(wanted))
    variance = (prior * common + own * scaled) / (prior + own)
    return np.sqrt(variance), np.minimum(prior + own, left)


def _trigamma_inverse(value: float) -> float:
    """x with trigamma(x) = value > 0, by Newton's method on the reciprocal (Smyth 2004)."""
    from scipy.special import polygamma

    x = 0.5 + 1 / value
    for _ in range(50):
        there = float(polygamma(1, x))
        step = there * (1 - there / value) / float(polygamma(2, x))
        x += step
        if abs(step) < 1e-10 * x:
            break
    return x


def _figures(
    part: Part,
    predicted: Sequence[tuple[float, float]],
    spreads: Sequence[float],
) -> dict[str, KernelFigure]:
    """Figures at every plain point; other points by the part's own median ratio to the fastest."""
    points = sorted(part.operating_points, key=lambda v: (-_clock(part, v), v))
    if not points:
        return {}
    supply = next(
        (f.supply for by in part.kernels.values() for f in by.values() if f.supply is not None),
        None,
    )
    out = {}
    for point in points:
        made = []
        for what, (log, sigma), common in zip(WHAT, predicted, spreads, strict=True):
            ratio, error = 1.0, 0.0
            if point != points[0]:
                logs = _log_ratios(part, points[0], point, what)
                if not logs.size:
                    break
                ratio = float(np.exp(median(logs.tolist())))
                square = float(np.square(logs - logs.mean()).sum())
                freedom = logs.size - 1 + PRIOR_RATIO
                error = np.sqrt((square + PRIOR_RATIO * common**2) / freedom * (1 + 1 / logs.size))
            wide = float(np.hypot(sigma, error))
            near = 100 * np.expm1(NORMAL_95 * wide)
            text = f"estimated, nine in ten within {near:.0f} %"
            made.append(lognormal(float(np.exp(log)) * ratio, wide, what, text))
        if len(made) < len(WHAT):
            continue
        time, current = made
        out[point] = KernelFigure(time=time, current=current, supply=supply, evidence=ESTIMATED)
    return out


def _log_ratios(part: Part, fastest: str, point: str, what: str) -> Array:
    """Logarithms of the kernels' ratios between two points, of those known at both."""
    found = [
        _value(part, k, point, what) / _value(part, k, fastest, what)
        for k, by_point in part.kernels.items()
        if point in by_point and fastest in by_point
    ]
    logs = np.log(np.array(found, dtype=np.float64))
    return np.asarray(logs[np.isfinite(logs)])


def _ratio_spread(catalogue: Catalogue, what: str) -> float:
    """Deviation of a kernel's ratio between clocks from its part's, of logarithms, all parts'."""
    square, freedom = 0.0, 0
    for part in catalogue.parts.values():
        points = sorted(part.operating_points, key=lambda v: (-_clock(part, v), v))
        for point in points[1:]:
            logs = _log_ratios(part, points[0], point, what)
            if logs.size > 1:
                square += float(np.square(logs - logs.mean()).sum())
                freedom += logs.size - 1
    return float(np.sqrt(square / freedom)) if freedom else 0.0


def _with(part: Part, kernel: str, made: Mapping[str, KernelFigure]) -> Part:
    evidence = Evidence(kind="estimate", note="estimated from the other kernels and parts")
    stands = part.kernels.get(kernel, {})
    kept = {point: beside(stands.get(point), figure) for point, figure in made.items()}
    return replace(
        part,
        kernels={**part.kernels, kernel: {**stands, **kept}},
        evidence={**part.evidence, ESTIMATED: evidence},
    )
