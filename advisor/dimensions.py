"""Kinds of figures: the SI unit of each, the units that may be written, an example, a noun."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.dataclass import dataclass, field

YEAR = 365.25 * 86400.0


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of figure: its SI unit, the units that may be written, an example, and a noun."""

    name: str
    si_unit: str
    units: Mapping[str, float]
    example: str
    offsets: Mapping[str, float] = field(default_factory=dict)
    bare: bool = False

    @property
    def wanted(self) -> str:
        """What a fault says was expected."""
        if self.name == "information":
            return f"an amount of information such as {self.example}"
        article = "an" if self.name[0] in "aeiou" else "a"
        return f"{article} {self.name} such as {self.example}"


def _prefixed(unit: str, prefixes: str, power: float = 1.0) -> dict[str, float]:
    factors = {
        "T": 1e12,
        "G": 1e9,
        "M": 1e6,
        "k": 1e3,
        "": 1.0,
        "m": 1e-3,
        "µ": 1e-6,
        "n": 1e-9,
        "p": 1e-12,
        "f": 1e-15,
    }
    return {f"{p}{unit}": factors[p] * power for p in (*prefixes.split(), "")}


TIMES = {
    "s": 1.0,
    "ms": 1e-3,
    "µs": 1e-6,
    "ns": 1e-9,
    "min": 60.0,
    "h": 3600.0,
    "hour": 3600.0,
    "hours": 3600.0,
    "d": 86400.0,
    "day": 86400.0,
    "days": 86400.0,
    "week": 604800.0,
    "weeks": 604800.0,
    "month": YEAR / 12,
    "months": YEAR / 12,
    "year": YEAR,
    "years": YEAR,
    "a": YEAR,
}
_PER = {f"/{unit}": 1 / seconds for unit, seconds in TIMES.items()}
_RATES = {**_PER, **{f"%{unit}": f / 100 for unit, f in _PER.items()}}
_PLAIN = {"": 1.0}
_PER_CLOCK = {
    f"{over}/{under}": a / hz
    for under, hz in (("MHz", 1e6), ("kHz", 1e3), ("Hz", 1.0))
    for over, a in (("mA", 1e-3), ("µA", 1e-6), ("nA", 1e-9), ("pA", 1e-12), ("A", 1.0))
} | {"nC": 1e-9, "pC": 1e-12, "fC": 1e-15}

DIMENSIONS: Mapping[str, Dimension] = {
    d.name: d
    for d in (
        Dimension("current", "A", _prefixed("A", "k m µ n p f"), "12.3 mA"),
        Dimension("time", "s", TIMES, "3.2 ms"),
        Dimension(
            "charge",
            "C",
            {**_prefixed("C", "k m µ n p"), **_prefixed("Ah", "k m µ", 3600.0)},
            "220 mAh",
        ),
        Dimension("voltage", "V", _prefixed("V", "k m µ"), "3.3 V"),
        Dimension(
            "resistance", "ohm", {**_prefixed("ohm", "M k m"), **_prefixed("Ω", "M k m")}, "15 ohm"
        ),
        Dimension("capacitance", "F", _prefixed("F", "m µ n p"), "220 uF"),
        Dimension("frequency", "Hz", _prefixed("Hz", "G M k"), "24 MHz"),
        # what a core draws for each clock is a charge: 1 µA/MHz is 1 pC per cycle
        Dimension("current-per-frequency", "A/Hz", _PER_CLOCK, "105 µA/MHz"),
        Dimension(
            "temperature",
            "degC",
            {"degC": 1.0, "°C": 1.0, "K": 1.0, "degF": 5 / 9},
            "25 degC",
            offsets={"K": -273.15, "degF": -160 / 9},
        ),
        Dimension(
            "temperature-step", "K", {"K": 1.0, "degC": 1.0, "°C": 1.0, "degF": 5 / 9}, "10 K"
        ),
        Dimension(
            "information",
            "B",
            {"B": 1.0, "KiB": 1024.0, "MiB": 1024.0**2, "GiB": 1024.0**3, "kB": 1e3, "MB": 1e6},
            "64 KiB",
        ),
        Dimension("mass", "kg", {"kg": 1.0, "g": 1e-3, "mg": 1e-6}, "9 g"),
        Dimension("length", "m", _prefixed("m", "k m µ") | {"cm": 0.01}, "20 mm"),
        Dimension(
            "area",
            "m2",
            {"m2": 1.0, "m²": 1.0, "cm2": 1e-4, "cm²": 1e-4, "mm2": 1e-6, "mm²": 1e-6},
            "25 mm2",
        ),
        Dimension("rate", "1/s", _RATES, "0.8 %/year"),
        Dimension("money-rate", "1/h", {}, "80 EUR/h"),
        Dimension(
            "energy",
            "J",
            {**_prefixed("J", "M k m µ n"), **_prefixed("Wh", "k m", 3600.0)},
            "2.5 mJ",
        ),
        Dimension(
            "irradiation",
            "J/m2",
            {
                **{f"{u}/m2": f for u, f in _prefixed("J", "M k").items()},
                **{f"{u}/m2": f for u, f in _prefixed("Wh", "k", 3600.0).items()},
            },
            "1.2 kWh/m2",
        ),
        Dimension("power", "W", _prefixed("W", "k m µ n"), "1.2 mW"),
        Dimension("share", "1", {"": 1.0, "%": 0.01, "ppm": 1e-6}, "0.25 or 25 %", bare=True),
        Dimension("ratio", "1", {"": 1.0, "%": 0.01}, "0.8", bare=True),
        Dimension("count", "1", _PLAIN, "3", bare=True),
        Dimension("score", "1", _PLAIN, "3", bare=True),
        Dimension("money", "1", _PLAIN, "1.42", bare=True),
    )
}
