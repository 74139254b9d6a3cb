"""The shape of the package: imports run one way, start-up stays light, modules stay short."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

pytestmark = pytest.mark.once

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "advisor"

# From the ground up. A layer may use those above it in this list, and itself without circles;
# what shares a line and is named apart (model, bench) does not use each other.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("dataclass names texts files faults grammar dimensions usage quantities source stages",),
    ("figures",),
    ("lp",),
    ("catalogue",),
    ("model", "bench", "intake"),
    ("decide",),
    ("studies",),
    ("present",),
    ("cli",),
    ("reference",),
    ("__init__ __main__",),
)
LONGEST = 500

# Each costs more than all of the tool's own start-up: only what needs it may pay, when it does.
HEAVY = {
    *("pandas", "pulp", "highspy", "rich", "scipy", "matplotlib", "plotext", "polars", "ruptures"),
    *("jinja2", "xlsxwriter", "cryptography", "rfc8785", "packaging"),
}
# what a layer is made of may stand at the top of its modules: whoever imports one wants it
AT_HOME = {"rich": {"present"}, "numpy": {"model", "decide", "studies", "bench"}}


@dataclass(frozen=True)
class Import:
    """One import: who, what, on which line, and whether importing `who` carries it out."""

    importer: str
    imported: str
    line: int
    at_once: bool

    def __str__(self) -> str:
        return f"advisor/{self.importer.replace('.', '/')}.py:{self.line} imports {self.imported}"


def modules() -> dict[str, Path]:
    """Dotted name below the package (`catalogue.load`, `cli.__init__`) to file."""
    return {
        ".".join(path.relative_to(PACKAGE).with_suffix("").parts): path
        for path in sorted(PACKAGE.rglob("*.py"))
    }


def place(module: str) -> tuple[int, str]:
    """(index of the layer, the group inside it) of a module."""
    top = module.split(".")[0]
    for index, layer in enumerate(LAYERS):
        for group in layer:
            if top in group.split():
                return index, group
    raise AssertionError(f"advisor/{module}: no layer of this test's list is its home")


def _is_typing_only(node: ast.If) -> bool:
    test = node.test
    name = test.attr if isinstance(test, ast.Attribute) else getattr(test, "id", None)
    return name == "TYPE_CHECKING"


def _statements(body: list[ast.stmt], at_once: bool) -> Iterator[tuple[ast.stmt, bool]]:
    for node in body:
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            yield node, at_once
            continue
        typing_only = isinstance(node, ast.If) and _is_typing_only(node)
        lazy = typing_only or isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        for name in ("body", "orelse", "finalbody"):
            inside = getattr(node, name, [])
            yield from _statements(inside, at_once and not (lazy and name == "body"))
        for part in (*getattr(node, "handlers", []), *getattr(node, "cases", [])):
            yield from _statements(part.body, at_once)


def _targets(node: ast.stmt, known: dict[str, Path], where: str) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        assert node.level == 0, f"{where}:{node.lineno}: a relative import hides its layer"
        assert node.module is not None
        for alias in node.names:
            # `from advisor import figures` names a module, `from advisor import load` the door
            deeper = f"{node.module}.{alias.name}"
            inside = deeper.removeprefix("advisor.")
            yield deeper if inside in known or f"{inside}.__init__" in known else node.module


@cache
def imports() -> tuple[Import, ...]:
    """Every import of the package, in functions and for type checkers too."""
    known = modules()
    found = []
    for module, path in known.items():
        for node, at_once in _statements(ast.parse(path.read_text("utf-8")).body, True):
            for target in _targets(node, known, module):
                found.append(Import(module, target, node.lineno, at_once))
    return tuple(found)


def inside() -> Iterator[tuple[Import, str]]:
    """(import, name of the imported module below the package) of every import of our own."""
    known = modules()
    for one in imports():
        if one.imported.split(".")[0] == "advisor":
            name = one.imported.removeprefix("advisor").removeprefix(".") or "__init__"
            yield one, name if name in known else f"{name}.__init__"


def test_every_import_is_found() -> None:
    """The reader itself: lazy, nested, guarded and type-checking imports."""
    text = (
        "import a\nif TYPE_CHECKING:\n    import b\nelse:\n    import c\n"
        "class K:\n    import d\n    def f(self):\n        import e\n"
        "try:\n    import f\nexcept ImportError:\n    import g\n"
        "async def h():\n    with x:\n        from i import j\n"
    )
    found = {
        alias.name: at_once
        for node, at_once in _statements(ast.parse(text).body, True)
        for alias in getattr(node, "names", [])
    }
    assert found == {
        "a": True, "b": False, "c": True, "d": True, "e": False, "f": True, "g": True, "j": False,
    }  # fmt: skip
    assert any(not one.at_once for one in imports())
    assert sum(1 for _ in inside()) > 20


def test_imports_run_one_way() -> None:
    wrong = []
    for one, target in inside():
        (here, group), (there, other) = place(one.importer), place(target)
        if there > here or (there == here and group != other):
            wrong.append(str(one))
    assert wrong == []


def test_no_circles() -> None:
    """No module reaches itself, by imports of any kind."""
    uses: dict[str, set[str]] = {name: set() for name in modules()}
    for one, target in inside():
        if target != one.importer:
            uses[one.importer].add(target)
    state: dict[str, int] = {}
    circles: list[str] = []

    def visit(name: str, trail: list[str]) -> None:
        state[name] = 1
        for other in sorted(uses[name]):
            if state.get(other) == 1:
                circles.append(" > ".join([*trail[trail.index(other) :], other]))
            elif other not in state:
                visit(other, [*trail, other])
        state[name] = 2

    for name in uses:
        if name not in state:
            visit(name, [name])
    assert circles == []


def test_heavy_libraries_are_imported_where_they_are_used() -> None:
    wrong = []
    for one in imports():
        library = one.imported.split(".")[0]
        home = AT_HOME.get(library, set())
        if (
            one.at_once
            and library in HEAVY | AT_HOME.keys()
            and one.importer.split(".")[0] not in home
        ):
            wrong.append(str(one))
    assert wrong == []


@pytest.mark.parametrize(
    ("module", "light"),
    [
        ("advisor", {*HEAVY, "numpy", "yaml", "typer"}),
        ("advisor.cli.main", {*HEAVY, "numpy", "yaml", "pydantic"}),
        ("advisor.studies.shortlist", HEAVY),
    ],
)
def test_start_up_is_light(module: str, light: set[str]) -> None:
    """What the import really brings in, seen in a process of its own."""
    program = f"import json, sys, {module}; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, timeout=60, check=True
    )
    assert light & {name.split(".")[0] for name in json.loads(done.stdout)} == set()


@pytest.mark.parametrize("folder", ["advisor", "tests"])
def test_modules_are_short(folder: str) -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text("utf-8").splitlines())
        for path in sorted((ROOT / folder).rglob("*.py"))
    }
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST} == {}
