"""What a run writes: refused before any work where it may not be, then all of it or nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from advisor import files
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError

PLOTS = (".svg", ".png")


@dataclass(frozen=True, slots=True)
class Output:
    """A file to be written, the option that asks for it, whether its name must be free, and
    whether a new one is its owner's alone."""

    path: Path
    option: str
    new: bool = False
    private: bool = False


def check_outputs(outputs: Sequence[Output], inputs: Sequence[Path] = ()) -> None:
    """Refuse places that cannot be written, or whose writing would lose something.

    Parameters
    ----------
    inputs : what the run reads; files, and catalogue folders with what is in them.

    Raises
    ------
    FaultError
        With every fault: a folder, a file that may not be written, an input of the run (by whatever
        name or link), two outputs in one place, what a run that died left half-written.
    """
    faults: list[Fault] = []
    seen: list[tuple[Output, object]] = []
    read = [found for path in inputs for found in _below(path)] if outputs else []
    for output in outputs:
        if files.is_stream(output.path):
            continue
        why = _unwritable(output.path)
        there = _stat(output.path)
        if why is None and there is not None:
            named = next((p for p, s in read if files.same_file(s, there)), None)
            if named is not None:
                same = os.path.abspath(named) == os.path.abspath(output.path)
                why = "an input of this run" + ("" if same else f', "{named}"')
            elif any(files.same_file(s, there) for s in _open_streams()):
                why = "where this run's own standard output goes"
        place = (there.st_dev, there.st_ino) if there else os.path.realpath(output.path)
        other = next((o for o, p in seen if p == place), None)
        if why is None and other is not None:
            why = f"where {other.option} goes"
        seen.append((output, place))
        if why is not None:
            faults.append(_fault(output, why))
            continue
        whole = files.whole_of(Path(os.path.realpath(output.path)))
        if os.path.lexists(whole):
            what = f'"{output.path}", half-written by a run that was stopped'
            expected = f'the whole of it, "{whole}", put in its place or removed'
            faults.append(Fault(output.option, what, expected))
    if faults:
        raise FaultError(faults)


def _below(path: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """A file that is read, or the files that a catalogue folder has."""
    there = _stat(path)
    if there is None:
        return
    if not os.path.isdir(path):
        yield path, there
        return
    # a folder of parts may be a link; one level down is all, so there is no going round
    for folder, inner, names in os.walk(path, followlinks=True):
        if Path(folder) != path:
            inner.clear()
        for name in names:
            found = _stat(Path(folder, name))
            if found is not None:
                yield Path(folder, name), found


def _open_streams() -> Iterator[os.stat_result]:
    """What standard output is, where that is a file."""
    try:
        yield os.fstat(1)
    except OSError:
        return


def _stat(path: Path) -> os.stat_result | None:
    try:
        return os.stat(path)
    except (OSError, ValueError):
        return None


def _unwritable(path: Path) -> str | None:
    """Why a file cannot be written; None where it can."""
    if os.path.isdir(path):
        return "a folder"
    try:
        target = Path(os.path.realpath(path, strict=os.path.islink(path) and os.path.exists(path)))
        there = os.path.exists(target)
        if not there:
            os.lstat(target)
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:
        return str(getattr(error, "strerror", None) or "a name that cannot be")
    else:
        if not there:
            return "a link that leads to itself"
    if not target.parent.is_dir():
        return f'no folder "{target.parent}"'
    # whoever may do anything still means a file that nobody may write
    if there and not (os.stat(target).st_mode & 0o222 and os.access(target, os.W_OK)):
        return "a file that may not be written"
    if not os.access(target.parent, os.W_OK | os.X_OK):
        return f'a folder that cannot be written, "{target.parent}"'
    return None


def _fault(output: Output, read: str) -> Fault:
    return Fault(output.option, read, f'a file that can be written, not "{output.path}"')


def file_by_ending(path: Path, option: str = "--plot", endings: Sequence[str] = PLOTS) -> Path:
    """A file whose ending says what is to be written.

    Raises
    ------
    FaultError
        For another ending than those.
    """
    if path.suffix.lower() not in endings:
        ending = f'"{path.suffix}"' if path.suffix else "no ending"
        raise FaultError((Fault(option, ending, "a file that ends in " + " or ".join(endings)),))
    return path


def deliver(contents: Mapping[Output, bytes], show: Callable[[], None] | None = None) -> None:
    """Write files and show an answer, all of it or nothing.

    All files are on disk beside their places before the answer is shown, and put there after it.

    Raises
    ------
    FaultError
        When something cannot be written.
    BrokenPipeError
        When the answer's reader, or that of a pipe, has gone; the files are written all the same.
    """
    files.room_to_open(len(contents))
    with ExitStack() as stack:
        staged: list[tuple[Output, files.Staged]] = []
        for output, data in contents.items():
            if not files.is_stream(output.path):
                with _told(output):
                    file = files.Staged(output.path, data, private=output.private, new=output.new)
                    staged.append((output, stack.enter_context(file)))
        gone: BrokenPipeError | None = None
        try:
            if show is not None:
                show()
            for output, data in contents.items():
                if files.is_stream(output.path):
                    with _told(output):
                        files.send(output.path, data)
        except BrokenPipeError as error:
            gone = error
        for output, file in staged:
            with _told(output):
                file.put()
        if gone is not None:
            raise gone


class _told:  # noqa: N801 - a context manager
    """Errors of the system as faults of an output."""

    def __init__(self, output: Output) -> None:
        self.output = output

    def __enter__(self) -> None: ...

    def __exit__(self, _: object, error: BaseException | None, __: object) -> None:
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            raise FaultError((_fault(self.output, str(error.strerror or error)),)) from None


def write_folder(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Write files into a new or empty folder so that all are there or none.

    Raises
    ------
    FaultError
        For a folder that has something in it, or that cannot be written.
    """
    output = Output(folder, "DIR")
    if not os.path.exists(folder):
        check_outputs([output])
    elif not folder.is_dir() or any(folder.iterdir()):
        read = "a folder with files in it" if folder.is_dir() else "a file"
        raise FaultError((Fault("DIR", f'{read}, "{folder}"', "a new or empty folder"),))
    with _told(output):
        files.new_folder(folder, contents)


def add_files(
    folder: Path, contents: Mapping[str, bytes], option: str, show: Callable[[], None]
) -> None:
    """Write new files into a folder and show an answer, all of it or nothing.

    All files are on disk beside their places before the answer is shown, and put there after it.

    Parameters
    ----------
    folder : new, or with other files in it. contents : path below it to content.
    option : what asks for the folder.

    Raises
    ------
    FaultError
        When something cannot be written, or stands there already.
    BrokenPipeError
        When the answer's reader has gone; the files are written all the same.
    """
    if not contents:
        show()
        return
    output = Output(folder, option, new=True)
    if not os.path.isdir(os.path.dirname(os.path.realpath(folder))):
        read = f'no folder "{os.path.dirname(folder)}"'
        raise FaultError((Fault(option, read, f'a folder that can be made, not "{folder}"'),))
    with ExitStack() as stack:
        with _told(output):
            added = stack.enter_context(files.Added(folder, contents))
        gone: BrokenPipeError | None = None
        try:
            show()
        except BrokenPipeError as error:
            gone = error
        with _told(output):
            added.put()
        if gone is not None:
            raise gone


def check_free(output: Path | None, folder: Path, names: Sequence[str]) -> None:
    """Refuse an output in the place of a file that is added to a folder or stands in it.

    Parameters
    ----------
    names : the files' paths below the folder.

    Raises
    ------
    FaultError
        When it is one of them.
    """
    if output is None or files.is_stream(output):
        return
    place = os.path.realpath(output)
    base = os.path.realpath(folder)
    if place == base or any(place == os.path.join(base, *name.split("/")) for name in names):
        raise FaultError((_fault(Output(output, "--output"), "a file that is imported"),))
