"""Kernels that a part was not measured with, estimated from what it and the others were.

On logarithms time and current are nearly additive: a kernel costs so much, a part is so fast. With
y[p, k] the logarithm at each part's fastest clock,

    y[p, k] = m + a[p] + b[k] + s[p, k],

a and b by least squares over what was measured; s, the part's leaning toward kernels that stress
the same thing, is the mean of its other residuals there, shrunk toward zero by how well such means
have predicted (an empirical Bayes estimate: Efron & Morris, JASA 70 (1975) 311-319). The error is
what leaving out each known entry in turn gives, kernel by kernel; the estimate bears it as its
uncertainty. Other clocks follow the part's own ratios.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Evidence, KernelFigure, Part, Variant
from advisor.catalogue.schema_product import Product
from advisor.figures import Path
from advisor.model.draws import Array
from advisor.quantities import lognormal

LEAST_PARTS, LEAST_KERNELS = 4, 2  # known entries of a kernel, and of a part, to estimate from
EVIDENCE = "estimated-missing"


@dataclass(frozen=True, slots=True)
class Estimated:
    """A kernel estimated for a part: paths made, and the left-out errors, relative."""

    part: str
    kernel: str
    paths: tuple[str, ...]
    time_error: float
    current_error: float


def fill_missing(catalogue: Catalogue, product: Product) -> tuple[Catalogue, tuple[Estimated, ...]]:
    """The catalogue with the product's kernels estimated where a part lacks them.

    Only plain runs are made, no engine's; a part with fewer than two measured kernels, and a
    kernel that fewer than four parts state, are left as they are.
    """
    wanted = list(dict.fromkeys(k for task in product.workload for k in task.kernels))
    gaps = {
        name: [k for k in wanted if not _native(part, k)] for name, part in catalogue.parts.items()
    }
    if not any(gaps.values()):
        return catalogue, ()
    names = sorted(catalogue.parts)
    kernels = sorted({k for part in catalogue.parts.values() for k in part.kernels})
    stress = [_stress(catalogue, k) for k in kernels]
    tables = [_table(catalogue, names, kernels, what) for what in ("time", "current")]
    fits = [_Fit(table, stress) for table in tables]
    parts = dict(catalogue.parts)
    out = []
    for name in names:
        for kernel in gaps[name]:
            if kernel not in kernels:
                continue
            at = names.index(name), kernels.index(kernel)
            if not all(fit.may(*at) for fit in fits):
                continue
            made = _figures(parts[name], kernel, [fit.predict(*at) for fit in fits])
            if made:
                errors = [float(np.expm1(fit.predict(*at)[1])) for fit in fits]
                parts[name] = _with(parts[name], kernel, made)
                paths = tuple(str(Path(name, ("kernels", kernel, point))) for point in made)
                out.append(Estimated(name, kernel, paths, *errors))
    told: dict[str, tuple[str, ...]] = {}
    for one in out:
        told[one.part] = (*told.get(one.part, ()), *one.paths)
    return replace(catalogue, parts=parts, estimated=told), tuple(out)


def notes(estimated: Sequence[Estimated]) -> tuple[str, ...]:
    """What was estimated, kernel by kernel, with its left-out error."""
    by_kernel: dict[str, list[Estimated]] = {}
    for one in estimated:
        by_kernel.setdefault(one.kernel, []).append(one)
    return tuple(
        f"{kernel} is estimated for {', '.join(o.part for o in ones)}: leaving out what is known "
        f"misses its time by {100 * ones[0].time_error:.0f} % and its current by "
        f"{100 * ones[0].current_error:.0f} %"
        for kernel, ones in sorted(by_kernel.items())
    )


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
        self.errors = self._left_out()

    def may(self, p: int, k: int) -> bool:
        """Whether there is enough to estimate an entry from."""
        return bool(
            self.known[:, k].sum() >= LEAST_PARTS
            and self.known[p].sum() >= LEAST_KERNELS
            and np.isfinite(self.errors[k])
        )

    def predict(self, p: int, k: int) -> tuple[float, float]:
        """(logarithm, its standard error)."""
        return self._estimate(self.known, p, k), float(self.errors[k])

    def _left_out(self) -> Array:
        """Root mean square of what leaving out each entry misses it by, per kernel, (K,)."""
        out = np.full(self.table.shape[1], np.nan)
        for k in range(self.table.shape[1]):
            misses = []
            for p in np.nonzero(self.known[:, k])[0]:
                mask = self.known.copy()
                mask[p, k] = False
                if mask[p].sum() >= LEAST_KERNELS and mask[:, k].sum() >= LEAST_PARTS - 1:
                    misses.append(self._estimate(mask, int(p), k) - self.table[p, k])
            if len(misses) >= LEAST_PARTS - 1:
                out[k] = np.sqrt(np.mean(np.square(misses)))
        return out

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


def _figures(
    part: Part, kernel: str, predicted: list[tuple[float, float]]
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
        ratios = [
            _ratio(part, points[0], point, what, exact=point == points[0])
            for what in ("time", "current")
        ]
        if any(r is None for r in ratios):
            continue
        time, current = (
            lognormal(
                float(np.exp(log) * (ratio or 1.0)),
                sigma,
                what,
                f"estimated, within {100 * np.expm1(sigma):.0f} %",
            )
            for (log, sigma), ratio, what in zip(
                predicted, ratios, ("time", "current"), strict=True
            )
        )
        out[point] = KernelFigure(time=time, current=current, supply=supply, evidence=EVIDENCE)
    return out


def _ratio(part: Part, fastest: str, point: str, what: str, exact: bool) -> float | None:
    if exact:
        return 1.0
    found = [
        _value(part, k, point, what) / _value(part, k, fastest, what)
        for k, by_point in part.kernels.items()
        if point in by_point and fastest in by_point
    ]
    known = [r for r in found if np.isfinite(r)]
    return float(np.median(known)) if known else None


def _with(part: Part, kernel: str, made: Mapping[str, KernelFigure]) -> Part:
    evidence = Evidence(kind="estimate", note="estimated from the other kernels and parts")
    return replace(
        part,
        kernels={**part.kernels, kernel: {**part.kernels.get(kernel, {}), **made}},
        evidence={**part.evidence, EVIDENCE: evidence},
    )
