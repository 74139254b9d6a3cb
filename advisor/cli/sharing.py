"""Commands that share catalogues: `catalog pack|verify|key|merge`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Look, Show
from advisor.cli.options import READS, WRITES

if TYPE_CHECKING:
    from advisor.present.layout import Page


def register(catalog: typer.Typer) -> None:
    """Put the commands on the group of the catalogue."""
    catalog.command("pack")(Command(catalog_pack))
    catalog.command("verify")(Command(catalog_verify))
    catalog.command("key")(Command(catalog_key))
    catalog.command("merge")(Command(catalog_merge))


def catalog_pack(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The catalogue's folder."), READS],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.zip",
            help="Write the whole pack there; absent: its descriptor into the folder.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    name: Annotated[
        str | None,
        typer.Option(
            "--name", metavar="NAME", help="Its name; absent: the folder's.", show_default=False
        ),
    ] = None,
    title: Annotated[
        str | None,
        typer.Option("--title", metavar="TEXT", help="Its title.", show_default=False),
    ] = None,
    release: Annotated[
        str | None,
        typer.Option(
            "--release", metavar="VERSION", help="Its version, such as 1.0.0.", show_default=False
        ),
    ] = None,
    licence: Annotated[
        str | None,
        typer.Option(
            "--license",
            metavar="SPDX",
            help="Its licence, such as CC-BY-4.0.",
            show_default=False,
        ),
    ] = None,
    contributor: Annotated[
        list[str] | None,
        typer.Option(
            "--contributor",
            metavar="ROLES[=ORGANISATION]",
            help="Who took part, by roles and organisation, never by person.",
            show_default=False,
        ),
    ] = None,
    date: Annotated[
        str | None,
        typer.Option(
            "--date",
            metavar="DAY",
            help="Day that it is made; absent: SOURCE_DATE_EPOCH, or the one it says.",
            show_default=False,
        ),
    ] = None,
    over: Annotated[
        list[Path] | None,
        typer.Option(
            "--over",
            metavar="DIR",
            help="A catalogue that it is laid over in use; checked with it, not packed.",
            show_default=False,
        ),
        READS,
    ] = None,
    sign: Annotated[
        Path | None,
        typer.Option(
            "--sign", metavar="KEY", help="Sign it with this private key.", show_default=False
        ),
        READS,
    ] = None,
    *,
    look: Look,
) -> int:
    """Make a Data Package of a catalogue. With hashes, version, licence; by --sign, a signature.

    Example: part-advisor catalog pack field --release 1.0.0 --license CC-BY-4.0
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import Output, check_outputs, file_by_ending
    from advisor.faults import Fault, FaultError
    from advisor.intake.package import DESCRIPTOR, SIGNATURE
    from advisor.studies.sharing import SUMMARY, About, pack

    screen = look.screen()
    if output is not None:
        file_by_ending(output, "--output", (".zip",))
        if Path(folder).resolve() in output.resolve().parents:
            read = f'"{output}", in the folder that is packed'
            raise FaultError((Fault("--output", read, "a file beside it"),))
    else:
        check_outputs([Output(folder / n, "DIR") for n in (SUMMARY, DESCRIPTOR, SIGNATURE)])
    about = About(
        name=name,
        title=title,
        release=release,
        license=licence,
        contributors=None if contributor is None else tuple(contributor),
        date=date,
    )
    with progress(look.quiet, "packing the catalogue"):
        found = pack(folder, about, base=over or (), key=sign, as_archive=output is not None)
    if found.archive is not None and output is not None:
        screen.keep(output, found.archive)
    else:
        for file, data in found.files.items():
            screen.keep(folder / file, data, "DIR")

    from advisor.present.sharing import verified_page

    screen.page(verified_page(found.verified, screen.columns, found.notes))
    return 0


def catalog_verify(
    pack: Annotated[
        Path, typer.Argument(metavar="PACK", help="A pack: a folder or a ZIP archive."), READS
    ],
    key: Annotated[
        Path | None,
        typer.Option(
            "--key",
            metavar="PUBLIC",
            help="The public key by which it must be signed.",
            show_default=False,
        ),
        READS,
    ] = None,
    into: Annotated[
        Path | None,
        typer.Option(
            "--into",
            metavar="DIR",
            help="Put its files into this new folder if all is as it says.",
            show_default=False,
        ),
    ] = None,
    *,
    show: Show,
) -> int:
    """Hold a pack to its descriptor. Exit code 1 if a file or the signature is not as it says.

    Example: part-advisor catalog verify field
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import write_folder
    from advisor.studies.results import names_of
    from advisor.studies.sharing import FileRow, verify

    screen = show.screen()
    with progress(show.quiet, "checking the pack"):
        found = verify(pack, key=key, keep=into is not None)
    if into is not None and found.sound:
        write_folder(into, found.contents)

    def page() -> Page:
        from advisor.present.sharing import verified_page

        return verified_page(found, screen.columns)

    screen.give(found.document(), lambda: found.rows(), page, head=names_of(FileRow))
    return 0 if found.sound else 1


def catalog_key(
    key: Annotated[
        Path, typer.Argument(metavar="KEY", help="The private key, a new file."), WRITES
    ],
    public: Annotated[
        Path | None,
        typer.Option(
            "--public",
            metavar="FILE",
            help="The public key, a new file; absent: KEY.pub.",
            show_default=False,
        ),
        WRITES,
    ] = None,
    *,
    look: Look,
) -> int:
    """Make a pair of keys for signing packs. The private one is its owner's alone to read.

    Example: part-advisor catalog key bench.pem
    """
    from advisor.cli.writing import Output, check_outputs
    from advisor.faults import Fault, FaultError
    from advisor.intake.signing import new_pair
    from advisor.present.sharing import key_page

    screen = look.screen()
    shared = Path(f"{key}.pub") if public is None else public
    check_outputs([Output(key, "KEY"), Output(shared, "--public")])
    taken = [path for path in (key, shared) if os.path.lexists(path)]
    if taken:
        raise FaultError(
            Fault("KEY", f'"{path}", which is there', "a name that is free") for path in taken
        )
    private, text, fingerprint = new_pair()
    screen.keep(key, private, "KEY", new=True, private=True)
    screen.keep(shared, text, "--public", new=True)
    screen.page(key_page(str(key), str(shared), fingerprint, screen.columns))
    return 0


def catalog_merge(
    folders: Annotated[
        list[Path],
        typer.Argument(metavar="DIR...", help="The catalogues, two or more."),
        READS,
    ],
    into: Annotated[
        Path, typer.Option("--into", metavar="DIR", help="The merged one, a new folder.")
    ],
    prefer: Annotated[
        Path | None,
        typer.Option(
            "--prefer",
            metavar="DIR",
            help="The one whose figures stand; absent: the first.",
            show_default=False,
        ),
        READS,
    ] = None,
    over: Annotated[
        list[Path] | None,
        typer.Option(
            "--over",
            metavar="DIR",
            help="A catalogue that they are laid over in use; checked with them, not taken.",
            show_default=False,
        ),
        READS,
    ] = None,
    *,
    show: Show,
) -> int:
    """Merge catalogues. Every observation is kept, and where they disagree is told.

    Example: part-advisor catalog merge ours theirs --into both
    """
    from advisor.cli.progress import progress
    from advisor.cli.writing import write_folder
    from advisor.studies.combine import Differing, combine
    from advisor.studies.results import names_of

    screen = show.screen()
    with progress(show.quiet, "merging the catalogues"):
        found = combine(folders, prefer=prefer, over=over or ())
    write_folder(into, found.contents)

    def page() -> Page:
        from advisor.present.sharing import combined_page

        return combined_page(found, screen.columns)

    beside = [
        *found.notes,
        *(
            f"{r.document}: {r.section} {r.before} of {r.catalogue} is {r.after}"
            for r in found.renamed
        ),
    ]
    screen.give(found.document(), lambda: found.rows(), page, beside, names_of(Differing))
    return 0
