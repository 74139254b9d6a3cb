"""What may stand where a shell's cursor is: commands, options, ids, and paths of figures.

A shell calls the program with `PART_ADVISOR_COMPLETE` set and the words of the line so far. Answers
go out a line each, with a tabulator and a word of help behind some. Nothing is ever said of what is
wrong: whoever is typing has not asked.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from yaml.nodes import Node

    from advisor.cli.bundles import Files as Chosen

KINDS = ("parts", "cells", "converters", "addons")
LINES = 400  # candidates are of no use beyond
PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./:=+,@%")
Completer = Callable[["Files", str], Iterator[tuple[str, str]]]


def answer(shell: str, words: Sequence[str]) -> None:
    """Print what may stand in place of the last of the words; nothing where that is not known."""
    try:
        # what a library may say while it is loaded would stand in the line that is being typed
        with open(os.devnull, "w") as nowhere:
            told, sys.stderr = sys.stderr, nowhere
            try:
                if shell == "bash":
                    words = bash_words()
                found = list(_unique(candidates(words)))[:LINES]
            finally:
                sys.stderr = told
        lines = bash_lines(words[-1], found) if shell == "bash" else _lines(found)
        sys.stdout.write("".join(f"{line}\n" for line in lines))
        sys.stdout.flush()
    except Exception:
        return


def _unique(found: Iterator[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    seen = set()
    for value, words in found:
        if value not in seen and value.isprintable():
            seen.add(value)
            yield value, words


def _lines(found: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{value}\t{words}" if words else value for value, words in found]


def bash_words() -> list[str]:
    """The words of bash's line up to the cursor. Its own end at `:` and `=`, which paths hold."""
    from typer._click.shell_completion import split_arg_string

    line = os.environ.get("COMP_LINE", "")
    # the cursor is told in bytes of the shell's encoding
    point = int(os.environ.get("COMP_POINT", len(line.encode())))
    before = line.encode()[:point].decode("utf-8", "ignore")
    words: list[str] = split_arg_string(before)[1:]
    return words if words and not before[-1:].isspace() else [*words, ""]


def bash_lines(word: str, found: Sequence[tuple[str, str]]) -> list[str]:
    """Candidates as bash takes them: of a word only what is behind its last break, escaped."""
    breaks = os.environ.get("COMP_WORDBREAKS", " \t\n\"'@><=;|&(:")
    last = max((word.rfind(mark) for mark in ":=@" if mark in breaks), default=-1)
    return [_escaped(value[last + 1 :]) for value, _ in found if value[last + 1 :]]


def _escaped(text: str) -> str:
    return "".join(c if c in PLAIN or not c.isascii() else f"\\{c}" for c in text)


def candidates(words: Sequence[str]) -> Iterator[tuple[str, str]]:
    """(word, help) of what may stand in place of the last word; the others stand before it."""
    import typer
    from typer._click.core import Parameter
    from typer._click.shell_completion import _resolve_context, _resolve_incomplete

    from advisor.cli.application import needed

    *before, word = words
    command = typer.main.get_command(needed(list(before)))
    # an option that still wants its value would keep all else of the line from being read
    wanting = bool(before) and before[-1].startswith("--") and "=" not in before[-1]
    done = before[:-1] if wanting else before
    context = _resolve_context(command, {}, "part-advisor", list(done))
    found, word = _resolve_incomplete(context, list(before), word)
    if isinstance(found, Parameter):
        shown = "" if found.name in UNTOLD else str(found.metavar)
        completer = COMPLETERS.get(shown)
        if completer is not None:
            yield from completer(Files(context.params), word)
            return
    for item in found.shell_complete(context, word):
        # files are left to the shell, which knows how it wants them
        if item.type == "plain" and str(item.value).startswith(word):
            yield str(item.value), (item.help or "").partition(". ")[0]


class Files:
    """The files that a line names, so far as it does."""

    def __init__(self, given: dict[str, Any]) -> None:
        self._given = given

    def folders(self) -> list[Path]:
        """The catalogue's folders, later ones over earlier ones."""
        return self._chosen().folders

    def _chosen(self) -> Chosen:
        """What the command itself would read."""
        from advisor.cli.bundles import Files as Chosen

        return Chosen(catalog=[Path(p) for p in self._given.get("catalog") or ()], quiet=True)

    def entries(self, kinds: Sequence[str] = KINDS) -> dict[str, Path]:
        """Files of the catalogue by id."""
        found = {}
        for folder in self.folders():
            for kind in kinds:
                try:
                    names = sorted(os.listdir(folder / kind))
                except OSError:
                    continue
                for name in names:
                    if name.endswith(".yaml") and name[0] not in "._":
                        found[name.removesuffix(".yaml")] = folder / kind / name
        return found

    def products(self) -> dict[str, Path]:
        """Files of products by id: the line's own, else the project's and the shipped ones."""
        from advisor.catalogue.places import product_files

        given, files = self._given.get("product"), self._chosen()
        if not given or given == "-":
            return product_files() | dict({} if files.project is None else files.project.products)
        from advisor.catalogue.families import family_file, files_of

        if family_file(str(given)) is not None:
            return product_files() | {path.stem: path for path in files_of([str(given)], {})}
        path = files.find(str(given))
        return {path.stem: path}

    def document(self, identity: str) -> Node | None:
        """The root of what bears an id."""
        from advisor.source import read_file

        known = {**self.entries(), **self.products()}
        if identity == "kernels":
            known["kernels"] = self.folders()[-1] / "kernels.yaml"
        return read_file(known[identity]).root if identity in known else None


def _starting(names: Sequence[str], word: str, words: str = "") -> Iterator[tuple[str, str]]:
    yield from ((name, words) for name in names if name.startswith(word))


def _products(files: Files, word: str) -> Iterator[tuple[str, str]]:
    yield from _starting(list(files.products()), word)


def _families(files: Files, word: str) -> Iterator[tuple[str, str]]:
    from advisor.catalogue.places import family_files

    yield from _starting([*files.products(), *family_files()], word)


def _parts(files: Files, word: str) -> Iterator[tuple[str, str]]:
    yield from _starting(list(files.entries(("parts",))), word)


def _ids(files: Files, word: str) -> Iterator[tuple[str, str]]:
    for name, path in files.entries().items():
        if name.startswith(word):
            yield name, path.parent.name.removesuffix("s")


def _kernels(files: Files, word: str) -> Iterator[tuple[str, str]]:
    """Names with commas between them."""
    from advisor.figures import names_in

    root = files.document("kernels")
    done, comma, last = word.rpartition(",")
    for name in [] if root is None else names_in(root):
        if name.startswith(last) and name not in done.split(","):
            yield f"{done}{comma}{name}", ""


def _criteria(files: Files, word: str) -> Iterator[tuple[str, str]]:
    """Names with commas between them."""
    from advisor.figures import Path as Keys
    from advisor.figures import names_in

    done, comma, last = word.rpartition(",")
    for path in files.products():
        root = files.document(path)
        node = None if root is None else Keys(path, ("priorities",)).node(root)
        for name in [] if node is None else names_in(node):
            if name.startswith(last) and name not in done.split(","):
                yield f"{done}{comma}{name}", ""


def _kinds(files: Files, word: str) -> Iterator[tuple[str, str]]:
    from advisor.studies.schema import KINDS as FILES

    yield from _starting(list(FILES), word)


def _paths(files: Files, word: str, end: str = "") -> Iterator[tuple[str, str]]:
    """Paths of figures, key by key; `end` is what stands behind a whole one."""
    from yaml.nodes import ScalarNode

    from advisor.figures import _children

    identity, colon, dotted = word.partition(":")
    if not colon:
        names = [*files.products(), *files.entries()]
        yield from ((f"{name}:", "") for name in names if name.startswith(identity))
        return
    root = files.document(identity)
    left = [("", root)] if root is not None else []
    while left:
        before, node = left.pop(0)
        for name, child in _children(node):
            path = f"{before}{name}"
            if isinstance(child, ScalarNode):
                if path.startswith(dotted):
                    yield f"{identity}:{path}{end}", str(child.value)
            elif dotted.startswith(f"{path}."):
                left.append((f"{path}.", child))
            elif path.startswith(dotted):
                yield f"{identity}:{path}.", ""


def _settings(files: Files, word: str) -> Iterator[tuple[str, str]]:
    """Paths, and behind `=` the value that stands."""
    from advisor.figures import resolve

    path, equals, value = word.partition("=")
    if not equals:
        yield from _paths(files, word, "=")
        return
    identity, _, dotted = path.partition(":")
    root = files.document(identity)
    node = None if root is None else resolve(root, dotted)
    stands = str(getattr(node, "value", ""))
    if isinstance(getattr(node, "value", None), str) and stands.startswith(value):
        yield f"{path}={stands}", "as it stands"


def _questions(files: Files, word: str) -> Iterator[tuple[str, str]]:
    from advisor.catalogue.schema_parts import QUESTIONS

    yield from ((name, words) for name, words in QUESTIONS.items() if name.startswith(word))


def _answers(files: Files, word: str) -> Iterator[tuple[str, str]]:
    from advisor.catalogue.schema_parts import ANSWERS

    yield from _starting(ANSWERS, word)


UNTOLD = frozenset(("toolchain",))  # an id of nothing that bears a file
# by what a parameter is shown as; whatever is not here is a file, or what only its user knows
COMPLETERS: dict[str, Completer] = {
    "PRODUCT": _products,
    "FAMILY|PRODUCT": _families,
    "FAMILY|PRODUCT...": _families,
    "PART": _parts,
    "[PART]...": _parts,
    "ID": _ids,
    "KIND": _kinds,
    "Q": _questions,
    "A": _answers,
    "NAMES": _kernels,
    "A,B,...": _criteria,
    "PATH|ID": _paths,
    "PATH=VALUE": _settings,
    "PATH[=FROM:TO]": _paths,
}
