"""Commands on files: `catalog list|show|check`, `product list|check`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.bundles import Command, Files, ReadingCommand, Show
from advisor.cli.options import ProductArgument
from advisor.cli.templates import EntryShow

if TYPE_CHECKING:
    from advisor.present.layout import Page

catalog = typer.Typer(
    help="The catalogue: start one, add a part, list it, show an entry, check the files.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
product = typer.Typer(
    help="Products: a new one by questions, list them, check a file.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@catalog.command("list")
@ReadingCommand
def catalog_list(*, files: Files, show: Show) -> int:
    """List parts, cells, converters, add-ons and kernels.

    Example: part-advisor catalog list
    """
    from advisor.cli.progress import progress
    from advisor.studies.inventory import PartRow, inventory
    from advisor.studies.results import names_of

    screen = show.screen()
    with progress(show.quiet):
        found = inventory(files.catalogue())

    def page() -> Page:
        from advisor.present.inventory import inventory_page

        return inventory_page(found, screen.columns)

    screen.give(found, lambda: found.rows(), page, head=names_of(PartRow))
    return 0


@catalog.command("show")
@Command
def catalog_show(
    entry: Annotated[str, typer.Argument(metavar="ID", help="A part, cell, converter or add-on.")],
    *,
    files: Files,
    show: EntryShow,
) -> int:
    """Show every figure of an entry. Each has its path, uncertainty and evidence.

    As yaml its file is printed, to make one's own from.

    Example: part-advisor catalog show ostrel-yab
    """
    from advisor.cli.progress import progress
    from advisor.studies.inventory import FigureRow, entry_of
    from advisor.studies.results import names_of, plain

    screen = show.screen()
    if show.as_template:
        from advisor.faults import Fault, FaultError
        from advisor.studies.template import template

        if files.changes:
            expected = "the file as it stands: one of --set and --format yaml"
            raise FaultError((Fault("--format", "yaml with --set", expected),))
        screen.text(template(files.catalogue(), entry))
        return 0
    with progress(show.quiet):
        found = entry_of(files.catalogue(), entry)

    def page() -> Page:
        from advisor.present.inventory import entry_page

        return entry_page(found, screen.columns)

    screen.give(
        found, lambda: [plain(row) for row in found.figures], page, head=names_of(FigureRow)
    )
    return 0


@catalog.command("check")
@ReadingCommand
def catalog_check(*, files: Files, show: Show) -> int:
    """Read every file and say what is wrong. What looks odd is a warning.

    Example: part-advisor catalog check
    """
    from advisor.cli.progress import progress
    from advisor.studies.check import check_catalogue

    screen = show.screen()
    with progress(show.quiet):
        found = check_catalogue(files.catalogue())
    return _checked(screen, found)


@product.command("list")
@Command
def product_list(*, show: Show) -> int:
    """List the products that have an id. Those of .part-advisor.yaml, and the shipped ones.

    Example: part-advisor product list
    """
    from advisor.catalogue.shipped import product_files
    from advisor.cli.bundles import Files
    from advisor.studies.inventory import shipped_products

    screen = show.screen()
    project = Files(quiet=show.quiet).project
    own = {} if project is None else project.products
    rows = shipped_products(product_files() | own)

    def page() -> Page:
        from advisor.present.inventory import products_page

        return products_page(rows, screen.columns)

    screen.give({"products": rows}, lambda: rows, page)
    return 0


@product.command("check")
@ReadingCommand
def product_check(
    product: ProductArgument,
    *,
    files: Files,
    show: Show,
) -> int:
    """Read a product and say what is wrong. What looks odd is a warning.

    Example: part-advisor product check frost-post
    """
    from advisor.cli.progress import progress
    from advisor.studies.check import check_product

    screen = show.screen()
    with progress(show.quiet):
        found = check_product(*files.product(product))
    return _checked(screen, found)


def _checked(screen: object, found: object) -> int:
    from advisor.cli.output import Screen
    from advisor.faults import Fault
    from advisor.studies.check import Checked

    assert isinstance(screen, Screen)
    assert isinstance(found, Checked)

    def page() -> Page:
        from advisor.present.inventory import checked_page

        return checked_page(found, screen.columns)

    head = list(Fault("", "", "").as_dict())
    screen.give(found, lambda: [w.as_dict() for w in found.warnings], page, head=head)
    return 0
