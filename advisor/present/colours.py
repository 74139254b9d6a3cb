"""The colours of all drawings: one for each part, muted ones for criteria and consumers.

They tell apart under normal sight and where red or green cones are lacking (simulated after
Machado, Oliveira and Fernandes, 2009), and have 3 to 1 against the paper (WCAG 2.2, 1.4.11). Parts
differ by dash and marker as well.
"""

from __future__ import annotations

from collections.abc import Iterable

from advisor.dataclass import dataclass

PARTS = (*("#0079f9", "#db7903", "#76336d", "#fc5478", "#08188a", "#903108", "#2a9cd5", "#55161e"),)
PARTS_DARK = (
    *("#16b9fc", "#be6500", "#b4f674", "#94628a", "#006cec", "#a15f4b", "#1ffbfc", "#63f0ae"),
)
OTHERS = (
    *("#4da1a1", "#512c0a", "#629e7c", "#255d91", "#62713b", "#1595b7", "#223741", "#126554"),
)
OTHERS_DARK = (
    *("#cbc38b", "#6982b0", "#acd5d3", "#9a5a5c", "#aaa692", "#a9beea", "#a38c5c", "#9293a3"),
)
DASHES = ((1, 0), (6, 3), (2, 2), (8, 3, 2, 3))
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
MARKERS = ("o", "s", "^", "D", "P", "v")  # the same for matplotlib


@dataclass(frozen=True, slots=True)
class Look:
    """How a part is drawn: numbers of its colour, dash and marker."""

    colour: int
    dash: int
    marker: int


def looks(names: Iterable[str]) -> dict[str, Look]:
    """A look for each name; parts that must share a colour differ by dash and marker."""
    return {
        name: Look(i % len(PARTS), (i + i // len(PARTS)) % len(DASHES), i % len(SHAPES))
        for i, name in enumerate(dict.fromkeys(names))
    }


def css() -> str:
    """The colours as variables of a style sheet: `--p1` and on of parts, `--k1` of others."""

    def variables(parts: Iterable[str], others: Iterable[str]) -> str:
        named = (("p", parts), ("k", others))
        return " ".join(f"--{n}{i}: {c};" for n, some in named for i, c in enumerate(some, 1))

    return (
        f":root {{ {variables(PARTS, OTHERS)} --one: var(--p1); --two: var(--p2); }}\n"
        "@media screen and (prefers-color-scheme: dark) {\n"
        f"  :root {{ {variables(PARTS_DARK, OTHERS_DARK)} }}\n}}\n"
    )
