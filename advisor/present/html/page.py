"""The report as one HTML file that needs nothing else: no network, no other file.

A content security policy in the page lets its own two scripts run, by their digests, and nothing
load; texts of a catalogue go in as text, by the template's escaping or as JSON.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from advisor.decide.ranks import DIGITS
from advisor.faults import InstallationError
from advisor.present import contents, tables
from advisor.present.colours import css
from advisor.present.html.charts import MOST, charts, described, part_looks
from advisor.present.layout import unbroken
from advisor.present.machine import rounded
from advisor.present.typeset import typeset
from advisor.studies.columns import Column, shown
from advisor.studies.report import OfferedBuild, Report
from advisor.studies.words import pack
from advisor.texts import in_shell, visible

HERE = Path(__file__).parent
SCRIPTS = ("charts.js", "page.js")  # the chart library, then what is live
UNBOUNDED = 1e300  # stands for an amount without bound, which JSON has no number for


def html_page(found: Report) -> str:
    """The page.

    Raises
    ------
    InstallationError
        Where the package was never installed, as the chart library is bundled then.
    """
    drawn = charts(found)
    return rendered(
        "page.html",
        _data(found, described(drawn)),
        report=found,
        title=f"{found.product}: which part",
        name=found.product,
        summary=found.summary,
        invented=found.invented and tables.INVENTED,
        cautions=found.cautions,
        seed=found.shortlist.seed,
        draws=found.shortlist.draws,
        sections=list(contents.sections(found)),
        charts=drawn,
    )


def rendered(template: str, data: dict[str, Any], **shown: Any) -> str:
    """A template with the page's style, scripts and policy; `data` is what the scripts read.

    Raises
    ------
    InstallationError
        Where the package was never installed, as the chart library is bundled then.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    scripts = [_script(name) for name in SCRIPTS]
    environment = Environment(
        loader=FileSystemLoader(HERE),
        autoescape=True,
        finalize=lambda value: visible(value) if type(value) is str else value,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["kept"] = unbroken
    environment.filters["kind"] = lambda block: type(block).__name__
    return environment.get_template(template).render(
        **shown,
        policy=_policy(scripts),
        style=css() + (HERE / "page.css").read_text("utf-8"),
        scripts=scripts,
        data=_inline(data),
    )


def _script(name: str) -> str:
    try:
        return (HERE / name).read_text("utf-8").replace("\r\n", "\n")
    except FileNotFoundError:
        raise InstallationError(
            f"{HERE / name} is not there, which the report's page needs: it is made when the "
            "package is installed (pip install)"
        ) from None


def _policy(scripts: list[str]) -> str:
    digests = (base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src {allowed}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _inline(value: Any) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(rounded(value, 17), allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _data(found: Report, drawn: dict[str, Any]) -> dict[str, Any]:
    """What the page's script ranks and draws with."""
    columns = shown(found.shortlist.ranking)
    painted = part_looks(found)
    return {
        "criteria": [
            {
                "name": c.criterion,
                "weight": c.weight,
                "set": in_shell(f"{found.product}:priorities.{c.criterion}.weight="),
            }
            for c in found.criteria
        ],
        "command": contents.command(found),
        "digits": DIGITS,
        "most": MOST,
        "columns": [column.live for column in columns],
        "unbounded": UNBOUNDED,
        "charts": drawn,
        "parts": [
            {
                "part": ranked.part,
                "colour": f"var(--p{painted[ranked.part].colour + 1})",
                "cells": [typeset(column.text(ranked)) for column in columns],
                "small": typeset(tables.below(ranked)),
                "own": part.own,
                "builds": [_build(build, columns) for build in part.builds],
            }
            for ranked, part in zip(found.shortlist.ranking, found.parts, strict=True)
        ],
    }


def _build(build: OfferedBuild, columns: Sequence[Column]) -> dict[str, Any]:
    return {
        "name": build.name,
        "a": build.battery_a,
        "precedence": build.precedence,
        "worth": build.worth,
        "shown": build.shown,
        "pack": pack(build.build),
        "words": typeset(contents.built(build)),
        "cells": [None if c.built is None else c.built(build) for c in columns],
        "current": {c.consumer: c.a for c in build.current},
        "money": {
            m.item: None if m.amount is None else min(m.amount, UNBOUNDED) for m in build.money
        },
    }
