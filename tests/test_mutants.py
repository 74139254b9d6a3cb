"""The planting of bugs itself: what is changed and what is left alone, who is near, and that a bug
is caught, a harmless change survives and a hang ends. `python -m tests.mutants` plants the rest."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.mutants.near import ALSO, chosen, files_near, is_own
from tests.mutants.plant import SCOPE, Bug, bugs, choose, scope
from tests.mutants.run import ROOT, copies, equivalents, judged, traces_of

pytestmark = pytest.mark.once

SOURCE = b'''
"""A text, 1 + 1."""
from typing import Literal
LIMIT: Literal[1, 2] = 2
ROOM = 128
BLOCK = 256

class Kept:
    low: float = 1.5

    def __repr__(self) -> str:
        return "x" * (1 + 1)

def f(x, y, keep=True):
    """Half of 1 + 1."""
    assert x < y
    if x < 0:
        raise ValueError(1 + 1)
    for one in y:
        if not one or x:
            continue
        x += one.low
    z = np.clip(-x, 0.0, LIMIT).sum(axis=0)
    parts = range(0, max(1, BLOCK // 3), min(BLOCK, ROOM))
    say(f"{x + 1}")
    return min(z["a"], z["b"]) * g(x, z) if keep else np.where(z, x, 1)
'''


def test_every_kind_of_bug_is_found_and_texts_and_types_are_left_alone() -> None:
    found = bugs("advisor/x.py", SOURCE)
    told = {(b.kind, b.was, b.now) for b in found}
    assert {
        ("comparison", "x < 0", "x <= 0"),
        ("comparison", "x < 0", "x > 0"),
        ("guard", "x < 0", "False"),
        ("and/or", "not one or x", "not one and x"),
        ("condition", "not one or x", "x"),
        ("sign", "not one", "one"),
        ("sign", "-x", "x"),
        ("loop", "continue", "break"),
        ("arithmetic", "x += one.low", "x -= one.low"),
        ("statement", "x += one.low", "pass"),
        ("attribute", "one.low", "one.high"),
        ("clip", "np.clip(-x, 0.0, LIMIT)", "-x"),
        ("constant", "1.5", "3.0"),
        ("constant", "0.0", "1.0"),
        ("off by one", "2", "3"),
        ("constant", "128", "256"),
        ("flag", "True", "False"),
        ("axis", "np.clip(-x, 0.0, LIMIT).sum(axis=0)", "np.clip(-x, 0.0, LIMIT).sum(axis=1)"),
        ("min/max", "min(z['a'], z['b'])", "max(z['a'], z['b'])"),
        ("clip", "min(z['a'], z['b'])", "z['b']"),
        ("key", "z['a']", "z['b']"),
        ("arguments", "g(x, z)", "g(z, x)"),
        ("factor", "min(z['a'], z['b']) * g(x, z)", "g(x, z)"),
        ("branch", "np.where(z, x, 1)", "np.where(z, 1, x)"),
    } <= told
    # how much at once is no bug, whatever it is
    apart = {"1 + 1", "x < y", "x + 1", "Literal[1, 2]", "256", "BLOCK // 3", "min(BLOCK, ROOM)"}
    assert not [b for b in found if b.was in apart]
    assert {b.function for b in found} == {"<module>", "f"}
    assert len({b.key for b in found}) == len(found)


def test_a_planted_bug_changes_what_it_says_and_nothing_else() -> None:
    """The tree with the bug, written plainly, differs by what was told."""
    for bug in bugs("advisor/x.py", SOURCE):
        planted = bug.planted(SOURCE)
        assert planted.count(b"\n") == SOURCE.count(b"\n")
        assert ast.dump(ast.parse(planted)) != ast.dump(ast.parse(SOURCE))
        begin, end = bug.span
        assert planted.startswith(SOURCE[:begin])
        assert planted.endswith(SOURCE[end:])
        assert ast.unparse(ast.parse(SOURCE[begin:end])) in {bug.was, f"({bug.was})"}


@cache
def everything() -> tuple[dict[str, list[Bug]], dict[str, bytes]]:
    sources = {m: (ROOT / m).read_bytes() for m in scope(ROOT)}
    return {m: bugs(m, source) for m, source in sources.items()}, sources


COUNT = 100


def test_the_choice_is_by_the_seed_and_spread_by_the_code() -> None:
    found, sources = everything()
    planted = choose(found, sources, COUNT, 0)
    assert planted == choose(found, sources, COUNT, 0)
    assert planted != choose(found, sources, COUNT, 1)
    assert len(planted) == COUNT
    assert len({(b.module, b.line) for b in planted}) == COUNT
    lines = {m: len({b.line for b in all_of}) for m, all_of in found.items()}
    for module, own in lines.items():
        exact = COUNT * own / sum(lines.values())
        assert abs(sum(b.module == module for b in planted) - exact) < 1
    assert all(any(b.module.startswith(folder) for b in planted) for folder in SCOPE)
    assert len({b.kind for b in planted}) > 12


def test_every_module_has_tests_of_its_own() -> None:
    modules = scope(ROOT)
    files = files_near(ROOT, modules)
    assert [m for m in modules if not any(is_own(m, file) for file in files)] == []
    stems = {Path(file).stem for file in files}
    assert {name for names in ALSO.values() for name in names} <= stems
    assert set(ALSO) <= set(modules)


def test_what_changes_nothing_names_bugs_that_there_are() -> None:
    found, _ = everything()
    known = {b.key for all_of in found.values() for b in all_of}
    assert [key for key in equivalents() if key not in known] == []


@pytest.mark.parametrize("line", ["a ; b ; c", "a ; b ; c ; "])
def test_what_changes_nothing_has_a_reason(line: str, tmp_path: Path) -> None:
    (tmp_path / "e.txt").write_text(f"# a ; b\n\n{line}\n", "utf-8")
    with pytest.raises(SystemExit, match=r"e\.txt:3"):
        equivalents(tmp_path / "e.txt")


# (module, what it was, what it becomes), the first such
CAUGHT = (
    ("advisor/model/pieces.py", "i + 1", "i - 1"),
    ("advisor/model/money.py", "totals.argmin(axis=0)", "totals.argmax(axis=0)"),
    ("advisor/model/kinetic_cell.py", "time += duration", "pass"),
    # runs for ever
    (
        "advisor/model/kinetic_cell.py",
        "left, delta, time = capacity, 0.0, 0.0",
        "while True: pass",
    ),
)


def test_bugs_are_caught_a_harmless_change_survives_and_the_checkout_stays() -> None:
    modules = sorted({m for m, *_ in CAUGHT})
    before = {m: (ROOT / m).read_bytes() for m in modules}
    planted = []
    for module, was, now in CAUGHT:
        source = before[module]
        known = [b for b in bugs(module, source) if (b.was, b.now) == (was, now)]
        planted.append(known[0] if known else by_hand(module, source, was, now))
    module = "advisor/model/kinetic_cell.py"
    harmless = by_hand(module, before[module], "import numpy as np", "import numpy as np, math")
    log: list[str] = []
    with copies(1, ("numpy", "hypothesis")) as free:
        names = ["tests/model/test_pieces.py", "tests/model/test_kinetic_cell.py"]
        traces = traces_of([*names, "tests/model/test_money.py"], free, 1, None, log.append)
        verdicts = judged([*planted, harmless], traces, free, 1, log.append, patience_s=1.5)
    assert [v.word for v in verdicts] == [*["caught"] * len(CAUGHT), "survived"]
    assert "took too long" in verdicts[3].by
    assert chosen(planted[0], traces, 1e9)
    assert {m: (ROOT / m).read_bytes() for m in modules} == before


def by_hand(module: str, source: bytes, was: str, now: str) -> Bug:
    """A change that no rule makes."""
    begin = source.index(was.encode())
    return Bug(
        module=module,
        function="<module>",
        line=source[:begin].count(b"\n") + 1,
        kind="by hand",
        was=was,
        now=now,
        span=(begin, begin + len(was)),
        text=now,
    )
