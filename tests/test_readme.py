"""The README's commands, outputs, files and figures are what the tool gives today."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.fields import specification
from advisor.cli.main import call
from advisor.model.ends import ENDS
from advisor.reference.readme import FILE, OUTPUT, run, write_files

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
SHOWN = {found["call"]: found["text"] for found in OUTPUT.finditer(README)}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the catalogue and the files that the README has its reader write."""
    (tmp_path / "catalog").symlink_to(ROOT / "catalog")
    assert write_files(README, tmp_path)
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


def test_every_block_is_accounted_for() -> None:
    """No output or file in the README that these tests would not see."""
    assert len(SHOWN) >= 4
    assert README.count("```text\n") == len(SHOWN) == README.count("<!-- output of:")
    assert README.count("```yaml\n") == len(FILE.findall(README)) == README.count("<!-- file:")


@pytest.mark.parametrize("call_text", SHOWN)
def test_output_is_real(call_text: str, folder: Path) -> None:
    """When this fails: `python -m advisor.reference` runs the commands again."""
    assert SHOWN[call_text] == run(call_text)


def other_calls() -> list[str]:
    """Calls that stand in a shell block of their own, with no output shown."""
    blocks = re.findall(r"^```sh\n(.*?)^```$", README, re.M | re.S)
    return [line for block in blocks for line in block.splitlines() if line.startswith("part-")]


@pytest.mark.parametrize("line", other_calls())
def test_other_calls_run(line: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(shlex.split(line)[1:]) == 0, capsys.readouterr().err


def test_the_way_from_the_bench_runs(folder: Path) -> None:
    """The block runs line by line as it stands; each command answers yes."""
    if shutil.which("cc") is None and os.environ.get("CI") != "true":
        pytest.skip("needs a C compiler")
    blocks = re.findall(r"^```bash\n(.*?)^```$", README, re.M | re.S)
    assert len(blocks) == 1
    shim = folder / "bin" / "part-advisor"
    shim.parent.mkdir()
    shim.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m advisor "$@"\n')
    shim.chmod(0o755)
    environment = {
        **os.environ,
        "PATH": f"{shim.parent}:{os.environ['PATH']}",
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


def test_library_example_runs(folder: Path) -> None:
    found = re.search(r"<!-- runs -->\n```python\n(.*?)^```$", README, re.M | re.S)
    assert found is not None
    done = subprocess.run(
        [sys.executable, "-c", found[1]], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "battery_life_s" in done.stdout


def test_own_catalogue_may_lie_over_the_shipped_one(folder: Path) -> None:
    layers = "--catalog catalog --catalog mine --draws 0 --format json"
    assert f"`--catalog {'catalog'} --catalog {'mine'}`" in README
    found = json.loads(run(f"shortlist first-product.yaml {layers}"))
    parts = {row["part"] for row in found["ranking"]}
    assert "first-part" in parts
    assert len(parts) > 1


def _names(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for name, inside in value.items():
            yield name
            # below these stand the user's own names
            if name not in ("tasks", "operating_points", "engines", "criteria"):
                yield from _names(inside)
        for criterion in value.get("criteria", {}).values():
            yield from criterion


def test_glossary_has_every_figure_of_the_shortlist() -> None:
    glossary = README.partition("## Glossary")[2].partition("\n## ")[0]
    ranked = json.loads(run("shortlist frost-post --draws 20 --format json"))["ranking"][0]
    words = {"rank", "part", "maker", "invented", "currency", "reason", "ends"}
    words |= {"build", "power", "cost", "criteria"}  # what holds the figures
    for name in set(_names(ranked)) - words:
        assert f"`{name}`" in glossary, name
    for end in ENDS:
        assert f"`{end}`:" in glossary, end


def test_every_criterion_has_its_anchors() -> None:
    anchors = README.partition("Default anchors")[2].partition("\n")[0]
    assert set(re.findall(r"`([a-z-]+)`", anchors)) == set(CRITERIA)


def test_peukert_example() -> None:
    """t = H (C/(I H))^k: 200 Ah at the 20 h rate, 20 A, k = 1.2 gives 8.7055 h, as textbooks do."""
    section = README.partition("### Why not Peukert's law")[2].partition("\n## ")[0]

    def hours(current: float) -> float:
        return 20 * float((200 / (current * 20)) ** 1.2)

    assert f"{hours(20.0):.4f} h" in section
    assert f"{hours(0.01):,.0f}".replace(",", " ") + " h" in section
    assert f"{hours(0.01) * 0.01:.0f} Ah" in section


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_lead_somewhere(text: str) -> None:
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text)
    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []


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


def test_readme_knows_the_keys_it_names() -> None:
    from advisor.catalogue import schema_parts, schema_product, schema_supply

    keys = {
        name
        for module in (schema_parts, schema_supply, schema_product)
        for value in vars(module).values()
        if isinstance(value, type) and hasattr(value, "__dataclass_fields__")
        for name in specification(value)
    }
    glossary = README.partition("## Glossary")[2].partition("\n## ")[0]
    named = {
        n for row in re.findall(r"keys? (`[^|]*?) \|", glossary) for n in re.findall("`(.*?)`", row)
    }
    assert len(named) > 12
    assert named <= keys
