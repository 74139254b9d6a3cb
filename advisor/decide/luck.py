"""How much of a lead is luck: the first of many near-equal parts is partly first by chance.

The draws say how far each score may be off, not that the greatest of many scores errs upward more
often than not (the optimizer's curse: Smith & Winkler, Management Science 52 (2006) 311-322). What
parts score in truth has a spread of its own. With m the mean scores, S the covariance of their
draws and true scores of a common mean and deviation tau,

    m = t + e,   e ~ N(0, S),   t ~ N(mu 1, tau^2 I),

the truth given m is drawn toward the common mean by tau^2/(tau^2 + lambda) along each eigenvector
of S (empirical Bayes: Efron & Morris, JASA 70 (1975) 311-319), freed first of what all parts share,
which moves no rank. tau is averaged over, every share tau^2/(tau^2 + s^2) as likely beforehand as
another, s the deviation of the errors (the uniform shrinkage prior: Daniels, Canadian Journal of
Statistics 27 (1999) 567-578). Not every part need belong: some far below, or a leader that stands
apart, may have scores anywhere on the scale of 0 to 100, and the evidence tells which.
"""

from __future__ import annotations

from math import lgamma, log
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from advisor.dataclass import dataclass
from advisor.model.draws import Array

MOST = 60  # parts of the greatest mean scores that are taken to compete
STEPS = 16  # values of tau
SCALE = 100.0  # points over which the score of a part that stands apart may lie
APART = 0.3  # odds before any evidence that the leader stands apart
LEAST = 0.005  # weights below this are left out
NORMALS = 2000


@dataclass(frozen=True, slots=True)
class Lead:
    """What a lead keeps: the chance of being the best in truth, and the mean score expected."""

    chance: float
    score: float


def lead(scores: Array, first: int, share: float) -> Lead:
    """What is left of a part's lead once luck is taken off.

    Parameters
    ----------
    scores : (P, N) draws, points. first : the part. share : of the draws in which it leads.

    Returns
    -------
    The chance is `share`, moved on the scale of the normal's quantiles by what shrinkage moves it
    where all scores are normal, as draws need not be. It rises above `share` only where a leader
    stands apart from rivals that are near equal, and only for the part of the greatest mean.
    """
    mean = scores.mean(axis=1)
    keep = np.argsort(-mean, kind="stable")[:MOST]
    if first not in keep:
        keep = np.append(keep[:-1], first)
    own = int(np.nonzero(keep == first)[0][0])
    m = mean[keep]
    if len(m) < 2 or scores.shape[1] < 2:
        return Lead(share, float(mean[first]))
    covariance = np.cov(scores[keep])
    values, vectors = np.linalg.eigh(covariance)
    if values[-1] <= 1e-18:
        return Lead(share, float(mean[first]))
    # the same normals in every run: only differences between two chances are read off them
    normals = np.random.Generator(np.random.Philox(key=1)).standard_normal((len(m), NORMALS))
    errors = (vectors * np.sqrt(np.maximum(values, 0.0))) @ normals
    flat = m[:, None] + errors
    before = _leads(flat, own)
    after = weight = fall = 0.0
    for likely, members in _groups(m, covariance):
        for each, shift, moved in _shrunk(m, covariance, errors, members):
            if likely * each < LEAST:
                continue
            there = flat.copy()
            there[members] += moved
            after += likely * each * _leads(there, own)
            fall += likely * each * float(shift[members == own].sum())
            weight += likely * each
    moved_by = _quantile(after / weight) - _quantile(before)
    if own != int(m.argmax()):
        moved_by = min(moved_by, 0.0)
    chance = share if moved_by == 0 else NormalDist().cdf(_quantile(share) + moved_by)
    return Lead(chance, float(mean[first]) + fall / weight)


def _leads(scores: Array, own: int) -> float:
    return float((scores.argmax(axis=0) == own).mean())


def _quantile(chance: float) -> float:
    edge = 0.5 / NORMALS
    return NormalDist().inv_cdf(min(max(chance, edge), 1 - edge))


def _taus(deviation: float) -> Array:
    """Equally likely values of tau, the shares kept of an error's variance being uniform."""
    u = (np.arange(STEPS) + 0.5) / STEPS
    return np.asarray(deviation * np.sqrt(u / (1 - u)))


def _groups(m: Array, covariance: Array) -> list[tuple[float, NDArray[np.intp]]]:
    """(probability, members) of the likeliest group of a common spread, with and without leader.

    Members are neighbours in the order of the means. For this choice errors count as independent,
    once freed of what all share.
    """
    parts = len(m)
    order = np.argsort(-m, kind="stable")
    centring = np.eye(parts) - 1 / parts
    noise = np.diag(centring @ covariance @ centring)[order] * parts / (parts - 1)
    noise = np.maximum(noise, 1e-12 * noise.max())
    ordered = m[order] - m.mean()
    found = []
    for apart in (0, 1) if parts > 3 else (0,):
        size = np.arange(1, parts - apart + 1)
        variance = _taus(float(np.sqrt(noise.mean())))[:, None] ** 2 + noise[apart:]
        w = 1 / variance
        total, first = np.cumsum(w, axis=1), np.cumsum(w * ordered[apart:], axis=1)
        square = np.cumsum(w * ordered[apart:] ** 2, axis=1) - first**2 / total
        # the common mean is anywhere on the scale
        like = -0.5 * (np.cumsum(np.log(2 * np.pi * variance), axis=1) + square)
        like += 0.5 * np.log(2 * np.pi / total) - log(SCALE)
        top = like.max(axis=0)
        evidence = top + np.log(np.exp(like - top).mean(axis=0)) - (parts - size) * log(SCALE)
        # each share of outsiders below is as likely as another, and which they are open
        below = parts - apart
        ways = [lgamma(below + 1) - lgamma(n + 1) - lgamma(below - n + 1) for n in size]
        evidence -= np.array(ways) + log(below + 1) - apart * log(APART)
        evidence[0] = -np.inf  # one part has no spread
        best = int(evidence.argmax())
        peak = float(evidence[best])
        found.append((peak + log(float(np.exp(evidence - peak).sum())), apart, best + 1))
    top_all = max(e for e, _, _ in found)
    shares = np.exp(np.array([e for e, _, _ in found]) - top_all)
    shares /= shares.sum()
    return [
        (float(s), order[apart : apart + size])
        for s, (_, apart, size) in zip(shares, found, strict=True)
    ]


def _shrunk(
    m: Array, covariance: Array, errors: Array, members: NDArray[np.intp]
) -> list[tuple[float, Array, Array]]:
    """(probability, change of the means (G,), change of the draws (G, N)) for each tau."""
    size = len(members)
    centring = np.eye(size) - 1 / size
    within = covariance[np.ix_(members, members)]
    inner = centring @ within @ centring
    values, vectors = np.linalg.eigh(inner)
    # the least one is the direction that all share
    values, vectors = np.maximum(values[1:], 1e-12 * values[-1]), vectors[:, 1:]
    if values[-1] <= 0:
        return [(1.0, np.zeros(size), np.zeros((size, errors.shape[1])))]
    y = vectors.T @ m[members]
    taus = _taus(float(np.sqrt(values.mean())))
    variance = taus[:, None] ** 2 + values
    like = -0.5 * (np.log(variance) + y * y / variance).sum(axis=1)
    weights = np.exp(like - like.max())
    weights /= weights.sum()
    along = vectors.T @ errors[members]
    out = []
    for weight, tau in zip(weights, taus, strict=True):
        if weight < LEAST:
            continue
        kept = tau * tau / (tau * tau + values)
        shift = _fall(m[members], within, tau)
        change = vectors @ ((np.sqrt(kept) - 1)[:, None] * along)
        out.append((float(weight), shift, shift[:, None] + change))
    return out


def _fall(m: Array, errors: Array, tau: float) -> Array:
    """What the means (G,) change by when they are drawn to a common one, which is not known.

    By generalised least squares: who is measured closely hardly moves, and an error that all share
    moves none of them.
    """
    whole = errors + tau * tau * np.eye(len(m))
    # errors may all be one: the smallest of them keep the matrix regular
    whole += 1e-9 * (np.trace(whole) / len(m)) * np.eye(len(m))
    weight = np.linalg.solve(whole, np.stack([np.ones(len(m)), m], axis=1))
    middle = weight[:, 1].sum() / weight[:, 0].sum()
    return np.asarray(-errors @ (weight[:, 1] - middle * weight[:, 0]))
