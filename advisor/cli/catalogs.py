"""Commands on files: `catalog list|show|check`, `product list|check`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from advisor.cli.options import (
    CatalogOption,
    Format,
    FormatOption,
    NoCacheOption,
    NoColorOption,
    OutputOption,
    ProductArgument,
    QuietOption,
    SetOption,
    WidthOption,
)

if TYPE_CHECKING:
    from advisor.present.layout import Page

catalog = typer.Typer(
    help="The catalogue: list it, show an entry, check the files.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
product = typer.Typer(
    help="Products: list the shipped ones, check a file.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


def _folders(chosen: list[Path] | None) -> list[Path]:
    from advisor.catalogue.shipped import catalogue_folder

    return chosen or [catalogue_folder()]


@catalog.command("list")
def catalog_list(
    catalog: CatalogOption = None,
    changes: SetOption = None,
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """List parts, cells, converters, add-ons and kernels.

    Example: part-advisor catalog list
    """
    from advisor.catalogue.load import load_catalogue
    from advisor.cli.output import Screen
    from advisor.studies.inventory import inventory

    screen = Screen(form, output, width, no_color, quiet)
    found = inventory(load_catalogue(_folders(catalog), changes or [], cached=not no_cache))

    def page() -> Page:
        from advisor.present.inventory import inventory_page

        return inventory_page(found, screen.columns)

    screen.give(found, lambda: found.rows(), page)
    return 0


@catalog.command("show")
def catalog_show(
    entry: Annotated[str, typer.Argument(metavar="ID", help="A part, cell, converter or add-on.")],
    catalog: CatalogOption = None,
    changes: SetOption = None,
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """Show every figure of an entry. Each has its path, uncertainty and evidence.

    Example: part-advisor catalog show ostrel-yab
    """
    from advisor.catalogue.load import load_catalogue
    from advisor.cli.output import Screen
    from advisor.studies.inventory import entry_of
    from advisor.studies.results import plain

    screen = Screen(form, output, width, no_color, quiet)
    found = entry_of(load_catalogue(_folders(catalog), changes or [], cached=not no_cache), entry)

    def page() -> Page:
        from advisor.present.inventory import entry_page

        return entry_page(found, screen.columns)

    screen.give(found, lambda: [plain(row) for row in found.figures], page)
    return 0


@catalog.command("check")
def catalog_check(
    catalog: CatalogOption = None,
    changes: SetOption = None,
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """Read every file and say what is wrong. What looks odd is a warning.

    Example: part-advisor catalog check
    """
    from advisor.catalogue.load import load_catalogue
    from advisor.cli.output import Screen
    from advisor.studies.check import check_catalogue

    screen = Screen(form, output, width, no_color, quiet)
    return _checked(
        screen,
        check_catalogue(load_catalogue(_folders(catalog), changes or [], cached=not no_cache)),
    )


@product.command("list")
def product_list(
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
) -> int:
    """List the shipped products.

    Example: part-advisor product list
    """
    from advisor.catalogue.shipped import product_files
    from advisor.cli.output import Screen
    from advisor.studies.inventory import shipped_products

    screen = Screen(form, output, width, no_color, quiet)
    rows = shipped_products(product_files())

    def page() -> Page:
        from advisor.present.inventory import products_page

        return products_page(rows, screen.columns)

    screen.give({"products": rows}, lambda: rows, page)
    return 0


@product.command("check")
def product_check(
    product: ProductArgument,
    catalog: CatalogOption = None,
    changes: SetOption = None,
    form: FormatOption = Format.TABLE,
    output: OutputOption = None,
    width: WidthOption = 0,
    no_color: NoColorOption = False,
    quiet: QuietOption = False,
    no_cache: NoCacheOption = False,
) -> int:
    """Read a product and say what is wrong. What looks odd is a warning.

    Example: part-advisor product check frost-post
    """
    from advisor.catalogue.shipped import load
    from advisor.cli.output import Screen
    from advisor.studies.check import check_product

    screen = Screen(form, output, width, no_color, quiet)
    return _checked(
        screen, check_product(*load(product, catalog or (), changes or (), cached=not no_cache))
    )


def _checked(screen: object, found: object) -> int:
    from advisor.cli.output import Screen
    from advisor.studies.check import Checked

    assert isinstance(screen, Screen)
    assert isinstance(found, Checked)

    def page() -> Page:
        from advisor.present.inventory import checked_page

        return checked_page(found, screen.columns)

    screen.give(found, lambda: [w.as_dict() for w in found.warnings], page)
    return 0
