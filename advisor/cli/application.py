"""The commands of `part-advisor` put together: carries out a call, says what is wrong with it."""

from __future__ import annotations

import os
import re
import sys
import warnings
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import typer

from advisor.cli import (
    asking,
    bench,
    catalogs,
    comparing,
    completion,
    deciding,
    decisions,
    families,
    hours,
    importing,
    reference,
    reporting,
    sharing,
    sheets,
    weighing,
)
from advisor.cli.codes import INTERRUPTED, NO, OURS, WRONG
from advisor.cli.helping import with_help

if TYPE_CHECKING:
    from typer.exceptions import TyperException

    from advisor.faults import FaultError

SETTINGS: dict[str, Any] = {
    "name": "part-advisor",
    "help": "Choose a microcontroller for a battery product: measured profiles and a workload in, "
    "a ranked shortlist with battery life and cost out. It advises; it does not certify.",
    "no_args_is_help": True,
    "add_completion": False,
    "rich_markup_mode": None,
    "pretty_exceptions_enable": False,
}
app = typer.Typer(**SETTINGS)
decisions.register(app)
families.register(app)
weighing.register(app)
comparing.register(app)
bench.register(app)
deciding.register(app)
reporting.register(app)
reference.register(app)
completion.register(app)
asking.register()
app.add_typer(bench.kernels, name="kernels")
app.add_typer(hours.hours, name="hours")
sharing.register(catalogs.catalog)
importing.register(catalogs.catalog)
sheets.register(catalogs.catalog)
app.add_typer(catalogs.catalog, name="catalog")
app.add_typer(catalogs.product, name="product")


@app.callback(invoke_without_command=True)
def _top(
    version: bool = typer.Option(False, "--version", help="Show the version and exit."),
) -> None:
    if version:
        from importlib.metadata import version as installed

        typer.echo(f"part-advisor {installed('part-advisor')}")
        raise typer.Exit


def needed(arguments: list[str]) -> typer.Typer:
    """The application with the options of those commands only that the call may mean.

    Reading the options of every command takes longer than all else that `--help` does.
    """
    slim = typer.Typer(**SETTINGS)
    slim.callback(invoke_without_command=True)(_top)
    for info in app.registered_commands:
        assert info.callback is not None
        name = info.name or info.callback.__name__
        slim.command(name)(info.callback if name in arguments else _named(info.callback))
    for group in app.registered_groups:
        inner = group.typer_instance
        assert inner is not None
        if group.name not in arguments:
            inner = typer.Typer(help=inner.info.help, rich_markup_mode=None)
            inner.command("none")(_named(_top))
        slim.add_typer(inner, name=group.name)
    return slim


def _named(command: Callable[..., Any]) -> Callable[[], None]:
    """A command with another's help and no options; it is never called."""

    def empty() -> None: ...

    empty.__doc__ = command.__doc__
    return empty


def carry_out(arguments: list[str], stopped: Callable[[], bool]) -> int:
    """Carry out a call and give its exit code; no traceback reaches the user.

    What fails after `stopped` says that it was interrupted failed for that.
    """
    from typer.exceptions import TyperException

    from advisor.cli.streams import say, silence
    from advisor.faults import AdvisorError, FaultError, InstallationError

    as_json = _asks_json(arguments)
    debug = os.environ.get("ADVISOR_DEBUG") == "1"
    if not debug:
        # absurd figures may overflow on their way to being ruled out; a line of our code is no help
        warnings.simplefilter("ignore", RuntimeWarning)
    try:
        result = with_help(typer.main.get_command(needed(arguments))).main(
            arguments, prog_name="part-advisor", standalone_mode=False
        )
        sys.stdout.flush()
        if result == INTERRUPTED:
            # the library for options takes interrupts for an end of its own
            say("part-advisor: interrupted")
        return result if isinstance(result, int) else 0
    except FaultError as error:
        _report(error, as_json)
        return WRONG
    except TyperException as error:
        _usage(error, as_json)
        return WRONG
    except AdvisorError as error:
        from advisor.texts import visible

        say(visible(f"part-advisor: {error}"))
        return NO
    except InstallationError as error:
        from advisor.texts import visible

        say(visible(f"part-advisor: a fault of this installation, not of your input: {error}"))
        return OURS
    except (typer.Abort, KeyboardInterrupt):
        say("part-advisor: interrupted")
        return INTERRUPTED
    except BrokenPipeError:
        # the reader has gone: what it wanted it has
        silence(sys.stdout, sys.stderr)
        return 0
    except Exception as error:
        if debug:
            raise
        if stopped():
            return OURS
        return _unforeseen(error, as_json)


def _unforeseen(error: Exception, as_json: bool) -> int:
    from advisor.cli.streams import STDOUT, say, silence
    from advisor.faults import Fault, FaultError

    if isinstance(error, OSError):
        # a file or a stream that the system does not let us use is no fault of ours
        name = STDOUT if error.filename is None else str(error.filename)
        silence(sys.stdout)
        fault = Fault(name, error.strerror or str(error), "what can be read and written")
        _report(FaultError((fault,)), as_json)
        return WRONG
    say(
        f"part-advisor: a fault of this tool, not of your input ({type(error).__name__}). "
        "Set ADVISOR_DEBUG=1 and call again for the details to report."
    )
    return OURS


def _asks_json(arguments: list[str]) -> bool:
    return "--format=json" in arguments or any(
        a == "--format" and b == "json" for a, b in pairwise(arguments)
    )


def _report(error: FaultError, as_json: bool) -> None:
    from advisor.cli.streams import say

    if as_json:
        from advisor.present.machine import faults_json

        # the least encoding of all: nobody is to guess which one standard error has
        say(faults_json(error.faults, ascii_only=True).rstrip("\n"))
        return
    for fault in error.faults:
        say(fault.text())
    count = len(error.faults)
    say(f"part-advisor: {count} fault{'' if count == 1 else 's'}, nothing written")


def _usage(error: TyperException, as_json: bool) -> None:
    """Say what is wrong with the call itself."""
    from advisor.cli.streams import say
    from advisor.faults import Fault, FaultError, shortened
    from advisor.texts import visible

    context = getattr(error, "ctx", None)
    command = "part-advisor" if context is None else context.command_path
    # what was typed is told back, a long piece of it by its ends
    message = re.sub(r"\S{200,}", lambda word: shortened(word[0]), error.format_message())
    if len(message) > 1500:
        message = f"{message[:1000]}…{message[-300:]}"
    if as_json:
        _report(FaultError((Fault(command, message, "a valid call"),)), True)
    elif type(error).__name__ == "NoArgsIsHelpError":
        say(visible(message))
    else:
        if context is not None:
            say(context.get_usage())
        say(visible(f"part-advisor: {message}") + f"\nTry '{command} --help'.")
