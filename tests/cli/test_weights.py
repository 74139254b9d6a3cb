"""`weights` as it is called: asked, judged, ordered, written."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from advisor.catalogue.shipped import product_files
from tests.cli.conftest import Caller

pytestmark = pytest.mark.once

# memory first, purchase last
ORDER = ["memory-headroom", "toolchain", "battery-life", "lifetime-cost", "purchase-cost"]
NAMES = ["purchase-cost", "lifetime-cost", "battery-life", "memory-headroom", "toolchain"]
# without what is told if nobody knew the weights
STATED = ["weights", "barrel-tag", "--draws", "0"]


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "barrel-tag.yaml"
    path.write_text(product_files()["barrel-tag"].read_text())
    return path


def answers(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_what_the_file_s_weights_mean(said: Caller) -> None:
    code, out, _ = said("weights", "barrel-tag", "--format", "json")
    assert code == 0
    found = json.loads(out)
    assert found["method"] == "file"
    assert found["winner"] == found["winner_before"] == "quorvane-tib"
    assert sum(row["weight"] for row in found["rows"]) == pytest.approx(1.0)
    # 75 percentage points of memory stand for a weight of 1 and 7 years for one of 3, so 10 of them
    # for 7/3 x 10/75 of a year; by costs some of the first parts lie beyond an anchor
    assert (
        "memory-headroom: 10 percentage points more is worth 114 days of battery-life"
        in found["exchange"]
    )
    beyond = {one["criterion"] for one in found["clipped"] if one["head"]}
    assert beyond == {"purchase-cost", "lifetime-cost"}
    assert not any(text.startswith(tuple(beyond)) for text in found["exchange"])
    assert found["leads"][0]["part"] == "quorvane-tib"
    distances = [lead["l1"] for lead in found["leads"]]
    assert distances == sorted(distances)
    assert found["no_exchange"] == [
        f"{name}: no rate of exchange, as {who} beyond an anchor, where differences count nothing"
        for name, who in (
            ("purchase-cost", "1 of the first 5 lies"),
            ("lifetime-cost", "4 of the first 5 lie"),
        )
    ]


@pytest.mark.parametrize(
    ("weights", "why"),
    [
        (("memory-headroom.weight=0",), {"memory-headroom": "it weighs nothing"}),
        (
            ("memory-headroom.weight=0", "toolchain.weight=0"),
            {
                "memory-headroom": "it weighs nothing",
                "toolchain": "it weighs nothing",
                "battery-life": "no other has one",
            },
        ),
    ],
)
def test_why_nothing_is_told_of_a_criterion(
    said: Caller, weights: tuple[str, ...], why: dict[str, str]
) -> None:
    changes = [x for text in weights for x in ("--set", f"barrel-tag:priorities.{text}")]
    told = json.loads(said(*STATED, *changes, "--format", "json")[1])
    reasons = {text.partition(":")[0]: text for text in told["no_exchange"]}
    for name, word in why.items():
        assert reasons[name] == f"{name}: no rate of exchange, as {word}"
    # each criterion is told of once, but for the one that all are told in
    of = {text.rpartition(" of ")[2] for text in told["exchange"]}
    both = [text.partition(":")[0] for text in (*told["exchange"], *told["no_exchange"])]
    assert sorted([*both, *of]) == sorted(NAMES)
    page = said(*STATED, *changes)[1]
    beyond = [text for text in told["no_exchange"] if "beyond an anchor" in text]
    assert all(text in page for text in told["no_exchange"] if text not in beyond)
    # those beyond an anchor are told of by it
    assert "Where they count nothing, and so have no rate of exchange" in page
    assert {text.partition(":")[0] for text in beyond} == {"purchase-cost", "lifetime-cost"}


def test_the_screen_says_that_values_are_the_stated_ones(said: Caller) -> None:
    words = "first, at the stated values, without draws."
    assert words in said(*STATED)[1]
    assert words not in said("weights", "barrel-tag", "--draws", "20")[1]


@pytest.mark.slow
def test_if_nobody_knew_the_weights(said: Caller) -> None:
    command = ("weights", "barrel-tag", "--draws", "2500")
    code, out, _ = said(*command, "--format", "json")
    assert code == 0
    told = json.loads(out)["unknown"]
    assert told["draws"] == 2500
    parts = told["parts"]
    shares = [row["acceptability"] for row in parts]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0, rel=1e-9)
    assert [row["confidence"] is not None for row in parts[:4]] == [True, True, True, False]
    for row in parts:
        assert bool(row["central_weights"]) == (row["acceptability"] > 0)
        if row["central_weights"]:
            assert sum(row["central_weights"].values()) == pytest.approx(1.0, rel=1e-9)
    # who leads under no weights at all was never seen first
    never = set(json.loads(out)["never_first"])
    assert all(row["acceptability"] == 0 for row in parts if row["part"] in never)
    # two chunks of draws, and two workers
    assert said(*command, "--format", "json", "--jobs", "2")[1] == out
    # weights of one's own change nothing of it
    other = said(*command, "--format", "json", "--order", ",".join(reversed(NAMES)))[1]
    assert json.loads(other)["unknown"] == told
    page = said("weights", "barrel-tag", "--draws", "0", "--width", "80")[1]
    assert "If nobody knew the weights" in page
    assert "leads there" not in page


def test_an_order_changes_the_winner(said: Caller) -> None:
    code, out, _ = said(*STATED, "--order", ",".join(ORDER), "--format", "json")
    assert code == 0
    found = json.loads(out)
    assert [row["weight"] for row in found["rows"]] == pytest.approx(
        [0.04, 0.09, 0.1567, 0.4567, 0.2567], abs=5e-5
    )
    assert found["winner"] != found["winner_before"]


def test_questions_for_an_order(said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    answers(monkeypatch, "toolchain", "9", "4", "1", "battery-life")
    code, out, err = said(*STATED, "--ask", "order", "--format", "json")
    assert code == 0
    assert "not one of them: '9'" in err
    weights = {row["criterion"]: row["weight"] for row in json.loads(out)["rows"]}
    assert sorted(weights, key=lambda n: -weights[n]) == [
        "toolchain",
        "memory-headroom",
        "purchase-cost",
        "battery-life",
        "lifetime-cost",
    ]


def test_questions_by_pairs(said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    # all alike, but for a nonsense answer and one great discord
    answers(monkeypatch, "1", "much", "9", *["1"] * 8)
    code, out, err = said(*STATED, "--ask", "pairs", "--format", "json")
    assert code == 0
    assert "a number above zero" in err
    told = json.loads(out)["consistency"]
    assert told["discord"] == pytest.approx(9.0)
    assert {"purchase-cost", "battery-life"} <= set(told["triple"])


def test_judgements_as_options(said: Caller) -> None:
    pairs = [(a, b) for i, a in enumerate(NAMES) for b in NAMES[i + 1 :]]
    options = [x for a, b in pairs for x in ("--judge", f"{b}:{a}=1/2")]
    code, out, _ = said(*STATED, *options, "--width", "80")
    assert code == 0
    assert "judge again" in out or "good enough" in out
    code, out, err = said(*STATED, *options[:-2])
    assert (code, out) == (2, "")
    assert "memory-headroom and toolchain" in err


def test_written_weights_keep_the_file(said: Caller, own: Path) -> None:
    before = own.read_text()
    code, _, err = said("weights", str(own), "--draws", "0", "--order", ",".join(NAMES), "--write")
    assert (code, err) == (0, "")
    after = own.read_text()
    assert "purchase-cost: {weight: 45.67, poor: 3.50, good: 0.50}" in after
    assert [x for x in before.splitlines() if "weight" not in x] == [
        x for x in after.splitlines() if "weight" not in x
    ]
    assert said("product", "check", str(own))[0] == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["--order", "toolchain"],
        ["--order", ",".join([*NAMES, "toolchain"])],
        ["--order", ",".join([*NAMES[:-1], "tools"])],
        ["--judge", "toolchain=3"],
        ["--judge", "toolchain:battery-life=x"],
        ["--judge", "toolchain:battery-life=0"],
        ["--judge", "toolchain:toolchain=1"],
        ["--order", ",".join(NAMES), "--judge", "toolchain:battery-life=3"],
        ["--write"],
        ["--ask", "order"],
        ["--ask", "nothing"],
    ],
)
def test_wrong_answers_write_nothing(
    said: Caller, monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    answers(monkeypatch)
    code, out, err = said("weights", "barrel-tag", *arguments)
    assert (code, out) == (2, "")
    assert err


def test_what_is_written_is_the_file_as_it_stands(said: Caller, own: Path) -> None:
    text = own.read_text()
    code, _, err = said("weights", str(own), "--write", "--set", "barrel-tag:rail=2.3 V")
    assert code == 2
    assert "--set" in err
    assert own.read_text() == text
