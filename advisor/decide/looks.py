"""The looks that levers begin with, over their places, in passes that several have in common."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.decide.builds import Build
from advisor.decide.leading import Deciding
from advisor.decide.line import Line, first_looks
from advisor.decide.scans import COARSE
from advisor.decide.value import Criterion
from advisor.model.draws import Array, Case


def scanned_together(lines: Sequence[Line], places: Sequence[Array]) -> None:
    """The looks of levers that move the same builds, over places (N,) SI each, in common passes:
    the first ones, then those between them."""
    deciding = lines[0].deciding
    first = [
        at[first_looks(at, line.lever.now or 0.0)] for line, at in zip(lines, places, strict=True)
    ]
    _looked(lines, first, lines[0].carried)
    told = [n for n, line in enumerate(lines) if not line.untold and len(places[n])]
    further = {n: lines[n].further_looks(places[n]) for n in told}
    further = {n: one for n, one in further.items() if one[0].size and one[1]}
    if further:
        known = {build for _, some in further.values() for build in some}
        builds = [build for build in deciding.carried if build in known]
        _looked([lines[n] for n in further], [at for at, _ in further.values()], builds)


def _looked(lines: Sequence[Line], each: Sequence[Array], builds: Sequence[Build]) -> None:
    """Builds over places (N,) SI of each of several levers by few draws, those of levers that move
    nothing but money in one pass, the others in another."""
    deciding = lines[0].deciding
    pairs = list(zip(lines, each, strict=True))
    for money in (True, False):
        some = [(line, at) for line, at in pairs if deciding.of_money(line.lever) == money]
        if not some:
            continue
        cases: list[Case] = [(line.lever.path, x) for line, at in some for x in at.tolist()]
        draws = min(COARSE, deciding.base.draws)
        points = np.empty((len(builds), 0))
        if cases:
            points = deciding.scan_cases(builds, _weighed(deciding, some), cases, draws, money)
        ends = np.cumsum([len(at) for _, at in some])[:-1]
        for (line, at), raw in zip(some, np.split(points, ends, axis=1), strict=True):
            if line.lever.path in deciding.drawn:
                line.take_over(at, builds, raw)
            elif not deciding.weighs(line.lever):
                line.untold = True


def _weighed(
    deciding: Deciding, some: Sequence[tuple[Line, Array]]
) -> Sequence[Sequence[Criterion]]:
    """The criteria at places of levers one behind the other, or one set for all."""
    weighed: list[Sequence[Criterion]] = []
    for line, at in some:
        found = deciding.criteria(line.lever, at) if len(at) else []
        weighed += found if len(found) == len(at) else list(found) * len(at)
    same = all(one == deciding.base.criteria for one in weighed)
    return [deciding.base.criteria] if same else weighed
