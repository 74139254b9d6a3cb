"""`report`: a decision with all that it rests on, as a file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import RankedFiles, ReadingCommand, Sampling, Voice
from advisor.cli.options import WRITES, AlongOption, FamilyOrProductArgument

if TYPE_CHECKING:
    from advisor.cli.output import Screen
    from advisor.studies.family_report import FamilyReport
    from advisor.studies.report import Report

ENDINGS = (".html", ".md", ".xlsx", ".svg", ".png")


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(ReadingCommand(report))


def report(
    product: FamilyOrProductArgument,
    output: Annotated[
        Path,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.html|md|xlsx|svg|png",
            help="The file to write; its ending says which form.",
        ),
        WRITES,
    ],
    along: AlongOption = None,
    tipping: Annotated[
        bool, typer.Option("--tipping", help="With what would change the winner; minutes more.")
    ] = False,
    gaps: Annotated[bool, typer.Option("--gaps", help="With what to measure next.")] = False,
    *,
    files: RankedFiles,
    sampling: Sampling,
    voice: Voice,
) -> int:
    """Write a report. A page with live weights, Markdown, a workbook with formulas, or pictures.

    Of a family it is the plan, what it saves and what limits it.

    Example: part-advisor report barrel-tag -o barrel-tag.html
    """
    from advisor.catalogue.families import family_file
    from advisor.cli.progress import progress
    from advisor.cli.writing import file_by_ending
    from advisor.faults import Fault, FaultError
    from advisor.stages import begin
    from advisor.studies.outlook import faults_of
    from advisor.studies.report import report as study

    files.noted(file_by_ending, output, "--output", ENDINGS)
    if family_file(product) is not None:
        given = {"--along": along, "--tipping": tipping, "--gaps": gaps}
        wanted = "a product: a family's report has no such part"
        faults = [Fault(name, f'"{product}", a family', wanted) for name, on in given.items() if on]
        if faults:
            raise FaultError(faults)
        return _family(product, output, files, sampling, voice)
    screen = voice.screen()
    with progress(voice.quiet) as tell:
        inputs = files.product(product, rest=lambda c, p: faults_of(c, p, (), along or ()))
        found = study(
            *inputs,
            along=along or (),
            tipping=tipping,
            gaps=gaps,
            call=_call(product, files),
            changes=files.changes or (),
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
        begin(tell, "writing the report")
        data = _written(found, output.suffix.lower())
    first = f"{found.parts[0].part} is first" if found.parts else "nothing fits"
    _out(screen, output, data, found.warnings, f"{found.product}: {first}")
    return 0 if found.parts else 1


def _family(
    reference: str, output: Path, files: RankedFiles, sampling: Sampling, voice: Voice
) -> int:
    from advisor.cli.progress import progress
    from advisor.stages import begin
    from advisor.studies.family_report import family_report

    screen = voice.screen()
    with progress(voice.quiet) as tell:
        run = files.family([reference])
        found = family_report(
            run,
            call=_call(reference, files),
            changes=files.changes or (),
            draws=sampling.draws,
            seed=sampling.seed,
            jobs=sampling.workers,
            progress=tell,
            estimate_missing=files.estimate_missing,
            services=files.services,
        )
        begin(tell, "writing the report")
        data = _family_written(found, output.suffix.lower())
    count = len(found.plan.adopted)
    plan = f"{count} part{'' if count == 1 else 's'} for {len(found.plan.plan)} products"
    first = plan if found.plan.plan else "no plan"
    _out(screen, output, data, found.plan.warnings, f"{found.plan.family}: {first}")
    return 0 if found.plan.plan else 1


def _out(screen: Screen, output: Path, data: bytes, warnings: Sequence[str], answer: str) -> None:
    """Give a report out, with its answer in a line."""
    from advisor.texts import on_one_line

    screen.keep(output, data)
    screen.warn(warnings)
    told = f"{answer}; written to {output}, {len(data) / 1000:.0f} kB"
    screen.text(on_one_line(told) + "\n")


def _call(reference: str, files: RankedFiles) -> list[str]:
    """What names the inputs on the command line."""
    return [_operand(reference), *(f"--catalog={folder}" for folder in files.catalog or ())]


def _family_written(found: FamilyReport, ending: str) -> bytes:
    """A family's report as a file of that ending."""
    match ending:
        case ".html":
            from advisor.present.html.family_page import family_html

            return family_html(found).encode()
        case ".md":
            from advisor.present.markdown import family_markdown

            return family_markdown(found).encode()
        case ".svg" | ".png":
            from advisor.present.html.pictures import family_picture

            return family_picture(found, ending[1:])
        case _:
            from advisor.present.family_workbook import family_workbook

            return family_workbook(found)


def _written(found: Report, ending: str) -> bytes:
    """The report as a file of that ending."""
    match ending:
        case ".html":
            from advisor.present.html.page import html_page

            return html_page(found).encode()
        case ".md":
            from advisor.present.markdown import markdown

            return markdown(found).encode()
        case ".svg" | ".png":
            from advisor.present.html.pictures import report_picture

            return report_picture(found, ending[1:])
        case _:
            from advisor.present.workbook import workbook

            return workbook(found)


def _operand(word: str) -> str:
    """A product's reference that no command takes for an option."""
    return f"./{word}" if word.startswith("-") and word != "-" else word
