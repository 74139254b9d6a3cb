"""Time and current of a kernel's unit of work: as measured, or from what stands in for that."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.schema_parts import Part, Variant
from advisor.catalogue.sheet import Placed, running, supply_of
from advisor.figures import Path
from advisor.model.draws import Array, Sampler


def work(
    part: Part,
    kernel: str,
    variant: str,
    sampler: Sampler,
    gain: Callable[[str | None], Array | float],
) -> tuple[Array, Array, Placed | None]:
    """((N,) s, (N,) A, the supply it was taken at) of one unit of work of an entry.

    time = cycles / clock and current = slope x clock + base where they were not measured.

    Parameters
    ----------
    gain : the factor (N,) on a current of some evidence. The entry lacks nothing, see `lacking`.
    """
    figure, run = part.kernels[kernel][variant], Variant.parse(variant)
    at = sampler.root.child("kernels", kernel, variant)
    clock = part.operating_points[run.point].clock
    clock_at = sampler.root.child("operating-points", run.point, "clock")

    def own(placed: Placed) -> Placed:
        """A part may stand in a pass several times: its draws are those of its own id."""
        return Path(sampler.root.document, placed[0].keys), placed[1]

    if figure.time is None:
        assert figure.cycles is not None
        assert clock is not None
        time = sampler.take(at / "cycles", figure.cycles) / sampler.take(clock_at, clock)
    else:
        time = sampler.take(at / "time", figure.time)
    if figure.current is None:
        told = running(part, run.point)
        assert told is not None
        assert told.clock is not None
        current = sampler.take(*own(told.slope)) * sampler.take(*own(told.clock))
        if told.base is not None:
            current = current + sampler.take(*own(told.base))
        current = current * gain(told.evidence)
    else:
        current = sampler.take(at / "current", figure.current)
        if figure.time is not None and figure.correlation is not None:
            current = sampler.beside(
                at / "current",
                figure.current,
                at / "time",
                figure.time,
                figure.correlation.nominal,
            )
        current = current * gain(evidence_of(figure, "current"))
    supply = supply_of(part, kernel, variant)
    return np.asarray(time), np.asarray(current), None if supply is None else own(supply)
