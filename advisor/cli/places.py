"""Where new files go: one's own catalogue or folder of products, else the working folder."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.faults import Fault, FaultError

if TYPE_CHECKING:
    from advisor.catalogue.records import Catalogue
    from advisor.cli.bundles import Files


def place_for(kind: str, files: Files, output: Path | None) -> Callable[[str], Path]:
    """The file of an id: what `-o` names, else in one's own catalogue or folder of products."""
    if output is not None:
        return lambda identity: output
    folder = _parts(files) if kind == "part" else _products(files)
    return lambda identity: folder / f"{identity}.yaml"


def _parts(files: Files) -> Path:
    """The parts of the last catalogue that is one's own; those of the working folder if it is one.

    What a call names counts before what the project does.
    """
    from advisor.catalogue.shipped import catalogue_folder

    shipped = os.path.realpath(catalogue_folder())
    named = files.catalog or ([] if files.project is None else list(files.project.catalogues))
    own = [folder for folder in named if os.path.realpath(folder) != shipped]
    if own:
        return own[-1] / "parts"
    return Path("parts") if Path("parts").is_dir() else Path()


def _products(files: Files) -> Path:
    places = () if files.project is None else files.project.places
    return places[0] if places else Path()


def free_place(
    target: Path, kind: str, catalogue: Catalogue, identity: str, text: str | None = None
) -> bool:
    """Whether a file is to be written: it is not where it stands already as it would be.

    Raises
    ------
    FaultError
        Where a file of that name stands and differs, where its name is no id's, and for an id that
        another file of the catalogue bears.
    """
    from advisor.cli.writing import Output, check_outputs

    faults = []
    if target.suffix != ".yaml" or target.stem != identity:
        expected = f"{identity}.yaml: a file is named after its id"
        faults.append(Fault("--output", f'"{target.name}"', expected))
    elif os.path.lexists(target):
        if text is not None and target.is_file() and target.read_bytes() == text.encode():
            return False
        expected = "another id, or a place by --output: what stands is not written over"
        faults.append(Fault("NAME", f'"{target}", which is there', expected))
    elif catalogue.record(identity) is not None and (
        kind == "product" or identity not in catalogue.parts
    ):
        expected = "an id that no file of the catalogue bears"
        faults.append(Fault("NAME", f'"{identity}"', expected))
    if faults:
        raise FaultError(faults)
    if target.parent.is_dir() or not target.parent.parent.is_dir():
        check_outputs([Output(target, "--output")])
    return True


def next_steps(kind: str, identity: str, target: Path, files: Files) -> list[str]:
    """What may be done with a file that was written."""
    from advisor.texts import in_shell

    named = "".join(f" --catalog {in_shell(str(folder))}" for folder in files.catalog or ())
    if kind == "product":
        by_id = files.project is not None and target.parent in files.project.places
        word = identity if by_id else str(target)
        if not by_id and target.name == str(target):
            word = f"./{target}" if word.startswith("-") else word
        return [f"part-advisor shortlist {in_shell(word)}{named}"]
    read = {os.path.realpath(folder / "parts") for folder in files.folders}
    if os.path.realpath(target.parent) in read:
        return [
            f"part-advisor catalog show {identity}{named}",
            f"part-advisor product new NAME{named}",
        ]
    return [
        f"it lies in no catalogue that is read: `part-advisor catalog start DIR` makes one; move "
        f"{target.name} into its parts"
    ]
