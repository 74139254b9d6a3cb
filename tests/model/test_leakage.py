"""Sleep currents beyond their table: growth by hand, and how the unknown rate is drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest
from yaml.nodes import MappingNode

from advisor.catalogue.curves import Curve, CurveOf
from advisor.catalogue.kinds import Figure, Reading
from advisor.catalogue.schema_parts import TEMPERATURE
from advisor.faults import FaultLog
from advisor.figures import Path
from advisor.model.draws import Array, Sampler, Trace
from advisor.model.leakage import hot_end, sleep_currents, stated_rate, told
from advisor.source import read_text

AT = Path("chip", ("sleep-states", "ram-kept", "current"))
LN2 = math.log(2.0)


def curve(text: str) -> Curve:
    log = FaultLog()
    root = read_text(f"x: {text}", "chip").root
    assert isinstance(root, MappingNode)
    kind = CurveOf(TEMPERATURE, Figure("current", above=True))
    made = kind.read(root.value[0][1], "", Reading("chip", "chip", log))
    log.raise_if_any()
    assert made is not None
    return made


def drawn(sampler: Sampler, text: str, *degrees: float) -> Array:
    """Currents at temperatures, the first of which is the hottest, (E, N) A."""
    places = np.repeat(np.array(degrees)[:, None], sampler.size, axis=1)
    return sleep_currents(AT, curve(text), places, degrees[0], sampler)


def stated(text: str, *degrees: float) -> list[float]:
    """Currents at temperatures, in µA, at the stated values."""
    return [float(x) * 1e6 for x in drawn(Sampler("chip"), text, *degrees)[:, 0]]


@pytest.mark.parametrize(
    ("text", "degrees", "current"),
    [
        # one figure doubles every 10 K: three and a half times from 25 to 60 degC
        ("1 µA", 60, 11.3137085),
        ("{25 degC: 1 µA}", 60, 11.3137085),
        ("{40 degC: 1 µA}", 60, 4.0),
        ("{298.15 K: 1 µA}", 45, 4.0),
        # two figures go on by their own slope, here 20 K and 5 K for a doubling
        ("{25 degC: 1 µA, 45 degC: 2 µA}", 65, 4.0),
        ("{25 degC: 1 µA, 45 degC: 2 µA}", 55, 2.82842712),
        ("{25 degC: 1 µA, 45 degC: 16 µA}", 50, 32.0),
        # the two hottest ones, whatever the cooler ones did
        ("{-20 degC: 9 nA, 25 degC: 1 µA, 45 degC: 2 µA}", 65, 4.0),
        # what does not grow at its end is not held either
        ("{25 degC: 2 µA, 45 degC: 2 µA}", 65, 8.0),
        ("{25 degC: 3 µA, 45 degC: 2 µA}", 65, 8.0),
        # inside, and held in the cold
        ("{25 degC: 1 µA, 45 degC: 4 µA}", 35, 2.0),
        ("{25 degC: 1 µA, 45 degC: 4 µA}", 45, 4.0),
        ("{25 degC: 1 µA, 45 degC: 4 µA}", -20, 1.0),
        ("1 µA", 25, 1.0),
        ("1 µA", -20, 1.0),
    ],
)
def test_a_current_by_hand(text: str, degrees: float, current: float) -> None:
    assert stated(text, degrees)[0] == pytest.approx(current, rel=1e-8)


def test_it_goes_on_without_a_step() -> None:
    table = "{25 degC: 1 µA, 45 degC: 2 µA}"
    below, above = stated(table, 45 - 1e-6, 45 + 1e-6)
    assert below == pytest.approx(above, rel=1e-6)
    grown = stated(table, *np.linspace(-20, 120, 50))
    assert grown == sorted(grown)


def test_a_steep_table_far_outside_stays_a_number() -> None:
    (found,) = stated("{25 degC: 1 nA, 26 degC: 1 A}", 125)
    assert math.isfinite(found)


@pytest.mark.parametrize(
    ("text", "low", "likely"),
    [
        ("1 µA", LN2 / 10, LN2 / 10),
        ("{25 degC: 1 µA, 45 degC: 2 µA}", LN2 / 20, LN2 / 10),
        ("{25 degC: 1 µA, 45 degC: 16 µA}", LN2 / 5, LN2 / 5),
    ],
)
def test_the_rate_is_drawn_upwards(text: str, low: float, likely: float) -> None:
    """Between its slope and half as fast again as the likely one; the mean is that of PERT."""
    made = curve(text)
    end = hot_end(made)
    found = drawn(Sampler("chip", 4000), text, end + 30, end, -40)
    rate = np.log(found[0] / found[1]) / 30.0
    assert stated_rate(made) == pytest.approx(low, rel=1e-12)
    assert rate.min() >= low * (1 - 1e-12)
    assert rate.max() <= 1.5 * likely
    # the standard error of the mean is a sixth of the range over the root of 4000
    assert rate.mean() == pytest.approx((low + 5.5 * likely) / 6, rel=0.01)
    assert np.ptp(found[1]) == 0.0
    assert np.ptp(found[2]) == 0.0


def test_the_rate_has_a_stream_of_its_own() -> None:

    def hot(text: str, seed: int = 1) -> Array:
        return np.asarray(drawn(Sampler("chip", 50, seed), text, 50)[0])

    exact = hot("{25 degC: 1 µA}")
    assert np.array_equal(exact, hot("{25 degC: 1 µA}"))
    assert not np.array_equal(exact, hot("{25 degC: 1 µA}", seed=2))
    # an uncertainty of the figure leaves the draws of the rate as they are
    own = Sampler("chip", 50).take(AT / "25 degC", curve("1.0(1) µA").y[0])
    assert hot("{25 degC: 1.0(1) µA}") == pytest.approx(exact * own * 1e6, rel=1e-12)


def test_what_a_measurement_would_settle_is_traced_by_the_path_that_sets_it() -> None:
    trace: Trace = {}
    found = drawn(Sampler("chip", 20, trace=trace), "{25 degC: 1 µA}", 50, 10)
    assert [str(source) for source in trace] == ["chip:sleep-states.ram-kept.current.50 degC"]
    assert np.array_equal(trace[AT / "50 degC"], found[0])
    inside: Trace = {}
    drawn(Sampler("chip", 20, trace=inside), "{25 degC: 1 µA, 50 degC: 3 µA}", 50)
    assert inside == {}


def test_the_words() -> None:
    assert told(curve("{25 degC: 1 µA, 45 degC: 2 µA}"), 45.0) is None
    assert told(curve("1 µA"), 25.0) is None
    words = told(curve("{25 degC: 2 µA, 45 degC: 2 µA}"), 60.0)
    assert words is not None
    assert "up to 45 degC, the product goes up to 60 degC" in words
    assert "every 10 K (its two hottest figures do not grow)" in words
    one = told(curve("{45 degC: 2 µA}"), 60.0)
    assert one is not None
    assert "25 degC" not in one
    hottest = told(curve("{-20 degC: 9 nA, 25 degC: 1 µA, 45 degC: 2 µA}"), 60.0)
    assert hottest is not None
    assert "every 20 K (as between its two hottest figures)" in hottest
