"""What is told of chance, in words."""

from __future__ import annotations

import pytest

from advisor.present.phases import chance_words
from advisor.studies.chances import ChanceResult


@pytest.mark.parametrize(("times", "ends"), [(False, "deadline"), (True, "at the worst time")])
@pytest.mark.parametrize("brief", [False, True])
def test_a_missed_deadline_is_that_of_the_worst_time(times: bool, ends: str, brief: bool) -> None:
    # beside a mean over the calendar: as many find the core busy, and wait that long
    one = ChanceResult("call", "random", 1.0, 0.0, 0.01, 0.002, 0.05)
    words = chance_words(one, brief=brief, times=times)
    assert "5 % miss their deadline" in words
    assert words.endswith(ends)
