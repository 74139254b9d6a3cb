"""What commands take beside their own options: bundles of the shared ones."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from advisor.cli.options import (
    READS,
    WRITES,
    AllOption,
    CatalogOption,
    DrawsOption,
    EstimateOption,
    Format,
    FormatOption,
    JobsOption,
    NoCacheOption,
    NoColorOption,
    OutputOption,
    QuietOption,
    SeedOption,
    SetOption,
    WidthOption,
)

if TYPE_CHECKING:
    from advisor.catalogue.records import Catalogue
    from advisor.catalogue.schema_product import Product
    from advisor.cli.output import Screen

# The order in which a command offers what its bundles hold.
ORDER = (
    *("catalog", "changes", "estimate_missing", "seed", "draws", "jobs", "everything"),
    *("form", "output", "width", "no_color", "quiet", "no_cache"),
)


class Bundle:
    """Options that go together: an annotated attribute each, with its default.

    A frozen record without the data classes' machinery, which costs each start some milliseconds.
    """

    def __init__(self, **given: Any) -> None:
        names = get_type_hints(type(self))
        if unknown := given.keys() - names:
            raise TypeError(f"{type(self).__name__} has no {', '.join(sorted(unknown))}")
        vars(self).update({name: getattr(self, name) for name in names} | given)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{type(self).__name__}.{name} is fixed")

    @classmethod
    def options(cls) -> dict[str, inspect.Parameter]:
        """What each attribute is as an option, by its name."""
        return {
            name: inspect.Parameter(
                name,
                inspect.Parameter.KEYWORD_ONLY,
                default=getattr(cls, name),
                annotation=annotation,
            )
            for name, annotation in get_type_hints(cls, include_extras=True).items()
        }


class Files(Bundle):
    """Where the figures come from."""

    catalog: CatalogOption = None
    changes: SetOption = None
    no_cache: NoCacheOption = False

    def product(
        self, reference: str, before: Sequence[str] = (), otherwise: Sequence[Path] = ()
    ) -> tuple[Catalogue, Product]:
        """The catalogue and a product, read and checked; what was changed `before` stays so.

        `otherwise` are the catalogue's folders where none was asked for.
        """
        from advisor.catalogue.shipped import load

        changes = [*before, *(self.changes or ())]
        return load(reference, self.catalog or otherwise, changes, cached=not self.no_cache)

    def catalogue(self) -> Catalogue:
        """The catalogue alone, read and checked."""
        from advisor.catalogue.load import load_catalogue

        return load_catalogue(self.catalog or (), self.changes or (), cached=not self.no_cache)


class RankedFiles(Files):
    """Where the figures come from by which parts are ranked."""

    estimate_missing: EstimateOption = False


class Workers(Bundle):
    """Who does the work."""

    jobs: JobsOption = 1


class Sampling(Workers):
    """The draws of what is uncertain."""

    seed: SeedOption = 1
    draws: DrawsOption = 2000


class Voice(Bundle):
    """What is said beside the result."""

    quiet: QuietOption = False

    def screen(self) -> Screen:
        """Where and how the result is shown; refuses a place that cannot be written."""
        from advisor.cli.output import Screen

        plain = {"form": Format.TABLE, "output": None, "width": 0, "no_color": True}
        return Screen(**{**plain, **vars(self)})


class Look(Voice):
    """How a page looks."""

    width: WidthOption = 0
    no_color: NoColorOption = False


class Form(Look):
    """A page, JSON or CSV."""

    form: FormatOption = Format.TABLE


class Show(Form):
    """All of how a result is shown."""

    output: OutputOption = None


class Answer(Show):
    """How an answer about a product is shown, which leaves things out."""

    everything: AllOption = False


class Command:
    """A command as typer reads it: options in place of the bundles that its function takes.

    They stand where the first bundle does, in the order of `ORDER`. They are taken apart when
    asked for: a call reads the options of its own command only.
    """

    def __init__(self, function: Callable[..., int]) -> None:
        self.function = function
        self.__name__ = function.__name__
        self.__module__ = function.__module__
        self.__doc__ = function.__doc__
        self.__annotations__ = {}  # the signature says it all

    @cached_property
    def bundles(self) -> dict[str, type[Bundle]]:
        """The bundles that the function takes, by the names of its parameters."""
        hints = get_type_hints(self.function)
        return {n: h for n, h in hints.items() if isinstance(h, type) and issubclass(h, Bundle)}

    @cached_property
    def __signature__(self) -> inspect.Signature:
        """The function's parameters, each bundle's fields in its place."""
        own = inspect.signature(self.function, eval_str=True)
        options = {
            name: option
            for bundle in self.bundles.values()
            for name, option in bundle.options().items()
        }
        shown: list[inspect.Parameter] = []
        for name, parameter in own.parameters.items():
            if name not in self.bundles:
                shown.append(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY))
            else:
                shown += sorted(options.values(), key=lambda option: ORDER.index(option.name))
                options.clear()
        return own.replace(parameters=shown)

    def __call__(self, **given: Any) -> int:
        """Call the function with its bundles filled, once what it would write may be written."""
        self._check(given)
        filled = {
            name: bundle(**{option: given.pop(option) for option in bundle.options()})
            for name, bundle in self.bundles.items()
        }
        return self.function(**given, **filled)

    def _check(self, given: dict[str, Any]) -> None:
        marked = {
            name: (mark, _option(parameter.annotation) or name)
            for name, parameter in self.__signature__.parameters.items()
            for mark in get_args(parameter.annotation)[1:]
            if mark in (READS, WRITES)
        }
        wanted = [
            (Path(given[name]), option)
            for name, (mark, option) in marked.items()
            if mark == WRITES and given[name] is not None
        ]
        if wanted:
            from advisor.cli.writing import Output, check_outputs

            read = [
                path
                for name, (mark, _) in marked.items()
                if mark == READS
                for path in _read(name, given[name])
            ]
            check_outputs([Output(path, option) for path, option in wanted], read)


def _option(annotation: Any) -> str | None:
    """The long spelling of an option; None for an argument."""
    for info in get_args(annotation)[1:]:
        # beside a type the first spelling stands where a default would
        for spelling in (getattr(info, "default", None), *(getattr(info, "param_decls", ()) or ())):
            if isinstance(spelling, str) and spelling.startswith("--"):
                return spelling
    return None


def _read(name: str, value: Any) -> Iterator[Path]:
    """The files and folders that a parameter marked `READS` names."""
    if isinstance(value, Path):
        yield value
    elif isinstance(value, list):
        yield from value
    elif name == "catalog":
        from advisor.catalogue.shipped import catalogue_folder

        yield catalogue_folder()
    elif name == "product":
        from advisor.catalogue.shipped import find_product, product_files

        if value is None:
            yield from product_files().values()
        else:
            yield Path("/dev/stdin") if value == "-" else find_product(value)
