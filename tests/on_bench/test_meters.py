"""Meters of every kind against sessions simulated apart from the package, and disturbances."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.bench.distil import Figures
from advisor.faults import FaultError
from tests.on_bench.disturbances import DISTURBANCES
from tests.on_bench.meters import KINDS, Session, session, shares

pytestmark = pytest.mark.once

FIGURES = ("time", "current", "energy", "sleep")


def _shares(kind: str, trials: int, folder: Path) -> tuple[dict[str, float], int]:
    return shares((session(KINDS[kind], seed, folder) for seed in range(trials)), FIGURES)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_intervals_of_every_meter_hold_the_truth(tmp_path: Path, kind: str) -> None:
    """500 sessions: 93 to 97.5 % of 95 % intervals hold, and good sessions are not refused.

    The sleep current's share has a standard deviation of 1.0 % about 95 %, the others' 0.7 %.
    """
    found, refused = _shares(kind, 500, tmp_path)
    assert all(0.925 <= share <= 0.98 for share in found.values()), found
    # runs of 120 samples may be too short for a front end that lags by 10
    assert refused <= (75 if kind == "lagging, slow" else 5)


@pytest.mark.parametrize("kind", KINDS)
def test_no_meter_is_far_off(tmp_path: Path, kind: str) -> None:
    """Ten sessions of each: 95 % intervals miss three of 20 with a chance of 8 %, six of 0.03 %."""
    found, refused = _shares(kind, 10, tmp_path)
    assert all(share > 0.7 for share in found.values()), found
    assert refused <= 3


# what is said of each; None: nothing needs to be, since its intervals hold the truth
SAID = {
    "a lamp blinks in the sleep": r"in turn, the second from 0\.5\d+ s on \(a lamp",
    "a dim lamp, half of the time": r"in turn, the second from 0\.5\d+ s on",
    "wake-ups in the sleep": r"6 bursts, the first at 0\.5\d+ s.*every 100 ms",
    "one wake-up in the sleep": r"1 burst, the first at 0\.856\d+ s",
    "a burst every millisecond": r"bursts all along",
    "bursts aliasing with the sampling": r"5 bursts, the first at",
    "an entry tail": r"falls from .* until about",
    "a late sleep": r"until 0\.59\d+ s and at .* after it",
    "a leak that comes on": r"until 0\.78\d+ s and at .* after it",
    "offset drift in the sleep": r"drifts by 20\.\d µA from 0\.5\d+",
    "offset drift over the runs": r"drifts by",
    "ripple of a switching regulator": r"sways by .* at 3137|sways by .* at 31[34]\d",
    "overload written as 9.9e37": r"9\.9e\+37",
    "overload written as 9.99 A": r"samples of 9\.99 A",
    "overload of one sample, 50 times": r"1 burst",
    "clipped, noise of many codes": r"clipped at the top",
    "clipped, on codes": r"clipped at the top|is it at its end",
    "clipped at one code below the end": r"every sample below the range",
    "at its end all along, range unsaid": r"is it at its end",
    "negatives read as zero": r"clipped at the bottom",
    "glitches at changes of range, stated": r"40 edges with samples of the meter's change of range",
    "glitches at changes of range, unsaid": r"edges that differ from the inside",
    "the meter holds after an edge": r"edges that differ from the inside",
    "inrush at the start of runs": r"edges that differ from the inside",
    "a tail behind the runs": r"edges that differ from the inside",
    "the marker's edges are slow": None,
    "the current behind the marker": None,
    "the current ahead of the marker": None,
    "a front end that lags, unsaid": None,
    "samples that are means, unsaid": None,
    "a lamp blinks over the runs": r"something else draws in some of them",
    "mA typed for A": r"samples of \d+\.\d A",
    "A typed for uA": r"no such part draws more",
    "a drop-out in a run": r"a drop-out of 1\.85 ms at 0\.049",
    "a pulse of the marker lost": r"39 pulses",
    "the marker bounces": r"41 pulses",
}


def _off(one: Session, found: Figures, figure: str, name: str) -> float:
    """How far a figure is from the truth, in half-widths of its interval."""
    if figure == "sleep":
        result, true = found.states[0].current, one.bench.states[name]
    else:
        _, time, current = one.bench.works[name]
        result = getattr(found.kernels[name], figure)
        true = {"time": time, "current": current, "energy": time * current * one.supply}[figure]
    return float(abs(result.value - true) / result.expanded)


@pytest.mark.parametrize("name", DISTURBANCES)
def test_no_disturbance_passes_without_a_word(tmp_path: Path, name: str) -> None:
    """Refused or told with the second it happens; what passes in silence is inside its interval.

    A 95 % interval misses now and then: within 1.6 half-widths are 99.8 %.
    """
    one = DISTURBANCES[name].made(0, tmp_path)
    words = SAID[name]
    try:
        found = one.distilled()
    except FaultError as error:
        said = str(error)
    else:
        said = ""
    if said:
        assert words is not None, said
        assert re.search(words, said), said
        return
    if words is not None:
        assert any(re.search(words, warning) for warning in found.warnings), found.warnings
        return
    for figure, of in one.held(found):
        assert _off(one, found, figure, of) < 1.6, (figure, of)


def test_every_disturbance_has_its_words() -> None:
    assert set(SAID) == set(DISTURBANCES)


def test_a_burst_is_cut_by_consent(tmp_path: Path) -> None:
    one = DISTURBANCES["one wake-up in the sleep"].made(0, tmp_path)
    begin, end = one.bench.spans["ram-kept"]
    cut = f", cut: [{{from: {begin + 0.309} s, to: {begin + 0.313} s}}]"
    one.changes.append((f"to: {end} s", f"to: {end} s{cut}"))
    found = one.distilled()
    assert one.held(found)["sleep", "ram-kept"]
    assert not any("burst" in w for w in found.warnings)


def test_a_drift_that_is_accepted_stands_in_the_budget(tmp_path: Path) -> None:
    """20 µA over the stretch: half-width 10 µA, u = 10/√3 µA."""
    one = DISTURBANCES["offset drift in the sleep"].made(0, tmp_path)
    _, end = one.bench.spans["ram-kept"]
    one.changes.append((f"to: {end} s", f"to: {end} s, accept: [drift]"))
    found = one.distilled()
    term = next(t for t in found.states[0].current.budget if t.source.startswith("drift"))
    assert term.u == pytest.approx(10e-6 / 3**0.5, rel=0.02)  # a slope's own scatter
    assert one.held(found)["sleep", "ram-kept"]
    assert any("drifts by" in w and "accepted" in w for w in found.warnings)
