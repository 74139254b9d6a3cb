"""`catalog merge`: several catalogues made one, every observation kept, every disagreement told."""

from __future__ import annotations

import math
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from advisor.catalogue.edit import placed, quoted
from advisor.catalogue.edit import plain as plain_node
from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.fields import MapOf, Record, read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.load import FOLDERS, load_catalogue
from advisor.catalogue.records import KERNELS
from advisor.catalogue.schema_parts import Kernel, Part
from advisor.dataclass import dataclass
from advisor.faults import Fault, FaultError, FaultLog
from advisor.intake.join import MERGED, Disagreement, Joined, joined
from advisor.intake.nodes import get, text
from advisor.quantities import read_quantity
from advisor.source import Document, read_bytes, read_text
from advisor.studies import merging
from advisor.studies.results import frame, plain

if TYPE_CHECKING:
    import pandas as pd

_KINDS = {kind: Record(cls) for kind, (_, cls) in FOLDERS.items()}
_KERNELS = MapOf(Record(Kernel), "kernel")
# figures that an observation of a board can hold, by their keys in a part
_OBSERVED = (
    re.compile(r"kernels\0[^\0]+\0[^\0]+\0(?:time|current)"),
    re.compile(r"operating-points\0[^\0]+\0idle-current"),
    re.compile(r"sleep-states\0[^\0]+\0(?:current(?:\0[^\0]+)?|wake-time|wake-charge)"),
)


@dataclass(frozen=True, slots=True)
class Differing:
    """A figure or a word of which two catalogues tell something else."""

    path: str
    kept: str
    """what stands in the merged catalogue; empty where nothing does"""
    kept_from: str
    """the catalogue that tells it"""
    kept_evidence: str | None
    other: str
    other_from: str
    other_evidence: str | None
    difference: float | None
    """in combined standard uncertainties; null where neither has one, and for words"""
    outcome: str
    """what became of both"""


@dataclass(frozen=True, slots=True)
class Renamed:
    """What bears another id now, since the one it had is taken by something else."""

    document: str
    section: str
    before: str
    after: str
    catalogue: str

    def words(self) -> str:
        """The change in a line."""
        return f"{self.document}: {self.section} {self.before} of {self.catalogue} is {self.after}"


@dataclass(frozen=True, slots=True)
class Source:
    """A file of the merged catalogue, and where it is from."""

    path: str
    catalogues: tuple[str, ...]
    how: str
    """`alone`, `same` in all, or `joined`"""


@dataclass(frozen=True, slots=True)
class Combined:
    """Several catalogues made one."""

    files: tuple[Source, ...]
    differing: tuple[Differing, ...]
    renamed: tuple[Renamed, ...]
    notes: tuple[str, ...]
    contents: Mapping[str, bytes]
    """path to what is written"""

    def document(self) -> dict[str, Any]:
        """For JSON: all but the files themselves."""
        out: dict[str, Any] = plain(replace(self, contents={}))
        del out["contents"]
        return out

    def rows(self) -> list[dict[str, Any]]:
        """A row a disagreement."""
        return [plain(row) for row in self.differing]

    def to_frame(self) -> pd.DataFrame:
        """A row a disagreement, as a data frame."""
        return frame(self.rows())


def combine(
    folders: Sequence[Path], *, prefer: Path | None = None, over: Sequence[Path] = ()
) -> Combined:
    """Make several catalogues one.

    Parameters
    ----------
    folders : the catalogues; where they disagree the first one's figures stand.
    prefer : the one whose figures stand in its place. over : catalogues that each is laid over in
        use, such as one with the kernels; they are not taken.

    Raises
    ------
    FaultError
        For a catalogue with faults, by itself or once it is merged.
    """
    if len({os.path.realpath(path) for path in folders}) < max(2, len(folders)):
        names = " ".join(map(str, folders))
        raise FaultError((Fault("DIR", names, "two catalogues or more, each once"),))
    if prefer is not None:
        first = [p for p in folders if os.path.realpath(p) == os.path.realpath(prefer)]
        if not first:
            fault = Fault("--prefer", f'"{prefer}"', "one of " + ", ".join(map(str, folders)))
            raise FaultError((fault,))
        folders = [*first, *(p for p in folders if p not in first)]
    log = FaultLog()
    for path in folders:
        try:
            load_catalogue([*over, path])
        except FaultError as error:
            for fault in error.faults:
                log.add(fault)
    log.raise_if_any()
    work = _Work()
    for path in folders:
        for name, file in _files(path).items():
            work.take(name, read_bytes(file, str(file)), str(path), str(file))
    contents = {name: work.texts[name] for name in sorted(work.texts)}
    _check(contents, over)
    return Combined(
        files=tuple(
            Source(name, tuple(work.of[name]), work.how.get(name, "alone")) for name in contents
        ),
        differing=tuple(work.differing),
        renamed=tuple(work.renamed),
        notes=tuple(_left(folders)),
        contents=contents,
    )


def _files(path: Path) -> dict[str, Path]:
    """The files of a catalogue by their path in it, as its reader finds them."""
    out = {}
    if (path / f"{KERNELS}.yaml").is_file():
        out[f"{KERNELS}.yaml"] = path / f"{KERNELS}.yaml"
    for kind in FOLDERS:
        for file in sorted((path / kind).glob("*.yaml")):
            if not file.name.startswith("."):
                out[f"{kind}/{file.name}"] = file
    return out


def _left(folders: Sequence[Path]) -> list[str]:
    """What else lies in the folders, which no catalogue has a place for."""
    out = []
    for path in folders:
        names = sorted(e.name for e in path.iterdir() if not e.name.startswith((".", "_")))
        other = [n for n in names if n not in FOLDERS and n != f"{KERNELS}.yaml"]
        if other:
            out.append(f"{path}: {', '.join(other)} not taken")
    return out


def _check(contents: Mapping[str, bytes], over: Sequence[Path]) -> None:
    """Read the merged catalogue back as whoever gets it will.

    Raises
    ------
    FaultError
        With the faults that come from what the catalogues are together.
    """
    with tempfile.TemporaryDirectory() as made:
        for name, data in contents.items():
            (Path(made) / name).parent.mkdir(exist_ok=True)
            (Path(made) / name).write_bytes(data)
        try:
            load_catalogue([*over, Path(made)])
        except FaultError as error:
            raise FaultError(_in_merged(fault, made) for fault in error.faults) from None


def _in_merged(fault: Fault, made: str) -> Fault:
    place = fault.place
    if place is not None:
        place = replace(place, file=place.file.replace(made, "merged"))
    return replace(fault, path=fault.path.replace(made, "merged"), place=place)


class _Work:
    """The merged files as they grow, one catalogue after the other."""

    def __init__(self) -> None:
        self.texts: dict[str, bytes] = {}
        self.of: dict[str, list[str]] = {}
        self.how: dict[str, str] = {}
        self.differing: list[Differing] = []
        self.renamed: list[Renamed] = []
        self.added: dict[tuple[str, tuple[str, ...]], str] = {}

    def take(self, name: str, data: bytes, catalogue: str, file: str) -> None:
        """Add a file of a catalogue."""
        if name not in self.texts:
            self.texts[name], self.of[name] = data, [catalogue]
            return
        self.of[name].append(catalogue)
        if self.texts[name] == data:
            self.how.setdefault(name, "same")
            return
        self.how[name] = "joined"
        kind, _, inside = name.rpartition("/")
        identity = inside.removesuffix(".yaml")
        before = self.texts[name].decode("utf-8-sig")
        first, second = read_text(before, name), read_text(data, file)
        found = joined(first, second, _KINDS[kind] if kind else _KERNELS, identity)
        for (section, old), new in found.renamed.items():
            self.renamed.append(
                Renamed(
                    document=identity, section=section, before=old, after=new, catalogue=catalogue
                )
            )
        after = placed(before, name, found.tree)
        outcomes: dict[tuple[str, ...], str] = {}
        kept: dict[tuple[str, ...], str] = {}
        if kind == "parts":
            after, outcomes, kept = self._boards(name, first, second, after, found, catalogue)
        for one in found.disagreements:
            keys = one.path.keys
            self.differing.append(
                Differing(
                    path=str(one.path),
                    kept=kept.get(keys, one.kept),
                    kept_from=self._origin(name, keys) if one.kept else "",
                    kept_evidence=one.kept_evidence,
                    other=one.other,
                    other_from=catalogue,
                    other_evidence=one.other_evidence,
                    difference=one.difference,
                    outcome=outcomes.get(keys) or _outcome(one),
                )
            )
        self._note(name, found.tree, (), catalogue)
        self.texts[name] = after.encode()

    def _note(self, name: str, tree: Any, keys: tuple[str, ...], catalogue: str) -> None:
        for key, value in tree.items():
            self.added[name, (*keys, key)] = catalogue
            if isinstance(value, Mapping):
                self._note(name, value, (*keys, key), catalogue)

    def _origin(self, name: str, keys: tuple[str, ...]) -> str:
        """The catalogue that what stands at keys came from."""
        found = self.added.get((name, keys))
        return self.of[name][0] if found is None else found

    def _boards(
        self,
        name: str,
        first: Document,
        second: Document,
        after: str,
        found: Joined,
        catalogue: str,
    ) -> tuple[str, dict[tuple[str, ...], str], dict[tuple[str, ...], str]]:
        """The part with its observations: figures of boards merged anew, and benches' figures that
        disagree kept as observations of boards that nobody named.

        Returns the text, and by keys the outcomes and what stands there now.
        """
        outcomes: dict[tuple[str, ...], str] = {}
        kept: dict[tuple[str, ...], str] = {}
        tree: dict[str, Any] = {}
        for one in found.disagreements:
            if not _observable(one):
                continue
            both = [
                (first, self._origin(name, one.path.keys), one.kept_evidence),
                (second, catalogue, one.other_evidence),
            ]
            if all(_is_bench(root, of) for root, _, of in both):
                for document, of, evidence in both:
                    value = _value(document, one.path.keys)
                    boards = [get(d.root, "boards") for d in (first, second)]
                    if not any(_kept(b, one.path.keys, value, evidence) for b in boards):
                        _observe(tree, document, one.path.keys, of, str(evidence))
                outcomes[one.path.keys] = "first kept, both kept as observations"
        if tree:
            after = placed(after, name, {"boards": _free(tree, get(first.root, "boards"))})
        if "boards" not in found.tree:
            return after, outcomes, kept
        part = _part(after, name)
        again = _anew(part, set(found.tree["boards"]))
        if again:
            after = placed(after, name, _remerged(part, again))
            for figure, keys in again.values():
                count = f"{len(figure.boards)} board{'s' if len(figure.boards) > 1 else ''}"
                outcomes[keys] = f"merged anew from {count}"
                kept[keys] = merging.text_of(figure)
        return after, outcomes, kept


def _outcome(one: Disagreement) -> str:
    if one.why is None:
        return "first kept"
    return f"not taken: {one.why}" if not one.kept else f"first kept: {one.why}"


def _observable(one: Disagreement) -> bool:
    """Whether both figures of a disagreement can be observations: none is merged from such."""
    return (
        one.why is None
        and any(pattern.fullmatch("\0".join(one.path.keys)) for pattern in _OBSERVED)
        and not any(
            MERGED.fullmatch(e or "boards") for e in (one.kept_evidence, one.other_evidence)
        )
    )


def _is_bench(document: Document, evidence: str | None) -> bool:
    kind = get(document.root, "evidence", evidence or "", "kind")
    return kind is not None and kind.value == "bench"


def _observe(
    tree: dict[str, Any], document: Document, keys: tuple[str, ...], of: str, evidence: str
) -> None:
    """Put a figure into the observation of its catalogue and evidence."""
    name = os.path.basename(os.path.realpath(of))
    own = re.sub("[^a-z0-9]+", "-", name.lower()).strip("-") or "catalogue"
    observation = tree.setdefault(f"{own}-{evidence}", {})
    observation.setdefault("board", quoted(f"not told, of {name}"))
    date = get(document.root, "evidence", evidence, "date")
    if date is not None:
        observation.setdefault("date", text(date))
    observation.setdefault("evidence", evidence)
    below = observation
    for key in keys[:-1]:
        below = below.setdefault(key, {})
    supply = get(document.root, *keys[: 3 if keys[0] == "kernels" else 2], "supply")
    below[keys[-1]] = text(_value(document, keys))
    if supply is not None and keys[0] != "sleep-states":
        below["supply"] = text(supply)


def _value(document: Document, keys: tuple[str, ...]) -> Any:
    """What stands at keys; an entry of a curve's, perhaps in another spelling of its place."""
    found = get(document.root, *keys)
    if found is not None:
        return found
    wanted = read_quantity(keys[-1], "temperature").nominal
    curve: Any = get(document.root, *keys[:-1])
    places = {read_quantity(k.value, "temperature").nominal: v for k, v in curve.value}
    return next(v for x, v in places.items() if math.isclose(x, wanted, rel_tol=1e-9))


def _kept(boards: Any, keys: tuple[str, ...], value: Any, evidence: str | None) -> bool:
    """Whether an observation holds a figure already, as from an earlier merge."""
    for _, observation in getattr(boards, "value", ()):
        told, stands = get(observation, "evidence"), get(observation, *keys)
        same = told is not None and told.value == evidence
        if same and stands is not None and plain_node(stands) == plain_node(value):
            return True
    return False


def _free(tree: dict[str, Any], boards: Any) -> dict[str, Any]:
    """Observations under ids that no other has."""
    taken = {key.value for key, _ in getattr(boards, "value", ())}
    out = {}
    for name, value in tree.items():
        new, number = name, 2
        while new in taken:
            new, number = f"{name}-{number}", number + 1
        out[new] = value
    return out


def _part(after: str, name: str) -> Part:
    identity = Path(name).stem
    log = FaultLog()
    reading = Reading(name, identity, log)
    part: Part = read_record(Part, read_text(after, name).root, "", reading)
    log.raise_if_any()
    return part


_Anew = dict[str, tuple[merging.MergedFigure, tuple[str, ...]]]


def _anew(part: Part, boards: set[str]) -> _Anew:
    """The figures merged from observations of which the named ones are new, with their keys."""
    sessions = merging.sessions_of(part)
    new = {path for name in boards if name in sessions for path in sessions[name].seen}
    out: _Anew = {}
    for one in merging.merge(sessions) if new else ():
        keys = _keys(part, one.path)
        if one.path in new and keys is not None and _told(part, keys) == _id(one):
            out[one.path] = one, keys
    return out


def _id(one: merging.MergedFigure) -> str:
    return merging.evidence_id(one.path)


def _keys(part: Part, path: str) -> tuple[str, ...] | None:
    """The keys in the part's file of a merged figure; None where it has no place there."""
    keys = path.split(".")
    if keys[0] == "kernels":
        stands = keys[2] in part.kernels.get(keys[1], {})
    elif keys[0] == "operating-points":
        stands = keys[1] in part.operating_points
    else:
        state = part.sleep_states.get(keys[1])
        stands = state is not None
        if state is not None and keys[2] == "current":
            curve, place = state.current, ".".join(keys[3:])
            keys = keys[:3]
            if curve is not None and curve.keys:
                named = {f"{x:g} degC": key for x, key in zip(curve.x, curve.keys, strict=True)}
                stands = place in named
                keys.append(named.get(place, ""))
    return tuple(keys) if stands else None


def _told(part: Part, keys: tuple[str, ...]) -> str | None:
    """The evidence that a figure of the part names."""
    if keys[0] == "kernels":
        return evidence_of(part.kernels[keys[1]][keys[2]], keys[3])
    if keys[0] == "operating-points":
        return evidence_of(part.operating_points[keys[1]], keys[2])
    return evidence_of(part.sleep_states[keys[1]], keys[-1])


def _remerged(part: Part, again: _Anew) -> dict[str, Any]:
    """What goes into the part: the figures, the voltages of kernels and points, the evidence."""
    sessions = merging.sessions_of(part)
    volts = merging.merged_volts(sessions)
    tree: dict[str, Any] = {}
    for path, (one, keys) in again.items():
        below = tree
        for key in keys[:-1]:
            below = below.setdefault(key, {})
        below[keys[-1]] = merging.text_of(one)
        supply = volts.get(path.rpartition(".")[0] + ".supply")
        if supply is not None and keys[0] != "sleep-states":
            below["supply"] = supply.text
    ids = {_id(one) for one, _ in again.values()}
    told = []
    for one in merging.merge(sessions):
        keys_of = _keys(part, one.path)
        if _id(one) in ids and keys_of is not None and _told(part, keys_of) == _id(one):
            told.append(one)
    tree["evidence"] = merging.evidence(sessions, tuple(told))
    return tree
