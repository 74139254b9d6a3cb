"""What goes wrong on a bench, a kind at a time: what was done to a session, and by how much.

A disturbance changes what the device draws, what the meter writes, or what the notes say. All made
up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.on_bench import simulator
from tests.on_bench.meters import AUTO, KINDS, PLAIN, Kind, Session, Statement, session

Floats = NDArray[Any]  # numpy widens what a mask and a number make

QUIET = replace(KINDS["point"], ranges=(replace(PLAIN[0], noise=5e-6, offset=0.2e-6),))
UNSAID = replace(QUIET, says="")
CODE = 20e-3 / 4096


@dataclass(frozen=True)
class Disturbance:
    """One kind: the meter, and how to make a session that has it."""

    kind: Kind = QUIET
    change: Callable[[simulator.Bench, np.random.Generator], None] | None = None
    extra: Callable[[simulator.Bench], Callable[[Floats], Floats]] | None = None
    after: Callable[[Session, np.random.Generator], None] | None = None
    rise: float = 0.0

    def made(self, seed: int, folder: Path) -> Session:
        """A session with it."""
        found = session(
            self.kind, seed, folder, change=self.change, extra=self.extra, rise=self.rise
        )
        if self.after is not None:
            self.after(found, np.random.default_rng([31, seed]))
        return found


def _sleep(made: simulator.Bench) -> tuple[float, float]:
    return made.spans["ram-kept"]


def _in_sleep(shape: Callable[[Floats, float], Floats]) -> Callable[..., Callable[..., Floats]]:
    """An extra draw in the sleep stretch: `shape` of (s since its begin, length)."""

    def of(made: simulator.Bench) -> Callable[[Floats], Floats]:
        begin, end = _sleep(made)

        def at(t: Floats) -> Floats:
            inside = (t >= begin) & (t < end)
            return np.where(inside, shape(np.where(inside, t - begin, 0.0), end - begin), 0.0)

        return at

    return of


def _always(shape: Callable[[Floats], Floats]) -> Callable[..., Callable[..., Floats]]:
    return lambda made: shape


def _in_runs(shape: Callable[[Floats, Floats], Floats]) -> Callable[..., Callable[..., Floats]]:
    """An extra draw in runs: `shape` of (s since the run's begin, s to its end)."""

    def of(made: simulator.Bench) -> Callable[[Floats], Floats]:
        begins = np.array([b for b, _ in made.device.work])
        ends = np.array([e for _, e in made.device.work])

        def at(t: Floats) -> Floats:
            k = np.clip(np.searchsorted(begins, t, side="right") - 1, 0, None)
            inside = (t >= begins[k]) & (t < ends[k])
            return np.where(inside, shape(t - begins[k], ends[k] - t), 0.0)

        return at

    return of


def _every(period: float, length: float, height: float) -> Callable[[Floats, float], Floats]:
    return lambda t, whole: height * ((t % period) < length)


def _sample(where: float, value: float) -> Callable[[Session, np.random.Generator], None]:
    """One sample written as something else, at a share of the first run or of the sleep."""

    def after(found: Session, draw: np.random.Generator) -> None:
        if where < 1:
            begin, end = found.bench.device.work[0]
        else:
            begin, end = _sleep(found.bench)
        found.i[np.searchsorted(found.t, begin + (where % 1) * (end - begin))] = value

    return after


def _limited(top: float | None = None, bottom: float | None = None) -> Callable[..., None]:
    def after(found: Session, draw: np.random.Generator) -> None:
        high = np.inf if top is None else top * found.i.max()
        found.i = np.clip(found.i, -np.inf if bottom is None else bottom, high)

    return after


def _last_code_but_one(found: Session, draw: np.random.Generator) -> None:
    """The converter's end lies inside the highest kernel's bell, and the last code comes and goes.

    The stated range ends a code above the last.
    """
    top = np.round(0.9 * np.median(found.i[found.i > 0.9 * found.i.max()]) / CODE)
    end = top + (draw.uniform(size=len(found.i)) < 0.02)
    found.i = np.minimum(found.i, end * CODE)
    found.meter_says = found.meter_says.replace("to: 0.025 A", f"to: {(top + 1) * CODE} A")


def _drift(size: float) -> Callable[..., None]:
    def after(found: Session, draw: np.random.Generator) -> None:
        found.i = found.i + size * found.t / found.t[-1]

    return after


def _sleep_drift(found: Session, draw: np.random.Generator) -> None:
    begin, end = _sleep(found.bench)
    found.i = found.i + 20e-6 * np.clip((found.t - begin) / (end - begin), 0, 1)


def _shifted(samples: int) -> Callable[..., None]:
    def after(found: Session, draw: np.random.Generator) -> None:
        found.i = np.roll(found.i, samples)

    return after


def _scaled(factor: float) -> Callable[..., None]:
    def after(found: Session, draw: np.random.Generator) -> None:
        found.i = found.i * factor

    return after


def _hold(found: Session, draw: np.random.Generator) -> None:
    """The meter holds its last value for three samples after each rise of the marker."""
    for at in np.flatnonzero(np.diff(found.m) > 0):
        found.i[at + 1 : at + 4] = found.i[at]


def _late(found: Session, draw: np.random.Generator) -> None:
    begin, _ = _sleep(found.bench)
    found.i = found.i + found.bench.idle * ((found.t >= begin) & (found.t < begin + 0.05))


def _gap(found: Session, draw: np.random.Generator) -> None:
    begin, end = found.bench.device.work[3]
    keep = (found.t < begin + 0.3 * (end - begin)) | (found.t > begin + 0.5 * (end - begin))
    found.t, found.i, found.m = found.t[keep], found.i[keep], found.m[keep]


def _lost_mark(found: Session, draw: np.random.Generator) -> None:
    begin, end = found.bench.device.work[3]
    found.m[(found.t > begin - 1e-3) & (found.t < end + 1e-3)] = 0


def _bounce(found: Session, draw: np.random.Generator) -> None:
    begin, _ = found.bench.device.work[3]
    found.m[np.searchsorted(found.t, begin) + 4] = 0


COARSE = replace(QUIET, ranges=(Statement(25e-3, 1e-3, 0.2e-6, CODE, 8e-6),))
STEPPED = replace(COARSE, ranges=(replace(COARSE.ranges[0], to=50e-3),))

DISTURBANCES = {
    "a lamp blinks in the sleep": Disturbance(extra=_in_sleep(_every(0.25, 0.05, 2e-3))),
    "a dim lamp, half of the time": Disturbance(extra=_in_sleep(_every(0.2, 0.1, 0.1e-3))),
    "wake-ups in the sleep": Disturbance(extra=_in_sleep(_every(0.1, 0.4e-3, 5e-3))),
    "one wake-up in the sleep": Disturbance(
        extra=_in_sleep(lambda t, n: 5e-3 * ((t > 0.31) & (t < 0.312)))
    ),
    "a burst every millisecond": Disturbance(extra=_in_sleep(_every(1.013e-3, 60e-6, 1e-3))),
    "bursts aliasing with the sampling": Disturbance(extra=_in_sleep(_every(50.02e-6, 5e-6, 1e-3))),
    "an entry tail": Disturbance(extra=_in_sleep(lambda t, n: 0.5e-3 * np.exp(-t / 0.05))),
    "a late sleep": Disturbance(after=_late),
    "a leak that comes on": Disturbance(extra=_in_sleep(lambda t, n: 30e-6 * (t > 0.4 * n))),
    "offset drift in the sleep": Disturbance(after=_sleep_drift),
    "offset drift over the runs": Disturbance(after=_drift(0.6e-3)),
    "ripple of a switching regulator": Disturbance(
        extra=_always(lambda t: 0.3e-3 * np.sign(np.sin(2 * np.pi * 3137.0 * t)))
    ),
    "overload written as 9.9e37": Disturbance(after=_sample(0.5, 9.9e37)),
    "overload written as 9.99 A": Disturbance(after=_sample(0.5, 9.99)),
    "overload of one sample, 50 times": Disturbance(after=_sample(1.5, 5e-3)),
    "clipped, noise of many codes": Disturbance(
        replace(QUIET, ranges=(replace(PLAIN[0], noise=40e-6),)), after=_limited(top=0.95)
    ),
    "clipped, on codes": Disturbance(STEPPED, after=_limited(top=0.97)),
    "clipped at one code below the end": Disturbance(COARSE, after=_last_code_but_one),
    "at its end all along, range unsaid": Disturbance(COARSE, after=_limited(top=0.9)),
    "negatives read as zero": Disturbance(
        replace(QUIET, ranges=(replace(PLAIN[0], noise=0.6e-3),)), after=_limited(bottom=0.0)
    ),
    "glitches at changes of range, stated": Disturbance(Kind(AUTO, glitch=3)),
    "glitches at changes of range, unsaid": Disturbance(
        UNSAID,
        extra=_in_runs(lambda since, to: 30e-3 * (since < 60e-6) + 0.0 * to),
    ),
    "the meter holds after an edge": Disturbance(UNSAID, after=_hold),
    "inrush at the start of runs": Disturbance(
        UNSAID, extra=_in_runs(lambda since, to: 20e-3 * np.exp(-since / 100e-6))
    ),
    "a tail behind the runs": Disturbance(
        UNSAID,
        extra=lambda made: (
            lambda t: sum(
                (
                    5e-3 * np.exp(-np.maximum(t - e, 0.0) / 200e-6) * (t >= e) * (t < e + 2e-3)
                    for _, e in made.device.work
                ),
                np.zeros(np.shape(t)),
            )
        ),
    ),
    "the marker's edges are slow": Disturbance(rise=0.5e-3),
    "the current behind the marker": Disturbance(UNSAID, after=_shifted(4)),
    "the current ahead of the marker": Disturbance(UNSAID, after=_shifted(-4)),
    "a front end that lags, unsaid": Disturbance(replace(UNSAID, sample="lag", lag=(1.5, 1.5))),
    "samples that are means, unsaid": Disturbance(replace(UNSAID, sample="mean")),
    "a lamp blinks over the runs": Disturbance(
        extra=_always(lambda t: 2e-3 * ((t % 0.2) < 0.1) * (t < 0.5))
    ),
    "mA typed for A": Disturbance(after=_scaled(1e3)),
    "A typed for uA": Disturbance(after=_scaled(1e6)),
    "a drop-out in a run": Disturbance(after=_gap),
    "a pulse of the marker lost": Disturbance(after=_lost_mark),
    "the marker bounces": Disturbance(after=_bounce),
}
