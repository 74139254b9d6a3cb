"""How much program and data memory a device has, from the memory regions of its pack.

The rule, from the standard's page on `memory`:

- an `alias` of another region is the same memory, and a peripheral area (`p`) is none;
- without `access` the deprecated names tell: `IROM1` … program, `IRAM1` … data memory, both on the
  chip; `ROM1`, `RAM1` … stand outside of it;
- a region that the program starts in (`startup`) or that may be executed and not written (`x`
  without `w`) is program memory, one that may be written (`w`) data memory, any other neither;
- of each kind the general-purpose regions count (`default` or `startup`), or all of them where
  none is marked so;
- addresses that several regions name count once.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from advisor.faults import Fault, FaultLog
from advisor.intake.devices import Laid

FLASH, RAM = "flash", "ram"
MOST = 2**40  # bytes of a region; a microcontroller has some 2^25

_NUMBER = re.compile(r"[+]?(?:0[xX]([0-9a-fA-F]+)|([0-9]+))")
_ACCESS = re.compile("[rwxpsnc]+")
_LEGACY = re.compile("(I?)(RAM|ROM)[1-8]")
_TRUTHS = {"1": True, "true": True, "0": False, "false": False}


@dataclass(frozen=True, slots=True)
class Region:
    """A region of memory: what it is called, where it lies, what it is, and whether it counts."""

    name: str
    start: int
    size: int
    kind: str | None
    why: str = ""
    general: bool = False


@dataclass(frozen=True, slots=True)
class Amount:
    """Bytes of one kind of memory, of which regions, and which were not counted, with why."""

    size: int
    of: tuple[str, ...]
    aside: tuple[str, ...]


def amounts(laid: Sequence[Laid], file: str, log: FaultLog) -> dict[str, Amount]:
    """Program and data memory, as far as there are any; what cannot be read is noted."""
    regions = [one for one in (_region(each, file, log) for each in laid) if one is not None]
    neither = tuple(f"{r.name}, {r.why}" for r in regions if r.kind is None)
    out = {}
    for kind in (FLASH, RAM):
        mine = [r for r in regions if r.kind == kind and r.size]
        general = [r for r in mine if r.general] or mine
        if general:
            rest = [f"{r.name} {in_bytes(r.size)}, not general-purpose" for r in mine]
            aside = [text for r, text in zip(mine, rest, strict=True) if r not in general]
            size = sum(end - start for start, end in _union(general))
            of = [f"{r.name} {in_bytes(r.size)}" for r in general]
            if size < sum(r.size for r in general):
                aside.append("addresses named twice count once")
            out[kind] = Amount(size, tuple(of), tuple(aside))
    if neither and out:
        last = list(out)[-1]
        out[last] = Amount(out[last].size, out[last].of, (*out[last].aside, *neither))
    return out


def in_bytes(size: int) -> str:
    """An amount of memory as a file writes it."""
    for unit, name in ((1024 * 1024, "MiB"), (1024, "KiB")):
        if size % unit == 0:
            return f"{size // unit} {name}"
    return f"{size} B"


def _union(regions: Iterable[Region]) -> Iterator[tuple[int, int]]:
    """Stretches of addresses that the regions cover, from the lowest."""
    start = end = None
    for region in sorted(regions, key=lambda r: (r.start, r.size)):
        if start is None or end is None:
            start, end = region.start, region.start + region.size
        elif region.start > end:
            yield start, end
            start, end = region.start, region.start + region.size
        else:
            end = max(end, region.start + region.size)
    if start is not None and end is not None:
        yield start, end


def _region(laid: Laid, file: str, log: FaultLog) -> Region | None:
    given = laid.values
    name = given.get("name") or given.get("id") or "region"
    numbers = [_number(laid, key, file, log) for key in ("start", "size")]
    truths = [_truth(laid, key, file, log) for key in ("startup", "default")]
    access = given.get("access")
    if access is not None and not _ACCESS.fullmatch(access):
        place = laid.place("access", file)
        log.add(Fault(f"memory {name}: access", f'"{access}"', "letters of rwxpsnc", place))
        return None
    start, size = numbers
    startup, default = truths
    if start is None or size is None or startup is None or default is None:
        return None
    kind, why = _kind(given, access, startup)
    return Region(name, start, size, kind, why, startup or default)


def _kind(given: dict[str, str], access: str | None, startup: bool) -> tuple[str | None, str]:
    """(what a region is, why it is neither)."""
    if "alias" in given:
        return None, f"another address of {given['alias']}"
    if access is None:
        legacy = _LEGACY.fullmatch(given.get("id") or given.get("name") or "")
        if legacy is not None:
            if not legacy[1]:
                return None, "outside of the chip"
            return (RAM if legacy[2] == "RAM" else FLASH), ""
        access = "r"
    if "p" in access:
        return None, "a peripheral area"
    if startup:
        return FLASH, ""
    if "w" in access:
        return RAM, ""
    if "x" in access:
        return FLASH, ""
    return None, "neither executed nor written"


def _number(laid: Laid, key: str, file: str, log: FaultLog) -> int | None:
    name = laid.values.get("name") or laid.values.get("id") or "region"
    read = laid.values.get(key)
    if read is None:
        place = next(iter(laid.origin.values())).place(file) if laid.origin else None
        log.add(Fault(f"memory {name}", f"no {key}", f"its {key}", place))
        return None
    found = _NUMBER.fullmatch(read.strip()) if len(read) <= 40 else None
    value = None if found is None else int(found[1], 16) if found[1] else int(found[2])
    most = MOST if key == "size" else 2**64
    if value is None or value > most:
        expected = "a whole number, such as 0x8000"
        if value is not None:
            expected = f"at most {most:#x}"
        log.add(Fault(f"memory {name}: {key}", f'"{read}"', expected, laid.place(key, file)))
        return None
    return value


def _truth(laid: Laid, key: str, file: str, log: FaultLog) -> bool | None:
    read = laid.values.get(key, "0").strip()
    if read not in _TRUTHS:
        name = laid.values.get("name") or laid.values.get("id") or "region"
        place = laid.place(key, file)
        log.add(Fault(f"memory {name}: {key}", f'"{read}"', "1, 0, true or false", place))
        return None
    return _TRUTHS[read]
