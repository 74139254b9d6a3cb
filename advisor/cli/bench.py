"""Commands of the bench: `kernels list|export|verify`, `distil`, `rehearse`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Files, Form, Show, Voice
from advisor.cli.options import READS, WRITES, SeedOption

if TYPE_CHECKING:
    from advisor.bench.notes import Session
    from advisor.cli.output import Screen
    from advisor.present.layout import Page

kernels = typer.Typer(
    help="The kernels that boards run on the bench: list, export, verify.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


KernelsOption = Annotated[
    str | None,
    typer.Option(
        "--kernels",
        metavar="NAMES",
        help="small, for those that 2 KiB of RAM can run, or names with commas; all if absent.",
        show_default=False,
    ),
]
LevelOption = Annotated[str, typer.Option("--optimise", metavar="LEVEL", help="0, 1, 2, 3 or s.")]


def _level(text: str) -> str:
    """The compiler's flag of a level."""
    from advisor.faults import Fault, FaultError

    if text not in ("0", "1", "2", "3", "s"):
        raise FaultError((Fault("--optimise", f'"{text}"', "0, 1, 2, 3 or s"),))
    return f"-O{text}"


def register(app: typer.Typer) -> None:
    """Put the commands on the application."""
    app.command()(Command(distil))
    app.command()(Command(rehearse))


@kernels.command("list")
@Command
def kernels_list(*, show: Show) -> int:
    """List the kernels. What a unit of work is, its version, what it takes, how it is checked.

    Example: part-advisor kernels list
    """
    from advisor.studies.kernels import kernels as study

    screen = show.screen()
    found = study()

    def page() -> Page:
        from advisor.present.bench import pack_page

        return pack_page(found, screen.columns)

    screen.give(found, lambda: found.rows(), page)
    return 0


@kernels.command("export")
@Command
def kernels_export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    which: KernelsOption = None,
    level: LevelOption = "s",
    *,
    voice: Voice,
) -> int:
    """Export the C sources. With ports, instructions for a board, and notes to fill in.

    Example: part-advisor kernels export pack
    """
    from advisor.bench.kernels import chosen
    from advisor.cli.streams import say
    from advisor.cli.writing import write_folder
    from advisor.studies.kernels import exported
    from advisor.texts import on_one_line

    files = exported(chosen(which), _level(level))
    write_folder(folder, files)
    if not voice.quiet:
        say(on_one_line(f"{len(files)} files in {folder}; README.md there tells how to build"))
    return 0


@kernels.command("verify")
@Command
def kernels_verify(
    target: Annotated[
        list[str] | None,
        typer.Option(
            "--target",
            metavar="NAME",
            help="host, armv6m, armv7em, armv8m or rv32imc; all that can be built if absent.",
            show_default=False,
        ),
    ] = None,
    which: KernelsOption = None,
    level: LevelOption = "s",
    log: Annotated[
        Path | None,
        typer.Option(
            "--log",
            metavar="FILE",
            help="Read the lines that a board printed, and build nothing.",
            show_default=False,
        ),
        READS,
    ] = None,
    bench: Annotated[
        Path | None,
        typer.Option(
            "--bench",
            metavar="NOTES.yaml",
            help="With --log, the notes whose kernels must be in it.",
            show_default=False,
        ),
        READS,
    ] = None,
    *,
    show: Show,
) -> int:
    """Verify that the kernels compute right. Built for this host and emulated targets, or a log's.

    Example: part-advisor kernels verify --target host
    """
    from advisor.bench.kernels import chosen
    from advisor.cli.progress import progress
    from advisor.faults import Fault, FaultError
    from advisor.studies.kernels import verify, verify_log

    screen = show.screen()
    optimised = _level(level)
    names = chosen(which)
    faults = []
    if log is not None and target:
        faults.append(Fault("--log", "a log and a target", "one of them"))
    if bench is not None and log is None:
        faults.append(Fault("--bench", "notes without a log", "--log with them"))
    if bench is not None and which is not None:
        faults.append(Fault("--bench", "notes and --kernels", "one of them"))
    if faults:
        raise FaultError(faults)
    if log is not None:
        told = verify_log(log, () if which is None else names, bench)

        def lines() -> Page:
            from advisor.present.bench import log_page

            return log_page(told, screen.columns)

        screen.give(told.document(), lambda: told.rows(), lines)
        return 0 if told.right else 1
    with progress(show.quiet, "looking for compilers") as tell:
        found = verify(target or (), optimised, names, tell)

    def page() -> Page:
        from advisor.present.bench import verification_page

        return verification_page(found, screen.columns)

    screen.give(found, lambda: found.rows(), page)
    return 0 if found.right else 1


def distil(
    traces: Annotated[
        list[Path],
        typer.Argument(metavar="TRACE...", help="Text, Parquet or NumPy files."),
        READS,
    ],
    bench: Annotated[
        Path | None,
        typer.Option(
            "--bench",
            metavar="NOTES.yaml",
            help="The notes of the session.",
            show_default=False,
        ),
        READS,
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="PART.yaml",
            help="Put the figures into this part's file, new or standing, and nothing else.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    look: Annotated[
        bool,
        typer.Option(
            "--look",
            help="Draw the traces and what the notes cut; without notes, propose some.",
            show_default=False,
        ),
    ] = False,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            metavar="FILE.svg|png",
            help="With --look, draw them there too.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    show: Form,
) -> int:
    """Distil traces into a part's figures. With the uncertainty budget of each, line by line.

    Example: part-advisor distil trace.csv --bench notes.yaml
    """
    from advisor.bench.notes import read_notes
    from advisor.cli.progress import progress
    from advisor.cli.streams import unpanicked
    from advisor.cli.writing import Output, check_outputs
    from advisor.faults import Fault, FaultError
    from advisor.source import read_bytes, read_text
    from advisor.studies.distil import distil as study
    from advisor.studies.into_part import into_part, merged_in
    from advisor.studies.merging import MergedFigure, summary
    from advisor.studies.results import plain
    from advisor.studies.standing import Replaced, replaced

    screen = show.screen()
    if look:
        return _look(traces, bench, output, plot, screen)
    faults = []
    if bench is None:
        faults.append(Fault("--bench", "no notes", "NOTES.yaml, or --look to have some proposed"))
    if plot is not None:
        faults.append(Fault("--plot", "a plot of figures", "--look with it"))
    if faults or bench is None:
        raise FaultError(faults)
    if output is not None:
        check_outputs([Output(output, "--output")], _named_by(read_notes(bench)))
    with unpanicked(str(traces[0])), progress(show.quiet, "distilling the traces"):
        found = study(bench, traces)
    gone: tuple[Replaced, ...] = ()
    merged: tuple[MergedFigure, ...] = ()
    if output is not None:
        before = None
        if output.exists():
            data = read_bytes(output, str(output))
            read_text(data, str(output))  # what is no YAML in UTF-8 is refused with its place
            before = data.decode("utf-8")
        after = into_part(found, before, str(output))
        merged = merged_in(after, str(output), found.part)
        if before is not None:
            gone = replaced(before, after, str(output))
        screen.keep(output, after.encode())

    def page() -> Page:
        from advisor.present.bench import distilled_page

        return distilled_page(found, screen.columns)

    told = [
        *(f"{output}: {one.words()}" for one in gone),
        *(f"{output}: {line}" for line in summary(merged)),
        *(f"{output}: {line}" for one in merged for line in one.warnings()),
    ]
    document = found.document()
    if output is not None:
        document |= {
            "replaced": [plain(one) for one in gone],
            "boards": [one.document() for one in merged],
        }
    screen.give(document, lambda: found.rows(), page, found.warnings)
    screen.warn(told)
    return 0


def _look(
    traces: list[Path], bench: Path | None, output: Path | None, plot: Path | None, screen: Screen
) -> int:
    """`distil --look`."""
    from advisor.cli.progress import progress
    from advisor.cli.streams import unpanicked
    from advisor.cli.writing import file_by_ending
    from advisor.faults import Fault, FaultError
    from advisor.stages import begin
    from advisor.studies.look import look as study

    if output is not None:
        raise FaultError((Fault("--output", "a part's file", "no figures with --look"),))
    drawing = None if plot is None else file_by_ending(plot)
    read = str(traces[0])
    with unpanicked(read), progress(screen.quiet, "looking through the traces") as tell:
        found = study(traces, bench)
        if drawing is not None:
            from advisor.present.outline import save_picture

            begin(tell, "drawing them")
            screen.keep(drawing, save_picture(found, drawing), "--plot")

    def page() -> Page:
        from advisor.present.outline import look_page

        return look_page(found, screen.columns)

    screen.give(found.document(), lambda: found.rows(), page, found.warnings)
    return 0


def rehearse(
    notes: Annotated[
        Path, typer.Argument(metavar="NOTES", help="Bench notes with a rehearsal."), READS
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="TRACE",
            help="Write a made-up trace: .csv, .csv.gz, .parquet or .npz.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    want: Annotated[
        str | None,
        typer.Option(
            "--want",
            metavar="SHARE",
            help="Half-width that every energy should reach, such as 1%.",
            show_default=False,
        ),
    ] = None,
    want_mean: Annotated[
        str | None,
        typer.Option(
            "--want-mean",
            metavar="SHARE",
            help="Half-width that the mean board's energy should reach, by boards.",
            show_default=False,
        ),
    ] = None,
    want_next: Annotated[
        str | None,
        typer.Option(
            "--want-next",
            metavar="SHARE",
            help="Half-width that the next unit's energy should reach, by boards.",
            show_default=False,
        ),
    ] = None,
    seed: SeedOption = 1,
    *,
    files: Files,
    show: Form,
) -> int:
    """Rehearse a session on the bench. A made-up trace, and what rate, runs and boards suffice.

    Example: part-advisor rehearse notes.yaml --want 1% --want-mean 3%
    """
    from advisor.catalogue.kinds import Figure
    from advisor.catalogue.levers import read_option
    from advisor.cli.progress import progress
    from advisor.cli.writing import Output, check_outputs
    from advisor.stages import begin
    from advisor.studies.rehearse import OVERHEAD, Planned
    from advisor.studies.rehearse import rehearse as study
    from advisor.studies.results import names_of

    screen = show.screen()

    def share(option: str, text: str | None) -> float | None:
        if text is None:
            return None
        return float(read_option(option, text, Figure("share", above=True, exact=True)).nominal)

    wanted = share("--want", want)
    mean, next_unit = share("--want-mean", want_mean), share("--want-next", want_next)
    with progress(show.quiet) as tell:
        loaded = files.catalogue()
        begin(tell, "rehearsing")
        found = study(notes, loaded, seed, wanted, wanted_mean=mean, wanted_next=next_unit)
        written = {}
        if output is not None:
            begin(tell, "making up the trace")
            written = found.write(output)
    if output is not None:
        options = ("--output", OVERHEAD)
        named = zip(written.items(), options, strict=False)
        made = {Output(path, option): data for (path, data), option in named}
        read = [notes, *_named_by(found.session)]
        check_outputs(list(made), [path for path in read if path not in [o.path for o in made]])
        for one, data in made.items():
            screen.keep(one.path, data, one.option)

    def page() -> Page:
        from advisor.present.bench import rehearsed_page

        return rehearsed_page(found, screen.columns)

    screen.give(found.document(), lambda: found.rows(), page, head=names_of(Planned))
    short = wanted is not None and found.reaches is None
    return 1 if short or (found.boards is not None and found.boards.falls_short) else 0


def _named_by(session: Session) -> list[Path]:
    """Files that the notes of a session name."""
    notes = session.notes
    names = [notes.log, getattr(notes.board_overhead, "trace", None), notes.instrument.file]
    return [session.folder / name for name in names if name is not None]
