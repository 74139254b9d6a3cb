"""A typical year of weather that a solar library brings along, as a file of hours for a harvest."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.load import load_run
from advisor.catalogue.schema_hourly import MONTHS
from advisor.studies.explain import explain
from advisor.studies.shortlist import shortlist

ROOT = Path(__file__).parents[2]


def test_a_typical_year_of_a_library_is_harvested(tmp_path: Path) -> None:
    """Means of days, spread, persistence and the longest dark are those that the library's own
    table gives; a product lives by it."""
    pvlib: Any = pytest.importorskip("pvlib", reason="the optional group is not installed")
    year = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    hours, _ = pvlib.iotools.read_tmy3(year, coerce_year=1990, map_variables=True)
    light = hours["ghi"].to_numpy(dtype=float)
    stamps = hours.index.tz_localize(None)
    rows = [f"{at.isoformat()},{value:g}" for at, value in zip(stamps, light, strict=True)]
    (tmp_path / "year.csv").write_text("\n".join(["t,ghi", *rows]) + "\n")
    text = (ROOT / "profiles" / "frost-post.yaml").read_text("utf-8")
    start = text.index("  cells: [")
    text = text[:start] + "  cells: [{cell: sc-drum}]" + text[text.index("\n", start) :]
    text += (
        "\nharvest:\n  panel: {area: 20 cm2, efficiency: 10 %, price: 1}\n"
        "  charger: {efficiency: 80 %, price: 1}\n"
        "  file: {name: year.csv, time: t, value: ghi, unit: W/m2, stamp: end}\n"
    )
    (tmp_path / "frost-post.yaml").write_text(text)
    catalogue, product = load_run([ROOT / "catalog"], tmp_path / "frost-post.yaml")
    assert product.harvest is not None
    told = product.harvest.days
    assert told is not None
    days = light.reshape(365, 24).sum(axis=1) * 3600
    month = stamps.month.to_numpy()[11::24]
    means = np.array([days[month == m].mean() for m in range(1, 13)])
    assert [told.months[m].nominal for m in MONTHS] == pytest.approx(list(means), rel=1e-6)
    off = days / means[month - 1] - 1
    assert told.spread.nominal == pytest.approx(off.std(), rel=0.02)
    assert told.persistence.nominal == pytest.approx(np.corrcoef(off[1:], off[:-1])[0, 1], abs=0.03)
    # at 55 degrees north no day of the year is without light
    assert 15 * 3600 < told.night.nominal < 19 * 3600
    best = shortlist(catalogue, product).ranking[0].part
    found = explain(catalogue, product, best)
    assert found.harvest is not None
    income = float(days.mean()) * 20e-4 * 0.10 * 0.80 * 0.98
    assert found.harvest.income_j == pytest.approx(income, rel=1e-6)
