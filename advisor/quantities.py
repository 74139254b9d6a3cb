"""Text with a unit to an SI figure with its uncertainty, and back.

Uncertainty follows JCGM 100:2008 (GUM). `8.1(2) mA` states the standard uncertainty in the last
digits, `8.1(0.2) mA` in the unit (7.2.2); `8.1 ± 0.2 mA` a half-width, rectangular, u = a/sqrt(3)
(4.3.7); with `(k=2)` an expanded uncertainty, u = U/k, normal (4.3.3). `{typical, max}` is
lognormal with the median at typical and 99 % at max; `{low, likely, high}` is the PERT beta
distribution with mean (L + 4M + H)/6.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Literal

from advisor import grammar
from advisor.dataclass import dataclass
from advisor.dimensions import DIMENSIONS, TIMES, YEAR, Dimension
from advisor.faults import nearest
from advisor.grammar import Sign

Kind = Literal["exact", "normal", "rectangular", "lognormal", "pert"]

NORMAL_95 = 1.6448536269514722  # 95 % point of the standard normal distribution
NORMAL_99 = 2.3263478740408408  # 99 % point of the standard normal distribution
LONGEST = 120  # characters; no figure needs more
_WIDEST = 10.0  # sigma of a lognormal whose max is 10^10 times typical; exp(sigma^2) is finite


class QuantityError(ValueError):
    """A text that is not the figure it should be."""

    def __init__(self, expected: str, nearest: str | None = None, *, sure: bool = False) -> None:
        """`sure`: the nearest word is what was meant, not only like it."""
        super().__init__(expected)
        self.sure = sure
        self.expected = expected
        self.nearest = nearest


def _spelled(dimension: Dimension) -> dict[str, tuple[float, float]]:
    """(factor, offset) to SI by every spelling of a unit."""
    table = {unit: (f, dimension.offsets.get(unit, 0.0)) for unit, f in dimension.units.items()}
    for unit in dimension.units:
        table |= dict.fromkeys(grammar.spellings(unit), table[unit])
    return table


_SPELLED = {name: _spelled(dimension) for name, dimension in DIMENSIONS.items()}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure: stated value and standard uncertainty in SI, and the distribution it stands for.

    `shape` holds () for exact and normal, (half-width,) for rectangular, (median, sigma of the
    logarithm) for lognormal, (low, likely, high) for pert. `u` is the standard deviation.
    """

    nominal: float
    dimension: str
    u: float = 0.0
    kind: Kind = "exact"
    shape: tuple[float, ...] = ()
    text: str = ""
    unit_text: str = ""

    @property
    def si_unit(self) -> str:
        """Symbol of the SI unit."""
        return DIMENSIONS[self.dimension].si_unit


_MONEY_RATE = re.compile(grammar.MONEY_RATE)


def text_pattern(dimension: str, sign: Sign = "any", *, spread: bool = True) -> str:
    """Regular expression of the texts that `read_quantity` reads, for Python and for ECMA-262.

    Parameters
    ----------
    dimension : a key of `DIMENSIONS`. sign : of the number as it is written, before its unit.
    spread : whether it may be uncertain; if not, a spread that is stated must be zero.
    """
    kind = DIMENSIONS[dimension]
    return grammar.pattern(
        [grammar.MONEY_RATE] if dimension == "money-rate" else kind.units,
        sign,
        spread=spread,
        bare=kind.bare,
        zero_elsewhere=bool(kind.offsets),
    )


def _unit(text: str, dimension: Dimension) -> tuple[float, float]:
    """(factor, offset) of a unit to SI."""
    word = grammar.unit_word(text)
    known = _SPELLED[dimension.name].get(word)
    if known is not None:
        return known
    if dimension.name == "money-rate" and _MONEY_RATE.fullmatch(word):
        return 3600.0 / TIMES[word.partition("/")[2]], 0.0
    if not word:
        raise QuantityError(dimension.wanted.replace(" such as", " with its unit, such as"))
    from advisor.usage import unit_meant

    meant = unit_meant(word, dimension.name) if len(word) <= LONGEST else None
    if meant is not None:
        raise QuantityError(dimension.wanted + meant.say, meant.right, sure=meant.right is not None)
    raise QuantityError(dimension.wanted, nearest(word[:20], [u for u in dimension.units if u]))


def spellings(dimension: str) -> dict[str, float]:
    """SI units in one of each unit of a dimension, by every spelling; offsets are left out."""
    return {unit: factor for unit, (factor, _) in _SPELLED[dimension].items() if unit}


@lru_cache(maxsize=65536)
def read_quantity(text: str, dimension: str) -> Quantity:
    """Read a figure such as `8.1(2) mA`.

    Parameters
    ----------
    text : number, perhaps an uncertainty, and the unit. dimension : a key of `DIMENSIONS`.

    Raises
    ------
    QuantityError
        Saying what was expected and, for a unit, the nearest one.
    """
    kind = DIMENSIONS[dimension]
    simple = grammar.SIMPLE.match(text) if len(text) <= LONGEST else None
    if simple is not None:
        number, unit = simple.groups("")
        known = _SPELLED[dimension].get(unit)
        if known is None:
            return _uncertain(text, kind)
        factor, offset = known
        value = float(number) * factor + offset
        if not math.isfinite(value):
            raise QuantityError(kind.wanted + ", and finite")
        return Quantity(
            nominal=value,
            dimension=dimension,
            text=text,
            unit_text=unit,
        )
    return _uncertain(text, kind)


def _uncertain(text: str, kind: Dimension) -> Quantity:
    expected = kind.wanted
    if len(text) > LONGEST:
        raise QuantityError(expected)
    if grammar.LONG_POWER.search(text):
        raise QuantityError(expected + ", with a power of ten from -99 to 99")
    found = grammar.FIGURE.match(text.strip().replace("\N{MINUS SIGN}", "-"))
    if found is None or grammar.COMMA.search(text):
        raise _meant(text, kind, QuantityError(expected))
    part = found.groupdict()
    power = part["power"]
    value = float(part["value"] + power)
    try:
        factor, offset = _unit(part["unit"] or "", kind)
    except QuantityError as error:
        raise (error if error.sure else _meant(text, kind, error)) from None
    half: float | None = None
    if part["half"] is not None and part["after"] is not None:
        raise QuantityError(expected + ", with one uncertainty")
    if part["half"] is not None:
        half = float(part["half"]) * factor
        if kind.bare and (part["unit"] or "").strip() == "%" and half > abs(value * factor):
            # "0.25 ± 10 %" says either 0.25 give or take a tenth, or 0.25 % give or take 10 %
            raise QuantityError(expected + ", with both numbers in % or neither")
    elif part["after"] is not None:
        after = (part["afterunit"] or "").strip()
        if after == "%" and (kind.offsets or (part["unit"] or "").strip() == "%"):
            # a share of degrees from freezing, or points against parts of a percentage
            raise QuantityError(expected + ", with its uncertainty before the unit")
        if after == "%":
            half = abs(value * factor) * float(part["after"]) / 100
        else:
            half = float(part["after"]) * _unit(after, kind)[0]
    nominal = value * factor + offset
    digits, k = part["digits"], part["k"]
    if digits is not None and half is not None:
        raise QuantityError(expected + ", with one uncertainty")
    if k is not None and (half is None or float(k) <= 0):
        raise QuantityError(expected + ", (k=…) only behind ± and above zero")
    unit = (part["unit"] or "").strip()
    if (part["half"] or part["after"] or "").startswith("-"):
        raise QuantityError(expected + ", with an uncertainty that is not negative")
    spread: tuple[float, Kind, tuple[float, ...]]
    if digits is not None:
        # without a point they are the last digits of the value, with one a figure in its unit
        places = 0 if "." in digits else len(part["value"].partition(".")[2])
        u = float(f"{digits}e{-places}") * float("1" + power) * factor
        spread = u, "normal" if u else "exact", ()
    elif half is None or half == 0:
        spread = 0.0, "exact", ()
    elif k is not None:
        spread = half / float(k), "normal", ()
    else:
        spread = half / math.sqrt(3), "rectangular", (half,)
    u, distribution, shape = spread
    result = Quantity(
        nominal=nominal,
        dimension=kind.name,
        u=u,
        kind=distribution,
        shape=shape,
        text=text,
        unit_text=unit,
    )
    if not (math.isfinite(nominal) and math.isfinite(result.u)):
        raise QuantityError(expected + ", and finite")
    return result


def _meant(text: str, kind: Dimension, otherwise: QuantityError) -> QuantityError:
    """What to say of a text that is no figure, by what people mean with it."""
    from advisor.usage import figure_meant

    meant = figure_meant(text, kind.name)
    return otherwise if meant is None else QuantityError(kind.wanted + meant.say, meant.right)


def typical_max(typical: Quantity, maximum: Quantity) -> Quantity:
    """Lognormal figure with its median at `typical` and 99 % at `maximum`.

    Raises
    ------
    QuantityError
        When typical is not above zero, lies above the maximum or so far below it that the
        standard deviation would not be finite.
    """
    median, top = typical.nominal, maximum.nominal
    if median <= 0 or top < median:
        raise QuantityError("typical above zero and not above max")
    sigma = math.log(top / median) / NORMAL_99
    if sigma > _WIDEST:
        raise QuantityError("typical and max of one order of size")
    text = f"typical {typical.text}, max {maximum.text}"
    return lognormal(median, sigma, typical.dimension, text, typical.unit_text)


def lognormal(
    median: float, sigma: float, dimension: str, text: str, unit_text: str = ""
) -> Quantity:
    """Lognormal figure of a median, its stated value, and the logarithm's standard deviation."""
    if sigma == 0:
        return Quantity(
            nominal=median,
            dimension=dimension,
            text=text,
            unit_text=unit_text,
        )
    mean = median * math.exp(sigma * sigma / 2)
    u = mean * math.sqrt(math.expm1(sigma * sigma))
    return Quantity(
        nominal=median,
        dimension=dimension,
        u=u,
        kind="lognormal",
        shape=(median, sigma),
        text=text,
        unit_text=unit_text,
    )


def at_least(quantity: Quantity, sigma: float) -> Quantity:
    """The figure with a spread that is no narrower than a lognormal's about its stated value.

    `sigma` is the standard deviation of the logarithm; one that is wider, in u over the value,
    stands as it is.
    """
    own = quantity.u / quantity.nominal if quantity.nominal > 0 else math.inf
    if quantity.kind == "lognormal":
        own = quantity.shape[1]
    if own >= sigma * (1 - 1e-9):
        return quantity
    return lognormal(quantity.nominal, sigma, quantity.dimension, quantity.text, quantity.unit_text)


def pert(low: Quantity, likely: Quantity, high: Quantity) -> Quantity:
    """PERT figure: beta distribution on low..high with mean (L + 4M + H)/6, its stated value.

    The standard deviation is the beta distribution's own, sqrt((mean - L)(H - mean)/7).

    Raises
    ------
    QuantityError
        When the three are out of order.
    """
    a, m, b = low.nominal, likely.nominal, high.nominal
    if not a <= m <= b:
        raise QuantityError("low, likely, high in ascending order")
    mean = (a + 4 * m + b) / 6
    text = f"{low.text} to {high.text}, likely {likely.text}"
    if a == b:
        return Quantity(
            nominal=a,
            dimension=low.dimension,
            text=text,
            unit_text=low.unit_text,
        )
    u = math.sqrt((mean - a) * (b - mean) / 7)
    return Quantity(
        nominal=mean,
        dimension=low.dimension,
        u=u,
        kind="pert",
        shape=(a, m, b),
        text=text,
        unit_text=low.unit_text,
    )


def exact(value: float, dimension: str) -> Quantity:
    """A figure without uncertainty, for defaults and tests; `value` in SI."""
    return Quantity(value, dimension, text=show(value, dimension))


_STEPS: Mapping[str, tuple[tuple[float, str], ...]] = {
    "time": (
        (YEAR, "years"),
        (86400.0, "days"),
        (3600.0, "h"),
        (60.0, "min"),
        (1.0, "s"),
        (1e-3, "ms"),
        (1e-6, "µs"),
        (1e-9, "ns"),
    ),
    "charge": ((3.6, "mAh"), (1e-3, "mC"), (1e-6, "µC"), (1e-9, "nC"), (1e-12, "pC")),
    "mass": ((1.0, "kg"), (1e-3, "g"), (1e-6, "mg")),
    "area": ((1e-4, "cm²"), (1e-6, "mm²")),
    "current-per-frequency": ((1e-9, "mA/MHz"), (1e-12, "µA/MHz"), (1e-15, "nA/MHz")),
    "information": ((1024.0**2, "MiB"), (1024.0, "KiB"), (1.0, "B")),
}
_ENGINEERING = (
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
    (1e-15, "f"),
)
_UNPREFIXED = frozenset(("degC", "K", "1", "1/s", "1/h"))


def show(value: float, dimension: str, digits: int = 3) -> str:
    """A figure for people: `digits` significant digits and a unit that suits its size."""
    kind = DIMENSIONS[dimension]
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no end" if dimension == "time" and value > 0 else "unbounded"
    if dimension == "share":
        return f"{_digits(100 * value, digits)} %"
    if dimension == "count" and float(value).is_integer():
        return f"{value:.0f}"
    if dimension == "rate":
        return f"{_digits(100 * value * YEAR, digits)} %/year"
    if kind.si_unit in _UNPREFIXED:
        unit = "" if kind.si_unit == "1" else f" {kind.si_unit}"
        return f"{_digits(value, digits)}{unit}"
    steps = _STEPS.get(dimension) or tuple(
        (f, p + kind.si_unit) for f, p in _ENGINEERING if p + kind.si_unit in kind.units
    )
    if value == 0:
        return f"0 {kind.si_unit}"
    for factor, unit in steps:
        if abs(float(_digits(value / factor, digits))) >= 1:
            return f"{_digits(value / factor, digits)} {unit}"
    factor, unit = steps[-1]
    return f"{_digits(value / factor, digits)} {unit}"


def written(value: float, u: float, dimension: str) -> str:
    """A figure as it stands in a file, `0.41203(24) ms`: u to two digits (JCGM 100:2008, 7.2.6).

    Parameters
    ----------
    value, u : SI; with u = 0 the value to seven digits. dimension : one whose units scale.
    """
    shown = show(value, dimension, 7)
    if u <= 0:
        number, _, unit = shown.partition(" ")
        return f"{float(number):.7g} {unit}"
    unit = shown.partition(" ")[2]
    factor = spellings(dimension)[unit]
    places = max(0, 1 - math.floor(math.log10(u / factor)))
    last = round(u / factor * 10**places)
    if last >= 100 and places > 0:
        places, last = places - 1, round(last / 10)
    return f"{value / factor:.{places}f}({last}) {unit}"


def _digits(value: float, digits: int) -> str:
    """Rounded to significant digits, zeros kept, without an exponent where it is readable."""
    if value == 0:
        return "0"
    whole = math.floor(math.log10(abs(value)))
    if whole >= 7 or whole < -5:
        return f"{value:.{digits - 1}e}"
    rounded = round(value, digits - 1 - whole)
    if rounded != 0:
        whole = math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(0, digits - 1 - whole)}f}"


def unmet(need: str, asked: str, found: str, beyond: str = "") -> str:
    """A need that is not met, in words: `ram: 8 KiB needed, 4 KiB offered`.

    Parameters
    ----------
    beyond : where what is asked is the most that may be, what stands before what there is, such as
    `it costs`.
    """
    if beyond:
        return f"{need}: at most {asked}, {beyond} {found}"
    return f"{need}: {asked} needed, {found} offered"
