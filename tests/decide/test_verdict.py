"""A verdict on random products keeps what it claims, and is not settled over an open question."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.catalogue.load import with_changes
from advisor.catalogue.records import Estimate
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.shipped import load
from advisor.decide.could_lead import _at_their_best, could_lead
from advisor.decide.evaluate import evaluate
from advisor.decide.hopes import hopes
from advisor.decide.robustness import firmness
from advisor.present.glance import five
from advisor.present.tables import answer
from advisor.quantities import Quantity, exact
from advisor.studies.shortlist import shortlist
from tests.decide.random_catalogues import several, unsure

pytestmark = pytest.mark.once

PRODUCTS, DRAWS = 150, 400


@pytest.mark.slow
def test_what_is_called_settled_is_the_best_as_often_as_is_claimed(tmp_path: Path) -> None:
    """Parts are read with errors of the stated size about a truth that is known here."""
    settled, claimed, right = [], [], []
    for seed in range(PRODUCTS):
        truth = several(seed)
        exact = evaluate(*truth.load(tmp_path)).candidates
        seen = evaluate(*unsure(truth, seed, read=True).load(tmp_path), draws=DRAWS)
        found = firmness(seen).verdict
        if len(exact) < 2 or len(seen.candidates) < 2 or found is None:
            continue
        best = {c.part.part for c in exact if c.score > exact[0].score - 1e-6}
        settled.append(found.word == "settled")
        claimed.append(found.chance)
        right.append(seen.candidates[0].part.part in best)
    chance, hit, sure = np.array(claimed), np.array(right, dtype=float), np.array(settled)
    assert len(chance) > PRODUCTS / 3
    for group in (sure, ~sure):
        expected, error = chance[group].sum(), np.sqrt((chance * (1 - chance))[group].sum())
        # as often as claimed, give or take three deviations and one product
        assert hit[group].sum() >= expected - 3 * error - 1, (hit[group].sum(), expected)
    assert hit[~sure].sum() <= chance[~sure].sum() + 3 * np.sqrt(len(chance[~sure])) / 2 + 1


def test_a_part_set_aside_for_one_figure_that_could_lead_is_named() -> None:
    """The winner of the product loses its set-up time: it could still lead, and says so."""
    catalogue, product = load("valve-driver")
    whole = evaluate(catalogue, product, 400)
    winner = whole.candidates[0].part.part
    assert firmness(whole).verdict is not None
    part = catalogue.parts[winner]
    lost = replace(part, toolchain=replace(part.toolchain, setup=None))
    lacking = replace(catalogue, parts={**catalogue.parts, winner: lost})
    found = firmness(evaluate(lacking, product, 400)).verdict
    assert found is not None
    assert found.word != "settled"
    if found.chance >= 0.9:
        assert found.could_lead == (f"{winner}, missing {winner}:toolchain.setup, could lead",)
        assert "not settled, as" in found.text


def test_who_could_lead_is_told_where_one_part_fits_and_is_the_nearest_miss() -> None:
    """Beside a part of an earlier name that lacks the same figure and could not lead."""
    catalogue, product = load("barrel-tag")
    kept = ["dunsele-bov", "tessimur-mub", "quorvane-tib"]
    assert catalogue.parts[kept[0]].toolchain.setup is None
    lost = catalogue.parts[kept[2]]
    lost = replace(lost, toolchain=replace(lost.toolchain, setup=None))
    parts = {**{name: catalogue.parts[name] for name in kept}, kept[2]: lost}
    found = shortlist(replace(catalogue, parts=parts), product, draws=200)
    assert [p.part for p in found.ranking] == [kept[1]]
    assert found.nearest_miss == f"{kept[2]}: lacks toolchain.setup"
    could = f"{kept[2]}, missing {kept[2]}:toolchain.setup, could lead"
    told = [text for text in answer(found) if "only part" in text or "Verdict" in text]
    assert told[0] == "Why: the only part that fits."
    assert told[1].startswith("Verdict leaning: ")
    assert could in told[1]
    assert could in next(f.about for f in five(found) if f.name == "How sure")


def test_a_missing_figure_is_tried_as_good_as_any_other_part_s() -> None:
    """Against trying every other part's; the best of them is of a part amid the others by name."""
    catalogue, product = load("valve-driver")
    names = sorted(catalogue.parts)[:4]
    first, best = names[0], names[2]

    def with_setup(name: str, hours: float | None) -> Part:
        part = catalogue.parts[name]
        setup = None if hours is None else exact(3600.0 * hours, "time")
        return replace(part, toolchain=replace(part.toolchain, setup=setup))

    hours = {name: 1.0 if name == best else 20.0 + n for n, name in enumerate(names[1:])}
    parts = {name: with_setup(name, hours.get(name)) for name in names}
    found = evaluate(replace(catalogue, parts=parts), product)
    assert found.set_aside[first] == (f"{first}:toolchain.setup",)
    scores = []
    for each in hours.values():
        one = replace(catalogue, parts={first: with_setup(first, each)})
        scores.append(evaluate(one, product).candidates[0].score)
    assert _at_their_best(found)[first] == pytest.approx(max(scores), rel=1e-12)
    assert max(scores) > min(scores) + 0.1


def test_every_part_set_aside_for_one_figure_is_tried_whatever_the_others_lack() -> None:
    """In the order of their names: two figures, a kernel that is estimated, and a set-up time."""
    catalogue, product = load("valve-driver")
    kernel = min(k for task in product.workload for k in task.kernels)
    scored = {c.part.part: c.score for c in evaluate(catalogue, product).candidates}
    names = sorted(scored)
    both, measured_less, last = names[0], names[1], names[-1]
    parts = {name: catalogue.parts[name] for name in names}
    for name in (both, measured_less):
        kept = {k: v for k, v in parts[name].kernels.items() if k != kernel}
        parts[name] = replace(parts[name], kernels=kept)
    for name in (both, last):
        parts[name] = replace(parts[name], toolchain=replace(parts[name].toolchain, setup=None))
    found = evaluate(replace(catalogue, parts=parts), product)
    assert {name: len(missing) for name, missing in found.set_aside.items()} == {
        both: 2, measured_less: 1, last: 1,
    }  # fmt: skip
    assert list(found.set_aside) == [both, measured_less, last]
    best = _at_their_best(found)
    assert set(best) == {measured_less, last}
    assert all(0 < score <= 100 for score in best.values())
    # with the best set-up time of all it is no worse than with its own
    assert best[last] >= scored[last] - 1e-9


@pytest.mark.parametrize("seed", [0, 2, 4, 5, "barrel-tag", "frost-post", "crate-call"])
def test_parts_set_aside_may_be_tried_beside_those_that_compete(
    seed: int | str, tmp_path: Path
) -> None:
    """In one pass they are worth what they are by themselves, and nothing else of the answer moves;
    the first part of each random product has no set-up time."""
    if isinstance(seed, str):
        catalogue, product = load(seed)
    else:
        catalogue, product = several(seed).load(tmp_path)
        lost = sorted(catalogue.parts)[:1]
        parts = {
            name: replace(part, toolchain=replace(part.toolchain, setup=None))
            if name in lost
            else part
            for name, part in catalogue.parts.items()
        }
        catalogue = replace(catalogue, parts=parts)
    apart = evaluate(catalogue, product, 16)
    beside = evaluate(catalogue, product, 16, hopes_too=True)
    assert not apart.hopes
    by_itself = _at_their_best(apart)
    assert beside.hopes
    assert by_itself
    assert _at_their_best(beside) == pytest.approx(by_itself, rel=1e-12)
    assert any(np.isfinite(x) for x in by_itself.values())
    assert beside.left_out == apart.left_out
    assert beside.screened == apart.screened
    assert beside.set_aside == apart.set_aside
    assert beside.warnings == apart.warnings
    told = [[(c.part.part, c.best.name, c.score) for c in x.candidates] for x in (apart, beside)]
    assert told[0] == told[1]


def test_a_part_that_lacks_what_an_add_on_brings_is_compared_with_it() -> None:
    catalogue, product = load("valve-driver")
    whole = evaluate(catalogue, product, 400)
    winner, second = (c.part.part for c in whole.candidates[:2])
    changes = ["valve-driver:needs.features.radio=1", "valve-driver:add-ons=allowed"]
    asked = with_changes(catalogue, product, changes)
    parts = {
        name: replace(p, features={**p.features, "radio": _one(1.0 if name == second else 0.0)})
        for name, p in asked[0].parts.items()
    }
    there = replace(asked[0], parts=parts)
    found = evaluate(there, asked[1], 400)
    beside = {c.part.part: c.addons for c in found.candidates}
    assert beside[second] == ()
    assert beside[winner] in {("net-link",), ("row-call",)}
    # refused, it is out, and its answer says what it would take
    refused = evaluate(there, replace(asked[1], add_ons="refused"), 400)
    assert [c.part.part for c in refused.candidates] == [second]
    told = {one.id: one.why for one in refused.left_out if one.kind == "part"}
    assert "with net-link or with row-call it would meet the needs" in told[winner]
    assert could_lead(refused, np.ones(1)) == ()


def _one(count: float) -> Quantity:
    return exact(count, "count")


@pytest.mark.parametrize(
    ("key", "leads"),
    [
        *(("price", True), ("setup", True), ("standing", True), ("temperature.max", True)),
        *(("takes", False), ("price.breaks.1", False)),
    ],
)
def test_an_add_on_that_lacks_one_figure_may_bring_a_part_to_the_front(
    key: str, leads: bool
) -> None:
    """The winner has no radio, and nothing tells what the one add-on that brings it costs."""
    catalogue, product = load("valve-driver")
    names = ["quorvane-jor", "tessimur-rud", "vantle-hul", "dunsele-zad"]
    radio = {name: float(n > 0) for n, name in enumerate(names)}
    parts = {
        name: replace(
            catalogue.parts[name],
            features={**catalogue.parts[name].features, "radio": _one(radio[name])},
        )
        for name in names
    }
    addons = {"net-link": catalogue.addons["net-link"]}
    changes = ["valve-driver:needs.features.radio=1", "valve-driver:add-ons=allowed"]
    changes += [f"net-link:{key}=null"]
    # far too dear, which a figure that it lacks does not make up for
    changes += ["net-link:price.breaks.1=9000"] if key == "takes" else []
    asked = with_changes(replace(catalogue, parts=parts, addons=addons), product, changes)
    found = evaluate(*asked, 400)
    told = firmness(found).verdict
    assert told is not None
    path = {"price": "price.breaks"}.get(key, key)
    could = f"quorvane-jor with net-link, missing net-link:{path}, could lead"
    assert told.could_lead == ((could,) if leads else ())


@pytest.mark.parametrize("key", ["memory.flash", "lifecycle", "temperature.min", "kernels.filter"])
@pytest.mark.parametrize("rtc", ["0", "null"])
def test_a_part_that_leads_with_an_add_on_could_lead_without_one_figure(key: str, rtc: str) -> None:
    """Whether the file denies the need that the add-on meets or does not tell of it."""
    catalogue, product = load("frost-post")
    names = ["quorvane-jor", "quorvane-sij", "tessimur-rud", "ostrel-goz", "quorvane-kez"]
    few = replace(catalogue, parts={name: catalogue.parts[name] for name in names})
    changes = ["frost-post:add-ons=allowed", f"{names[0]}:features.rtc={rtc}"]
    changes += [f"{names[0]}:features.i2c=3", f"{names[0]}:price.breaks.1000=0.80"]
    whole = evaluate(*with_changes(few, product, changes), 200)
    assert (whole.candidates[0].part.part, whole.candidates[0].addons) == (
        names[0],
        ("vine-clock",),
    )
    asked = with_changes(few, product, [*changes, f"{names[0]}:{key}=null"])
    could = f"{names[0]} with vine-clock, missing {names[0]}:{key}, could lead"
    for hopes_too in (False, True):
        found = firmness(evaluate(*asked, 200, hopes_too=hopes_too)).verdict
        assert found is not None
        assert (found.word, found.could_lead) == ("leaning", (could,))
    assert shortlist(*asked, draws=200).nearest_miss == f"{names[0]}: lacks {key}"
    # one that no add-on helps stays out for the need
    out = evaluate(replace(asked[0], addons={}), asked[1])
    assert (names[0] in out.screened) == (rtc == "0")
    assert could_lead(out, np.ones(len(out.candidates))) == ()


def test_a_word_that_a_part_lacks_is_tried_as_the_others_have_it() -> None:
    """A part with the worst of everything does not lead, whatever its state of supply."""
    catalogue, product = load("frost-post")
    names = ["quorvane-jor", "ostrel-goz", "quorvane-sij"]
    few = replace(catalogue, parts={name: catalogue.parts[name] for name in names})
    changes = ["quorvane-sij:price.breaks.1000=90", "quorvane-sij:lifecycle=null"]
    found = evaluate(*with_changes(few, product, changes))
    assert set(found.set_aside) == {"quorvane-sij"}
    assert could_lead(found, np.ones(len(found.candidates))) == ()
    assert 0 < _at_their_best(found)["quorvane-sij"] < found.candidates[0].score


def test_an_estimate_that_may_lead_is_named() -> None:
    catalogue, product = load("barrel-tag")
    found = evaluate(catalogue, product, 400)
    first = found.candidates[0].part.part
    guessed = replace(
        found, catalogue=replace(found.catalogue, estimates=(Estimate(first, "b", ("a:b",), ""),))
    )
    chances = np.zeros(len(found.candidates))
    assert could_lead(guessed, chances) == ()
    chances[0] = 0.5
    assert could_lead(guessed, chances) == (f"{first} rests on estimates (a:b)",)
    chances[0] = 0.01
    assert could_lead(guessed, chances) == (f"{first} rests on estimates (a:b)",)
    chances[0] = 0.0099
    assert could_lead(guessed, chances) == ()


def test_a_part_is_tried_with_the_least_and_the_greatest_of_the_others_figures() -> None:
    catalogue, product = load("valve-driver")
    names = sorted(catalogue.parts)[:5]
    parts = {}
    for n, name in enumerate(names):
        part = catalogue.parts[name]
        setup = None if n == 2 else exact(3600.0 * (10.0, 3.0, 0.0, 7.0, 5.0)[n], "time")
        parts[name] = replace(part, toolchain=replace(part.toolchain, setup=setup))
    aside = {names[2]: (f"{names[2]}:toolchain.setup",), names[3]: ("a", "b")}
    found, tried = hopes(replace(catalogue, parts=parts), product, aside)
    assert found == {names[2]: (f"{names[2]} 0", f"{names[2]} 1")}
    hours = [one.toolchain.setup for one in tried.values()]
    assert [h.nominal / 3600 for h in hours if h is not None] == [3.0, 10.0]
    # where no other tells, none is tried
    alone = replace(catalogue, parts={names[2]: parts[names[2]]})
    assert hopes(alone, product, aside) == ({names[2]: ()}, {})
