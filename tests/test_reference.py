"""The reference is what the code says, and it leaves nothing out."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from advisor.catalogue.shipped import catalogue_folder, load, product_files
from advisor.cli.main import call
from advisor.reference import FOLDER, WRITTEN, __main__, pages
from advisor.reference.commands import commands, example
from advisor.studies.record import decide
from tests.intake.packs import VALLEY
from tests.intake.sheets import small_tables
from tests.on_bench.sessions import pack_session

COMMANDS = dict(commands())
FOLDERS = {"parts": "part", "cells": "cell", "converters": "converter", "addons": "addon"}
# one step of a path; a place on a curve may hold a point
STEP = r"(?:[0-9]+\.[0-9]+|own-figures\.[^.\n]+|\*|[^.\n]+)"


def page(name: str) -> str:
    return (FOLDER / name).read_text("utf-8")


def section(text: str, title: str) -> str:
    """The text between a heading and the next of its level."""
    found = re.search(rf"^## {re.escape(title)}$(.*?)(?=^## |\Z)", text, re.M | re.S)
    assert found is not None, f"no section {title}"
    return found[1]


@pytest.mark.parametrize("name", pages())
def test_page_is_up_to_date(name: str) -> None:
    """When this fails: `python -m advisor.reference` writes the pages anew."""
    assert page(name) == pages()[name]


def test_pages_are_all_there_is() -> None:
    assert {path.name for path in FOLDER.glob("*.md")} == {*pages(), *WRITTEN}


def test_check_tells_what_is_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(__main__, "FOLDER", tmp_path)
    monkeypatch.setattr(__main__, "ROOT", tmp_path)
    assert __main__.main(["--check"]) == 1
    assert set(capsys.readouterr().out.split()) == {"behind:", *pages()}
    assert __main__.main([]) == 0
    assert __main__.main(["--check"]) == 0
    (tmp_path / "keys.md").write_text("stale", "utf-8")
    assert __main__.main(["--check"]) == 1
    assert __main__.main(["--wrong"]) == 2


def helped(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert call([*arguments, "--help"]) == 0
    return str(capsys.readouterr().out)


def test_every_command_is_documented(capsys: pytest.CaptureFixture[str]) -> None:
    """The commands that `--help` lists, groups opened, against the page's headings."""

    def listed(arguments: list[str]) -> Iterator[str]:
        shown = helped(arguments, capsys)
        found = re.search(r"^Commands:\n((?: .*\n)+)", shown, re.M)
        names = re.findall(r"^  ([a-z-]+)", found[1], re.M) if found else []
        if not names:
            yield " ".join(arguments)
        for name in names:
            yield from listed([*arguments, name])

    assert sorted(listed([])) == sorted(re.findall(r"^## (.*)$", page("commands.md"), re.M))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_documented(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What a command's own help shows, against its section of the page."""
    written = section(page("commands.md"), name)
    shown = helped(name.split(), capsys)
    options = set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", shown.partition("Options:")[2]))
    # a command of its argument alone has its help only
    assert len(options) > (2 if name != "completion" else 0)
    rows = " ".join(re.findall(r"^\| `(-[^`]*)`", written, re.M))
    assert options - {"--help"} == set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", rows))
    for parameter in COMMANDS[name].params:
        assert parameter.help, f"{name}: {parameter.name} has no words"


def draws(name: str) -> bool:
    """Whether a command draws, more than a test of whether it runs needs."""
    return any("--draws" in p.opts for p in COMMANDS[name].params)


@pytest.mark.once
@pytest.mark.parametrize(
    ("name", "few"),
    [
        *((name, draws(name)) for name in COMMANDS),
        *(pytest.param(n, False, marks=pytest.mark.slow, id=n) for n in COMMANDS if draws(n)),
    ],
)
def test_every_example_runs(
    name: str,
    few: bool,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setenv("ADVISOR_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    if name in ("distil", "rehearse"):
        pack_session(tmp_path)
    if name == "revisit":
        decided = decide(*load("frost-post"), "quorvane-jor", "tools", draws=20)
        (tmp_path / "record.yaml").write_text(decided.text, "utf-8")
    if name == "hours list":
        spent = ["--date", "2026-03-11", "--start", "09:30", "--stop", "11:00"]
        assert call(["hours", "add", "log.yaml", "--part", "one", *spent]) == 0
    if name in ("catalog pack", "catalog verify", "catalog merge"):
        for folder in ("field", "ours", "theirs"):
            shutil.copytree(catalogue_folder(), tmp_path / folder)
    if name == "catalog verify":
        said = ["--release", "1.0.0", "--license", "CC-BY-4.0"]
        assert call(["catalog", "pack", "field", *said]) == 0
    if name == "catalog import":
        (tmp_path / "valley.pdsc").write_text(VALLEY, "utf-8")
    if name == "catalog quote":
        small_tables(tmp_path)
    text = example(COMMANDS[name])
    assert text is not None, f"{name}: no line 'Example: part-advisor …' in its docstring"
    words = shlex.split(text)
    assert words[:1] == ["part-advisor"]
    assert words[1 : 1 + len(name.split())] == name.split(), "an example of another command"
    # given twice, the last one counts
    fewer = ["--draws", "100"] if few else []
    assert call([*words[1:], *fewer]) == 0, capsys.readouterr().err
    assert text in page("commands.md")


def paths(value: Any, at: str = "") -> Iterator[str]:
    """Dotted path of every key of a document; a list's entries take one step."""
    if isinstance(value, dict):
        for name, inside in value.items():
            yield f"{at}.{name}".lstrip(".")
            yield from paths(inside, f"{at}.{name}")
    elif isinstance(value, list):
        for inside in value:
            yield from paths(inside, f"{at}.*" if isinstance(inside, dict) else at)


def documented(kind: str) -> re.Pattern[str]:
    """A pattern of the paths that the page knows, `<names>` standing for the user's own."""
    found = re.findall(r"^\| `([^`]*)` \|", section(page("keys.md"), kind), re.M)
    assert found
    steps = ["".join(_pattern(piece) for piece in re.split(r"(<[^>]*>)", p)) for p in found]
    return re.compile("|".join(f"(?:{s})" for s in steps))


def _pattern(piece: str) -> str:
    return STEP if piece.startswith("<") else re.escape(piece)


def shipped() -> list[tuple[str, Path]]:
    folder = catalogue_folder()
    files = [(k, p) for f, k in FOLDERS.items() for p in sorted((folder / f).glob("*.yaml"))]
    return [*files, *(("product", path) for path in product_files().values())]


def test_every_key_of_the_shipped_files_is_documented() -> None:
    """Keys as they are written, so that no declaration can hide one from the page."""
    files = shipped()
    assert {kind for kind, _ in files} == {*FOLDERS.values(), "product"}
    known = {kind: documented(kind) for kind, _ in files}
    # below these the user's own names stand, one step each
    named = (
        "features|grades|own-figures|breaks|adds|rates|maturity|kernels|uses|voltage-curve|resistance|"
        "efficiency|current|temperature|loss|evidence|operating-points|blocks|sleep-states|priorities|"
        "irradiation|every"
    )
    own_names = re.compile(
        rf"(.*\.)?(?:{named})\.{STEP}|kernels\.{STEP}\.{STEP}|leak\..+|.*\.(typical|max|low|likely|high)"
    )
    for kind, path in files:
        document = yaml.safe_load(path.read_text("utf-8"))
        for dotted in set(paths(document)):
            fine = known[kind].fullmatch(dotted) or own_names.fullmatch(dotted)
            assert fine, f"{path.name}: {dotted}"
