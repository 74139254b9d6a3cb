"""Pieces of a trace: their columns, and where a fault of theirs stands."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from advisor.bench.chunks import Chunk, Columns
from advisor.bench.trace import samples
from advisor.faults import FaultError
from tests.on_bench.sessions import session


def test_a_fault_of_samples_that_stand_in_no_cells_names_their_file() -> None:
    t = np.arange(3.0)
    with pytest.raises(FaultError) as error:
        Chunk("meter-run", 7, t, np.array([1.0, np.inf, 2.0])).finite()
    (fault,) = error.value.faults
    assert fault.place is not None
    assert fault.place.file == "meter-run"
    assert (fault.path, fault.read, fault.expected) == (
        *("current", "no number in row 9", "a number"),
    )


def test_of_many_columns_the_first_twenty_are_named(tmp_path: Path) -> None:
    names = [f"c{k:02}" for k in range(30)]
    (tmp_path / "a.csv").write_text(",".join(names) + "\n" + ",".join("1" * 30) + "\n")
    with pytest.raises(FaultError) as error:
        list(samples(tmp_path / "a.csv", Columns(("c00", "amps"), (1, 1), False, False, False)))
    (fault,) = error.value.faults
    assert fault.expected == "one of " + ", ".join(names[:20])


def test_numbers_of_half_the_length_are_reckoned_with_in_full(tmp_path: Path) -> None:
    """0.1 as a single is 0.1 to 1.5e-8 (IEEE 754); times 1e-3 in singles it would be another."""
    values = np.array([0.1, 0.2, 0.3], np.float32)
    pl.DataFrame({"t": values, "i": values[::-1]}).write_parquet(tmp_path / "a.parquet")
    columns = Columns(("t", "i"), (1e-3, 1e-3), False, False, False)
    (chunk,) = samples(tmp_path / "a.parquet", columns)
    np.testing.assert_allclose(chunk.t, values.astype(np.float64) * 1e-3, rtol=1e-15)
    np.testing.assert_allclose(chunk.i, values[::-1].astype(np.float64) * 1e-3, rtol=1e-15)


@pytest.mark.parametrize("rate", [False, True])
def test_a_board_s_own_trace_has_no_voltage_and_no_marker(tmp_path: Path, rate: bool) -> None:
    """Time where a column tells it, and the current; their units and factors go with them."""
    changes = [
        ("unit: A}", "unit: mA}\n  voltage: {column: v, unit: V}"),
        ("supply: 3.300(2) V\n", ""),
    ]
    if rate:
        changes.append(("time: {column: t, unit: s}", "time: {rate: 20 kHz}"))
    whole = Columns.of(session(tmp_path, *changes).trace)
    less = whole.time_and_current()
    kept = ("i",) if rate else ("t", "i")
    assert whole.names == (*kept, "v", "m")
    assert less.names == kept
    assert less.factors == whole.factors[: len(kept)] == ((1e-3,) if rate else (1.0, 1e-3))
    assert (less.voltage, less.marker) == (False, False)
    assert less.places == whole.places == ()
    assert less.units == whole.units[: len(kept)]
    assert len(less.units) == len(kept)


def test_cells_begin_with_the_first_row_where_nothing_is_said(tmp_path: Path) -> None:
    columns = Columns.of(session(tmp_path).trace)
    cells = columns.cells("a", ["x", *columns.names])
    assert (cells.above, cells.separator, cells.columns) == (0, "", (1, 2, 3))
