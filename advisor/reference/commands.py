"""The page of commands: arguments, options, defaults and an example of each."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import typer

from advisor.cli.application import app
from advisor.reference.markdown import BORN, code, table

EXAMPLE = "Example:"

_PREAMBLE = """\
PRODUCT is a shipped product's id, a file, or `-` for standard input. Results go to standard output,
progress and warnings to standard error. `NO_COLOR`, closed pipes and narrow terminals are
honoured; nothing is cut to fit a width, and piped output is not wrapped at all.

A figure's path is the file's id, a colon and dotted keys, list entries by their own name:
`ostrel-yab:kernels.hash.fast.current`, `frost-post:workload.sample.every`. Every command that
computes takes `--set PATH=VALUE`, as often as wanted; `null` for a value leaves the key, or the
list's entry, out.

| exit code | meaning |
|---|---|
| 0 | done |
| 1 | done, and the answer is no: nothing fits |
| 2 | the input or the call is wrong, or the answer cannot be written; nothing was written |
| 3 | a fault of the tool itself; details with `ADVISOR_DEBUG=1` |
| 130 | interrupted |

JSON is one document on standard output, SI figures with the unit in the key, 12 significant
digits; the same seed gives the same bytes for any `--jobs`. With `--format json` faults are
JSON too, on standard error: `{"faults": [{"file", "line", "column", "path", "read", "expected",
"nearest"}]}`, and `sheet` for a cell of a workbook.

What is written is written whole or not at all, and read back first where it is a file to be read
again. Links stay links, modes and further names of a file stay; a device or a pipe is streamed to,
so `-o /dev/stdout` works. Refused are an input of the run, a file without write permission, two
outputs in one place, and a rehearsal over a recording.

Control characters and bidirectional ones are refused in files, however they are spelled there, and
shown as escapes elsewhere. Cells of CSV that a spreadsheet would run as a formula are led by an
apostrophe. What is printed to be typed is quoted for a shell.

The cache of catalogues that have been read and checked, and of what harvested stores have been
found to answer, stands in the folder `part-advisor` below `ADVISOR_CACHE_DIR`, else below the
user's own cache folder; `--no-cache` leaves it alone."""


def commands() -> Iterator[tuple[str, Any]]:
    """(name with its group's, command) of every command, in the order of `--help`."""
    yield from _below(typer.main.get_command(app), ())


def _below(group: Any, names: tuple[str, ...]) -> Iterator[tuple[str, Any]]:
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _below(command, (*names, name))
        else:
            yield " ".join((*names, name)), command


def example(command: Any) -> str | None:
    """The example in a command's docstring; None without one."""
    for line in (command.help or "").splitlines():
        if line.strip().startswith(EXAMPLE):
            return str(line.strip().removeprefix(EXAMPLE).strip())
    return None


def commands_page() -> str:
    """Every command with its arguments and options."""
    text = ["# Commands", BORN, _PREAMBLE]
    for name, command in commands():
        about = "\n".join(
            line for line in (command.help or "").splitlines() if not line.startswith(EXAMPLE)
        )
        text += [f"## {name}", about.strip(), f"```\n{_usage(name, command)}\n```"]
        shown = example(command)
        if shown:
            text.append(f"For example:\n\n```\n{shown}\n```")
        text.append(
            table(["argument or option", "meaning", "default"], [_row(p) for p in command.params])
        )
    return "\n\n".join(text) + "\n"


def _is_argument(parameter: Any) -> bool:
    return bool(parameter.param_type_name == "argument")


def _usage(name: str, command: Any) -> str:
    words = ["part-advisor", name]
    for parameter in command.params:
        if _is_argument(parameter):
            word = parameter.metavar or parameter.name.upper()
            word += "..." if parameter.nargs != 1 else ""
            words.append(word if parameter.required else f"[{word}]")
    return " ".join([*words, "[OPTIONS]"])


def _row(parameter: Any) -> list[str]:
    choices = [str(getattr(c, "value", c)) for c in getattr(parameter.type, "choices", ())]
    value = "|".join(choices) or parameter.metavar or ""
    if _is_argument(parameter):
        name = code(value or parameter.name.upper())
    else:
        flag = getattr(parameter, "is_flag", False)
        names = ", ".join([*parameter.opts, *parameter.secondary_opts])
        name = code(names if flag or not value else f"{names} {value}")
    default = parameter.default
    default = getattr(default, "value", default)
    shown = "" if default is None or default is False or callable(default) else code(str(default))
    if parameter.required:
        shown = "must stand"
    if getattr(parameter, "multiple", False):
        shown = "may be given again" if not shown else f"{shown}; may be given again"
    return [name, parameter.help or "", shown]
