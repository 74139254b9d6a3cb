"""How results are shown: on standard output or in a file, all or nothing."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.cli.options import LEAST_WIDTH, Format
from advisor.cli.streams import STDOUT, say, write_out
from advisor.cli.writing import Output, deliver
from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError
from advisor.texts import visible

if TYPE_CHECKING:
    from advisor.present.layout import Page


def terminal_columns() -> int:
    """Columns of the terminal that standard error goes to; 0 where it goes elsewhere."""
    if not sys.stderr.isatty():
        return 0
    try:
        columns = os.get_terminal_size(sys.stderr.fileno()).columns
    except OSError:
        columns = 0
    return max(columns or 80, LEAST_WIDTH)


@dataclass(frozen=True, slots=True)
class Screen:
    """How to show a result: what the shared options say.

    `beside` are files that are written with it, all or nothing. `origin` tells what a project's
    file chose to be read; JSON has it under `project`.
    """

    form: Format
    output: Path | None
    width: int
    no_color: bool
    quiet: bool
    everything: bool = False
    beside: dict[Output, bytes] = field(default_factory=dict)
    origin: Callable[[], dict[str, Any] | None] = lambda: None

    def __post_init__(self) -> None:
        """Refuse standard output that was closed before any work is done."""
        if self.output is None and not sys.stdout.writable():
            raise FaultError((Fault(STDOUT, "closed", "open, or a file by --output"),))

    @property
    def columns(self) -> int:
        """Columns to use; 0 where nothing should be wrapped."""
        if self.width:
            return self.width
        if self.output is None and sys.stdout.isatty():
            return max(shutil.get_terminal_size().columns, LEAST_WIDTH)
        return 0

    def give(
        self,
        document: object,
        rows: Callable[[], Sequence[Mapping[str, Any]]],
        page: Callable[[], Page],
        beside: Sequence[str] = (),
        head: Sequence[str] = (),
    ) -> None:
        """Give out a result in the form that was asked for.

        Parameters
        ----------
        document : for JSON. rows : for CSV, `beside` on standard error what rows cannot say, and
            `head` the names of the columns where there may be no row.
        page : for the table; only what is asked for is made.
        """
        if self.form is Format.TABLE:
            self.page(page())
            return
        from advisor.present.machine import to_csv, to_json

        if self.form is Format.JSON:
            origin = self.origin()
            if origin is not None:
                from advisor.studies.results import plain

                document = {**plain(document), "project": origin}
            text = to_json(document)
            self.text(text if self._takes(text) else to_json(document, ascii_only=True))
        else:
            self.warn(beside)
            self.text(to_csv(rows(), head))

    def keep(
        self,
        path: Path,
        data: bytes,
        option: str = "--output",
        *,
        new: bool = False,
        private: bool = False,
    ) -> None:
        """Have a file written along with the result; a `new` one over no other, a `private` one for
        its owner's eyes."""
        self.beside[Output(path, option, new, private)] = data

    def text(self, text: str) -> None:
        """Give out a text as it stands, and whatever is kept to be written with it."""
        if self.output is None:
            deliver(self.beside, lambda: write_out(text))
        else:
            self.keep(self.output, text.encode("utf-8", "backslashreplace"))
            deliver(self.beside)

    def page(self, page: Page) -> None:
        """Give out a page; in colour only on a terminal that wants it."""
        if self.output is not None or not self._colour():
            self.text(page.plain())
            return
        from rich.console import Console
        from rich.text import Text

        console = Console(highlight=False, markup=False, emoji=False, soft_wrap=True)

        def show() -> None:
            for line in page.lines:
                console.print(Text.assemble(*line), soft_wrap=True)

        deliver(self.beside, show)

    def _takes(self, text: str) -> bool:
        """Whether the text can be encoded where it goes."""
        encoding = "utf-8" if self.output is not None else sys.stdout.encoding or "utf-8"
        try:
            text.encode(encoding)
        except UnicodeError:
            return False
        return True

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
                say(visible(line))
