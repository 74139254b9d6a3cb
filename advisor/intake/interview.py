"""Questions one after another, from a table, until a file can be written.

An interview is a state: what was answered so far. Which question comes next follows from that
alone, so going back is forgetting the last answer. Each answer is put into the document and read by
the schema's own reader and rules; what is wrong with it is raised and changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import field, replace
from typing import Any, Literal, NamedTuple

from advisor.catalogue.records import Catalogue
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog, nearest
from advisor.intake.forms import Filled, Form, Keys, Notes, below
from advisor.intake.written import document
from advisor.source import Document, read_text
from advisor.texts import HOSTILE, named

LONGEST = 1000  # characters of an answer


class Default(NamedTuple):
    """What Enter takes, and why."""

    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Given:
    """An answer; None as text: not known. `reason` is that of a default that was taken."""

    text: str | None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class View:
    """What tables may look at: what was filled so far, and the catalogue at hand."""

    filled: Filled
    catalogue: Catalogue

    def names(self, *at: str) -> tuple[str, ...]:
        """The names below some keys."""
        return tuple(below(self.filled, at))

    def has(self, *at: str) -> bool:
        """Whether anything was filled there."""
        return any(keys[: len(at)] == at for keys in self.filled)

    def text(self, *at: str) -> str | None:
        """What was filled there."""
        return self.filled.get(at)


Defaults = Default | Callable[[View], Default | None] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """An entry of a table: a question, asked once, or for each of some names.

    Attributes
    ----------
    key : what its answer is called in scripts, and the dotted keys that it fills; `{0}`, `{1}`
    stand for names. words : the question. example : an answer. more : what `?` explains. each :
    the names that it is asked for, as tuples. when : whether it is asked. at : the keys that it
    fills, where those are others. known : the only names that may be told. offers : what may be
    told, among others. needed : whether it may not be skipped.
    """

    key: str
    words: str
    example: str
    form: Form
    more: str = ""
    default: Defaults = None
    each: Callable[[View], tuple[tuple[str, ...], ...]] | None = None
    when: Callable[[View], bool] | None = None
    at: Keys | None = None
    known: Callable[[View], tuple[str, ...]] | None = None
    offers: Callable[[View], tuple[str, ...]] | None = None
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """A question as it is asked."""

    key: str
    words: str
    example: str
    more: str
    default: Default | None
    needed: bool
    form: Form = field(repr=False)
    at: Keys = ()
    known: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Everything that is asked of a kind of file.

    Attributes
    ----------
    blanks : keys that are not asked, with an example each. derive : keys that follow from others.
    read : the record of a document, with its faults noted. odd : what looks odd in one.
    """

    kind: Literal["part", "product"]
    cls: type[Any]
    steps: tuple[Step, ...]
    blanks: Mapping[Keys, str]
    derive: Callable[[Filled, Notes, Catalogue], tuple[Filled, Notes]]
    read: Callable[[Document, str, Catalogue, FaultLog], Any]
    odd: Callable[[Any, Document, Catalogue], tuple[Fault, ...]]
    head: str


class Interview:
    """The questions of a table about one file.

    Parameters
    ----------
    catalogue : what the file will stand beside, for names that it may use. free : raises a fault
    for an id that cannot be taken.
    """

    def __init__(
        self,
        table: Table,
        catalogue: Catalogue,
        free: Callable[[str], object] | None = None,
    ) -> None:
        self.table = table
        self.catalogue = catalogue
        self._free = free
        self.given: dict[str, Given] = {}
        self._again: dict[str, Fault] = {}  # questions that may no longer be skipped

    @property
    def identity(self) -> str:
        """The file's id, as far as it is known."""
        given = self.given.get(self.table.kind)
        return (given and given.text) or f"new-{self.table.kind}"

    @property
    def refused(self) -> frozenset[str]:
        """Keys of questions that the finished file refused, and that are asked again."""
        return frozenset(self._again)

    # ------------------------------------------------------------------ which question

    def _walk(self, *, assume: bool = False) -> Iterator[tuple[Question, Given | None, Filled]]:
        """Each question that is asked, with its answer and all that was filled up to it.

        A question without an answer ends the walk, or with `assume` gets its default.
        """
        filled: Filled = {}
        for step in self.table.steps:
            view = View(filled, self.catalogue)
            for names in ((),) if step.each is None else step.each(view):
                view = View(filled, self.catalogue)
                if step.when is not None and not step.when(view):
                    continue
                question = _question(step, names, view)
                if question.key in self._again:
                    question = replace(question, needed=True)
                given = self.given.get(question.key)
                if given is None and assume and question.default is not None:
                    given = Given(question.default.text, question.default.reason)
                if given is not None and given.text is not None:
                    try:
                        filled = {**filled, **question.form.read(given.text, question.at)}
                    except FaultError:
                        given = None  # names that it rests on have changed
                yield question, given, filled
                if given is None and not assume:
                    return

    def next(self) -> Question | None:
        """The next question; None after the last."""
        for question, given, _ in self._walk():
            if given is None:
                return question
        return None

    def questions(self) -> list[Question]:
        """Every question that would be asked if each default were taken."""
        return [question for question, _, _ in self._walk(assume=True)]

    def position(self) -> int:
        """How many questions have been answered, the file's id aside."""
        answered = [q.key for q, given, _ in self._walk() if given is not None]
        return len([key for key in answered if key != self.table.kind])

    # ------------------------------------------------------------------ answers

    def answer(self, question: Question, text: str) -> None:
        """Take an answer.

        Raises
        ------
        FaultError
            With what is wrong with it; nothing has changed then.
        """
        text = text.replace("\t", " ").strip()
        bad = HOSTILE.search(text)
        if bad is not None:
            self._refuse(question, named(bad[0]), "printable text")
        if len(text) > LONGEST:
            self._refuse(question, f"{len(text)} characters", f"at most {LONGEST}")
        path = f"{self.identity}:{question.key}"
        try:
            filled = question.form.read(text, question.at)
        except FaultError as error:
            raise FaultError(replace(f, path=path, place=None) for f in error.faults) from None
        if (not filled and text != "none") or '""' in filled.values():
            self._refuse(question, "nothing", f"an answer, such as {question.example}")
        known = question.known
        unknown = [name for name in below(filled, question.at) if known and name not in known]
        if unknown:
            expected = "one of " + ", ".join(known)
            raise FaultError(
                Fault(path, f'"{name}"', expected, nearest=nearest(name, known)) for name in unknown
            )
        if question.key == self.table.kind and self._free is not None:
            self._free(text)
        self._take(question, Given(text))

    def take(self, question: Question) -> None:
        """Take the default of a question that has one."""
        assert question.default is not None
        self._take(question, Given(question.default.text, question.default.reason))

    def skip(self, question: Question) -> None:
        """Leave what is asked for absent: not known.

        Raises
        ------
        FaultError
            Where it must be known.
        """
        if question.needed:
            self._refuse(question, "nothing", "an answer: nothing can be made without it")
        self.given[question.key] = Given(None)

    def back(self, keep: Collection[str] = ()) -> bool:
        """Forget the last answer, but for those to `keep`; whether there was one."""
        last = None
        for question, given, _ in self._walk():
            if given is not None and question.key in self.given and question.key not in keep:
                last = question.key
        if last is None:
            return False
        del self.given[last]
        return True

    def done(self) -> Question | None:
        """Take the defaults of all further questions and leave the others absent.

        The first question that must be answered, if one must; all before it are settled then.
        """
        while (question := self.next()) is not None:
            if question.default is not None:
                self.take(question)
            elif question.needed:
                return question
            else:
                self.skip(question)
        return None

    def name(self, identity: str) -> None:
        """Answer the first question, the file's id.

        Raises
        ------
        FaultError
            For what is no id.
        """
        question = self.next()
        assert question is not None
        assert question.key == self.table.kind
        self.answer(question, identity)

    def _take(self, question: Question, given: Given) -> None:
        before = self.given.get(question.key)
        known = {(f.path, f.read) for f in self._faults()}
        self.given[question.key] = given
        found = [fault for fault in self._faults() if (fault.path, fault.read) not in known]
        # what is not told yet may still be told
        new = [fault for fault in found if not _untold(fault, question)]
        if new:
            skipped = self._skipped_for(question, found)
            del self.given[question.key]
            if before is not None:
                self.given[question.key] = before
            new = self._caused(new, skipped)
            raise FaultError(replace(fault, place=None) for fault in (*skipped, *new))
        self._again.pop(question.key, None)

    def _skipped_for(self, question: Question, faults: list[Fault]) -> list[Fault]:
        """Of an answer's faults those that a question was skipped that it rests on."""
        absent = {f.path.partition(":")[2] for f in faults if _untold(f, question)}
        return [
            Fault(
                f"{self.identity}:{one.key}",
                "nothing",
                f"an answer, such as {one.example}: {question.key} rests on it",
            )
            for one, given, _ in self._walk()
            if ".".join(one.at) in absent and given is not None and given.text is None
        ]

    def _caused(self, faults: list[Fault], skipped: list[Fault]) -> list[Fault]:
        """Faults without those that a key is absent of which nothing was asked, for what was
        skipped."""
        if not skipped:
            return faults
        asked = {question.key for question, _, _ in self._walk()}
        unasked = {step.key for step in self.table.steps} - asked
        return [f for f in faults if unasked.isdisjoint(f.read.split())]

    def _refuse(self, question: Question, read: str, expected: str) -> None:
        raise FaultError((Fault(f"{self.identity}:{question.key}", read, expected),))

    def unused(self, keys: Mapping[str, str], wrong: Collection[str] = ()) -> list[Fault]:
        """Faults of answers to questions that are not asked.

        Whether the questions behind the first of `wrong`, which were answered wrongly, are asked
        may follow from it: nothing is told of these.
        """
        asked = [question.key for question, _, _ in self._walk(assume=True)]
        of = [re.compile(re.sub(r"\\{\d\\}", ".+", re.escape(s.key))) for s in self.table.steps]
        first = next((i for i, step in enumerate(of) if any(map(step.fullmatch, wrong))), len(of))
        behind = of[first:]
        return [
            Fault(
                key, f'"{text}"', "the key of a question that is asked", nearest=nearest(key, asked)
            )
            for key, text in keys.items()
            if key not in asked and not any(step.fullmatch(key) for step in behind)
        ]

    # ------------------------------------------------------------------ the document

    def document(self, *, assume: bool = False) -> str:
        """The file as it stands, with the defaults of open questions if they are assumed."""
        filled: Filled = {}
        notes: Notes = {}
        for question, given, after in self._walk(assume=assume):
            if given is not None and given.reason is not None:
                for keys in [k for k in after if k not in filled][:1]:
                    notes[_above(keys, question.at)] = f"default: {given.reason}"
            filled = after
        filled, notes = self.table.derive(filled, notes, self.catalogue)
        return document(self.table.cls, filled, notes, self.table.blanks, self.table.head)

    def assumed(self) -> list[tuple[Question, Default]]:
        """Questions that have no answer yet, with the defaults that stand for them meanwhile."""
        return [
            (question, question.default)
            for question, given, _ in self._walk(assume=True)
            if question.key not in self.given and question.default is not None and given is not None
        ]

    def taken(self) -> dict[str, str]:
        """Keys of questions whose default was taken, with it."""
        return {
            q.key: given.text
            for q, given, _ in self._walk()
            if given is not None and given.text is not None and given.reason is not None
        }

    def skipped(self) -> list[str]:
        """Keys of questions whose answer is not known."""
        return [q.key for q, given, _ in self._walk() if given is not None and given.text is None]

    def finish(self) -> str:
        """The text of the file, read back without a fault.

        Raises
        ------
        FaultError
            With what is wrong with it; the questions that may mend it are asked again then.
        """
        text = self.document()
        faults = self._faults(text)
        if not faults:
            return text
        asked = [question for question, _, _ in self._walk()]
        for fault in faults:
            question = _nearest(fault, asked)
            if question is not None and question.key in self.given:
                del self.given[question.key]
                self._again[question.key] = fault
        raise FaultError(replace(fault, place=None) for fault in faults)

    def odd(self, text: str) -> tuple[Fault, ...]:
        """What looks odd in the finished file: warnings, as the checks of its kind give them."""
        found = read_text(text, f"{self.identity}.yaml")
        record = self.table.read(found, self.identity, self.catalogue, FaultLog())
        return self.table.odd(record, found, self.catalogue)

    def _faults(self, text: str | None = None) -> tuple[Fault, ...]:
        """Everything that is wrong with the document."""
        file = f"{self.identity}.yaml"
        log = FaultLog()
        try:
            found = read_text(self.document() if text is None else text, file)
            self.table.read(found, self.identity, self.catalogue, log)
        except FaultError as error:
            return (*log.faults, *error.faults)
        except ValueError as error:  # a value that is no YAML
            return (Fault(self.identity, str(error), "a value on one line"),)
        return tuple(log.faults)


def _question(step: Step, names: tuple[str, ...], view: View) -> Question:
    default = step.default(view) if callable(step.default) else step.default
    at = step.at if step.at is not None else tuple(step.key.split("."))
    return Question(
        key=step.key.format(*names),
        words=step.words.format(*names),
        example=step.example,
        more=step.more,
        default=default,
        needed=step.needed,
        known=() if step.known is None else step.known(view),
        offers=() if step.offers is None else step.offers(view),
        form=step.form,
        at=tuple(key.format(*names) for key in at),
    )


def _above(keys: Keys, at: Keys) -> Keys:
    """Where the reason of a default stands: above what was asked, or what holds it."""
    return at if keys[: len(at)] == at else keys


def _untold(fault: Fault, question: Question) -> bool:
    """Whether a fault is that something else is absent, which a later answer may mend."""
    path, own = fault.path.partition(":")[2], ".".join(question.at)
    if path == own or path.startswith(f"{own}."):
        return False
    absent = ("nothing", "no such key", "no weight above zero")
    return fault.read in absent or fault.read.startswith("nothing, and ")


def _nearest(fault: Fault, asked: list[Question]) -> Question | None:
    """The question whose keys are the fault's, or stand nearest above or below them."""
    path = fault.path.partition(":")[2]
    best: tuple[int, Question] | None = None
    for question in asked:
        at = ".".join(question.at)
        near = path == at or path.startswith(f"{at}.") or at.startswith(f"{path}.")
        if near and (best is None or len(at) > best[0]):
            best = (len(at), question)
    return None if best is None else best[1]
