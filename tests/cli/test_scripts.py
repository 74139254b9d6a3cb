"""Interviews answered by a script: what was skipped, and words of lists."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.shipped import catalogue_folder
from tests.cli.conftest import Caller


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the user works, with no project above."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("weighed", ["purchase-cost", "lifetime-cost"])
def test_a_skipped_question_that_a_weight_rests_on_is_named(
    said: Caller, folder: Path, weighed: str
) -> None:
    """The shipped parts cost EUR and USD: no currency is taken by default."""
    options = ["--defaults", "--catalog", str(catalogue_folder())]
    answers = ["workload=sample 10 s", f"priorities={weighed} 2", "cost.unit-cost-limit=9.00"]
    options += [f"--answer={one}" for one in answers]
    code, _, err = said("product", "new", "tag", *options)
    assert code == 2
    assert err.splitlines() == [
        "tag:cost.currency: read nothing; expected an answer, such as EUR: priorities rests on it",
        'cost.unit-cost-limit: read "9.00"; expected the key of a question that is asked',
        "part-advisor: 2 faults, nothing written",
    ]
    code, _, err = said("product", "new", "tag", *options, "--answer=cost.currency=EUR")
    assert code == 2
    assert "currency" not in err
    assert "unit-cost-limit" not in err


def test_no_converter_at_all_is_a_word_of_the_list(said: Caller, folder: Path) -> None:
    options = ["--defaults", "--answer=workload=sample 10 s", "--answer=priorities=battery-life 2"]
    for text in ("none", "[none]"):
        answer = f"--answer=supply-options.converters={text}"
        code, _, err = said("product", "new", "tag", *options, answer)
        assert code == 0, err
        assert "converters: [none]" in Path("tag.yaml").read_text("utf-8")


def test_answers_that_no_question_asks_for_are_refused_beside_wrong_ones(
    said: Caller, folder: Path
) -> None:
    # what no question is called, and those before a wrong answer that are not asked for another
    # cause; an event's kernels may be asked of tasks that were told wrongly
    options = ["--defaults", "--answer=priorities=battery-life x", "--answer=memroy=1 KiB"]
    options += ["--answer=workload.work.kernel=filter 1", "--answer=cost.service-visit=20"]
    code, _, err = said("product", "new", "tag", *options, "--answer=workload=10 s")
    assert code == 2
    told = [line.partition(":")[0] for line in err.splitlines()]
    assert told == ["tag", "memroy", "workload.work.kernel", "part-advisor"]
