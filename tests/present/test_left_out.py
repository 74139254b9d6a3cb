"""What was left out, on screens and in documents: folded to a line, and all of it when asked."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from advisor.catalogue.shipped import load
from advisor.decide.left_out import PLURALS, LeftOut
from advisor.present.layout import Page
from advisor.present.left_out import folded, left_out, told
from advisor.studies.report import report
from advisor.studies.shortlist import shortlist
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixtures
from tests.cli.conftest import studied_once as studied_once

MANY = [LeftOut(kind, f"{kind} {n}", "it is out") for kind in PLURALS for n in range(12)]
TYPED = "barrel-tag:needs.features.uatr=1"
NEAREST = (
    'barrel-tag:needs.features.uatr: "uatr", which no part counts and no add-on brings; the '
    "nearest name is uart"
)
# each command that answers about a product, and the arguments that keep it short
ANSWERS: dict[str, list[str]] = {
    "shortlist": ["--draws", "0"],
    "explain": ["quorvane-tib", "--draws", "0"],
    "outlook": ["--along", "barrel-tag:cost.units=1000:2000", "--points", "2", "--draws", "0"],
    "tipping": ["--lever", "barrel-tag:cost.units", "--points", "1", "--draws", "20"],
    "gaps": ["--draws", "100"],
    "weights": ["--draws", "0"],
}


def test_the_fold_counts_each_kind() -> None:
    found = [
        LeftOut("pack", "a", "x"),
        LeftOut("pack", "b", "x"),
        LeftOut("sleep-state", "c:sleep-states.d", "x"),
    ]
    assert folded(found) == "Left out: 2 packs, 1 sleep state; --all tells why"
    assert folded([]) == ""


@pytest.mark.parametrize("width", [40, 60, 80, 200])
def test_the_fold_is_one_line_at_any_width(width: int) -> None:
    page = Page(width)
    left_out(page, MANY, everything=False)
    (line,) = (row for row in page.plain().splitlines() if row)
    assert len(line) <= width
    assert "--all" in line
    assert ("12 sleep states" in line) is (width == 200)
    assert width == 200 or "84 in all" in line


def test_all_tells_each_with_its_reason() -> None:
    page = Page(80)
    left_out(page, MANY, everything=True)
    text = page.plain()
    assert all(f"{one.id}: {one.why}" in text for one in MANY)
    assert [f"left out: {one.kind.replace('-', ' ')} {one.id}: it is out" for one in MANY] == told(
        MANY, True
    )


@pytest.mark.once
@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize("command", ANSWERS)
def test_every_answer_has_it(said: Caller, command: str) -> None:
    expected = [
        {"kind": one.kind, "id": one.id, "why": one.why}
        for one in shortlist(*load("barrel-tag"), draws=0).left_out
    ]
    assert {one["kind"] for one in expected} >= {"sleep-state", "part"}
    call = [command, "barrel-tag", *ANSWERS[command]]
    code, out, _ = said(*call, "--format", "json")
    assert code == 0
    assert json.loads(out)["left_out"] == expected
    _, out, _ = said(*call)
    assert out.count("Left out: ") == 1
    assert "; --all tells why" in out
    _, out, _ = said(*call, "--all")
    assert "--all tells why" not in out
    assert all(f"{one['id']}: {one['why']}" in out for one in expected)
    _, out, err = said(*call, "--format", "csv")
    assert "Left out: " in err
    assert "Left out: " not in out
    _, _, err = said(*call, "--format", "csv", "--all")
    assert all(f"{one['id']}: {one['why']}" in err for one in expected)


@pytest.mark.once
@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize("command", [name for name in ANSWERS if name != "explain"])
def test_a_misspelled_feature_is_told_on_every_answer(said: Caller, command: str) -> None:
    call = [command, "barrel-tag", *ANSWERS[command], "--set", TYPED]
    code, out, _ = said(*call, "--format", "json")
    assert code == 1  # nothing fits
    assert json.loads(out)["warnings"].count(NEAREST) == 1
    _, out, _ = said(*call)
    assert " ".join(out.split()).count(NEAREST) == 1


def test_a_part_that_lacks_a_misspelled_feature_says_so(said: Caller) -> None:
    code, _, err = said("explain", "barrel-tag", "quorvane-tib", "--draws", "0", "--set", TYPED)
    assert code == 1
    assert "missing data: quorvane-tib:features.uatr" in err
    assert NEAREST in err


def test_what_no_sleep_state_keeps_is_told_with_the_nearest_name(said: Caller) -> None:
    call = ["explain", "barrel-tag", "quorvane-tib", "--draws", "0", "--set"]
    _, out, _ = said(*call, "barrel-tag:retain=[rma]")
    assert 'barrel-tag:retain: "rma", which no sleep state keeps; the nearest name is ram' in out


def test_a_part_that_lacks_figures_may_be_the_nearest_miss() -> None:
    found = shortlist(*load("barrel-tag", changes=[TYPED]), draws=0)
    # each part lacks that feature; those that fail nothing else come before all that do
    assert found.nearest_miss is not None
    part, why = found.nearest_miss.split(": ")
    alike = [a for a in found.set_aside if a.missing == (f"{a.part}:features.uatr",)]
    assert why == f"lacks features.uatr (and {len(alike) - 1} more)"
    assert [a.missing for a in found.set_aside if a.part == part] == [(f"{part}:features.uatr",)]
    # a part that fails one need and lacks these figures besides is no nearer
    more = [TYPED, "barrel-tag:needs.features.spii=1"]
    found = shortlist(*load("barrel-tag", changes=more), draws=0)
    assert any(len(s.failed) == 1 for s in found.screened_out)
    assert (
        (found.nearest_miss or "").split(": ")[1].startswith("lacks features.uatr, features.spii")
    )
    # where a need is all that it fails, that is nearer than two figures
    some = [p.part for p in shortlist(*load("barrel-tag"), draws=0).ranking]
    kept = [f"{one}:features.{name}=1" for one in some for name in ("uatr", "spii")]
    late = "barrel-tag:needs.lead-time=1 week"
    found = shortlist(*load("barrel-tag", changes=[*more, *kept, late]), draws=0)
    part, why = (found.nearest_miss or "").split(": ", 1)
    assert part in some
    assert why.startswith("lead-time: ")


def test_an_outlook_of_some_parts_asks_the_whole_catalogue(said: Caller) -> None:
    """A feature that a part not shown counts is no slip of the pen."""
    call = ["outlook", "barrel-tag", "quorvane-tib", *ANSWERS["outlook"], "--format", "json"]
    call += ["--set", "barrel-tag:needs.features.can=1"]
    _, out, _ = said(*call)
    assert any("which no part counts" in text for text in json.loads(out)["warnings"])
    _, out, _ = said(*call, "--set", "ostrel-yab:features.can=1")
    assert not any("which no part counts" in text for text in json.loads(out)["warnings"])


@pytest.mark.once
def test_a_decision_and_its_revisit_tell_it(
    said: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    odd = ["--set", "barrel-tag:life-target=30 years"]
    call = ["decide", "barrel-tag", "quorvane-tib", "--because", "tools", "--draws", "20"]
    code, out, err = said(*call, *odd, "-o", "r.yaml")
    assert code == 0
    assert "Left out: " in out
    assert "shortlist --all tells why" in out
    assert "barrel-tag:life-target: 30 years, longer than the service life" in err
    _, out, _ = said("revisit", "r.yaml")
    assert "; --all tells why" in out
    assert "longer than the service life" in out
    _, out, _ = said("revisit", "r.yaml", "--all")
    assert "dunsele-bov: lacks dunsele-bov:toolchain.setup" in out
    _, out, _ = said("revisit", "r.yaml", "--format", "json")
    document = json.loads(out)
    assert {"kind", "id", "why"} == document["left_out"][0].keys()
    assert any("longer than the service life" in text for text in document["warnings"])


@pytest.mark.once
def test_a_report_shows_every_reason() -> None:
    from advisor.present.markdown import markdown

    found = report(*load("barrel-tag", changes=["barrel-tag:retain=[ram, rtc]"]), draws=0)
    text = markdown(found).replace("\\", "")
    assert found.shortlist.left_out
    for one in found.shortlist.left_out:
        assert one.id in text
        assert one.why.removeprefix("lacks ") in text
