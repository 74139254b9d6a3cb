"""The voltage at the chip's pin, energy over charge, with its terms.

As stated for all, or as recorded: then each run and each state has its own. The chip's energy is
∫ v (i − net) dt = ∫ v i dt − net ∫ v dt, net what is taken off the reading. So in V = E/Q the
meter's gain and clock cancel, and of an offset of the current only its share in the weights is
left; gain, offset and resolution of the voltage channel stay, and carry to the energy.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from advisor.bench.budget import Result, Term, combined, limit_of_error, repeats, stated, student
from advisor.bench.chunks import Floats
from advisor.bench.clipping import Steps
from advisor.bench.edges import Around
from advisor.bench.instrument import Channel, quantised
from advisor.bench.notes import Session
from advisor.bench.segments import BLOCKS, Measured, Pieces
from advisor.dataclass import dataclass
from advisor.quantities import show

GAIN = "gain of the voltage channel"
OFFSET = "offset of the voltage channel"
RESOLUTION = "resolution of the voltage channel"
SCATTER = "scatter of the voltage"
LEAST_FOR_LINE = 4  # repeats: two degrees of freedom are left of a straight line
CERTAIN = 0.999  # of Student's t, that a state's current and voltage move together
MOVES = 0.25  # of the scatter of the charge: a voltage that moves by less is as good as constant


@dataclass(frozen=True, slots=True)
class Rail:
    """The supply of a session: `mean` over what was drawn, and by which channel it was recorded.

    `steps` are of the channel's codes; channel and steps are None where the notes state the supply.
    """

    mean: Result
    channel: Channel | None
    steps: Steps | None

    def terms(self, volts: float, scatter: Floats) -> list[Term]:
        """Type B terms of a recorded voltage, V; `scatter` (B,) V of the samples, part by part."""
        assert self.channel is not None
        assert self.steps is not None
        code = self.channel.resolution
        code = self.steps.at(volts) if code is None else code
        return [
            limit_of_error(GAIN, self.channel.gain, volts),
            limit_of_error(OFFSET, self.channel.offset, 1.0),
            # a scatter below a step may be two codes taking turns, which is no noise
            Term(
                RESOLUTION,
                "B",
                float(
                    np.mean([quantised("", code, s if s >= code else 0.0, 1.0).u for s in scatter])
                ),
                "rectangular",
            ),
        ]

    def says(self) -> Iterator[str]:
        """What a reader must know of it."""
        if self.channel is None or not self.channel.silent:
            return
        yield (
            f"the voltage channel's {' and '.join(self.channel.silent)} are not stated, so that no "
            "uncertainty of a voltage or an energy holds any: state them at trace.voltage or in "
            "the meter's file (0 is an answer too)"
        )


def rail_of(session: Session, found: Measured, states: Sequence[Pieces]) -> Rail:
    """The supply as stated, or its mean over the charge that was drawn.

    Raises
    ------
    FaultError
        Where the voltage was recorded and no charge was drawn, or at none above zero.
    """
    notes = session.notes
    if notes.supply is not None:
        own = combined(notes.supply.nominal, [stated("supply voltage", notes.supply, 1.0)])
        return Rail(own, None, None)
    charge = float(found.charge.sum()) + sum(float(p.charge.sum()) for p in states)
    energy = sum(float(p.energy.sum()) for p in states if p.energy is not None)
    energy += 0.0 if found.energy is None else float(found.energy.sum())
    if charge <= 0:
        raise session.refuse("trace.voltage", "no charge drawn", "a current above zero")
    value = energy / charge
    if value <= 0:
        read = f"{show(value, 'voltage')} over the charge that was drawn"
        raise session.refuse("trace.voltage", read, "a voltage above zero, its sign the supply's")
    bare = Rail(combined(value, []), session.meter.volts, found.volt_steps)
    length = found.end - found.start
    levels = [] if found.volts is None else (found.volts / length).tolist()
    levels += [
        float(p.volts.sum() / p.time.sum()) for p in states if p.volts is not None and p.count.any()
    ]
    return replace(bare, mean=combined(value, bare.terms(value, np.array([np.std(levels)]))))


@dataclass(frozen=True, slots=True)
class Pulses:
    """Runs with their voltage, (R,) each, SI: `volts` V s over time, `square` V² over the samples.

    `starts`, `ends` are the samples around their edges.
    """

    charge: Floats
    energy: Floats
    volts: Floats
    square: Floats
    count: Floats
    length: Floats
    starts: Around
    ends: Around

    def of_chip(self, samples: tuple[int, int] | None, net: float) -> tuple[Floats, Floats]:
        """((R,) V over the charge, (R,) V over the time) of the chip without `net` A.

        `samples` at the start and the end of each run are left out; None: of whole runs.
        """
        energy, charge, volts, length = self.energy, self.charge, self.volts, self.length
        if samples is not None:
            some = len(self.starts.current)
            sums = [x[:some].copy() for x in (energy, charge, volts, length)]
            reach = self.starts.current.shape[1] // 2
            for side, inside in (
                (self.starts, slice(reach, reach + samples[0])),
                (self.ends, slice(reach - samples[1], reach)),
            ):
                assert side.volts is not None
                i, v, t = (x[:, inside] for x in (side.current, side.volts, side.time))
                for whole, off in zip(sums, (i * v * t, i * t, v * t, t), strict=True):
                    whole -= off.sum(axis=1)
            energy, charge, volts, length = sums
        with np.errstate(all="ignore"):  # whoever reports it asks that it be finite
            return (energy - net * volts) / (charge - net * length), volts / length

    @property
    def scatter(self) -> float:
        """Standard deviation of a sample in a run, V."""
        mean = self.volts / self.length
        each = np.sqrt(np.maximum(self.square / np.maximum(self.count, 1) - mean**2, 0.0))
        return float(np.median(each))


def of_runs(
    rail: Rail,
    pulses: Pulses,
    each: Floats,
    samples: tuple[int, int] | None,
    net: float,
    drawn: Result,
) -> list[Term]:
    """The terms of the mean of runs' voltages `each`, (R,) V.

    Parameters
    ----------
    samples : left out at the start and the end of each run. net : A, taken off the reading.
    drawn : the chip's current.
    """
    value = float(each.mean())
    terms = [scatter_of(each), *rail.terms(value, np.hypot(pulses.scatter, _moves_by(each)))]
    whole, over_time = (float(x[: len(each)].mean()) for x in pulses.of_chip(None, net))
    if samples is not None:
        # of the edges' own samples a channel may have blurred one, the other or both
        half = abs(whole - value)
        terms.append(Term("voltage at the edges", "B", half / math.sqrt(3), "rectangular"))
    return [*terms, _weight(whole, over_time, drawn)]


def of_state(rail: Rail, pieces: Pieces, net: float, current: Result, still: bool) -> Result:
    """A state's voltage.

    Where the state stands `still` its current is the same at every moment, so that the mean over
    the charge is that over time, without what the current's noise does to the weights; but where
    it comes in pulses too fast to keep it from standing still, the voltage follows them all along.
    """
    if rail.channel is None:
        return rail.mean
    assert pieces.energy is not None
    assert pieces.volts is not None
    groups = [g for g in np.array_split(np.flatnonzero(pieces.count), BLOCKS) if len(g)]
    energy, charge, volts, time = (
        np.array([x[g].sum() for g in groups])
        for x in (pieces.energy, pieces.charge, pieces.volts, pieces.time)
    )
    each = volts / time
    over_time = float(volts.sum() / time.sum())
    value, repeat = over_time, scatter_of(each)
    own = float(charge.sum() - net * time.sum())
    told = current.expanded < current.value
    # what the two do together inside each block, beyond their means
    mean, beyond = repeats(energy - net * volts - each * (charge - net * time), SCATTER)
    n = len(each)
    if still and told and abs(mean) > student(n - 1, CERTAIN) * beyond.u:
        value += mean * n / own
        repeat = replace(repeat, u=math.hypot(repeat.u, beyond.u * n / own))
    elif not still and told:
        value = float(energy.sum() - net * volts.sum()) / own
        # a ratio's own scatter (Cochran, Sampling Techniques, 1977, 2.11, from memory)
        off = energy - net * volts - value * (charge - net * time)
        u = math.sqrt(float((off**2).sum()) / (n - 1) * n) / own
        repeat = Term(SCATTER, "A", u, shape="t", dof=n - 1)
    terms = [repeat, *rail.terms(value, _moves_by(each)), _weight(value, over_time, current)]
    return combined(value, terms)


def _weight(value: float, over_time: float, drawn: Result) -> Term:
    """The term of what the current's error does to the weights of V = E/Q: dV/di = (V − v̄)/i."""
    share = drawn.u / abs(drawn.value) if drawn.value else 0.0
    return Term("current that weighs the voltage", "B", share * abs(value - over_time))


def _moves_by(each: Floats) -> Floats:
    """(B,) V, standard deviation of the drift that voltages in their order show, part by part.

    A drift takes codes in turn as noise does; where it stops, what is left stands on one code.
    """
    parts = [p for p in np.array_split(np.abs(np.diff(each)), BLOCKS) if len(p)]
    return len(each) * np.array([np.median(p) for p in parts]) / math.sqrt(12)


def scatter_of(each: Floats) -> Term:
    """The type A term of the mean of voltages in their order, a slow drift apart.

    A supply that droops has moved, and was measured as it moved: only what is not told from one to
    the next is uncertain. s² is half of the variance of the differences, (n − 1)/n of it for their
    common mean, and they keep some two thirds of the freedom (von Neumann, The mean square
    successive difference, 1941, from memory).
    """
    n = len(each)
    if n < LEAST_FOR_LINE:
        return repeats(each, SCATTER)[1]
    with np.errstate(all="ignore"):  # as in `repeats`
        s = float(np.diff(each).std(ddof=1)) * math.sqrt((n - 1) / (2 * n))
    return Term(SCATTER, "A", s / math.sqrt(n), shape="t", dof=max(2 * (n - 2) / 3, 1.0))


def at_mean(
    values: Floats, volts: Floats | None, charge: Floats, source: str
) -> tuple[float, Term, bool]:
    """(mean of repeats, its term, whether the voltage was taken out) at their mean voltage.

    A figure follows the supply as the chip's regulator has it. Where the voltage moved, the
    scatter at its mean is that about the straight line over it: s²/n of the residuals, n − 2
    degrees of freedom (JCGM 100:2008, H.3). `charge` tells whether it moved enough to matter.
    """
    if volts is None or len(values) < LEAST_FOR_LINE or not _moves(volts, charge):
        return (*repeats(values, source), False)
    n = len(values)
    mean, x = float(values.mean()), volts - volts.mean()
    with np.errstate(all="ignore"):  # as in `repeats`
        slope = float((x * values).sum() / (x * x).sum())
        rest = values - mean - slope * x
        u = math.sqrt(float((rest**2).sum()) / (n - 2) / n)
    return mean, Term(source, "A", u, shape="t", dof=n - 2), True


def _moves(volts: Floats, charge: Floats) -> bool:
    """Whether runs' voltage moves by what shows beside the scatter of their charge."""
    with np.errstate(all="ignore"):  # as in `repeats`
        share = float(volts.std() / abs(volts.mean()))
        return share > MOVES * float(charge.std() / abs(charge.mean())) and share > 1e-9
