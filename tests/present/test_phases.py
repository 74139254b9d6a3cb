"""What is told of chance, in words."""

from __future__ import annotations

import pytest

from advisor.present.phases import chance_words
from advisor.studies.chances import ChanceResult


@pytest.mark.parametrize("times", [False, True])
@pytest.mark.parametrize("brief", [False, True])
def test_a_missed_deadline_is_that_of_the_worst_time(times: bool, brief: bool) -> None:
    # beside means over the calendar: as many find the core busy, and all wait that long
    one = ChanceResult("call", "random", 1.0, 0.0, 0.01, 0.002, 0.05)
    words = chance_words(one, brief=brief, times=times)
    late = "5 % are late" if brief else "5 % miss their deadline"
    assert words.endswith(late + ", at the worst time" * times)
    # of all events, not of those that wait alone
    told = "1 % find the core busy; the mean wait of all is 2.00 ms"
    assert (told in words) is not brief
