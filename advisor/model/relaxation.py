"""A pack with a reservoir across it, under a load of constant current and constant power.

A source V behind R, a capacitor C of series resistance r and the load share one node, the
terminals:

    (V - v)/R = A + P/v + (v - v_c)/r,    C dv_c/dt = (v - v_c)/r.

With p > m the roots of v^2 - (V - R A) v + R P, where the terminals may rest, k = r/(R + r) and
tau = (R + r) C, the equation separates:

    dt/tau = -(v - k p m/v)/((v - p)(v - m)) dv,

whose integral is in closed form: nothing is stepped in time. A state that begins above m relaxes
to p. Where it begins below m, or there is no p, the terminals run down and collapse at
v = sqrt(k p m), where the load draws more with every further fall than source and capacitor give.

A case is one voltage, resistance and load; arrays of cases are (m,). SI units.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.drain import Array

LEAST_OHM = 1e-9  # a source without resistance holds its voltage to a nanovolt an ampere
CLOSE = 3e-5  # V, of the last Newton step within a state: the error left is of its square
GONE = 50.0  # times e by which a way is divided of which no digit is left
MOST = 60  # steps of a search


@dataclass(frozen=True, slots=True)
class Circuit:
    """A pack at some depth, with its reservoir: volts V, ohms, esr ohm, farad F, each (m,)."""

    volts: Array
    ohms: Array
    esr: Array
    farad: Array

    @classmethod
    def of(cls, volts: Array, ohms: Array, farad: Array, esr: Array) -> Circuit:
        """Of V, ohm, F, ohm that broadcast; a source without resistance gets next to none."""
        return cls(volts, np.maximum(ohms, LEAST_OHM), esr, farad)

    @property
    def tau(self) -> Array:
        """Time constant at constant currents, (m,) s."""
        return np.asarray((self.ohms + self.esr) * self.farad)

    @property
    def kappa(self) -> Array:
        """Share of the source's resistance and the reservoir's that is the reservoir's, (m,)."""
        return np.asarray(self.esr / (self.ohms + self.esr))

    def tiled(self, times: int) -> Circuit:
        """The cases several times over."""
        return self._each(lambda x: np.concatenate([x] * times))

    def taken(self, index: NDArray[np.intp]) -> Circuit:
        """Some of the cases, by their indices (n,)."""
        return self._each(lambda x: x[index])

    def _each(self, change: Callable[[Array], Array]) -> Circuit:
        return Circuit(
            volts=change(self.volts),
            ohms=change(self.ohms),
            esr=change(self.esr),
            farad=change(self.farad),
        )


@dataclass(frozen=True, slots=True)
class Roots:
    """Where the terminals may rest under a constant power, and what leads Newton's steps, (m,).

    p, m : V, the two roots. kpm : k p m, V^2. least : 4 k R P, V^2. alpha, beta : shares of the two
    logarithms of the integral.
    """

    p: Array
    m: Array
    kpm: Array
    least: Array
    alpha: Array
    beta: Array

    def taken(self, index: NDArray[np.intp]) -> Roots:
        """Those of some cases, by their indices (n,)."""
        return Roots(
            p=self.p[index],
            m=self.m[index],
            kpm=self.kpm[index],
            least=self.least[index],
            alpha=self.alpha[index],
            beta=self.beta[index],
        )


@dataclass(frozen=True, slots=True)
class Load:
    """A state's load, whatever the capacitor stands at.

    amps A, watts W, upper (V - R A) V, each (m,); roots : those of its powers. None without any.
    """

    amps: Array
    upper: Array
    watts: Array | None = None
    roots: Roots | None = None


class Stepper:
    """Takes the capacitor through a state of constant current and constant power."""

    def __init__(self, circuit: Circuit) -> None:
        self.volts, self.ohms = circuit.volts, circuit.ohms
        self.tau, self.kappa = circuit.tau, circuit.kappa
        self.source = self.ohms * self.kappa
        self.near, self.far = self.kappa * self.volts, 1 - self.kappa

    def load(self, amps: Array, watts: Array | None) -> Load:
        """What a load of (m,) A and W leads to; no watts are none."""
        upper = self.volts - self.ohms * amps
        if watts is None:
            return Load(amps=amps, upper=upper)
        kappa, product = self.kappa, self.ohms * watts
        p = (upper + np.sqrt(upper * upper - 4 * product)) / 2
        m = product / p
        apart, km = p - m, kappa * m
        roots = Roots(
            p=p,
            m=m,
            kpm=km * p,
            least=4 * kappa * product,
            alpha=(p - km) / apart,
            beta=(m - kappa * p) / apart,
        )
        return Load(amps=amps, upper=upper, watts=watts, roots=roots)

    def step(
        self, held: Array, amps: Array, watts: Array | None, seconds: Array
    ) -> tuple[Array, Array, Array]:
        """`under` a load of (m,) A and W for (m,) s; no watts are none."""
        return self.under(self.load(amps, watts), held, seconds / self.tau)

    def first(self, load: Load, held: Array) -> Array:
        """Voltage at the terminals as a load begins, the capacitor at `held`, (m,) V."""
        u = self.near + self.far * held - self.source * load.amps
        if load.roots is None:
            return np.asarray(u)
        return np.asarray((u + np.sqrt(u * u - load.roots.least)) / 2)

    def under(self, load: Load, held: Array, span: Array) -> tuple[Array, Array, Array]:
        """(first and last voltage at the terminals, the capacitor's after a load), (m,) V each.

        Parameters
        ----------
        held : (m,) V, the capacitor's at first. span : (m,) time constants.
        """
        amps, watts, upper, roots = load.amps, load.watts, load.upper, load.roots
        first = self.first(load, held)
        if watts is None or roots is None:
            after = upper + (held - upper) * np.exp(-span)
            return first, self.near + self.far * after - self.source * amps, after
        fit = (first > roots.m) & (upper > 0)
        if fit.all():
            last = self._relaxed(roots, first, self.kappa, span)
            return first, last, self._held(last, amps, watts)
        last, after = self._odd(held, amps, watts, span, first)
        fits = np.nonzero(fit)[0]
        last[fits] = self._relaxed(roots.taken(fits), first[fits], self.kappa[fits], span[fits])
        after[fits] = self._held(last, amps, watts)[fits]
        return first, last, after

    def _held(self, terminals: Array, amps: Array, watts: Array) -> Array:
        """The capacitor's voltage that goes with one at the terminals."""
        return np.asarray(
            (terminals + self.source * (amps + watts / terminals) - self.near) / self.far
        )

    @staticmethod
    def _relaxed(roots: Roots, first: Array, kappa: Array, span: Array) -> Array:
        """Voltage at the terminals after `span` time constants, on its way from `first` to p.

        In z = ln((v - p)/(v0 - p)) time is nearly straight, and bent one way, so Newton's steps
        do not wander. They start from the logistic curve whose rates at both ends are right.
        """
        if not first.size:
            return first
        p, m, kpm, alpha, beta = roots.p, roots.m, roots.kpm, roots.alpha, roots.beta
        way, above = first - p, first - m
        z = span / alpha
        # so close to p that nothing is left of the way
        if z.min() > GONE:
            return p
        ratio = above / (first - kpm / first) * alpha
        z = np.minimum(-z - np.log1p((1 - ratio) * np.expm1(-z)), 0.0)
        x = way * np.exp(z)
        for _ in range(MOST):
            v = p + x
            over = v - m
            time = beta * np.log(over / above) + kappa * np.log(v / first) - alpha * z
            z = np.minimum(z + (time - span) * over / (v - kpm / v), 0.0)
            before, x = x, way * np.exp(z)
            if np.abs(x - before).max() < CLOSE:
                break
        return np.asarray(p + x)

    def _odd(
        self, held: Array, amps: Array, watts: Array, span: Array, first: Array
    ) -> tuple[Array, Array]:
        """(last voltage, capacitor's) where there is no place to come to rest in."""
        rest = self.volts - self.ohms * amps
        after = rest + (held - rest) * np.exp(-span)
        last = self.near + self.far * after - self.source * amps
        fallen = _run_down(rest, self.ohms * watts, self.kappa, first, span)
        return (
            np.where(watts > 0, fallen, last),
            np.where(watts > 0, self._held(fallen, amps, watts), after),
        )


def _run_down(upper: Array, product: Array, kappa: Array, first: Array, span: Array) -> Array:
    """Voltage after `span` time constants of running down from `first`; NaN once collapsed.

    upper : V - R A, product : R P, with no root of v^2 - upper v + product between 0 and `first`
    that holds it up.
    """
    out = np.full(first.shape, np.nan)
    floor = np.maximum(np.sqrt(kappa * product), 1e-12)

    def elapsed(v: Array, i: NDArray[np.intp]) -> Array:
        k, u, f = kappa[i], upper[i], first[i]
        square = u * u / 4 - product[i]
        s = np.maximum(np.sqrt(np.abs(square)), 1e-9 * np.sqrt(product[i]))
        # the integral of dv/(v^2 - u v + product), by its discriminant
        low, high = v - u / 2, f - u / 2
        turned = (np.arctan2(high, s) - np.arctan2(low, s)) / s
        # both places of rest lie above, or both below zero
        real = (np.log1p(-2 * s / (high + s)) - np.log1p(-2 * s / (low + s))) / (2 * s)
        inverse = np.where(square < 0, turned, real)
        q0, q1 = f * f - u * f + product[i], v * v - u * v + product[i]
        return np.asarray(
            (1 + k) / 2 * np.log(q0 / q1) + (1 - k) * u / 2 * inverse - k * np.log(f / v)
        )

    # from above the lower root it does not run down
    lower = product / (upper + np.sqrt(upper * upper - 4 * product)) * 2
    alive = np.nonzero((first > floor) & ~((upper > 0) & (first > lower)))[0]
    alive = alive[elapsed(floor[alive], alive) > span[alive]]
    low, high, v = floor[alive], first[alive], first[alive]
    for n in range(MOST):
        if not alive.size:
            break
        late = elapsed(v, alive) - span[alive]
        low, high = np.where(late > 0, v, low), np.where(late > 0, high, v)
        inside = kappa[alive] * product[alive] / v
        rate = (v * v - upper[alive] * v + product[alive]) / (v - inside)
        guess = v + late * rate
        good = (guess > low) & (guess < high) & (n % 4 != 3)
        before, v = v, np.where(good, guess, (low + high) / 2)
        if np.abs(v - before).max() < 1e-9:
            break
    out[alive] = v
    return out
