"""Benchmarks of tables: 100,000 rows through a map, against the data frame library's reader."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from advisor.intake.importing import parts_of, read_map, read_through
from advisor.studies.sheets import quote
from tests.bench.registry import Row, Scale, benchmark, middle, timed, turn_about

ROWS = 100_000
A_PART = 50  # rows of a part
MAP = """\
decimal: comma
thousands: point
part: Part
rows: {kernel: Kernel, point: Mode}
keys:
  kernels.{kernel}.{point}.time: Time
  kernels.{kernel}.{point}.current: Current
  kernels.{kernel}.{point}.supply: Supply
  operating-points.{point}.clock: Clock
"""
QUOTE = """\
decimal: comma
thousands: point
part: Part
rows: {quantity: Quantity}
keys:
  price.breaks.{quantity}: Each
  price.lead-time: {column: Lead time, unit: weeks}
constants: {price.currency: EUR}
"""


def _german(value: float, places: int) -> str:
    return f"{value:,.{places}f}".translate(str.maketrans(",.", ".,"))


def measured(rows: int) -> list[list[str]]:
    """Kernels of parts, a row each; figures as people with a decimal comma write them."""
    draw = random.Random("a table")
    out = [["Part", "Kernel", "Mode", "Time (ms)", "Current (mA)", "Supply (V)", "Clock (MHz)"]]
    for i in range(rows):
        part, at = divmod(i, A_PART)
        fast = i % 2
        out.append(
            [
                f"Drawn {part:05d}",
                f"k{at // 2}",
                "fast" if fast else "slow",
                _german(draw.uniform(0.1, 3000), 3),
                _german(draw.uniform(0.1, 30), 3),
                "3,3",
                "48" if fast else "8",
            ]
        )
    return out


def offered(rows: int) -> list[list[str]]:
    """A price list of a distributor, most of it of parts that nobody asked for."""
    draw = random.Random("a quote")
    out = [["Part", "Description", "Quantity", "Each", "Lead time", "Stock"]]
    for i in range(rows):
        part, at = divmod(i, 4)
        price = _german(draw.uniform(0.2, 9), 4)
        stock = str(draw.randint(0, 99_999))
        quantity = ("1", "100", "1.000", "10.000")[at]
        out.append([f"Drawn {part:05d}", "an invented part", quantity, price, "12", stock])
    return out


def _as_text(path: Path, rows: list[list[str]]) -> Path:
    path.write_text("".join(";".join(row) + "\n" for row in rows), "utf-8")
    return path


def _as_workbook(path: Path, rows: list[list[str]]) -> Path:
    book = xlsxwriter.Workbook(str(path), {"constant_memory": True})
    sheet = book.add_worksheet("Parts")
    for at, row in enumerate(rows):
        for column, cell in enumerate(row):
            number = at and column > 2
            text = cell.replace(".", "").replace(",", ".")
            sheet.write(at, column, float(text) if number else cell)
    book.close()
    return path


@benchmark("tables", "100,000 rows through a map, against reading them as a data frame")
def tables(scale: Scale) -> list[Row]:
    count = ROWS if scale.rounds > 1 else 200
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "map.yaml").write_text(MAP, "utf-8")
        (folder / "quote.yaml").write_text(QUOTE, "utf-8")
        parts = folder / "ours" / "parts"
        parts.mkdir(parents=True)
        for i in range(20):
            (parts / f"drawn-{i:05d}.yaml").write_text(f"part: drawn-{i:05d}\n", "utf-8")
        given, document = read_map(folder / "map.yaml")
        table = _as_text(folder / "t.csv", measured(count))
        book = _as_workbook(folder / "t.xlsx", measured(count))
        prices = _as_text(folder / "q.csv", offered(count))

        def through(path: Path) -> None:
            read_through(path, given, document).log.raise_if_any()

        german: dict[str, Any] = {"sep": ";", "decimal": ",", "thousands": "."}
        works: list[tuple[str, Callable[[], object], Callable[[], object]]] = [
            ("text", lambda: through(table), lambda: pd.read_csv(table, **german)),
            ("workbook", lambda: through(book), lambda: pd.read_excel(book)),
            (
                "price list onto 20 parts",
                lambda: quote(prices, folder / "quote.yaml", folder / "ours"),
                lambda: pd.read_csv(prices, **german),
            ),
        ]
        out = []
        for what, ours, theirs in works:
            rounds = 1 if what == "workbook" else scale.rounds
            one, other = turn_about(
                rounds,
                [lambda w=ours: timed(w), lambda w=theirs: timed(w)],  # type: ignore[misc]
            )
            row = f"{count} rows of a {what} through a map"
            out.append(Row(row, middle(one), "pandas reading them", middle(other), 3))
        return [*out, _written(folder, read_through(table, given, document), scale)]


def _written(folder: Path, told: object, scale: Scale) -> Row:
    """Parts checked and composed against their files written bare."""
    from advisor.intake.told import Told

    assert isinstance(told, Told)
    made = parts_of(told, folder / "new", False)
    bare = folder / "bare"
    bare.mkdir()

    def write() -> None:
        for one in made:
            (bare / f"{one.part}.yaml").write_text(one.filled.text, "utf-8")

    rounds = min(scale.rounds, 3)
    ours, theirs = turn_about(
        rounds,
        [
            lambda: timed(lambda: parts_of(told, folder / "new", False)),
            lambda: timed(lambda: [read_back(one.filled.text) for one in made]) + timed(write),
        ],
    )
    what = f"{len(made)} parts of a table checked and composed"
    return Row(what, middle(ours), "parsing and writing their files bare", middle(theirs), 6)


def read_back(text: str) -> object:
    """A file parsed by the C loader alone."""
    import yaml

    return yaml.load(text, Loader=getattr(yaml, "CBaseLoader", yaml.BaseLoader))
