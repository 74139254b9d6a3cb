"""The commands, outputs, files and figures of the README and its pages are what the tool gives."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from itertools import takewhile
from pathlib import Path
from typing import Any

import pytest

from advisor.bench.targets import TARGETS
from advisor.cli.main import call
from advisor.reference import FOLDER, WRITTEN
from advisor.reference.commands import commands
from advisor.reference.outputs import FILE, OUTPUT, WINNERS, run, winners, write_files

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PAGES = {path.name: path.read_text("utf-8") for path in sorted(FOLDER.glob("*.md"))}
BY_HAND = {"README.md": README, **{name: PAGES[name] for name in WRITTEN}}
SHOWN = {
    (name, found["call"]): found["text"]
    for name in BY_HAND
    for found in OUTPUT.finditer(BY_HAND[name])
}
MOST_LINES = 250


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the catalogue, where the commands of a page run."""
    (tmp_path / "catalog").symlink_to(ROOT / "catalog")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ADVISOR_CACHE_DIR", str(tmp_path / "cache"))
    return tmp_path


def test_opens_with_the_job_and_the_two_commands() -> None:
    paragraphs = README.split("\n\n")
    assert paragraphs[0] == "# part-advisor"
    assert len(paragraphs[1]) > 300
    assert "\n" not in paragraphs[1]
    start = "python3 -m venv .venv && .venv/bin/pip install "
    assert re.findall(r"^python3 .*$", README, re.M) == [
        f"{start}. && .venv/bin/part-advisor shortlist frost-post",
        f"{start}-e '.[test]' && .venv/bin/python -m pytest",
    ]


def test_is_short() -> None:
    assert len(README.splitlines()) <= MOST_LINES


def test_top_level_holds_nothing_else() -> None:
    """The licence's text is part of the package; what is built, and caches, git ignores."""
    ignored = (ROOT / ".gitignore").read_text("utf-8").split()
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    built = {
        n for n in found if f"/{n}/" in ignored or f"{n}/" in ignored or n.endswith("egg-info")
    }
    files = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    assert found - built == {*files, "advisor", "catalog", "profiles", "tests"}


@pytest.mark.parametrize("name", BY_HAND)
def test_every_block_is_accounted_for(name: str) -> None:
    """No output or file on a page that these tests would not see."""
    text = BY_HAND[name]
    shown = [call_text for page, call_text in SHOWN if page == name]
    assert text.count("```text\n") == len(shown) == text.count("<!-- output of:")
    assert len(FILE.findall(text)) == text.count("<!-- file:")
    named = re.findall(r"<!-- file: [^\n]+ -->\n```yaml\n", text)
    assert text.count("```yaml\n") == len(named)


def test_readme_and_walk_show_what_commands_print() -> None:
    assert ("README.md", "shortlist frost-post --top 3 --width 80") in SHOWN
    walked = {call_text.split()[0] for page, call_text in SHOWN if page == "walk.md"}
    studies = {"explain", "compare", "outlook", "tipping", "gaps", "weights", "kernels"}
    assert walked >= studies


# a quarter to three quarters of a minute; that the tips are so is tested beside
TIPPING, GAPS = (
    next(shown for shown in SHOWN if shown[1].startswith(name)) for name in ("tipping ", "gaps ")
)


def marked(shown: tuple[str, str]) -> Any:
    """The README's own outputs on any Python, the pages' on the newest, the longest when asked."""
    if shown[0] == "README.md":
        return shown
    long = shown in (TIPPING, GAPS)
    return pytest.param(*shown, marks=[pytest.mark.once, *[pytest.mark.slow] * long])


@pytest.mark.parametrize(("name", "call_text"), [marked(shown) for shown in SHOWN])
def test_output_is_real(name: str, call_text: str, folder: Path) -> None:
    """When this fails: `python -m advisor.reference` runs the commands again."""
    write_files(BY_HAND[name], folder)
    for page, before in takewhile(lambda shown: shown != (name, call_text), SHOWN):
        if page == name and " -o " in before:
            run(before)  # it writes what later ones read
    assert SHOWN[name, call_text] == run(call_text)


@pytest.mark.once
def test_who_leads_without_this_and_that_is_so(folder: Path) -> None:
    """When this fails: `python -m advisor.reference` makes the table anew."""
    (table,) = WINNERS.finditer(README)
    rows = table["rows"]
    assert winners(rows) == rows
    leads = [row.split(" | ")[2] for row in rows.splitlines()]
    assert len(leads) == 6
    assert leads[0] not in leads[1:]


@pytest.mark.once
def test_the_tips_that_are_shown_are_so(folder: Path) -> None:
    """Another leads just beyond, as the page says, and the first one as things stand."""
    text = SHOWN[TIPPING]
    first = re.search(r"take the lead from ([\w-]+)", text)
    tips = re.findall(
        r"^  (\S+)\n    (?:from )?(?:EUR )?(.+?) to (?:EUR )?(.+?): .*, then ([\w-]+)$", text, re.M
    )
    assert first is not None
    assert len(tips) == TIPPING[1].count("--lever")
    for path, now, beyond, then in tips:
        of = path if ":" in path else f"frost-post:{path}"
        for value, leads in ((beyond, then), (now, first[1]))[: 2 if path == tips[0][0] else 1]:
            found = json.loads(run(f"shortlist frost-post --set '{of}={value}' --format json"))
            assert found["ranking"][0]["part"] == leads, (of, value)


@pytest.mark.once
def test_what_to_measure_is_told_as_it_is_shown(folder: Path) -> None:
    """On fewer draws the figures are others; what to measure first and the verdict are not."""
    few = run(f"{GAPS[1]} --draws 256").splitlines()
    whole = SHOWN[GAPS].splitlines()
    assert few[:6] == whole[:6]


LONG = {"report", "family"}


def other_calls() -> list[tuple[str, str]]:
    """(page, call) of those that stand in a shell block of their own, with no output shown."""
    return [
        (name, line)
        for name, text in BY_HAND.items()
        for block in re.findall(r"^```sh\n(.*?)^```$", text, re.M | re.S)
        for line in block.splitlines()
        if line.startswith("part-")
    ]


@pytest.mark.once
@pytest.mark.parametrize(
    ("name", "line"),
    [
        # the examples of `report` and `family` run ones that are quicker
        pytest.param(*each, marks=pytest.mark.slow) if set(each[1].split()) & LONG else each
        for each in other_calls()
    ],
)
def test_other_calls_run(
    name: str, line: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_files(BY_HAND[name], folder)
    assert call(shlex.split(line)[1:]) == 0, capsys.readouterr().err


@pytest.mark.parametrize("name", [*BY_HAND, "DEVELOPERS.md"])
def test_commands_and_options_in_the_text_exist(name: str) -> None:
    text = BY_HAND.get(name, DEVELOPERS)
    known = dict(commands())
    groups = {command.split()[0] for command in known}
    for found in re.findall(r"`part-advisor ([^`\n]+)`", text):
        words = list(takewhile(lambda word: re.fullmatch("[a-z]+", word), found.split()))
        named = {" ".join(words[:n]) for n in (1, 2)}
        assert named & {*known, *groups}, found
    options = {o for command in known.values() for p in command.params for o in p.opts}
    for option in set(re.findall(r"`(--[a-z][a-z-]*)", text)):
        # DEVELOPERS.md names options of pytest, of the reference and of the benchmarks too
        assert option in options | {"--help"} or name == "DEVELOPERS.md", option


def without_emulators(folder: Path) -> Path:
    """A folder with the programs of this machine but for those that other machines are run by."""
    folder.mkdir()
    mine = set(TARGETS["host"].tools)
    theirs = {tool for target in TARGETS.values() for tool in target.tools} - mine
    for place in os.environ["PATH"].split(os.pathsep):
        for program in Path(place).glob("*"):
            made = folder / program.name
            if program.name not in theirs and not os.path.lexists(made):
                made.symlink_to(program.absolute())
    return folder


@pytest.mark.once
def test_the_way_from_the_bench_runs(folder: Path) -> None:
    """The block runs line by line as it stands; each command answers yes.

    The pack is verified on this host; on emulated machines it is in `tests/on_bench/`.
    """
    if shutil.which("cc") is None and os.environ.get("CI") != "true":
        pytest.skip("needs a C compiler")
    text = "".join(BY_HAND.values())
    blocks = re.findall(r"^```bash\n(.*?)^```$", text, re.M | re.S)
    assert len(blocks) == 1
    shim = folder / "bin" / "part-advisor"
    shim.parent.mkdir()
    shim.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m advisor "$@"\n')
    shim.chmod(0o755)
    environment = {
        **os.environ,
        "PATH": f"{shim.parent}:{without_emulators(folder / 'tools')}",
        "PYTHONPATH": str(ROOT),
    }
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", blocks[0]],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    assert "my-part" in done.stdout.rpartition("Shortlist")[2]


@pytest.mark.once
def test_library_example_runs(folder: Path) -> None:
    found = re.search(r"<!-- runs -->\n```python\n(.*?)^```$", README, re.M | re.S)
    assert found is not None
    done = subprocess.run(
        [sys.executable, "-c", found[1]], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "battery_life_s" in done.stdout


def test_own_product_is_answered_as_told(folder: Path) -> None:
    assert len(write_files(README, folder)) == 2
    found = json.loads(run("shortlist first-product.yaml --catalog mine --format json"))
    (first,) = found["ranking"]
    years = first["battery_life_s"]["nominal"] / (365.25 * 86400)
    assert "nearly five years on 100 mAh and one battery change in six" in README
    assert 4.75 < years < 5
    assert first["cost"]["replacements"] == 1


def test_own_catalogue_may_lie_over_the_shipped_one(folder: Path) -> None:
    write_files(README, folder)
    layers = "--catalog catalog --catalog mine --draws 0 --format json"
    assert f"`--catalog {'catalog'} --catalog {'mine'}`" in README
    found = json.loads(run(f"shortlist first-product.yaml {layers}"))
    parts = {row["part"] for row in found["ranking"]}
    assert "first-part" in parts
    assert len(parts) > 1


def test_peukert_example() -> None:
    """t = H (C/(I H))^k: 200 Ah at the 20 h rate, 20 A, k = 1.2 gives 8.7055 h, as textbooks do."""
    section = PAGES["model.md"].partition("## Why not Peukert's law")[2].partition("\n## ")[0]

    def hours(current: float) -> float:
        return 20 * float((200 / (current * 20)) ** 1.2)

    assert f"{hours(20.0):.4f} h" in section
    assert f"{hours(0.01):,.0f}".replace(",", " ") + " h" in section
    assert f"{hours(0.01) * 0.01:.0f} Ah" in section


def linked(text: str) -> set[str]:
    """The names by which a page's headings are linked to; the second of a name would be another."""
    headings = re.findall(r"^#+ (.*)$", re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S), re.M)
    names = [re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings]
    assert len(names) == len(set(names)), "two headings of one name"
    return set(names)


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", *PAGES])
def test_links_lead_somewhere(name: str) -> None:
    path = FOLDER / name if name in PAGES else ROOT / name
    links = re.findall(r"\]\(([^)#\s]*)(?:#([^)\s]*))?\)", path.read_text("utf-8"))
    assert links or name in ("commands.md", "family.md")
    for target, place in links:
        there = (path.parent / target).resolve() if target else path
        assert there.exists(), target
        if place:
            assert place in linked(there.read_text("utf-8")), f"{target}#{place}"


def test_every_page_is_linked_to() -> None:
    assert {name for name in PAGES if f"](advisor/reference/{name})" in README} == set(PAGES)


def test_developers_name_every_package_and_dependency() -> None:
    """A layer or a dependency that nobody explains is not yet finished."""
    table = DEVELOPERS.partition("## Layers")[2].partition("\n## ")[0]
    packages = {
        path.name if path.is_dir() else path.stem
        for path in (ROOT / "advisor").iterdir()
        if (path.is_dir() and (path / "__init__.py").exists()) or path.suffix == ".py"
    }
    for package in packages:
        assert re.search(rf"`{package}/?`", table), package
    layers = re.findall(r"^\| (`.*?) \|", table, re.M)
    assert len(layers) == len(set(layers)), "a layer that is told twice"
    project = (ROOT / "pyproject.toml").read_text("utf-8").partition("[project.scripts]")[0]
    names = re.findall(r'^    "([A-Za-z0-9-]+)[\[><=~!]', project, re.M)
    assert len(names) > 10
    for name in names:
        assert re.search(rf"`{re.escape(name)}`", DEVELOPERS), name


def test_developers_point_at_what_is_there() -> None:
    """Names of modules and functions in the text are those of the code."""
    for dotted in set(re.findall(r"`advisor/([\w/]+\.py)`", DEVELOPERS)):
        assert (ROOT / "advisor" / dotted).is_file(), dotted
    for module, name in set(re.findall(r"`(\w+/\w+)\.(\w+)`", DEVELOPERS)):
        if (path := ROOT / "advisor" / f"{module}.py").is_file():
            source = path.read_text("utf-8")
            assert re.search(rf"^(?:\s*def |class |){name}\b", source, re.M), f"{module}.{name}"
