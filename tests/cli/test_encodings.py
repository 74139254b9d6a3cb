"""Every command's screen on encodings that lack its marks: no failure, and plain marks."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from advisor.cli.main import call
from advisor.cli.streams import plain_marks
from tests.cli.conftest import cache_folder

SCREENS = (
    "shortlist barrel-tag --draws 100 --width 120 --all --cautions",
    "explain barrel-tag quorvane-tib --draws 100 --all",
    "outlook barrel-tag --points 2 --draws 0 --along barrel-tag:cost.units=15000:20000",
    "tipping barrel-tag --draws 0 --points 2 --lever quorvane-tib:supply.max --all",
    "gaps barrel-tag --draws 100",
    "weights barrel-tag --draws 0",
    "compare",
    "compare quorvane-tib tessimur-mub --full --at-clock 16MHz",
    "kernels list",
    "catalog list",
    "catalog show ostrel-yab",
    "catalog check",
    "product list",
    "product check frost-post",
    "schema part",
    "--help",
)


@pytest.mark.once
@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize("screen", SCREENS)
def test_screens_on_poor_encodings(
    screen: str, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    monkeypatch.setenv("ADVISOR_CACHE_DIR", cache_folder(tmp_path_factory))
    words = screen.split()
    if words[0] not in ("schema", "--help") and "--width" not in words:
        words += ["--width", "80"]
    said = {}
    for encoding in ("utf-8", "cp1252", "ascii"):
        raw = io.BytesIO()
        stream = io.TextIOWrapper(raw, encoding=encoding, errors=plain_marks())
        with monkeypatch.context() as patch:
            patch.setattr(sys, "stdout", stream)
            assert call(words) == 0
            stream.flush()
        said[encoding] = raw.getvalue().decode(encoding)
        # an escape would be no mark, and columns would fall apart
        assert not [x for x in ("\\u", "\\x") if x in said[encoding]]
    whole = said["utf-8"].splitlines()
    assert [len(line) for line in said["cp1252"].splitlines()] == [len(line) for line in whole]
    assert len(said["ascii"].splitlines()) == len(whole)


def test_every_mark_has_a_plain_one_of_its_kind() -> None:
    marks = Path(__file__).parents[2] / "advisor" / "present"
    # formulas go into files, which are UTF-8
    files = [file for file in marks.glob("*.py") if "formula" not in file.name]
    used = {c for file in files for c in file.read_text() if ord(c) > 127}
    name = plain_marks()
    assert used
    for mark in used - {"\N{NO-BREAK SPACE}"}:
        assert b"\\" not in mark.encode("ascii", name), mark
