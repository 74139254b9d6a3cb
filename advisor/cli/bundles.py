"""What commands take beside their own options: bundles of the shared ones."""

from __future__ import annotations

import gc
import inspect
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args, get_type_hints

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
    from advisor.catalogue.families import FamilyRun
    from advisor.catalogue.project import Project
    from advisor.catalogue.records import Catalogue
    from advisor.catalogue.schema_product import Product
    from advisor.cli.gathering import Held, Reads, Rest
    from advisor.cli.output import Screen
    from advisor.faults import Fault, FaultError
    from advisor.model.served import Services

T = TypeVar("T")

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
    """Where the figures come from: what the call names, else what the project's file does."""

    catalog: CatalogOption = None
    changes: SetOption = None
    no_cache: NoCacheOption = False
    quiet: QuietOption = False
    stays = False  # whether what is read is wanted until the process ends

    @property
    def wrong(self) -> tuple[Fault, ...]:
        """Faults of the call itself, told with those of what it reads."""
        return (*vars(self).get("noted faults", ()),)

    def noted(self, check: Callable[..., T], *given: Any) -> T | None:
        """What a check gives; None where it finds faults, which are told with those of files."""
        from advisor.faults import FaultError

        try:
            return check(*given)
        except FaultError as error:
            vars(self)["noted faults"] = (*self.wrong, *error.faults)
            return None

    def product(
        self,
        reference: str,
        before: Sequence[str] = (),
        otherwise: Sequence[Path] = (),
        rest: Callable[[Catalogue, Product], Sequence[Fault]] | None = None,
    ) -> tuple[Catalogue, Product]:
        """The catalogue and a product, read and checked; what was changed `before` stays so.

        `otherwise` are the catalogue's folders where the call names none: before a project's.
        `rest` tells what is wrong of options that rest on both.
        """
        from advisor.catalogue.shipped import load

        own = {} if self.project is None else self.project.products
        folders = otherwise if otherwise and not self.catalog else self.folders

        def read(changes: Sequence[str]) -> tuple[Catalogue, Product]:
            every = [*before, *changes]
            return load(reference, folders, every, cached=not self.no_cache, own=own)

        def beside(both: tuple[Catalogue, Product]) -> Sequence[Fault]:
            return () if rest is None else rest(*both)

        found = self._whole(read, beside if rest else None, once=reference == "-")
        self._tell()
        return found

    def family(
        self,
        references: Sequence[str],
        before: Sequence[str] = (),
        otherwise: Sequence[Path] = (),
        also: Mapping[str, Path] | None = None,
    ) -> FamilyRun:
        """A family of products with the catalogue, read and checked.

        `before` and `otherwise` as for `product`; `also` are files of products, id to file.
        """
        from advisor.catalogue.families import load_family

        own = dict({} if self.project is None else self.project.products) | dict(also or {})
        folders = otherwise if otherwise and not self.catalog else self.folders

        def read(changes: Sequence[str]) -> FamilyRun:
            every = [*before, *changes]
            return load_family(references, folders, every, cached=not self.no_cache, own=own)

        found = self._whole(read)
        self._tell()
        return found

    def catalogue(self, rest: Callable[[Catalogue], Sequence[Fault]] | None = None) -> Catalogue:
        """The catalogue alone, read and checked; `rest` as for `product`."""
        from advisor.catalogue.load import load_catalogue

        def read(changes: Sequence[str]) -> Catalogue:
            return load_catalogue(self.folders, changes, cached=not self.no_cache)

        found = self._whole(read, rest)
        self._tell(overridden=True)
        return found

    def _whole(self, read: Reads[T], rest: Rest[T] | None = None, *, once: bool = False) -> T:
        """What is read with the call's changes; raises every fault of the call and of the files."""
        from advisor.cli.gathering import read_whole

        with self._reading():
            return read_whole(read, self.changes or (), self.wrong, rest, once=once)

    def last(self) -> None:
        """The process does nothing after this call."""
        vars(self)["stays"] = True

    def _reading(self) -> AbstractContextManager[None]:
        from advisor.source import collector_paused

        return collector_paused(stays=self.stays)

    def find(self, reference: str) -> Path:
        """The file of a product, by its path or id."""
        from advisor.catalogue.shipped import find_product

        return find_product(reference, None if self.project is None else self.project.products)

    @cached_property
    def project(self) -> Project | None:
        """The project that the working folder lies in; one that is not used is warned of."""
        from advisor.catalogue.project import find_project

        found, warning = find_project()
        if warning is not None and not self.quiet:
            _say(warning)
        return found

    @cached_property
    def folders(self) -> list[Path]:
        """The catalogue's folders, later ones over earlier ones."""
        from advisor.catalogue.shipped import catalogue_folder

        if self.catalog:
            return self.catalog
        own = [] if self.project is None else list(self.project.catalogues)
        demonstration = not own or (self.project is not None and self.project.demonstration)
        return [*([catalogue_folder()] if demonstration else []), *own]

    @cached_property
    def services(self) -> Services:
        """What stores answer, beginning with what earlier runs left in the cache."""
        from advisor.decide.shelf import Shelf
        from advisor.model.served import Services

        return Services(None if self.no_cache else Shelf())

    @property
    def own_folders(self) -> list[Path]:
        """The catalogue's folders where they are all one's own, named by the call or the project;
        else none."""
        if self.catalog:
            return self.catalog
        project = self.project
        return [] if project is None or project.demonstration else list(project.catalogues)

    @property
    def origin(self) -> dict[str, Any] | None:
        """What a project's file chose, for JSON; None where a call or nothing did."""
        if self.catalog or self.project is None or not self.project.catalogues:
            return None
        return {
            "file": str(self.project.file),
            "demonstration": self.project.demonstration,
            "catalogues": [str(folder) for folder in self.project.catalogues],
        }

    def _tell(self, overridden: bool = False) -> None:
        """Say in a line which catalogue a project's file chose."""
        project = self.project
        if self.quiet or project is None or not project.catalogues:
            return
        if not self.catalog:
            names = [*(["the demonstration"] if project.demonstration else [])]
            names += [str(folder) for folder in project.catalogues]
            _say(f"catalogue: {', '.join(names)}, by {project.file}")
        elif overridden:
            _say(f"catalogue: by --catalog, in place of that of {project.file}")

    def told(self, error: FaultError) -> FaultError:
        """Faults of a run; where ids are unknown and no catalogue was named, they say so."""
        from dataclasses import replace

        from advisor.faults import FaultError

        named = bool(self.catalog)
        if not named:
            with suppress(FaultError):  # of the project's file: they are told
                named = self.project is not None and bool(self.project.catalogues)
        if named or not any(fault.unknown for fault in error.faults):
            return error
        hint = (
            " (only the demonstration catalogue was read: one's own is named by --catalog DIR or "
            "in .part-advisor.yaml)"
        )
        return FaultError(
            replace(fault, expected=fault.expected + hint) if fault.unknown else fault
            for fault in error.faults
        )


class RankedFiles(Files):
    """Where the figures come from by which parts are ranked."""

    estimate_missing: EstimateOption = False


def _say(words: str) -> None:
    from advisor.cli.streams import say
    from advisor.texts import on_one_line

    say(on_one_line(f"part-advisor: {words}"))


class Workers(Bundle):
    """Who does the work."""

    jobs: JobsOption = None

    @property
    def workers(self) -> int:
        """How many there are: as many as told, else as this process may use cores."""
        from advisor.decide.workers import cores

        return self.jobs or cores()


class Sampling(Workers):
    """The draws of what is uncertain."""

    seed: SeedOption = 1
    draws: DrawsOption = 1000


class Voice(Bundle):
    """What is said beside the result."""

    quiet: QuietOption = False

    def screen(self) -> Screen:
        """Where and how the result is shown; refuses a place that cannot be written."""
        from advisor.cli.output import Screen

        plain = {"form": Format.TABLE, "output": None, "width": 0, "no_color": True}
        return Screen(**{**plain, **vars(self)})

    def beside(self, files: Files) -> None:
        """Have JSON say where the figures come from, as the project's file chose."""
        vars(self)["origin"] = lambda: files.origin


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

    # whether files are read before all else: the call's own faults are told with theirs then
    reads_first = False

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

    def __call__(self, *, held: Held | None = None, **given: Any) -> int:
        """Call the function with its bundles filled, once what it would write may be written."""
        from advisor.cli.gathering import Held
        from advisor.faults import FaultError

        held = held or Held()
        alone = not gc.isenabled()
        if alone:
            gc.freeze()  # what is loaded stays
            gc.enable()
        filled = {
            name: bundle(**{option: given[option] for option in bundle.options()})
            for name, bundle in self.bundles.items()
        }
        bundled = {option for bundle in self.bundles.values() for option in bundle.options()}
        own = {name: value for name, value in given.items() if name not in bundled}
        files = next((one for one in filled.values() if isinstance(one, Files)), None)
        if files is not None:
            if alone:
                files.last()
            for bundle in filled.values():
                if isinstance(bundle, Voice):
                    bundle.beside(files)
        read = Files() if files is None else files
        try:
            read.noted(held.raise_all)
            if not held.missing:
                read.noted(self._check, given, read)
            if read.wrong and (held.missing or not self.reads_first):
                raise FaultError(read.wrong)
            code = self.function(**own, **filled)
            if read.wrong:
                raise FaultError(read.wrong)
            return code
        except FaultError as error:
            whole = FaultError(dict.fromkeys((*read.wrong, *error.faults)))
            held.raise_whole(whole if files is None else files.told(whole))
        finally:
            if "services" in vars(read):
                read.services.put_away()

    def _check(self, given: dict[str, Any], files: Files) -> None:
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
                for path in _read(name, given[name], files)
            ]
            check_outputs([Output(path, option) for path, option in wanted], read)


class ReadingCommand(Command):
    """A command that reads its files before all else."""

    reads_first = True


def _option(annotation: Any) -> str | None:
    """The long spelling of an option; None for an argument."""
    for info in get_args(annotation)[1:]:
        # beside a type the first spelling stands where a default would
        for spelling in (getattr(info, "default", None), *(getattr(info, "param_decls", ()) or ())):
            if isinstance(spelling, str) and spelling.startswith("--"):
                return spelling
    return None


def _read(name: str, value: Any, files: Files) -> Iterator[Path]:
    """The files and folders that a parameter marked `READS` names."""
    if isinstance(value, Path):
        yield value
    elif name == "products":
        from advisor.catalogue.families import files_of

        own = {} if files.project is None else files.project.products
        yield from files_of(value, own)
    elif isinstance(value, list):
        yield from value
    elif name == "catalog":
        yield from files.folders
        if files.project is not None:
            yield files.project.file
    elif name == "product":
        from advisor.catalogue.shipped import product_files

        if value is None:
            yield from product_files().values()
            yield from () if files.project is None else files.project.products.values()
        elif value == "-":
            yield Path("/dev/stdin")
        else:
            from advisor.catalogue.families import family_file, files_of
            from advisor.faults import FaultError

            if family_file(value) is not None:
                yield from files_of([value], {})
            else:
                with suppress(FaultError):  # what is not there is told when it is read
                    yield files.find(value)
