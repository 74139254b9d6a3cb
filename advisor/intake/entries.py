"""What comes into a catalogue: entries as text, with what each lacks and what was left out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import Path

from advisor.catalogue.compose import text
from advisor.catalogue.edit import quoted
from advisor.catalogue.kinds import NULLS
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog, Place, nearest
from advisor.source import open_file, unreadable
from advisor.texts import HOSTILE, named

LONGEST_ID = 100  # characters; a file's name may have 255 bytes on most systems

_NO_ID = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of a catalogue as it will be written.

    `lacks` are the keys that the source does not tell, `aside` what it tells and the entry does
    not hold, each with why.
    """

    folder: str
    identity: str
    name: str
    text: str
    place: Place
    lacks: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Brought:
    """What a file brings: its name for people, its version, its entries, and who was not asked."""

    source: str
    version: str | None
    entries: tuple[Entry, ...]
    passed_over: int = 0


def identity_of(name: str) -> str:
    """A name as an id: lower case, hyphens for what no id may hold; empty where nothing is left."""
    return _NO_ID.sub("-", name.lower()).strip("-")


def yaml_identity(identity: str) -> str:
    """An id as YAML: in quotes where it would be taken for nothing."""
    return quoted(identity) if identity in NULLS else identity


@lru_cache(maxsize=4096)
def yaml_words(words: str) -> str:
    """Free text as YAML on one line."""
    return text(" ".join(words.split()))


def printable(words: str, path: str, place: Place, log: FaultLog) -> str:
    """The text on one line; a fault where it holds what a terminal would act upon."""
    line, bad = _on_a_line(words)
    if bad is not None:
        log.add(Fault(path, bad, "printable text", place))
    return line


@lru_cache(maxsize=4096)
def _on_a_line(words: str) -> tuple[str, str | None]:
    line = " ".join(words.split())
    bad = None if line.isprintable() else HOSTILE.search(line)
    return (line, None) if bad is None else ("", named(bad[0]))


def chosen(names: Sequence[Sequence[str]], patterns: Sequence[str], what: str) -> list[bool]:
    """Which of the named things the patterns ask for; all where there is no pattern.

    Parameters
    ----------
    names : of each thing, any of which may match; case does not count.

    Raises
    ------
    FaultError
        With every pattern that matches nothing.
    """
    if not patterns:
        return [True] * len(names)
    lower = [[name.lower() for name in one] for one in names]
    faults = []
    out = [False] * len(names)
    for pattern in patterns:
        hits = [any(fnmatchcase(name, pattern.lower()) for name in one) for one in lower]
        if not any(hits):
            near = nearest(pattern, (one[0] for one in names if one))
            faults.append(
                Fault("--only", f'"{pattern}"', f"a pattern that fits {what}", nearest=near)
            )
        out = [a or b for a, b in zip(out, hits, strict=True)]
    if faults:
        raise FaultError(faults)
    return out


def check_identities(entries: Iterable[tuple[str, str, Place]], log: FaultLog) -> None:
    """Note ids that cannot be, and those of several entries.

    Parameters
    ----------
    entries : (id, the name that it was made of, where that stands) of each.
    """
    seen: dict[str, tuple[str, Place]] = {}
    for identity, name, place in entries:
        if not identity:
            log.add(Fault("name", f'"{name}"', "a name with a letter or a digit", place))
        elif len(identity) > LONGEST_ID:
            read = f"a name of {len(name)} characters"
            log.add(Fault("name", read, f"a name of at most {LONGEST_ID}", place))
        elif identity in seen:
            other, where = seen[identity]
            read = f'"{name}", which makes the id {identity}'
            expected = f'another id than that of "{other}", line {where.line}'
            log.add(Fault("name", read, expected, place))
        else:
            seen[identity] = (name, place)


def file_bytes(path: Path, most: int, kind: str) -> bytes:
    """The bytes of a file that is not larger than `most`; `kind` is what was expected.

    Raises
    ------
    FaultError
        When it cannot be read, is no file, or is larger.
    """
    try:
        with open_file(path, str(path), kind) as handle:
            data = handle.read(most + 1)
    except OSError as error:
        raise unreadable(str(path), error, kind) from None
    if len(data) > most:
        read = f"more than {most // 1024 // 1024} MiB"
        raise _refused(path, read, f"{kind} of at most {most // 1024 // 1024} MiB")
    return data


def _refused(path: Path, read: str, expected: str) -> FaultError:
    return FaultError((Fault("file", read, expected, Place(str(path), 1, 1)),))
