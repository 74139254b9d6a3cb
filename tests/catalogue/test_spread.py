"""A figure moves with its spread: its draws scale, and its text is read as the same figure."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure, Reading
from advisor.catalogue.spread import moved, with_end, written
from advisor.dimensions import DIMENSIONS
from advisor.faults import FaultLog
from advisor.model.draws import sample, stream
from advisor.quantities import Quantity
from advisor.source import read_text

WRITTEN = {
    "5.03 mA": "current",
    "5.03(10) mA": "current",
    "5.03 mA ± 2 %": "current",
    "5.0 ± 0.2 mA (k=2)": "current",
    "5.0(30) mA": "current",
    "20 ± 2 degC": "temperature",
    "-12.0(5) degC": "temperature",
    "0.8 ± 0.1": "share",
    "0.8 %/year ± 10 %": "rate",
    "{typical: 2 µA, max: 5 µA}": "current",
    "{low: 2 h, likely: 4 h, high: 9 h}": "time",
    "{low: 10 degC, likely: 14 degC, high: 25 degC}": "temperature",
}


def read(text: str, dimension: str) -> Quantity:
    log = FaultLog()
    kind = Figure(dimension, least=None)
    found = kind.read(read_text(text, "probe").root, "", Reading("probe", "probe", log))
    log.raise_if_any()
    assert found is not None
    return found


@pytest.mark.parametrize("text", WRITTEN)
def test_at_the_value_that_stands_nothing_changes(text: str) -> None:
    figure = read(text, WRITTEN[text])
    assert moved(figure, figure.nominal) is figure


@pytest.mark.parametrize("share", [0.3, 1.7])
@pytest.mark.parametrize("text", WRITTEN)
def test_draws_scale_or_shift(text: str, share: float) -> None:
    figure = read(text, WRITTEN[text])
    there = moved(figure, figure.nominal * share)
    before = sample(figure, stream(1, "x"), 500)
    after = sample(there, stream(1, "x"), 500)
    wanted = before * share
    if figure.dimension == "temperature":
        wanted = before + (share - 1) * figure.nominal
    np.testing.assert_allclose(after, wanted, rtol=1e-9)
    assert there.nominal == pytest.approx(figure.nominal * share)
    assert there.u == pytest.approx(figure.u * (1 if figure.dimension == "temperature" else share))


@pytest.mark.parametrize("text", WRITTEN)
def test_the_text_is_the_figure(text: str) -> None:
    figure = read(text, WRITTEN[text])
    unit = DIMENSIONS[figure.dimension].si_unit
    unit = "" if unit == "1" else f"/{unit[2:]}" if unit.startswith("1/") else unit
    there = moved(figure, figure.nominal * 1.3)
    again = read(written(there, unit), figure.dimension)
    assert again.kind == there.kind
    assert again.nominal == pytest.approx(there.nominal, rel=1e-11)
    assert again.u == pytest.approx(there.u, rel=1e-9)
    assert again.shape == pytest.approx(there.shape, rel=1e-9)


MOVED_ENDS = (
    ("{typical: 2 µA, max: 5 µA}", "max", 8e-6, "{typical: 2 µA, max: 8 µA}"),
    ("{typical: 2 µA, max: 5 µA}", "typical", 1e-6, "{typical: 1 µA, max: 5 µA}"),
    ("{typical: 2 µA, max: 2 µA}", "max", 8e-6, "{typical: 2 µA, max: 8 µA}"),
    ("{low: 2 µA, likely: 4 µA, high: 9 µA}", "low", 3e-6, "{low: 3 µA, likely: 4 µA, high: 9 µA}"),
    (
        "{low: 2 µA, likely: 4 µA, high: 9 µA}",
        "high",
        5e-6,
        "{low: 2 µA, likely: 4 µA, high: 5 µA}",
    ),
)


@pytest.mark.parametrize(("text", "end", "value", "wanted"), MOVED_ENDS)
def test_an_end_of_a_spread_moves_as_if_it_were_written(
    text: str, end: str, value: float, wanted: str
) -> None:
    found, told = with_end(read(text, "current"), end, value), read(wanted, "current")
    assert found.kind == told.kind
    assert found.nominal == pytest.approx(told.nominal, rel=1e-12)
    assert found.u == pytest.approx(told.u, rel=1e-9)
    assert found.shape == pytest.approx(told.shape, rel=1e-9)


@pytest.mark.parametrize(("end", "value"), [("likely", 10e-6), ("max", 8e-6), ("typical", 1e-6)])
def test_an_end_that_may_not_stand_or_is_none_of_a_figure_s_moves_nothing(
    end: str, value: float
) -> None:
    stands = read("{low: 2 µA, likely: 4 µA, high: 9 µA}", "current")
    assert with_end(stands, end, value) is stands
