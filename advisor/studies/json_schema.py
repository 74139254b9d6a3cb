"""JSON Schema (draft 2020-12) of the files, for editors that complete and check as one writes.

Each kind says what it takes (`Kind.schema`); here the document is put together. The schema says
what a single key may hold. Ids that must exist, bounds on figures that bear a unit, and rules that
join keys are beyond it: `catalog check` and `product check` have the last word.
"""

from __future__ import annotations

from typing import Any

from advisor.catalogue.definitions import Definitions
from advisor.catalogue.kinds import Kind

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def document(name: str, kind: Kind) -> dict[str, Any]:
    """The schema of one kind of file.

    Parameters
    ----------
    name : of the kind of file. kind : what may stand in it, a `Record` or a `MapOf`.
    """
    shared = Definitions()
    root = kind.schema(shared)
    # the file's own record stands at the root rather than behind a reference
    if "$ref" in root:
        root = shared.found.pop(root["$ref"].rpartition("/")[2])
    return {
        "$schema": DRAFT,
        "$id": f"urn:part-advisor:schema:{name}",
        **root,
        "$defs": dict(sorted(shared.found.items())),
    }
