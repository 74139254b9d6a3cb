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
from functools import lru_cache

from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultLog
from advisor.intake.devices import Laid

FLASH, RAM = "flash", "ram"
MOST = 2**40  # bytes of a region; a microcontroller has some 2^25

_NUMBER = re.compile(r"[+]?(?:0[xX]([0-9a-fA-F]+)|([0-9]+))")
_ACCESS = re.compile("[rwxpsnc]+")
_LEGACY = re.compile("(I?)(RAM|ROM)[1-8]")
_KEYS = ("name", "id", "start", "size", "access", "alias", "startup", "default")
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
    """Bytes of one kind of memory, and of which regions."""

    size: int
    of: tuple[str, ...]


def amounts(
    laid: Sequence[Laid], file: str, log: FaultLog
) -> tuple[dict[str, Amount], tuple[str, ...]]:
    """(program and data memory, as far as there are any; what was not counted, with why).

    What cannot be read is noted.
    """
    regions = [one for one in (_region(each, file, log) for each in laid) if one is not None]
    out: dict[str, Amount] = {}
    aside: list[str] = []
    for kind in (FLASH, RAM):
        mine = [r for r in regions if r.kind == kind and r.size]
        general = [r for r in mine if r.general] or mine
        if not general:
            continue
        size = sum(end - start for start, end in _union(general))
        out[kind] = Amount(size, tuple(f"{r.name} {in_bytes(r.size)}" for r in general))
        if size < sum(r.size for r in general):
            aside.append(f"{kind}: addresses named twice count once")
        aside += [
            f"{r.name} {in_bytes(r.size)}, not general-purpose" for r in mine if r not in general
        ]
    aside += [f"{r.name}, {r.why}" for r in regions if r.kind is None]
    return out, tuple(aside)


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
    read = _read(*(laid.values.get(key) for key in _KEYS))
    if isinstance(read, Region):
        return read
    name = laid.values.get("name") or laid.values.get("id") or "region"
    for key, expected in read:
        said = f'"{laid.values[key]}"' if key in laid.values else "nothing"
        log.add(Fault(f"memory {name}: {key}", said, expected, laid.place(key, file)))
    return None


@lru_cache(maxsize=4096)  # many devices have the same
def _read(
    name: str | None,
    legacy: str | None,
    start: str | None,
    size: str | None,
    access: str | None,
    alias: str | None,
    startup: str | None,
    default: str | None,
) -> Region | tuple[tuple[str, str], ...]:
    """A region, or (key, what is expected) of everything that is wrong with it."""
    faults = []
    numbers = []
    for key, text, most in (("start", start, 2**64), ("size", size, MOST)):
        number = _number(text)
        if number is None:
            faults.append((key, "a whole number, such as 0x8000"))
        elif number > most:
            faults.append((key, f"at most {most:#x}"))
        numbers.append(number)
    truths = [_TRUTHS.get((text or "0").strip()) for text in (startup, default)]
    faults += [
        (key, "1, 0, true or false")
        for key, truth in zip(("startup", "default"), truths, strict=True)
        if truth is None
    ]
    if access is not None and not _ACCESS.fullmatch(access):
        faults.append(("access", "letters of rwxpsnc"))
    if faults or numbers[0] is None or numbers[1] is None:
        return tuple(faults)
    starts = bool(truths[0])
    kind, why = _kind(name, legacy, access, alias, starts)
    shown = " ".join((name or legacy or "region").split())
    return Region(
        name=shown,
        start=numbers[0],
        size=numbers[1],
        kind=kind,
        why=why,
        general=starts or bool(truths[1]),
    )


def _kind(
    name: str | None, legacy: str | None, access: str | None, alias: str | None, startup: bool
) -> tuple[str | None, str]:
    """(what a region is, why it is neither)."""
    if alias is not None:
        return None, f"another address of {' '.join(alias.split())}"
    if access is None:
        known = _LEGACY.fullmatch(legacy or name or "")
        if known is not None:
            if not known[1]:
                return None, "outside of the chip"
            return (RAM if known[2] == "RAM" else FLASH), ""
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


def _number(text: str | None) -> int | None:
    found = _NUMBER.fullmatch(text.strip()) if text is not None and len(text) <= 40 else None
    if found is None:
        return None
    return int(found[1], 16) if found[1] else int(found[2])
