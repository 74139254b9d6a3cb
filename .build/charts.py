"""Write the chart library that a report carries, when the package is built or installed.

It is bundled from a pinned release, so that neither the repository holds other people's minified
code nor a run has to make it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PLACE = "advisor/present/html/charts.js"
NOTICE = ".build/notice.txt"
USED = "globalThis.vegaEmbed = vegaEmbed;"


class Charts(BuildHookInterface):
    """Bundles Vega, Vega-Lite and their embedder into one script."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Write the script into the package, also for an editable install."""
        import vl_convert

        notice = Path(self.root, NOTICE).read_text("utf-8")
        about = f"Vega {vl_convert.get_vega_version()} and what goes with it, bundled."
        script = vl_convert.javascript_bundle(USED)
        if "</script" in script.lower():
            raise ValueError("the bundle would end the page's script")
        place = Path(self.root, PLACE)
        place.write_text(f"/* {about}\n\n{notice}*/\n{script}", "utf-8")
        build_data["artifacts"].append(PLACE)
