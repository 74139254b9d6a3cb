"""`decide` and `revisit`: a decision written down with what it rests on, and looked at again."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from advisor import figures
from advisor.catalogue.edit import quoted
from advisor.catalogue.kinds import NULLS
from advisor.catalogue.load import read_document
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_record import DecisionRecord
from advisor.catalogue.shipped import load, product_files
from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, nearest
from advisor.faults import Place as Where
from advisor.model.served import Services
from advisor.names import Named, paths_of
from advisor.stages import Progress
from advisor.studies.results import RankedPart, frame, plain
from advisor.studies.shortlist import DRAWS, Shortlist, shortlist
from advisor.studies.since import Change, altered, changes_since, digests, kept_figures

if TYPE_CHECKING:
    import pandas as pd

NEAREST = 3  # parts, first in the order, whose figures are kept beside the chosen one's
RULE = (
    "the decision stands where its part still fits and no part is ahead of it that was not ahead "
    "of it then"
)


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision and the shortlist that it was taken on; `text` is the record as YAML."""

    product: str
    part: str
    rank: int
    text: str
    shortlist: Shortlist = field(repr=False, compare=False)


def decide(
    catalogue: Catalogue,
    product: Product,
    part: str,
    because: str,
    *,
    changes: Sequence[str] = (),
    date: datetime.date | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    jobs: int = 1,
    estimate_missing: bool = False,
    services: Services | None = None,
    product_file: Named | None = None,
    catalogs: Named | Sequence[Named] = (),
    folder: Named = ".",
    progress: Progress | None = None,
) -> Decided:
    """Write down that a part is chosen for a product.

    Parameters
    ----------
    because : why. changes : what was set for the run, kept so that it is set again. date : today
    when absent. draws, seed, jobs, estimate_missing : as for `shortlist`; the last is kept too.
    progress, services : as for `shortlist`.
    product_file, catalogs : where these inputs were read, so that `revisit` finds them; neither for
    shipped ones. folder : where the record will stand, from which they are told.

    Raises
    ------
    FaultError
        For a part that does not fit, with the reason, for a decision without one, and for one
        whose record could not be read again.
    """
    reason = " ".join(because.split())
    if not reason:
        raise FaultError((Fault("--because", "nothing", "why this part, in a few words"),))
    found = shortlist(
        catalogue,
        product,
        draws=draws,
        seed=seed,
        jobs=jobs,
        progress=progress,
        estimate_missing=estimate_missing,
        services=services,
    )
    ranked = {p.part: p for p in found.ranking}
    if part not in ranked:
        raise FaultError((_unfit(found, part),))
    head = ["estimate-missing: true"] if estimate_missing else []
    head += _found_at(product_file, paths_of(catalogs), Path(folder))
    record = _text(catalogue, product, found, ranked[part], reason, changes, date, head)
    # what could not be revisited is not written
    _read(Path("record"), record)
    return Decided(
        product=product.product, part=part, rank=ranked[part].rank, text=record, shortlist=found
    )


def _unfit(found: Shortlist, part: str) -> Fault:
    names = [p.part for p in found.ranking]
    for screened in found.screened_out:
        if screened.part == part:
            why = ", ".join(f.need for f in screened.failed)
            return Fault("PART", f'"{part}", which fails {why}', "a part that fits")
    for aside in found.set_aside:
        if aside.part == part:
            why = ", ".join(aside.missing)
            return Fault("PART", f'"{part}", which lacks {why}', "a part that fits")
    return Fault(
        "PART", f'"{part}"', "a part of the catalogue", nearest=nearest(part, names), unknown=True
    )


def _no_longer(found: Shortlist, part: str) -> str:
    """Why a part that was chosen is not ranked any more, a sentence without its full stop."""
    for screened in found.screened_out:
        if screened.part == part:
            return f"{part} no longer fits: {'; '.join(f.text for f in screened.failed)}"
    for aside in found.set_aside:
        if aside.part == part:
            are = "is" if len(aside.missing) == 1 else "are"
            return f"{part} lacks {', '.join(aside.missing)}, which {are} needed"
    return f"{part} is no longer in the catalogue"


def _text(
    catalogue: Catalogue,
    product: Product,
    found: Shortlist,
    chosen: RankedPart,
    because: str,
    changes: Sequence[str],
    date: datetime.date | None,
    head: Sequence[str],
) -> str:
    from importlib.metadata import version

    lines = [
        "# A decision as it was taken. `part-advisor revisit` says whether it still stands.",
        f"decision: {plain_id(product.product)}",
        f"part: {plain_id(chosen.part)}",
        f"because: {quoted(because)}",
        f"date: {(date or datetime.date.today()).isoformat()}",
        f"version: {quoted(version('part-advisor'))}",
        *([f"currency: {quoted(product.cost.currency)}"] if product.cost.currency else []),
        f"draws: {found.draws}",
        f"seed: {found.seed}",
        f"verdict: {'none' if found.verdict is None else found.verdict.word}",
    ]
    if found.invented:
        lines.insert(1, "# Some of the figures behind it are invented for demonstration.")
    if changes:
        lines += ["changes:", *(f"  - {quoted(change)}" for change in changes)]
    lines += [*head, "ranking:"]
    lines += [f"  - {{{', '.join(_entry(part))}}}" for part in found.ranking]
    lines.append("digests:")
    lines += [f"  {name}: {value}" for name, value in digests(catalogue, product).items()]
    near = [chosen.part, *(p.part for p in found.ranking[:NEAREST])]
    lines.append("figures:")
    for path, text in kept_figures(catalogue, _kept(found, product.product, near)):
        lines.append(f"  {quoted(path)}: {quoted(text)}")
    return "\n".join(lines) + "\n"


def _found_at(product: Named | None, catalogs: Sequence[Path], folder: Path) -> Iterator[str]:
    """Lines that tell where the inputs are, from the folder of the record."""
    if product is not None:
        yield f"product-file: {quoted(seen_from(folder, Path(product)))}"
    if catalogs:
        yield "catalogs:"
        yield from (f"  - {quoted(seen_from(folder, path))}" for path in catalogs)


def seen_from(folder: Path, path: Path) -> str:
    """A path as it is told in a file that stands in that folder."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        # another drive has no way from here
        return path.absolute().as_posix()


def plain_id(name: str) -> str:
    """An id, which is plain YAML but for the words that YAML takes for nothing."""
    return quoted(name) if name in NULLS else name


def _entry(part: RankedPart) -> Iterator[str]:
    yield f"part: {plain_id(part.part)}"
    yield f"score: {part.score:.6g}"
    if part.first_place_probability is not None:
        yield f"first: {part.first_place_probability:.4g}"
    life, cost = part.battery_life_s.nominal, part.cost.told
    if math.isfinite(life):
        yield f"battery-life: {life:.6g} s"
    if cost is not None and math.isfinite(cost):
        yield f"lifetime-cost: {cost:.6g}"


def _kept(found: Shortlist, product: str, parts: Sequence[str]) -> list[str]:
    """Ids of the documents whose figures are kept: product, parts, and what their builds use."""
    kept = [product, *parts]
    for part in found.ranking:
        if part.part in parts:
            built = part.build
            used = (built.cell, built.converter, *built.rails.values(), *built.addons)
            kept += [n for n in used if n]
    known = found.evaluation.catalogue.documents
    return sorted({name for name in kept if name in known})


@dataclass(frozen=True, slots=True)
class Place:
    """Where a part stood and stands; None where it was or is not ranked."""

    part: str
    rank_then: int | None
    rank_now: int | None
    score_then: float | None
    score_now: float | None


@dataclass(frozen=True, slots=True)
class Revisited:
    """A decision looked at again.

    Attributes
    ----------
    stands : by `RULE`. passed_by : parts ahead of it now that were not then. changed : figures
    that were kept and are others now. documents : ids whose figures changed, of those whose
    figures were not kept. new, gone : ids of files. altered : ids whose figures in the record are
    not those of their digest there. unfit : why the part no longer fits.
    """

    product: str
    part: str
    because: str
    date: datetime.date
    stands: bool
    rule: str
    passed_by: tuple[str, ...]
    unfit: str | None
    changed: tuple[Change, ...]
    documents: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    altered: tuple[str, ...]
    places: tuple[Place, ...]
    shortlist: Shortlist = field(repr=False, compare=False)

    def rows(self) -> list[dict[str, object]]:
        """A row a part."""
        return [plain(place) for place in self.places]

    def document(self) -> dict[str, object]:
        """The result for JSON; the shortlist itself is `shortlist`'s."""
        found = {n: getattr(self, n) for n in self.__slots__ if n != "shortlist"}
        date = self.date.isoformat()
        return {
            **plain(found),
            "date": date,
            "invented": self.shortlist.invented,
            "left_out": plain(self.shortlist.left_out),
            "warnings": self.shortlist.warnings,
        }

    def to_frame(self) -> pd.DataFrame:
        """A row a part."""
        return frame(self.rows())


def read_decision(path: Named) -> DecisionRecord:
    """Read the record of a decision.

    Raises
    ------
    FaultError
        With every fault found.
    """
    return _read(Path(path))


def _read(path: Path, text: str | None = None) -> DecisionRecord:
    # a text of the team's may hold anything; every screen shows it escaped
    record, _ = read_document(DecisionRecord, path, text, spelled=True)
    if record.part not in [p.part for p in record.ranking]:
        expected = "a part of the record's own ranking"
        raise FaultError((Fault("part", f'"{record.part}"', expected),))
    return record


def product_of(record: DecisionRecord, file: Path) -> Path | str:
    """Where a record's product is: where it says, else the shipped one of its id, else a file of
    that name beside the record (`file`) or in its `profiles` or `products`.

    Raises
    ------
    FaultError
        When it is in none of these places.
    """
    beside = file.parent
    if record.product_file is not None:
        path = beside / record.product_file
        if not os.path.exists(path):
            fault = Fault(
                "product-file",
                f'"{path}", which is not there',
                "the product's file, or --product",
                Where(str(file), 1, 1),
            )
            raise FaultError((fault,))
        return path
    if record.decision in product_files():
        return record.decision
    near = [beside / part / f"{record.decision}.yaml" for part in ("", "profiles", "products")]
    for path in near:
        if os.path.exists(path):
            return path
    tried = ", ".join(map(str, near))
    fault = Fault(
        "--product",
        f'"{record.decision}", neither shipped nor in {tried}',
        "the product's file, by --product or product-file in the record",
        Where(str(file), 1, 1),
    )
    raise FaultError((fault,))


def revisit(
    record: DecisionRecord | Named,
    catalogue: Catalogue | None = None,
    product: Product | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    services: Services | None = None,
) -> Revisited:
    """Say what has changed since a decision and whether it still stands.

    Parameters
    ----------
    record : a record, or its file. catalogue, product : as they stand now, with the record's own
    changes laid over them; neither where the record's file tells where they are. jobs, progress,
    services : as for `shortlist`.

    Raises
    ------
    FaultError
        For a product that is not the record's, or that is nowhere to be found.
    """
    if not isinstance(record, DecisionRecord):
        file = Path(record)
        record = read_decision(file)
        if catalogue is None and product is None:
            folders = [file.parent / name for name in record.catalogs]
            catalogue, product = load(product_of(record, file), folders, record.changes)
    if catalogue is None or product is None:
        expected = "a catalogue and a product, or neither and the record's file"
        raise FaultError((Fault("revisit", "one of them alone", expected),))
    if product.product != record.decision:
        raise FaultError(
            (Fault("--product", f'"{product.product}"', f'"{record.decision}", as in the record'),)
        )
    found = shortlist(
        catalogue,
        product,
        draws=record.draws,
        seed=record.seed,
        jobs=jobs,
        progress=progress,
        estimate_missing=record.estimate_missing,
        services=services,
    )
    then = {p.part: n for n, p in enumerate(record.ranking, 1)}
    now = {p.part: p.rank for p in found.ranking}
    ahead_then = {p for p, rank in then.items() if rank < then[record.part]}
    unfit = None
    passed: tuple[str, ...] = ()
    if record.part in now:
        ahead = [p for p, rank in now.items() if rank < now[record.part]]
        passed = tuple(p for p in ahead if p not in ahead_then)
    else:
        unfit = _no_longer(found, record.part)
    current = digests(catalogue, product)
    kept = {figures.document_of(path) for path in record.figures}
    others = [n for n in current if record.digests.get(n) not in (None, current[n])]
    return Revisited(
        product=product.product,
        part=record.part,
        because=record.because,
        date=record.date,
        stands=unfit is None and not passed,
        rule=RULE,
        passed_by=passed,
        unfit=unfit,
        changed=tuple(changes_since(record.figures, catalogue, kept, {product.product: product})),
        documents=tuple(n for n in others if n not in kept),
        new=tuple(n for n in current if n not in record.digests),
        gone=tuple(sorted(n for n in record.digests if n not in current)),
        altered=altered(record.figures, record.digests),
        places=tuple(_places(record, found)),
        shortlist=found,
    )


def _places(record: DecisionRecord, found: Shortlist) -> Iterator[Place]:
    then = {p.part: (n, p.score.nominal) for n, p in enumerate(record.ranking, 1)}
    now = {p.part: (p.rank, p.score) for p in found.ranking}
    order = [*now, *(p for p in then if p not in now)]
    for part in order:
        before, after = then.get(part), now.get(part)
        yield Place(
            part=part,
            rank_then=None if before is None else before[0],
            rank_now=None if after is None else after[0],
            score_then=None if before is None else before[1],
            score_now=None if after is None else after[1],
        )
