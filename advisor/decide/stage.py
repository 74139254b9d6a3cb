"""The arrays of one pass over a product: at the stated values, or over one chunk of the draws."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass, field
from advisor.decide.costs import FeedCost, PartCost, ProductCost, feed_cost, product_cost
from advisor.decide.marches import Marches
from advisor.figures import Path
from advisor.model.addon_set import Companions
from advisor.model.drain import Pack, refined
from advisor.model.draws import Case, GridSampler, Known, Sampler, Trace
from advisor.model.events import EventStates, at_times, of_tasks
from advisor.model.packs import Feed, feed
from advisor.model.tables import Option, PartFigures, Stack
from advisor.model.workload import ProductFigures

# A pack, by its place among the product's, and converters by their ids: the main one, and one for
# each further rail.
Paired = tuple[int, str, tuple[str, ...]]

# A part may be in a pass several times, as `ID@anything`: each with the draws of its own id.
ALIKE = "@"


class Samplers(dict[str, Sampler]):
    """Samplers by document id, made when first asked for."""

    def __init__(
        self,
        draws: int,
        seed: int,
        chunk: int,
        trace: Trace | None = None,
        known: Known | None = None,
    ) -> None:
        super().__init__()
        self.draws, self.seed, self.chunk, self.trace = draws, seed, chunk, trace
        self.known = known

    def __missing__(self, identity: str) -> Sampler:
        made = self[identity] = Sampler(
            identity=identity.partition(ALIKE)[0],
            draws=self.draws,
            seed=self.seed,
            chunk=self.chunk,
            trace=self.trace,
            known=self.known,
        )
        return made


class AnewSamplers(Samplers):
    """Samplers that draw the figures of some documents anew, and all others as they were."""

    def __init__(self, draws: int, seed: int, anew: Collection[str]) -> None:
        super().__init__(draws, seed, 0)
        self.anew = anew

    def __missing__(self, identity: str) -> Sampler:
        whose = identity.partition(ALIKE)[0]
        seed = self.seed + 1 if whose in self.anew else self.seed
        made = self[identity] = Sampler(identity=whose, draws=self.draws, seed=seed)
        return made


class GridSamplers(Samplers):
    """Samplers that give the draws once more for each of a row of cases."""

    def __init__(self, cases: Sequence[Case], draws: int, seed: int, memo: Trace) -> None:
        super().__init__(draws, seed, 0)
        self.cases, self.memo = cases, memo

    def __missing__(self, identity: str) -> Sampler:
        made = self[identity] = GridSampler(identity, self.cases, self.draws, self.seed, self.memo)
        return made

    def taken(self) -> set[Path]:
        """Figures of the cases that were asked for."""
        return {path for s in self.values() if isinstance(s, GridSampler) for path in s.taken}


@dataclass(frozen=True, slots=True)
class Stage:
    """A product's own figures with the samplers that give everything else.

    `marches` keeps battery lives and answers of stores for other passes; `cases` are in a row on
    the draw axis; `feeds` and `packs` what was made of the product's options, by their places and
    ids; `read` and `priced` some of what was read of parts in earlier passes, by what
    `drawing.assessed` tells them by.
    """

    catalogue: Catalogue
    product: Product
    samplers: Samplers
    figures: ProductFigures
    own_cost: ProductCost
    marches: Marches
    cases: int = 1
    feeds: dict[Paired, tuple[Feed, FeedCost]] = field(default_factory=dict)
    packs: dict[int, Pack] = field(default_factory=dict)
    read: dict[tuple[str, str, tuple[Option, ...], Companions], PartFigures] = field(
        default_factory=dict
    )
    priced: dict[tuple[str, Companions], PartCost] = field(default_factory=dict)

    def feed(self, cells: int, converter: str, rails: Sequence[str] = ()) -> tuple[Feed, FeedCost]:
        """A pack option (by its place in the product's list) with a converter (by its id), and with
        one for each further rail."""
        key = cells, converter, tuple(rails)
        if key not in self.feeds:
            self.feeds[key] = self._feed(cells, converter, rails)
        return self.feeds[key]

    def like(self, feed: Feed) -> tuple[Feed, FeedCost]:
        """The feed of this pass that is made of what one of another pass is."""
        return self.feed(*paired_in(self.product, feed))

    def _feed(self, cells: int, converter: str, rails: Sequence[str]) -> tuple[Feed, FeedCost]:
        option = self.product.supply_options.cells[cells]
        cell = None if option.cell is None else self.catalogue.cells[option.cell]
        record, *further = (
            None if name == "none" else self.catalogue.converters[name]
            for name in (converter, *rails)
        )
        beside = list(zip(self.figures.rails, further, strict=True))
        reservoir = self.product.supply_options.reservoir

        def fed(pack: Pack | None) -> Feed:
            figures, samplers = self.figures, self.samplers
            one = feed(option, cell, record, figures, reservoir, samplers, beside, pack)
            # on the battery model's grid once for all that asks for it
            return one if pack else replace(one, pack=refined(one.pack))

        known = self.packs.get(cells)
        own = self.figures, reservoir, self.samplers
        made = fed(known) if known else self.marches.profiles.pack(option, cell, *own, fed)
        self.packs[cells] = made.pack
        return made, feed_cost(made, self.product, self.own_cost, self.samplers)

    def events(self, table: Stack) -> tuple[EventStates, ...]:
        """The events of every task."""
        return of_tasks(table, self.figures)

    def timed(
        self, table: Stack, events: tuple[EventStates, ...] | None = None
    ) -> tuple[tuple[EventStates, ...], ...]:
        """The same at each of the product's times; `events` are those of every task, if known."""
        if events is not None and not self.figures.times:
            return (events,)
        return at_times(table, self.figures)


def stage(
    catalogue: Catalogue,
    product: Product,
    draws: int = 0,
    seed: int = 1,
    chunk: int = 0,
    trace: Trace | None = None,
    marches: Marches | None = None,
    known: Known | None = None,
) -> Stage:
    """Open a pass; with `draws` 0 it is that of the stated values.

    `trace` is filled with the draws of every uncertain figure taken, by its path; `known` keeps
    them for other passes over the same chunk. Without `marches` none are kept for other passes.
    """
    return _opened(catalogue, product, Samplers(draws, seed, chunk, trace, known), marches)


def paired_in(product: Product, feed: Feed) -> Paired:
    """What a feed is made of, of a product that offers it."""
    place = product.supply_options.cells.index(feed.option)
    return place, feed.converter_name, tuple(feed.rail_converters)


@dataclass(slots=True)
class Begun:
    """What the passes of one decision over its first draws have in common: the draws of figures,
    and a stage of each length."""

    known: Known = field(default_factory=dict)
    stages: dict[int, Stage] = field(default_factory=dict)

    def stage(
        self,
        catalogue: Catalogue,
        product: Product,
        draws: int,
        seed: int,
        marches: Marches,
        chunk: int = 0,
        trace: Trace | None = None,
    ) -> Stage:
        """The stage of a chunk of so many draws, that of the first ones opened once; see `stage`.

        What is traced is taken anew, as a figure that was read before leaves no trace.
        """
        if chunk or trace is not None:
            known = None if chunk else self.known
            return stage(catalogue, product, draws, seed, chunk, trace, marches, known)
        if draws not in self.stages:
            self.stages[draws] = stage(
                catalogue, product, draws, seed, marches=marches, known=self.known
            )
        return self.stages[draws]


def anew_stage(
    catalogue: Catalogue, product: Product, draws: int, seed: int, marches: Marches
) -> Stage:
    """Open a pass over the first draws in which the parts' own figures, and the errors of what they
    were measured with, are drawn anew."""
    return _opened(catalogue, product, AnewSamplers(draws, seed, catalogue.parts), marches)


def grid_stage(
    catalogue: Catalogue,
    product: Product,
    cases: Sequence[Case],
    draws: int,
    seed: int,
    memo: Trace | None = None,
    marches: Marches | None = None,
) -> Stage:
    """Open a pass over the stated values (`draws` 0) or the first draws, once more for each of a
    row of cases in which one figure stands at another value; see `GridSampler`."""
    samplers = GridSamplers(cases, draws, seed, {} if memo is None else memo)
    return _opened(catalogue, product, samplers, marches, len(cases))


def _opened(
    catalogue: Catalogue,
    product: Product,
    samplers: Samplers,
    marches: Marches | None,
    cases: int = 1,
) -> Stage:
    own = samplers[product.product]
    marches = marches or Marches(kept=0)
    return Stage(
        catalogue=catalogue,
        product=product,
        samplers=samplers,
        figures=marches.profiles.product(product, own),
        own_cost=product_cost(product, own),
        marches=marches,
        cases=cases,
    )
