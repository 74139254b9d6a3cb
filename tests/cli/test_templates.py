"""`catalog show ID --format yaml`: a file that can be pasted, and what to change in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.places import catalogue_folder
from advisor.cli.main import call
from advisor.studies.template import FOLDERS, template

CATALOGUE = load_catalogue()
IDS = [(kind, name) for kind, records in CATALOGUE.kinds.items() for name in records]


def paste(root: Path, kind: str, name: str, text: str) -> Path:
    folder = root / FOLDERS[kind]
    folder.mkdir(parents=True, exist_ok=True)
    (root / "kernels.yaml").write_text((catalogue_folder() / "kernels.yaml").read_text())
    path = folder / f"{name}.yaml"
    path.write_text(text)
    return path


def test_every_entry_s_template_is_that_entry(tmp_path: Path) -> None:
    for kind, name in IDS:
        paste(tmp_path, kind, name, template(CATALOGUE, name))
    again = load_catalogue(tmp_path)
    assert again.kinds == CATALOGUE.kinds
    assert call(["catalog", "check", "--catalog", str(tmp_path), "--no-cache"]) == 0


def test_comments_stay(tmp_path: Path) -> None:
    for kind, name in IDS:
        before = (catalogue_folder() / FOLDERS[kind] / f"{name}.yaml").read_text()
        assert template(CATALOGUE, name).endswith(before.rstrip() + "\n")


@pytest.mark.parametrize(("kind", "name"), [next(i for i in IDS if i[0] == k) for k in FOLDERS])
def test_the_lines_that_it_names_are_all_that_must_change(
    tmp_path: Path, kind: str, name: str
) -> None:
    lines = template(CATALOGUE, name).splitlines()
    head = [line for line in lines if line.startswith("# ")][:4]
    numbers = {int(n) for line in head for n in re.findall(r"line ([0-9]+)", line, re.I)}
    (mine,) = [n for n in numbers if lines[n - 1].startswith(f"{kind.replace('-', '')}: {name}")]
    lines[mine - 1] = lines[mine - 1].replace(name, "my-own")
    made = [n for n in numbers if lines[n - 1].startswith("invented:")]
    del lines[made[0] - 1]
    paste(tmp_path, kind, "my-own", "\n".join(lines) + "\n")
    found = load_catalogue(tmp_path).record("my-own")
    assert found is not None
    assert not found.invented


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert call(["catalog", "show", "ostrel-yab", "--format", "yaml"]) == 0
    assert capsys.readouterr().out == template(CATALOGUE, "ostrel-yab")
    out = tmp_path / "x.yaml"
    assert call(["catalog", "show", "ostrel-yab", "--format", "yaml", "-o", str(out)]) == 0
    assert out.read_text() == template(CATALOGUE, "ostrel-yab")
    assert call(["catalog", "show", "ostrel-yeb", "--format", "yaml"]) == 2
    assert "ostrel-yab" in capsys.readouterr().err
    change = ["--set", "ostrel-yab:memory.ram=1 KiB"]
    assert call(["catalog", "show", "ostrel-yab", "--format", "yaml", *change]) == 2
    assert "--set" in capsys.readouterr().err
    assert call(["catalog", "show", "ostrel-yab", "--format", "json"]) == 0


def test_a_file_of_another_system_s_line_ends_is_taken(tmp_path: Path) -> None:
    text = "\ufeffpart: odd\r\n# a word\r\nmemory: {ram: 1 KiB}\r\n"
    paste(tmp_path / "first", "part", "odd", "part: odd\n").write_bytes(text.encode())
    printed = template(load_catalogue(tmp_path / "first"), "odd")
    assert "\r" not in printed
    assert "# a word" in printed
    paste(tmp_path / "again", "part", "odd", printed)
    assert load_catalogue(tmp_path / "again").parts == load_catalogue(tmp_path / "first").parts
