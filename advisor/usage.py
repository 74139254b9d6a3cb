"""What people write for a figure, and the word that they mean; asked where a text is refused.

A word that has one meaning gets that one; of a word with two, both are told and neither is put
forward, since the wrong one would be taken for right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from advisor.dimensions import DIMENSIONS, TIMES


class Meant(NamedTuple):
    """What a refused text means: what to say behind what was expected, and the right word."""

    say: str = ""
    right: str | None = None


# dimension -> unit -> other words for it, in lower case and without blanks and full stops
_UNITS: dict[str, Mapping[str, str]] = {
    "current": {
        "A": "amp amps ampere amperes",
        "mA": "milliamp milliamps milliampere milliamperes mamp mamps",
        "µA": "microamp microamps microampere uamp uamps mcA",
        "nA": "nanoamp nanoamps namp",
    },
    "time": {
        "s": "sec secs second seconds",
        "ms": "msec msecs millisec millis millisecond milliseconds",
        "µs": "usec usecs µsec microsec micros microsecond microseconds",
        "ns": "nsec nanosec nanosecond nanoseconds",
        "min": "mins minute minutes",
        "h": "hr hrs",
        "days": "dy dys",
        "weeks": "wk wks w",
        "months": "mo mos mth mths",
        "years": "yr yrs y annum",
    },
    "charge": {
        "mAh": "mahr mahrs mah/cell milliamphour milliamphours",
        "Ah": "ahr ahrs amphour amphours",
        "C": "as coulomb coulombs",
        "mC": "mas",
        "µC": "uas µas",
    },
    "voltage": {"V": "volt volts vdc vac", "mV": "millivolt millivolts"},
    "resistance": {
        "ohm": "ohms r",
        "kohm": "k kr kohms kiloohm kilohm",
        "Mohm": "meg megohm mohms",
        "mohm": "milliohm milliohms",
    },
    "capacitance": {"F": "farad farads", "µF": "mfd microfarad microfarads", "pF": "picofarad"},
    "frequency": {
        "Hz": "hertz",
        "kHz": "kilohertz kc",
        "MHz": "megahertz mc mhzs",
        "GHz": "gigahertz",
    },
    "temperature": {
        "degC": "c deg degs degree degrees celsius degreec degreesc degcelsius ºc ℃ ° º centigrade",
        "degF": "f fahrenheit degreef degreesf °f ºf ℉",
        "K": "kelvin kelvins degk °k",
    },
    "information": {
        "B": "byte bytes",
        "KiB": "kibibyte kibibytes kibi",
        "MiB": "mebibyte mebibytes",
    },
    "mass": {"g": "gram grams gr gm", "kg": "kilo kilos kilogram kgs", "mg": "milligram"},
    "length": {"m": "meter meters metre metres", "mm": "millimeter millimetre", "cm": "centimetre"},
    "area": {
        "mm2": "mm^2 mm**2 sqmm mmsq mmsquared squaremm",
        "cm2": "cm^2 cm**2 sqcm cmsq squarecm",
        "m2": "m^2 sqm",
    },
    "rate": {
        "%/year": "%/yr %/y %py %pa percent/year percent/yr %/annum %peryear %p/a",
        "%/month": "%/mo %/mth percent/month %permonth",
        "/year": "/yr /annum",
        "/h": "/hr",
    },
    "energy": {"J": "joule joules ws", "mJ": "mws", "Wh": "whr whrs", "mWh": "mwhr"},
    "power": {"W": "watt watts", "mW": "milliwatt milliwatts", "µW": "microwatt microwatts"},
    "current-per-frequency": {
        "µA/MHz": "ua/mhz/core microamp/mhz microamps/mhz uapermhz µapermhz",
        "mA/MHz": "mapermhz",
    },
    "share": {"%": "percent pct percentage prozent"},
    "ratio": {"%": "percent pct"},
}
UNITS: Mapping[str, Mapping[str, str]] = {
    **_UNITS,
    "temperature-step": _UNITS["temperature"],
}
_SIZES = {
    "k": "KiB (1024 B) or kB (1000 B)",
    "m": "MiB (1,048,576 B) or MB (1,000,000 B)",
    "g": "GiB (1,073,741,824 B) or 1,000,000,000 B",
}
# dimension -> word -> what it may mean
TWO: Mapping[str, Mapping[str, str]] = {
    "information": {
        **{f"{p}{end}": text for p, text in _SIZES.items() for end in ("b", "", "byte", "bytes")},
        **dict.fromkeys(
            ("bit", "bits", "kbit", "kbits", "mbit", "mbits"), "; 8 bits are a byte, B"
        ),
    },
    "time": {
        "m": "min (minutes) or months",
    },
    "charge": dict.fromkeys(
        ("wh", "mwh", "kwh", "j", "mj"),
        "; energy over the nominal voltage is a charge",
    ),
    "current": {
        "ua/mhz": "; a current per clock is a run-current",
        "µa/mhz": "; a current per clock is a run-current",
        "ma/mhz": "; a current per clock is a run-current",
        "mah": "; mAh are a charge",
    },
    "resistance": {"m": "mohm (milliohm) or Mohm (megohm)"},
}
_NOTHING = re.compile(r"\s*(?:n\.?/?a\.?|tb[ad]|unknown|not known|none|[-–—?]+|x+|todo)\s*", re.I)
_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?"
_UNIT = r"\s*[^0-9\s()±,<>~]*(?:\s*/\s*[A-Za-z]+)?"
_FIGURE = rf"{_NUMBER}{_UNIT}"
_PERIODS = {
    "s": "s sec second",
    "min": "min minute",
    "h": "h hr hour",
    "day": "d day",
    "week": "w wk week",
    "month": "mo month",
    "year": "y yr year annum",
}
_PERIOD = {word: unit for unit, words in _PERIODS.items() for word in words.split()}
_EVERY = {"daily": "day", "hourly": "h", "weekly": "week", "monthly": "month", "yearly": "year"}
_EVERY |= {"minutely": "min", "annually": "year", "nightly": "day"}
_TIMES_A = {"once": 1.0, "twice": 2.0, "thrice": 3.0}
_DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
_WEEKEND = {"weekdays": 5, "workdays": 5, "working days": 5, "weekends": 2, "weekend": 2}
_LETTERS = {
    "voltage": {"v": "V"},
    "resistance": {"r": "ohm", "k": "kohm", "m": "Mohm"},
    "capacitance": {"u": "µF", "µ": "µF", "n": "nF", "p": "pF"},
    "frequency": {"m": "MHz", "k": "kHz"},
    "current": {"m": "mA", "u": "µA", "a": "A"},
}


def unit_meant(word: str, dimension: str) -> Meant | None:
    """What a word means that is no unit of a dimension; None where that is not known."""
    plain = _folded(re.sub(r"[\s.]", "", word))
    plain = re.sub(r"^deg(?:rees?)?(?=[cfk]$)", "deg", plain)
    two = TWO.get(dimension, {}).get(plain)
    if two is not None:
        return Meant(two if two[0] == ";" else f": {two}, whichever {word} means")
    for unit, words in UNITS.get(dimension, {}).items():
        if plain in (_folded(other) for other in words.split()):
            return Meant(right=unit)
    units = [unit for unit in DIMENSIONS[dimension].units if unit]
    per = plain.replace("per", "/")
    for candidate in (plain, per, plain.replace("u", "µ", 1), per.replace("u", "µ", 1)):
        alike = [unit for unit in units if _folded(unit) == candidate]
        if len(alike) == 1:
            return Meant(right=alike[0])
        if alike:
            return Meant(f": {' or '.join(alike)}, whichever {word} means")
    if DIMENSIONS[dimension].bare and dimension in ("count", "score", "money"):
        money = dimension == "money"
        return Meant(", a number without a unit" + "; its currency stands by itself" * money)
    return None


def _folded(word: str) -> str:
    # the micro sign folds to the Greek letter, which is not how units are written
    return word.casefold().replace("μ", "µ")


def figure_meant(text: str, dimension: str) -> Meant | None:
    """What a text means that is no figure of a dimension; None where that is not known."""
    text = text.strip()
    for ask in (_none, _commas, _parted, _period, _letter, _spread, _symbol):
        found = ask(text, dimension)
        if found is not None:
            return found
    return None


def _none(text: str, dimension: str) -> Meant | None:
    if _NOTHING.fullmatch(text):
        return Meant("; what is not known is left out, key and all")
    return None


def _commas(text: str, dimension: str) -> Meant | None:
    if not re.search("[0-9],[0-9]", text):
        return None
    say = ", with a decimal point, not a comma"
    number = re.match(r"[+-]?[0-9][0-9.,]*", text)
    if number is None:
        return Meant(say)
    digits, rest = number[0], text[number.end() :]
    if re.fullmatch(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+", digits):
        return Meant(say, digits.replace(".", "").replace(",", ".") + rest)
    if re.fullmatch(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+", digits) or digits.count(",") > 1:
        return Meant(", without marks between thousands", digits.replace(",", "") + rest)
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", digits):
        both = digits.replace(",", "."), digits.replace(",", "")
        return Meant(f"{say}: {both[0]} or {both[1]}, whichever {digits} means")
    return Meant(say, digits.replace(",", ".") + rest) if digits.count(",") == 1 else Meant(say)


def _parted(text: str, dimension: str) -> Meant | None:
    found = re.match(r"[+-]?[0-9]{1,3}(?:[ _'’\u00a0\u202f][0-9]{3})+(?![0-9])", text)
    if found is None:
        return None
    right = re.sub(r"[ _'’\u00a0\u202f]", "", found[0]) + text[found.end() :]
    return Meant(", without marks between thousands", right)


def _period(text: str, dimension: str) -> Meant | None:
    """How often something comes, where the time between is asked for."""
    if dimension != "time":
        return None
    word = re.sub(r"\s+", " ", text.casefold().strip(" ."))
    say = ", the time from one to the next"
    if word in _EVERY:
        return Meant(say, _one(_EVERY[word]))
    found = re.fullmatch(rf"(?:every|each|once every)\s+({_NUMBER})?\s*([a-z]+)", word)
    if found is not None:
        unit = _unit_of_period(found[2])
        count = float(found[1] or 1)
        if unit is not None and count > 0:
            return Meant(say, _one(unit) if count == 1 else f"{count:.12g} {unit}")
    found = re.fullmatch(
        rf"({_NUMBER}|once|twice|thrice)\s*(?:x|×|\*|times?)?\s*"
        r"(?:(?:per|a|an|each|every|/)\s*([a-z]+)|([a-z]+ly))",
        word,
    )
    if found is not None:
        unit = _unit_of_period(found[2]) if found[2] else _EVERY.get(found[3])
        count = _TIMES_A.get(found[1]) or float(found[1] if found[1][0].isdigit() else 0)
        if unit is not None and count > 0:
            return Meant(say, _written(TIMES[unit] / count))
    days = _days(word)
    if days:
        right = _written(TIMES["week"] / days)
        return Meant(f"{say}; days are not told apart: {days} a week are every {right}", right)
    return None


def weekdays(words: list[str]) -> Meant | None:
    """What a list of days means where the time between is asked for."""
    return _period(", ".join(words), "time")


def _days(word: str) -> int:
    """How many days of the week are named; 0 where something else is."""
    if word in _WEEKEND:
        return _WEEKEND[word]
    span = re.fullmatch(r"([a-z]{3})[a-z]*\s*(?:-|–|to|\.\.)\s*([a-z]{3})[a-z]*", word)
    if span is not None and span[1] in _DAYS and span[2] in _DAYS:
        return (_DAYS.index(span[2]) - _DAYS.index(span[1])) % 7 + 1
    named = [w[:3] for w in re.split(r"[\s,;/+&]+|and", word) if w]
    return len(set(named)) if named and all(w in _DAYS for w in named) else 0


def _unit_of_period(word: str) -> str | None:
    return _PERIOD.get(word) or _PERIOD.get(word.removesuffix("s"))


def _one(unit: str) -> str:
    return {"s": "1 s", "min": "1 min", "h": "1 h"}.get(unit, f"1 {unit}")


def _written(seconds: float) -> str:
    for unit in ("days", "h", "min", "s"):
        if seconds == TIMES["day"]:
            return "1 day"
        if seconds >= TIMES[unit] and (unit != "days" or seconds % TIMES["day"] == 0):
            return f"{seconds / TIMES[unit]:.12g} {unit}"
    return f"{seconds:.12g} s"


def _letter(text: str, dimension: str) -> Meant | None:
    """`3v3` and `4k7`: a letter in the place of the point (IEC 60062)."""
    found = re.fullmatch(r"([0-9]+)\s*([A-Za-zµμ])([0-9]+)\s*\S*", text)
    unit = found and _LETTERS.get(dimension, {}).get(found[2].casefold().replace("μ", "µ"))
    return Meant(right=f"{found[1]}.{found[3]} {unit}") if found and unit else None


def _spread(text: str, dimension: str) -> Meant | None:
    """A word for how sure a figure is, before or behind it."""
    kinds: tuple[tuple[str, Callable[[str], Meant]], ...] = (
        (
            r"typ(?:\.|ical(?:ly)?)?|nom(?:\.|inal)?|avg\.?|average|mean",
            lambda x: Meant(f", or {{typical: {x}, max: …}} where its greatest is known", x),
        ),
        (
            r"max(?:\.|imum)?|up to|<=?|≤|less than|at most",
            lambda x: Meant(f", a greatest one as {{typical: …, max: {x}}}", x),
        ),
        (r"min(?:\.|imum)?|>=?|≥|more than|at least", lambda x: Meant(", the figure alone", x)),
        (
            r"~|≈|about|ca\.?|circa|approx(?:\.|imately)?|around",
            lambda x: Meant(f", how sure it is as {{low: …, likely: {x}, high: …}} or ±", x),
        ),
    )
    for words, meant in kinds:
        for pattern in (rf"(?:{words})\s*:?\s*({_FIGURE})", rf"({_FIGURE}?)\s*\(?(?:{words})\)?"):
            found = re.fullmatch(pattern, text, re.I)
            if found is not None and re.match(_NUMBER, found[1]):
                return meant(found[1].strip())
    number = r"[0-9]+(?:\.[0-9]+)?"
    found = re.fullmatch(rf"({number})\s*(?:-|–|to|\.\.\.?|…)\s*({number})({_UNIT})", text)
    if found is not None and float(found[1]) < float(found[2]):
        low, high = float(found[1]), float(found[2])
        right = f"{(low + high) / 2:.12g} ± {(high - low) / 2:.12g}{found[3]}"
        return Meant(", a range as its middle and half its width", right)
    return None


def _symbol(text: str, dimension: str) -> Meant | None:
    """A currency's sign about a number, or its code in other letters."""
    if dimension == "money":
        found = re.fullmatch(rf"[^0-9+-]{{1,4}}\s*({_NUMBER})|({_NUMBER})\s*[^0-9]{{1,4}}", text)
        if found is not None:
            return Meant("; its currency stands by itself", found[1] or found[2])
    if dimension == "money-rate":
        found = re.fullmatch(rf"(?:([€$£])\s*)?({_NUMBER})\s*([€$£])?\s*(?:/|per)\s*h\w*", text)
        sign = found and (found[1] or found[3])
        if found is not None and sign:
            code = {"€": "EUR", "$": "USD", "£": "GBP"}[sign]
            return Meant(right=f"{found[2]} {code}/h")
        found = re.fullmatch(rf"({_NUMBER})\s*([A-Za-z]{{3}})\s*(?:/|per)\s*h\w*", text)
        if found is not None:
            return Meant(right=f"{found[1]} {found[2].upper()}/h")
    return None
