"""Whoever calls a function of arrays reads their shapes and units beside it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.once

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("model", "decide")

_AXIS = r"(?:\.\.\.|[A-Za-z]|draws|ranks)"
SHAPE = re.compile(
    rf"\({_AXIS},\)|\({_AXIS}(?:, {_AXIS})+\)|broadcast|(?:any|same|one) shape|shape of"
)
# Symbols of units, money, and words for what has no unit.
UNIT = re.compile(
    r"(?<!\w)(?:A|V|s|C|W|J|F|K|h|ohm|SI|per unit|0\.\.1(?:00)?)(?!\w)"
    r"|(?i:\b(?:shares?|scores?|points|counts?|index|indices)\b)"
)
ARTICLE = re.compile(r"(?:\A|(?<=[.:;] )|(?<=\n))A(?= [a-z])")
# a mask has no unit, and says what it is true of
TRUTH = re.compile(r"\b(?:whether|where|mask)\b", re.IGNORECASE)


def _annotations(node: ast.FunctionDef) -> str:
    a = node.args
    given = [*a.posonlyargs, *a.args, *a.kwonlyargs, a.vararg, a.kwarg]
    kinds = [x.annotation for x in given if x is not None] + [node.returns]
    return " ".join(ast.unparse(x) for x in kinds if x is not None)


def functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Functions of arrays and methods of any class, but for those whose own name is private."""
    for node in tree.body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        owner = f"{node.name}." if isinstance(node, ast.ClassDef) else ""
        for one in inside:
            if (
                isinstance(one, ast.FunctionDef)
                and not one.name.startswith("_")
                and re.search(r"\w*Array\b", _annotations(one))
            ):
                yield owner + one.name, one


def lacking(node: ast.FunctionDef) -> list[str]:
    """What a function's docstring lacks of a shape and a unit."""
    text = ast.get_docstring(node) or ""
    # letters of a shape are no units, nor is the article
    bare = ARTICLE.sub("", re.sub(rf"\({_AXIS}(?:,|(?:, {_AXIS})+)\)", "", text))
    mask = "bool" in _annotations(node) and TRUTH.search(text) is not None
    out = [] if SHAPE.search(text) else ["shape"]
    return out if mask or UNIT.search(bare) else [*out, "unit"]


@pytest.mark.parametrize(
    ("kinds", "text", "wrong"),
    [
        ("x: Array) -> Array", "Depth that is reached.", ["shape", "unit"]),
        ("x: Array) -> Array", "A current of a row, (C, N).", ["unit"]),
        ("x: Array) -> Array", "A current of a row, A.", ["shape"]),
        ("x: Array) -> Array", "A current of a row, (C, N) A.", []),
        ("x: Array) -> Array", "Shares of the draws; arrays broadcast.", []),
        ("x: NDArray[np.intp]) -> Array", "Score of each part, (P,).", []),
        ("x: Array) -> NDArray[np.bool_]", "Where it holds, (R, N).", []),
        ("x: Array) -> Array", "Where it holds, (R, N).", ["unit"]),
    ],
)
def test_what_a_docstring_lacks(kinds: str, text: str, wrong: list[str]) -> None:
    tree = ast.parse(f'def f({kinds}:\n    """{text}"""\n')
    assert [lacking(node) for _, node in functions(tree)] == [wrong]


def test_which_functions_are_of_arrays() -> None:
    tree = ast.parse(
        "def f(x: int) -> Array: ...\ndef _g(x: Array) -> int: ...\ndef h(x: int) -> int: ...\n"
        "class K:\n    def m(self, x: NDArray[np.intp]) -> int: ...\n"
    )
    assert [name for name, _ in functions(tree)] == ["f", "K.m"]


def test_functions_of_arrays_give_shapes_and_units() -> None:
    wrong, seen = [], 0
    for layer in LAYERS:
        for path in sorted((ROOT / "advisor" / layer).glob("*.py")):
            for name, node in functions(ast.parse(path.read_text("utf-8"))):
                seen += 1
                said = lacking(node)
                if said:
                    where = f"{path.relative_to(ROOT)}:{node.lineno} {name}"
                    wrong.append(f"{where}: no {' and no '.join(said)}")
    assert seen > 80
    assert wrong == []
