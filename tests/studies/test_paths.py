"""Every path that a study takes or prints is the file's own, and can be pasted behind `--set`."""

from __future__ import annotations

from pathlib import Path as File

import numpy as np
import pytest

from advisor import figures
from advisor.catalogue.levers import lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import catalogue_folder, load, product_files
from advisor.decide.evaluate import evaluate
from advisor.decide.scan import scan
from advisor.faults import FaultError
from advisor.figures import Path
from advisor.model.draws import Instrument, Sampler
from advisor.quantities import Quantity
from advisor.studies.gaps import gaps
from advisor.studies.tipping import _asked, tipping
from tests.respelled import respelled

pytestmark = pytest.mark.once

PRODUCTS = sorted(product_files())


@pytest.fixture(scope="module", params=["as shipped", "respelled"])
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> File:
    if request.param == "as shipped":
        return catalogue_folder()
    return respelled(tmp_path_factory.mktemp("respelled"))


def stands(catalogue: Catalogue, path: Path) -> bool:
    return path.node(catalogue.documents[path.document].root) is not None


def test_the_respelled_catalogue_is_the_same_otherwise(tmp_path: File) -> None:
    one, _ = load("barrel-tag")
    other, _ = load("barrel-tag", [respelled(tmp_path)])
    for name, cell in one.cells.items():
        there = other.cells[name]
        for of in ("voltage_curve", "resistance"):
            here, same = getattr(cell, of), getattr(there, of)
            assert same.x == pytest.approx(here.x, rel=1e-12)
            assert (same.y, len(same.keys)) == (here.y, len(here.keys))
            assert all(key.endswith(" %") for key in same.keys)
        assert cell.temperature is not None
        assert there.temperature is not None
        assert there.temperature.rows == cell.temperature.rows
        assert all(key.endswith(" K") for key in there.temperature.keys)


@pytest.mark.parametrize("name", PRODUCTS)
def test_every_figure_that_is_taken_is_taken_by_the_file_s_own_keys(
    folder: File, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken: set[Path] = set()
    take = Sampler.take

    def noted(self: Sampler, path: Path, quantity: Quantity) -> np.ndarray:
        taken.add(path)
        return take(self, path, quantity)

    monkeypatch.setattr(Sampler, "take", noted)
    catalogue, product = load(name, [folder])
    evaluate(catalogue, product)
    assert len(taken) > 100
    assert [str(path) for path in sorted(taken) if not stands(catalogue, path)] == []


@pytest.mark.parametrize("name", PRODUCTS)
def test_what_gaps_prints_can_be_set(folder: File, name: str) -> None:
    catalogue, product = load(name, [folder])
    found = gaps(catalogue, product, draws=100)
    printed = [g.path for g in found.figures] + [m for g in found.groups for m in g.members]
    changes = []
    for text in sorted({p for p in printed if not p.startswith(str(Instrument("")))}):
        path = Path.parse(catalogue.documents[figures.document_of(text)].root, text)
        assert str(path) == text
        if path.keys[:2] == ("toolchain", "maturity"):
            # a question that is open: its answer may be set, though nothing stands there
            changes.append(f"{text}=full")
            continue
        assert stands(catalogue, path), text
        handle = lever(catalogue, product, text)
        assert handle.path == path
        assert handle.u > 0
        assert handle.now is not None
        changes.append(handle.assignment(handle.now))
    assert changes
    with_changes(catalogue, product, changes)


@pytest.mark.parametrize("name", PRODUCTS)
def test_what_tipping_prints_can_be_set(folder: File, name: str) -> None:
    catalogue, product = load(name, [folder])
    levers = _asked(evaluate(catalogue, product), ())
    assert len(levers) > 40
    changes = []
    # a stay goes by its temperature: what else there is of it is set before
    for handle in sorted(levers, key=lambda handle: handle.path.keys[-1] == "at"):
        assert handle.now is not None
        assert stands(catalogue, handle.path)
        assert lever(catalogue, product, str(handle.path)) == handle
        changes.append(handle.assignment(handle.now))
    there, _ = with_changes(catalogue, product, changes)
    # no key is new: each change took the place of the figure that stands
    for identity in {handle.path.document for handle in levers}:
        before, after = (
            [keys(path) for path, _ in figures.scalars(identity, found.documents[identity].root)]
            for found in (catalogue, there)
        )
        assert after == before


def keys(path: Path) -> tuple[str, ...]:
    """A path's keys; a stay goes by its temperature, which may be written otherwise."""
    if "environment" not in path.keys:
        return path.keys
    stay = path.keys.index("environment") + 1
    return (*path.keys[:stay], *path.keys[stay + 1 :])


def curve_levers(catalogue: Catalogue, product: Product) -> list[Path]:
    """Paths of the curves and tables that the first part's best build rests on."""
    best = evaluate(catalogue, product).candidates[0].best
    feed = best.assessed.feed
    out = []
    if feed.cell is not None:
        own = Path(feed.cell.cell)
        table = feed.cell.temperature
        for name, curve in (
            ("voltage-curve", feed.cell.voltage_curve),
            ("resistance", feed.cell.resistance),
        ):
            assert curve is not None
            out += [path for path, _ in curve.entries(own / name)]
        assert table is not None
        out += [
            own.child("temperature", k, n) for k in table.keys for n in ("capacity", "resistance")
        ]
    if feed.converter is not None and feed.converter.efficiency is not None:
        own = Path(feed.converter.converter)
        out += [path for path, _ in feed.converter.efficiency.entries(own / "efficiency")]
    sleep = best.assessed.sleep_name(best.row)
    state = catalogue.parts[best.part].sleep_states[sleep]
    assert state.current is not None
    at = Path(best.part, ("sleep-states", sleep, "current"))
    return [*out, *(path for path, _ in state.current.entries(at))]


@pytest.mark.parametrize("name", ["barrel-tag", "frost-post"])
def test_a_scan_moves_every_figure_of_a_curve_or_table(folder: File, name: str) -> None:
    catalogue, product = load(name, [folder])
    found = evaluate(catalogue, product)
    best = found.candidates[0].best
    moved = 0
    for path in curve_levers(catalogue, product):
        now = lever(catalogue, product, path).now
        assert now is not None
        places = np.array([now, 0.7 * now])
        cases = [(path, x) for x in places.tolist()]
        scores, taken = scan(catalogue, product, [best], [found.criteria], cases, 0, 1)
        assert taken == {path}
        assert scores[0, 0] == pytest.approx(best.score, rel=1e-9)
        if scores[0, 1] != pytest.approx(best.score, rel=1e-9):
            moved += 1
    assert moved >= 5


def test_a_scanned_table_entry_is_the_decision_with_it_set(folder: File) -> None:
    catalogue, product = load("barrel-tag", [folder])
    found = evaluate(catalogue, product)
    best = found.candidates[0].best
    for path in curve_levers(catalogue, product):
        handle = lever(catalogue, product, path)
        assert handle.now is not None
        # near, as an open-circuit voltage may not rise with depth
        x = 0.999 * handle.now
        scanned, taken = scan(catalogue, product, [best], [found.criteria], [(path, x)], 0, 1)
        assert taken == {path}
        there = evaluate(
            *with_changes(catalogue.only([best.part]), product, [handle.assignment(x)])
        )
        now = there.candidates[0].best
        if now.name == best.name:
            assert scanned[0, 0] == pytest.approx(now.score, rel=1e-9), path


def test_a_growth_beyond_a_table_is_settled_by_a_figure_there() -> None:
    """What `gaps` asks for stands nowhere yet: set, it ends the table there, and the warning."""
    state = "quorvane-jor:sleep-states.ram-kept"
    inputs = load("valve-driver", changes=[f"{state}.current={{25 degC: 1.70 µA}}"])
    found = gaps(*inputs, draws=100)
    path = f"{state}.current.40 degC"
    assert path in [g.path for g in found.figures]
    told = "quorvane-jor: sleep state ram-kept: its current is known up to 25 degC, the product"
    assert any(text.startswith(told) for text in found.warnings)
    there = with_changes(*inputs, [f"{path}=3.2 µA"])
    state_there = there[0].parts["quorvane-jor"].sleep_states["ram-kept"]
    assert state_there.current is not None
    assert state_there.current.keys == ("25 degC", "40 degC")
    assert not any(text.startswith(told) for text in evaluate(*there).warnings)


def test_a_place_may_be_spelled_otherwise_than_in_the_file() -> None:
    """It is the file's key that stands: the same draws, and no second place beside it."""
    inputs = load("frost-post")
    for cell in ("lm-thumb", "ls-pen"):
        table = inputs[0].cells[cell].temperature
        assert table is not None
        keys = table.keys
        kelvin = f"{table.at[0] + 273.15:.2f} K"
        path = f"{cell}:temperature.{kelvin}.capacity"
        assert lever(*inputs, path).path == Path(cell, ("temperature", keys[0], "capacity"))
        there = with_changes(*inputs, [f"{path}=0.123", f"{cell}:resistance.0 %=9 ohm"])
        changed = there[0].cells[cell]
        assert changed.temperature is not None
        assert changed.temperature.keys == keys
        assert changed.temperature.rows[0].capacity.nominal == 0.123
        assert changed.resistance is not None
        assert changed.resistance.keys[0] == "0"
        assert changed.resistance.y[0].nominal == 9.0
    for path, keys in (
        ("frost-post:environment.-12degC.share", ("environment", "-12 degC", "share")),
        ("frost-post:environment.305.15 K.at", ("environment", "32 degC", "at")),
        ("ls-pen:voltage-curve.80%", ("voltage-curve", "0.8")),
        ("ls-pen:voltage-curve.0.050", ("voltage-curve", "0.05")),
        ("quorvane-jor:price.breaks.1e3", ("price", "breaks", "1000")),
    ):
        assert lever(*inputs, path).path.keys == keys
    # a place beside those that stand is another one, and what is no place stands for itself alone
    new = with_changes(*inputs, ["ls-pen:resistance.71 %=10 ohm"])[0].cells["ls-pen"].resistance
    assert new is not None
    assert new.keys == ("0", "0.7", "71 %", "0.9", "1")
    for path in ("ls-pen:temperature.20(1) degC.capacity", "ls-pen:temperature.20 V.capacity"):
        with pytest.raises(FaultError):
            with_changes(*inputs, [f"{path}=0.5"])
    with pytest.raises(FaultError) as caught:
        lever(*inputs, "ls-pen:capacitty")
    assert caught.value.faults[0].nearest == "capacity"


def test_an_entry_that_another_is_named_like_is_no_lever() -> None:
    inputs = load("valve-driver")
    cells = [option.cell for option in inputs[1].supply_options.cells]
    twice = next(name for name in cells if cells.count(name) > 1)
    with pytest.raises(FaultError, match="an entry named once; 2 bear it"):
        lever(*inputs, f"valve-driver:supply-options.cells.{twice}.series")


def test_one_end_of_an_uncertain_weight_is_a_lever() -> None:
    weight = "barrel-tag:priorities.battery-life.weight"
    inputs = load("barrel-tag", changes=[f"{weight}={{low: 3, likely: 5, high: 7}}"])
    (tip,) = tipping(*inputs, [f"{weight}.low"], draws=200).levers
    assert (tip.path, tip.now) == (f"{weight}.low", 3.0)
