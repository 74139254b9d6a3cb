"""Where a module's source can be given a bug that means something, and the source with it.

A bug is one node of the syntax tree replaced by another: the text between the node's two ends is
written anew, all else stays as it is. Left alone are: docstrings, texts and whatever stands in an
f-string, assertions, what is raised and the texts of faults, annotations and lines of types only,
decorators, imports, `__repr__` and `__str__`, how arrays are made (`dtype`, `errstate`), and the
names of `SPEED` with their products, quotients and bounds, which decide how fast an answer comes
but not which.
"""

from __future__ import annotations

import ast
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SCOPE = ("advisor/model", "advisor/decide", "advisor/bench", "advisor/lp.py")

# how much at once, not what: any value gives the same answer
SPEED = frozenset(("BLOCK", "FEW", "ROWS", "PIECE"))
# the same by modules, of names that elsewhere mean something: how much is worked on at a time,
# where a search that ends long before gives up, how long another program may take
ALSO_SPEED = {
    "advisor/bench/clipping.py": {"LOOK"},
    "advisor/bench/edges.py": {"MOST_KEPT", "MOST_EDGES"},
    "advisor/bench/targets.py": {"LIMIT_S"},
    "advisor/decide/drawing.py": {"TOGETHER"},
    "advisor/decide/leading.py": {"MANY"},
    "advisor/decide/scan.py": {"LONG"},
    "advisor/decide/weighing.py": {"SECONDS"},
    "advisor/model/crossing.py": {"MOST"},
    "advisor/model/operating_plan.py": {"SECONDS"},
    "advisor/model/plan.py": {"BESIDE", "TOGETHER"},
    "advisor/model/relaxation.py": {"MOST"},
    "advisor/model/reservoir.py": {"AT_ONCE"},
    "advisor/model/steady_state.py": {"MOST"},
}

# whole numbers from here on are sizes rather than places: one more of so many means little
MANY = 32

_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
_COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt, ast.GtE),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt, ast.LtE),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}


def _both_ways(pairs: tuple[tuple[str, str], ...]) -> dict[str, str]:
    return {**dict(pairs), **{b: a for a, b in pairs}}


_OTHER_FUNCTION = _both_ways(
    (
        ("min", "max"),
        ("minimum", "maximum"),
        ("fmin", "fmax"),
        ("nanmin", "nanmax"),
        ("argmin", "argmax"),
        ("any", "all"),
        ("floor", "ceil"),
        ("mean", "median"),
    )
)
_OTHER_ATTRIBUTE = _both_ways(
    (("low", "high"), ("min", "max"), ("start", "end"), ("first", "last"), ("lower", "upper"))
)
_CLIPS = {"maximum", "minimum", "max", "min", "fmin", "fmax"}
_DROPPED = {"clip", "abs", "nan_to_num", "round"}  # calls that leave their first argument
# what may be another's place unnoticed; a path before a quantity may not
_FIGURES = (ast.Name, ast.Attribute, ast.Subscript, ast.BinOp, ast.Constant)
_ANY_ORDER = {"hypot", "isclose", "array_equal", "allclose", "gcd", "logical_and", "logical_or"}
_NO_SWAP = {
    "isinstance",
    "issubclass",
    "getattr",
    "hasattr",
    "setattr",
    "zip",
    "range",
    "replace",
    "take",
    "child",
    "get",
    "fault",
    "miss",
}
_FORM = {"dtype", "strict", "maxsize", "copy", "slots", "frozen", "default_factory"}
_UNTOUCHED_CALLS = {"Fault", "FaultError", "errstate", "cast", "TypeVar", "NewType", "field"}
_TYPES = {"NDArray", "Callable", "Sequence", "Mapping", "Literal", "Iterator", "tuple", "dict"}
_LEAVES = (ast.Return, ast.Continue, ast.Break, ast.Raise)


@dataclass(frozen=True)
class Bug:
    """One bug that may be planted: where, what it does, and the bytes that it replaces."""

    module: str  # from the checkout's top, `advisor/model/drain.py`
    function: str  # qualified as the interpreter does; `<module>` outside functions
    line: int
    kind: str
    was: str
    now: str
    span: tuple[int, int]  # bytes of the source
    text: str  # what stands there instead
    place: str = ""  # the line, where what was changed says little by itself
    nth: int = 1  # of those that read alike in the function

    @property
    def key(self) -> tuple[str, str, str]:
        """What names the bug while lines move: module, function, what was changed."""
        return self.module, self.function, self.change

    @property
    def change(self) -> str:
        """What was changed, told from all others of the function."""
        where = f" in {self.place}" if self.place else ""
        again = f" #{self.nth}" if self.nth > 1 else ""
        return f"{self.was} -> {self.now}{where}{again}"

    def planted(self, source: bytes) -> bytes:
        """The source with the bug."""
        return source[: self.span[0]] + self.text.encode() + source[self.span[1] :]


def scope(root: Path) -> list[str]:
    """Every module that bugs are planted in, from the checkout's top."""
    found = []
    for name in SCOPE:
        at = root / name
        found += sorted(at.glob("*.py")) if at.is_dir() else [at]
    return [p.relative_to(root).as_posix() for p in found if p.name != "__init__.py"]


def bugs(module: str, source: bytes) -> list[Bug]:
    """All bugs that may be planted in a module, in the order of its source."""
    starts, lines = [0], source.splitlines(keepends=True)
    for line in lines:
        starts.append(starts[-1] + len(line))
    tree = ast.parse(source)
    keys = _keys(tree)
    found: list[Bug] = []
    counts: dict[tuple[str, str, str, str], int] = {}
    speed = SPEED | ALSO_SPEED.get(module, set())
    for function, node in _sites(tree, speed):
        for kind, was, now in _variants(node, keys):
            span = (
                starts[was.lineno - 1] + was.col_offset,
                starts[(was.end_lineno or was.lineno) - 1] + (was.end_col_offset or 0),
            )
            text = _written(now)
            bare = isinstance(was, (ast.Constant, ast.Name))
            place = " ".join(lines[was.lineno - 1].decode().split()) if bare else ""
            short = (function, _short(was), _short(now), place)
            counts[short] = counts.get(short, 0) + 1
            found.append(
                Bug(
                    module=module,
                    function=function,
                    line=was.lineno,
                    kind=kind,
                    was=short[1],
                    now=short[2],
                    span=span,
                    text=text,
                    place=place,
                    nth=counts[short],
                )
            )
    return sorted(found, key=lambda b: (b.line, b.span, b.kind, b.now))


def choose(
    found: dict[str, list[Bug]], sources: dict[str, bytes], count: int, seed: int
) -> list[Bug]:
    """So many bugs, spread over the modules by their lines that can take one, no two on a line.

    A module's own choice depends on the seed, its name and its share of the count.
    """
    lines = {m: sorted({b.line for b in all_of}) for m, all_of in found.items() if all_of}
    total = sum(map(len, lines.values()))
    count = min(count, total)
    exact = {m: count * len(at) / total for m, at in lines.items()} if total else {}
    share = {m: int(x) for m, x in exact.items()}
    by_rest = sorted(exact, key=lambda m: (share[m] - exact[m], m))
    for m in by_rest[: count - sum(share.values())]:
        share[m] += 1
    out = []
    for m in sorted(share):
        at_random = random.Random(f"{seed}:{m}")
        shuffled = list(lines[m])
        at_random.shuffle(shuffled)
        for line in sorted(shuffled[: share[m]]):
            # by kind first, or the many ways to change a number would crowd the others out
            here = [b for b in found[m] if b.line == line]
            while here:
                kind = at_random.choice(sorted({b.kind for b in here}))
                bug = at_random.choice([b for b in here if b.kind == kind])
                if _is_program(bug.planted(sources[m])):
                    out.append(bug)
                    break
                here.remove(bug)
    return out


def _is_program(planted: bytes) -> bool:
    try:
        ast.parse(planted)
    except SyntaxError:
        return False
    return True


def _short(node: ast.AST | str) -> str:
    text = " ".join((node if isinstance(node, str) else ast.unparse(node)).split())
    return text if len(text) <= 90 else f"{text[:60]} ... {text[-25:]}"


def _written(node: ast.AST | str) -> str:
    if isinstance(node, str):
        return node
    text = ast.unparse(node)
    plain = (ast.Name, ast.Call, ast.Attribute, ast.Subscript, ast.stmt)
    simple = isinstance(node, plain) or (isinstance(node, ast.Constant) and text[0] != "-")
    return text if simple else f"({text})"


def _keys(tree: ast.AST) -> list[str]:
    """Texts that are looked up somewhere in a module."""
    found = {
        node.slice.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Subscript)
        and isinstance(node.slice, ast.Constant)
        and isinstance(node.slice.value, str)
    }
    return sorted(found)


# Which nodes --------------------------------------------------------------------------------------


def _sites(tree: ast.Module, speed: frozenset[str]) -> Iterator[tuple[str, ast.stmt | ast.expr]]:
    """(function, node) of every node that may be changed; `speed` names what is left alone."""
    yield from _walk(tree, "", "<module>", frozenset(), speed)


def _walk(
    node: ast.AST, prefix: str, function: str, skipped: frozenset[int], speed: frozenset[str]
) -> Iterator[tuple[str, ast.stmt | ast.expr]]:
    for child in ast.iter_child_nodes(node):
        if id(child) in skipped or _left_alone(child) or _is_set(child, speed):
            continue
        inner_prefix, inner, skip = prefix, function, frozenset[int]()
        if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef)):
            if child.name in {"__repr__", "__str__"}:
                continue
            inner = prefix + child.name
            inner_prefix = f"{inner}.<locals>."
            skip = _types_of(child)
        elif isinstance(child, ast.ClassDef):
            if any(_name(b) in {"Protocol", "TypedDict"} for b in child.bases):
                continue
            inner_prefix = f"{prefix}{child.name}."
            skip = frozenset(id(x) for x in (*child.decorator_list, *child.bases))
        elif isinstance(child, ast.AnnAssign):
            skip = frozenset({id(child.annotation)})
        elif isinstance(child, ast.For):
            skip = frozenset({id(child.target)})
        elif isinstance(child, ast.If) and _name(child.test) == "TYPE_CHECKING":
            continue
        if isinstance(child, (ast.stmt, ast.expr)) and not _is_of(child, speed):
            yield inner, child
        yield from _walk(child, inner_prefix, inner, skip, speed)


def _types_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> frozenset[int]:
    given = function.args
    every = (*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg)
    notes = [a.annotation for a in every if a is not None]
    return frozenset(id(x) for x in (*notes, function.returns, *function.decorator_list))


def _left_alone(node: ast.AST) -> bool:
    if isinstance(
        node, (ast.JoinedStr, ast.Assert, ast.Raise, ast.Import, ast.ImportFrom, ast.arg)
    ):
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.Call):
        return _name(node.func) in _UNTOUCHED_CALLS
    if isinstance(node, ast.keyword):
        return node.arg in _FORM
    if isinstance(node, ast.Subscript):
        return _name(node.value) in _TYPES
    return _is_set(node, frozenset(("__all__",)))


def _is_set(node: ast.AST, names: frozenset[str]) -> bool:
    """Whether a statement gives one of the names its value."""
    if isinstance(node, (ast.Assign, ast.AnnAssign)):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        return any(isinstance(t, ast.Name) and t.id in names for t in targets)
    return False


def _is_of(node: ast.AST, names: frozenset[str]) -> bool:
    """Whether a product, a quotient or a bound has one of the names as a side of its own.

    A sum may be a place, and a comparison the end of what is read: these are changed all the same.
    """
    sides = node.args if isinstance(node, ast.Call) and _name(node.func) in _CLIPS else []
    if isinstance(node, ast.BinOp) and not isinstance(node.op, (ast.Add, ast.Sub)):
        sides = [node.left, node.right]
    return any(isinstance(s, ast.Name) and s.id in names for s in sides)


def _name(node: ast.AST | None) -> str:
    """The last name of a dotted one."""
    if isinstance(node, ast.Subscript):
        return _name(node.value)
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


# What becomes of them -----------------------------------------------------------------------------

Variant = tuple[str, ast.stmt | ast.expr, ast.AST | str]


def _variants(node: ast.stmt | ast.expr, keys: list[str]) -> Iterator[Variant]:
    """(kind, what it was, what it becomes) of each change to a node."""
    match node:
        case ast.BinOp():
            yield from _binary(node)
        case ast.Compare(ops=[op]):
            for other in _COMPARED.get(type(op), ()):
                changed = ast.Compare(node.left, [other()], node.comparators)
                yield "comparison", node, changed
        case ast.BoolOp(op=op, values=values):
            yield (
                "and/or",
                node,
                ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), values),
            )
            for i in range(len(values)):
                rest = values[:i] + values[i + 1 :]
                yield "condition", node, rest[0] if len(rest) == 1 else ast.BoolOp(op, rest)
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert(), operand=operand):
            yield "sign", node, operand
        case ast.Constant(value=bool(value)):
            yield "flag", node, ast.Constant(not value)
        case ast.Constant(value=int(value)) if abs(value) >= MANY:
            yield "constant", node, ast.Constant(value * 2)
        case ast.Constant(value=int(value)):
            yield "off by one", node, ast.Constant(value + 1)
        case ast.Constant(value=float(value)):
            yield "constant", node, ast.Constant(value * 2 if value else 1.0)
        case ast.Call():
            yield from _called(node)
        case ast.IfExp(test=test, body=body, orelse=orelse):
            yield "branch", node, ast.IfExp(test, orelse, body)
            yield "branch", node, body
        case ast.Subscript(value=value, slice=ast.Constant(value=str(key))):
            for another in keys:
                if another != key:
                    yield "key", node, ast.Subscript(value, ast.Constant(another), node.ctx)
        case ast.Attribute(attr=attr, value=value) if attr in _OTHER_ATTRIBUTE:
            if _name(value) not in {"np", "math"}:
                yield "attribute", node, ast.Attribute(value, _OTHER_ATTRIBUTE[attr], node.ctx)
        case ast.stmt():
            yield from _stated(node)


def _binary(node: ast.BinOp) -> Iterator[Variant]:
    sides = (node.left, node.right)
    if any(_is_text_or_list(s) for s in sides) or all(_is_type(s) for s in sides):
        return
    if isinstance(node.op, ast.Div) and _is_path(node.left):
        return
    other = _ARITHMETIC.get(type(node.op))
    if other is not None:
        yield "arithmetic", node, ast.BinOp(node.left, other(), node.right)
    if isinstance(node.op, (ast.Add, ast.Sub)):
        yield "term", node, node.left
    elif isinstance(node.op, (ast.Mult, ast.Div)):
        yield "factor", node, node.left
    if isinstance(node.op, (ast.Add, ast.Mult)):
        yield "term" if isinstance(node.op, ast.Add) else "factor", node, node.right


def _is_text_or_list(node: ast.AST) -> bool:
    if isinstance(node, ast.BinOp):
        return _is_text_or_list(node.left) or _is_text_or_list(node.right)
    if isinstance(node, ast.Constant):
        return isinstance(node.value, (str, bytes))
    if isinstance(node, ast.Call):
        return _name(node.func) in {"str", "list", "tuple", "sorted", "join", "repeat", "set"}
    return isinstance(node, (ast.JoinedStr, ast.List, ast.Tuple, ast.ListComp, ast.Starred))


def _is_type(node: ast.AST) -> bool:
    if isinstance(node, ast.Constant):
        return node.value is None
    return _name(node)[:1].isupper() or _name(node) in {"str", "int", "float", "bool"}


def _is_path(node: ast.AST) -> bool:
    while isinstance(node, ast.BinOp):
        node = node.left
    return _name(node) in {"own", "root", "path", "folder", "place", "here", "work", "parent"}


def _called(node: ast.Call) -> Iterator[Variant]:
    name, given = _name(node.func), node.args
    if any(isinstance(a, ast.Starred) for a in given):
        return
    if name in _OTHER_FUNCTION:
        opposite = _OTHER_FUNCTION[name]
        func: ast.expr = ast.Name(opposite)
        if isinstance(node.func, ast.Attribute):
            func = ast.Attribute(node.func.value, opposite)
        yield "min/max", node, ast.Call(func, given, node.keywords)
    if name in _DROPPED and given:
        yield "clip", node, given[0]
    elif name in _CLIPS and len(given) == 2 and not node.keywords:
        plain = [i for i, a in enumerate(given) if isinstance(a, (ast.Constant, ast.UnaryOp))]
        for i in range(2) if not plain else [1 - plain[0]]:
            yield "clip", node, given[i]
    if name == "where" and len(given) == 3:
        yield "branch", node, ast.Call(node.func, [given[0], given[2], given[1]], [])
    elif len(given) >= 2 and name not in _CLIPS | _ANY_ORDER | _NO_SWAP and _is_own(node.func):
        alike = all(isinstance(a, _FIGURES) for a in given[:2])
        if alike and ast.dump(given[0]) != ast.dump(given[1]):
            swapped = [given[1], given[0], *given[2:]]
            yield "arguments", node, ast.Call(node.func, swapped, node.keywords)
    for i, one in enumerate(node.keywords):
        if one.arg == "axis" and isinstance(one.value, (ast.Constant, ast.UnaryOp)):
            axis = ast.literal_eval(one.value)
            if isinstance(axis, int):
                changed = ast.keyword("axis", ast.Constant(0 if axis else 1))
                words = [*node.keywords[:i], changed, *node.keywords[i + 1 :]]
                yield "axis", node, ast.Call(node.func, given, words)
        if one.arg == "side" and isinstance(one.value, ast.Constant):
            changed = ast.keyword(
                "side", ast.Constant("left" if one.value.value == "right" else "right")
            )
            words = [*node.keywords[:i], changed, *node.keywords[i + 1 :]]
            yield "side", node, ast.Call(node.func, given, words)


def _is_own(func: ast.expr) -> bool:
    """Whether a function is of our own, or of an array library's arithmetic."""
    if isinstance(func, ast.Name):
        return func.id[:1].islower() or func.id[:1] == "_"
    inner = func.value if isinstance(func, ast.Attribute) else None
    return _name(inner) not in {"np", "pl", "re", "os", "json", "random"} or _name(func) in {
        "subtract",
        "divide",
        "interp",
        "searchsorted",
        "power",
        "polyfit",
    }


def _stated(node: ast.stmt) -> Iterator[Variant]:
    match node:
        case ast.AugAssign(target=target, op=op, value=value):
            other = _ARITHMETIC.get(type(op))
            if other is not None and not _is_text_or_list(value):
                yield "arithmetic", node, ast.AugAssign(target, other(), value)
            yield "statement", node, "pass"
        case ast.Assign(targets=[ast.Subscript()]) | ast.Expr(value=ast.Call()):
            yield "statement", node, "pass"
        case ast.If(test=test, body=body) if isinstance(body[-1], _LEAVES):
            yield "guard", test, ast.Constant(False)
        case ast.Continue():
            yield "loop", node, "break"
        case ast.Break():
            yield "loop", node, "continue"
