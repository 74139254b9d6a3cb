"""What comes from elsewhere, against reading its XML and writing as many files with no more."""

from __future__ import annotations

import gc
import tempfile
import xml.etree.ElementTree as ET
from pathlib import Path

from advisor.cli.writing import add_files
from advisor.studies.imported import imported
from tests.bench.processes import RUN, peak_memory
from tests.bench.registry import Row, Scale, benchmark, middle, timed, turn_about

FAMILIES, GROUPS = 4, 5
PORTS = ("UART", "SPI", "I2C", "Timer", "CAN", "DMA", "WDT", "PWM")


def made_pack(devices: int) -> str:
    """A description of that many invented devices, in families and sub-families."""
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<package schemaVersion="1.7.32">'
        "<vendor>Cooperative</vendor><name>Many_DFP</name><description>Invented.</description>"
        '<url>https://example.invalid/</url><releases><release version="1.0.0" date="2026-05-06">'
        "first</release></releases>\n<devices>\n"
    ]
    for number in range(devices):
        family, group = number * FAMILIES // devices, number * FAMILIES * GROUPS // devices
        before = (number - 1) * FAMILIES // devices, (number - 1) * FAMILIES * GROUPS // devices
        if number and group != before[1]:
            out.append("</subFamily>\n")
        if number == 0 or family != before[0]:
            out.append("</family>\n" if number else "")
            out.append(_family(family))
        if number == 0 or group != before[1]:
            out.append(_group(group))
        out.append(_device(number))
    out.append("</subFamily>\n</family>\n</devices>\n</package>\n")
    return "".join(out)


def _family(number: int) -> str:
    ports = "".join(f'<feature type="{p}" n="{1 + number % 3}"/>\n' for p in PORTS)
    return (
        f'<family Dfamily="F{number}" Dvendor="NO_VENDOR:0">\n'
        '<processor Dcore="other" DcoreVersion="r0p1" Dfpu="NO_FPU" Dendian="Little-endian"/>\n'
        f'<book name="doc/f{number}.pdf" title="Manual of family {number}"/>\n'
        f"<description>Invented family {number}\n - for a benchmark</description>\n{ports}"
        '<feature type="VCC" n="1.8" m="3.6"/>\n<feature type="RTC" n="32768"/>\n'
    )


def _group(number: int) -> str:
    return (
        f'<subFamily DsubFamily="G{number}">\n<processor Dclock="{(number + 1) * 8_000_000}"/>\n'
        f'<memory name="SRAM" access="rwx" start="0x20000000" size="{(number + 2) * 3072:#x}" '
        'default="1"/>\n<compile header="device.h" define="G"/>\n'
    )


def _device(number: int) -> str:
    size = f"{(number + 9) * 2048:#x}"
    return (
        f'<device Dname="D{number}">\n'
        f'<memory name="Flash" access="rx" start="0x08000000" size="{size}" startup="1" '
        'default="1"/>\n'
        f'<algorithm name="flash.flm" start="0x08000000" size="{size}" default="1"/>\n'
        f'<feature type="IOs" n="{10 + number % 90}"/>\n<feature type="ADC" n="8" m="12"/>\n'
        f'<feature type="Temp" n="-40" m="{85 + number % 3 * 20}"/>\n'
        f'<feature type="QFP" n="{32 + number % 5 * 16}"/>\n</device>\n'
    )


@benchmark("import", "a pack of 1,000 devices against its XML parsed and as many files written")
def pack(scale: Scale) -> list[Row]:
    """Ours reads, lays levels over each other, checks, and writes all files or none."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "many.pdsc"
        path.write_text(made_pack(scale.many), "utf-8")
        sizes = [len(data) for data in imported(path, folder / "none").files.values()]
        count = iter(range(10**9))

        def bare() -> None:
            ET.parse(path)
            out = folder / f"bare{next(count)}"
            out.mkdir()
            for number, size in enumerate(sizes):
                with open(out / f"{number}.yaml", "wb") as file:
                    file.write(b"x" * size)

        def ours() -> None:
            into = folder / f"ours{next(count)}"
            add_files(into, imported(path, into).files, "--into", lambda: None)

        def collected(work: object) -> float:
            gc.collect()
            assert callable(work)
            return timed(work)

        works = [lambda: collected(ours), lambda: collected(bare)]
        taken, least = map(middle, turn_about(scale.rounds, works))
        command = [*RUN, "catalog", "import", str(path), "--into", "peak"]
        memory = peak_memory(command, folder, {})
    return [
        Row(f"{scale.many} devices imported", taken, "parsed, and files written", least, 6),
        Row("peak memory of it", memory, "300 MB", 300.0, 1, unit="MB"),
    ]
