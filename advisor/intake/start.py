"""A catalogue of one's own, before anything is in it."""

from __future__ import annotations

import os
from pathlib import Path

from advisor.catalogue.compose import Line, document, text
from advisor.catalogue.load import FOLDERS
from advisor.catalogue.records import KERNELS
from advisor.catalogue.shipped import catalogue_folder


def new_catalogue(*, examples: bool = False) -> dict[str, bytes]:
    """The files of a new catalogue by name, folders with a slash: kernels of the bench, no parts.

    Parameters
    ----------
    examples : with the demonstration's cells and converters, which say that they are invented.
    """
    shipped = catalogue_folder()
    files = {f"{folder}/": b"" for folder in FOLDERS}
    files[f"{KERNELS}.yaml"] = (shipped / f"{KERNELS}.yaml").read_bytes()
    for folder in ("cells", "converters") if examples else ():
        for path in sorted((shipped / folder).glob("*.yaml")):
            files[f"{folder}/{path.name}"] = path.read_bytes()
    return files


def project_text(folder: Path, beside: Path) -> str:
    """A project's file that names a catalogue, and products in its own folder.

    Parameters
    ----------
    beside : the folder that the file stands in.
    """
    inside = os.path.relpath(folder, beside)
    return document(
        [
            Line("catalogues", f"[{text(inside)}]", behind="later ones are laid over earlier ones"),
            Line(
                "demonstration",
                "false",
                behind="true lays them over the demonstration's parts, cells and converters",
            ),
            Line("products", '["."]', behind="folders of products, which are named by id then"),
        ],
        "What part-advisor reads in this folder and below, so that --catalog need not be typed.",
    )
