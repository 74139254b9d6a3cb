"""JSON that can be signed: read without leeway, and its canonical bytes (RFC 8785).

Plain reading would keep the last of two equal keys, take NaN and infinity for numbers and round
what is longer than a double; two readers of one text could then see two documents under one
signature. Here that is refused, as I-JSON asks (RFC 7493, 2).
"""

from __future__ import annotations

import json
import re
from typing import Any

from advisor.faults import Fault, FaultError, Place
from advisor.source import LARGEST
from advisor.texts import HOSTILE, named

DEEPEST = 32  # objects and lists inside one another
_LONGEST = 64  # characters of a number; a double needs 25
_EXACT = 2**53 - 1  # whole numbers beyond are not told apart by a double
# strings are skipped whole, one without an end to the text's: brackets in them do not count
_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*+(?:"|\\?\Z)|[\[{]|[\]}]', re.DOTALL)

Json = Any


class _RefusedError(Exception):
    """What was read and what was expected."""


def read_json(data: bytes, file: str) -> Json:
    """A JSON document, every text printable, every number one that a double tells exactly.

    Parameters
    ----------
    file : what faults call it.

    Raises
    ------
    FaultError
        For what is too large or too deep, for two equal keys in an object, and for whatever has no
        canonical form.
    """
    if len(data) > LARGEST:
        raise _fault(file, f"{len(data) / 1024 / 1024:.1f} MiB", "a file of at most 4 MiB")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        raise _fault(file, f"byte 0x{data[error.start]:02x}", "UTF-8", line, column) from None
    _depth(text, file)
    try:
        return json.loads(
            text,
            object_pairs_hook=_once,
            parse_constant=_constant,
            parse_float=_real,
            parse_int=_whole,
        )
    except json.JSONDecodeError as error:
        raise _fault(file, error.msg, "JSON (RFC 8259)", error.lineno, error.colno) from None
    except _RefusedError as error:
        raise _fault(file, *error.args) from None


def canonical(document: Json) -> bytes:
    """The bytes of a document that `read_json` gave, as RFC 8785 writes them."""
    import rfc8785

    found: bytes = rfc8785.dumps(document)
    return found


def _fault(file: str, read: str, expected: str, line: int = 1, column: int = 1) -> FaultError:
    return FaultError((Fault("file", read, expected, Place(file, line, column)),))


def _depth(text: str, file: str) -> None:
    """Refuse what goes deeper than anybody writes before a reader that recurses sees it."""
    depth = 0
    for found in _BRACKETS.finditer(text):
        if found[0] in "[{":
            depth += 1
            if depth > DEEPEST:
                line = text.count("\n", 0, found.start()) + 1
                column = found.start() - text.rfind("\n", 0, found.start())
                expected = f"at most {DEEPEST} levels"
                raise _fault(file, "objects and lists nested too deep", expected, line, column)
        elif found[0] in "]}":
            depth -= 1


def _once(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    out: dict[str, Json] = {}
    for name, value in pairs:
        if name in out:
            raise _RefusedError(f'the key "{name}" twice', "each key of an object once")
        out[_printable(name)] = _checked(value)
    return out


def _checked(value: Json) -> Json:
    if isinstance(value, str):
        return _printable(value)
    if isinstance(value, list):
        for entry in value:
            _checked(entry)
    return value


def _printable(text: str) -> str:
    bad = HOSTILE.search(text)
    if bad is not None:
        raise _RefusedError(named(bad[0]), "printable text")
    return text


def _constant(text: str) -> float:
    raise _RefusedError(text, "a number (RFC 8259, 6)")


def _real(text: str) -> float:
    value = float(text) if len(text) <= _LONGEST else float("inf")
    if value in (float("inf"), float("-inf")):
        raise _RefusedError(text, f"a number within a double's range, {_LONGEST} characters")
    return value


def _whole(text: str) -> int:
    # a long one is not even read: that takes the square of its length
    if len(text) > 17 or abs(int(text)) > _EXACT:
        raise _RefusedError(text, f"a whole number of at most {_EXACT}")
    return int(text)
