"""Cached against uncached: the same answer from a cold, a warm, a stale and a damaged cache."""

from __future__ import annotations

import random

from tests.fuzz import arguments, texts
from tests.fuzz.files import calls, place
from tests.fuzz.oracle import CACHE, Bench, Said


def case(rng: random.Random, bench: Bench) -> None:
    """One case: a call three times, its cache and its files changed in between."""
    product, folders = place(rng, bench)
    given = calls(rng, product)
    if "-o" in given or given[0] in ("distil", "decide"):
        given = ["shortlist", product, "--draws", "0", "--format", "json"]
    given += folders
    if rng.random() < 0.4:
        given += ["--set", arguments.change(rng, bench.base)]
    plain = bench.call(*given)
    _same(bench, given, plain, bench.call(*given, cached=True), "cold")
    _same(bench, given, plain, bench.call(*given, cached=True), "warm")
    entries = [p for p in sorted((bench.folder / CACHE).rglob("*")) if p.is_file()]
    way = rng.randrange(3)
    if way == 0 and entries:
        path = rng.choice(entries)
        path.write_bytes(texts.damaged(rng, path.read_bytes()))
        _same(bench, given, plain, bench.call(*given, cached=True), "damaged")
    elif way == 1:
        files = sorted(p for p in (bench.folder / "mine").rglob("*.yaml"))
        for path in files[:1]:
            data = path.read_bytes()
            path.write_bytes(data.replace(b"1", b"2", 1))
        plain = bench.call(*given)
        _same(bench, given, plain, bench.call(*given, cached=True), "stale")
    else:
        other = [*given, "--set", arguments.change(rng, bench.base)]
        plain = bench.call(*other)
        _same(bench, other, plain, bench.call(*other, cached=True), "of other changes")


def _same(bench: Bench, given: list[str], plain: Said, cached: Said, which: str) -> None:
    if plain != cached:
        bench.fail(
            f"another answer from a cache that is {which}: {plain.code} and {cached.code}\n"
            f"  call: {given}\n  {plain.err[-300:]!r}\n  {cached.err[-300:]!r}"
        )
