"""Figures of parts that are kept from pass to pass, against reading them anew each time."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from advisor.catalogue.levers import Lever, lever
from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.decide import profiles
from advisor.decide.digests import digest
from advisor.decide.evaluate import evaluate
from advisor.decide.marches import Marches
from advisor.decide.profiles import KEPT, PACKS, Latest, Profiles
from advisor.decide.scan import scan
from advisor.decide.stage import Stage, grid_stage, stage
from advisor.faults import FaultError
from advisor.figures import scalars
from advisor.model import packs
from advisor.model.drain import Pack
from advisor.model.draws import Case
from advisor.model.packs import _pack
from advisor.model.served import Services
from advisor.model.tables import PartFigures, Wanted, part_figures
from advisor.model.workload import ProductFigures

pytestmark = pytest.mark.once


def levers(catalogue: Catalogue, product: Product, document: str) -> list[Lever]:
    out = []
    for path, _ in scalars(document, catalogue.documents[document].root):
        try:
            handle = lever(catalogue, product, str(path))
        except FaultError:
            continue
        if handle.now:
            out.append(handle)
    return out


def assert_same(found: PartFigures, wanted: PartFigures) -> None:
    for field in fields(PartFigures):
        one, other = getattr(found, field.name), getattr(wanted, field.name)
        if isinstance(other, np.ndarray):
            np.testing.assert_array_equal(one, other, err_msg=field.name)
        elif isinstance(other, list) and other and isinstance(other[0], np.ndarray):
            for a, b in zip(one, other, strict=True):
                np.testing.assert_array_equal(a, b, err_msg=field.name)
        else:
            assert one == other, field.name


@pytest.mark.parametrize("name", ["barrel-tag", "frost-post", "crate-call"])
def test_whatever_moves_of_a_product_parts_are_read_as_anew(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every figure of the product by itself, then several in one pass: at the stated values, over
    draws, and over cases; all figures of a part, and those of one of its builds."""
    catalogue, product = load(name)
    part = evaluate(catalogue, product).candidates[0].part
    kept = Profiles(KEPT)
    here = stage(catalogue, product)
    whole = part_figures(part, here.figures, here.samplers[part.part])
    use = Wanted(whole.sleeps[0], tuple(some[0] for some in whole.options))
    read: list[str] = []

    def counted(*asked: object) -> PartFigures:
        read.append(name)
        return part_figures(*asked)  # type: ignore[arg-type]

    monkeypatch.setattr(profiles, "part_figures", counted)
    asked = 0

    def both(here: Stage, wanted: Wanted | None) -> None:
        nonlocal asked
        asked += 1
        sampler = here.samplers[part.part]
        found = kept.of(part, here.figures, sampler, wanted)
        assert_same(found, part_figures(part, here.figures, sampler, wanted))

    every: list[Case] = []
    for handle in levers(catalogue, product, name):
        now = handle.now or 0.0
        cases: list[Case] = [None, *((handle.path, now * share) for share in (0.9, 1.1))]
        every += cases[1:]
        both(grid_stage(catalogue, product, cases, 5, 1), use)
        both(grid_stage(catalogue, product, cases, 0, 1), use)
        try:
            there, moved = with_changes(catalogue, product, [handle.assignment(1.1 * now)])
        except FaultError:
            continue
        both(stage(there, moved), None)
        both(stage(there, moved, 5, 1), use)
    both(grid_stage(catalogue, product, every, 5, 1), use)
    assert 1 < len(read) < 0.7 * asked


def test_a_product_is_read_once_as_long_as_nothing_of_it_moves() -> None:
    """Over cases of one part's figures and then of another's; anew for a figure of the product,
    other draws, another count of cases, another seed, and a record with a change."""
    catalogue, product = load("barrel-tag")
    marches = Marches(kept=0, profiles=Profiles(products=1000))
    _, moved = with_changes(catalogue, product, ["barrel-tag:workload.report.every=3 h"])
    one, other = (levers(catalogue, product, part)[0] for part in sorted(catalogue.parts)[:2])
    own = levers(catalogue, product, product.product)[0]

    def cases(handle: Lever) -> list[Case]:
        return [None, (handle.path, 2 * (handle.now or 1.0))]

    def read(of: Product, cases: list[Case], draws: int, seed: int) -> ProductFigures:
        here = grid_stage(catalogue, of, cases, draws, seed, marches=marches)
        anew = grid_stage(catalogue, of, cases, draws, seed)
        assert digest(here.figures) == digest(anew.figures)
        return here.figures

    first = read(product, cases(one), 5, 1)
    assert read(product, cases(other), 5, 1) is first
    for asked in (
        (product, cases(own), 5, 1),
        (product, cases(one), 6, 1),
        (product, [*cases(one), None], 5, 1),
        (product, cases(one), 5, 2),
        (moved, cases(one), 5, 1),
    ):
        assert read(*asked) is not first
    assert read(product, cases(one), 5, 1) is first


def test_what_moves_of_a_part_is_read_anew() -> None:
    catalogue, product = load("barrel-tag")
    part = evaluate(catalogue, product).candidates[0].part
    kept = Profiles(KEPT)
    here = stage(catalogue, product)
    before = kept.of(part, here.figures, here.samplers[part.part])
    assert kept.of(part, here.figures, here.samplers[part.part]) is before
    handle = next(x for x in levers(catalogue, product, part.part) if "sleep-states" in x.path.keys)
    there, _ = with_changes(catalogue, product, [handle.assignment(2 * (handle.now or 0.0))])
    other = kept.of(there.parts[part.part], here.figures, here.samplers[part.part])
    assert (other.sleep_a > before.sleep_a).any()
    cases: list[Case] = [None, (handle.path, 2 * (handle.now or 0.0))]
    grid = grid_stage(catalogue, product, cases, 0, 1)
    found = kept.of(part, grid.figures, grid.samplers[part.part])
    assert_same(found, part_figures(part, grid.figures, grid.samplers[part.part]))


@pytest.mark.parametrize("name", ["barrel-tag", "frost-post", "crate-call"])
def test_scans_by_what_is_known_are_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Along every figure of the product and of the best build's cell and converters; packs too are
    made once where they stay."""
    catalogue, product = load(name)
    base = evaluate(catalogue, product, 8)
    builds = [build for candidate in base.candidates[:2] for build in candidate.builds[:3]]
    feed = builds[0].assessed.feed
    documents = [name, *(record.converter for record, _ in feed.bought)]
    documents += [feed.option.cell] if feed.option.cell else []
    services = Services()
    marches = Marches(services, kept=0, profiles=Profiles(KEPT, PACKS))
    made: list[str] = []

    def counted(*asked: object) -> Pack:
        made.append(name)
        return _pack(*asked)  # type: ignore[arg-type]

    monkeypatch.setattr(packs, "_pack", counted)
    often = [0, 0]
    every = [one for document in documents for one in levers(catalogue, product, document)]
    for handle in every[:: 6 if name == "crate-call" else 1]:  # whose stores take long
        now = handle.now or 0.0
        cases: list[Case] = [(handle.path, now * share) for share in (0.95, 1.05)]
        args = catalogue, product, builds, [base.criteria], cases, 8, 1
        found, taken = scan(*args, marches=marches)
        often[0], made[:] = often[0] + len(made), []
        wanted, also = scan(*args, marches=Marches(services, kept=0))
        often[1], made[:] = often[1] + len(made), []
        np.testing.assert_array_equal(found, wanted, err_msg=str(handle.path))
        assert taken == also
    if name == "crate-call":
        assert often[0] == often[1]  # how long what is charged lasts rests on more
    else:
        assert 0 < often[0] < 0.7 * often[1]


def test_what_is_let_go_where_there_is_no_room_is_made_again() -> None:
    catalogue, product = load("frost-post")
    base = evaluate(catalogue, product, 24)
    builds = [build for candidate in base.candidates[:4] for build in candidate.builds[:4]]
    for room in (1, 40, KEPT):
        marches = Marches(kept=0, profiles=Profiles(room, room))
        for path in ("workload.report.loads.radio.current", "environment.-12 degC.at", "rail"):
            handle = lever(catalogue, product, f"frost-post:{path}")
            now = handle.now or 0.0
            cases: list[Case] = [(handle.path, now + 0.01 * abs(now) * n) for n in range(4)]
            args = catalogue, product, builds, [base.criteria], cases, 24, 1
            for _ in range(2):
                found, taken = scan(*args, marches=marches)
                wanted, also = scan(*args)
                np.testing.assert_array_equal(found, wanted)
                assert taken == also


def test_only_the_latest_are_kept() -> None:
    kept = Latest(5)
    for n in range(4):
        kept.put(n, 2, f"value {n}")
    assert [kept.get(n) for n in range(4)] == [None, None, "value 2", "value 3"]
    assert kept.get(2) == "value 2"
    kept.put(4, 2, "value 4")
    assert [kept.get(n) for n in (2, 3, 4)] == ["value 2", None, "value 4"]
    kept.put(5, 100, "large")
    assert [kept.get(n) for n in (2, 4, 5)] == [None, None, "large"]
    kept.put(6, 1, "small")
    assert [kept.get(n) for n in (5, 6)] == [None, "small"]
