"""The kinds of cases by name."""

from __future__ import annotations

from collections.abc import Mapping

from tests.fuzz import arguments, caches, files, packs, traces
from tests.fuzz.oracle import Kind

KINDS: Mapping[str, Kind] = {
    "yaml": files.yaml,
    "traces": traces.case,
    "arguments": arguments.case,
    "cache": caches.case,
    "packs": packs.case,
}
