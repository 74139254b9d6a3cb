"""An interview in a terminal, or with answers from a script: what is said, what is read."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NoReturn

from advisor.cli.streams import await_answer, say
from advisor.faults import Fault, FaultError, Place

if TYPE_CHECKING:
    from advisor.intake.interview import Default, Interview, Question
    from advisor.studies.preview import Preview

FIRST = 5  # answers before the first look
PATIENCE = 2.0  # s that a first look may take before the next question
HOW = (
    "Enter takes the default; ? explains, back goes back, skip leaves it absent (not known, never "
    "zero), done takes the defaults of all the rest. Ctrl-C writes nothing."
)


class Script:
    """Answers that were given beforehand, by the key of their question.

    Parameters
    ----------
    options : each `KEY=VALUE`. file : answers of a file, with their places.
    """

    def __init__(
        self, options: list[str], file: Mapping[str, tuple[str, Place]], *, defaults: bool
    ) -> None:
        self.defaults = defaults
        self.places = {key: place for key, (_, place) in file.items()}
        self.answers = {key: text for key, (text, _) in file.items()}
        faults = []
        told: set[str] = set()
        for option in options:
            key, equals, text = option.partition("=")
            key = key.strip()
            if not equals or not key:
                expected = "KEY=VALUE, such as supply=1.8 V to 3.6 V"
                faults.append(Fault("--answer", f'"{option}"', expected))
            elif key in told:
                faults.append(Fault("--answer", f"{key} twice", "each question answered once"))
            told.add(key)
            self.answers[key] = text.strip()
            self.places.pop(key, None)
        if faults:
            raise FaultError(faults)

    def placed(self, error: FaultError, key: str) -> list[Fault]:
        """Faults of an answer, at its place in the file that has it."""
        return [replace(fault, place=self.places.get(key)) for fault in error.faults]


class Ahead:
    """A look at the answer so far, worked out while the user types."""

    def __init__(self, look: Callable[[], Preview]) -> None:
        self.found: Preview | None = None
        self.error: Exception | None = None
        self._look = look
        # it may outlast the interview; nothing waits for it then
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            self.found = self._look()
        except Exception as error:  # told where it is asked for
            self.error = error

    def ready(self, patience: float) -> bool:
        """Whether it is there, waited for no longer than some seconds."""
        self._thread.join(patience)
        return not self._thread.is_alive()


class Dialog:
    """Asks the questions of an interview until its file can be written.

    Parameters
    ----------
    columns : of the terminal. script : answers that need not be asked for. look : makes of an
    interview a look at its answer; None: there is none. warm : what may be made ready for it while
    the first answers are typed.
    """

    def __init__(
        self,
        interview: Interview,
        script: Script,
        columns: int,
        look: Callable[[Interview], Callable[[], Preview]] | None,
        warm: Callable[[], None] | None = None,
    ) -> None:
        self.interview, self.script, self.columns = interview, script, columns
        self._look, self._warm = look, warm
        # what was not typed is not asked anew
        self._keep = {*script.answers, *interview.given}
        self._warming: threading.Thread | None = None
        self._ahead: Ahead | None = None
        self._due = False
        self._shown: object = None
        self._asked = 0
        self._faults: list[Fault] = []
        self._wrong: list[str] = []

    def hold(self) -> str:
        """Ask everything; the text of the file, read back.

        Raises
        ------
        FaultError
            With every wrong answer of a script; where answers end too early.
        """
        started = False
        while True:
            question = self.interview.next()
            if question is None:
                try:
                    self._settle()
                    return self.interview.finish()
                except FaultError as error:
                    if self.script.defaults or not started or self.interview.next() is None:
                        raise
                    self._tell_faults(error)
                    continue
            if self._scripted(question):
                continue
            if self._faults:
                # nobody is asked to go on with what is refused in the end
                self._settle()
            if not started:
                started = True
                self._say(HOW)
                if self._warm is not None and self._look is not None:
                    self._warming = threading.Thread(target=self._warm, daemon=True)
                    self._warming.start()
            self._ask(question)

    def _settle(self) -> None:
        """Refuse wrong answers of a script, and those to questions that are not asked."""
        unused = self.interview.unused(self.script.answers, self._wrong)
        if self._faults or unused:
            placed = [replace(f, place=self.script.places.get(f.path)) for f in unused]
            raise FaultError([*self._faults, *placed])

    def _scripted(self, question: Question) -> bool:
        """Take an answer that was given beforehand; whether there was one."""
        text = self.script.answers.get(question.key)
        if text is None or question.key in self.interview.refused:
            if not self.script.defaults:
                return False
            text = ""
        try:
            self._take(question, text, scripted=True)
        except FaultError as error:
            self._faults += self.script.placed(error, question.key)
            self._wrong.append(question.key)
            # what follows may still be looked at
            if question.default is not None:
                self.interview.take(question)
            elif question.needed:
                self._settle()
            else:
                self.interview.skip(question)
        return True

    def _take(self, question: Question, text: str, *, scripted: bool = False) -> None:
        if text == "skip":
            self.interview.skip(question)
        elif text:
            self.interview.answer(question, text)
        elif question.default is not None:
            self.interview.take(question)
        elif scripted and not question.needed:
            self.interview.skip(question)
        else:
            path = f"{self.interview.identity}:{question.key}"
            expected = f"an answer, such as {question.example}"
            if scripted:
                expected += f", by --answer {question.key}=VALUE"
            else:
                expected += "; there is no default" + (
                    "" if question.needed else ", skip leaves it"
                )
            raise FaultError((Fault(path, "nothing", expected),))

    # ---------------------------------------------------------------- typed answers

    def _ask(self, question: Question) -> None:
        self._show_look()
        self._asked += 1
        self._pose(question, question.default)
        line = _line()
        if line is None:
            self._ended(question)
        text = line.strip()
        try:
            if text == "?":
                self._explain(question)
            elif text == "back":
                if not self.interview.back(self._keep):
                    self._say("this is the first question", "    ")
            elif text == "done":
                needed = self.interview.done()
                if needed is not None:
                    self._say("one more must be answered", "    ")
            else:
                self._take(question, text)
        except FaultError as error:
            self._tell_faults(error)
            return
        self._look_ahead()

    def _pose(self, question: Question, default: Default | None) -> None:
        number = self.interview.position() + 1
        self._say(f"{number}. {question.words}, such as {question.example}", "", "   ")
        if default is not None:
            self._say(f"Enter takes {default.text}: {default.reason}", "   ", "   ")
        print(f"{question.key}> ", end="", file=sys.stderr, flush=True)

    def _explain(self, question: Question) -> None:
        self._say(question.more or question.words + ".", "    ")
        if question.known:
            self._say("One of " + ", ".join(question.known) + ".", "    ")
        if question.offers:
            self._say("At hand: " + ", ".join(question.offers) + ".", "    ")
        must = "It must be answered." if question.needed else "skip leaves it absent: not known."
        self._say(f"Its key in scripts: {question.key}. {must}", "    ")

    def _tell_faults(self, error: FaultError) -> None:
        for fault in error.faults:
            self._say(fault.text(), "  ! ", "    ")

    def _ended(self, question: Question) -> NoReturn:
        print(file=sys.stderr)
        path = f"{self.interview.identity}:{question.key}"
        expected = (
            f"an answer: a line, --answer {question.key}=VALUE, --answers FILE, or --defaults"
        )
        raise FaultError((Fault(path, "the end of the answers", expected),))

    # ---------------------------------------------------------------- a look at the answer

    def _look_ahead(self) -> None:
        """Begin a look at what was told so far, once enough was."""
        if self._look is None or self.interview.position() < FIRST:
            return
        if self._ahead is not None and not self._ahead.ready(0):
            self._due = True
            return
        self._ahead = Ahead(self._look(self.interview))
        self._due = False

    def _show_look(self, patience: float | None = None) -> None:
        """Show a look that is ready: the first one whole, later ones where another part leads."""
        if self._ahead is None:
            return
        if patience is None:
            patience = PATIENCE if self._shown is None else 0.0
        if not self._ahead.ready(patience):
            if self._shown is None:
                self._shown = "late"
                self._say("(a first look takes longer than usual; it follows)", "   ")
            return
        found, error = self._ahead.found, self._ahead.error
        self._ahead = None
        if found is not None and self._shown != _gist(found):
            self._shown = _gist(found)
            self._present(found)
        elif error is not None and self._shown in (None, "late"):
            self._shown = "none"
            words = error.faults[0].text() if isinstance(error, FaultError) else str(error)
            self._say(f"No look at the answer yet: {words}", "   ")
        if self._due:
            self._look_ahead()

    def last_look(self, *, wanted: bool = False) -> Preview | None:
        """Show what the finished file leads to.

        Parameters
        ----------
        wanted : whether it was asked for: it is waited for as long as it takes then, and what is
            wrong with it is raised. Else it is shown if it is worked out in time.
        """
        if self._look is None or not (self._asked or wanted):
            return None
        if wanted:
            found = self._look(self.interview)()
            self._present(found)
            return found
        self._ahead = Ahead(self._look(self.interview))
        self._shown = None
        self._show_look(5 * PATIENCE)
        return None

    def close(self) -> None:
        """Wait a little for what is still worked out: nothing is to run on while all else ends."""
        if self._warming is not None:
            self._warming.join(2 * PATIENCE)
        if self._ahead is not None:
            self._ahead.ready(2 * PATIENCE)

    def _present(self, found: Preview) -> None:
        from advisor.present.preview import preview_page

        page = preview_page(found, self.interview.assumed(), self.columns)
        say(page.plain().rstrip("\n"))

    def _say(self, text: str, indent: str = "", hanging: str | None = None) -> None:
        from advisor.present.layout import Page

        page = Page(self.columns)
        page.paragraph(text, indent, hanging)
        say(page.plain().rstrip("\n"))


def _gist(found: Preview) -> tuple[Any, ...]:
    """What of a look is worth telling anew: who leads, or where one's own part stands."""
    own = found.own and next((row.rank for row in found.rows if row.part == found.own), None)
    return found.leads if found.own is None else None, own, found.lacks


def _line() -> str | None:
    """A line of standard input, however it is encoded; None at its end."""
    from advisor.intake.interview import LONGEST

    await_answer()
    buffer = getattr(sys.stdin, "buffer", None)
    if buffer is None:
        return sys.stdin.readline() or None
    data = buffer.readline(4 * LONGEST + 2)
    if not data:
        return None
    while not data.endswith(b"\n"):
        rest = buffer.readline(4 * LONGEST)
        if not rest:
            break
        # the rest of a line that is too long is no other answer
        data = data[: 4 * LONGEST + 2] + rest[-1:]
    for encoding in ("utf-8", sys.stdin.encoding or "utf-8"):
        try:
            return str(data.decode(encoding))
        except (UnicodeDecodeError, LookupError):
            continue
    return str(data.decode("utf-8", "backslashreplace"))
