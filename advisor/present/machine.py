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


def rounded(value: Any, digits: int = 12) -> Any:
    """Floats to significant digits (17 keep them as they are); what is not finite becomes null."""
    if isinstance(value, bool) or value is None or isinstance(value, (int, str)):
        return value
    if isinstance(value, float):
        return float(f"{value:.{digits}g}") if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {k: rounded(v, digits) for k, v in value.items()}
    return [rounded(v, digits) for v in value]


def to_json(document: Any) -> str:
    """One JSON document; the same result gives the same bytes."""
    return json.dumps(rounded(plain(document)), indent=1, ensure_ascii=False) + "\n"


def faults_json(faults: Sequence[Fault]) -> str:
    """The faults of a run."""
    return to_json({"faults": [f.as_dict() for f in faults]})


def to_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows with a header line; numbers to 12 significant digits.

    A text that a spreadsheet would run as a formula is led by an apostrophe.
    """
    out = io.StringIO()
    if rows:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow({k: _cell(v) for k, v in row.items()})
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
    if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return "'" + value
    return value
