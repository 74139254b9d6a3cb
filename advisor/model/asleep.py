"""What a part draws asleep: over the environment, at each time of the calendar, before use.

Axes: T times, F phases before use, Z sleep states, N draws. SI units.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.schema_parts import Part
from advisor.dataclass import dataclass
from advisor.model.draws import Array, Sampler
from advisor.model.leakage import sleep_currents, told
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True)
class Asleep:
    """Reads one part's sleep currents for a product; `gain` tells the factor of an evidence."""

    part: Part
    product: ProductFigures
    sampler: Sampler
    gain: Callable[[str | None], Array | float]

    def currents(self, name: str) -> tuple[Array, Array, Array]:
        """Mean sleep current over the environment, (N,) A; over each time's own, (T, N); over that
        of each phase before use, (F, N). See `leakage`."""
        state = self.part.sleep_states[name]
        assert state.current is not None
        at = self.sampler.root.child("sleep-states", name)
        product = self.product
        places = [product.temperature, *(phase.temperature for phase in product.before)]
        of = [evidence_of(state, figure) for figure in state.current.keys or ("current",)]
        # one meter's gain on the whole table is a factor; of several each goes on its own entry
        whole, each = (of[0], 1.0) if len(set(of)) == 1 else (None, self._gains(of))
        leak = sleep_currents(
            at / "current",
            state.current,
            np.concatenate(places),
            product.hottest,
            self.sampler,
            each,
        )
        added: dict[str | None, Array | float] = {whole: 0.0}
        for addition, figure in state.adds.items():
            evidence = evidence_of(state, f"adds.{addition}")
            drawn = self.sampler.take(at / "adds" / addition, figure)
            added[evidence] = added.get(evidence, 0.0) + self._additions(addition) * drawn
        first, gain = added.pop(whole), self.gain(whole)

        def mean(leaks: Array, share: Array) -> Array:
            total = ((share * leaks).sum(axis=0) + first) * gain
            for evidence, extra in added.items():
                total = total + extra * self.gain(evidence)
            return np.asarray(total)

        size = (-1, self.sampler.size)
        ends = np.cumsum([len(place) for place in places])
        timed = [mean(leak[t.places], product.share[t.places] / t.share) for t in product.times]
        stored = [
            mean(leak[begin:end], phase.share)
            for phase, begin, end in zip(product.before, ends, ends[1:], strict=False)
        ]
        return (
            mean(leak[: ends[0]], product.share),
            np.array(timed).reshape(size),
            np.array(stored).reshape(size),
        )

    def _gains(self, evidence: Sequence[str | None]) -> Array:
        """The gain's factor on each entry of a table, (X, N)."""
        ones = np.ones(self.sampler.size)
        return np.stack([ones * self.gain(name) for name in evidence])

    def _additions(self, name: str) -> float:
        """How often an addition to a sleep current counts for this product."""
        if name.endswith("-kib"):
            if name[:-4] not in self.product.retain:
                return 0.0
            if name == "ram-kib" and self.product.ram_kib is not None:
                return self.product.ram_kib
            ram = self.part.memory.ram
            return 0.0 if ram is None else ram.nominal / 1024
        return float(name in self.product.retain)

    def stored(
        self, asleep: Sequence[Array | None], sleep_a: Array, sleep_w: Array
    ) -> tuple[Array, Array]:
        """What the chip draws in each phase before use, for every sleep state of use.

        Parameters
        ----------
        asleep : of each state its currents in the phases, (F, N) A; None where it idles.
        sleep_a, sleep_w : (Z, N) A, W in use.

        Returns
        -------
        (F, Z, N) A and W; nothing where the pack is disconnected or the state is not stated.
        """
        shape = (len(self.product.before), len(asleep), self.sampler.size)
        a, w = np.zeros(shape), np.zeros(shape)
        for f, phase in enumerate(self.product.before):
            if not phase.connected:
                continue
            if phase.state is not None:
                state = self.part.sleep_states.get(phase.state)
                if state is not None and state.current is not None:
                    a[f] = self.currents(phase.state)[2][f]
                continue
            for z, current in enumerate(asleep):
                a[f, z] = sleep_a[z] if current is None else current[f]
                w[f, z] = sleep_w[z]
        return a, w

    def unsaid(self) -> tuple[list[str], list[str]]:
        """Sleep states kept before use that tell no current; what is taken of those that are
        hotter then than in use and than their tables, in words."""
        missing, warnings = [], []
        for phase in self.product.before:
            names = (phase.state,) if phase.state else tuple(sorted(self.part.sleep_states))
            hottest = float(phase.temperature[:, 0].max())
            for name in names if phase.connected else ():
                state = self.part.sleep_states.get(name)
                if state is None:
                    continue  # what the part does not have is screened
                if state.current is None:
                    missing += [name] if phase.state else []
                    continue
                beyond = told(state.current, hottest)
                if beyond is not None and hottest > self.product.hottest:
                    warnings.append(
                        f"{self.part.part}: sleep state {name} in {phase.name}: {beyond}"
                    )
        return missing, warnings
