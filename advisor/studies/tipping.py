"""`tipping`: what would change the winner, lever by lever, and how far away that is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from advisor.catalogue.levers import DEGREES, Lever, lever, levers_of, span
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.decide.closing import Tip
from advisor.decide.evaluate import Candidate, Evaluation, evaluate
from advisor.decide.fronts import fronts
from advisor.decide.leading import Deciding
from advisor.decide.left_out import LeftOut
from advisor.decide.marches import Marches
from advisor.decide.screens import LEAD_TIME
from advisor.decide.tips import nearest_tips
from advisor.decide.waiting import waiting
from advisor.decide.weighing import leads
from advisor.decide.workers import beside
from advisor.faults import Fault, FaultError
from advisor.figures import Path
from advisor.model.draws import Known
from advisor.model.served import Services
from advisor.stages import Progress, begin
from advisor.studies.results import (
    cautions_in_use,
    frame,
    invented,
    moving_warnings,
    names_of,
    plain,
)
from advisor.studies.shortlist import DRAWS, figures_in_use

if TYPE_CHECKING:
    import pandas as pd

POINTS = 12
CONTENDERS = 8


@dataclass(frozen=True, slots=True)
class LeverTip:
    """A lever's nearest tip, or the nearest value at which nothing fits; None where there is none.

    The figure keeps its own spread as it moves: the spread scales with the value, that of a
    temperature or a score stays.
    """

    path: str
    """of the figure"""
    now: float
    """the value that stands, in `unit`"""
    unit: str
    """of both values"""
    tips_at: float | None
    """the nearest value at which another part leads (of a limit, nothing fits), in `unit`"""
    text: str | None
    """what goes behind `--set PATH=` to stand there or beyond by a hundredth at most (a tenth of a
    kelvin), with the figure's spread, in the file's own unit and as few digits as tip it so near"""
    new_winner: str | None
    """the part that leads there; null where nothing fits"""
    distance_u: float | None
    """how far that is, in the figure's standard uncertainties; null where it is exact"""
    distance_share: float | None
    """[share] how far, of the value that stands; null for a temperature"""
    distance_k: float | None
    """[K] how far, of a temperature; null for any other figure"""
    now_shown: str
    """the value that stands, in words"""
    tips_shown: str | None
    """the value at which it tips, in words, in as few digits as `text`"""
    currency: str | None = None
    """of an amount of money; null for any other figure"""
    told_at: float | None = None
    """what `text` and `tips_shown` tell, in `unit`: `tips_at` or just beyond"""

    @property
    def beyond(self) -> float:
        """How far the value told is from the one that stands, of how far `tips_at` is."""
        if self.tips_at is None or self.told_at is None or self.tips_at == self.now:
            return 1.0
        return abs((self.told_at - self.now) / (self.tips_at - self.now))


ROW = ("kind", *names_of(LeverTip))  # of a lever or a limit, in a table


@dataclass(frozen=True, slots=True)
class WeightTip:
    """The smallest change of weights, of a sum of 1, that brings a part to the front."""

    part: str
    """the part that draws level"""
    l1: float
    """sum of the changes of weights that sum to 1"""
    weights: Mapping[str, float]
    """criterion to its weight there"""


@dataclass(frozen=True, slots=True)
class Tipping:
    """What would change the winner. Levers that tip come first, the nearest first."""

    product: str
    """the product's id"""
    invented: bool
    """whether anything behind the answer is demonstration data"""
    winner: str | None
    """the part that leads as things stand"""
    seed: int
    """of the draws"""
    draws: int
    """by which the score is expected; 0 for the stated values"""
    points: int
    """places looked at on each side of a figure to begin with"""
    contenders: tuple[str, ...]
    """parts that were looked at, the best first"""
    waiting: tuple[str, ...]
    """parts that are out as things stand and were looked at where a figure may let them in"""
    levers: tuple[LeverTip, ...]
    """figures, the nearest to tip first; those that tip nowhere last"""
    limits: tuple[LeverTip, ...]
    """figures with a value at which merely nothing fits, no farther than their tip; the nearest
    first"""
    unmoved: Mapping[str, int]
    """cell or converter that is compared to how many of its figures are moved only where they are
    asked for; empty where some were"""
    weights: tuple[WeightTip, ...]
    """the smallest change of weights for each rival"""
    never_first: tuple[str, ...]
    """parts that lead under no weights"""
    left_out: tuple[LeftOut, ...]
    """what the answer does without: packs, converters, sleep states, points and parts"""
    cautions: tuple[str, ...]
    """what to mind with the cells in use"""
    warnings: tuple[str, ...]
    """what looks odd in the files"""

    def rows(self) -> list[dict[str, object]]:
        """A row a lever, then a row a limit."""
        return [
            {"kind": kind, **plain(tip)}
            for kind, some in (("tip", self.levers), ("limit", self.limits))
            for tip in some
        ]

    def to_frame(self) -> pd.DataFrame:
        """A row a lever, then a row a limit."""
        return frame(self.rows())


def tipping(
    catalogue: Catalogue,
    product: Product,
    levers: Sequence[str] = (),
    *,
    points: int = POINTS,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    progress: Progress | None = None,
    estimate_missing: bool = False,
    services: Services | None = None,
) -> Tipping:
    """The nearest value of every lever at which another part takes the lead.

    Parameters
    ----------
    levers : paths, an id alone for all figures of its record; when empty the product's figures but
        for its needs, the prices of what the two leaders are built of, and the figures of these
        parts that their builds rest on. points : places looked at to begin
        with on each side of the value that stands, up to eight times it, or 20 K. draws, seed,
        jobs : as for `shortlist`, whose first part is the winner; 0 draws for the stated values.
    progress : told how many levers are done, of how many. services, estimate_missing :
        as for `shortlist`; what is estimated stays as it is while a figure moves.

    Raises
    ------
    FaultError
        For a path that leads to no figure or to one that is absent, and for an id alone whose
        record has no figure that can be moved.
    """
    if faults := faults_of(catalogue, product, levers):
        raise FaultError(faults)
    known: Known = {}
    base = evaluate(
        catalogue,
        product,
        draws,
        seed,
        jobs,
        progress,
        known=known,
        estimate_missing=estimate_missing,
        marches=Marches(services, kept=0),
    )
    catalogue = base.catalogue
    if not base.candidates:
        return Tipping(
            product=product.product,
            invented=invented(base),
            winner=None,
            seed=seed,
            draws=draws,
            points=points,
            contenders=(),
            waiting=(),
            levers=(),
            limits=(),
            unmoved={},
            weights=(),
            never_first=(),
            left_out=base.left_out,
            cautions=cautions_in_use(base),
            warnings=moving_warnings(base),
        )
    offered = fronts(base, jobs, progress, known)
    names = [c.part.part for c in base.candidates]
    contenders = tuple(names[:CONTENDERS])
    asked = [handle.in_own_unit() for handle in _asked(base, levers)]
    with beside(lambda: leads(base, offered, base.weights), jobs) as weighed:
        out = waiting(base)
        deciding = Deciding(
            catalogue, product, base, tuple(sorted(contenders)), offered, known, out
        )
        begin(progress, "scanning figures")
        done = None if progress is None else lambda n: progress(n, len(asked))
        found = nearest_tips(deciding, [(h, span(h, None)) for h in asked], points, done, jobs)
        begin(progress, "weighing")
        order = weighed()
    pairs = list(zip(asked, found, strict=True))
    tips = [_tip(handle, there.tip) for handle, there in pairs]
    limits = [_tip(handle, there.limit) for handle, there in pairs if there.limit is not None]
    tips.sort(key=_nearness)
    limits.sort(key=_nearness)
    return Tipping(
        product=product.product,
        invented=invented(base),
        winner=names[0],
        seed=seed,
        draws=draws,
        points=points,
        contenders=contenders,
        waiting=out.parts,
        levers=tuple(tips),
        limits=tuple(limits),
        unmoved={} if levers else _unmoved(base, asked),
        weights=tuple(
            WeightTip(x.part, x.distance, x.weights)
            for x in sorted(order, key=lambda x: (x.distance or 0.0, x.part))
            if x.distance is not None and x.part != names[0]
        ),
        never_first=tuple(sorted(x.part for x in order if x.distance is None)),
        left_out=base.left_out,
        cautions=cautions_in_use(base),
        warnings=moving_warnings(base),
    )


def _nearness(tip: LeverTip) -> tuple[bool, float, str]:
    """The nearest first; kelvin count as shares of ten, so closely are they found."""
    far = tip.distance_share
    if far is None:
        far = (tip.distance_k or 0.0) / DEGREES
    return tip.tips_at is None, round(far, 9), tip.path


def _tip(handle: Lever, found: Tip | None) -> LeverTip:
    """A tip in figures and in words."""
    assert handle.now is not None
    told = handle.now if found is None or found.told is None else found.told
    far = None if found is None else abs(found.at - handle.now)
    kelvin = handle.dimension == "temperature"
    return LeverTip(
        path=str(handle.path),
        now=handle.now,
        unit=handle.unit,
        tips_at=None if found is None else found.at,
        text=None if found is None else handle.text(told),
        new_winner=None if found is None else found.leader,
        distance_u=None if far is None or handle.u == 0 else far / handle.u,
        distance_share=None if far is None or kelvin else far / abs(handle.now),
        distance_k=far if kelvin else None,
        now_shown=handle.shown(handle.now),
        tips_shown=None if found is None else handle.shown(told),
        currency=handle.currency,
        told_at=None if found is None else told,
    )


def faults_of(catalogue: Catalogue, product: Product, levers: Sequence[str]) -> list[Fault]:
    """Every fault of paths, as of `tipping`; no build is tried for it."""
    return _named(catalogue, product, levers)[1]


def _asked(base: Evaluation, paths: Sequence[str]) -> list[Lever]:
    """The levers at paths; those that decide where there is none."""
    return _named(base.catalogue, base.product, paths)[0] if paths else [*_deciding(base)]


def _named(
    catalogue: Catalogue, product: Product, paths: Sequence[str]
) -> tuple[list[Lever], list[Fault]]:
    """The levers at paths, each once, all of a record where a path is an id alone; and what is
    wrong with the others."""
    made: dict[Path, Lever] = {}
    faults: list[Fault] = []
    for text in paths:
        whole = text == product.product or catalogue.record(text) is not None
        try:
            some = (
                [*_whole(catalogue, product, text)] if whole else [lever(catalogue, product, text)]
            )
        except FaultError as error:
            faults += error.faults
            continue
        if not some:
            faults.append(Fault(text, "no figure that can be moved", "a record with figures"))
        elif not whole and not some[0].movable:
            where = str(some[0].path)
            faults.append(Fault(where, "no value above zero", "a figure that stands"))
        made.update((handle.path, handle) for handle in some if handle.path not in made)
    return [*made.values()], [*dict.fromkeys(faults)]


def _whole(catalogue: Catalogue, product: Product, identity: str) -> Iterator[Lever]:
    """All figures of the product or of a record that may be asked to move."""
    for handle in levers_of(catalogue, product, identity):
        # a time of delivery counts where something asks for it
        if handle.path.keys != LEAD_TIME or product.needs.lead_time is not None:
            yield handle


def _deciding(base: Evaluation) -> Iterator[Lever]:
    """The product's figures, prices, and what the two leaders rest on."""
    product = base.product.product
    for handle in _whole(base.catalogue, base.product, product):
        if handle.path.keys[0] != "needs":
            yield handle
    bought = _supplies(base.candidates[:2])
    beside = {name for c in base.candidates[:2] for name in c.addons}
    for identity in sorted(bought | beside):
        for handle in _whole(base.catalogue, base.product, identity):
            first = handle.path.keys[0]
            if first == "price" or (identity in beside and first in OF_ADDON):
                yield handle
    for candidate in base.candidates[:2]:
        yield from _of_part(base, candidate)


def _supplies(candidates: Sequence[Candidate], every: bool = False) -> set[str]:
    """Ids of the cells and converters of the parts' builds: of the chosen ones, or of `every`."""
    feeds = {
        id(build.assessed): build.assessed.feed
        for c in candidates
        for build in (c.builds if every else c.builds[:1])
    }
    found = {feed.option.cell for feed in feeds.values()}
    found |= {record.converter for feed in feeds.values() for record, _ in feed.bought}
    return {identity for identity in found if identity is not None}


def _unmoved(base: Evaluation, moved: Sequence[Lever]) -> dict[str, int]:
    """How many figures of each cell and converter in the comparison are not among those moved."""
    there = {handle.path for handle in moved}
    counts = {
        identity: sum(
            handle.path not in there for handle in _whole(base.catalogue, base.product, identity)
        )
        for identity in sorted(_supplies(base.candidates, every=True))
    }
    return {identity: count for identity, count in counts.items() if count}


# what an add-on moves beside its price
OF_ADDON = frozenset(("standing", "sleep", "setup", "supply", "gives", "board-area"))


def _of_part(base: Evaluation, candidate: Candidate) -> Iterator[Lever]:
    """What a part rests on with its chosen build."""
    part = candidate.part.part
    own = Path(part)
    used = figures_in_use(candidate) | {
        own / "price",
        own / "extras",
        own.child("toolchain", "setup"),
        own / "supply",
        own / "own-figures",
    }
    for handle in _whole(base.catalogue, base.product, part):
        if any(handle.path.within(other) for other in used):
            yield handle
