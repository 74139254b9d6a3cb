"""Text to figures and back: a standard's notations, another library's units, hostile text."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from advisor.dimensions import DIMENSIONS
from advisor.quantities import (
    LONGEST,
    Quantity,
    QuantityError,
    pert,
    read_quantity,
    show,
    typical_max,
)

# JCGM 100:2008 7.2.2 gives one result in three ways; a mass there is 100.02147 g, u = 0.35 mg
WAYS = ["100.02147(35) g", "100.02147(0.00035) g", "100.02147 ± 0.00035 g (k=1)"]


@pytest.mark.parametrize("text", WAYS)
def test_gum_7_2_2_ways_of_stating_a_standard_uncertainty(text: str) -> None:
    found = read_quantity(text, "mass")
    assert found.nominal == pytest.approx(0.10002147, rel=1e-15)
    assert found.u == pytest.approx(0.35e-6, rel=1e-12)
    assert found.kind == "normal"


def test_gum_7_2_4_an_expanded_uncertainty() -> None:
    # 7.2.4: 100.02147 g +- 0.00079 g with k = 2.26 is the same u of 0.35 mg
    found = read_quantity("100.02147 ± 0.00079 g (k=2.26)", "mass")
    assert found.u == pytest.approx(0.35e-6, rel=0.002)
    assert found.kind == "normal"


def test_gum_4_3_7_limits_are_rectangular() -> None:
    # 4.3.7: between a- and a+ with equal chance; u is the half-width over the root of three
    found = read_quantity("8.1 ± 0.2 mA", "current")
    assert found.kind == "rectangular"
    assert found.shape[0] == pytest.approx(0.2e-3, rel=1e-12)
    assert found.u == pytest.approx(0.2e-3 / math.sqrt(3), rel=1e-12)


SAME = [
    ("8.1(2) mA", "8.1(0.2) mA"),
    ("8.1 ± 0.2 mA", "8.1 +/- 0.2 mA"),
    ("8.1 ± 0.2 mA", "8.1 mA ± 0.2 mA"),
    ("8.1 ± 0.2 mA", "8.1 mA ± 200 µA"),
    ("8.1 ± 0.162 mA", "8.1 mA ± 2 %"),
    ("8.1 ± 0.2 mA (k=2)", "8.1 ± 0.2 mA (k = 2)"),
    ("12(3) µA", "12(3) uA"),
    ("12(3) µA", "12(3) μA"),
    ("1.2(3)e1 µA", "12(3) µA"),
    ("-0 mA", "0 mA"),
]


@pytest.mark.parametrize(("left", "right"), SAME)
def test_ways_of_writing_the_same(left: str, right: str) -> None:
    one, two = read_quantity(left, "current"), read_quantity(right, "current")
    assert one.nominal == pytest.approx(two.nominal, rel=1e-15)
    assert one.u == pytest.approx(two.u, rel=1e-12)
    assert one.kind == two.kind


def test_typical_and_max_are_a_lognormal_s_median_and_99_per_cent() -> None:
    found = typical_max(read_quantity("2.4 µA", "current"), read_quantity("6 µA", "current"))
    law = stats.lognorm(s=found.shape[1], scale=found.shape[0])
    assert found.nominal == 2.4e-6
    assert law.median() == pytest.approx(2.4e-6, rel=1e-12)
    assert law.cdf(6e-6) == pytest.approx(0.99, abs=1e-12)
    assert found.u == pytest.approx(law.std(), rel=1e-9)


@pytest.mark.parametrize(
    ("low", "likely", "high", "mean", "u"),
    # three-point estimates (from memory): mean (L + 4M + H)/6; the classic deviation (H - L)/6 is
    # 1.5 and 1.333, the beta distribution's own sqrt((mean - L)(H - mean)/7) 1.6583 and 1.3093
    [(5, 8, 14, 8.5, 1.6583), (4, 5, 12, 6.0, 1.3093)],
)
def test_pert(low: int, likely: int, high: int, mean: float, u: float) -> None:
    found = pert(*(read_quantity(f"{t} h", "time") for t in (low, likely, high)))
    assert found.nominal / 3600 == pytest.approx(mean, rel=1e-12)
    assert found.u / 3600 == pytest.approx(u, abs=5e-5)


@pytest.mark.parametrize(("low", "likely", "high"), [(5, 4, 9), (5, 6, 5), (9, 9, 8)])
def test_pert_out_of_order(low: int, likely: int, high: int) -> None:
    with pytest.raises(QuantityError, match="ascending"):
        pert(*(read_quantity(f"{t} h", "time") for t in (low, likely, high)))


@pytest.mark.parametrize(("typical", "most"), [("3 µA", "2 µA"), ("0 µA", "2 µA")])
def test_typical_above_max(typical: str, most: str) -> None:
    with pytest.raises(QuantityError, match="typical"):
        typical_max(read_quantity(typical, "current"), read_quantity(most, "current"))


def test_typical_and_max_too_far_apart() -> None:
    with pytest.raises(QuantityError, match="order of size"):
        typical_max(read_quantity("1 nA", "current"), read_quantity("1e9 kA", "current"))


# the library's names for what it writes in another way
NAMES = {
    "Ω": "ohm",
    "kΩ": "kiloohm",
    "MΩ": "megaohm",
    "mΩ": "milliohm",
    "kohm": "kiloohm",
    "Mohm": "megaohm",
    "mohm": "milliohm",
    "%": "percent",
    "a": "year",
    "": "dimensionless",
}
SI = {
    "1": "dimensionless",
    "ohm": "ohm",
    "degC": "degC",
    "B": "byte",
    "1/s": "1/s",
    "K": "delta_degC",
}


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("dimension", "unit"),
    [
        (d.name, unit)
        for d in DIMENSIONS.values()
        for unit in d.units
        if d.name not in ("money", "money-rate")
    ],
)
def test_every_unit_against_pint(dimension: str, unit: str) -> None:
    registry = _registry()
    name = NAMES.get(unit, unit)
    if dimension == "rate":
        name = name.replace("%", "percent", 1).replace("/a", "/year")
        name = "1" + name if name.startswith("/") else name
    if dimension == "temperature-step":
        name = {"K": "delta_degC", "degC": "delta_degC", "°C": "delta_degC", "degF": "delta_degF"}[
            name
        ]
    if dimension == "irradiation":
        name = name.replace("m2", "m ** 2")
    if dimension == "area":
        name = name.replace("²", "2").replace("2", " ** 2")
    if dimension == "information":
        name = {"B": "byte", "kB": "kilobyte", "MB": "megabyte"}.get(
            unit, unit.replace("B", "byte")
        )
    kind = DIMENSIONS[dimension]
    target = {"area": "m ** 2", "irradiation": "J/m ** 2"}.get(
        dimension, SI.get(kind.si_unit, kind.si_unit)
    )
    if dimension == "temperature":
        name, target = {"K": "kelvin", "°C": "degC"}.get(unit, unit), "degC"
    expected = registry.Quantity(12.5, name).to(target).magnitude
    found = read_quantity(f"12.5 {unit}".strip(), dimension)
    # both compute in doubles; the library's chains of factors round a little
    assert found.nominal == pytest.approx(expected, rel=1e-12)


def test_a_year_and_a_kibibyte() -> None:
    assert read_quantity("1 year", "time").nominal == 365.25 * 86400
    assert read_quantity("1 KiB", "information").nominal == 1024
    assert read_quantity("80 EUR/h", "money-rate").nominal == 80
    assert read_quantity("80 EUR/min", "money-rate").nominal == 4800


WRONG = [
    ("8.1", "current", "unit"),
    ("8.1 V", "current", "current"),
    ("8.1 mAh", "current", "current"),
    ("mA", "current", "current"),
    ("", "current", "current"),
    ("nan mA", "current", "current"),
    ("inf mA", "current", "current"),
    ("1e999 mA", "current", "power of ten"),
    ("1e308 kA", "current", "power of ten"),
    ("-1e-999 mA", "current", "power of ten"),
    ("8.1 m A", "current", "current"),
    ("8.1 mA ± -0 mA", "current", "not negative"),
    ("8,1 mA", "current", "decimal point"),
    ("8.1.2 mA", "current", "current"),
    ("8.1 mA 9", "current", "current"),
    ("0x10 mA", "current", "current"),
    ("1_000 mA", "current", "current"),
    ("٣ mA", "current", "current"),
    ("8.1(2)(3) mA", "current", "current"),
    ("8.1(2) mA ± 2 %", "current", "one uncertainty"),
    ("8.1 ± 0.2 mA ± 2 %", "current", "one uncertainty"),
    ("8.1 mA (k=2)", "current", "k="),
    ("8.1 ± 0.2 mA (k=0)", "current", "k="),
    ("8.1 ± -0.2 mA", "current", "not negative"),
    ("8.1 ± nan mA", "current", "current"),
    ("8.1 mA ± 2 V", "current", "current"),
    ("20 degC ± 10 %", "temperature", "before the unit"),
    ("9" * 5000 + " mA", "current", "current"),
    ("0." + "1" * 5000 + " mA", "current", "current"),
    ("8.1 " + "m" * 5000 + "A", "current", "current"),
    ("8.1 mA\x00", "current", "current"),
]


@pytest.mark.parametrize(("text", "dimension", "words"), WRONG, ids=range(len(WRONG)))
def test_what_is_no_figure_says_what_was_expected(text: str, dimension: str, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, dimension)
    assert words in caught.value.expected


@pytest.mark.parametrize(
    ("text", "dimension", "nearest"),
    [("5 mAmp", "current", "mA"), ("5 yeras", "time", "years"), ("5 degc", "temperature", "degC")],
)
def test_the_nearest_unit(text: str, dimension: str, nearest: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, dimension)
    assert caught.value.nearest == nearest


numbers = st.floats(1e-9, 1e9).map(lambda x: float(f"{x:.6g}"))
written = st.sampled_from(
    [(d.name, u) for d in DIMENSIONS.values() for u in d.units if not d.offsets]
)


@given(value=numbers, where=written)
def test_text_and_back(value: float, where: tuple[str, str]) -> None:
    dimension, unit = where
    found = read_quantity(f"{value!r} {unit}".strip(), dimension)
    factor = DIMENSIONS[dimension].units[unit]
    assert found.nominal == pytest.approx(value * factor, rel=1e-15)
    text = show(found.nominal, dimension, 9)
    again = read_quantity(text, dimension)
    # nine digits were shown; what is below the smallest unit for people is not looked at
    if found.nominal > 1e-12:
        assert again.nominal == pytest.approx(found.nominal, rel=1e-7)


@given(value=numbers, digits=st.integers(1, 99))
def test_last_digits_and_half_widths_agree_with_the_uncertainties_library(
    value: float, digits: int
) -> None:
    from uncertainties import ufloat_fromstr

    text = f"{value:.4f}({digits})"
    theirs = ufloat_fromstr(text)
    ours = read_quantity(f"{text} mA", "current")
    assert ours.nominal == pytest.approx(theirs.nominal_value * 1e-3, rel=1e-12)
    assert ours.u == pytest.approx(theirs.std_dev * 1e-3, rel=1e-9)


@given(text=st.text(max_size=LONGEST + 20), dimension=st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_is_a_finite_figure_or_is_refused(text: str, dimension: str) -> None:
    try:
        found = read_quantity(text, dimension)
    except QuantityError:
        return
    assert isinstance(found, Quantity)
    assert math.isfinite(found.nominal)
    assert math.isfinite(found.u)
    assert found.u >= 0


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (0.0123, "current", "12.3 mA"),
        (2.4e-6, "current", "2.40 µA"),
        (0.0, "current", "0 A"),
        (5 * 365.25 * 86400, "time", "5.00 years"),
        (math.inf, "time", "no end"),
        (math.nan, "time", "unknown"),
        (65536, "information", "64.0 KiB"),
        (0.25, "share", "25.0 %"),
        (12.0, "count", "12"),
        (-10.0, "temperature", "-10.0 degC"),
    ],
)
def test_figures_for_people(value: float, dimension: str, text: str) -> None:
    assert show(value, dimension) == text
