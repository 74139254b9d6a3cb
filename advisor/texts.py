"""Texts that stay texts: what a terminal, a shell or a spreadsheet would take for something else.

The sets are spelled out rather than asked of the interpreter, whose tables of characters differ
from one version to the next: the same input is shown in the same bytes by all of them.
"""

from __future__ import annotations

import os
import re

# The two blocks of control characters, less tab and line feed, and the surrogates that stand for
# bytes that are no UTF-8
_CONTROLS = "\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff"
# Bidi_Control of the Unicode Character Database, PropList.txt
_BIDIRECTIONAL = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
# What takes no room of its own: separators of lines, spaces and joiners of no width, marks of byte
# order and of annotations, tags. The joiners U+200C and U+200D are letters of many scripts.
_UNSEEN = (
    "\u00ad\u180e\u200b\u2028\u2029\u2060-\u2065\u206a-\u206f\ufeff\ufff9-\ufffb"
    "\U000e0000-\U000e0fff"
)

HOSTILE = re.compile(f"[{_CONTROLS}{_BIDIRECTIONAL}]")
"""What no text of a file may hold, however it is spelled there."""

_ESCAPED = re.compile(f"[{_CONTROLS}{_BIDIRECTIONAL}{_UNSEEN}]")
_LINES = re.compile(r"[\t\n]+")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_BARE = re.compile(r"[A-Za-z0-9_@%+=:,./-]+")


def named(character: str) -> str:
    """A character of `HOSTILE` in words."""
    if character == "\0":
        return "a NUL"
    kind = "bidirectional control" if re.match(f"[{_BIDIRECTIONAL}]", character) else "control"
    return f"the {kind} character U+{ord(character):04X}"


def _escape(found: re.Match[str]) -> str:
    return found[0].encode("unicode_escape").decode()


def visible(text: str) -> str:
    """A text of several lines with what would not be seen, or would act, as escapes."""
    return _ESCAPED.sub(_escape, text)


def on_one_line(text: str) -> str:
    """A text as `visible` shows it, on one line."""
    if text.isascii() and text.isprintable():
        return text
    return visible(_LINES.sub(" ", text))


def escaped_json(text: str) -> str:
    """A JSON document in which such characters stand as escapes; it means the same."""
    if text.isascii():
        return text.replace("\x7f", "\\u007f")
    # json itself escapes what is below U+0020; beyond U+FFFF a pair of surrogates stands
    return _ESCAPED.sub(_json_escape, text)


def _json_escape(found: re.Match[str]) -> str:
    units = found[0].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i : i + 2].hex()}" for i in range(0, len(units), 2))


def in_shell(text: str) -> str:
    """A word that a shell reads as that text.

    What a terminal would not show as it is goes into the shell's own escapes, `$'…'` (POSIX.1-2024,
    2.2.4), so that pasting it types nothing else.
    """
    if _BARE.fullmatch(text):
        return text
    if not _ESCAPED.search(text) and "\n" not in text and "\t" not in text:
        import shlex

        return shlex.quote(text)
    out = []
    for character in text:
        if character in "\\'":
            out.append("\\" + character)
        elif _ESCAPED.match(character) or character in "\n\t":
            out += [f"\\{byte:03o}" for byte in os.fsencode(character)]
        else:
            out.append(character)
    return f"$'{''.join(out)}'"


def spreadsheet_cell(text: str) -> str:
    """A text that a spreadsheet takes for one: an apostrophe leads what it would run as a formula.

    The signs count in every script, as a spreadsheet may take the full-width `＝` for `=`, and
    behind blanks. A plain number is left as it is.
    """
    import unicodedata

    bare = _UNSEEN_FIRST.sub("", text)
    first = unicodedata.normalize("NFKC", bare[:1])
    acts = first[:1] in ("=", "+", "-", "@", "\u2212")
    if (acts or text[:1] in ("\t", "\r", "\n")) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text


_UNSEEN_FIRST = re.compile(rf"\A[\s\u200c\u200d{_CONTROLS}{_BIDIRECTIONAL}{_UNSEEN}]+")
