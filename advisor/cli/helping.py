"""Help texts: what a shell reads as one word is not broken, and each names the exit codes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import typer

from advisor.cli.codes import TOLD
from advisor.cli.gathering import gathering

# what stands for a hyphen and for a blank while a text is wrapped; of no meaning anywhere
_HYPHEN, _BLANK = "\ue000", "\ue001"
_QUOTED = re.compile(r'"[^"\n]*"')


def _kept(text: str) -> str:
    """A text whose words with hyphens, and what stands in quotes, are not broken."""
    together = _QUOTED.sub(lambda found: found[0].replace(" ", _BLANK), text)
    return together.replace("-", _HYPHEN)


class _Formatter(typer.Context.formatter_class):  # type: ignore[misc,valid-type]
    def write_text(self, text: str) -> None:
        super().write_text(_kept(text))

    def write_dl(self, rows: Sequence[tuple[str, str]], *given: Any, **named: Any) -> None:
        super().write_dl([(name, _kept(text)) for name, text in rows], *given, **named)

    def getvalue(self) -> str:
        text: str = super().getvalue()
        return text.replace(_HYPHEN, "-").replace(_BLANK, " ")


class _Context(typer.Context):
    formatter_class = _Formatter


def with_help(command: Any) -> Any:
    """A command, as typer makes it, and those below it with such help; every fault of the
    parameters of one is kept."""
    command.context_class = _Context
    command.epilog = TOLD
    below = getattr(command, "commands", None)
    if below is None:
        gathering(command)
    for one in (below or {}).values():
        with_help(one)
    return command
