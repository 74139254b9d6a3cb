"""A share of the hostile cases, the same on every run; `python -m tests.fuzz` runs the rest.

Also that what judges them can tell, that a case replays, and that a worker's end is told.
"""

from __future__ import annotations

import json
import random
import sys
from pathlib import Path

import pytest

from tests.fuzz import oracle, texts, trees
from tests.fuzz.__main__ import main
from tests.fuzz.driver import Worker, fuzz
from tests.fuzz.files import furnish
from tests.fuzz.kinds import KINDS
from tests.fuzz.oracle import Bench, Said, judged, written

pytestmark = pytest.mark.once

SEED = 1
SHARE = {"yaml": 32, "traces": 64, "arguments": 22, "cache": 8, "packs": 20}


def test_hostile_cases_end_as_they_should() -> None:
    """Of every kind through one worker, which takes longer to start than many of them."""
    cases = [(kind, number) for kind, share in SHARE.items() for number in range(share)]
    counts, failures = fuzz(cases, SEED)
    assert not failures, failures
    assert {kind: count.cases for kind, count in counts.items()} == SHARE
    for kind, count in counts.items():
        # some come to an answer, others are refused: neither all good nor all bad
        assert count.codes[0] >= 3, kind
        assert count.codes[2] >= 3, kind


def test_there_is_a_share_of_every_kind() -> None:
    assert set(SHARE) == set(KINDS)


JSON = ["shortlist", "frost-post", "--format", "json"]
ROW = {
    "score": 50.0,
    "stated_score": 50.0,
    "first_place_probability": None,
    "power": {"rail_current_a": 1e-6},
    "criteria": {"battery-life": {"utility": 0.5, "weight": 1.0}},
}
GOOD = {"draws": 0, "ranking": [ROW]}


def _answer(**changes: object) -> Said:
    document = {"draws": 0, "ranking": [{**ROW, **changes}]}
    return Said(0, json.dumps(document).encode(), b"")


FAULTS = b'{"faults": [{"path": "x"}]}'
WRONG = {
    "a fault of the tool's own": (["schema"], Said(3, b"", b"a fault of this tool"), True),
    "interrupted": (["schema"], Said(130, b"", b"interrupted"), True),
    "a traceback": (["schema"], Said(1, b"", b"Traceback (most recent call last):"), True),
    "output beside faults": (["schema"], Said(2, b"half", b"wrong"), True),
    "no word why": (["schema"], Said(2, b"", b" \n"), True),
    "a file beside faults": (["schema"], Said(2, b"", b"wrong"), False),
    "an endless fault": (["schema"], Said(2, b"", b"x" * 5000), True),
    "text for JSON": (JSON, Said(0, b"frost-post: shortlist", b""), True),
    "NaN in JSON": (JSON, Said(0, b'{"draws": 0, "ranking": NaN}', b""), True),
    "faults as text": (JSON, Said(2, b"", b"a.yaml:1:1: wrong"), True),
    "no score": (JSON, _answer(score=None), True),
    "a score beyond": (JSON, _answer(score=101.0), True),
    "no current": (JSON, _answer(power={"rail_current_a": None}), True),
    "no utility": (JSON, _answer(criteria={"x": {"utility": None, "weight": 1.0}}), True),
}
RIGHT = {
    "an answer": (JSON, Said(0, json.dumps(GOOD).encode(), b"")),
    "no": (JSON, Said(1, json.dumps({"draws": 0, "ranking": []}).encode(), b"")),
    "faults": (JSON, Said(2, b"", FAULTS)),
    "faults as text": (["schema"], Said(2, b"", b"a.yaml:1:1: wrong")),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told(case: str) -> None:
    arguments, said, unchanged = WRONG[case]
    assert list(judged(arguments, said, unchanged))


@pytest.mark.parametrize("case", RIGHT)
def test_what_is_right_is_not_told(case: str) -> None:
    arguments, said = RIGHT[case]
    assert list(judged(arguments, said, True)) == []


def test_a_call_that_writes_takes_long_or_fails_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(tmp_path, tmp_path)

    def writes(arguments: list[str]) -> int:
        (tmp_path / "left").write_text("x")
        print("wrong", file=sys.stderr)
        return 2

    monkeypatch.setattr(oracle, "call", writes)
    bench.call("schema", "part")
    assert any("a file written" in words for words in bench.failures)
    bench.failures.clear()
    monkeypatch.setattr(oracle, "call", lambda arguments: 0)
    monkeypatch.setattr(oracle, "SECONDS", -1.0)
    bench.call("schema", "part")
    assert any(" s\n" in words for words in bench.failures)
    bench.failures.clear()
    monkeypatch.setattr(oracle, "SECONDS", 1e9)
    monkeypatch.setattr(oracle, "MEGABYTES", -1.0)
    bench.call("schema", "part")
    assert any(" MB\n" in words for words in bench.failures)


@pytest.mark.parametrize("kind", KINDS)
def test_a_case_is_made_from_kind_seed_and_number_alone(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = tmp_path / "base"
    furnish(base)
    seen: list[tuple[list[str], object]] = []

    def call(arguments: list[str]) -> int:
        seen.append((arguments, dict(written(Path.cwd()))))
        return 0

    monkeypatch.setattr(oracle, "call", call)
    for number in (3, 4, 3):
        oracle.run_case(KINDS[kind], kind, 7, number, base, tmp_path / "case")
        seen.append(([], None))
    first, second, third = (list(part) for part in _parts(seen))
    assert first == third
    assert first != second


def _parts(seen: list[tuple[list[str], object]]) -> list[list[tuple[list[str], object]]]:
    out: list[list[tuple[list[str], object]]] = [[]]
    for one in seen:
        if one == ([], None):
            out.append([])
        else:
            out[-1].append(one)
    return out[:-1]


def test_a_worker_that_ends_is_a_failure_and_the_next_case_runs() -> None:
    worker = Worker()
    try:
        assert worker.run("arguments", 1, 0)["failures"] == []
        assert worker.process is not None
        worker.process.kill()
        worker.process.wait()
        assert worker.run("arguments", 1, 1)["failures"]
        assert worker.run("arguments", 1, 1)["failures"] == []
    finally:
        worker.stop()


def test_the_command_counts_and_replays(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--kind", "arguments", "--seed", "1", "--case", "2"]) == 0
    assert capsys.readouterr().out.startswith("arguments: 1 cases, 1 calls (")
    with pytest.raises(SystemExit):
        main(["--case", "2"])


def test_changed_texts_are_other_texts_and_trees_keep_theirs() -> None:
    text = "a: {b: [1 mA, 2.5(1) V], c: x}\nd: '17'\n"
    assert trees.dumped(trees.copied(trees.tree(text))) == trees.dumped(trees.tree(text))
    rng = random.Random(1)
    made = {trees.changed(rng, text) for _ in range(100)}
    assert len(made) > 80
    assert len({texts.damaged(rng, text.encode()) for _ in range(50)}) > 30
