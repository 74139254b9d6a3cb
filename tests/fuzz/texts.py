"""What stands in figures, keys and names that no one should write."""

from __future__ import annotations

import random
import re

NUMBERS = (
    *("0", "-0", "+0", "0.0", "-1", "1", "2", "100", "1e-99", "1e99", "-1e99", "1e300", "1e308"),
    *(
        "1e-320",
        "1e999",
        "9" * 119,
        "9" * 300,
        "0." + "0" * 100 + "1",
        ".5",
        "5.",
        "1_000",
        "1 000",
    ),
    *(
        "1,5",
        "0x10",
        "nan",
        "inf",
        "-inf",
        "NaN",
        "½",
        "١٢",
        "１２",
        "1e",
        "e5",
        "--1",
        "1e+5",
        "1E5",
    ),
    *("4294967296", "9223372036854775808", "999999999999", "1e-12", "3.3", "0.5"),
)
SPREADS = (
    *(" ± 0", " ± 1e99", " ± 50 %", " ± 100 %", " ± 101 %", " ± -1", "(1)", "(999)", "(0.2)"),
    *(" +/- 5 %", " ± 2 (k=2)", " ± 2 (k=0)", " ± 2 (k=1e99)", "(1)e99", " ± 1e308", "(9)e308"),
    *(" ± 1e-99", "(5) ± 5", " ±", "()", "(", " (k=2)"),
)
UNITS = (
    *("A", "mA", "µA", "uA", "μA", "nA", "kA", "V", "mV", "ohm", "Ω", "F", "uF", "C", "nC", "mAh"),
    *(
        "Ah",
        "s",
        "ms",
        "us",
        "ns",
        "min",
        "h",
        "days",
        "weeks",
        "months",
        "years",
        "a",
        "Hz",
        "MHz",
    ),
    *(
        "degC",
        "°C",
        "K",
        "degF",
        "KiB",
        "B",
        "GiB",
        "kg",
        "g",
        "mm2",
        "%",
        "%/year",
        "/day",
        "EUR/h",
    ),
    *("USD/h", "", "furlong", "m A", "A/s", "mA mA", "℃", "Ω·m", "J"),
)
WORDS = (
    *(
        "",
        " ",
        "null",
        "~",
        "true",
        "no",
        "off",
        "yes",
        "none",
        "None",
        "-",
        "--help",
        ".",
        "..",
        "/",
    ),
    *("a" * 300, "a" * 3000, "é", "\u200b", "\u202e", "\u2028", "\x1b[31m", "\x07", "\r", "😀"),
    *("=cmd()", "@x", "+1", "<script>", "{{x}}", "%s", "%n", "$(x)", "`x`", "'", '"', "\\", "a b"),
    *("a.b", "a:b", "a=b", "a\nb", "part", "own-figures.x", "own-figures.", "frost-post", "fast+"),
    *(
        "fast+engine",
        "+",
        "2026-02-29",
        "2026-02-28",
        "0001-01-01",
        "9999-12-31",
        "1",
        "-1",
        "ＡＢＣ",
    ),
)
_NUMBER = re.compile(r"[-+]?[0-9]+(?:\.[0-9]+)?")


def figure(rng: random.Random) -> str:
    """A figure of any number, spread and unit."""
    number, unit = rng.choice(NUMBERS), rng.choice(UNITS)
    spread = rng.choice(SPREADS) if rng.random() < 0.4 else ""
    return f"{number}{spread} {unit}".strip() if rng.random() < 0.9 else f"{number}{unit}{spread}"


def rescaled(rng: random.Random, text: str) -> str:
    """The text with one of its numbers some powers of ten away, or another number."""
    found = list(_NUMBER.finditer(text))
    if not found:
        return figure(rng)
    at = rng.choice(found)
    if rng.random() < 0.3:
        new = rng.choice(NUMBERS)
    else:
        power = rng.choice((-60, -20, -9, -6, -3, -2, -1, 1, 2, 3, 6, 9, 20, 60))
        new = f"{float(at[0]) * 10.0**power:.6g}"
    return text[: at.start()] + new + text[at.end() :]


def nudged(rng: random.Random, text: str) -> str:
    """The text with one of its numbers another that may well stand there."""
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    at = rng.choice(found)
    factor = rng.choice((0.0, 0.01, 0.1, 0.3, 0.5, 0.9, 1.1, 2.0, 3.0, 10.0, 100.0))
    new = f"{float(at[0]) * factor:.4g}"
    return text[: at.start()] + new + text[at.end() :]


def other_unit(rng: random.Random, text: str) -> str:
    """The text with another unit behind its number."""
    found = _NUMBER.match(text)
    return figure(rng) if found is None else f"{found[0]} {rng.choice(UNITS)}"


def spread(rng: random.Random, text: str) -> str:
    """The text with a spread behind its number, before its unit or after it."""
    found = _NUMBER.match(text)
    if found is None or rng.random() < 0.3:
        return text + rng.choice(SPREADS)
    return found[0] + rng.choice(SPREADS) + text[found.end() :]


def text(rng: random.Random, old: str) -> str:
    """Another text in the place of one."""
    way = rng.randrange(7)
    if way == 0:
        return rng.choice(WORDS)
    if way == 1:
        return figure(rng)
    if way == 2:
        return other_unit(rng, old)
    if way == 3:
        return spread(rng, old)
    if way == 4 and old:
        at = rng.randrange(len(old))
        return old[:at] + rng.choice((*WORDS, "", "x", "1", "-")) + old[at + rng.randrange(2) :]
    return rescaled(rng, old)


def damaged(rng: random.Random, data: bytes) -> bytes:
    """Bytes cut short, flipped, doubled, or put in another encoding."""
    way = rng.randrange(8)
    if not data:
        return b"\0"
    at = rng.randrange(len(data))
    if way == 0:
        return data[:at]
    if way == 1:
        return data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
    if way == 2:
        end = min(len(data), at + rng.randrange(1, 200))
        return data[:at] + data[end:]
    if way == 3:
        return (
            data[:at] + bytes(rng.randrange(256) for _ in range(rng.randrange(1, 40))) + data[at:]
        )
    if way == 4:
        return data.replace(b"\n", rng.choice((b"\r", b"\r\n", b"\xe2\x80\xa8", b"\n\n", b"\0")))
    if way == 5:
        return data + data[at:]
    if way == 6:
        word = data.decode("utf-8", "replace")
        return word.encode(rng.choice(("utf-16", "utf-32", "utf-8-sig", "utf-16-be")))
    return data[at:]
