"""Records are built by keyword: beyond four arguments nobody counts commas, and a field that is
put in between must not take another's value. Copies of records take all fields for the same
reason."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

pytestmark = pytest.mark.once

ROOT = Path(__file__).resolve().parent.parent
MOST = 4  # positional arguments

# Where a class is: (module, name).
Home = tuple[str, str]


@dataclass(frozen=True)
class Module:
    """A module's tree, its dataclasses, and what its other names stand for."""

    tree: ast.Module
    records: frozenset[str]
    imported: dict[str, tuple[str, str | None]]


def _is_record(node: ast.ClassDef) -> bool:
    """Whether a class is built from its fields: a dataclass, or a named tuple."""
    makers = [d.func if isinstance(d, ast.Call) else d for d in node.decorator_list]
    names = [ast.unparse(x).rpartition(".")[2] for x in (*makers, *node.bases)]
    return "dataclass" in names or "NamedTuple" in names


def module(text: str) -> Module:
    """What is looked at in a module's text; names that it imports map to (module, name)."""
    tree = ast.parse(text)
    records: set[str] = set()
    imported: dict[str, tuple[str, str | None]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and _is_record(node):
            records.add(node.name)
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                imported[alias.asname or alias.name] = (node.module, alias.name)
        elif isinstance(node, ast.Import):
            for alias in node.names:
                imported[alias.asname or alias.name] = (alias.name, None)
    return Module(tree, frozenset(records), imported)


@cache
def modules() -> dict[str, Module]:
    """Every module of the package by its dotted name."""
    out = {}
    for path in sorted((ROOT / "advisor").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts).removesuffix(".__init__")
        out[name] = module(path.read_text("utf-8"))
    return out


def _called(node: ast.expr, own: str, here: str, known: dict[str, Module]) -> Home | None:
    """The class that an expression names, as far as names tell."""
    if ast.unparse(node) in ("cls", "type(self)", "self.__class__"):
        return here, own
    if isinstance(node, ast.Name):
        source, name = here, node.id
        while source in known and name not in known[source].records:
            whence, called = known[source].imported.get(name, (source, None))
            if called is None:
                return None
            source, name = whence, called
        return source, name
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        target = known[here].imported.get(node.value.id)
        if target is not None:
            return ".".join(x for x in target if x is not None), node.attr
    return None


def by_position(known: dict[str, Module]) -> list[str]:
    """Records built with too many positional arguments, or with an unknown number of them."""
    wrong = []
    for here, one in known.items():
        for call, owner, _ in _typed_calls(one.tree):
            home = _called(call.func, owner, here, known)
            if home is None or home[0] not in known or home[1] not in known[home[0]].records:
                continue
            if len(call.args) > MOST or any(isinstance(a, ast.Starred) for a in call.args):
                wrong.append(f"{here}:{call.lineno} {home[1]}")
    return wrong


def _taken(call: ast.Call, fields: list[str]) -> dict[str, int]:
    """How many fields are given as they stand in each value, by its name."""
    given = [*zip(fields, call.args, strict=False)]
    given += [(k.arg, k.value) for k in call.keywords if k.arg is not None]
    out: dict[str, int] = {}
    for name, value in given:
        if isinstance(value, ast.Attribute) and value.attr == name:
            source = ast.unparse(value.value)
            out[source] = out.get(source, 0) + 1
    return out


def copies(known: dict[str, Module]) -> list[str]:
    """Records most of whose fields are taken one by one from a record of their own kind.

    `dataclasses.replace` says the same and takes along what is added to the fields later. The
    kind is known of `self`, and of arguments by their annotations.
    """
    wrong = []
    for here, one in known.items():
        for call, owner, typed in _typed_calls(one.tree):
            home = _called(call.func, owner, here, known)
            if home is None or home[0] not in known or home[1] not in known[home[0]].records:
                continue
            fields = _fields(known[home[0]].tree, home[1])
            for source, count in _taken(call, fields).items():
                kind = typed.get(source)
                alike = kind is not None and _called(kind, owner, here, known) == home
                if alike and 2 * count > len(fields):
                    wrong.append(f"{here}:{call.lineno} {home[1]}")
    return wrong


def _typed_calls(
    node: ast.AST, owner: str = "", typed: dict[str, ast.expr] | None = None
) -> Iterator[tuple[ast.Call, str, dict[str, ast.expr]]]:
    """Calls, each with the class that it stands in and the annotations of names around it."""
    typed = typed or {}
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Call):
            yield child, owner, typed
        inner, around = typed, owner
        if isinstance(child, ast.ClassDef):
            around = child.name
        if isinstance(child, ast.FunctionDef):
            given = [*child.args.posonlyargs, *child.args.args, *child.args.kwonlyargs]
            inner = typed | {a.arg: a.annotation for a in given if a.annotation is not None}
            if given and given[0].arg == "self":
                inner["self"] = ast.Name("cls")
        yield from _typed_calls(child, around, inner)


def _fields(tree: ast.Module, name: str) -> list[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and node.name == name:
            return [
                s.target.id
                for s in node.body
                if isinstance(s, ast.AnnAssign) and isinstance(s.target, ast.Name)
            ]
    raise AssertionError(f"no class {name}")


SOURCES = {
    "advisor.a": """
@dataclass(frozen=True)
class Row:
    one: int
    two: int
    three: int
    four: int
    five: int = 5

    @classmethod
    def of(cls, x):
        return cls(x, x, x, x, x)

class Plain:
    pass
""",
    "advisor.b": "from advisor.a import Plain, Row as Line\n",
    "advisor.c": "from advisor import a\nfrom advisor.b import Line\nimport advisor.a as whole\n",
}


@pytest.mark.parametrize(
    ("call", "wrong"),
    [
        ("Line(1, 2, 3, 4, 5)", True),
        ("Line(*rest)", True),
        ("Line(1, *rest)", True),
        ("a.Row(1, 2, 3, 4, 5)", True),
        ("whole.Row(1, 2, 3, 4, 5)", True),
        ("def f():\n    from advisor.a import Row\n    return [Row(1, 2, 3, 4, 5)]", True),
        ("Line(1, 2, 3, 4)", False),
        ("Line(1, 2, 3, 4, five=5)", False),
        ("a.Plain(1, 2, 3, 4, 5)", False),
        ("print(1, 2, 3, 4, 5)", False),
    ],
)
def test_what_is_built_by_position_is_seen(call: str, wrong: bool) -> None:
    known = {name: module(text) for name, text in SOURCES.items()}
    known["advisor.c"] = module(SOURCES["advisor.c"] + call)
    found = by_position(known)
    assert "advisor.a:12 Row" in found  # by its own class method
    assert any(line.startswith("advisor.c") for line in found) is wrong


@pytest.mark.parametrize(
    ("body", "wrong"),
    [
        ("Line(r.one, r.two, r.three, 0)", True),
        ("Line(one=r.one, two=r.two, three=0, four=r.four)", True),
        ("replace(r, four=0)", False),
        ("Line(r.one, r.two, 0, 0)", False),
        ("Line(p.one, p.two, p.three, 0)", False),
        ("Line(r.two, r.one, r.four, 0)", False),
    ],
)
def test_a_copy_field_by_field_is_seen(body: str, wrong: bool) -> None:
    known = {name: module(text) for name, text in SOURCES.items()}
    text = f"def f(r: Line, p: a.Plain):\n    return {body}\n"
    known["advisor.c"] = module(SOURCES["advisor.c"] + text)
    assert bool(copies(known)) is wrong


def test_a_record_that_copies_itself_is_seen() -> None:
    text = SOURCES["advisor.a"].replace("def of(cls, x)", "def of(self, x)")
    text = text.replace("cls(x, x, x, x, x)", "Row(self.one, self.two, self.three, x)")
    assert copies({"advisor.a": module(text)}) == ["advisor.a:12 Row"]


def test_records_are_built_by_keyword() -> None:
    assert sum(len(one.records) for one in modules().values()) > 100
    assert by_position(modules()) == []


def test_copies_take_every_field() -> None:
    assert copies(modules()) == []
