"""Commands that ask: `catalog start|add` and `product new`."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor.cli.bundles import Command, Files, Form
from advisor.cli.catalogs import catalog, product
from advisor.cli.options import READS, WRITES

if TYPE_CHECKING:
    from advisor.catalogue.records import Catalogue
    from advisor.cli.output import Screen
    from advisor.faults import Place
    from advisor.intake.interview import Interview, Table
    from advisor.present.layout import Page
    from advisor.studies.preview import Preview

AnswersOption = Annotated[
    Path | None,
    typer.Option(
        "--answers",
        metavar="FILE.yaml",
        help="Answers by the keys of their questions.",
        show_default=False,
    ),
    READS,
]
AnswerOption = Annotated[
    list[str] | None,
    typer.Option(
        "--answer",
        metavar="KEY=VALUE",
        help="An answer, before one of --answers; skip for not known.",
        show_default=False,
    ),
]
DefaultsOption = Annotated[
    bool,
    typer.Option("--defaults", help="Ask nothing more: take defaults, leave absent what has none."),
]
ListOption = Annotated[
    bool,
    typer.Option("--list-questions", help="List the questions with their keys and defaults."),
]


def register() -> None:
    """Put the commands on their groups."""
    catalog.command("start")(Command(catalog_start))
    catalog.command("add")(Command(catalog_add))
    product.command("new")(Command(product_new))


def catalog_start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder for it.")],
    examples: Annotated[
        bool,
        typer.Option(
            "--examples", help="With the demonstration's cells and converters, marked invented."
        ),
    ] = False,
    project: Annotated[
        bool,
        typer.Option(
            "--project/--no-project",
            help="Whether .part-advisor.yaml is written in the working folder, to name it.",
        ),
    ] = True,
    *,
    show: Form,
) -> int:
    """Start a catalogue of one's own. With the kernels of the bench and no parts yet.

    Example: part-advisor catalog start mine
    """
    from advisor.catalogue.project import NAME
    from advisor.cli.writing import Output, check_outputs, deliver, write_folder
    from advisor.intake.start import new_catalogue, project_text
    from advisor.source import read_bytes

    screen = show.screen()
    contents = new_catalogue(examples=examples)
    own = Path(NAME)
    text = project_text(folder, Path.cwd()).encode()
    there = os.path.lexists(own)
    same = there and read_bytes(own, NAME) == text
    named = project and not there
    if named:
        check_outputs([Output(own, "--project")])
    write_folder(folder, contents)
    if named:
        deliver({Output(own, "--project", new=True): text})
    steps = [f"part-advisor catalog add NAME{'' if named or same else f' --catalog {folder}'}"]
    if not examples:
        steps.append(
            "cells and converters have no questions yet: a product may begin on an ideal source; "
            "--examples takes the demonstration's, and demonstration: true in "
            f"{NAME} lays your catalogue over all of it"
        )
    if project and there and not same:
        steps.append(f"{NAME} is there already: add {folder} to its catalogues")

    def page() -> Page:
        from advisor.present.asking import written_page

        what = "the demonstration's cells and converters, marked invented, " if examples else ""
        lead = [f"{folder}: a new catalogue: {what}the kernels of the bench, no parts yet"]
        lead += [f"{own}: names it, so that --catalog need not be typed"] if named else []
        return written_page(lead, steps, screen.columns)

    written = [str(folder / name) for name in contents if not name.endswith("/")] + (
        [str(own)] if named else []
    )
    screen.give(
        {"folder": str(folder), "files": written, "project": str(own) if named else None},
        lambda: [{"file": name} for name in written],
        page,
        head=["file"],
    )
    return 0


def catalog_add(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]", help="The part's id; asked if absent.", show_default=False
        ),
    ] = None,
    answers: AnswersOption = None,
    answer: AnswerOption = None,
    defaults: DefaultsOption = False,
    list_questions: ListOption = False,
    used_in: Annotated[
        str | None,
        typer.Option(
            "--for",
            metavar="PRODUCT",
            help="The product in which a look shows how it would stand.",
            show_default=False,
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.yaml",
            help="Write there; absent: into one's own catalogue, else the working folder.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    files: Files,
    show: Form,
) -> int:
    """Add a part by questions. Asked in the terminal, or answered by options and a file.

    Example: part-advisor catalog add one --defaults --answer "operating-points=24 MHz"
    """
    from advisor.cli.looks import part_looks
    from advisor.intake.ask_part import TABLE

    screen = show.screen()
    catalogue = files.catalogue()
    if list_questions:
        return _listed(screen, TABLE, catalogue)
    given = _script(answer, answers, defaults)
    look = part_looks(files, catalogue, used_in)
    wanted = used_in is not None
    return _interview(screen, TABLE, name, catalogue, given, output, files, look, wanted=wanted)


def product_new(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]", help="The product's id; asked if absent.", show_default=False
        ),
    ] = None,
    answers: AnswersOption = None,
    answer: AnswerOption = None,
    defaults: DefaultsOption = False,
    list_questions: ListOption = False,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.yaml",
            help="Write there; absent: into the project's folder of products, else the working "
            "folder.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    files: Files,
    show: Form,
) -> int:
    """Make a product by questions. Asked in the terminal, or answered by options and a file.

    Example: part-advisor product new tag --defaults --answer "workload=sample 10 s"
    """
    from advisor.cli.looks import product_looks
    from advisor.intake.ask_product import TABLE

    screen = show.screen()
    catalogue = files.catalogue()
    if list_questions:
        return _listed(screen, TABLE, catalogue)
    given = _script(answer, answers, defaults)
    return _interview(
        screen, TABLE, name, catalogue, given, output, files, product_looks(catalogue)
    )


def _script(options: list[str] | None, file: Path | None, defaults: bool) -> Any:
    from advisor.cli.dialog import Script
    from advisor.intake.answers import read_answers

    found: dict[str, tuple[str, Place]] = {} if file is None else read_answers(file)
    return Script(options or [], found, defaults=defaults)


def _listed(screen: Screen, table: Table, catalogue: Catalogue) -> int:
    """Every question, with its key in scripts."""
    from advisor.intake.listing import QuestionRow, listed
    from advisor.studies.results import names_of, plain

    rows = listed(table, catalogue)

    def page() -> Page:
        from advisor.present.asking import questions_page

        return questions_page(table.kind, rows, screen.columns)

    screen.give(
        {"kind": table.kind, "questions": rows},
        lambda: [plain(row) for row in rows],
        page,
        head=names_of(QuestionRow),
    )
    return 0


def _interview(
    screen: Screen,
    table: Table,
    name: str | None,
    catalogue: Catalogue,
    script: Any,
    output: Path | None,
    files: Files,
    look: Callable[[Interview], Callable[[], Preview]],
    *,
    wanted: bool = False,
) -> int:
    """Ask, and write what was answered where it belongs."""
    import sys

    from advisor.cli.dialog import Dialog
    from advisor.cli.looks import warm
    from advisor.cli.output import terminal_columns
    from advisor.cli.places import free_place, next_steps, place_for
    from advisor.faults import Fault, FaultError
    from advisor.intake.interview import Interview

    typed = sys.stdin is not None and sys.stdin.isatty() and not script.defaults
    where = place_for(table.kind, files, output)

    def free(identity: str) -> bool:
        return free_place(where(identity), table.kind, catalogue, identity)

    # nobody is to answer twenty questions in vain; a script may say again what stands already
    interview = Interview(table, catalogue, free if typed else None)
    if name is not None:
        if table.kind in script.answers:
            key = f"--answer {table.kind}"
            raise FaultError((Fault(key, f'"{name}" as NAME too', "the id told once"),))
        interview.name(name)
    columns = screen.columns or terminal_columns()
    looked_at = wanted or (typed and not screen.quiet)
    dialog = Dialog(interview, script, columns, look if looked_at else None, warm(files))
    try:
        text = dialog.hold()
    except FaultError:
        dialog.close()
        raise
    target = where(interview.identity)
    new = free_place(target, table.kind, catalogue, interview.identity, text)
    if new:
        target.parent.mkdir(exist_ok=True)
        screen.keep(target, text.encode(), new=True)
    seen = dialog.last_look(wanted=wanted)
    dialog.close()
    skipped, taken = interview.skipped(), interview.taken()
    document: dict[str, Any] = {
        table.kind: interview.identity,
        "file": str(target),
        "new": new,
        "not_known": skipped,
        "defaults": taken,
    }
    if seen is not None:
        document["look"] = seen

    def page() -> Page:
        from advisor.present.asking import interviewed_page

        steps = next_steps(table.kind, interview.identity, target, files)
        return interviewed_page(str(target), new, skipped, taken, steps, screen.columns)

    screen.warn([one.text() for one in interview.odd(text)])
    if new and table.kind == "part" and interview.identity in catalogue.parts:
        screen.warn([f"{interview.identity}: takes the place of the catalogue's part of that id"])
    screen.give(
        document,
        lambda: [{"key": key, "default": taken.get(key)} for key in (*taken, *skipped)],
        page,
        head=["key", "default"],
    )
    return 0
