"""How firm a ranking is: ranks over the draws, regret, dominance, and a verdict in a word.

Rank acceptability is that of SMAA-2 (Lahdelma & Salminen, Operations Research 49 (2001) 444-454):
the share of the draws, of figures and of weights, in which a part has a rank.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from advisor.dataclass import dataclass
from advisor.decide.could_lead import could_lead
from advisor.decide.drawing import draw_anew
from advisor.decide.evaluate import Evaluation
from advisor.decide.luck import Lead, lead
from advisor.decide.ranks import DIGITS, first_place
from advisor.decide.value import Criterion
from advisor.model.draws import Array

SETTLED, LEANING = 0.9, 0.6
SHOWN = 0.005  # of a share that a text tells
AHEAD = 0.05  # points of a lead, or of luck, that a text tells
APART = 0.5  # how surely a part stands apart that is said to
TOLD = 200  # draws from which a share that would lean is surely beyond a toss
LEVEL = 3  # parts level with the first that are named
MORE = "in more once the luck in all scores is taken off"
CLOSELY = "in more once luck is taken off, as it speaks for rivals whose scores are less sure"
BEFORE = "more in truth, as it stands apart from rivals that are near equal"
SURE = 0.99  # chance from which on it is not asked whose figures luck is in
AGAIN = 512  # draws by which that is told
SAME = 1e-12  # of 1: utilities that differ by less are equal
AGREE = 10  # parts whose order is compared with that of the draws


@dataclass(frozen=True, slots=True)
class Verdict:
    """`settled`, `leaning` or `open`, with the rule by which it is so."""

    word: str
    """`settled` where the first part is the best with a chance of 90 % and nobody else could lead,
    `leaning` from 60 %, else `open`, as is what rests on so few draws that a toss might do as
    well"""
    text: str
    """the same with its figures"""
    chance: float
    """[share] chance of the first part being the best in truth: less than its share of the draws
    where many near-equal parts compete or the draws are few, more where luck speaks for its rivals
    rather than for it, as where their scores are less sure or it stands apart from rivals that are
    near equal; luck is in parts' own figures alone"""
    expected_disappointment: float
    """[points] by which its score is expected to come out below the one told, as the first of many
    is partly first by luck"""
    could_lead: tuple[str, ...]
    """who could lead and is not compared as it stands: parts set aside for one figure, parts that
    lack only what a companion chip brings, parts that rest on estimates; looked for where the draws
    alone would settle it"""


def verdict(
    parts: Sequence[str],
    chances: Array,
    regrets: Array,
    kept: Lead,
    told: float,
    draws: int,
    others: Callable[[], tuple[str, ...]] = tuple,
    level: Sequence[str] = (),
    raised: str = MORE,
) -> Verdict:
    """The verdict on the part of the greatest expected score.

    Parameters
    ----------
    parts : ids in the order of the ranking. chances : (P,) share of the draws in which each leads.
    regrets : (P,) expected regret, points. kept : what is left of the first part's lead without
        luck. told : its expected score. draws : how many. others : says who else could lead; asked
        where the draws would settle it. level : parts whose expected scores are no lower, as texts
        tell them. raised : what is said of a chance above the share of the draws.
    """
    chance, regret = succession(kept.chance, draws), float(regrets[0])
    share, fall = float(chances[0]), told - kept.score
    word = "settled" if chance >= SETTLED else "leaning" if chance >= LEANING else "open"
    if not beyond_a_toss(kept.chance, draws):
        word = "open"
    could = others() if word == "settled" else ()
    word = "leaning" if could else word
    text = f"{word}: {parts[0]} is the best with a chance of {_near_one(chance)}; "
    if level:
        text += f"{_listed(level)} {'is' if len(level) == 1 else 'are'} level with it; "
    if kept.chance < share - SHOWN:
        text += (
            f"it leads in {100 * share:.0f} % of the draws, but the first of {len(parts)} is "
            "partly first by luck; "
        )
    elif kept.chance > share + SHOWN:
        text += f"it leads in {100 * share:.0f} % of the draws, and {raised}; "
    ahead = int(np.argmax(chances))
    if chances[ahead] > share + SHOWN:
        text += (
            f"{parts[ahead]} leads in {100 * chances[ahead]:.0f} % of the draws, by no more in all "
            "than it is behind in the others; "
        )
    if chance < kept.chance - SHOWN:
        text += f"more cannot be said from {draws} draw{'' if draws == 1 else 's'}; "
    if could:
        text += f"not settled, as {'; '.join(could)}; "
    if fall >= AHEAD:
        text += f"expect its own score to be {fall:.2f} points lower, by the luck of the first; "
    text += f"choosing it gives away {regret:.2f} points on average, the least of all"
    return Verdict(
        word=word, text=text, chance=chance, expected_disappointment=fall, could_lead=could
    )


def what_raises(scores: Array, chances: Array, kept: Lead) -> str:
    """What is said of the first part's chance where it is above its share of the draws.

    That it stands apart only where luck is taken to leave it out, every lead is told and more than
    its own spread, and nobody leads in more draws; that rivals' scores are less sure only where
    theirs spread more, each rival counted by its share of the draws.

    Parameters
    ----------
    scores : (P, N) in the order of the ranking. chances : (P,) share of the draws in which each
    leads. kept : what is left of the first part's lead without luck.
    """
    ahead = scores[0] - scores[1:]
    told = bool((ahead.mean(axis=1) >= np.maximum(AHEAD, ahead.std(axis=1))).all())
    if kept.apart > APART and told and chances[0] >= chances.max():
        return BEFORE
    spread, rivals = scores.std(axis=1), float(chances[1:].sum())
    return CLOSELY if spread[0] * rivals < float(chances[1:] @ spread[1:]) else MORE


def _listed(parts: Sequence[str]) -> str:
    """The first of some parts by name, and how many more."""
    told = list(parts[:LEVEL])
    if len(parts) > LEVEL:
        told.append(f"{len(parts) - LEVEL} more")
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def _near_one(chance: float) -> str:
    """A chance in whole per cent; what is not sure is not told as such."""
    return "more than 99 %" if 0.99 < chance < 1 else f"{100 * chance:.0f} %"


def succession(share: float, draws: int) -> float:
    """The chance that a share of so many draws speaks for: few draws that agree are no proof.

    Laplace's rule of succession (Essai philosophique sur les probabilites, 1814; from memory):
    after s of n, (s + 1)/(n + 2), the chance itself being anything beforehand.
    """
    return (share * draws + 1) / (draws + 2)


def beyond_a_toss(share: float, draws: int) -> bool:
    """Whether a share of so many draws speaks for a chance above a half, by Laplace's rule.

    The chance p being anything beforehand, after s of n it is above a half with a probability of

        P(p > 1/2) = sum over k <= s of (n + 1 over k) / 2^(n + 1),

    asked to be what settles a verdict, 90 %: of one draw it is 75 %, of two that agree 87.5 %, of
    three 93.75 %. Where a share would lean, it is beyond that from `TOLD` draws on.
    """
    if draws >= TOLD:
        return share > 0.5
    agree = math.floor(share * draws + 1e-9)
    ways = sum(math.comb(draws + 1, k) for k in range(agree + 1))
    return ways >= SETTLED * (1 << (draws + 1))


def rank_acceptability(scores: Array) -> Array:
    """Share of the draws in which each part has each rank, ties split evenly over their ranks.

    Parameters
    ----------
    scores : (P, N).

    Returns
    -------
    (P, P), part by rank; rows and columns sum to 1.
    """
    parts, draws = scores.shape
    rounded = np.round(scores, DIGITS)
    order = np.argsort(-rounded, axis=0, kind="stable")
    ordered = np.take_along_axis(rounded, order, axis=0)
    place = np.arange(parts)[:, None]
    begins = np.ones(ordered.shape, dtype=bool)
    begins[1:] = ordered[1:] != ordered[:-1]
    start = np.maximum.accumulate(np.where(begins, place, 0), axis=0)
    ends = np.ones(ordered.shape, dtype=bool)
    ends[:-1] = begins[1:]
    stop = np.minimum.accumulate(np.where(ends, place, parts)[::-1], axis=0)[::-1] + 1
    # a tie over ranks start..stop gives each of them an equal share: rise at one end, fall at the
    # other, and sum along the ranks
    share = 1.0 / (stop - start)
    change = np.zeros((parts, parts + 1))
    np.add.at(change, (order, start), share)
    np.add.at(change, (order, stop), -share)
    return np.asarray(np.clip(np.cumsum(change, axis=1)[:, :-1] / draws, 0.0, 1.0))


def expected_regret(scores: Array) -> Array:
    """Points that choosing a part gives away on average against the best of each draw, (P,)."""
    return np.asarray((scores.max(axis=0) - scores).mean(axis=1))


def order_agreement(scores: Array, told: Array) -> float | None:
    """Mean over the draws of Kendall's tau-b between the order of a draw and the one told.

    1 where every draw has that order, 0 where draws know nothing of it (M. G. Kendall,
    "The treatment of ties in ranking problems", Biometrika 33 (1945) 239-251).

    Parameters
    ----------
    scores : (P, N). told : (P,) by which parts are ordered.

    Returns
    -------
    None where fewer than two parts differ, as told or in every draw.
    """
    i, j = np.triu_indices(len(told), 1)
    if not len(i):
        return None
    known = np.sign(np.round(told[i], DIGITS) - np.round(told[j], DIGITS))
    rounded = np.round(scores, DIGITS)
    drawn = np.sign(rounded[i] - rounded[j])
    size = np.sqrt(np.abs(known).sum() * np.abs(drawn).sum(axis=0))
    if not (size > 0).any():
        return None
    tau = (known @ drawn)[size > 0] / size[size > 0]
    return float(tau.mean())


def dominators(
    criteria: Sequence[Criterion], values: Array, worth: Array | None = None
) -> list[tuple[int, ...]]:
    """Who dominates each part: at least as good by every criterion and better by one.

    Parameters
    ----------
    values : (C, P) in the order of `criteria`, at the stated values; good is where a criterion's
        good anchor lies. worth : (C, P) expected utilities by which parts are ranked: one that is
        expected to be worth less by a criterion does not dominate by its stated values.

    Returns
    -------
    For each part the indices of the parts that dominate it; those with none are the Pareto front.
    """
    ways = np.array([np.sign(c.good - c.poor) for c in criteria])
    better = ways[:, None] * values
    out = []
    for p in range(values.shape[1]):
        mine = better[:, p][:, None]
        over = (better >= mine).all(axis=0) & (better > mine).any(axis=0)
        if worth is not None:
            over &= (worth >= worth[:, p][:, None] - SAME).all(axis=0)
        out.append(tuple(int(i) for i in np.nonzero(over)[0]))
    return out


@dataclass(frozen=True, slots=True)
class Firmness:
    """How firm an evaluation's ranking is, part by part in its order; None without draws."""

    first: Array | None
    ranks: Array | None
    regret: Array | None
    dominated_by: tuple[tuple[str, ...], ...]
    verdict: Verdict | None
    agreement: float | None = None


def _kept(evaluation: Evaluation, scores: Array, share: float) -> Lead:
    """What is left of the first part's lead without the luck in parts' own figures: what two draws
    of these tell apart where all else is drawn alike."""
    every = lead(scores, 0, share)
    if min(share, every.chance) >= SURE and scores[0].mean() - every.score < AHEAD:
        return every  # more luck than there is takes nothing of it that is told
    again = draw_anew(
        evaluation.catalogue,
        evaluation.product,
        [c.best for c in evaluation.candidates],
        evaluation.criteria,
        min(evaluation.draws, AGAIN),
        evaluation.seed,
        evaluation.stated.marches,
    )
    other = np.stack([one.score for one in again])
    apart = (scores[:, : other.shape[1]] - other) / np.sqrt(2.0)
    return lead(scores, 0, share, apart @ apart.T / apart.shape[1])


def firmness(evaluation: Evaluation) -> Firmness:
    """Ranks over the draws, regret, dominance and the verdict."""
    if not evaluation.candidates:
        return Firmness(first=None, ranks=None, regret=None, dominated_by=(), verdict=None)
    names = [c.part.part for c in evaluation.candidates]
    values = np.stack(
        [c.best.assessed.values[:, c.best.row, 0] for c in evaluation.candidates], axis=1
    )
    worth = np.stack([c.worth for c in evaluation.candidates], axis=1)
    over = dominators(evaluation.criteria, values, worth)
    dominated = tuple(tuple(names[i] for i in who) for who in over)
    if not evaluation.draws:
        return Firmness(first=None, ranks=None, regret=None, dominated_by=dominated, verdict=None)
    scores = evaluation.scores()
    first, regret = first_place(scores), expected_regret(scores)
    kept, best = _kept(evaluation, scores, float(first[0])), evaluation.candidates[0].score
    found = verdict(
        names,
        first,
        regret,
        kept,
        best,
        evaluation.draws,
        lambda: could_lead(evaluation, first),
        [c.part.part for c in evaluation.candidates[1:] if best - c.score < AHEAD],
        what_raises(scores, first, kept),
    )
    # who is far down the list is nobody's question, and pairs grow with the square
    top = scores[:AGREE]
    told = np.array([c.score for c in evaluation.candidates[:AGREE]])
    agreement = order_agreement(top, told)
    return Firmness(
        first=first,
        ranks=rank_acceptability(scores),
        regret=regret,
        dominated_by=dominated,
        verdict=found,
        agreement=agreement,
    )
