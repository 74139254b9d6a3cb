"""A cache of catalogues that have been read and checked, so that the next run need not parse.

An entry is keyed by a digest of every file's bytes and of the code that reads them, so an edit of
either is another entry; no clock is asked. What else takes long and rests on few figures is kept
beside them in the same way, by those figures and the code. It is JSON behind a digest of itself and
its key, never a format that can run code, in a folder of its own that only the user can read, and
written atomically. It counts where it is the user's own and has the records that the files are of.
Whatever goes wrong with it, an unwritable folder or a damaged entry, the files are read as if there
were no cache. Nothing but entries is ever removed.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import hashlib
import json
import os
import re
import stat
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from advisor.catalogue import schema_charge, schema_parts, schema_product, schema_supply
from advisor.catalogue.curves import Curve
from advisor.catalogue.records import KERNELS
from advisor.files import Staged
from advisor.quantities import Quantity

KEPT = 8  # entries of a kind where no more are asked for; older ones go
LARGEST = 1 << 28  # bytes of an entry; 2,000 parts have 10 million
OWN = "part-advisor"  # the folder's own name
NAME = "catalogue-"  # what the name of an entry of a catalogue begins with

Records = dict[str, dict[str, Any]]


def folder() -> Path | None:
    """The folder of the entries and of nothing else; None where the user has no such place.

    It lies in ADVISOR_CACHE_DIR, else in the platform's own place for caches.
    """
    chosen = os.environ.get("ADVISOR_CACHE_DIR")
    if chosen:
        return Path(chosen) / OWN
    # relative paths are none, by the XDG Base Directory Specification 0.8
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        base = os.environ.get(name)
        if base and os.path.isabs(base):
            return Path(base) / OWN
    home = os.path.expanduser("~")
    return Path(home, ".cache", OWN) if os.path.isabs(home) else None


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


def load(key: str, expected: Iterable[tuple[str, str]]) -> Records | None:
    """The records of a key, by kind and id; None where there is no sound entry.

    Parameters
    ----------
    expected : (kind of record, id) of the sources: an entry is a hint that they have to confirm.
        All kernels go by one id.
    """
    try:
        body = entry(NAME, key)
        if body is None:
            return None
        found = _decoded(json.loads(body))
    except Exception:
        # a cache that cannot be used is no cache; the files will tell what is wrong, if anything
        return None
    wanted: dict[str, set[str]] = {kind: set() for kind in found}
    for kind, identity in expected:
        if kind != KERNELS:
            wanted.setdefault(kind, set()).add(identity)
    wanted[KERNELS] = set(found.get(KERNELS, ()))
    return found if {kind: set(group) for kind, group in found.items()} == wanted else None


def save(key: str, records: Mapping[str, Mapping[str, Any]]) -> None:
    """Keep the records of a key; does nothing where that is not possible."""
    keep(NAME, key, json.dumps(_encoded(records), ensure_ascii=False, separators=(",", ":")))


def entry(kind: str, key: str) -> bytes | None:
    """What is kept by a key (hexadecimal) of a kind, by what its name begins with; None where there
    is no sound entry."""
    try:
        place = folder()
        if place is None or not _private(place):
            return None
        head, _, body = _bytes(place / f"{kind}{key}.json").partition(b"\n")
    except (OSError, ValueError):
        return None
    return body if _seal(key, body) == head else None


def keep(kind: str, key: str, text: str, kept: int = KEPT) -> None:
    """Keep a text by a key of a kind, of which so many are kept; does nothing where that is not
    possible."""
    with contextlib.suppress(OSError, ValueError):
        place = folder()
        if place is None:
            return
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _private(place):
            return
        made = place / f"{kind}{key}.json"
        # a pipe or a folder of that name is not ours to replace
        if os.path.lexists(made) and not stat.S_ISREG(os.lstat(made).st_mode):
            return
        body = text.encode()
        with Staged(made, _seal(key, body) + b"\n" + body, private=True) as staged:
            staged.put()
        _prune(place, kind, kept)


def _seal(key: str, body: bytes) -> bytes:
    """Digest of an entry with its key, so that one under another's name is none."""
    return hashlib.sha256(key.encode() + b"\n" + body).hexdigest().encode()


def _private(place: Path) -> bool:
    """Whether a folder is one's own and nobody else may write there."""
    found = os.lstat(place)
    return stat.S_ISDIR(found.st_mode) and _own(found)


def _own(found: os.stat_result) -> bool:
    if not hasattr(os, "geteuid"):
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & 0o022


def _bytes(path: Path) -> bytes:
    """The bytes of an entry.

    Raises
    ------
    OSError
        For what is no plain file of one's own; a pipe is not waited for.
    """
    flags = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    descriptor = os.open(path, os.O_RDONLY | flags | getattr(os, "O_BINARY", 0))
    with open(descriptor, "rb") as file:
        found = os.fstat(descriptor)
        if not stat.S_ISREG(found.st_mode) or not _own(found) or found.st_size > LARGEST:
            raise OSError("no entry of one's own")
        return file.read(LARGEST)


def _prune(place: Path, kind: str, kept: int) -> None:
    """Remove the oldest entries of a kind; whatever else lies there is left alone."""
    ours = re.compile(re.escape(kind) + r"[0-9a-f]{64}\.json")
    entries = []
    with os.scandir(place) as found:
        for one in found:
            if ours.fullmatch(one.name) and one.is_file(follow_symlinks=False):
                entries.append((one.stat(follow_symlinks=False).st_mtime, one.name))
    for _, name in sorted(entries)[:-kept]:
        (place / name).unlink(missing_ok=True)


# What is not a plain JSON value is a list that begins with a tag: a quantity by its place in the
# table of distinct quantities, a tuple, a mapping, a date, a record by its place among the classes.
QUANTITY, TUPLE, MAPPING, DATE, RECORD = range(5)


@cache
def _classes() -> tuple[type[Any], ...]:
    found: dict[str, type[Any]] = {"Curve": Curve}
    for module in (schema_parts, schema_charge, schema_supply, schema_product):
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
    setters = [getattr(cls, name).__set__ for name in names]  # the slots' own descriptors

    def make(values: list[Any]) -> Any:
        made = object.__new__(cls)
        for put, value in zip(setters, values, strict=True):
            put(made, value)
        return made

    return make
