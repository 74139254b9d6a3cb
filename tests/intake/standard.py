"""What the standard lets stand in the devices of a description, set down as a table.

From the published schema of Open-CMSIS-Pack, PACK.xsd 1.7.32: attributes with the form of their
values (those in capitals must stand), and the elements inside in their order; what stands in
braces comes in any order. Elements that no test uses are left out.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

NUMBER = r"[+]?(0x|0X)?[0-9a-fA-F]+"
NAME = r"[-_A-Za-z0-9]+"
TRUTH = "true|false|1|0"
ANY = "(?s:.*)"
DATE = "[0-9]{4}-[0-9]{2}-[0-9]{2}"
LEVEL = ("deprecated", "processor", "{memory book description feature}")

ATTRIBUTES: dict[str, dict[str, str]] = {
    "package": {"SchemaVersion": ANY},
    "family": {"DFAMILY": ANY, "DVENDOR": "NO_VENDOR:0|Generic:5"},
    "subFamily": {"DSUBFAMILY": ANY},
    "device": {"DNAME": r"[-_A-Za-z0-9/]+"},
    "variant": {"DVARIANT": r"[-_A-Za-z0-9/]+"},
    "release": {"VERSION": ANY, "date": DATE},
    "processor": {
        "Pname": NAME,
        "Punits": "[1-9][0-9]*",
        "Dcore": "other",
        "DcoreVersion": ANY,
        "Dfpu": "NO_FPU|FPU|SP_FPU|DP_FPU|0|1",
        "Dmpu": "NO_MPU|MPU|0|1",
        "Dclock": "[0-9]+",
        "Dendian": "Little-endian|Big-endian|Configurable",
    },
    "memory": {
        "Pname": NAME,
        "id": "I(RAM|ROM)[1-8]",
        "name": NAME,
        "START": NUMBER,
        "SIZE": NUMBER,
        "access": "[rwxpsnc]+",
        "alias": NAME,
        "default": TRUTH,
        "startup": TRUTH,
    },
    "book": {"Pname": NAME, "NAME": ANY, "TITLE": ANY},
    "description": {"Pname": NAME},
    "feature": {
        "Pname": NAME,
        "TYPE": ANY,
        "n": ANY,
        "m": ANY,
        "name": ANY,
        "count": "-?[0-9]+",
    },
}
INSIDE: dict[str, tuple[str, ...]] = {
    "package": ("{vendor name description url releases devices}",),
    "releases": ("release",),
    "devices": ("family",),
    "family": (*LEVEL, "device", "subFamily"),
    "subFamily": (*LEVEL, "device"),
    "device": (*LEVEL, "variant"),
    "variant": LEVEL,
}


def departures(text: str) -> Iterator[str]:
    """Where a description departs from the standard."""
    root = ET.fromstring(text)
    if root.tag != "package":
        yield f"{root.tag} at the top"
    for element in root.iter():
        yield from _attributes(element)
        order = [frozenset(one.strip("{}").split()) for one in INSIDE.get(element.tag, ())]
        at = 0
        for child in element:
            while at < len(order) and child.tag not in order[at]:
                at += 1
            if at == len(order):
                yield f"{child.tag} in {element.tag}, or out of order there"
                break


def _attributes(element: ET.Element) -> Iterator[str]:
    known = {name.lower(): (name, form) for name, form in ATTRIBUTES.get(element.tag, {}).items()}
    for name, value in element.attrib.items():
        if name.startswith("{"):
            continue
        if name.lower() not in known:
            yield f"{name} of {element.tag}"
        elif not re.fullmatch(known[name.lower()][1], value):
            yield f'{name}="{value}" of {element.tag}'
    given = {name.lower() for name in element.attrib}
    for name, (spelled, _) in known.items():
        if spelled.isupper() and name not in given:
            yield f"no {name} in {element.tag}"
