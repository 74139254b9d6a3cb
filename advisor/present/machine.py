"""Results for scripts: JSON with 12 significant digits, CSV with a header."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from advisor.faults import Fault
from advisor.studies.results import plain
from advisor.texts import escaped_json, spreadsheet_cell, visible


def rounded(value: Any, digits: int = 12) -> Any:
    """Floats to significant digits (17 keep them as they are); what is not finite becomes null."""
    if isinstance(value, bool) or value is None or isinstance(value, (int, str)):
        return value
    if isinstance(value, float):
        return float(f"{value:.{digits}g}") if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {k: rounded(v, digits) for k, v in value.items()}
    return [rounded(v, digits) for v in value]


def to_json(document: Any, ascii_only: bool = False) -> str:
    """One JSON document; the same result gives the same bytes."""
    text = json.dumps(rounded(plain(document)), indent=1, ensure_ascii=ascii_only)
    return escaped_json(text) + "\n"


def faults_json(faults: Sequence[Fault], ascii_only: bool = False) -> str:
    """The faults of a run."""
    return to_json({"faults": [f.as_dict() for f in faults]}, ascii_only)


def to_csv(rows: Sequence[Mapping[str, Any]], head: Sequence[str] = ()) -> str:
    """Rows with a header line; numbers to 12 significant digits.

    `head` is the header where there is no row. A text that a spreadsheet would run as a formula is
    led by an apostrophe; what would not be seen, or would act, stands as an escape.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    # a row may lack what another has
    names = list(dict.fromkeys(name for row in rows for name in row)) if rows else list(head)
    if names:
        writer.writerow([_cell(name) for name in names])
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in names])
    return out.getvalue()


def with_cautions(
    rows: Sequence[Mapping[str, Any]], cautions: Sequence[str]
) -> list[dict[str, Any]]:
    """Rows that carry the cautions along, as whoever reads them may see nothing else."""
    return [{**row, "cautions": " | ".join(cautions)} for row in rows]


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, list | tuple):
        value = " ".join(map(str, value))
    return visible(spreadsheet_cell(value)) if isinstance(value, str) else value
