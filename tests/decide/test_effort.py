"""What measurements take: each once, whatever number of figures it tells."""

from __future__ import annotations

from pathlib import Path as File

import pytest

from advisor.catalogue.fields import specification
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import USUAL_HOURS, Hours
from advisor.decide.effort import Measurement, effort, measurement
from advisor.figures import Path
from advisor.model.draws import Instrument
from advisor.quantities import exact
from tests.studies.every_key import CELL, CHARGED, KERNELS, LINEAR, PART, PRODUCT, SWITCHING
from tests.studies.small import loaded_files


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    files = {
        "kernels": KERNELS,
        "parts/probe-part": PART,
        "cells/probe-cell": CELL,
        "cells/probe-charged": CHARGED,
        "converters/probe-ldo": LINEAR,
        "converters/probe-sw": SWITCHING,
    }
    return loaded_files(File(tmp_path_factory.mktemp("catalogue")), files, PRODUCT)[0]


# the figures that one measurement tells, and its kind
TOGETHER: tuple[tuple[str, str, list[str], list[str]], ...] = (
    ("kernel", "probe-part", ["kernels", "hash", "fast"], ["time", "current"]),
    ("kernel", "probe-part", ["kernels", "hash", "fast+aid"], ["time", "current"]),
    ("idle-current", "probe-part", ["operating-points", "fast"], ["idle-current"]),
    ("sleep-current", "probe-part", ["sleep-states", "ram-kept", "current"], ["25 degC"]),
    ("sleep-current", "probe-part", ["sleep-states", "ram-kept", "current"], ["85 degC"]),
    ("sleep-current", "probe-part", ["sleep-states", "ram-kept", "adds"], ["rtc"]),
    ("wake", "probe-part", ["sleep-states", "ram-kept"], ["wake-time", "wake-charge"]),
    ("block", "probe-part", ["blocks", "radio-advert"], ["current", "for"]),
    ("toolchain-trial", "probe-part", ["toolchain"], ["setup"]),
    ("maturity", "probe-part", ["toolchain", "maturity"], ["compiler"]),
    ("maturity", "probe-part", ["toolchain", "maturity"], ["debug"]),
    ("calibration", "probe-part", ["evidence", "bench"], ["gain"]),
    ("other", "probe-part", [], ["board-area"]),
    ("quotation", "probe-cell", ["price", "breaks"], ["1", "100", "10000"]),
    ("cell", "probe-cell", [], ["capacity", "nominal-voltage"]),
    ("cell", "probe-cell", ["temperature", "-20 degC"], ["capacity", "resistance"]),
    ("cell", "probe-cell", [], ["self-discharge"]),
    ("converter", "probe-ldo", [], ["quiescent"]),
    ("converter", "probe-ldo", [], ["dropout"]),
    ("product", "probe", ["workload", "sample", "loads", "radio"], ["current", "for"]),
    ("product", "probe", ["workload", "sample", "loads", "probe"], ["current", "for"]),
    ("product", "probe", ["standing-loads", "divider"], ["current"]),
    ("product", "probe", ["supply-options", "reservoir"], ["capacitance", "esr", "leakage"]),
    ("product", "probe", ["supply-options", "reservoir"], ["price"]),
    ("product", "probe", ["cost"], ["service-visit"]),
    ("product", "probe", ["cost"], ["tools"]),
)


def test_figures_of_one_measurement_count_once(catalogue: Catalogue) -> None:
    asked = []
    for kind, document, keys, figures in TOGETHER:
        told = {measurement(Path(document, (*keys, f)), catalogue) for f in figures}
        assert len(told) == 1, (keys, figures)
        assert {m.kind for m in told} == {kind}, (keys, figures)
        asked += list(told)
    # and no two of these are the same
    assert len(set(asked)) == len(TOGETHER)
    found = effort([*asked, *asked], Hours())
    assert found.hours == sum(USUAL_HOURS[kind] for kind, *_ in TOGETHER)
    assert found.usual == {kind for kind, *_ in TOGETHER}


def test_prices_of_a_part_and_its_extras_come_by_one_quotation(catalogue: Catalogue) -> None:
    told = {
        measurement(Path("probe-part", keys), catalogue)
        for keys in (("price", "breaks", "100"), ("extras", "crystal", "price"))
    }
    assert told == {Measurement("quotation", ("probe-part",))}


def test_an_instrument_is_calibrated_once_for_all(catalogue: Catalogue) -> None:
    assert measurement(Instrument("meter-a"), catalogue).kind == "calibration"


def test_only_what_is_measured_is_measured_again(catalogue: Catalogue) -> None:
    again = {
        (kind, figures[0]): measurement(Path(document, (*keys, figures[0])), catalogue).repeats
        for kind, document, keys, figures in TOGETHER
    }
    never = {key for key, repeats in again.items() if not repeats}
    assert never == {
        ("quotation", "1"),
        ("toolchain-trial", "setup"),
        ("maturity", "compiler"),
        ("maturity", "debug"),
        ("other", "board-area"),
        ("product", "price"),
        ("product", "service-visit"),
        ("product", "tools"),
    }


def test_stated_hours_take_the_place_of_usual_ones() -> None:
    runs = [Measurement("kernel", ("a", "crc")), Measurement("wake", ("a", "off"))]
    stated = Hours(kernel=exact(1800.0, "time"))
    assert effort(runs, stated).hours == 0.5 + USUAL_HOURS["wake"]
    assert effort(runs, stated).usual == {"wake"}
    # no hours at all may be stated too
    assert effort(runs[:1], Hours(kernel=exact(0.0, "time"))).hours == 0.0


def test_a_whole_part_takes_at_most_what_is_stated_for_one() -> None:
    runs = [Measurement("kernel", ("a", str(i))) for i in range(10)]
    stated = Hours(whole_part=exact(5 * 3600.0, "time"))
    assert effort(runs, stated, whole=True).hours == 5.0
    assert effort(runs, stated, whole=True).usual == frozenset()
    assert effort(runs, stated).hours == 20.0
    assert effort(runs[:2], stated, whole=True).hours == 4.0


def test_every_kind_has_usual_hours_and_its_title_tells_them() -> None:
    keys = specification(Hours)
    assert set(keys) == {*USUAL_HOURS, "whole-part"}
    for kind, hours in USUAL_HOURS.items():
        assert f"usually {hours:g} h (common practice, no source)" in keys[kind].title
