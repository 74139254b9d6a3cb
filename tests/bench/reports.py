"""Benchmarks of the report: writing it, and how fast its page answers in a browser."""

from __future__ import annotations

import tempfile
from pathlib import Path

from advisor.catalogue.load import load_run
from advisor.present.html.page import html_page
from advisor.studies.report import report
from tests.bench.processes import BARE, RUN, wait
from tests.bench.registry import Row, Scale, benchmark, middle, turn_about
from tests.bench.synthetic import PRODUCT, write_catalogue
from tests.browsing import browsing

PRODUCTS = ("frost-post", "barrel-tag", "valve-driver")
LARGEST = 3.0  # MB
ANSWER = 0.050  # s from a slider to the next frame
PARTS = 200

# each slider's move until the frame that shows it, s
MOVES = """
const [count, done] = arguments;
const slider = document.querySelector("#weights input");
const times = [];
const move = (left) => {
  if (!left) return done(times);
  slider.value = (left % 7) + 0.5;
  const begun = performance.now();
  slider.dispatchEvent(new Event("input"));
  requestAnimationFrame(() => setTimeout(() => {
    times.push((performance.now() - begun) / 1000);
    move(left - 1);
  }));
};
move(count);
"""


def _written(product: str, ending: str, rounds: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm = {"ADVISOR_CACHE_DIR": str(folder / "warm")}
        command = [*RUN, "report", product, "-o", f"report.{ending}"]
        whole, bare = turn_about(
            rounds, [lambda: wait(command, folder, warm), lambda: wait(BARE, folder)]
        )
        size = (folder / f"report.{ending}").stat().st_size / 1e6
    name = f"report {product} as {ending}"
    return [
        Row(name, min(whole), "python -c pass", min(bare), 300),
        Row(f"size of {name}", size, "the most asked", LARGEST, 1, "MB"),
    ]


@benchmark("report", "the whole process of `report` against `python -c pass`")
def report_process(scale: Scale) -> list[Row]:
    forms = [*((name, "html") for name in PRODUCTS), ("frost-post", "md"), ("frost-post", "xlsx")]
    if scale.rounds == 1:
        forms = [("barrel-tag", "html")]
    return [row for form in forms for row in _written(*form, min(scale.rounds, 3))]


@benchmark("page", f"a slider's move until it shows, with {PARTS} parts, in a browser")
def page_answer(scale: Scale) -> list[Row]:
    parts, moves = (PARTS, 40) if scale.rounds > 1 else (scale.many, 3)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        inputs = load_run([write_catalogue(folder / "drawn", parts)], PRODUCT.encode())
        page = folder / "page.html"
        page.write_text(html_page(report(*inputs, draws=0)), encoding="utf-8")
        with browsing(folder / "profile") as browser:
            browser.open(page)
            times = browser.driver.execute_async_script(MOVES, moves)
    return [Row(f"re-ranking {parts} parts", middle(times), "the 50 ms asked", ANSWER, 1)]
