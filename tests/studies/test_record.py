"""Decisions on record: what they hold, what revisiting tells, hostile input."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

from advisor.catalogue.load import load_run, with_changes
from advisor.catalogue.shipped import catalogue_folder, load, product_files
from advisor.faults import FaultError
from advisor.present.record import revisited_page
from advisor.studies.record import decide, read_decision, revisit
from advisor.studies.schema import schema
from advisor.studies.shortlist import shortlist
from advisor.studies.since import changes_since, digests
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture

pytestmark = pytest.mark.once

DAY = datetime.date(2026, 3, 1)
WHY = 'it is "the one": 3 suppliers # really'


@pytest.fixture(scope="module")
def decided() -> str:
    return decide(*load("frost-post"), "quorvane-jor", WHY, date=DAY, draws=200).text


@pytest.fixture
def record(tmp_path: Path, decided: str) -> Path:
    path = tmp_path / "record.yaml"
    path.write_text(decided, "utf-8")
    return path


def test_a_record_holds_the_day(record: Path) -> None:
    held = read_decision(record)
    assert (held.decision, held.part, held.because, held.date) == (
        "frost-post",
        "quorvane-jor",
        WHY,
        DAY,
    )
    then = shortlist(*load("frost-post"), draws=200)
    assert [p.part for p in held.ranking] == [p.part for p in then.ranking]
    for kept, part in zip(held.ranking, then.ranking, strict=True):
        assert kept.score.nominal == pytest.approx(part.score, rel=1e-5)
        assert kept.first is not None
        assert kept.first.nominal == pytest.approx(part.first_place_probability, abs=1e-4)
    assert len(held.digests) == len(load("frost-post")[0].documents)
    assert held.figures["frost-post:workload.sample.every"] == "1 s"
    assert held.figures["quorvane-jor:lifecycle"] == "active"
    document = yaml.safe_load(record.read_text("utf-8"))
    document["date"] = document["date"].isoformat()
    faults = list(Draft202012Validator(schema("record").document).iter_errors(document))
    assert faults == []


def test_nothing_changed_stands(record: Path) -> None:
    found = revisit(read_decision(record), *load("frost-post"))
    assert found.stands
    told = [found.changed, found.documents, found.new, found.gone, found.passed_by]
    assert not any(told)
    assert all(p.rank_then == p.rank_now for p in found.places)


def test_digests_are_of_figures_not_of_layout(tmp_path: Path) -> None:
    text = product_files()["frost-post"].read_text("utf-8")
    path = tmp_path / "frost-post.yaml"
    path.write_text(
        "# another head\n\n" + text.replace("product: frost-post", "product:   frost-post")
    )
    here = load_run([catalogue_folder()], path)
    assert digests(*here) == digests(*load("frost-post"))
    other = with_changes(*load("frost-post"), ["ostrel-ruv:price.breaks.1=7"])
    changed = {k for k, v in digests(*other).items() if v != digests(*here)[k]}
    assert changed == {"ostrel-ruv"}


def test_what_changed_is_told(record: Path) -> None:
    now = with_changes(
        *load("frost-post"),
        [
            "quorvane-jor:price.breaks.1000=2.30",
            "ostrel-ruv:price.breaks.1=7",
            "frost-post:service-life=8 years",
        ],
    )
    found = revisit(read_decision(record), *now)
    told = {c.path: (c.was, c.now) for c in found.changed}
    assert told["quorvane-jor:price.breaks.1000"] == ("2.05", "2.30")
    assert told["frost-post:service-life"][1] == "8 years"
    assert len(told) == 2
    assert found.documents == ("ostrel-ruv",)


@pytest.mark.parametrize(
    ("path", "same", "other"),
    [
        ("quorvane-jor:price.breaks.1000", "2.050", "2.06"),
        ("frost-post:workload.sample.every", "1000 ms", "1001 ms"),
        ("frost-post:cost.engineer-rate", "80.0 EUR/h", "80 USD/h"),
        ("ls-pen:capacity", "2.50 ± 0.12 Ah", "2500(120) mAh"),
        ("frost-post:cost.units", "5000", "5001"),
    ],
)
def test_another_spelling_of_a_figure_is_no_change(
    record: Path, path: str, same: str, other: str
) -> None:
    """± without more is a half-width, so a standard uncertainty is another figure."""
    held = read_decision(record)
    was = held.figures[path]
    catalogue, product = load("frost-post")

    def told(text: str) -> list[tuple[str, str | None, str | None]]:
        found = dict(held.figures) | {path: text}
        some = changes_since(found, catalogue, {path.partition(":")[0]}, {"frost-post": product})
        mine = [c for c in some if c.path == path]
        return [(c.path, c.was, c.now) for c in mine]

    assert told(was) == []
    assert told(same) == []
    assert told(other) == [(path, other, was)]


def test_a_place_that_is_spelled_otherwise_is_the_same(record: Path, tmp_path: Path) -> None:
    held = read_decision(record)
    text = (catalogue_folder() / "parts" / "quorvane-jor.yaml").read_text("utf-8")
    assert "25 degC:" in text
    parts = tmp_path / "mine" / "parts"
    parts.mkdir(parents=True)
    (parts / "quorvane-jor.yaml").write_text(text.replace("25 degC:", "298.15 K:"), "utf-8")
    found = revisit(held, *load("frost-post", [catalogue_folder(), tmp_path / "mine"]))
    assert found.stands
    assert found.changed == ()


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        (r"score: [0-9.]+", "score: 300", "ranking.quorvane-jor.score"),
        (r"score: [0-9.]+", "score: -1", "ranking.quorvane-jor.score"),
        (r"first: [0-9.]+", "first: 1.5", "ranking.quorvane-jor.first"),
    ],
)
def test_what_no_ranking_could_say_is_refused(record: Path, old: str, new: str, key: str) -> None:
    text = record.read_text("utf-8")
    record.write_text(re.sub(old, new, text, count=1), "utf-8")
    with pytest.raises(FaultError) as raised:
        read_decision(record)
    (fault,) = raised.value.faults
    assert fault.path.endswith(key)
    assert fault.place is not None
    assert fault.place.line > 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("  quorvane-jor: [0-9a-f]{8}", "  quorvane-jor: 00000000"),
        ('"quorvane-jor:price.breaks.1": ".*"', '"quorvane-jor:price.breaks.1": "0.5"'),
        ('  "quorvane-jor:price.breaks.1": ".*"\n', ""),
    ],
)
def test_a_record_that_was_written_over_is_told(record: Path, old: str, new: str) -> None:
    """By the digest that a document's figures in the record have, or by a figure that lacks."""
    inputs = load("frost-post")
    sound = revisit(read_decision(record), *inputs)
    assert sound.altered == ()
    text, count = re.subn(old, new, record.read_text("utf-8"), count=1)
    assert count == 1
    record.write_text(text, "utf-8")
    found = revisit(read_decision(record), *inputs)
    assert found.altered == ("quorvane-jor",)
    page = revisited_page(found, 0).plain()
    assert "written over: its figures are not those of its digests for quorvane-jor." in page
    assert "Nothing." not in page
    assert found.document()["altered"] == ["quorvane-jor"]


def test_a_rival_that_passes_it(record: Path) -> None:
    now = with_changes(
        *load("frost-post"),
        [f"tessimur-rud:price.breaks.{n}=0.01" for n in (1, 100, 1000)]
        + ["tessimur-rud:toolchain.setup=1 h"],
    )
    found = revisit(read_decision(record), *now)
    assert not found.stands
    assert "tessimur-rud" in found.passed_by
    place = next(p for p in found.places if p.part == "tessimur-rud")
    assert place.rank_then is not None
    assert place.rank_now is not None
    assert place.rank_now < place.rank_then


def test_parts_that_come_and_go(record: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine" / "parts"
    mine.mkdir(parents=True)
    base = (catalogue_folder() / "parts" / "quorvane-jor.yaml").read_text("utf-8")
    better = base.replace("part: quorvane-jor", "part: newcomer")
    better = re.sub(r"breaks: \{[^}]*\}", "breaks: {1: 0.10}", better)
    (mine / "newcomer.yaml").write_text(better)
    here = load("frost-post", [catalogue_folder(), tmp_path / "mine"])
    found = revisit(read_decision(record), *here)
    assert found.new == ("newcomer",)
    assert found.passed_by == ("newcomer",)
    later = decide(*here, "newcomer", "cheap", draws=0)
    (tmp_path / "later.yaml").write_text(later.text)
    gone = revisit(read_decision(tmp_path / "later.yaml"), *load("frost-post"))
    assert gone.gone == ("newcomer",)
    assert gone.unfit == "newcomer is no longer in the catalogue"
    assert not gone.stands
    words = "The decision does not stand: newcomer is no longer in the catalogue."
    assert words in revisited_page(gone, 0).plain()
    words = "The decision does not stand: newcomer is ahead of it now."
    assert words in revisited_page(found, 0).plain()


def test_why_a_part_is_not_ranked_any_more(record: Path) -> None:
    held = read_decision(record)
    ended = revisit(held, *load("frost-post", changes=["quorvane-jor:lifecycle=ended"]))
    why = "quorvane-jor no longer fits: lifecycle: active needed, ended offered"
    assert ended.unfit == why
    assert f"does not stand: {why}." in revisited_page(ended, 0).plain()
    bare = revisit(held, *load("frost-post", changes=["quorvane-jor:price.breaks=null"]))
    assert bare.unfit == "quorvane-jor lacks quorvane-jor:price.breaks, which is needed"


def test_a_part_that_does_not_fit() -> None:
    inputs = load("frost-post")
    out = shortlist(*inputs, draws=0).screened_out[0]
    with pytest.raises(FaultError, match="which fails"):
        decide(*inputs, out.part, "why not", draws=0)
    with pytest.raises(FaultError, match="nearest valid: quorvane-jor"):
        decide(*inputs, "quorvane-jort", "why not", draws=0)
    with pytest.raises(FaultError, match="why this part"):
        decide(*inputs, "quorvane-jor", " \n ", draws=0)


@pytest.mark.parametrize(
    "why",
    [
        *("\x1b[31mred\x07", "]] }} : - &a *b !!python", "ü\u202e\u2028", "'"),
        # a joiner between characters beyond U+FFFF, which JSON spells in pairs and YAML does not
        *("👩\u200d💻 chose", "a\u200cb", "\U000e0041", "null", "\\x1b \\", "\ufeff"),
    ],
)
def test_any_reason_is_text(tmp_path: Path, why: str) -> None:
    found = decide(*load("barrel-tag"), "quorvane-tib", why, draws=0)
    assert all(c == "\n" or c.isprintable() for c in found.text)
    (tmp_path / "r.yaml").write_text(found.text, "utf-8")
    assert read_decision(tmp_path / "r.yaml").because == " ".join(why.split())


def test_as_a_user_calls_it(said: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    call = ["decide", "frost-post", "quorvane-jor", "--because", "tools", "--draws", "50"]
    change = ["--set", "frost-post:workload.sample.every=2s"]
    code, out, err = said(*call, *change, "-o", "r.yaml", "-q")
    assert (code, err) == (0, "")
    assert "quorvane-jor is chosen" in out
    code, _, err = said(*call, "-o", "r.yaml")
    assert code == 2
    assert "a name that is free" in err
    code, out, _ = said("revisit", "r.yaml", "-q")
    assert code == 0
    assert "The decision stands." in out
    assert "Nothing." in out
    code, out, _ = said(
        "revisit", "r.yaml", "--set", "quorvane-jor:lifecycle=ended", "--format", "json", "-q"
    )
    assert code == 1
    told = json.loads(out)
    assert told["stands"] is False
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", told["date"])
    assert "lifecycle" in told["unfit"]
    assert told["changed"][0]["path"] == "quorvane-jor:lifecycle"
    code, _, err = said("revisit", "r.yaml", "--product", "barrel-tag")
    assert code == 2
    text = (tmp_path / "r.yaml").read_text("utf-8")
    (tmp_path / "bad.yaml").write_text(text.replace("part: quorvane-jor", "part: none-such", 1))
    code, out, err = said("revisit", "bad.yaml")
    assert (code, out) == (2, "")
    assert "the record's own ranking" in err
    code, out, _ = said(*call, "-q")
    assert out.startswith("# A decision as it was taken.")


def test_a_reason_is_shown_escaped(said: Caller, tmp_path: Path) -> None:
    found = decide(*load("barrel-tag"), "quorvane-tib", "\x1b[31mred\u202e", draws=0)
    path = tmp_path / "r.yaml"
    path.write_text(found.text, "utf-8")
    for form in ("table", "json", "csv"):
        code, out, _ = said("revisit", str(path), "--format", form, "-q")
        assert code == 0
        assert "\x1b" not in out
        assert "\u202e" not in out
    assert r"\x1b[31mred\u202e" in said("revisit", str(path), "-q")[1]


def test_one_cell_in_two_packs_is_recorded_twice(tmp_path: Path) -> None:
    text = product_files()["barrel-tag"].read_text("utf-8")
    cells = "cells: [{cell: lb-coin}, {cell: lb-coin, parallel: 2}]"
    text = re.sub(r"cells: \[.*\]", cells, text)
    assert cells in text
    (tmp_path / "barrel-tag.yaml").write_text(text)
    inputs = load_run([catalogue_folder()], tmp_path / "barrel-tag.yaml")
    found = decide(*inputs, "quorvane-tib", "why", draws=0)
    (tmp_path / "r.yaml").write_text(found.text)
    record = read_decision(tmp_path / "r.yaml")
    kept = {k: v for k, v in record.figures.items() if "cells.lb-coin" in k}
    assert list(kept.values()) == ["lb-coin", "lb-coin", "2"]
    again = revisit(record, *inputs)
    assert again.stands
    assert again.changed == ()
    assert again.altered == ()
    (tmp_path / "barrel-tag.yaml").write_text(text.replace("parallel: 2", "parallel: 3"))
    changed = revisit(record, *load_run([catalogue_folder()], tmp_path / "barrel-tag.yaml"))
    assert [(c.was, c.now) for c in changed.changed] == [("2", "3")]


def test_an_id_that_yaml_takes_for_nothing(tmp_path: Path) -> None:
    text = product_files()["barrel-tag"].read_text("utf-8")
    text = text.replace("product: barrel-tag", 'product: "null"')
    (tmp_path / "null.yaml").write_text(text)
    inputs = load_run([catalogue_folder()], tmp_path / "null.yaml")
    found = decide(*inputs, "quorvane-tib", "why", draws=0)
    (tmp_path / "r.yaml").write_text(found.text)
    assert read_decision(tmp_path / "r.yaml").decision == "null"


@pytest.mark.parametrize("seed", [-1, 10**12])
def test_no_record_is_written_that_could_not_be_read(seed: int) -> None:
    with pytest.raises(FaultError, match="seed"):
        decide(*load("barrel-tag"), "quorvane-tib", "why", draws=0, seed=seed)
