"""The descriptor of a shared catalogue: a Data Package, version 2 (datapackage.org).

Licences are SPDX expressions; the standard's `licenses` lists what an expression names, and
`licenseExpression`, a property of ours, tells how they go together where they are several.
Contributors are roles and organisations: what names a person is refused.
"""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog
from advisor.intake.packed import MOST_BYTES, MOST_FILES, unsafe
from advisor.intake.plain_json import Json

DESCRIPTOR, SIGNATURE = "datapackage.json", "datapackage.json.sig"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
TABLE = "https://datapackage.org/profiles/2.0/tableschema.json"
EXPRESSION = "licenseExpression"
# suffix to format and media type; YAML's is of RFC 9512, Markdown's of RFC 7763, CSV's of RFC 4180
_KINDS = {
    ".yaml": ("yaml", "application/yaml"),
    ".csv": ("csv", "text/csv"),
    ".md": ("md", "text/markdown"),
    ".txt": ("txt", "text/plain"),
    "": ("txt", "text/plain"),
}
_NAME = re.compile(r"[a-z0-9][a-z0-9._-]*")
# semantic or calendar versions (semver.org 2.0.0, 2; calver.org): numbers, then perhaps more
_VERSION = re.compile(r"[0-9]+(?:\.[0-9]+){1,3}(?:-[0-9A-Za-z.-]+)?(?:\+[0-9A-Za-z.-]+)?")
_HASH = re.compile(r"sha256:[0-9a-f]{64}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:Z|[+-][0-9:]{5})")
_ROLE = re.compile(r"[A-Za-z][A-Za-z0-9 -]*")
_ADDRESS = re.compile(r"@|://|www\.|[\\~]|(?:^|\s)\.{0,2}/\w")
_PATH = re.compile(r"https?://[^\s]+|[^./~\\:][^\\:]*")
_PERSONAL = ("email", "givenName", "familyName")
_LONGEST = 200  # characters of a title


@dataclass(frozen=True, slots=True)
class Listed:
    """A file as the descriptor tells it."""

    path: str
    bytes: int
    hash: str


@dataclass(frozen=True, slots=True)
class Contributor:
    """A contributor's organisation, where it is told, and its roles."""

    title: str | None
    roles: tuple[str, ...]

    def words(self) -> str:
        """`roles: organisation`."""
        return ", ".join(self.roles) + (f": {self.title}" if self.title else "")

    def document(self) -> Json:
        """As the standard has it."""
        return ({"title": self.title} if self.title else {}) | {"roles": list(self.roles)}


def contributor(text: str, option: str) -> Contributor:
    """A contributor from `ROLE[,ROLE…][=ORGANISATION]`.

    Raises
    ------
    FaultError
        For an address of any kind, and for what is no role.
    """
    roles, _, title = (piece.strip() for piece in text.partition("="))
    found = Contributor(title or None, tuple(r.strip() for r in roles.split(",")))
    why = _no_contributor(found.document())
    if why is not None:
        raise FaultError((Fault(option, f'"{text}": {why}', "ROLE[,ROLE…][=ORGANISATION]"),))
    return found


def _no_contributor(entry: Json) -> str | None:
    """Why an entry tells more than roles and an organisation, or less; None where it does not."""
    if not isinstance(entry, dict):
        return "no mapping"
    for name in entry:
        if name not in ("title", "organization", "roles"):
            return f'"{name}", personal or not of the standard'
    roles = entry.get("roles")
    if not isinstance(roles, list) or not roles:
        return "no roles"
    for role in roles:
        if not isinstance(role, str) or not _ROLE.fullmatch(role):
            return f'"{role}", which is no role'
    for name in ("title", "organization"):
        title = entry.get(name, "")
        if not isinstance(title, str) or len(title) > _LONGEST:
            return f"{name}, no text or too long a one"
        if _ADDRESS.search(title):
            return f'"{title}", an address or a path'
    return None


def licences(text: str, option: str) -> dict[str, Json]:
    """The descriptor's keys for a licence, as an SPDX expression (SPDX 2.3, annex D).

    Raises
    ------
    FaultError
        For what is no expression, and for an identifier that SPDX does not list.
    """
    expression = canonical_licence(text, option)
    words = re.findall(r"[^\s()]+", expression)
    names = [
        word
        for before, word in zip(["", *words], words, strict=False)
        if word not in ("AND", "OR", "WITH") and before != "WITH"
    ]
    listed: list[Json] = [_licence(name) for name in dict.fromkeys(names)]
    more = {EXPRESSION: expression} if names != [expression] else {}
    return {"licenses": listed, **more}


def _licence(name: str) -> Json:
    if name.startswith("LicenseRef-"):
        return {"name": name}
    bare = name.removesuffix("+")
    return {"name": bare, "path": f"https://spdx.org/licenses/{bare}.html"}


def canonical_licence(text: str, option: str) -> str:
    """An SPDX expression as SPDX spells it.

    Raises
    ------
    FaultError
        As for `licences`.
    """
    from packaging.licenses import InvalidLicenseExpression, canonicalize_license_expression

    try:
        return str(canonicalize_license_expression(text))
    except InvalidLicenseExpression:
        expected = "an SPDX licence expression, such as CC-BY-4.0, CC0-1.0 or LicenseRef-OWN"
        raise FaultError((Fault(option, f'"{text}"', expected),)) from None


def resource(path: str, size: int, digest: str) -> dict[str, Json]:
    """A file as a Data Resource."""
    suffix = PurePosixPath(path).suffix.lower()
    form, media = _KINDS.get(suffix, ("bin", "application/octet-stream"))
    name = path.removesuffix(".yaml").removesuffix(".csv").replace("/", ".")
    return {
        "name": re.sub(r"[^a-z0-9._-]", "-", name.lower()),
        "path": path,
        "format": form,
        "mediatype": media,
        "encoding": "utf-8",
        "bytes": size,
        "hash": digest,
    }


def text_of(document: Json) -> bytes:
    """The descriptor as it is written, for people; its canonical form is what is signed."""
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def check_own(document: Mapping[str, Json], source: str, log: FaultLog) -> None:
    """Note what a descriptor that is about to be written may not say, or lacks.

    Parameters
    ----------
    source : where its words are from, for faults.
    """

    def note(path: str, read: str, expected: str) -> None:
        log.add(Fault(path, read, f"{expected} ({source})"))

    if not isinstance(document.get("$schema"), str):
        note("$schema", _told(document.get("$schema")), "the profile's address")
    name = document.get("name")
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        note("name", _told(name), "small letters, digits, '.', '_', '-' (--name)")
    title = document.get("title", "")
    if not isinstance(title, str) or len(title) > _LONGEST or "\n" in title:
        note("title", _told(title), "a line of text (--title)")
    version = document.get("version")
    if not isinstance(version, str) or not _VERSION.fullmatch(version):
        note("version", _told(version), "a version such as 1.0.0 or 2026.11 (--release)")
    created = document.get("created")
    if "created" in document and not (isinstance(created, str) and _is_moment(created)):
        note("created", _told(created), "a time such as 2026-11-26T00:00:00Z (--date)")
    if not document.get("licenses"):
        note("licenses", "nothing", "the licence, as an SPDX expression (--license)")
    else:
        for read in _bad_licences(document):
            note("licenses", read, "SPDX identifiers")
    for path, read, expected in _of_the_standard(document):
        note(path, read, expected)
    contributors = document.get("contributors", [{"roles": ["none"]}])
    if not isinstance(contributors, list) or not contributors:
        note("contributors", _told(contributors), "a list of contributors, or no such key")
    else:
        for n, entry in enumerate(contributors):
            why = _no_contributor(entry)
            if why is not None:
                note(f"contributors.{n + 1}", why, "roles and an organisation (--contributor)")
    for path in _personal(document):
        note(path, "what names a person", "roles and organisations alone")


def _of_the_standard(document: Mapping[str, Json]) -> Iterator[tuple[str, str, str]]:
    """(path, what was read, what was expected) of what stays of a standing descriptor and is not
    as the standard's profile has it."""
    for name in ("id", "description", "homepage", "image"):
        if not isinstance(document.get(name, ""), str):
            yield name, _told(document[name]), "a text"
    words = document.get("keywords", [""])
    if not isinstance(words, list) or not words or not all(isinstance(w, str) for w in words):
        yield "keywords", _told(words), "a list of words, or no such key"
    for name in ("sources", "licenses"):
        entries = document.get(name, [])
        if not isinstance(entries, list):
            yield name, _told(entries), "a list"
            continue
        for n, entry in enumerate(entries):
            at = f"{name}.{n + 1}"
            if not isinstance(entry, dict) or not entry:
                yield at, _told(entry), "a mapping"
                continue
            for inside in ("title", "path", "version"):
                text = entry.get(inside, "x")
                if not isinstance(text, str) or (inside == "path" and not _PATH.fullmatch(text)):
                    yield f"{at}.{inside}", _told(text), "a text; a path an address or relative"


def _bad_licences(document: Mapping[str, Json]) -> Iterator[str]:
    listed = document["licenses"]
    for entry in listed if isinstance(listed, list) else [listed]:
        name = entry.get("name") if isinstance(entry, dict) else None
        one = isinstance(name, str) and re.fullmatch(r"[A-Za-z0-9._-]+", name)
        try:
            canonical_licence(str(name) if one else "", "licenses")
        except FaultError:
            yield _told(entry)
    if EXPRESSION in document:
        try:
            canonical_licence(str(document[EXPRESSION]), EXPRESSION)
        except FaultError:
            yield _told(document[EXPRESSION])


def _personal(value: Json, at: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for name, inside in value.items():
            path = f"{at}.{name}".lstrip(".")
            if name in _PERSONAL and not path.startswith("contributors."):
                yield path
            yield from _personal(inside, path)
    elif isinstance(value, list):
        for n, inside in enumerate(value):
            yield from _personal(inside, f"{at}.{n + 1}")


def _told(value: Any) -> str:
    return "nothing" if value is None else json.dumps(value, ensure_ascii=False)[:_LONGEST]


def _is_moment(text: str) -> bool:
    if not _MOMENT.fullmatch(text):
        return False
    try:
        datetime.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def listed(document: Json, shown: str) -> tuple[Listed, ...]:
    """The files that a descriptor tells of, each with its size and SHA-256.

    Parameters
    ----------
    document : as it was read. shown : its name, for faults.

    Raises
    ------
    FaultError
        With every entry that is no file of the pack's own: an address, data within the descriptor,
        a path that leads out, one told twice, one without its hash.
    """
    log = FaultLog()
    entries = document.get("resources") if isinstance(document, dict) else None
    if not isinstance(entries, list) or not 0 < len(entries) <= MOST_FILES:
        count = f"{len(entries)}" if isinstance(entries, list) else "no list"
        expected = f"a Data Package's resources, 1 to {MOST_FILES}"
        raise FaultError((Fault(f"{shown}: resources", count, expected),))
    out: list[Listed] = []
    names: set[str] = set()
    for n, entry in enumerate(entries):
        at = f"{shown}: resources.{n + 1}"
        if not isinstance(entry, dict):
            log.add(Fault(at, _told(entry), "a resource"))
            continue
        name, path = entry.get("name"), entry.get("path")
        size, digest = entry.get("bytes"), entry.get("hash")
        if not isinstance(name, str) or name in names:
            log.add(Fault(f"{at}.name", _told(name), "a name, each once"))
        names.add(str(name))
        if not isinstance(path, str):
            log.add(Fault(f"{at}.path", _told(path), "a file's path; data within is not read"))
            continue
        if path in (DESCRIPTOR, SIGNATURE):
            log.add(Fault(f"{at}.path", f'"{path}"', "a file that the descriptor can tell of"))
        if isinstance(size, bool) or not isinstance(size, int) or not 0 <= size <= MOST_BYTES:
            log.add(Fault(f"{at}.bytes", _told(size), "the file's size in bytes"))
        elif not isinstance(digest, str) or not _HASH.fullmatch(digest):
            log.add(Fault(f"{at}.hash", _told(digest), "sha256: and 64 hexadecimal digits"))
        else:
            out.append(Listed(path, size, digest))
    for path, why in unsafe([e["path"] for e in entries if isinstance(_path(e), str)]):
        log.add(Fault(f"{shown}: resources", f'"{path}": {why}', "a plain path in the pack"))
    log.raise_if_any()
    return tuple(out)


def _path(entry: Json) -> Json:
    return entry.get("path") if isinstance(entry, dict) else None


def words(value: Json, keys: Sequence[str]) -> dict[str, str | None]:
    """Texts that a descriptor of anyone's states; None where it states no text."""
    out = {}
    for name in keys:
        found = value.get(name) if isinstance(value, dict) else None
        out[name] = found if isinstance(found, str) else None
    return out
