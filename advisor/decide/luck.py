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
apart, may have scores anywhere on the scale of 0 to 100, and the evidence tells which. Who the
leader is errs as well: each part may be the one that stands apart by the share of normal draws in
which it is the first, so that parts that change places by a hair are judged by one rule.
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
APART = 0.3  # odds before any evidence that the leader, whoever it is, stands apart
LEAST = 0.0005  # weights below this are left out
NORMALS = 2000
# distances of the draws' distribution from that of normal ones: alike up to there, and not at all
LIKE, UNLIKE = 0.05, 0.2


@dataclass(frozen=True, slots=True)
class Lead:
    """What a lead keeps: the chance of being the best in truth, the mean score expected, and the
    probability that the part stands apart from a group of others."""

    chance: float
    score: float
    apart: float = 0.0


def lead(scores: Array, first: int, share: float, own_errors: Array | None = None) -> Lead:
    """What is left of a part's lead once luck is taken off.

    Parameters
    ----------
    scores : (P, N) draws, points. first : the part. share : of the draws in which it leads.
    own_errors : (P, P) points squared, the part of the draws' covariance that comes of the parts'
        own figures; all of it when absent.

    Returns
    -------
    The chance is `share`, moved on the scale of the normal's quantiles by what shrinkage moves it
    where all scores are normal, as far as the draws of the part's lead are like normal ones; so is
    the mean score. It rises above `share` where luck speaks for the rivals rather than for the
    part: where it stands apart from rivals that are near equal, or is measured more closely than
    they are. It is reckoned by one rule whoever is first, so that it moves with the scores where
    parts change places.
    """
    mean = scores.mean(axis=1)
    keep = np.argsort(-mean, kind="stable")[:MOST]
    if first not in keep:
        keep = np.append(keep[:-1], first)
    # normals go with parts whatever their ranks, lest a change of places brings other ones
    keep = keep[np.argsort(scores[keep].var(axis=1), kind="stable")]
    own = int(np.nonzero(keep == first)[0][0])
    m = mean[keep]
    if len(m) < 2 or scores.shape[1] < 2:
        return Lead(share, float(mean[first]))
    covariance = np.cov(scores[keep])
    shared = np.zeros_like(covariance)
    if own_errors is not None:
        shared = covariance - own_errors[np.ix_(keep, keep)]
        covariance = own_errors[np.ix_(keep, keep)]
    if np.linalg.eigvalsh(covariance)[-1] <= 1e-18:
        return Lead(share, float(mean[first]))
    # the same normals in every run: only differences between two chances are read off them
    normals = np.random.Generator(np.random.Philox(key=1)).standard_normal((2, len(m), NORMALS))
    errors = _root(covariance) @ normals[0]
    flat = m[:, None] + errors + _root(shared) @ normals[1]
    leaders = np.bincount(flat.argmax(axis=0), minlength=len(m)) / NORMALS
    after = weight = fall = apart = 0.0
    for likely, members in _groups(m, covariance, leaders):
        if likely < LEAST:
            continue
        for each, shift, moved in _shrunk(m, covariance, errors, members, likely):
            there = flat.copy()
            there[members] += moved
            after += each * _leads(there, own)
            fall += each * float(shift[members == own].sum())
            apart += each * (own not in members and bool((m[members] < m[own]).any()))
            weight += each
    moved_by = _quantile(after / weight) - _quantile(float(leaders[own]))
    # normal scores speak for nothing beyond the draws where these are not normal: of two modes,
    # say, where few draws break a limit and score nothing
    far = _distance(_ahead(scores[keep], own), _ahead(flat, own))
    alike = float(np.clip((UNLIKE - far) / (UNLIKE - LIKE), 0.0, 1.0))
    moved_by *= alike
    chance = share if moved_by == 0 else NormalDist().cdf(_quantile(share) + moved_by)
    return Lead(chance, float(mean[first]) + alike * fall / weight, apart / weight)


def _root(covariance: Array) -> Array:
    """What makes independent normals covary so, as far as anything does."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _ahead(scores: Array, own: int) -> Array:
    """By how many points a part leads in each draw, (N,)."""
    return np.asarray(scores[own] - np.delete(scores, own, axis=0).max(axis=0))


def _distance(one: Array, other: Array) -> float:
    """The greatest difference of two samples' distributions (Smirnov's)."""
    every = np.concatenate([one, other])
    shares = (np.searchsorted(np.sort(x), every, side="right") / len(x) for x in (one, other))
    first, second = shares
    return float(np.abs(first - second).max())


def _leads(scores: Array, own: int) -> float:
    return float((scores.argmax(axis=0) == own).mean())


def _quantile(chance: float) -> float:
    edge = 0.5 / NORMALS
    return NormalDist().inv_cdf(min(max(chance, edge), 1 - edge))


def _taus(deviation: float) -> Array:
    """Equally likely values of tau, the shares kept of an error's variance being uniform."""
    u = (np.arange(STEPS) + 0.5) / STEPS
    return np.asarray(deviation * np.sqrt(u / (1 - u)))


def _groups(m: Array, covariance: Array, leaders: Array) -> list[tuple[float, NDArray[np.intp]]]:
    """(probability, members) of the likeliest group of a common spread: of all, and without each
    part that may lead, by the share `leaders` (P,) of the draws in which it does.

    Members are neighbours in the order of the means. For this choice errors count as independent,
    once freed of what all share.
    """
    parts = len(m)
    order = np.argsort(-m, kind="stable")
    centring = np.eye(parts) - 1 / parts
    noise = np.diag(centring @ covariance @ centring) * parts / (parts - 1)
    noise = np.maximum(noise, 1e-12 * noise.max())
    taus = _taus(float(np.sqrt(noise.mean())))
    found = [(*_evidence(m - m.mean(), noise, order, taus), order)]
    if parts > 3:
        for one in np.nonzero(leaders)[0].tolist():
            rest = order[order != one]
            evidence, size = _evidence(m - m.mean(), noise, rest, taus)
            evidence += log(APART) + log(float(leaders[one])) - log(SCALE)
            found.append((evidence, size, rest))
    shares = np.exp(np.array([e for e, _, _ in found]) - max(e for e, _, _ in found))
    shares /= shares.sum()
    return [(float(s), rest[:size]) for s, (_, size, rest) in zip(shares, found, strict=True)]


def _evidence(m: Array, noise: Array, order: NDArray[np.intp], taus: Array) -> tuple[float, int]:
    """The logarithm of how likely the means of some parts are, the first so many of their order
    being a group and the others anywhere, and the likeliest number of them."""
    ordered, parts = m[order], len(order)
    size = np.arange(1, parts + 1)
    variance = taus[:, None] ** 2 + noise[order]
    w = 1 / variance
    total, first = np.cumsum(w, axis=1), np.cumsum(w * ordered, axis=1)
    square = np.cumsum(w * ordered**2, axis=1) - first**2 / total
    # the common mean is anywhere on the scale
    like = -0.5 * (np.cumsum(np.log(2 * np.pi * variance), axis=1) + square)
    like += 0.5 * np.log(2 * np.pi / total) - log(SCALE)
    top = like.max(axis=0)
    evidence = top + np.log(np.exp(like - top).mean(axis=0)) - (parts - size) * log(SCALE)
    # each share of outsiders below is as likely as another, and which they are open
    ways = [lgamma(parts + 1) - lgamma(n + 1) - lgamma(parts - n + 1) for n in size]
    evidence -= np.array(ways) + log(parts + 1)
    evidence[0] = -np.inf  # one part has no spread
    best = int(evidence.argmax())
    peak = float(evidence[best])
    return peak + log(float(np.exp(evidence - peak).sum())), best + 1


def _shrunk(
    m: Array, covariance: Array, errors: Array, members: NDArray[np.intp], likely: float
) -> list[tuple[float, Array, Array]]:
    """(probability, change of the means (G,), change of the draws (G, N)) for each tau of a group,
    which is `likely` itself; what is hardly so is left out."""
    size = len(members)
    centring = np.eye(size) - 1 / size
    within = covariance[np.ix_(members, members)]
    inner = centring @ within @ centring
    values, vectors = np.linalg.eigh(inner)
    # the least one is the direction that all share
    values, vectors = np.maximum(values[1:], 1e-12 * values[-1]), vectors[:, 1:]
    if values[-1] <= 0:
        return [(likely, np.zeros(size), np.zeros((size, errors.shape[1])))]
    y = vectors.T @ m[members]
    taus = _taus(float(np.sqrt(values.mean())))
    variance = taus[:, None] ** 2 + values
    like = -0.5 * (np.log(variance) + y * y / variance).sum(axis=1)
    weights = np.exp(like - like.max())
    weights *= likely / weights.sum()
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
