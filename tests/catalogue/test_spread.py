"""A figure moves with its spread: its draws scale, and its text is read as the same figure."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.catalogue.kinds import Figure, Reading
from advisor.catalogue.spread import moved, written
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
