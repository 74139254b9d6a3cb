"""Packs to parts: what a pack tells of each device as a part's file, with what it does not tell."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from advisor.catalogue.compose import Line, document, mapping
from advisor.catalogue.kinds import DAY
from advisor.faults import Fault, FaultLog
from advisor.intake.archive import only_document
from advisor.intake.devices import (
    Device,
    Laid,
    Pack,
    books,
    descriptions,
    features,
    inherited,
    memories,
    processors,
    read_pack,
)
from advisor.intake.entries import (
    Brought,
    Entry,
    check_identities,
    chosen,
    file_bytes,
    identity_of,
    printable,
    yaml_identity,
    yaml_words,
)
from advisor.intake.markup import LARGEST
from advisor.intake.ports import Features, features_of, named_once
from advisor.intake.regions import FLASH, RAM, Amount, amounts, in_bytes

FASTEST = 10**11  # Hz
LONGEST_SUMMARY = 120  # characters
UNKNOWN = "…"
NOBODY = "NO_VENDOR:0"  # the standard's word for a device without a maker

# what no pack tells
_NEVER = tuple(
    Line(key, UNKNOWN, behind=words, off=True)
    for key, words in (
        ("kernels", "to measure: time, current and supply of each, at each point"),
        ("sleep-states", "to measure: current over temperature, wake-time, retains"),
        ("blocks", "to measure: current and time of one use, such as of a radio"),
        ("peak-current", "to measure"),
        ("price", "currency, breaks, multiple, lead-time"),
        ("board-area", "with all that stands beside it"),
        ("toolchain", "id, maturity, setup"),
    )
)
_FLOAT = {"NO_FPU": "none", "0": "none", "SP_FPU": "single", "DP_FPU": "double"}
_SOME_FLOAT = ("FPU", "1")  # "type of FPU depends on Dcore"
_SENTENCE = re.compile(r"(?<=[a-z)])[.:;] ")

_LEVEL = {
    "family": ("family", "Dfamily"),
    "subFamily": ("sub-family", "DsubFamily"),
    "device": ("device", "Dname"),
    "variant": ("variant", "Dvariant"),
}


def read_packs(path: Path, only: Sequence[str] = ()) -> Brought:
    """The parts that a pack (`.pack`) or its description (`.pdsc`) brings.

    Parameters
    ----------
    only : patterns of devices' or variants' names; all where there is none. What is wrong with a
        device that is not asked for is no fault.

    Raises
    ------
    FaultError
        With every fault, each with its line where the XML has it.
    """
    if path.suffix.lower() == ".pack":
        inner, data = only_document(path, ".pdsc", LARGEST)
        file = f"{path}/{inner}"
    else:
        data, file = file_bytes(path, LARGEST, "a pack's description"), str(path)
    pack = read_pack(data, file)
    wanted = chosen([d.names for d in pack.devices], only, "a device of the pack")
    devices = [d for d, asked in zip(pack.devices, wanted, strict=True) if asked]
    log = FaultLog()
    check_identities(((identity_of(d.name), d.name, d.element.place(file)) for d in devices), log)
    version = printable(pack.version or "", "release", devices[0].element.place(file), log)
    name = printable(pack.name, "name", devices[0].element.place(file), log)
    title = f"{name} {version}".rstrip()
    told = [_Told(pack, device, title, log) for device in devices]
    log.raise_if_any()
    entries = tuple(each.entry() for each in told)
    return Brought(name, version or None, entries, len(pack.devices) - len(devices))


class _Told:
    """What a pack tells of a device, in the words of a part's file."""

    def __init__(self, pack: Pack, device: Device, title: str, log: FaultLog) -> None:
        file = pack.file
        self.device, self.title, self.log, self.file = device, title, log, file
        self.place = device.element.place(file)
        self.cores = processors(device, file, log)
        self.memory, self.uncounted = amounts(memories(device), file, log)
        self.features = features_of(features(device), file, log)
        self.points = _points(self.cores, file, log)
        self.day = pack.date if pack.date and DAY.fullmatch(pack.date) else None
        self.maker = ""
        if (vendor := inherited(device, "Dvendor")) is not None:
            name, level = vendor
            if name != NOBODY:
                self.maker = printable(name.partition(":")[0], "Dvendor", level.place(file), log)
        self.name = printable(device.name, device.element.name, self.place, log)
        self.summary = self._summary()
        self.core = self._core()
        self.aside = self._aside()

    def _summary(self) -> str:
        for element in reversed(descriptions(self.device)):
            told = printable(element.text, "description", element.place(self.file), self.log)
            first = _SENTENCE.split(told, maxsplit=1)[0].partition(" - ")[0].rstrip(" .:;")
            if first:
                if len(first) > LONGEST_SUMMARY:
                    first = first[:LONGEST_SUMMARY].rpartition(" ")[0] or first[:LONGEST_SUMMARY]
                return f"{self.name}: {first}"
        return self.name

    def _core(self) -> dict[str, str]:
        out: dict[str, str] = {}
        kinds, floats, units = [], [], 0
        for laid in self.cores:
            given = laid.values
            core = given.get("Dcore", "").strip()
            if core and core != "other":
                kinds.append(f"{core} {given.get('DcoreVersion', '')}".strip())
            fpu = given.get("Dfpu")
            if fpu is not None and fpu not in (*_FLOAT, *_SOME_FLOAT):
                expected = f"one of {', '.join((*_FLOAT, *_SOME_FLOAT))}"
                place = laid.place("Dfpu", self.file)
                self.log.add(Fault("processor: Dfpu", f'"{fpu}"', expected, place))
            floats.append(_FLOAT.get(fpu or ""))
            units += self._units(laid)
        if kinds:
            what = ", ".join(dict.fromkeys(kinds))
            architecture = printable(what, "processor: Dcore", self.place, self.log)
            if architecture:
                out["architecture"] = yaml_words(architecture)
        if self.cores:
            out["cores"] = str(units)
        if len(set(floats)) == 1 and floats[0] is not None:
            out["float-unit"] = floats[0]
        return out

    def _units(self, laid: Laid) -> int:
        read = laid.values.get("Punits", "1").strip()
        if not (read.isascii() and read.isdecimal() and 1 <= int(read[:9]) <= 1024):
            place = laid.place("Punits", self.file)
            self.log.add(Fault("processor: Punits", f'"{read}"', "a number from 1 to 1024", place))
            return 1
        return int(read)

    def _aside(self) -> list[str]:
        """What the pack tells and a part's file has no key for."""
        out = list(self.features.notes)
        for laid in self.cores:
            if laid.values.get("Dfpu") in _SOME_FLOAT:
                out.append("floating-point hardware, its precision not stated")
        if len({_FLOAT.get(laid.values.get("Dfpu", "")) for laid in self.cores}) > 1:
            out.append("processors with different floating-point hardware")
        out += [f"memory not counted: {each}" for each in self.uncounted]
        out += [f"package {each}" for each in self.features.packages]
        if self.features.elsewhere:
            out.append(f"features of type {named_once(self.features.elsewhere)}")
        for level in reversed(self.device.levels):
            if level.below.get("deprecated"):
                day = level.below["deprecated"][0].text
                out.append(f"its {level.name} deprecated {day}".strip())
                break
        out += [f"book {title}" for title in books(self.device)]
        return [printable(each, "device", self.place, self.log) for each in out]

    # -------------------------------------------------------------------------------- the file

    def entry(self) -> Entry:
        """The part as a file."""
        lines, lacks = self._lines()
        text = document(lines, head=self._head(), check=False)
        facts = tuple(
            (key, value)
            for key, value in (
                ("core", self.core.get("architecture")),
                ("clock", self.points[0][1] if self.points else None),
                ("flash", _size(self.memory.get(FLASH))),
                ("ram", _size(self.memory.get(RAM))),
                ("package", "; ".join(self.features.packages) or None),
            )
            if value is not None
        )
        return Entry(
            folder="parts",
            identity=identity_of(self.name),
            name=self.name,
            text=text,
            place=self.place,
            lacks=tuple(lacks),
            aside=tuple(self.aside),
            facts=facts,
        )

    def _head(self) -> str:
        chain = [
            f"{word} {' '.join(level.attributes.get(key, '').split())}".rstrip()
            for level in self.device.levels
            for word, key in (_LEVEL[level.name],)
        ]
        out = [
            f"From the pack {self.title}: {', '.join(chain)}.",
            f"What stands behind a # with {UNKNOWN} is not in the pack: measure it or look it up.",
        ]
        if self.aside:
            out += ["", "Also in the pack:", *(f"- {each}" for each in self.aside)]
        return "\n".join(out)

    def _lines(self) -> tuple[list[Line], list[str]]:
        """(keys of the part, those that it lacks)."""
        lacks: list[str] = []

        def lack(key: str, words: str) -> Line:
            lacks.append(key)
            return Line(key, UNKNOWN, behind=words, off=True)

        lines = [Line("part", yaml_identity(identity_of(self.name)))]
        lines.append(Line("maker", yaml_words(self.maker)) if self.maker else lack("maker", ""))
        lines.append(Line("summary", yaml_words(self.summary)))
        lines.append(lack("lifecycle", "announced, active, last-orders or ended"))
        lines.append(
            Line("core", mapping(**self.core))
            if self.core
            else lack("core", "architecture, cores, float-unit")
        )
        lines.append(self._memory(lacks))
        lines += [
            self._window("supply", self.features.supply, "V", lacks),
            self._window("temperature", self.features.temperature, "degC", lacks),
        ]
        lines.append(self._features(lacks))
        note = yaml_words(self.title)
        evidence = {"kind": "pack", **({"date": self.day} if self.day else {}), "note": note}
        lines.append(Line("evidence", [Line("pack", mapping(**evidence))]))
        lines.append(self._operating_points(lacks))
        lines += _NEVER
        lacks += [line.key for line in _NEVER]
        return lines, lacks

    def _memory(self, lacks: list[str]) -> Line:
        sizes = {kind: size for kind in (FLASH, RAM) if (size := _size(self.memory.get(kind)))}
        lacks += [f"memory.{kind}" for kind in (FLASH, RAM) if kind not in sizes]
        if not sizes:
            return Line("memory", UNKNOWN, behind="flash, ram", off=True)
        terms = [f"{kind}: {' + '.join(self.memory[kind].of)}" for kind in sizes]
        return Line("memory", mapping(**sizes), above="; ".join(terms))

    def _window(
        self, key: str, limits: tuple[str | None, str | None], unit: str, lacks: list[str]
    ) -> Line:
        ends = {n: f"{v} {unit}" for n, v in zip(("min", "max"), limits, strict=True) if v}
        lacks += [f"{key}.{name}" for name in ("min", "max") if name not in ends]
        if not ends:
            return Line(key, UNKNOWN, behind="min, max", off=True)
        return Line(key, mapping(**ends))

    def _features(self, lacks: list[str]) -> Line:
        told: Features = self.features
        if not told.counts:
            lacks.append("features")
            return Line("features", UNKNOWN, behind="counts, such as uart, spi, adc-bits", off=True)
        terms = [
            f"{name}: {' + '.join(terms)}" for name, terms in told.terms.items() if len(terms) > 1
        ]
        unsaid = [
            f"{name}: {terms[0]}"
            for name, terms in told.terms.items()
            if len(terms) == 1 and terms[0].startswith("at least")
        ]
        counts = {name: str(count) for name, count in told.counts.items()}
        above = printable("; ".join([*terms, *unsaid]), "feature", self.place, self.log)
        return Line("features", mapping(**counts), above=above)

    def _operating_points(self, lacks: list[str]) -> Line:
        if not self.points:
            lacks.append("operating-points")
            return Line("operating-points", UNKNOWN, behind="clock, idle-current, supply", off=True)
        points = []
        for name, clock in self.points:
            lacks.append(f"operating-points.{name}.idle-current")
            inside = [
                Line("clock", clock),
                Line("idle-current", UNKNOWN, behind="to measure, with its supply", off=True),
                Line("evidence", "pack"),
            ]
            points.append(Line(name, inside))
        return Line("operating-points", points)


def _size(amount: Amount | None) -> str | None:
    return None if amount is None else in_bytes(amount.size)


def _points(cores: Sequence[Laid], file: str, log: FaultLog) -> list[tuple[str, str]]:
    """(name, clock) of the point at the top clock, one a processor where there are several."""
    out: dict[str, str] = {}
    for laid in cores:
        read = laid.values.get("Dclock")
        if read is None:
            continue
        plain = read.strip()
        if not (plain.isascii() and plain.isdecimal() and 0 < int(plain[:12]) <= FASTEST):
            place = laid.place("Dclock", file)
            log.add(Fault("processor: Dclock", f'"{read}"', "a whole number of Hz", place))
            continue
        who = identity_of(laid.values.get("Pname", "")) if len(cores) > 1 else ""
        name = who or "full"
        while name in out:
            name += "-2"
        out[name] = _clock(int(plain))
    return list(out.items())


def _clock(hertz: int) -> str:
    for unit, name in ((10**6, "MHz"), (10**3, "kHz")):
        if hertz >= unit:
            value = (Decimal(hertz) / unit).normalize()
            return f"{value:f} {name}"
    return f"{hertz} Hz"
