"""From files to a family: its products with one catalogue, every fault of the run at once."""

from __future__ import annotations

import contextlib
from collections import ChainMap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from yaml.nodes import Node, ScalarNode, SequenceNode

from advisor.catalogue.load import read_catalogue, read_product
from advisor.catalogue.places import catalogue_folder, family_files, find_product, product_files
from advisor.catalogue.records import Catalogue
from advisor.catalogue.rule import Breach, Rule
from advisor.catalogue.rules import apply, rate_currency
from advisor.catalogue.run import Run, value_of
from advisor.catalogue.schema_family import FamilyFile, Member
from advisor.catalogue.schema_product import Product
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, nearest
from advisor.names import Named, listed, paths_of, texts_of
from advisor.source import Document, collector_paused, place_of, read_file, read_text

UNNAMED = "family"  # id of a family of products that a call names one by one


@dataclass(frozen=True, slots=True)
class FamilyRun:
    """A family with its catalogue and its products, in the family's order.

    A product has the units that the family makes of it. `file` is that of the family, None where a
    call named the products one by one.
    """

    catalogue: Catalogue
    family: FamilyFile
    products: tuple[Product, ...]
    file: Path | None


def family_file(reference: Named) -> Path | None:
    """The file of a family: a shipped one by its id, or a file that says `family:`; else None."""
    shipped = family_files()
    if isinstance(reference, str) and reference in shipped:
        return shipped[reference]
    path = Path(reference)
    if path.suffix not in (".yaml", ".yml") and not path.is_file():
        return None
    try:
        root = read_file(path, str(path)).root
    except FaultError:
        return None
    return path if value_of(root, "family") is not None else None


def files_of(references: Sequence[Named], own: Mapping[str, Path]) -> list[Path]:
    """Every file that a call of a family reads, as far as they can be told before reading it."""
    out = []
    for reference in references:
        file = family_file(reference)
        if file is not None:
            out += [file, *sorted(file.parent.glob("*.yaml"))]
            continue
        # what is not there is told when it is read
        with contextlib.suppress(FaultError):
            out.append(find_product(reference, own))
    return out


def load_family(
    references: Named | Sequence[Named],
    folders: Named | Sequence[Named] = (),
    changes: str | Sequence[str] = (),
    *,
    cached: bool = False,
    own: Mapping[str, Path] | None = None,
) -> FamilyRun:
    """A family, its products and one catalogue, read and checked together.

    Parameters
    ----------
    references : one family (a file or a shipped id), or products (files or ids) that make one.
    folders, changes, cached, own : as for `load`; changes may be to the family too, which goes by
        the id `family` where products are named.

    Raises
    ------
    FaultError
        With every fault found in any file or change.
    """
    named = listed(references)
    with collector_paused():
        run = Run(texts_of(changes))
        catalogue = read_catalogue(run, paths_of(folders) or [catalogue_folder()], cached)
        file, document, places = _family_document(run, named, own or {})
        family = None
        if document is not None:
            identity = UNNAMED if file is None else file.stem
            document = run.changed(identity, document)
            family = run.record("family", FamilyFile, identity, document)
        products: list[Product] = []
        if document is not None:
            # those of a family that has faults have theirs told too
            for name in _names(document):
                product = _member(run, name, places, file, document, own or {}, catalogue)
                if product is not None:
                    products.append(product)
        if family is not None and document is not None:
            if len(products) == len(family.products):
                rules = _rules(products)
                apply(rules, family, family.family, {family.family: document}, catalogue, run.log)
            run.leftover((*catalogue.documents, *run.products, family.family))
            _idle_units(run, family)
        elif document is None and not any(map(family_file, named)):
            # of products that are not all there
            run.done.update((*map(str, named), *product_files(), *(own or ()), UNNAMED))
            run.leftover(tuple(catalogue.documents))
        run.log.raise_if_any()
        assert family is not None
        assert document is not None
        documents = ChainMap({**run.products, family.family: document}, catalogue.documents)  # type: ignore[arg-type]
        catalogue = replace(catalogue, documents=documents)
        made = zip(family.products, products, strict=True)
        return FamilyRun(catalogue, family, tuple(_made(m, p) for m, p in made), file)


def _idle_units(run: Run, family: FamilyFile) -> None:
    """Note changes to a product's units that the family's own take the place of."""
    for member in family.products:
        for change in run.changes.get(member.product, ()):
            if member.units is not None and change.dotted == "cost.units":
                instead = f"{family.family}:products.{member.product}.units"
                place = place_of(change.value_node, "--set")
                run.log.add(Fault(change.text, "units that the family states", instead, place))


def _made(member: Member, product: Product) -> Product:
    """A product at the number of units that the family makes of it."""
    if member.units is None:
        return product
    return replace(product, cost=replace(product.cost, units=member.units))


def _family_document(
    run: Run, named: Sequence[Named], own: Mapping[str, Path]
) -> tuple[Path | None, Document | None, Mapping[str, Path]]:
    """(the family's file, its document, files of the products that were named one by one)."""
    files = [family_file(reference) for reference in named]
    found = [file for file in files if file is not None]
    if found and len(named) > 1:
        at = next(i for i, file in enumerate(files) if file is not None)
        fault = Fault(
            "PRODUCT", f'"{named[at]}", a family, among others', "one family, or products alone"
        )
        run.log.add(fault)
        return None, None, {}
    if found:
        return found[0], run.document(found[0], str(found[0])), {}
    places: dict[str, Path] = {}
    for reference in named:
        try:
            path = find_product(reference, own)
        except FaultError as error:
            shipped = ", ".join(family_files())
            run.note(
                FaultError(
                    replace(f, expected=f"{f.expected}; or a family: {shipped}")
                    for f in error.faults
                )
            )
            continue
        if path.stem in places:
            run.log.add(Fault("PRODUCT", f'"{path.stem}" twice', "each product once"))
        places[path.stem] = path
    if not named:
        run.log.add(Fault("PRODUCT", "nothing", "a family's file, or products"))
    if run.log.faults:
        return None, None, {}
    lines = [f"family: {UNNAMED}", "products:", *(f"  - product: {name}" for name in places)]
    return None, read_text("\n".join(lines).encode(), "<products of the call>"), places


def _member(
    run: Run,
    name: str,
    places: Mapping[str, Path],
    file: Path | None,
    document: Document,
    own: Mapping[str, Path],
    catalogue: Catalogue,
) -> Product | None:
    """A product by its id: named in the call, beside the family, the project's or shipped."""
    beside = None if file is None else file.parent / f"{name}.yaml"
    try:
        if name in places:
            path = places[name]
        elif beside is not None and beside.is_file():
            path = beside
        else:
            path = find_product(name, own)
    except FaultError as error:
        for fault in error.faults:
            expected = f"a file {name}.yaml beside the family's, or {fault.expected}"
            place = place_of(_node(document, name), document.file)
            run.log.add(replace(fault, path=f"products.{name}", expected=expected, place=place))
        return None
    return read_product(run, path, catalogue)


def _names(document: Document) -> list[str]:
    """The ids of the products that a family's document lists, each once."""
    listed = value_of(document.root, "products")
    entries = listed.value if isinstance(listed, SequenceNode) else []
    found = [value_of(entry, "product") for entry in entries]
    return list(dict.fromkeys(str(n.value) for n in found if isinstance(n, ScalarNode)))


def _node(document: Document, product: str) -> Node:
    """The entry of a product in the family's file."""
    from advisor.figures import Path as Figure

    return Figure("", ("products", product)).placed(document.root)[1]


def _rules(products: Sequence[Product]) -> tuple[Rule, ...]:
    """The rules that join a family with its products."""
    by_name = {product.product: product for product in products}

    def units(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
        for member in family.products:
            if member.units is None and by_name[member.product].cost.units is None:
                yield f"products.{member.product}.units", "nothing, and no cost.units", None

    def currencies(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
        for product in products:
            first = products[0]
            if product.cost.currency is None:
                yield f"products.{product.product}", "no cost.currency", None
            elif product.cost.currency != (first.cost.currency or product.cost.currency):
                read = f"{product.cost.currency}, and {first.product} is in {first.cost.currency}"
                yield f"products.{product.product}", read, None

    def hours(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
        for product in products:
            first = products[0]
            rate, usual = product.cost.engineer_rate, first.cost.engineer_rate
            if rate is None:
                yield f"products.{product.product}", "no cost.engineer-rate", None
            elif usual is not None and (rate.nominal, rate_currency(product)) != (
                usual.nominal,
                rate_currency(first),
            ):
                read = f"{rate.text}, and {first.product} says {usual.text}"
                yield f"products.{product.product}", read, None

    def exchange(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
        seen: dict[str, tuple[Product, float]] = {}
        for product in products:
            for currency, rate in product.cost.rates.items():
                other, usual = seen.setdefault(currency, (product, rate.nominal))
                if usual != rate.nominal:
                    read = f"{currency} at {rate.text}, and {other.product} has it at {usual:g}"
                    yield f"products.{product.product}", read, None

    def targets(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
        for member in family.products:
            if member.life_chance is not None and by_name[member.product].life_target is None:
                yield f"products.{member.product}.life-chance", "no life-target", None

    return (
        Rule("how many units are to be made", units),
        Rule("one currency for the whole family", currencies),
        Rule("one engineer's rate for the whole family", hours),
        Rule("one rate of exchange for the whole family", exchange),
        Rule("a product that states its life target", targets),
        *_OWN,
    )


def _any(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
    if not family.products:
        yield "products", "none", None


def _second(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
    for member in family.products:
        if member.second_source != "refused":
            for name in ("second-share", "porting"):
                if getattr(member, name.replace("-", "_")) is None:
                    yield f"products.{member.product}.{name}", "nothing", None


def _idle_second(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
    for member in family.products:
        if member.second_source == "refused":
            for name in ("second-share", "porting"):
                value = getattr(member, name.replace("-", "_"))
                if value is not None:
                    yield f"products.{member.product}.{name}", value.text, None


def _missed(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
    if family.supply is not None:
        for member in family.products:
            if member.missed_unit is None:
                yield f"products.{member.product}.missed-unit", "nothing", None


def _idle_missed(family: FamilyFile, _: Catalogue) -> Iterator[Breach]:
    if family.supply is None:
        for member in family.products:
            if member.missed_unit is not None:
                yield f"products.{member.product}.missed-unit", member.missed_unit.text, None
            if member.second_source == "allowed":
                yield f"products.{member.product}.second-source", '"allowed"', None


def _makers(family: FamilyFile, catalogue: Catalogue) -> Iterator[Breach]:
    known = {part.maker for part in catalogue.parts.values() if part.maker is not None}
    for maker in family.supply.makers if family.supply is not None else ():
        if maker not in known:
            yield f"supply.makers.{maker}", f'"{maker}"', nearest(maker, tuple(sorted(known)))


def _stock(family: FamilyFile, catalogue: Catalogue) -> Iterator[Breach]:
    known = [identity for records in catalogue.kinds.values() for identity in records]
    for name in family.stock:
        if name not in known:
            yield f"stock.{name}", f'"{name}"', nearest(name, known)


_OWN = (
    Rule("a product at least", _any),
    Rule("this figure, for a second part", _second),
    Rule("second-source allowed or required: without it this changes nothing", _idle_second),
    Rule("what a unit costs that cannot be delivered, for supply", _missed),
    Rule("supply: without it this changes nothing", _idle_missed),
    Rule("a maker of the catalogue's parts", _makers, unknown=True),
    Rule("the id of a part, cell, converter or add-on", _stock, unknown=True),
)
