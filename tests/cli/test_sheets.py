"""`catalog import|quote|export` on the command line: what is written, said and refused."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.cli.conftest import Caller
from tests.intake.sheets import MAP, messy_workbook, small_tables


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    small_tables(tmp_path)


def files(folder: Path) -> dict[str, str]:
    """What a folder holds."""
    found = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_text("utf-8") for path in found}


def test_a_table_goes_in_and_passes_the_check(said: Caller, tmp_path: Path) -> None:
    messy_workbook(tmp_path / "m.xlsx")
    Path("m.yaml").write_text(MAP, "utf-8")
    args = ("catalog", "import", "m.xlsx", "--map", "m.yaml", "--into", "new")
    code, out, _ = said(*args, "--dry-run")
    assert (code, Path("new").exists()) == (0, False)
    assert "3 parts would come into new: 3 new" in out
    code, out, _ = said(*args)
    assert (code, "3 parts into new: 3 new" in out) == (0, True)
    assert sorted(files(Path("new"))) == [
        f"parts/{n}.yaml" for n in ("orlen-kav", "orlen-tul", "sundry-poj")
    ]
    code, out, _ = said("catalog", "check", "--catalog", "new")
    assert (code, "no fault in 3 parts" in out) == (0, True)
    before = files(Path("new"))
    code, _, err = said(*args)
    assert (code, err.count("--update")) == (2, 3)
    code, out, _ = said(*args, "--update", "--format", "json")
    told = json.loads(out)
    assert (code, [p["changed"] for p in told["parts"]], told["sheet"]) == (0, [False] * 3, "Parts")
    assert files(Path("new")) == before


def test_new_and_changed_parts_are_written_together_or_not(
    said: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("parts.csv").write_text("Part,Flash (KiB)\none,64\ntwo,32\n", "utf-8")
    args = ("catalog", "import", "parts.csv", "--map", "map.yaml", "--into", "ours", "--update")
    assert said(*args)[0] == 0
    assert files(Path("ours")) == {
        "parts/one.yaml": "# From parts.csv, row 2. What is not stated is not known.\n"
        "part: one\nmemory: {flash: 64 KiB}\n",
        "parts/two.yaml": "part: two  # ours\nmemory: {flash: 32 KiB}\n",
    }
    Path("parts.csv").write_text("Part,Flash (KiB)\nthree,64\ntwo,16\n", "utf-8")
    os.chmod("ours/parts/two.yaml", 0o444)
    before = files(Path("ours"))
    code, _, err = said(*args)
    assert (code, "a file that may not be written" in err) == (2, True)
    assert files(Path("ours")) == before


def test_without_a_map_one_is_proposed(said: Caller) -> None:
    code, out, err = said("catalog", "import", "parts.csv")
    assert (code, err) == (0, "")
    assert "memory.flash: Flash (KiB)" in out
    assert said("catalog", "import", "parts.csv", "-o", "p.yaml")[:2] == (0, "")
    assert Path("p.yaml").read_text("utf-8") == out
    assert said("catalog", "import", "parts.csv", "--map", "p.yaml", "--into", "new")[0] == 0
    code, _, err = said("catalog", "import", "parts.csv", "--into", "new")
    assert (code, "--map" in err) == (2, True)
    code, _, err = said("catalog", "import", "parts.csv", "--map", "p.yaml")
    assert (code, "--into" in err) == (2, True)


def test_faults_come_at_once_as_json_too(said: Caller) -> None:
    Path("parts.csv").write_text("Part,Flash (KiB)\n../x,64\none,y\n", "utf-8")
    args = ("catalog", "import", "parts.csv", "--map", "map.yaml", "--into", "new")
    code, out, err = said(*args)
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert [line.partition(": ")[0] for line in lines[:2]] == ["parts.csv:2:1", "parts.csv:3:2"]
    assert lines[2] == "part-advisor: 2 faults, nothing written"
    assert not Path("new").exists()
    found = json.loads(said(*args, "--format", "json")[2])["faults"]
    assert [(fault["line"], fault["column"]) for fault in found] == [(2, 1), (3, 2)]


def test_a_quote_is_put_onto_parts(said: Caller) -> None:
    args = ("catalog", "quote", "quote.csv", "--map", "quote.yaml", "--onto", "ours")
    code, out, _ = said(*args)
    assert code == 0
    assert out.startswith("1 part of ours with the prices of quote.csv")
    assert "two 1 1.2 EUR" in " ".join(out.split())
    assert files(Path("ours"))["parts/two.yaml"].startswith("part: two  # ours\nprice:")
    rows = said(*args, "--format", "csv")[1].splitlines()
    assert rows[1] == "two,1,1.2,1.2,EUR,1,"


def test_a_catalogue_goes_out_and_comes_back(said: Caller) -> None:
    for table in ("t.csv", "t.xlsx"):
        out_args = ("catalog", "export", "--catalog", "ours", "-o", table, "--map", "t.yaml")
        code, out, err = said(*out_args)
        assert (code, out) == (0, "")
        assert "comments stay behind" in err
        folder = f"new-{table[2:]}"
        args = ("catalog", "import", table, "--map", "t.yaml", "--into", folder, "--format", "csv")
        assert said(*args)[0] == 0
        assert files(Path(folder))["parts/two.yaml"].endswith("part: two\n")
    code, out, _ = said("catalog", "export", "--catalog", "ours", "-q")
    assert (code, out) == (0, "part\ntwo\n")
    code, _, err = said("catalog", "export", "-o", "t.pdf")
    assert (code, ".csv or .xlsx" in err) == (2, True)
    code, _, err = said("catalog", "export", "-o", "t.csv", "--map", "t.csv")
    assert (code, "where --output goes" in err) == (2, True)


def test_more_parts_than_files_may_be_open(said: Caller) -> None:
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    rows = "".join(f"p{i},{i + 1}\n" for i in range(80))
    Path("parts.csv").write_text("Part,Flash (KiB)\n" + rows, "utf-8")
    args = ("catalog", "import", "parts.csv", "--map", "map.yaml", "--into", "new")
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, hard))
    try:
        assert said(*args)[0] == 0
        Path("parts.csv").write_text("Part,Flash (KiB)\n" + rows.replace(",", ",1"), "utf-8")
        code, _, err = said(*args, "--update")
        assert code == 0, err
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
