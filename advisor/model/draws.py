"""Draws of the stated figures: the propagation of distributions of JCGM 101:2008.

Every figure of every document has a random stream of its own, keyed by a digest of the seed, the
document's id and the figure's path. So adding a part, widening one figure or leaving another one
unread changes no other figure's draws, and the same seed gives the same numbers anywhere. Each
figure's draws are spread evenly over its distribution, see `strata`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.catalogue.schema_parts import Evidence
from advisor.catalogue.spread import ENDS, SIGNED, moved, with_end
from advisor.dataclass import dataclass, field
from advisor.figures import Path
from advisor.model import strata
from advisor.quantities import Quantity

Array = NDArray[np.float64]

# a normal distribution this wide would reach below zero: JCGM 101:2008 leaves the choice of a
# distribution that respects the bound to the user; the lognormal keeps the mean and the deviation
WIDE = 0.2


def stream(seed: int, *names: str) -> np.random.Generator:
    """The random stream of a seed and names: a Philox generator keyed by their SHA-256 digest."""
    return np.random.Generator(np.random.Philox(key=int.from_bytes(_key(seed, *names), "little")))


def _key(seed: int, *names: str) -> bytes:
    return hashlib.sha256("\0".join((str(seed), *names)).encode()).digest()[:16]


def pert(low: float, likely: float, high: float, rng: np.random.Generator, draws: int) -> Array:
    """Draws of the beta distribution of PERT between its ends, (draws,), in SI units."""
    if high == low:
        return np.full(draws, low)
    alpha = 1 + 4 * (likely - low) / (high - low)
    return np.asarray(low + (high - low) * strata.beta(alpha, 6 - alpha, rng, draws))


def sample(quantity: Quantity, rng: np.random.Generator, draws: int) -> Array:
    """Draws of one figure, shape (draws,), in SI units.

    Limits, `±` without a `k`, are rectangular and kept whatever their width (JCGM 100:2008, 4.3.7);
    `{low, likely, high}` is the beta distribution of PERT between its ends. A standard uncertainty
    is normal, unless the figure cannot be negative and u exceeds 20 % of its value: then it is the
    lognormal distribution of the same mean and standard deviation. `{typical, max}` is the
    lognormal with its median at typical and 99 % at max, which has no upper limit.
    """
    value, u = quantity.nominal, quantity.u
    if quantity.kind == "pert":
        low, likely, high = quantity.shape
        return pert(low, likely, high, rng, draws)
    if quantity.kind == "lognormal":
        median, sigma = quantity.shape
        return np.asarray(median * np.exp(sigma * strata.normal(rng, draws)))
    if u == 0:
        return np.full(draws, value)
    positive = quantity.dimension not in SIGNED and value > 0
    floor = value * 1e-9 if positive else -np.inf  # a logarithm or a quotient may follow
    if quantity.kind == "rectangular":
        half = quantity.shape[0]
        return np.maximum(value - half + 2 * half * strata.uniform(rng, draws), floor)
    if positive and u > WIDE * value:
        sigma = np.sqrt(np.log1p((u / value) ** 2))
        return np.asarray(value * np.exp(sigma * strata.normal(rng, draws) - sigma * sigma / 2))
    return np.maximum(value + u * strata.normal(rng, draws), floor)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A measuring instrument, whose gain is one draw for all figures taken with it."""

    name: str

    def __str__(self) -> str:
        """`instrument NAME`."""
        return f"instrument {self.name}"


def _alike(value: float, size: int) -> Array:
    """One value for all draws, (size,) SI: half as long as `numpy.full` takes, which most figures
    of most passes come by."""
    out = np.empty(size)
    out.fill(value)
    return out


# what is drawn, and its draws (N,)
Source = Path | Instrument
Trace = dict[Source, Array]
# a figure's draws with what they are of: copies of a part that a pass carries under one id may
# state another value
Known = dict[Path, tuple[Quantity, Array]]
MOST_KNOWN = 4000  # figures whose draws are kept for other passes; 32 MB of 1000 draws each


@dataclass(slots=True)
class Sampler:
    """Gives the figures of one document as arrays: their stated values, or draws of them.

    With `draws` 0 each array is of shape (1,) and holds the stated value; else of shape (draws,).
    Draws come in chunks, each with streams of its own. A `trace` keeps the draws of every
    uncertain figure that is taken, by its path. A figure's path is the file's own, key by key.
    `known` keeps draws for passes with as many or fewer of them over the same figures, since fewer
    draws are the first ones of more.
    """

    identity: str
    draws: int = 0
    seed: int = 1
    chunk: int = 0
    trace: Trace | None = None
    known: Known | None = None
    _gains: dict[Source, Array] = field(default_factory=dict)
    _rng: np.random.Generator | None = None

    @property
    def root(self) -> Path:
        """The document's own path, above those of its figures."""
        return Path(self.identity)

    @property
    def size(self) -> int:
        """Length of the draw axis."""
        return self.draws or 1

    @property
    def random(self) -> bool:
        """Whether figures are drawn rather than stated."""
        return self.draws > 0

    def stream(self, path: Path) -> np.random.Generator:
        """The stream of a figure in this chunk of the draws, until the next one is asked for."""
        names = path.document, path.dotted, str(self.chunk)
        if self._rng is None:
            self._rng = stream(self.seed, *names)
        else:
            # a new generator asks the system for a seed that it then does without
            state: dict[str, Any] = dict(self._rng.bit_generator.state)
            state["state"]["counter"][:] = 0
            state["state"]["key"][:] = np.frombuffer(_key(self.seed, *names), "<u8")
            state["buffer_pos"] = len(state["buffer"])  # nothing is left in it
            state["has_uint32"] = 0
            self._rng.bit_generator.state = state
        return self._rng

    def take(self, path: Path, quantity: Quantity) -> Array:
        """The figure at `path`, shape (N,), SI."""
        if not self.draws:
            return np.array([quantity.nominal])
        if quantity.u == 0 and quantity.kind != "lognormal":
            return _alike(quantity.nominal, self.draws)
        return self.traced(path, self._drawn(path, quantity))

    def _drawn(self, path: Path, quantity: Quantity) -> Array:
        """Draws of an uncertain figure, (draws,) SI, from what is known."""
        if self.known is None:
            return sample(quantity, self.stream(path), self.draws)
        of, found = self.known.get(path, (None, None))
        if found is None or of != quantity or len(found) < self.draws:
            found = sample(quantity, self.stream(path), self.draws)
            found.flags.writeable = False
            if len(self.known) < MOST_KNOWN:
                self.known[path] = quantity, found
        return found[: self.draws]

    def beside(
        self, path: Path, quantity: Quantity, other: Path, with_: Quantity, correlation: float
    ) -> Array:
        """The figure at `path`, (N,) SI, whose error goes with that of another figure.

        Of standardised errors z and z' it has r z' + √(1 − r²) z (JCGM 101:2008, 6.4.8).
        """
        values = self.take(path, quantity)
        if not (self.draws and correlation and quantity.u and with_.u):
            return values
        stated, u = self._stated(path, quantity)
        other_stated, other_u = self._stated(other, with_)
        z = (self.take(other, with_) - other_stated) / other_u
        own = np.sqrt(1 - correlation**2) * (values - stated)
        return np.asarray(np.maximum(stated + u * correlation * z + own, 1e-9 * np.abs(stated)))

    def _stated(self, path: Path, quantity: Quantity) -> tuple[Array, Array]:
        """((N,) stated value, (N,) its standard uncertainty) of the figure at `path`, SI."""
        return np.full(self.size, quantity.nominal), np.full(self.size, quantity.u)

    def choices(self, path: Path, count: int) -> Array:
        """Whole numbers below `count`, each as likely, shape (N,)."""
        return np.floor(count * strata.uniform(self.stream(path), self.draws))

    def luck(self, path: Path) -> Array | None:
        """Standard normal deviates, (N,), a count of deviations; None at the stated values."""
        return strata.normal(self.stream(path), self.draws) if self.draws else None

    def between(self, path: Path, low: float, likely: float, high: float) -> Array:
        """What is known by the ends of its PERT distribution and its likeliest value, SI, as draws
        (N,) of the figure at `path`."""
        return pert(low, likely, high, self.stream(path), self.draws)

    def traced(self, path: Source, values: Array) -> Array:
        """The values, (N,) SI, kept in the trace where there is one."""
        if self.trace is not None:
            self.trace[path] = values
        return values

    def gain(self, source: Source, half_width: float) -> Array | float:
        """The factor that one instrument's gain error puts on all its figures, (N,), or 1.

        The limits of error are rectangular (JCGM 100:2008, 4.3.7); every part measured with the
        same instrument shares the draw, so that its error cancels between them. Where no instrument
        is named, `source` is the path of the stated gain. `half_width` is a share of the reading.
        """
        if not self.draws or half_width == 0:
            return 1.0
        if source not in self._gains:
            self._gains[source] = self.errors(source)
        return 1.0 + half_width * self.traced(source, self._gains[source])

    def errors(self, source: Source) -> Array:
        """Draws of a gain's error, (N,) of -1..1, shares of its limit."""
        if isinstance(source, Instrument):
            rng = stream(self.seed, "instrument", source.name, str(self.chunk))
        else:
            rng = self.stream(source)
        return 2 * strata.uniform(rng, self.draws) - 1


Case = tuple[Path, float] | None  # a figure with a value (SI) for it; None: all as it stands


def once_each(values: NDArray[Any], cases: int) -> NDArray[Any]:
    """Values (..., n) once for each of so many cases, (..., cases x n), SI as they are."""
    out = np.empty((*values.shape[:-1], cases, values.shape[-1]), dtype=values.dtype)
    out[:] = values[..., None, :]
    return out.reshape(*values.shape[:-1], cases * values.shape[-1])


class GridSampler(Sampler):
    """The same draws (or the stated values) once more for each of a row of cases.

    In a case one figure stands at another value, with its own spread (`spread.moved`); all others
    stand. The axis is case by case: N = cases x draws. `taken` are the figures of the cases that
    were asked for: one that does not come by a sampler moves nothing here. `memo` keeps draws for
    passes with as many or fewer of them, since fewer draws are the first ones of more.
    """

    __slots__ = ("_at", "_made", "cases", "memo", "taken")

    def __init__(
        self, identity: str, cases: Sequence[Case], draws: int, seed: int, memo: Trace | None = None
    ) -> None:
        super().__init__(identity, draws, seed)
        self.cases = len(cases)
        self.taken: set[Path] = set()
        self.memo: Trace = {} if memo is None else memo
        self._made: dict[Path, Array] = {}
        self._at: dict[Path, list[tuple[int, Path, float]]] = {}
        for n, case in enumerate(cases):
            if case is not None and case[0].document == identity:
                path, x = case
                self._at.setdefault(path, []).append((n, path, x))
                if path.keys[-1] in ENDS:
                    whole = Path(path.document, path.keys[:-1])
                    self._at.setdefault(whole, []).append((n, path, x))

    @property
    def size(self) -> int:
        """Length of the draw axis."""
        return self.cases * (self.draws or 1)

    def moves(self, within: str | None = None) -> bool:
        """Whether a figure of this document stands at another value in some case; one below a key
        of it, if told."""
        return any(within in (None, path.keys[0]) for path in self._at)

    def take(self, path: Path, quantity: Quantity) -> Array:
        """The figure at `path`, shape (N,), SI."""
        here = self._at.get(path) if self._at else None
        if here is None and (not self.draws or (quantity.u == 0 and quantity.kind != "lognormal")):
            return _alike(quantity.nominal, self.size)
        made = self._made.get(path)
        if made is None:
            first = self._first(path, lambda: Sampler.take(self, path, quantity))
            made = once_each(first, self.cases)
            each = made.reshape(self.cases, -1)
            for n, lever, x in here or ():
                self.taken.add(lever)
                each[n] = Sampler.take(self, path, _there(quantity, path, lever, x))
            self._made[path] = made
        return made

    def _stated(self, path: Path, quantity: Quantity) -> tuple[Array, Array]:
        """((N,) stated value, (N,) its standard uncertainty) of the figure at `path`, SI."""
        stated, u = Sampler._stated(self, path, quantity)
        for n, lever, x in self._at.get(path, ()):
            here = _there(quantity, path, lever, x)
            stated.reshape(self.cases, -1)[n] = here.nominal
            u.reshape(self.cases, -1)[n] = here.u
        return stated, u

    def _first(self, source: Source, draw: Callable[[], Array]) -> Array:
        """The first draws of a source, (draws,), or its stated value, (1,)."""
        if not self.draws:
            return draw()
        known = self.memo.get(source)
        if known is None or len(known) < self.draws:
            known = self.memo[source] = draw()
        return known[: self.draws]

    def choices(self, path: Path, count: int) -> Array:
        """Whole numbers below `count`, each as likely, shape (N,)."""
        first = self._first(path, lambda: Sampler.choices(self, path, count))
        return once_each(first, self.cases)

    def between(self, path: Path, low: float, likely: float, high: float) -> Array:
        """What is known by its ends and its likeliest value, SI, as draws (N,); the same in all
        cases."""
        first = self._first(path, lambda: Sampler.between(self, path, low, likely, high))
        return once_each(first, self.cases)

    def gain(self, source: Source, half_width: float) -> Array | float:
        """The factor that one instrument's gain error puts on all its figures, (N,), or 1."""
        if not self.draws or half_width == 0:
            return 1.0
        drawn = self._first(source, lambda: self.errors(source))
        return 1.0 + half_width * once_each(drawn, self.cases)

    def luck(self, path: Path) -> Array | None:
        """Standard normal deviates, (N,), a count of deviations; None at the stated values."""
        if not self.draws:
            return None
        first = self._first(path, lambda: strata.normal(self.stream(path), self.draws))
        return once_each(first, self.cases)


def _there(quantity: Quantity, path: Path, lever: Path, x: float) -> Quantity:
    """The figure at `path` where a lever, itself or an end of its spread, stands at `x`."""
    return moved(quantity, x) if lever == path else with_end(quantity, lever.keys[-1], x)


def gain_of(evidence: Mapping[str, Evidence], name: str | None, sampler: Sampler) -> Array | float:
    """The factor of a meter's gain on what a document's evidence of this name tells, (N,)."""
    record = evidence.get(name or "")
    if record is None or record.gain is None:
        return 1.0
    source = (
        sampler.root.child("evidence", name or "", "gain")
        if record.instrument is None
        else Instrument(record.instrument)
    )
    return sampler.gain(source, record.gain.nominal)
