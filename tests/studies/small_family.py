"""A family of two shipped products on a few of the shipped parts, quick to decide."""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from advisor.catalogue.families import FamilyRun, load_family
from advisor.catalogue.places import catalogue_folder, product_files

PARTS = ("ostrel-goz", "ostrel-ruv", "quorvane-jor", "quorvane-tib")
TEXT = """
family: pair
summary: two of a vineyard's field devices
invented: true
products:
  - {product: frost-post, give-up: 20}
  - {product: barrel-tag, units: 12000}
limits: {parts: 2, engineering: 60 h}
"""


def write_family(folder: Path, text: str = TEXT) -> Path:
    """The family's file, and frost-post beside it, on a pack of two converters."""
    folder.mkdir(parents=True, exist_ok=True)
    post = product_files()["frost-post"].read_text("utf-8")
    post, packs = re.subn(r"cells: \[.*\]", "cells: [{cell: ls-pen}]", post)
    post, ways = re.subn(r"converters: \[.*\]", "converters: [ldo-a, buck-a]", post)
    assert (packs, ways) == (1, 1)
    (folder / "frost-post.yaml").write_text(post, "utf-8")
    file = folder / "pair.yaml"
    file.write_text(text, "utf-8")
    return file


def family_run(file: Path, changes: Sequence[str] = (), parts: Sequence[str] = PARTS) -> FamilyRun:
    """The family with the shipped catalogue, its other parts left away."""
    run = load_family(file, changes=changes)
    return replace(run, catalogue=run.catalogue.only(parts))


def write_catalogue(folder: Path, parts: Sequence[str] = PARTS) -> Path:
    """A catalogue of the shipped one's files, with these parts only."""
    for kind in ("cells", "converters", "addons"):
        if (catalogue_folder() / kind).is_dir():
            shutil.copytree(catalogue_folder() / kind, folder / kind)
    (folder / "parts").mkdir(parents=True)
    for part in parts:
        shutil.copy(catalogue_folder() / "parts" / f"{part}.yaml", folder / "parts")
    shutil.copy(catalogue_folder() / "kernels.yaml", folder)
    return folder
