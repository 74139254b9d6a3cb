"""Bundles: what a command is given in place of the options that it offers."""

from __future__ import annotations

import inspect
from typing import Annotated, get_args

import pytest
import typer

from advisor.cli import bundles
from advisor.cli.application import app
from advisor.cli.bundles import (
    ORDER,
    Answer,
    Bundle,
    Command,
    Look,
    RankedFiles,
    Sampling,
    Show,
    Voice,
    Workers,
)
from advisor.cli.options import READS, WRITES, Format, ProductArgument


class Fewer(Sampling):
    """Another default."""

    draws: Annotated[int, typer.Option("--draws")] = 7


def command(
    product: ProductArgument,
    over: Annotated[str | None, typer.Option("--over")] = None,
    *,
    show: Answer,
    files: RankedFiles,
    sampling: Fewer,
    top: Annotated[int, typer.Option("--top")] = 0,
) -> int:
    """Do it."""
    assert (show.form, show.width, files.changes) == (Format.CSV, 60, ["a:b=1"])
    assert (sampling.draws, sampling.seed, sampling.jobs) == (7, 3, None)
    return len(product) + top


def test_options_stand_in_one_order_whatever_the_order_of_bundles() -> None:
    found = inspect.signature(Command(command)).parameters
    assert list(found) == ["product", "over", *ORDER, "top"]
    assert found["draws"].default == 7
    assert found["seed"].default == 1


def test_a_call_fills_the_bundles() -> None:
    app = typer.Typer(add_completion=False)
    app.command()(Command(command))
    line = ["ab", "--set", "a:b=1", "--format", "csv", "--width", "60", "--seed", "3", "--top", "5"]
    assert typer.main.get_command(app).main(line, standalone_mode=False) == 7


def test_a_field_without_a_place_is_refused() -> None:
    class Odd(Bundle):
        """A bundle whose field ORDER does not know."""

        odd: int = 1

    def odd(*, bundle: Bundle) -> int:
        return 0

    odd.__annotations__["bundle"] = Odd
    with pytest.raises(ValueError, match="not in tuple"):
        _ = Command(odd).__signature__


def test_every_field_has_a_place_and_every_place_a_field() -> None:
    known = {
        name
        for value in vars(bundles).values()
        if isinstance(value, type) and issubclass(value, Bundle)
        for name in value.options()
    }
    assert known == set(ORDER)
    assert len(set(ORDER)) == len(ORDER)


def test_a_bundle_holds_its_own_fields_and_keeps_them() -> None:
    assert Sampling.options().keys() - Workers.options().keys() == {"seed", "draws"}
    with pytest.raises(TypeError, match="Voice has no width"):
        Voice(width=3)
    with pytest.raises(AttributeError, match="quiet is fixed"):
        Voice().quiet = True


def test_a_screen_of_what_the_bundle_has() -> None:
    plain = Voice(quiet=True).screen()
    assert (plain.form, plain.output, plain.no_color, plain.quiet) == (
        Format.TABLE,
        None,
        True,
        True,
    )
    assert Look(width=50).screen().columns == 50
    assert not Look().screen().no_color
    assert Show(form=Format.JSON).screen().form is Format.JSON


NEW_FOLDERS = {"folder", "into", "onto"}  # each is checked itself


def test_whatever_names_a_file_says_whether_it_is_read_or_written() -> None:
    """Else it would be no input that an output may not be written over."""
    groups = [group.typer_instance for group in app.registered_groups]
    typers = [app, *(group for group in groups if group is not None)]
    found: dict[str, set[str]] = {READS: set(), WRITES: set()}
    for command_ in (c for one in typers for c in one.registered_commands):
        assert command_.callback is not None
        for name, parameter in inspect.signature(command_.callback).parameters.items():
            base, *marks = get_args(parameter.annotation) or [parameter.annotation]
            if "Path" in str(base) and name not in NEW_FOLDERS:
                (mark,) = [mark for mark in marks if mark in (READS, WRITES)]
                found[mark].add(name)
    assert found == {
        READS: {
            *("answers", "catalog", "log", "traces", "bench", "notes", "record", "file"),
            *("folders", "key", "over", "pack", "prefer", "sign"),
            *("table", "map_file"),
        },
        WRITES: {"output", "plot", "log", "key", "public", "map_file"},
    }
