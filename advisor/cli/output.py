"""Where results go: standard output or a file, all or nothing."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.cli.options import Format
from advisor.faults import Fault, FaultError

if TYPE_CHECKING:
    from advisor.present.layout import Page

LEAST_WIDTH = 40


@dataclass(frozen=True, slots=True)
class Screen:
    """How to show a result: what the shared options say."""

    form: Format
    output: Path | None
    width: int
    no_color: bool
    quiet: bool
    everything: bool = False

    def __post_init__(self) -> None:
        """Refuse a place that cannot be written before any work is done."""
        if self.output is not None:
            check_writable(self.output, "--output")

    @property
    def columns(self) -> int:
        """Columns to use; 0 where nothing should be wrapped."""
        if self.width:
            return max(self.width, LEAST_WIDTH)
        if self.output is None and sys.stdout.isatty():
            return max(shutil.get_terminal_size().columns, LEAST_WIDTH)
        return 0

    def give(
        self,
        document: object,
        rows: Callable[[], Sequence[Mapping[str, Any]]],
        page: Callable[[], Page],
        beside: Sequence[str] = (),
    ) -> None:
        """Give out a result in the form that was asked for.

        Parameters
        ----------
        document : for JSON. rows : for CSV, `beside` on standard error what rows cannot say.
        page : for the table; only what is asked for is made.
        """
        if self.form is Format.TABLE:
            self.page(page())
            return
        from advisor.present.machine import to_csv, to_json

        if self.form is Format.JSON:
            self.text(to_json(document))
        else:
            self.warn(beside)
            self.text(to_csv(rows()))

    def text(self, text: str) -> None:
        """Give out a text as it stands."""
        if self.output is None:
            sys.stdout.write(text)
            sys.stdout.flush()
            return
        write_bytes(self.output, text.encode())

    def page(self, page: Page) -> None:
        """Give out a page; in colour only on a terminal that wants it."""
        if self.output is not None or not self._colour():
            self.text(page.plain())
            return
        from rich.console import Console
        from rich.text import Text

        console = Console(highlight=False, markup=False, emoji=False, soft_wrap=True)
        for line in page.lines:
            console.print(Text.assemble(*line), soft_wrap=True)

    def _colour(self) -> bool:
        return (
            not self.no_color
            and not os.environ.get("NO_COLOR")
            and os.environ.get("TERM") != "dumb"
            and sys.stdout.isatty()
        )

    def warn(self, lines: Sequence[str]) -> None:
        """Warnings on standard error, unless quiet."""
        if not self.quiet:
            for line in lines:
                print(line, file=sys.stderr)


def check_writable(path: Path, option: str) -> None:
    """Refuse a place that cannot be written."""
    parent = path.parent
    if path.is_dir():
        raise _cannot(path, "a folder", option)
    if not parent.is_dir():
        raise _cannot(path, f'no folder "{parent}"', option)
    if not os.access(parent, os.W_OK):
        raise _cannot(path, f'a folder that cannot be written, "{parent}"', option)


def _cannot(path: Path, read: str, option: str) -> FaultError:
    return FaultError((Fault(option, read, f'a file that can be written, not "{path}"'),))


PLOTS = (".svg", ".png")


def file_by_ending(path: Path, option: str = "--plot", endings: Sequence[str] = PLOTS) -> Path:
    """A file whose ending says what is to be written, refused before any work is done.

    Raises
    ------
    FaultError
        For another ending than those, or a place that cannot be written.
    """
    if path.suffix.lower() not in endings:
        ending = f'"{path.suffix}"' if path.suffix else "no ending"
        raise FaultError((Fault(option, ending, "a file that ends in " + " or ".join(endings)),))
    check_writable(path, option)
    return path


def write_bytes(path: Path, data: bytes, option: str = "--output") -> None:
    """Write a file so that it is there whole or not at all.

    Raises
    ------
    FaultError
        When the file cannot be written.
    """
    try:
        descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(data)
            mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
            os.chmod(name, mode)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise _cannot(path, str(error.strerror), option) from None


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a new or empty folder so that all are there or none.

    Raises
    ------
    FaultError
        For a folder that has something in it, or that cannot be written.
    """
    if not folder.exists():
        check_writable(folder, "DIR")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        read = "a folder with files in it" if folder.is_dir() else "a file"
        raise FaultError((Fault("DIR", f'{read}, "{folder}"', "a new or empty folder"),))
    try:
        made = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
        try:
            for name, data in files.items():
                (made / name).parent.mkdir(parents=True, exist_ok=True)
                (made / name).write_bytes(data)
            os.chmod(made, 0o777 & ~_umask())
            os.replace(made, folder)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
    except OSError as error:
        raise _cannot(folder, str(error.strerror), "DIR") from None


def _umask() -> int:
    value = os.umask(0)
    os.umask(value)
    return value
