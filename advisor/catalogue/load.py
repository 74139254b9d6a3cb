"""From folders and files to a catalogue and a product, every fault of the run at once.

A catalogue is one or more folders laid over each other: a later folder adds to an earlier one or
takes the place of what bears the same id. Changes (`--set PATH=VALUE`) are laid over the documents
before they are read, so that a changed figure is checked as a written one is.
"""

from __future__ import annotations

import os
from collections import ChainMap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from yaml.nodes import ScalarNode

from advisor.catalogue import cache, rules
from advisor.catalogue.fields import MapOf, Record, read_record
from advisor.catalogue.kinds import Read, Reading
from advisor.catalogue.places import catalogue_folder, find_product
from advisor.catalogue.records import KERNELS, Catalogue, refilled
from advisor.catalogue.run import Run, value_of
from advisor.catalogue.schema_parts import Kernel, Part
from advisor.catalogue.schema_product import Product
from advisor.catalogue.schema_supply import AddOn, Cell, Converter
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog, Place, nearest
from advisor.names import Named, paths_of, texts_of
from advisor.source import Document, collector_paused, place_of, read_bytes, read_file, read_text

FOLDERS: Mapping[str, tuple[str, type[Any]]] = {
    "parts": ("part", Part),
    "cells": ("cell", Cell),
    "converters": ("converter", Converter),
    "addons": ("addon", AddOn),
}


T = TypeVar("T")


def _files(folder: Path, log: FaultLog) -> Iterator[tuple[str, Path]]:
    """(kind of record, path) of every file of a catalogue folder, in order of name."""
    if not os.path.isdir(folder):
        log.add(
            Fault(
                str(folder),
                "a file" if os.path.exists(folder) else "nothing there",
                f"a catalogue folder with {', '.join(FOLDERS)} and {KERNELS}.yaml",
            )
        )
        return
    known = {*FOLDERS, f"{KERNELS}.yaml"}
    found, before = False, len(log.faults)
    for entry in _inside(folder, log):
        if entry.name.startswith((".", "_")):
            continue
        if entry.name == f"{KERNELS}.yaml":
            found = True
            yield KERNELS, entry
        elif entry.name in FOLDERS and os.path.isdir(entry):
            found = True
            for path in _inside(entry, log):
                if path.name.startswith("."):
                    continue
                if path.suffix != ".yaml":
                    log.add(Fault(str(path), f'"{path.name}"', "a file ID.yaml"))
                    continue
                yield entry.name, path
        elif entry.suffix in (".yaml", ".yml") or os.path.isdir(entry):
            log.add(
                Fault(
                    str(entry),
                    f'"{entry.name}"',
                    "one of " + ", ".join(sorted(known)),
                    nearest=nearest(entry.name, known),
                )
            )
    if not found and len(log.faults) == before:
        log.add(Fault(str(folder), "an empty folder", f"{', '.join(FOLDERS)}, {KERNELS}.yaml"))


def _inside(folder: Path, log: FaultLog) -> list[Path]:
    """What a folder holds, in order of name; nothing after noting why it cannot be read."""
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        log.add(Fault(str(folder), str(error.strerror), "a folder that can be read"))
        return []


@dataclass(frozen=True, slots=True)
class _File:
    """A file of the catalogue: what kind of record it holds, its id, name and bytes."""

    kind: str
    identity: str
    shown: str
    data: bytes


class _Documents(Mapping[str, Document]):
    """The catalogue's documents by id, each parsed when it is first asked for."""

    def __init__(self, run: Run, files: Mapping[str, _File]) -> None:
        self._run, self._files = run, files
        self._read: dict[str, Document | None] = {}

    def find(self, identity: str) -> Document | None:
        """The document with the run's changes, or None after noting why it cannot be read."""
        if identity not in self._read:
            file = self._files[identity]
            self._read[identity] = None
            try:
                document = read_text(file.data, file.shown)
            except FaultError as error:
                self._run.note(error)
            else:
                self._read[identity] = self._run.changed(identity, document)
        return self._read[identity]

    def __getitem__(self, identity: str) -> Document:
        found = self.find(identity)
        if found is None:
            raise KeyError(identity)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._files)

    def __len__(self) -> int:
        return len(self._files)


def _sources(run: Run, folders: Sequence[Path]) -> list[_File]:
    """Every file that counts, by kind and id; all of several kernels.yaml, later ones last."""
    latest: dict[tuple[str, str, int], _File] = {}
    for layer, folder in enumerate(folders):
        for kind, path in _files(folder, run.log):
            shown = str(path)
            try:
                data = read_bytes(path, shown)
            except FaultError as error:
                run.note(error)
                continue
            # kernels of several folders are laid over each other one by one
            where = layer if kind == KERNELS else 0
            latest[kind, path.stem, where] = _File(kind, path.stem, shown, data)
    return [latest[name] for name in sorted(latest)]


def read_catalogue(run: Run, folders: Sequence[Path], cached: bool) -> Catalogue:
    """The catalogue of a run, checked; see `load_catalogue`."""
    files = _sources(run, folders)
    owner: dict[str, _File] = {}
    for file in files:
        other = owner.get(file.identity)
        if other is not None and other.kind != file.kind:
            run.log.add(
                Fault(
                    file.identity,
                    f'"{file.identity}" in {other.kind} and in {file.kind}',
                    "an id that only one file of the catalogue bears",
                    Place(file.shown, 1, 1),
                )
            )
        owner[file.identity] = file
    documents = _Documents(run, owner)
    # a change to a kernel concerns every part, so such a run reads everything
    cached = cached and not run.log.faults and KERNELS not in run.changes
    key = cache.key_of((f.kind, f.identity, f.data) for f in files) if cached else ""
    found = cache.load(key, [(f.kind, f.identity) for f in files]) if cached else None
    if found is not None:
        return _from_cache(run, found, documents, owner)
    read: dict[str, dict[str, Any]] = {kind: {} for kind in (*FOLDERS, KERNELS)}
    for file in files:
        if file.kind == KERNELS:
            read[KERNELS] |= _kernels(run, file, documents if file is owner[KERNELS] else None)
        else:
            _read_into(run, read, file, documents)
    catalogue = Catalogue(documents=documents, **read)  # type: ignore[arg-type]
    rules.check_catalogue(catalogue, run.log)
    if cached and not run.log.faults and not any(i in run.changes for i in owner):
        cache.save(key, read)
    return catalogue


def _read_into(
    run: Run, read: dict[str, dict[str, Any]], file: _File, documents: _Documents
) -> None:
    name, cls = FOLDERS[file.kind]
    document = documents.find(file.identity)
    value = None if document is None else run.record(name, cls, file.identity, document)
    if value is not None:
        read[file.kind][file.identity] = value


def _from_cache(
    run: Run,
    read: dict[str, dict[str, Any]],
    documents: _Documents,
    owner: Mapping[str, _File],
) -> Catalogue:
    """The records of the cache, with the changed documents read and checked anew."""
    changed = [owner[i] for i in run.changes if i in owner]
    for file in changed:
        _read_into(run, read, file, documents)
    catalogue = Catalogue(documents=documents, **read)  # type: ignore[arg-type]
    only = {f.identity for f in changed}
    if only:
        rules.check_catalogue(catalogue, run.log, only)
    return catalogue


def _kernels(run: Run, file: _File, documents: _Documents | None) -> dict[str, Kernel]:
    """The kernels of one file; changes apply to the last one."""
    document: Document | None
    if documents is not None:
        document = documents.find(KERNELS)
    else:
        try:
            document = read_text(file.data, file.shown)
        except FaultError as error:
            run.note(error)
            document = None
    if document is None:
        return {}
    reading = Reading(document.file, KERNELS, run.log)
    return dict(MapOf(Record(Kernel), "kernel").read(document.root, "", reading) or {})


def _product(
    run: Run, document: Document, identity: str | None, catalogue: Catalogue
) -> Product | None:
    node = value_of(document.root, "product")
    name = str(identity or (node.value if isinstance(node, ScalarNode) else "product"))
    document = run.changed(name, document)
    # one that is named otherwise within has a fault of its own for it
    run.done.update((name, node.value) if isinstance(node, ScalarNode) else (name,))
    value: Product | None = run.record("product", Product, name, document)
    if value is not None:
        if name in catalogue.documents:
            run.log.add(
                Fault(
                    f"{name}:product",
                    f'"{name}", which a file of the catalogue bears too',
                    "an id of its own",
                    place_of(document.root, document.file),
                )
            )
        rules.check_product(value, document, catalogue, run.log)
        run.products[name] = document
    return value


def read_document(
    cls: type[T], path: Path, text: str | None = None, *, spelled: bool = False
) -> tuple[T, Document]:
    """A file that stands by itself, such as notes or a record, and its document.

    Parameters
    ----------
    text : what is about to be the file's. spelled : as for `read_text`.

    Raises
    ------
    FaultError
        With every fault found.
    """
    shown = str(path)
    document = (
        read_file(path, shown, spelled=spelled)
        if text is None
        else read_text(text, shown, spelled=spelled)
    )
    log = FaultLog()
    found = read_record(cls, document.root, "", Reading(str(path), path.stem, log))
    log.raise_if_any()
    return found, document


def load_catalogue(
    folders: Named | Sequence[Named] = (),
    assignments: str | Sequence[str] = (),
    *,
    cached: bool = False,
) -> Catalogue:
    """Read and check a catalogue.

    Parameters
    ----------
    folders : catalogue folders, one or several, later ones over earlier ones; the shipped one when
    empty. assignments : changes, each `ID:dotted.path=VALUE`.
    cached : whether the user's cache may be read and written.

    Raises
    ------
    FaultError
        With every fault found.
    """
    with collector_paused():
        run = Run(texts_of(assignments))
        catalogue = read_catalogue(run, paths_of(folders) or [catalogue_folder()], cached)
        run.leftover(tuple(catalogue.documents))
        run.log.raise_if_any()
        return catalogue


def with_changes(
    catalogue: Catalogue, product: Product, assignments: Sequence[str], seen: Read | None = None
) -> tuple[Catalogue, Product]:
    """A catalogue and a product that are loaded already, with changes laid over and checked.

    Parameters
    ----------
    assignments : changes, each `ID:dotted.path=VALUE`. seen : what was read of these files under
        other changes, and is under these.

    Raises
    ------
    FaultError
        With every fault found.
    """
    run = Run(assignments)
    documents: dict[str, Document] = {}
    read = {kind: dict(getattr(catalogue, kind)) for kind in FOLDERS}
    for kind, (name, cls) in FOLDERS.items():
        for identity in run.changes:
            if identity in read[kind]:
                document = run.changed(identity, catalogue.documents[identity])
                documents[identity] = document
                value = run.record(name, cls, identity, document, seen)
                if value is not None:
                    known = read[kind][identity]
                    read[kind][identity] = refilled(value, known) if kind == "parts" else value
    before = catalogue.documents
    catalogue = replace(catalogue, documents=ChainMap(documents, before), **read)  # type: ignore[arg-type]
    rules.check_catalogue(catalogue, run.log, tuple(documents))
    document = before[product.product]
    if product.product in run.changes:
        document = run.changed(product.product, document)
        product = run.record("product", Product, product.product, document, seen) or product
    documents[product.product] = document
    rules.check_product(product, document, catalogue, run.log)
    run.leftover((*before,))
    run.log.raise_if_any()
    return catalogue, product


def load_product(
    source: Named | bytes, catalogue: Catalogue, assignments: str | Sequence[str] = ()
) -> Product:
    """Read and check a product against a catalogue that is loaded already.

    Parameters
    ----------
    source : the product's file, a shipped product's id, or its YAML as bytes.
    assignments : changes to the product.

    Raises
    ------
    FaultError
        With every fault found.
    """
    with collector_paused():
        run = Run(texts_of(assignments))
        where = source if isinstance(source, bytes) else find_product(source)
        product = read_product(run, where, catalogue)
        if product is not None:
            run.leftover((*catalogue.documents, *run.products))
        run.log.raise_if_any()
        assert product is not None
        return product


def load_run(
    folders: Sequence[Path],
    source: Path | bytes,
    assignments: Sequence[str] = (),
    *,
    cached: bool = False,
) -> tuple[Catalogue, Product]:
    """Read and check a catalogue and a product together, all faults of the run at once.

    Parameters are those of `load_catalogue`, and `source` the product's file or its YAML as bytes.

    Raises
    ------
    FaultError
        With every fault found in any file or change.
    """
    with collector_paused():
        run = Run(assignments)
        catalogue = read_catalogue(run, folders, cached)
        product = read_product(run, source, catalogue)
        if product is not None or not isinstance(source, bytes):
            run.leftover((*catalogue.documents, *run.products))
        run.log.raise_if_any()
        assert product is not None
        documents = ChainMap(run.products, catalogue.documents)  # type: ignore[arg-type]
        return replace(catalogue, documents=documents), product


def faults_beside(
    folders: Sequence[Path],
    products: Sequence[str],
    assignments: Sequence[str],
    error: FaultError,
    *,
    cached: bool = False,
) -> FaultError:
    """Every fault of a run whose product is not there, which `error` tells: of the catalogue and of
    changes too, but to `products`, one of which is meant."""
    run = Run(assignments)
    run.note(error)
    with collector_paused():
        catalogue = read_catalogue(run, folders, cached)
        run.done.update(products)
        run.leftover(tuple(catalogue.documents))
    return FaultError(run.log.faults)


def read_product(run: Run, source: Path | bytes, catalogue: Catalogue) -> Product | None:
    """A product of a run, checked against its catalogue; None after noting why it cannot be."""
    if isinstance(source, bytes):
        try:
            document = read_text(source, "<stdin>")
        except FaultError as error:
            run.note(error)
            return None
        return _product(run, document, None, catalogue)
    run.done.add(source.stem)
    found = run.document(source, str(source))
    return None if found is None else _product(run, found, source.stem, catalogue)
