"""`decide` and `revisit` of a family on the command line."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.cli.conftest import Caller
from tests.studies.small_family import write_catalogue, write_family

pytestmark = pytest.mark.once

QUICK = ("--draws", "0", "-q")


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a family, a catalogue of four parts and, once it is written, a record."""
    folder = tmp_path_factory.mktemp("family")
    write_family(folder / "products")
    write_catalogue(folder / "mine")
    return folder


def decided(said: Caller, here: Path) -> Path:
    record = here / "records" / "r.yaml"
    if not record.exists():
        record.parent.mkdir()
        call = ["decide", str(here / "products" / "pair.yaml"), "--because", "one tool for both"]
        call += ["--set", "pair:limits.parts=3", "--catalog", str(here / "mine"), *QUICK]
        code, out, err = said(*call, "-o", str(record))
        assert (code, err) == (0, "")
        assert "pair: the plan is chosen" in out
        assert "DEMONSTRATION DATA" in out
        assert "button cells kill children" in out
        assert "No plan is better within the limits." in out
    return record


def test_a_record_is_revisited_from_anywhere(
    said: Caller, here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = decided(said, here)
    text = record.read_text("utf-8")
    assert text.startswith("family-decision: pair\n")
    for line in (
        'family-file: "../products/pair.yaml"',
        '  - "../mine"',
        '  - "pair:limits.parts=3"',
    ):
        assert line in text.splitlines()
    monkeypatch.chdir(tmp_path)
    code, out, err = said("revisit", str(record), "-q")
    assert (code, err) == (0, "")
    assert "The decision stands." in out
    assert "Nothing." in out
    assert "button cells kill children" in out


def test_forms_and_exit_codes(said: Caller, here: Path) -> None:
    record = decided(said, here)
    changed = ("--set", "pair:limits.engineering=1 h", "-q")
    code, out, _ = said("revisit", str(record), *changed, "--format", "json")
    told = json.loads(out)
    assert code == 1
    assert told["stands"] is False
    assert told["broken"] == ["at most 1 h of engineering"]
    assert told["changed"] == [{"path": "pair:limits.engineering", "was": "60 h", "now": "1 h"}]
    assert told["because"] == "one tool for both"
    assert told["cautions"][-1].startswith("This advises")
    code, out, _ = said("revisit", str(record), *changed, "--format", "csv")
    assert code == 1
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [row["product"] for row in rows] == ["frost-post", "barrel-tag"]
    assert all("lithium primary cell" in row["cautions"] for row in rows)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (("decide", "vineyard", "ostrel-goz", "--because", "x"), 'PART: read "ostrel-goz"; '),
        (("decide", "frost-post", "--because", "x"), "PART: read nothing; expected the part"),
        (
            ("decide", "frost-post", "ostrel-goz", "--plan", "1", "--because", "x"),
            "--plan: read 1; expected a family",
        ),
        (("decide", "vineyard"), "--because"),
        (("decide", "vineyard", "--because", "x", "--plan", "-1"), "--plan"),
    ],
)
def test_what_only_the_other_takes_is_refused(
    call: tuple[str, ...], says: str, said: Caller
) -> None:
    code, out, err = said(*call)
    assert (code, out) == (2, "")
    assert says in err


def test_inputs_are_not_written_over_and_names_are_free(said: Caller, here: Path) -> None:
    record = decided(said, here)
    before = record.read_bytes()
    family = str(here / "products" / "pair.yaml")
    code, _, err = said("decide", family, "--because", "x", "-o", str(record), *QUICK)
    assert code == 2
    assert "a name that is free" in err
    for form in (record, Path(family), here / "products" / "frost-post.yaml"):
        code, _, err = said("revisit", str(record), "--product", family, "-o", str(form), "-q")
        assert code == 2, form
        assert "nothing written" in err
    assert record.read_bytes() == before
    code, _, err = said("revisit", str(record), "--product", "frost-post", "-q")
    assert code == 2
    assert "a family's file or id" in err
    (here / "bad.yaml").write_bytes(before.replace(b"aim: cost", b"aim: thrift"))
    code, _, err = said("revisit", str(here / "bad.yaml"), "-q")
    assert code == 2
    assert 'aim: read "thrift"' in err
