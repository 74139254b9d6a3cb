"""The devices of a pack's description, with what they inherit (Open-CMSIS-Pack, PDSC format).

Family, sub-family, device and variant are laid over each other in that order, as the standard's
page on `/package/devices/family` says:

- `processor`: attributes add up over the levels, inner ones over outer ones; one without `Pname`
  speaks of all processors;
- `memory`: a region of the same `name` (`id`, where there is none) is extended or overwritten;
- `feature`: entries add up; an inner one of the same type, name and processor takes the place of
  the outer one, but for one of another resolution (the standard's own example adds timers of 16
  and of 32 bits);
- `description`, `book`: add up.

A device that has variants is what they share: the variants are the parts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultLog, Place
from advisor.intake.markup import Element, read_xml

_LEVEL = frozenset(
    ("processor", "memory", "feature", "book", "description", "deprecated", "device", "variant")
)
_WANTED = {
    "package": frozenset(("vendor", "name", "releases", "devices")),
    "releases": frozenset(("release",)),
    "devices": frozenset(("family",)),
    "family": _LEVEL | {"subFamily"},
    "subFamily": _LEVEL,
    "device": _LEVEL,
    "variant": _LEVEL,
}
_RESOLVED = frozenset(("Timer", "PWM", "ADC", "A/D", "DAC", "D/A"))  # whose m is a resolution
_TEXTS = frozenset(("vendor", "name", "description", "deprecated"))


@dataclass(frozen=True, slots=True)
class Device:
    """A device or variant, with the levels that it is laid over, outermost first."""

    name: str
    levels: tuple[Element, ...]

    @property
    def element(self) -> Element:
        """Its own element."""
        return self.levels[-1]

    @property
    def names(self) -> tuple[str, ...]:
        """Its name, and that of the device that it is a variant of."""
        own = self.levels[-1]
        device = self.levels[-2].attributes.get("Dname") if own.name == "variant" else None
        return (self.name,) if not device else (self.name, device)


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack's description: its name, the version and day of its last release, its devices."""

    file: str
    name: str
    version: str | None
    date: str | None
    devices: tuple[Device, ...]


def read_pack(data: bytes, file: str) -> Pack:
    """Read a description; `file` is what faults call it.

    Raises
    ------
    FaultError
        When it is no such document, or names no device.
    """
    root = read_xml(data, file, "package", _WANTED, _TEXTS)
    log = FaultLog()
    devices = tuple(
        device
        for top in root.below.get("devices", ())
        for family in top.below.get("family", ())
        for device in _of_family(family, file, log)
    )
    named = root.below.get("name", ())
    name = " ".join(named[0].text.split()) if named else ""
    if not name:
        log.add(Fault("package", "no name", "the element name", root.place(file)))
    elif not devices and not log.faults:
        log.add(Fault("package", "no device", "a pack with devices", root.place(file)))
    log.raise_if_any()
    # "the latest release comes first" (the standard's page on `releases`)
    releases = [r for one in root.below.get("releases", ()) for r in one.below.get("release", ())]
    last: Mapping[str, str] = releases[0].attributes if releases else {}
    return Pack(
        file=file,
        name=name,
        version=last.get("version"),
        date=last.get("date"),
        devices=devices,
    )


def _of_family(family: Element, file: str, log: FaultLog) -> Iterator[Device]:
    for levels in ((family,), *((family, sub) for sub in family.below.get("subFamily", ()))):
        for device in levels[-1].below.get("device", ()):
            variants = device.below.get("variant", ())
            for own, key in [(v, "Dvariant") for v in variants] or [(device, "Dname")]:
                chain = (*levels, device) if own is device else (*levels, device, own)
                name = " ".join(own.attributes.get(key, "").split())
                if name:
                    yield Device(name, chain)
                else:
                    log.add(Fault(own.name, f"no {key}", f"its {key}", own.place(file)))


@dataclass(slots=True)
class Laid:
    """Attributes laid over each other, the element that each comes from, and the outermost one."""

    values: dict[str, str] = field(default_factory=dict)
    origin: dict[str, Element] = field(default_factory=dict)
    first: Element | None = None

    def lay(self, element: Element) -> None:
        """Lay an element's attributes over those that are there."""
        if self.first is None:
            self.first = element
        self.values.update(element.attributes)
        self.origin.update(dict.fromkeys(element.attributes, element))

    def place(self, key: str, file: str) -> Place:
        """Where an attribute comes from; for one that is not there, the outermost element."""
        element = self.origin.get(key, self.first)
        assert element is not None
        return element.place(file)


def processors(device: Device, file: str, log: FaultLog) -> list[Laid]:
    """The processors of a device, in the order in which they are first named.

    Two of one level that differ about the same processor are faults.
    """
    every = Laid()
    named: dict[str, Laid] = {}
    for level in device.levels:
        once: dict[str, Laid] = {}
        for element in level.below.get("processor", ()):
            _no_quarrel(element, once, file, log)
        # what speaks of all comes before what speaks of one
        own = sorted(level.below.get("processor", ()), key=lambda e: "Pname" in e.attributes)
        for element in own:
            who = element.attributes.get("Pname")
            if who is None:
                every.lay(element)
                for one in named.values():
                    one.lay(element)
            elif who in named:
                named[who].lay(element)
            else:
                named[who] = Laid(dict(every.values), dict(every.origin), every.first)
                named[who].lay(element)
    return list(named.values()) or ([every] if every.first is not None else [])


def _no_quarrel(element: Element, once: dict[str, Laid], file: str, log: FaultLog) -> None:
    who = element.attributes.get("Pname", "")
    before = once.setdefault(who, Laid())
    for key, value in element.attributes.items():
        if before.values.get(key, value) != value:
            read = f'"{value}" after "{before.values[key]}" on the same level'
            log.add(Fault(f"processor {who}".strip(), read, f"one {key}", element.place(file)))
    before.lay(element)


def memories(device: Device) -> list[Laid]:
    """The memory regions of a device, in the order in which they are first named."""
    found: dict[tuple[str, str], Laid] = {}
    for level in device.levels:
        for element in level.below.get("memory", ()):
            given = element.attributes
            name = given.get("name") or given.get("id") or f"@{given.get('start', '')}"
            key = name, given.get("Pname", "")
            if key not in found:
                # a region of all processors may be narrowed to one, and the other way round
                near = (k for k in found if k[0] == name and "" in (k[1], key[1]))
                key = next(near, key)
            if key not in found:
                found[key] = Laid()
            found[key].lay(element)
    return list(found.values())


def features(device: Device) -> list[tuple[int, Element]]:
    """(level from the outside, entry) of a device's features, those superseded left out."""
    found: dict[tuple[str, str, str], list[tuple[int, Element]]] = {}
    for depth, level in enumerate(device.levels):
        own: dict[tuple[str, str, str], list[tuple[int, Element]]] = {}
        for element in level.below.get("feature", ()):
            get = element.attributes.get
            key = (get("type", ""), get("name", ""), get("Pname", ""))
            # the same twice on one level are two entries
            if key in own:
                own[key].append((depth, element))
            else:
                own[key] = [(depth, element)]
        for key, entries in own.items():
            outer = found.get(key)
            if outer and key[0] in _RESOLVED:
                entries[:0] = [one for one in outer if _apart(one, entries)]
        found.update(own)
    return [entry for entries in found.values() for entry in entries]


def _apart(outer: tuple[int, Element], inner: Sequence[tuple[int, Element]]) -> bool:
    """Whether all state a resolution and none that of the outer entry."""
    stated = outer[1].attributes.get("m")
    others = {element.attributes.get("m") for _, element in inner}
    return stated is not None and None not in others and stated not in others


def descriptions(device: Device) -> Sequence[Element]:
    """Descriptions from the outside in."""
    return [one for level in device.levels for one in level.below.get("description", ())]


def books(device: Device) -> list[str]:
    """Titles of the books, each once, from the outside in."""
    titles = [
        " ".join((one.attributes.get("title") or one.attributes.get("name") or "").split())
        for level in device.levels
        for one in level.below.get("book", ())
    ]
    return [title for title in dict.fromkeys(titles) if title]


def inherited(device: Device, key: str) -> tuple[str, Element] | None:
    """An attribute of the innermost level that has it."""
    for level in reversed(device.levels):
        if key in level.attributes:
            return level.attributes[key], level
    return None
