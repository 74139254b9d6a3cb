"""Voltages on their way: from a drooping supply through a part's file to `compare`, and boards."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.schema_parts import Part
from advisor.faults import FaultError
from advisor.model.draws import Sampler
from advisor.model.tables import part_figures
from advisor.model.workload import product_figures
from advisor.studies.compare import Row, compare
from advisor.studies.distil import Distilled, distil
from advisor.studies.into_part import into_part
from tests.model.records import PRODUCT, records
from tests.on_bench.meters import KINDS, OVERHEAD, Drooping, session
from tests.on_bench.simulator import Bench

pytestmark = pytest.mark.once

FILE = "drawn-part.yaml"
NEW = "part: drawn-part\n"


def measured(
    folder: Path, seed: int, droop: Drooping, *changes: tuple[str, str], lifts: float = 0.0
) -> Distilled:
    """A session on a drooping supply, distilled; `lifts` V are added to what is read."""
    folder.mkdir(parents=True, exist_ok=True)
    one = session(KINDS["point"], seed, folder, drooping=droop)
    one.changes += changes
    notes = one.write()
    assert one.v is not None
    columns = {"t": one.t, "i": one.i, "v": one.v + lifts, "m": one.m}
    pl.DataFrame(columns).write_csv(folder / "trace.csv")
    return distil(notes, [folder / "trace.csv"])


def catalogue(text: str, root: Path) -> tuple[Part, dict[str, dict[str, Row]]]:
    """(the part, its rows by kernel and point) of a part's file."""
    (root / "parts").mkdir(parents=True, exist_ok=True)
    (root / "parts" / FILE).write_text(text)
    (root / "kernels.yaml").write_text("hash: {work: a block}\nfilter: {work: a block}\n")
    loaded = load_catalogue([root])
    rows = {k: {r.point: r for r in rows} for k, rows in compare(loaded).kernels.items()}
    return loaded.parts["drawn-part"], rows


@pytest.mark.parametrize("regulator", ["linear", "switching"])
def test_compare_gives_back_the_energy_that_was_measured(tmp_path: Path, regulator: str) -> None:
    """A supply that falls by 30 %: one voltage for all would be off by some 5 %.

    Each of three figures is rounded to the second digit of its u, at most u/20; the mean of
    products is the product of means but for the runs' covariance, a thousandth of u.
    """
    droop = Drooping(falls=0.3, switching=regulator == "switching")
    found = measured(tmp_path / "bench", 2, droop)
    base = f"{NEW}supply: {{regulator: {regulator}}}\n"
    _, rows = catalogue(into_part(found, base, FILE), tmp_path / "c")
    apart = []
    for kernel, work in found.figures.kernels.items():
        row = rows[kernel]["fast"]
        assert row.energy_j is not None
        assert row.energy_u_j is not None
        off = abs(row.energy_j - work.energy.value)
        assert off < 0.1 * work.energy.u
        assert off < 2e-4 * work.energy.value
        # left out is a correlation of less than a tenth of the variance, and rounding
        assert row.energy_u_j == pytest.approx(work.energy.u, rel=0.07)
        apart.append(abs(found.figures.supply.value / work.voltage.value - 1))
    assert max(apart) > 0.04


def test_a_switching_part_s_power_is_what_was_measured(tmp_path: Path) -> None:
    """Its model takes the current at the figure's own supply as a power: E/t of the runs."""
    found = measured(tmp_path / "bench", 2, Drooping(falls=0.3, switching=True))
    text = into_part(found, f"{NEW}supply: {{regulator: switching}}\n", FILE)
    text = (
        _without(text, "filter").replace("hash:", "crc:").replace("part: drawn-part", "part: chip")
    )
    text = text.replace("fast: {}", "fast: {idle-current: 1 mA, supply: 3 V}")
    loaded, made = records(tmp_path / "c", PRODUCT, parts={"chip": text})
    own = product_figures(made, Sampler("probe"))
    held = part_figures(loaded.parts["chip"], own, Sampler("chip"))
    work = found.figures.kernels["hash"]
    power = work.energy.value / work.time.value
    assert float(held.run_w[0].flat[0]) == pytest.approx(power, rel=2e-4)  # texts' digits
    assert not held.run_a[0].any()


def test_every_figure_stands_with_its_own_voltage(tmp_path: Path) -> None:
    found = measured(tmp_path / "bench", 4, Drooping())
    text = into_part(found, NEW, FILE)
    part, _ = catalogue(text, tmp_path / "c")
    for kernel, work in found.figures.kernels.items():
        own = part.kernels[kernel]["fast"].supply
        assert own is not None
        assert own.nominal == pytest.approx(work.voltage.value, abs=0.1 * work.voltage.u)
        assert own.u == pytest.approx(work.voltage.u, rel=0.05)
    (state,) = found.figures.states
    asleep = part.sleep_states["ram-kept"].supply
    assert asleep is not None
    assert asleep.y[0].nominal == pytest.approx(state.voltage.value, abs=0.1 * state.voltage.u)
    # and again the same: nothing to refuse, nothing to replace
    assert into_part(found, text, FILE) == text


def test_a_state_s_voltages_go_by_temperature(tmp_path: Path) -> None:
    """25 degC stands; 85 degC is put beside it."""
    texts = NEW
    for at, falls in (("25 degC", 0.1), ("85 degC", 0.12)):
        folder = tmp_path / at[:2]
        one = session(KINDS["point"], 4, folder_of(folder), drooping=Drooping(falls=falls))
        _, end = one.bench.spans["ram-kept"]
        heat = (f"to: {end} s", f"to: {end} s, temperature: {at}")
        found = measured(folder, 4, Drooping(falls=falls), heat)
        texts = into_part(found, texts, FILE)
    part, _ = catalogue(texts, tmp_path / "c")
    state = part.sleep_states["ram-kept"]
    assert state.supply is not None
    assert state.current is not None
    assert state.supply.keys == state.current.keys == ("25 degC", "85 degC")


def folder_of(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.mark.parametrize(
    ("lifts", "words"),
    [
        (0.0, None),
        (0.02, None),  # within 1 %
        (0.2, r"trace\.voltage: read 3\.\d+ V, where kernels\.hash\.fast stands at"),
    ],
)
def test_a_voltage_is_held_against_the_figure_s_own(
    tmp_path: Path, lifts: float, words: str | None
) -> None:
    """The kernels of a session are 2 % apart, and may be measured so again."""
    first = measured(tmp_path / "a", 4, Drooping())
    volts = [w.voltage.value for w in first.figures.kernels.values()]
    assert max(volts) > 1.01 * min(volts)
    text = into_part(first, NEW, FILE)
    again = measured(tmp_path / "b", 4, Drooping(), lifts=lifts)
    if words is None:
        into_part(again, text, FILE)
        return
    with pytest.raises(FaultError, match=words):
        into_part(again, text, FILE)


def _without(text: str, kernel: str) -> str:
    """A part's text without a kernel of two lines."""
    lines = text.splitlines()
    at = next(n for n, line in enumerate(lines) if f"  {kernel}:" in line)
    return "\n".join(lines[:at] + lines[at + 2 :]) + "\n"


def test_a_kernel_that_is_new_is_held_against_those_of_the_point(tmp_path: Path) -> None:
    """Between those that stand it may be; far below them all it is another point's."""
    found = measured(tmp_path / "a", 4, Drooping())
    text = into_part(found, NEW, FILE)
    alone = _without(text, "filter")
    into_part(found, alone, FILE)  # 1.3 % below the one that stands, and that one is as it was
    # the one that stands is of another name: held by their ranges
    other = alone.replace("hash:", "crc:")
    volts = [w.voltage.value for w in found.figures.kernels.values()]
    own = f"supply: {max(volts):.4f}"
    assert own in other
    for factor, refused in ((1.0, False), (1.008, False), (1.02, True), (0.97, True)):
        at = factor * (max(volts) if factor >= 1 else min(volts))
        stands = other.replace(own, f"supply: {at:.4f}")
        if not refused:
            into_part(found, stands, FILE)
            continue
        with pytest.raises(FaultError, match=rf"where kernels\.crc\.fast stands at {at:.4f}"):
            into_part(found, stands, FILE)


def test_a_sleep_current_at_another_voltage_is_not_mixed(tmp_path: Path) -> None:
    """5 % may be: a regulated current and a leakage hardly move."""
    found = measured(tmp_path / "a", 4, Drooping())
    (state,) = found.figures.states
    for factor, refused in ((1.03, False), (1.1, True)):
        stands = f"sleep-states: {{ram-kept: {{supply: {factor * state.voltage.value:.4f} V}}}}\n"
        if not refused:
            into_part(found, NEW + stands, FILE)
            continue
        with pytest.raises(FaultError, match=r"where sleep-states\.ram-kept stands at"):
            into_part(found, NEW + stands, FILE)


def test_boards_keep_their_voltages_and_the_part_bears_their_mean(tmp_path: Path) -> None:
    """Two boards, 10 mV apart; each board's mean counts once."""
    text, seen = NEW, []
    for name, lifts in (("b-1", 0.0), ("b-2", 0.01)):
        found = measured(
            tmp_path / name, 4, Drooping(), ("origin:", f"board: {name}\norigin:"), lifts=lifts
        )
        seen.append(found.figures.kernels["hash"].voltage)
        text = into_part(found, text, FILE)
    part, rows = catalogue(text, tmp_path / "c")
    kept = [b.kernels["hash"]["fast"].supply for b in part.boards.values()]
    assert [k.nominal for k in kept if k] == pytest.approx([v.value for v in seen], abs=1e-4)
    figure = part.kernels["hash"]["fast"]
    assert figure.supply is not None
    assert figure.supply.nominal == pytest.approx(np.mean([v.value for v in seen]), abs=1e-4)
    # the channel's own, and half of the boards' difference
    u = np.hypot(max(v.u for v in seen), 0.01 / 2)
    assert figure.supply.u == pytest.approx(u, rel=0.03)
    row = rows["hash"]["fast"]
    assert figure.time is not None
    assert figure.current is not None
    whole = figure.time.nominal * figure.current.nominal * figure.supply.nominal
    assert row.energy_j == pytest.approx(whole, rel=1e-12)


def test_runs_of_less_current_where_they_take_longer_are_told_so(tmp_path: Path) -> None:
    """Time and current that make up for each other: the charge is known better than either.

    By hand: a spread of 2 % of the time and as much of the current the other way.
    """

    def change(bench: Bench, draw: np.random.Generator) -> None:
        device = bench.device
        lengths, currents = np.diff(device.edges), np.array(device.currents)
        up = currents > 4e-3
        share = np.where(up, 1 + 0.02 * draw.standard_normal(len(up)), 1.0)
        device.edges = [0.0, *np.cumsum(lengths * share).tolist()]
        device.currents = np.where(up, (currents - OVERHEAD) / share + OVERHEAD, currents).tolist()
        at = np.flatnonzero(up)
        device.work = [(device.edges[k], device.edges[k + 1]) for k in at]
        moved = device.edges[-2] - 0.61 - bench.spans["ram-kept"][0]
        bench.spans = {k: (a + moved, b + moved) for k, (a, b) in bench.spans.items()}

    one = session(KINDS["point"], 7, folder_of(tmp_path / "a"), change=change)
    notes = one.write()
    pl.DataFrame({"t": one.t, "i": one.i, "m": one.m}).write_csv(tmp_path / "a" / "trace.csv")
    found = distil(notes, [tmp_path / "a" / "trace.csv"])
    text = into_part(found, NEW, FILE)
    part, rows = catalogue(text, tmp_path / "c")
    for kernel, work in found.figures.kernels.items():
        told = part.kernels[kernel]["fast"].correlation
        assert told is not None
        assert told.nominal < -0.8
        row = rows[kernel]["fast"]
        assert row.energy_u_j == pytest.approx(work.energy.u, rel=0.07)
        apart = np.hypot(work.time.u / work.time.value, work.current.u / work.current.value)
        assert work.energy.u / work.energy.value < 0.4 * apart
    # merged with another board's the errors are the boards' own
    board = distil(_named(notes, "b-1"), [tmp_path / "a" / "trace.csv"])
    after, _ = catalogue(into_part(board, text, FILE), tmp_path / "d")
    for by_point in after.kernels.values():
        told = by_point["fast"].correlation
        assert told is not None
        assert told.nominal == 0


def _named(notes: Path, board: str) -> Path:
    """The notes with a board's name."""
    notes.write_text(f"board: {board}\n{notes.read_text()}")
    return notes


def test_the_document_tells_every_voltage(tmp_path: Path) -> None:
    """In JSON always, as the supply where none was recorded; rows only where each has its own."""
    found = measured(tmp_path / "a", 4, Drooping())
    told = found.document()
    work = found.figures.kernels["hash"]
    assert told["figures"]["hash"]["fast"]["voltage_v"]["value"] == work.voltage.value
    assert told["sleep"]["ram-kept"]["currents"][0]["voltage_v"]["u"] > 0
    assert {"hash", "filter", "ram-kept"} == {
        of for of, figure, _, _ in found.results() if figure == "voltage"
    }
    bare = replace(found, figures=replace(found.figures, by_channel=False))
    assert not [f for _, f, _, _ in bare.results() if f == "voltage"]
