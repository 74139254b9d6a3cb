"""What the features of a pack's device come to: counts, supply, temperature, packages.

What `n` and `m` of each type mean is the standard's table of device feature types.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from functools import lru_cache

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultLog
from advisor.intake.markup import Element

# types whose n is a number of pieces or channels, and what a part calls it
COUNTED: Mapping[str, str] = {
    "UART": "uart",
    "USART": "uart",
    "SPI": "spi",
    "I2C": "i2c",
    "I2S": "i2s",
    "CAN": "can",
    "LIN": "lin",
    "ETH": "ethernet",
    "USBD": "usb-device",
    "USBH": "usb-host",
    "USBOTG": "usb-otg",
    "USB": "usb",
    "SDIO": "sdio",
    "MPSerial": "multi-serial",
    "Timer": "timer",
    "PWM": "pwm",
    "WDT": "watchdog",
    "DMA": "dma-channels",
    "RNG": "random-source",
    "IOs": "io",
    "I/O": "io",
    "ExtInt": "external-interrupts",
    "ADC": "adc-channels",
    "A/D": "adc-channels",
    "DAC": "dac-channels",
    "D/A": "dac-channels",
    "TempSens": "temperature-sensor",
    "Touch": "touch-channels",
    "Camera": "camera",
    "GLCD": "pixel-display",
    "LCD": "segment-display",
}
# types whose n is something else, so that the entries are what can be counted
PRESENT: Mapping[str, str] = {
    "RTC": "rtc",
    "Crypto": "crypto",
    "Bluetooth": "bluetooth",
    "ZigBee": "zigbee",
    "Zigbee": "zigbee",
    "802.15.4": "ieee-802-15-4",
    "WiFi": "wifi",
    "LoRa": "lora",
    "LTE Cat-M": "lte-m",
    "NB-IoT": "nb-iot",
    "NFC": "nfc",
    "IrDA": "infrared",
    "NPU": "neural-unit",
    "GPU": "graphics-unit",
}
BITS: Mapping[str, str] = {"adc-channels": "adc-bits", "dac-channels": "dac-bits"}
PACKAGES = ("BGA", "CSP", "PLCC", "QFN", "QFP", "SON", "SOP", "DIP", "PackageOther", "Package")

_WHOLE = re.compile(r"\+?([0-9]{1,9})(?:\.0+)?")
_DECIMAL = re.compile(r"\+?(-?[0-9]{1,6}(?:\.[0-9]{1,6})?)")
_COLDEST = Decimal("-273.15")


@dataclass(slots=True)
class Features:
    """Counts by name with their terms, ranges, packages; and types that have no place here."""

    counts: dict[str, int] = field(default_factory=dict)
    terms: dict[str, list[str]] = field(default_factory=dict)
    supply: tuple[str | None, str | None] = (None, None)
    temperature: tuple[str | None, str | None] = (None, None)
    packages: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def features_of(entries: Sequence[tuple[int, Element]], file: str, log: FaultLog) -> Features:
    """What the entries come to; what cannot be read is noted.

    Parameters
    ----------
    entries : (level from the outside, entry) of each.
    """
    out = Features()
    ranges: dict[str, list[tuple[int, Element]]] = {"VCC": [], "Temp": []}
    packages: list[tuple[int, Element]] = []
    for depth, element in entries:
        kind = element.attributes.get("type", "").strip()
        if kind in COUNTED:
            _count(element, COUNTED[kind], out, file, log)
        elif kind in PRESENT:
            name = PRESENT[kind]
            out.counts[name] = out.counts.get(name, 0) + 1
            out.terms.setdefault(name, []).append(_words(element, kind))
        elif kind in ranges:
            ranges[kind].append((depth, element))
        elif kind in PACKAGES:
            packages.append((depth, element))
        elif not kind:
            log.add(Fault("feature", "no type", "its type", element.place(file)))
        else:
            out.elsewhere.append(kind)
    out.supply = _range(ranges["VCC"], "supply", out, file, log)
    out.temperature = _range(ranges["Temp"], "temperature", out, file, log)
    for element in _innermost(packages):
        pins = (element.attributes.get("n") or element.attributes.get("count") or "").strip()
        name = element.attributes.get("name", "").strip()
        words = (
            f"{element.attributes['type']} {pins}, {name}"
            if name
            else (f"{element.attributes['type']} {pins}")
        )
        out.packages.append(" ".join(words.split()))
    return out


def _innermost(entries: Sequence[tuple[int, Element]]) -> list[Element]:
    """The entries of the innermost level that has any."""
    deepest = max((depth for depth, _ in entries), default=0)
    return [element for depth, element in entries if depth == deepest]


def _words(element: Element, kind: str) -> str:
    return " ".join((element.attributes.get("name") or kind).split())


def _count(element: Element, name: str, out: Features, file: str, log: FaultLog) -> None:
    given = element.attributes
    kind = given["type"].strip()
    count, bits, term = _counted(
        kind,
        (given.get("n") or given.get("count") or "").strip(),
        (given.get("m") or "").strip() if name in BITS else "",
        given.get("name") or kind,
    )
    for key, value, expected in (("n", count, "a whole number"), ("m", bits, "a number of bits")):
        if isinstance(value, str):
            place = element.place(file)
            log.add(Fault(f"feature {kind}: {key}", f'"{value}"', expected, place))
            return
    assert isinstance(count, int)
    out.counts[name] = out.counts.get(name, 0) + count
    out.terms.setdefault(name, []).append(term)
    if isinstance(bits, int):
        out.counts[BITS[name]] = max(out.counts.get(BITS[name], 0), bits)


@lru_cache(maxsize=4096)  # many devices have the same
def _counted(kind: str, n: str, m: str, name: str) -> tuple[int | str, int | str | None, str]:
    """(number, bits, words) of an entry; what is no number stays the text that stands there."""
    words = " ".join(name.split())
    bits: int | str | None = None
    if m:
        found = _WHOLE.fullmatch(m)
        bits = m if found is None else int(found[1])
    if not n:
        # an entry without a number is at least one
        return 1, bits, f"at least 1, no number stated, {words}"
    found = _WHOLE.fullmatch(n)
    return (n, bits, "") if found is None else (int(found[1]), bits, f"{int(found[1])} {words}")


def _range(
    entries: Sequence[tuple[int, Element]], what: str, out: Features, file: str, log: FaultLog
) -> tuple[str | None, str | None]:
    """What every entry of the innermost level promises, which is sure whichever of them holds."""
    lows: list[Decimal] = []
    highs: list[Decimal] = []
    inner = _innermost(entries)
    for element in inner:
        low, high = (_limit(element, key, what, file, log) for key in ("n", "m"))
        if low is not None and high is not None and low > high:
            read = f"{low} to {high}"
            log.add(
                Fault(f"feature {what}", read, "the less before the greater", element.place(file))
            )
        lows += [low] if low is not None else []
        highs += [high] if high is not None else []
    low, high = max(lows, default=None), min(highs, default=None)
    if len(inner) > 1:
        several = ", ".join(
            f"{e.attributes.get('n', '')} to {e.attributes.get('m', '')}" for e in inner
        )
        if low is not None and high is not None and low > high:
            out.notes.append(f"{what}: {several} have nothing in common, none is taken")
            return None, None
        if len({(e.attributes.get("n"), e.attributes.get("m")) for e in inner}) > 1:
            out.notes.append(f"{what}: what {several} have in common")
    return (None if low is None else str(low)), (None if high is None else str(high))


def _limit(element: Element, key: str, what: str, file: str, log: FaultLog) -> Decimal | None:
    read = (element.attributes.get(key) or "").strip()
    if not read:
        return None
    found = _DECIMAL.fullmatch(read)
    value = None if found is None else Decimal(found[1])
    good = value is not None and (value > 0 if what == "supply" else value >= _COLDEST)
    if value is None or not good:
        expected = "a voltage above zero" if what == "supply" else "a temperature in degC"
        place = element.place(file)
        log.add(Fault(f"feature {what}: {key}", f'"{read}"', f"{expected}, as a number", place))
        return None
    return value


def named_once(kinds: Iterable[str]) -> str:
    """Types of features in a row, each once."""
    return ", ".join(dict.fromkeys(" ".join(kind.split()) for kind in kinds))
