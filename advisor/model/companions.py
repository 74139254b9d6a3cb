"""A part with the add-ons that bring what it lacks: their currents and blocks in its figures.

An add-on hangs on the chip's rail. It draws its standing current all the time, or while the part
sleeps its own sleep current; a use of a block that it brings draws what the block does, above that
and above the idle core, as a block on the chip does. N is the draw axis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace

import numpy as np

from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Block, Part
from advisor.catalogue.schema_supply import AddOn
from advisor.dataclass import dataclass
from advisor.figures import Path
from advisor.model.addon_set import ALONE, Companions
from advisor.model.draws import Array, Sampler, gain_of
from advisor.model.tables import PartFigures, never_sleeps
from advisor.model.workload import ProductFigures


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A part with its add-ons; `blocks` maps those that add-ons bring to who does."""

    part: Part
    companions: Companions = ALONE
    addons: tuple[AddOn, ...] = ()
    blocks: Mapping[str, AddOn] = field(default_factory=dict)

    def block(self, name: str) -> tuple[Path, Block] | None:
        """(path, record) of a block, of the part or of an add-on."""
        if name in self.part.blocks:
            return Path(self.part.part).child("blocks", name), self.part.blocks[name]
        if name in self.blocks:
            by = self.blocks[name]
            return Path(by.addon).child("gives", "blocks", name), by.gives.blocks[name]
        return None


def fitted(catalogue: Catalogue, part: Part, companions: Companions) -> Fitted:
    """A part with the add-ons of these ids, as the catalogue has them."""
    if companions == ALONE:
        return Fitted(part)
    return Fitted(
        part=part,
        companions=companions,
        addons=tuple(catalogue.addons[name] for name in companions.addons),
        blocks={block: catalogue.addons[name] for block, name in companions.blocks},
    )


def with_companions(
    figures: PartFigures,
    one: Fitted,
    product: ProductFigures,
    samplers: Mapping[str, Sampler],
) -> PartFigures:
    """A part's figures with what its add-ons draw and the blocks that they bring."""
    if not one.addons:
        return figures
    awake, asleep = {}, {}
    for addon in one.addons:
        sampler = samplers[addon.addon]
        assert addon.standing is not None, addon.addon  # what lacks it is no companion
        awake[addon.addon] = sampler.take(sampler.root / "standing", addon.standing)
        asleep[addon.addon] = (
            awake[addon.addon]
            if addon.sleep is None
            else sampler.take(sampler.root / "sleep", addon.sleep)
        )
    up, down = sum(awake.values()), sum(asleep.values())
    resting = np.stack([up if never_sleeps(name) else down for name in figures.sleeps])
    stored = [
        np.zeros_like(resting)
        if not phase.connected
        else resting
        if phase.state is None
        else np.broadcast_to(down, resting.shape)
        for phase in product.before
    ]
    block_a = [rows.copy() for rows in figures.block_a]
    block_time = [rows.copy() for rows in figures.block_time]
    for k, task in enumerate(product.tasks):
        for j, (name, uses) in enumerate(task.uses.items()):
            if name in one.blocks:
                current, length = _block(one.blocks[name], name, samplers)
                block_a[k][j], block_time[k][j] = current, length * uses
    return replace(
        figures,
        companions=one.companions,
        awake_a=awake,
        asleep_a=asleep,
        idle_a=figures.idle_a + up,
        run_a=[rows + up for rows in figures.run_a],
        sleep_a=figures.sleep_a + resting,
        timed_a=figures.timed_a + resting if len(figures.timed_a) else figures.timed_a,
        stored_a=figures.stored_a + np.stack(stored) if stored else figures.stored_a,
        wake_charge=figures.wake_charge + up * figures.wake_time,
        block_a=block_a,
        block_time=block_time,
    )


def _block(addon: AddOn, name: str, samplers: Mapping[str, Sampler]) -> tuple[Array, Array]:
    """(A above the idle core, s) of one use of an add-on's block."""
    sampler, block = samplers[addon.addon], addon.gives.blocks[name]
    assert block.current is not None, (addon.addon, name)  # what lacks it is no companion
    assert block.duration is not None, (addon.addon, name)
    at = sampler.root.child("gives", "blocks", name)
    gain = gain_of(addon.evidence, evidence_of(block, "current"), sampler)
    current = np.asarray(sampler.take(at / "current", block.current) * gain)
    return current, sampler.take(at / "for", block.duration)
