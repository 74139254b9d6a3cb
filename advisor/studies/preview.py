"""What a file that is still being written would lead to, on what it says so far.

Quick rather than exact: few draws. Nothing that is missing is made up: what a part does not say yet
is asked of no part, and told.
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Mapping, Sequence
from dataclasses import replace

from advisor.catalogue.criteria import measure_of
from advisor.catalogue.load import load_product
from advisor.catalogue.records import Catalogue, stated
from advisor.catalogue.schema_parts import Memory, Part
from advisor.catalogue.schema_product import Priority, Product, Task
from advisor.dataclass import dataclass
from advisor.quantities import exact
from advisor.source import Document
from advisor.studies.shortlist import Shortlist, shortlist

DRAWS = 60  # a first look
SHOWN = 3


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """A part of the ranking."""

    rank: int
    part: str
    score: float
    battery_life_s: float
    ends_by: str


@dataclass(frozen=True, slots=True)
class Preview:
    """A ranking in short.

    `leads` is the first part, None where nothing fits; `of` how many are ranked; `estimated` are
    paths of figures that were filled in; `left` what was not looked at, since it is not known yet;
    `lacks` what keeps a part, or all of them, from being ranked; `own` the part that is written,
    `unused` what of it no build may use, and why.
    """

    product: str
    leads: str | None
    rows: tuple[PreviewRow, ...]
    of: int
    invented: bool
    estimated: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    own: str | None = None


def preview_product(catalogue: Catalogue, product: Product | str) -> Preview:
    """The parts at hand for a product that is being written.

    Parameters
    ----------
    product : it, or its YAML.

    Raises
    ------
    FaultError
        With what is wrong with it.
    """
    if isinstance(product, str):
        product = load_product(product.encode(), catalogue)
    found = shortlist(catalogue, product, draws=DRAWS)
    lacks = [f"{one.part} lacks {_short(one.missing, one.part)}" for one in found.set_aside]
    lacks += [f"{one.part} fails {one.failed[0].text}" for one in found.screened_out if one.failed]
    if not catalogue.parts:
        lacks = ["the catalogue has no parts yet"]
    return _told(found, lacks=() if found.ranking else tuple(lacks[:SHOWN]))


def preview_part(
    catalogue: Catalogue, product: Product, part: Part, document: Document, *, keeps: bool = True
) -> Preview:
    """How a part that is being written would stand in a product.

    Parameters
    ----------
    catalogue : what it would stand beside, which the product was read with. keeps : whether it is
    known what its sleep states keep.
    """
    documents = ChainMap({part.part: document}, catalogue.documents)  # type: ignore[arg-type]
    parts = {**catalogue.parts, part.part: part}
    catalogue = replace(
        catalogue, parts={name: parts[name] for name in sorted(parts)}, documents=documents
    )
    asked, left = _asked(product, part, keeps)
    points = part.operating_points.values()
    estimable = bool(part.kernels) or any(getattr(p, "run_current", None) for p in points)
    found = shortlist(catalogue, asked, draws=DRAWS, estimate_missing=estimable)
    lost = _lost(found, part.part)
    kernels = {path.split(".")[1] for path in lost if path.startswith("kernels.")}
    if kernels:
        # they could not be estimated either
        asked = _without(asked, kernels)
        left = (*left, *(f"kernel {name}" for name in sorted(kernels)))
        found = shortlist(catalogue, asked, draws=DRAWS, estimate_missing=True)
        lost = _lost(found, part.part)
    lacks = [f"it lacks {', '.join(lost)}"] if lost else []
    for one in found.screened_out:
        if one.part == part.part:
            lacks += [f"it fails {failed.text}" for failed in one.failed]
    return _told(found, part.part, left, tuple(lacks))


def _lost(found: Shortlist, part: str) -> list[str]:
    """What keeps a part from being ranked, by the keys of its file."""
    missing = (path for one in found.set_aside if one.part == part for path in one.missing)
    return [path.removeprefix(f"{part}:") for path in missing]


def _short(paths: Sequence[str], part: str) -> str:
    return ", ".join(path.removeprefix(f"{part}:") for path in paths)


def _asked(product: Product, part: Part, keeps: bool) -> tuple[Product, tuple[str, ...]]:
    """The product with what the part can be asked already, and what is left out of it."""
    left: list[str] = []
    needs = product.needs
    memory = {n: getattr(needs.memory, n) for n in ("flash", "ram")}
    for name, need in memory.items():
        if need is not None and getattr(part.memory, name) is None:
            memory[name] = None
            left.append(f"need of memory.{name}")
    features = {n: c for n, c in needs.features.items() if n in part.features}
    left += [f"need of features.{n}" for n in needs.features if n not in features]
    lifecycle = needs.lifecycle
    if lifecycle is not None and part.lifecycle is None:
        lifecycle = None
        left.append("need of lifecycle")
    lead = needs.lead_time
    if lead is not None and (part.price is None or part.price.lead_time is None):
        lead = None
        left.append("need of lead-time")
    own = replace(
        needs, memory=Memory(**memory), features=features, lifecycle=lifecycle, lead_time=lead
    )
    asked = replace(product, needs=own)
    priorities, unweighed = _weighed(asked, part)
    left += unweighed
    asked = replace(asked, priorities=priorities)
    if product.cost.unit_cost_limit is not None and (
        part.price is None or part.price.breaks is None
    ):
        asked = replace(asked, cost=replace(product.cost, unit_cost_limit=None))
        left.append("what a unit may cost")
    if not keeps and product.retain:
        asked = replace(asked, retain=())
        left.append("what sleep must keep")
    unknown = {k for task in product.workload for k in task.kernels}
    if part.kernels:
        return asked, tuple(left)
    left += [f"kernel {name}" for name in sorted(unknown)]
    return _without(asked, unknown), tuple(left)


def _weighed(product: Product, part: Part) -> tuple[Mapping[str, Priority], list[str]]:
    """The criteria by which the part has a value so far; battery life alone where none is."""
    out: dict[str, Priority] = {}
    left = []
    for name, priority in product.priorities.items():
        measure = measure_of(name)
        assert measure is not None, name  # no other is read
        draw = {"operating-points", "kernels", "sleep-states"}
        own = [keys for keys in measure.reads if keys[0] not in draw]
        told = all(stated(part, keys) not in (None, {}) for keys in own)
        if told and all(ask.met(product) for ask in measure.asks):
            out[name] = priority
        else:
            left.append(f"criterion {name}")
    if not out and product.life_target is not None:
        out["battery-life"] = Priority(weight=exact(1.0, "count"))
    return out, left


def _without(product: Product, kernels: set[str]) -> Product:
    def less(task: Task) -> Task:
        return replace(task, kernels={n: u for n, u in task.kernels.items() if n not in kernels})

    return replace(product, workload=tuple(less(task) for task in product.workload))


def _told(
    found: Shortlist, own: str | None = None, left: Sequence[str] = (), lacks: Sequence[str] = ()
) -> Preview:
    rows = [
        PreviewRow(
            rank=one.rank,
            part=one.part,
            score=one.score,
            battery_life_s=one.battery_life_s.nominal,
            ends_by=one.ends,
        )
        for one in found.ranking
        if one.rank <= SHOWN or one.part == own
    ]
    out = [one for one in found.left_out if own is not None and one.id.startswith(f"{own}:")]
    estimated = next((one.estimated for one in found.ranking if one.part == own), ())
    return Preview(
        product=found.product,
        leads=found.ranking[0].part if found.ranking else None,
        rows=tuple(rows),
        of=len(found.ranking),
        invented=found.invented,
        estimated=estimated,
        left=tuple(left),
        lacks=tuple(lacks),
        unused=tuple(f"{one.id.partition(':')[2]}: {one.why}" for one in out),
        own=own,
    )
