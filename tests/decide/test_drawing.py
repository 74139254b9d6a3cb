"""Draws of chosen builds against the formula on the same draws, chunk by chunk."""

from __future__ import annotations

import pathlib
import subprocess
import sys
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.catalogue.shipped import load, product_files
from advisor.decide import drawing, marches
from advisor.decide.along import _Means, _means, _tiers
from advisor.decide.drawing import (
    CHUNK,
    LEAST,
    STATES,
    Drawn,
    chunk_of,
    draw_anew,
    draw_builds,
    states_of,
)
from advisor.decide.evaluate import evaluate
from advisor.figures import Path
from advisor.model.draws import Sampler, Trace
from advisor.model.served import Services
from advisor.quantities import Quantity, exact, read_quantity
from tests.decide.hand import PRODUCT, YEAR, life, pair

DRAWS = CHUNK + 500


def drawn(
    root: pathlib.Path, draws: int = DRAWS, jobs: int = 1, seed: int = 3
) -> tuple[list[Drawn], list[tuple[int, int]], Trace]:
    catalogue, product = pair(
        root,
        {"kernel": "4.0(3) mA", "sleep": "2 ± 1 µA"},
        {"time": "2.0(2) ms", "breaks": "{1: 1.00 ± 0.20}"},
    )
    found = evaluate(catalogue, product)
    by_part = {c.part.part: c.best for c in found.candidates}
    builds = [by_part["one"], by_part["two"]]
    steps: list[tuple[int, int]] = []
    trace: Trace = {}
    made = draw_builds(
        catalogue, product, builds, found.criteria, draws, seed, jobs,
        lambda done, of: steps.append((done, of)), trace,
    )  # fmt: skip
    return made, steps, trace


def test_what_parts_share_is_drawn_as_it_was(tmp_path: pathlib.Path) -> None:
    """Of two parts one has an uncertain current; how often both work is uncertain too."""
    assert "every: 10 s" in PRODUCT
    product_text = PRODUCT.replace("every: 10 s", "every: 10.0(9) s")
    catalogue, product = pair(tmp_path, {"kernel": "4.0(3) mA"}, {}, product_text)
    found = evaluate(catalogue, product, 300)
    builds = [c.best for c in found.candidates]
    again = draw_anew(
        catalogue, product, builds, found.criteria, 200, found.seed, marches.Marches(kept=0)
    )
    lives = {
        one.part.part: (one.drawn.life_s[:200], other.life_s)
        for one, other in zip(found.candidates, again, strict=True)
        if one.drawn is not None
    }
    assert lives["two"][0].std() > 0
    assert np.array_equal(*lives["two"])
    # the same but for what the current does, which is as uncertain as before: 7.5 % of 0.54
    gap = np.log(lives["one"][0] / lives["one"][1])
    assert gap.std() == pytest.approx(np.sqrt(2) * 0.041, rel=0.15)
    assert 0.45 < np.corrcoef(*lives["one"])[0, 1] < 0.75


def figure(identity: str, path: str, quantity: Quantity) -> np.ndarray:
    """The figure's own streams, a chunk after another."""
    sizes = [CHUNK, DRAWS - CHUNK]
    return np.concatenate(
        [
            Sampler(identity, n, 3, chunk).take(Path(identity, tuple(path.split("."))), quantity)
            for chunk, n in enumerate(sizes)
        ]
    )


def test_a_build_s_draws_are_the_formula_on_its_figures(tmp_path: pathlib.Path) -> None:
    (one, two), steps, kept = drawn(tmp_path)
    trace = {str(source): values for source, values in kept.items()}
    kernel = figure("one", "kernels.crc.run.current", read_quantity("4.0(3) mA", "current"))
    sleep = figure("one", "sleep-states.ram-kept.current", read_quantity("2 ± 1 µA", "current"))
    time = figure("two", "kernels.crc.run.time", read_quantity("2.0(2) ms", "time"))
    price = figure("two", "price.breaks.1", read_quantity("1.00 ± 0.20", "money"))
    assert one.life_s == pytest.approx(life(kernel=kernel, sleep=sleep), rel=1e-9)
    assert two.life_s == pytest.approx(life(time=time), rel=1e-9)
    # 3 of 4 for life over 0..10 years (in full from there on), 1 of 4 for 4.00 down to 0
    worth = np.clip(two.life_s / YEAR / 10, 0, 1)
    assert two.score == pytest.approx(75 * worth + 25 * (4 - price) / 4, rel=1e-9)
    # a year's service needs no second pack; four hours at 80 over a hundred units
    assert two.lifetime == pytest.approx(price + 3.20, rel=1e-9)
    assert steps == [(1, 2), (2, 2)]
    assert np.array_equal(trace["one:kernels.crc.run.current"], kernel)
    assert np.array_equal(trace["two:price.breaks.1"], price)
    assert set(trace) == {
        "one:kernels.crc.run.current",
        "one:sleep-states.ram-kept.current",
        "two:kernels.crc.run.time",
        "two:price.breaks.1",
    }


def test_workers_and_further_chunks_change_nothing(tmp_path: pathlib.Path) -> None:
    first, _, _ = drawn(tmp_path / "a")
    side, _, _ = drawn(tmp_path / "b", jobs=2)
    short, _, _ = drawn(tmp_path / "c", draws=CHUNK)
    other, _, _ = drawn(tmp_path / "d", seed=4)
    for a, b, c, d in zip(first, side, short, other, strict=True):
        assert len(a.score) == DRAWS
        for name in ("score", "life_s", "lifetime"):
            assert np.array_equal(getattr(a, name), getattr(b, name))
            assert np.array_equal(getattr(a, name)[:CHUNK], getattr(c, name))
        assert not np.array_equal(a.score, d.score)


def test_groups_of_builds_change_nothing(
    tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One build at a time, and all of them together."""
    whole, _, _ = drawn(tmp_path / "a")
    monkeypatch.setattr(drawing, "TOGETHER", 1)
    each, _, _ = drawn(tmp_path / "b")
    for a, b in zip(whole, each, strict=True):
        for name in ("score", "life_s", "lifetime", "changes", "battery_a", "fits"):
            assert np.array_equal(getattr(a, name), getattr(b, name))
        assert a.broken == b.broken


def test_the_length_of_a_chunk_depends_on_the_product_s_states_alone() -> None:
    _, product = load("frost-post")
    assert states_of(product) == 11
    assert chunk_of(product) == CHUNK
    task = product.workload[0]
    for count in (100, 302, 10_000):
        many = replace(product, workload=(task,) * count)
        states = 1 + count * (1 + len(task.kernels) + len(task.loads))
        assert states_of(many) == states
        assert chunk_of(many) == max(LEAST, CHUNK * STATES // states)
        assert chunk_of(many) * states <= max(CHUNK * STATES, LEAST * states)


@pytest.mark.slow
def test_302_tasks_take_at_most_400_megabytes(tmp_path: pathlib.Path) -> None:
    text = product_files()["barrel-tag"].read_text("utf-8")
    assert "workload:\n" in text
    tasks = "".join(
        f"  - {{task: t{k}, every: {10 + k % 50} h, kernels: {{crc: 1, copy: 2}}, "
        "loads: [{load: probe, current: 0.6 mA ± 10 %, for: 2 ms, cpu: asleep}]}\n"
        for k in range(300)
    )
    path = tmp_path / "barrel-tag.yaml"
    path.write_text(text.replace("workload:\n", "workload:\n" + tasks), "utf-8")
    told = (
        "import resource, subprocess, sys\n"
        "call = [sys.executable, '-m', 'advisor', 'shortlist', sys.argv[1], '--draws', '500']\n"
        "done = subprocess.run([*call, '--no-cache'], stdout=subprocess.DEVNULL)\n"
        "print(done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", told, str(path)], capture_output=True, text=True, check=True
    )
    code, peak = map(int, done.stdout.split())
    assert code == 0, done.stderr[-2000:]
    assert peak < 400_000  # kB


def test_figures_of_a_build_are_over_the_draws_that_fit() -> None:
    """By hand: of the first four draws two fit, of these one changes its battery."""
    made: Any = SimpleNamespace(
        fits=np.array([True, False, True, False, True]),
        score=np.array([60.0, 0.0, 40.0, 0.0, 90.0]),
        lifetime=np.array([3.0, 99.0, 5.0, 99.0, 7.0]),
        changes=np.array([0.0, 9.0, 2.0, np.nan, 0.0]),
    )
    assert _means(made, 4) == _Means(score=25.0, lifetime=4.0, change=0.5)
    made.fits = np.zeros(5, dtype=bool)
    assert np.isnan([_means(made, 4).lifetime, _means(made, 4).change]).all()


def test_the_break_that_holds_is_told_for_all_that_a_build_is_made_of() -> None:
    """By hand for 100 units: of four cells each 400 pieces, of which packages of 150 make 450; a
    converter of which 500 cost less than 100, so that more is bought."""

    def price(breaks: dict[int, float], multiple: int | None = None) -> Any:
        each = {quantity: exact(value, "money") for quantity, value in breaks.items()}
        return SimpleNamespace(breaks=each, multiple=multiple, discount="all-units")

    converter = SimpleNamespace(price=price({1: 1.0, 500: 0.1}))
    feed = SimpleNamespace(
        cell=SimpleNamespace(price=price({1: 2.0, 200: 1.5, 400: 1.2, 500: 1.19}, 150)),
        bought=((converter, 1),),
        option=SimpleNamespace(series=2, parallel=2),
    )
    build: Any = SimpleNamespace(assessed=SimpleNamespace(feed=feed), addons=())
    candidate: Any = SimpleNamespace(
        best=build,
        part=SimpleNamespace(price=price({1: 3.0, 100: 2.0, 101: 1.99})),
        addons=(),
    )
    evaluation: Any = SimpleNamespace()
    assert list(_tiers(candidate, evaluation, 100)) == [2, 0, 3, 0, 2, 1]
    assert list(_tiers(candidate, evaluation, None)) == []


@pytest.mark.once
def test_all_passes_of_a_decision_share_what_stores_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """One `Services` for the stated values and for draws of any number, currents among them."""
    made: list[Services] = []

    class Counted(Services):
        def __init__(self) -> None:
            super().__init__()
            made.append(self)

    monkeypatch.setattr(marches, "Services", Counted)
    found = evaluate(*load("crate-call"), draws=300)
    assert len(found.candidates) > 1
    assert len(made) == 1


@pytest.mark.once
def test_mean_scores_hardly_depend_on_the_seed() -> None:
    # plain draws' means would vary over seeds by a draw's deviation over the root of their number;
    # a hypercube's by what figures do together alone. A ratio of twelve seeds is within a half of
    # itself
    catalogue, product = load("valve-driver")
    found = [evaluate(catalogue, product, draws=256, seed=seed) for seed in range(1, 13)]
    names = [c.part.part for c in found[0].candidates[:4]]
    for name in names:
        drawn = [next(c for c in one.candidates if c.part.part == name).drawn for one in found]
        means = [one.expected for one in drawn if one is not None]
        plain = np.mean([one.score.std() for one in drawn if one is not None]) / np.sqrt(256)
        assert len(means) == 12
        assert np.std(means) < 0.4 * plain
