"""Faults: their text, their JSON, and the log that gathers them."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import faults
from advisor.faults import AdvisorError, Fault, FaultError, FaultLog, Place, nearest, shortened

HERE = Place("parts/x.yaml", 3, 7)


def test_a_fault_says_where_what_and_what_instead() -> None:
    fault = Fault("x:kernels.hash.fast.time", '"12 mA"', "a time such as 3.2 ms", HERE, "12 ms")
    assert fault.text() == (
        'parts/x.yaml:3:7: x:kernels.hash.fast.time: read "12 mA"; '
        "expected a time such as 3.2 ms; nearest valid: 12 ms"
    )


def test_what_is_not_known_is_left_out() -> None:
    assert Fault("--seed", '"a"', "a number").text() == '--seed: read "a"; expected a number'


def test_the_json_has_every_key_and_null_where_unknown() -> None:
    keys = ["file", "line", "column", "path", "read", "expected", "nearest"]
    placed = Fault("x:time", '"1"', "a time", HERE).as_dict()
    assert list(placed) == keys
    assert (placed["file"], placed["line"], placed["column"]) == ("parts/x.yaml", 3, 7)
    bare = Fault("x:time", '"1"', "a time").as_dict()
    assert list(bare) == keys
    assert [bare[k] for k in ("file", "line", "column", "nearest")] == [None] * 4
    json.dumps(bare)


def test_five_thousand_digits_are_not_repeated() -> None:
    fault = Fault("x:" + "k" * 5000, '"' + "7" * 5000 + '"', "a time", HERE)
    assert len(fault.text()) < 300
    assert len(str(fault.as_dict())) < 400
    assert fault.text().count("…") == 2


def test_what_is_short_is_never_cut() -> None:
    # a path has an id, a task, a kernel and a point at most; none may be cut short
    path = "-".join(["ostrel"] * 20)
    assert shortened(path) == path


@given(st.text())
def test_a_fault_is_one_printable_line_whatever_was_read(read: str) -> None:
    place = Place(f"a{read[:20]}.yaml", 1, 1)
    text = Fault(f"x:{read}", read, "text", place, read[:20]).text()
    assert text.isprintable()


@pytest.mark.parametrize(("read", "shown"), [("a\0b", "a\\x00b"), ("a\nb", "a\\nb")])
def test_control_characters_are_made_visible(read: str, shown: str) -> None:
    assert shortened(read) == shown


def test_an_undecodable_file_name_can_be_printed() -> None:
    # what the operating system hands out for a name that is not UTF-8
    Fault("file", "a", "b", Place("\udcff.yaml", 1, 1)).text().encode("utf-8")


def test_an_error_holds_every_fault_a_line_each() -> None:
    error = FaultError([Fault("a", "1", "2"), Fault("b", "3", "4")])
    assert isinstance(error, AdvisorError)
    assert [fault.path for fault in error.faults] == ["a", "b"]
    assert str(error).splitlines() == ["a: read 1; expected 2", "b: read 3; expected 4"]


def test_the_log_keeps_each_fault_once_and_warnings_apart() -> None:
    log = FaultLog()
    log.raise_if_any()
    warning = Fault("a", "1", "2", severity="warning")
    log.add(warning)
    log.add(warning)
    log.raise_if_any()
    fault = Fault("a", "1", "2")
    log.add(fault)
    log.add(fault)
    log.add(Fault("a", "1", "2", HERE))
    assert len(log.warnings) == 1
    with pytest.raises(FaultError) as caught:
        log.raise_if_any()
    assert caught.value.faults == (fault, Fault("a", "1", "2", HERE))


def test_endless_faults_end_the_reading_and_say_so() -> None:
    log = FaultLog()

    def endless() -> None:
        for i in range(10 * faults.MOST):
            log.add(Fault(f"x:k{i}", "1", "2", Place("x.yaml", i + 1, 1)))

    with pytest.raises(FaultError) as caught:
        endless()
    found = caught.value.faults
    assert len(found) == faults.MOST + 1
    assert found[0].path == "x:k0"
    assert f"{faults.MOST} faults" in found[-1].text()


def test_the_nearest_word() -> None:
    choices = ("current", "capacity", "cut-off")
    assert nearest("curent", choices) == "current"
    assert nearest("CURRENT", choices) == "current"
    assert nearest("cutoff", choices) == "cut-off"
    assert nearest("zzz", choices) is None
    assert nearest("", choices) is None
    assert nearest("c" * 5000, choices) is None
    assert nearest("current", ()) is None


def test_the_nearest_word_keeps_its_own_case() -> None:
    assert nearest("eur", ("EUR", "USD")) == "EUR"


def test_a_change_that_is_far_too_long_is_told_short() -> None:
    """A key of 4,000 letters behind --set; a file's name stays whole, so that it can be opened."""
    long = "a" * 4000
    fault = Fault(f"part:{long}", long, "a key", Place(f"--set part:{long}=1", 1, 1))
    assert len(fault.text()) < 500
    assert fault.text().startswith("--set part:aaa")
    assert Place(long + ".yaml", 3, 4).text() == f"{long}.yaml:3:4"
