"""A cache of catalogues that have been read and checked, so that the next run need not parse.

An entry is keyed by a digest of every file's bytes and of the code that reads them, so an edit of
either is another entry; no clock is asked. It is JSON behind a digest of itself, never a format
that can run code, in a folder only the user can read, and written atomically. Whatever goes wrong
with it, an unwritable folder or a damaged entry, the files are read as if there were no cache.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from advisor.catalogue import schema_parts, schema_product, schema_supply
from advisor.catalogue.curves import Curve
from advisor.quantities import Quantity

KEPT = 8  # entries; older ones go

Records = dict[str, dict[str, Any]]


def folder() -> Path:
    """The user's cache folder: ADVISOR_CACHE_DIR, else the platform's own place."""
    chosen = os.environ.get("ADVISOR_CACHE_DIR")
    if chosen:
        return Path(chosen)
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return (Path(base) if base else Path.home() / ".cache") / "part-advisor"


@cache
def _code() -> bytes:
    """Digest of the code that turns files into records: its own bytes, so no version to forget."""
    digest = hashlib.sha256()
    here = Path(__file__).parent
    for path in sorted([*here.glob("*.py"), *here.parent.glob("*.py")]):
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.digest()


def key_of(files: Iterable[tuple[str, str, bytes]]) -> str:
    """Key of a catalogue.

    Parameters
    ----------
    files : (kind of record, id, bytes), in the order in which they are laid over each other.
    """
    digest = hashlib.sha256(_code())
    for kind, identity, data in files:
        head = f"{kind}\0{identity}\0{len(data)}\0".encode()
        digest.update(head + data)
    return digest.hexdigest()


def load(key: str) -> Records | None:
    """The records of a key, by kind and id; None where there is no sound entry."""
    try:
        data = (folder() / f"{key}.json").read_bytes()
        head, _, body = data.partition(b"\n")
        if hashlib.sha256(body).hexdigest().encode() != head:
            return None
        return _decoded(json.loads(body))
    except Exception:
        # a cache that cannot be used is no cache; the files will tell what is wrong, if anything
        return None


def save(key: str, records: Mapping[str, Mapping[str, Any]]) -> None:
    """Keep the records of a key; does nothing where that is not possible."""
    with contextlib.suppress(OSError):
        place = folder()
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        body = json.dumps(_encoded(records), ensure_ascii=False, separators=(",", ":")).encode()
        # mkstemp makes the file readable by its owner alone
        descriptor, name = tempfile.mkstemp(dir=place, prefix=".", suffix=".part")
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
            os.replace(name, place / f"{key}.json")
        except OSError:
            os.unlink(name)
            raise
        _prune(place)


def _prune(place: Path) -> None:
    entries = sorted(place.glob("*.json"), key=lambda p: (p.stat().st_mtime, p.name))
    for path in entries[:-KEPT]:
        path.unlink(missing_ok=True)


# What is not a plain JSON value is a list that begins with a tag: a quantity by its place in the
# table of distinct quantities, a tuple, a mapping, a date, a record by its place among the classes.
QUANTITY, TUPLE, MAPPING, DATE, RECORD = range(5)


@cache
def _classes() -> tuple[type[Any], ...]:
    found: dict[str, type[Any]] = {"Curve": Curve}
    for module in (schema_parts, schema_supply, schema_product):
        for name, value in vars(module).items():
            if isinstance(value, type) and dataclasses.is_dataclass(value):
                found[name] = value
    return tuple(found[name] for name in sorted(found))


def _encoded(records: Mapping[str, Mapping[str, Any]]) -> Any:
    classes = {cls: i for i, cls in enumerate(_classes())}
    names = {cls: [f.name for f in dataclasses.fields(cls)] for cls in classes}
    table: dict[Quantity, int] = {}

    def one(value: Any) -> Any:
        if value is None or isinstance(value, (str, bool, int, float)):
            return value
        if isinstance(value, Quantity):
            return [QUANTITY, table.setdefault(value, len(table))]
        if isinstance(value, tuple):
            return [TUPLE, *map(one, value)]
        if isinstance(value, Mapping):
            return [MAPPING, *(x for k, v in value.items() for x in (k, one(v)))]
        if isinstance(value, datetime.date):
            return [DATE, value.isoformat()]
        cls = type(value)
        return [RECORD, classes[cls], *(one(getattr(value, name)) for name in names[cls])]

    body = {kind: {k: one(v) for k, v in group.items()} for kind, group in records.items()}
    fields = [f.name for f in dataclasses.fields(Quantity)]
    return {"quantities": [[getattr(q, f) for f in fields] for q in table], "records": body}


def _decoded(document: Any) -> Records:
    makers = [_maker(cls) for cls in _classes()]
    quantities = []
    for nominal, dimension, u, kind, shape, text, unit in document["quantities"]:
        quantities.append(
            Quantity(
                nominal=nominal,
                dimension=dimension,
                u=u,
                kind=kind,
                shape=tuple(shape),
                text=text,
                unit_text=unit,
            )
        )

    def one(value: Any) -> Any:
        if type(value) is not list:
            return value
        tag = value[0]
        if tag == QUANTITY:
            return quantities[value[1]]
        if tag == RECORD:
            return makers[value[1]]([v if type(v) is not list else one(v) for v in value[2:]])
        if tag == MAPPING:
            return {
                value[i]: one(value[i + 1]) if type(value[i + 1]) is list else value[i + 1]
                for i in range(1, len(value), 2)
            }
        if tag == TUPLE:
            return tuple([one(v) for v in value[1:]])
        return datetime.date.fromisoformat(value[1])

    return {
        kind: {k: one(v) for k, v in group.items()} for kind, group in document["records"].items()
    }


def _maker(cls: type[Any]) -> Callable[[list[Any]], Any]:
    """Make a record from its field values in order."""
    names = [f.name for f in dataclasses.fields(cls)]
    setters = [cls.__dict__[name].__set__ for name in names]  # the slots' own descriptors

    def make(values: list[Any]) -> Any:
        made = object.__new__(cls)
        for put, value in zip(setters, values, strict=True):
            put(made, value)
        return made

    return make
