"""What every answer about a family tells beside: what was left out, what looks odd."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from advisor.decide.joint import Joined
from advisor.decide.left_out import LeftOut
from advisor.studies.results import warnings_of


def left_out_of(products: Sequence[Joined]) -> tuple[LeftOut, ...]:
    """What each product leaves out, and parts whose cost in a plan cannot be told."""
    out = []
    for one in products:
        name = one.product.product
        out += [replace(left, id=f"{name}: {left.id}") for left in one.evaluation.left_out]
        for part, paths in one.lacking.items():
            why = f"its cost lacks {', '.join(paths)}"
            out.append(LeftOut("part", f"{name}: {part}", why))
        for part in one.barred:
            state = one.evaluation.catalogue.parts[part].lifecycle
            out.append(LeftOut("part", f"{name}: {part}", f"cannot be bought: it is {state}"))
    return tuple(out)


def family_warnings(products: Sequence[Joined]) -> tuple[str, ...]:
    """What looks odd in the files of any product, each once."""
    return tuple(dict.fromkeys(w for one in products for w in warnings_of(one.evaluation)))
