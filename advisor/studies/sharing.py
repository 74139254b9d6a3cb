"""`catalog pack` and `catalog verify`: a catalogue as a Data Package that can be held to its word.

The descriptor tells every file's SHA-256; a signature is over the descriptor's canonical form, so
that it holds for every file however descriptor and files were carried.
"""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.catalogue.load import FOLDERS, load_catalogue
from advisor.catalogue.records import KERNELS
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog
from advisor.intake import signing
from advisor.intake.package import (
    DESCRIPTOR,
    EXPRESSION,
    PROFILE,
    SIGNATURE,
    TABLE,
    check_own,
    contributor,
    licences,
    listed,
    resource,
    text_of,
    words,
)
from advisor.intake.packed import Pack, archive, digest_of, folder, in_archive, opened, overlaid
from advisor.intake.plain_json import Json, canonical, read_json
from advisor.studies.inventory import inventory
from advisor.studies.results import frame, plain
from advisor.texts import spreadsheet_cell, visible

if TYPE_CHECKING:
    import pandas as pd

SUMMARY = "parts.csv"
# texts that go with a catalogue, as people name them
_TEXTS = re.compile(r"(?:readme|licen[cs]e|copying|notice|changelog)(?:\.(?:md|txt))?", re.I)
# columns of the summary: Table Schema type and what it is
_COLUMNS = {
    "part": ("string", "the part's id"),
    "maker": ("string", "who makes it"),
    "invented": ("boolean", "whether it is demonstration data"),
    "lifecycle": ("string", "state of supply"),
    "flash_b": ("number", "program memory, byte"),
    "ram_b": ("number", "data memory, byte"),
    "kernels": ("integer", "kernels that it was measured with"),
    "sleep_a": ("number", "lowest sleep current at the coldest end of its curve, ampere"),
    "price": ("number", "of a piece at the smallest quantity, in `currency`"),
    "currency": ("string", "currency of the price"),
    "toolchain": ("number", "maturity of the toolchain, 0 to 100"),
    "setup_h": ("number", "box to first working program, hours"),
    "summary": ("string", "the part in a line"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is said of a pack; None keeps what a standing descriptor says."""

    name: str | None = None
    title: str | None = None
    release: str | None = None
    license: str | None = None
    contributors: tuple[str, ...] | None = None
    date: str | None = None


@dataclass(frozen=True, slots=True)
class FileRow:
    """A file of a pack: what its descriptor tells of it, and what it is."""

    path: str
    state: str
    """`unchanged`, `changed`, `missing` or `additional`"""
    bytes: int | None
    """[byte] as it is; null where it is missing"""
    told: str | None
    """the hash that the descriptor tells; null for an additional file"""
    found: str | None
    """its hash as it is, where it was worth reading"""


@dataclass(frozen=True, slots=True)
class Verified:
    """A pack held against its descriptor."""

    sound: bool
    """no file changed, missing or additional, and the signature that was asked for fits"""
    name: str | None
    title: str | None
    version: str | None
    created: str | None
    license: str
    contributors: tuple[str, ...]
    signature: str
    """`none`, `unchecked` (no key was given), `fits` or `does not fit`"""
    key: str | None
    """SHA-256 of the public key that it was held against"""
    files: tuple[FileRow, ...]
    contents: Mapping[str, bytes]
    """the files themselves, where they were asked for and all is sound"""

    def document(self) -> dict[str, Any]:
        """For JSON: all but the files themselves."""
        out: dict[str, Any] = plain(replace(self, contents={}))
        del out["contents"]
        return out

    def rows(self) -> list[dict[str, Any]]:
        """A row a file."""
        return [plain(row) for row in self.files]

    def to_frame(self) -> pd.DataFrame:
        """A row a file, as a data frame."""
        return frame(self.rows())


@dataclass(frozen=True, slots=True)
class Packed:
    """A catalogue's pack, made and read back."""

    verified: Verified
    files: Mapping[str, bytes]
    """what is written into the folder: the summary, the descriptor, its signature"""
    archive: bytes | None
    """the whole pack as one file, where that was asked for"""
    notes: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """For JSON."""
        return {**self.verified.document(), "notes": list(self.notes)}


def pack(
    path: Path,
    about: About,
    *,
    base: Sequence[Path] = (),
    key: Path | None = None,
    as_archive: bool = False,
) -> Packed:
    """Make a Data Package of a catalogue folder.

    Parameters
    ----------
    base : catalogues that it is laid over when it is used, such as one with the kernels.
    key : file of a private key that signs it.

    Raises
    ------
    FaultError
        For a catalogue with faults, a file that belongs to none, and for what a descriptor lacks.
    """
    held = folder(path)
    standing = read_json(held.read(DESCRIPTOR), str(path / DESCRIPTOR)) if _has(held) else {}
    log = FaultLog()
    if not isinstance(standing, dict):
        raise FaultError((Fault(str(path / DESCRIPTOR), "no mapping", "a descriptor"),))
    names = [name for name in held.sizes if _belongs(name, standing, str(path), log)]
    document = _document(path, standing, about, log)
    log.raise_if_any()
    catalogue = load_catalogue([*base, path])
    own = {name.removeprefix("parts/").removesuffix(".yaml") for name in names}
    rows = [row for row in inventory(catalogue).rows() if row["part"] in own]
    made: dict[str, bytes] = {}
    document["resources"] = [resource(n, held.sizes[n], held.digest(n)) for n in names]
    if rows:
        made[SUMMARY] = _summary(rows)
        document["resources"].append(_table(made[SUMMARY]))
    made[DESCRIPTOR] = text_of(document)
    if key is not None:
        private = signing.private_key(key, "--sign")
        message = canonical(read_json(made[DESCRIPTOR], DESCRIPTOR))
        made[SIGNATURE] = signing.sign(private, message)
    elif SIGNATURE in held.sizes and made[DESCRIPTOR] != held.read(DESCRIPTOR):
        read = f'"{SIGNATURE}", of what the folder was before'
        raise FaultError((Fault(str(path), read, "a new one by --sign, or none: remove it"),))
    kept = (*names, *((SIGNATURE,) if SIGNATURE in held.sizes else ()))
    whole = overlaid(replace(held, sizes={n: held.sizes[n] for n in kept}), made)
    packed = archive({n: whole.read(n) for n in whole.sizes}) if as_archive else None
    # what is about to be written is read as whoever gets it will
    back = whole if packed is None else in_archive(io.BytesIO(packed), str(path))
    verified = _held(back, None if key is None else private.public_key())
    if not verified.sound:
        changed = ", ".join(row.path for row in verified.files if row.state != "unchanged")
        raise FaultError((Fault(str(path), f"{changed}: changed meanwhile", "a folder at rest"),))
    notes = () if document.get("created") else ("no date is told: --date or SOURCE_DATE_EPOCH",)
    return Packed(verified, made, packed, notes)


def _has(held: Pack) -> bool:
    return DESCRIPTOR in held.sizes


def _belongs(name: str, standing: Json, shown: str, log: FaultLog) -> bool:
    """Whether a file is packed as it is; one that belongs to no pack is noted."""
    if name in (DESCRIPTOR, SIGNATURE):
        return False
    if name == SUMMARY:
        told = standing.get("resources")
        entries = told if isinstance(told, list) else []
        if any(isinstance(e, dict) and e.get("path") == name for e in entries):
            return False
    kind, _, inside = name.rpartition("/")
    of_catalogue = kind in FOLDERS and inside.endswith(".yaml")
    if of_catalogue or name == f"{KERNELS}.yaml" or (not kind and _TEXTS.fullmatch(name)):
        return True
    expected = f"{KERNELS}.yaml, {', '.join(FOLDERS)}, a README, a LICENSE"
    log.add(Fault(f"{shown}/{name}", "a file that belongs to no catalogue", expected))
    return False


def _document(path: Path, standing: Json, about: About, log: FaultLog) -> dict[str, Json]:
    """The descriptor but for its resources: what stood, and what is said anew over it."""
    given: dict[str, Json] = {
        "$schema": standing.get("$schema", PROFILE),
        "name": about.name or standing.get("name") or os.path.basename(os.path.realpath(path)),
        "title": about.title,
        "version": about.release,
        "created": _created(about.date, log),
    }
    given = {name: value for name, value in given.items() if value is not None}
    try:
        if about.license is not None:
            standing = {k: v for k, v in standing.items() if k != EXPRESSION}
            given |= licences(about.license, "--license")
        if about.contributors is not None:
            found = [contributor(text, "--contributor") for text in about.contributors]
            given["contributors"] = [one.document() for one in found]
    except FaultError as error:
        for fault in error.faults:
            log.add(fault)
        given.setdefault("licenses", [{"name": "MIT"}])
    document = {**given, **standing, **given}
    document.pop("resources", None)
    check_own(document, DESCRIPTOR if standing else "no descriptor stands yet", log)
    return document


def _created(date: str | None, log: FaultLog) -> str | None:
    """The moment that is told: of the call, or of the environment, for builds that can be repeated
    (reproducible-builds.org, SOURCE_DATE_EPOCH)."""
    if date is not None:
        try:
            return f"{datetime.date.fromisoformat(date).isoformat()}T00:00:00Z"
        except ValueError:
            log.add(Fault("--date", f'"{date}"', "a day such as 2026-11-26"))
            return None
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if not epoch:
        return None
    if not re.fullmatch(r"[0-9]{1,11}", epoch):
        log.add(Fault("SOURCE_DATE_EPOCH", f'"{epoch}"', "whole seconds since 1970"))
        return None
    moment = datetime.datetime.fromtimestamp(int(epoch), datetime.UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def _summary(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """The parts as a table for whoever has no reader of catalogues."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for row in rows:
        writer.writerow([_cell(row[name]) for name in _COLUMNS])
    return out.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.12g}"
    return visible(spreadsheet_cell(value)) if isinstance(value, str) else str(value)


def _table(data: bytes) -> dict[str, Json]:
    fields = [{"name": n, "type": t, "description": d} for n, (t, d) in _COLUMNS.items()]
    return {
        **resource(SUMMARY, len(data), digest_of(data)),
        "type": "table",
        "schema": {
            "$schema": TABLE,
            "fields": fields,
            "primaryKey": ["part"],
            "missingValues": [""],
        },
    }


def verify(path: Path, *, key: Path | None = None, keep: bool = False) -> Verified:
    """Hold a pack, a folder or an archive, against its own descriptor.

    Parameters
    ----------
    key : file of the public key by which it must be signed. keep : whether the files are wanted.

    Raises
    ------
    FaultError
        For what cannot be read, or is none.
    """
    public = None if key is None else signing.public_key(key, "--key")
    with opened(path) as held:
        return _held(held, public, keep)


def _held(held: Pack, key: Any, keep: bool = False) -> Verified:
    if not _has(held):
        raise FaultError((Fault(held.shown, f"no {DESCRIPTOR}", "a Data Package"),))
    shown = f"{held.shown}/{DESCRIPTOR}"
    contents = {DESCRIPTOR: held.read(DESCRIPTOR)}
    document = read_json(contents[DESCRIPTOR], shown)
    told = {entry.path: entry for entry in listed(document, shown)}
    rows = []
    for name in sorted({*told, *held.sizes} - {DESCRIPTOR, SIGNATURE}):
        entry, size = told.get(name), held.sizes.get(name)
        # a file of another size is another, whatever its hash
        found = None
        if entry is not None and size == entry.bytes:
            if not keep:
                found = held.digest(name)
            else:
                contents[name] = held.read(name)
                # what is handed on is what was hashed, whatever becomes of the file meanwhile
                found = digest_of(contents[name])
        if entry is None:
            state = "additional"
        elif size is None:
            state = "missing"
        else:
            state = "unchanged" if found == entry.hash else "changed"
        of = None if entry is None else entry.hash
        rows.append(FileRow(path=name, state=state, bytes=size, told=of, found=found))
    signature = "none"
    if SIGNATURE in held.sizes:
        signature = "unchecked"
        contents[SIGNATURE] = held.read(SIGNATURE)
        if key is not None:
            text = signing.signature_of(contents[SIGNATURE], f"{held.shown}/{SIGNATURE}")
            fits = signing.fits(key, text, canonical(document))
            signature = "fits" if fits else "does not fit"
    sound = all(row.state == "unchanged" for row in rows) and (key is None or signature == "fits")
    about = words(document, ("name", "title", "version", "created"))
    return Verified(
        sound=sound,
        name=about["name"],
        title=about["title"],
        version=about["version"],
        created=about["created"],
        license=_licence_words(document),
        contributors=_contributor_words(document),
        signature=signature,
        key=None if key is None else signing.fingerprint(key),
        files=tuple(rows),
        contents=contents if keep and sound else {},
    )


def _licence_words(document: Json) -> str:
    expression = words(document, (EXPRESSION,))[EXPRESSION]
    if expression is not None:
        return expression
    entries = document.get("licenses")
    entries = entries if isinstance(entries, list) else []
    named = [words(e, ("name",))["name"] for e in entries]
    return ", ".join(name for name in named if name)


def _contributor_words(document: Json) -> tuple[str, ...]:
    """Roles and organisations; what another tool wrote of persons is not repeated."""
    entries = document.get("contributors")
    out = []
    for entry in entries if isinstance(entries, list) else ():
        if not isinstance(entry, dict) or {"email", "givenName", "familyName"} & entry.keys():
            continue
        told = entry.get("roles")
        roles = [r for r in (told if isinstance(told, list) else []) if isinstance(r, str)]
        title = words(entry, ("title", "organization"))
        name = title["title"] or title["organization"]
        out.append(": ".join(filter(None, (", ".join(roles), name))))
    return tuple(out)
