"""Every fault of a call at once: of its options, of the files that it reads, of what joins both."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

if TYPE_CHECKING:
    from advisor.faults import Fault, FaultError

T = TypeVar("T")
Reads = Callable[[Sequence[str]], T]  # reads files under changes
Rest = Callable[[T], Sequence["Fault"]]  # faults of options that rest on what is read


class Held:
    """What the library for options found wrong with the parameters of one call: its errors, each
    with the fault that it is."""

    def __init__(self) -> None:
        self._found: list[tuple[Any, Fault]] = []

    def add(self, error: Any, fault: Fault) -> None:
        """Keep an error with the fault that it is."""
        self._found.append((error, fault))

    def raise_all(self) -> None:
        """Raise what was wrong, if anything was.

        Raises
        ------
        FaultError
            With a fault for each.
        """
        from advisor.faults import FaultError

        if self._found:
            raise FaultError(fault for _, fault in self._found)

    @property
    def missing(self) -> bool:
        """Whether a parameter was not given that has to be, so that nothing can be read."""
        return any(fault.read == "nothing" for _, fault in self._found)

    def raise_whole(self, error: FaultError) -> NoReturn:
        """Raise faults of a call; where only one parameter is wrong, as the library tells it."""
        if len(self._found) == 1 and error.faults == (self._found[0][1],):
            raise self._found[0][0] from None
        raise error from None


def gathering(command: Any) -> None:
    """Have a command, as typer makes it, keep what is wrong with its parameters one by one.

    What is wrong stands as if it were not given; what the command calls is given it as `held`.
    """
    held, call = Held(), command.callback
    if not hasattr(getattr(call, "__wrapped__", None), "reads_first"):
        return  # one without bundles, which takes its parameters as the library tells them
    for parameter in command.params:
        parameter.process_value = _keeping(parameter, parameter.process_value, held)
    command.callback = lambda **given: call(**given, held=held)


def _keeping(
    parameter: Any, process: Callable[[Any, Any], Any], held: Held
) -> Callable[[Any, Any], Any]:
    from typer.exceptions import TyperException

    def kept(context: Any, value: Any) -> Any:
        try:
            return process(context, value)
        except TyperException as error:
            if context.resilient_parsing:
                raise
            error.ctx = context  # type: ignore[attr-defined]
            error.param = parameter  # type: ignore[attr-defined]
            held.add(error, _fault(parameter, value, error))
            return parameter.type_cast_value(context, parameter.get_default(context))

    return kept


def _fault(parameter: Any, value: Any, error: Any) -> Fault:
    from advisor.faults import Fault

    name = parameter.opts[0] if parameter.opts[0].startswith("-") else parameter.metavar
    if value is None:
        return Fault(str(name or parameter.name), "nothing", "it to be told")
    expected = str(error.message)
    if hasattr(error, "expected"):
        expected = error.expected
    elif hasattr(parameter.type, "choices"):
        expected = "one of " + ", ".join(map(str, parameter.type.choices))
    elif getattr(parameter.type, "min", None) is not None:
        number = "whole number" if "int" in parameter.type.name else "number"
        expected = f"a {number}, {parameter.type.min} at least"
        if parameter.type.max is not None:
            expected += f" and {parameter.type.max} at most"
    return Fault(str(name), f'"{value}"', expected)


def read_whole(
    read: Reads[T],
    changes: Sequence[str],
    wrong: Sequence[Fault],
    rest: Rest[T] | None,
    *,
    once: bool,
) -> T:
    """What is read of files, where nothing of a call is wrong.

    Where changes are all that is wrong with them, what rests on files is told of them without.

    Parameters
    ----------
    read : reads the files under changes. wrong : faults of the call that are known. rest : faults
        of options that rest on what is read. once : whether it can be read no second time.

    Raises
    ------
    FaultError
        With every fault.
    """
    from advisor.faults import FaultError

    faults, found = list(wrong), None
    try:
        found = read(changes)
    except FaultError as error:
        faults += error.faults
        sound = None if rest is None or once else _sound(changes, error)
        if sound is not None:
            with suppress(FaultError):
                found = read(sound)
    if found is not None and rest is not None:
        faults += rest(found)
    if faults:
        raise FaultError(dict.fromkeys(faults))
    assert found is not None
    return found


def _sound(changes: Sequence[str], error: FaultError) -> list[str] | None:
    """The changes without those at fault; None where something else is."""
    left = list(changes)
    for fault in error.faults:
        at = [text for text in changes if _of_change(text, fault)]
        if not at:
            return None
        left = [text for text in left if text not in at]
    return left


def _of_change(text: str, fault: Fault) -> bool:
    """Whether a fault is a change's: by its place, or as it repeats it whole."""
    if fault.place is None:
        return False
    file = fault.place.file
    if file == f"--set {text.partition('=')[0].strip()}":
        return True
    return file == "--set" and (fault.path == text or fault.read == f'"{text}"')
