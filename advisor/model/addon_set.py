"""Which add-ons stand beside a part in a build."""

from __future__ import annotations

from advisor.dataclass import dataclass


@dataclass(frozen=True, slots=True)
class Companions:
    """Which add-ons a build has, by their ids in order, and which of them brings each block that
    tasks use and the part does not have."""

    addons: tuple[str, ...] = ()
    blocks: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """In a word; empty without any."""
        told = ",".join(f"{block} of {by}" for block, by in self.blocks)
        return "+".join(self.addons) + (f" ({told})" if told else "")


ALONE = Companions()
