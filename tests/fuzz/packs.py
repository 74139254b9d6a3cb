"""Packs and devicetree sources with changes in them, and what was brought in, checked."""

from __future__ import annotations

import io
import random
import re
import xml.etree.ElementTree as ET
import zipfile

from tests.fuzz import texts
from tests.fuzz.oracle import Bench
from tests.intake.packs import VALLEY
from tests.intake.trees import EXAMPLE, FIELD

FORMS = ("table", "json", "csv")
WORDS = (
    *("", "0", "1", "-1", "0x0", "0xffffffffffffffff", "1.8", "1e9", "99999999999", "true", "rwx"),
    *("r", "p", "VCC", "Temp", "UART", "ADC", "RTC", "QFN", "other", "IROM1", "RAM1", "SRAM", "m"),
    *("NO_FPU", "FPU", "½", "١٢", "\u202e", "\u0085", "a" * 300, "a:b", "- x", "# x", "{x}", "%"),
    *("…", "../x", "con", "..", "VN41B", "'", '"', "null", "no", "2026-01-01", "*x", "&x", "\t"),
)
NAMES = (
    *("package", "devices", "family", "subFamily", "device", "variant", "processor", "memory"),
    *("feature", "book", "description", "releases", "release", "name", "vendor", "deprecated", "x"),
)
KEYS = (
    *("Dname", "Dvariant", "Dvendor", "Dfamily", "Pname", "Punits", "Dcore", "Dclock", "Dfpu"),
    *("name", "id", "start", "size", "access", "alias", "default", "startup", "type", "n", "m"),
    *("count", "title", "version", "date"),
)


def _one_change(rng: random.Random, root: ET.Element) -> None:
    """An element or an attribute made another, doubled, moved or taken away."""
    every = list(root.iter())
    element = rng.choice(every)
    way = rng.randrange(8)
    if way == 0 and element.attrib:
        element.attrib.pop(rng.choice(list(element.attrib)))
    elif way == 1:
        element.set(rng.choice(KEYS), rng.choice(WORDS))
    elif way == 2 and element.attrib:
        element.set(rng.choice(list(element.attrib)), rng.choice(WORDS))
    elif way == 3:
        element.tag = rng.choice(NAMES)
    elif way == 4:
        element.text = rng.choice(WORDS) * rng.choice((1, 1, 50))
    elif way == 5 and len(element):
        element.remove(rng.choice(list(element)))
    elif way == 6 and len(element):
        inner = rng.choice(list(element))
        for _ in range(rng.choice((1, 1, 1, 200))):
            element.append(inner)
    elif way == 7:
        # not below itself: that would have no end
        other = rng.choice(every)
        if element not in list(other.iter()):
            element.append(other)


def description(rng: random.Random) -> bytes:
    """A pack's description with a few changes, well-formed or not."""
    root = ET.fromstring(VALLEY)
    for _ in range(rng.choice((1, 1, 2, 5))):
        _one_change(rng, root)
    data: bytes = ET.tostring(root, encoding=rng.choice(("utf-8", "utf-8", "utf-16", "us-ascii")))
    way = rng.random()
    if way < 0.15:
        data = texts.damaged(rng, data)
    elif way < 0.2:
        kinds = (b'<!DOCTYPE package [<!ENTITY a "x">]>', b"<?x y?>", b"<!-- -->", b"<![CDATA[x]]>")
        at = rng.choice([found.start() for found in re.finditer(b"<", data)] or [0])
        data = data[:at] + rng.choice(kinds) + data[at:]
    return data


def archive(rng: random.Random) -> bytes:
    """A pack: a zip with a description in it, sound or not."""
    out = io.BytesIO()
    methods = (zipfile.ZIP_DEFLATED, zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_LZMA)
    with zipfile.ZipFile(out, "w", rng.choice(methods)) as made:
        made.writestr(rng.choice(("a.pdsc", "A.PDSC", "a.pdsc", "in/a.pdsc")), description(rng))
        others = ("doc/x", "../x", "/x", "b.pdsc", "é", "a\\b", "C:x", "x/")
        for name in rng.sample(others, rng.choice((0, 0, 1, 2))):
            made.writestr(name, b"x" * rng.randrange(100))
    data = out.getvalue()
    if rng.random() < 0.6:
        data = texts.damaged(rng, data)
    if rng.random() < 0.2:
        # what it claims of itself: sizes, offsets, counts
        sign = rng.choice((b"PK\x01\x02", b"PK\x05\x06", b"PK\x03\x04"))
        at = data.find(sign)
        if at >= 0:
            at += rng.randrange(4, 22)
            data = data[:at] + bytes(rng.randrange(256) for _ in range(4)) + data[at + 4 :]
    return data


def source(rng: random.Random) -> bytes:
    """A devicetree source with pieces changed, doubled or taken away."""
    pieces = re.findall(r"[A-Za-z0-9_,.#-]+|\s+|.", rng.choice((EXAMPLE, FIELD)))
    for _ in range(rng.choice((1, 1, 2, 6))):
        at = rng.randrange(len(pieces))
        way = rng.randrange(4)
        if way == 0:
            del pieces[at]
        elif way == 1:
            pieces[at] = rng.choice((*WORDS, "<", ">", "{", "};", "/*", "(", "&store", "/bits/"))
        elif way == 2:
            pieces.insert(at, pieces[rng.randrange(len(pieces))])
        elif (numbers := [i for i, one in enumerate(pieces) if one.isdecimal()]) != []:
            pieces[rng.choice(numbers)] = rng.choice(("0", "1", "101", "9" * 15, "0x7fffffffffff"))
    data = "".join(pieces).encode("utf-8", "replace")
    return texts.damaged(rng, data) if rng.random() < 0.1 else data


def case(rng: random.Random, bench: Bench) -> None:
    """One case: a changed file, imported; what came of it, checked."""
    made = {".pdsc": description, ".pack": archive, ".dts": source}
    ending = rng.choice((".pdsc", ".pdsc", ".pack", ".dts"))
    name = f"x{ending}"
    (bench.folder / name).write_bytes(made[ending](rng))
    given = ["catalog", "import", name, "--into", "ours", "--format", rng.choice(FORMS)]
    if rng.random() < 0.2:
        given += ["--only", rng.choice(("*", "vn*", "V?41*", "[", "store", "[a-"))]
    if rng.random() < 0.1:
        given.append("--dry-run")
    said = bench.call(*given)
    if said.code == 0 and (bench.folder / "ours").exists():
        again = bench.call("catalog", "check", "--catalog", "ours")
        if again.code:
            words = again.err[-600:].decode(errors="replace")
            bench.fail(f"what was imported does not pass the check: {words}")
        said = bench.call(*given)
        if said.code:
            bench.fail("what stands the same is refused")
