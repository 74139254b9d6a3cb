"""What has changed since a record was written: figures that were kept, and digests of all."""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from yaml.nodes import Node, ScalarNode

from advisor import figures
from advisor.catalogue.curves import CurveOf
from advisor.catalogue.fields import Either, Record
from advisor.catalogue.kinds import Figure, Kind, Reading, Whole
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.faults import FaultLog
from advisor.quantities import Quantity

FILE = "harvest.file"  # what a product's file of hours goes by among the digests
# behind the path of a list's entry that shares its name with one before
_AGAIN = re.compile(r" \(([0-9]+)\)\Z")
SAME = 1e-12  # relative; one value in two units differs by rounding
MONEY_RATE = "money-rate"  # its currency is in its unit, and none is worth another


@dataclass(frozen=True, slots=True)
class Change:
    """A figure that is another now; None where it is new or gone."""

    path: str
    was: str | None
    now: str | None


def kept_figures(catalogue: Catalogue, names: Sequence[str]) -> Iterator[tuple[str, str]]:
    """(path, text) of every figure of these documents."""
    for name in names:
        times: Counter[str] = Counter()
        for path, node in figures.scalars(name, catalogue.documents[name].root):
            if node.value:
                times[str(path)] += 1
                # entries of a list may share a name, such as one cell in two packs
                again = f" ({times[str(path)]})" if times[str(path)] > 1 else ""
                yield f"{path}{again}", str(node.value)


def digests(catalogue: Catalogue, product: Product | None = None) -> dict[str, str]:
    """SHA-256 of each document's figures as they stand, comments and layout apart, by id.

    A product's file of hours has one of its own.
    """
    out = {}
    for name in sorted({*catalogue.documents, *([] if product is None else [product.product])}):
        found = hashlib.sha256()
        for path, node in figures.scalars(name, catalogue.documents[name].root):
            found.update(f"{path.dotted}\0{node.value}\0".encode())
        out[name] = found.hexdigest()
    if product is not None and product.harvest is not None and product.harvest.days is not None:
        out[f"{product.product}:{FILE}"] = product.harvest.days.digest
    return out


def altered(was: Mapping[str, str], digests: Mapping[str, str]) -> tuple[str, ...]:
    """Ids of documents whose figures in a record are not those that its digest there was taken of:
    one or the other was written over."""
    found = {name: hashlib.sha256() for name in dict.fromkeys(map(figures.document_of, was))}
    times: Counter[str] = Counter()
    for path, text in was.items():
        again = _AGAIN.search(path)
        plain = path if again is None else path[: again.start()]
        if again is not None and again[1] != str(times[plain] + 1):
            plain = path  # a key that ends so by itself
        times[plain] += 1
        name, _, dotted = plain.partition(":")
        found[name].update(f"{dotted}\0{text}\0".encode())
    return tuple(n for n, one in sorted(found.items()) if one.hexdigest() != digests.get(n))


def changes_since(
    was: Mapping[str, str],
    catalogue: Catalogue,
    kept: set[str],
    records: Mapping[str, object],
) -> Iterator[Change]:
    """What is another figure now, of the documents that were kept.

    One that is spelled otherwise, its place on a curve or its unit too, is the same. `records` are
    those of documents that are none of the catalogue's kinds, by id.
    """
    there = sorted(name for name in kept if name in catalogue.documents)
    now = dict(kept_figures(catalogue, there))
    then = {_as_now(path, was, now, catalogue): text for path, text in was.items()}
    for path in sorted({*then, *now}):
        before, after = then.get(path), now.get(path)
        if before != after and not _alike(path, before, after, catalogue, records):
            yield Change(path, before, after)


def _as_now(path: str, was: Mapping[str, str], now: Mapping[str, str], catalogue: Catalogue) -> str:
    """A path as it is spelled now, where another spelling of it stands."""
    document = catalogue.documents.get(figures.document_of(path))
    if path in now or document is None:
        return path
    found = str(figures.Path.parse(document.root, path))
    return found if found in now and found not in was else path


def _alike(
    path: str,
    before: str | None,
    after: str | None,
    catalogue: Catalogue,
    records: Mapping[str, object],
) -> bool:
    """Whether two texts say the same of a figure; what is not one goes by its text."""
    document = figures.document_of(path)
    record = records.get(document) or catalogue.record(document)
    if before is None or after is None or record is None:
        return False
    root = catalogue.documents[document].root
    kind = _kind(Record(type(record)), figures.Path.parse(root, path))
    if kind is None:
        return False
    one, other = (_read(kind, text, path, root) for text in (before, after))
    if isinstance(one, Quantity) and isinstance(other, Quantity):
        if one.dimension == MONEY_RATE and one.unit_text != other.unit_text:
            return False
        ends = zip(_numbers(one), _numbers(other), strict=False)
        same = one.kind == other.kind and len(one.shape) == len(other.shape)
        return same and all(math.isclose(a, b, rel_tol=SAME) for a, b in ends)
    return one is not None and one == other


def _numbers(figure: Quantity) -> tuple[float, ...]:
    return (figure.nominal, figure.u, *figure.shape)


def _kind(kind: Kind | None, path: figures.Path) -> Figure | Whole | None:
    """What may stand at a path, where that is a figure."""
    for key in path.keys:
        below = getattr(kind, "below", None)
        kind = None if below is None else below(key)
    if isinstance(kind, CurveOf) and kind.constant:
        kind = kind.y
    if isinstance(kind, Either):
        kind = kind.plain
    return kind if isinstance(kind, Figure | Whole) else None


def _read(kind: Figure | Whole, text: str, path: str, root: Node) -> Quantity | int | None:
    """What a text says; None where it may not stand there."""
    node = ScalarNode("tag:yaml.org,2002:str", text, root.start_mark, root.end_mark)
    found: Quantity | int | None = kind.read(node, path, Reading("", path, FaultLog()))
    return found
