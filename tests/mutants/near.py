"""Which tests are near a bug, and what each costs: each test file is run once on the code as it is,
and every function of the scope that a test goes through is noted with it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from tests.mutants.plant import Bug

# Where the tests near a module may stand: by its folder, the nearest first.
FOLDERS = {
    "advisor/model": (
        "tests/ledger/test_answers.py",
        "tests/model",
        "tests/decide",
        "tests/studies/test_stand_ins.py",
    ),
    "advisor/decide": (
        "tests/ledger/test_answers.py",
        "tests/decide",
        "tests/studies/test_shortlist.py",
        "tests/studies/test_explain.py",
        "tests/studies/test_gaps.py",
        "tests/studies/test_outlook.py",
        "tests/studies/test_tipping.py",
        "tests/catalogue/test_cache.py",
    ),
    "advisor/bench": (
        "tests/ledger/test_measured.py",
        "tests/on_bench",
        "tests/studies/test_distil.py",
        "tests/studies/test_compare.py",
        "tests/studies/test_look.py",
    ),
    "advisor/lp.py": (
        "tests/test_lp.py",
        "tests/test_lp_files.py",
        "tests/test_lp_solvers.py",
        "tests/model/test_operating_plan.py",
        "tests/decide/test_weighing.py",
        "tests/ledger/test_answers.py",
    ),
}
# Test files of another name than the module's that are its own all the same.
ALSO = {
    "advisor/model/battery.py": ("test_battery_ends", "test_rechargeable", "test_sums_by_hand"),
    "advisor/model/conversion.py": ("test_rails", "test_packs"),
    "advisor/model/gating.py": ("test_rails",),
    "advisor/model/harvest.py": ("test_store", "test_limits"),
    "advisor/model/income.py": ("test_store", "test_limits"),
    "advisor/model/leaking.py": ("test_leaking_store",),
    "advisor/model/lattice.py": ("test_store", "test_bounds_by_hand"),
    "advisor/model/served.py": ("test_store", "test_limits"),
    "advisor/model/sustained.py": ("test_standing", "test_store", "test_limits"),
    "advisor/model/weather.py": ("test_store", "test_lifetimes"),
    "advisor/model/addon_set.py": ("test_companions", "test_addons_by_hand"),
    "advisor/model/asleep.py": ("test_calendar", "test_leakage", "test_tables"),
    "advisor/model/carried.py": ("test_carried", "test_calendar", "test_builds"),
    "advisor/model/outdone.py": ("test_outdone",),
    "advisor/model/waits.py": ("test_chance",),
    "advisor/model/meetings.py": ("test_bursts", "test_chance", "test_rested", "test_calendar"),
    "advisor/decide/alternatives.py": ("test_gaps",),
    "advisor/decide/draining.py": ("test_builds", "test_scan", "test_calendar"),
    "advisor/decide/awake.py": ("test_chance", "test_calendar", "test_builds"),
    "advisor/decide/chances.py": ("test_chance", "test_waits", "test_calendar"),
    "advisor/model/draws.py": ("test_propagation",),
    "advisor/model/sag.py": ("test_battery",),
    "advisor/model/ends.py": ("test_battery_ends",),
    "advisor/model/reach.py": ("test_plan",),
    "advisor/model/fed_rows.py": ("test_plan",),
    "advisor/model/cheapest.py": ("test_cheapest", "test_plan", "test_operating_plan"),
    "advisor/model/relaxation.py": ("test_reservoir",),
    "advisor/model/reservoir.py": ("test_reservoir_waits", "test_rounds"),
    "advisor/model/rounds.py": ("test_rounds", "test_bursts"),
    "advisor/model/standing.py": ("test_standing", "test_store"),
    "advisor/model/store_chain.py": (
        "test_store",
        "test_long_run",
        "test_leaking_store",
        "test_standing",
    ),
    "advisor/model/store_load.py": ("test_store", "test_leaking_store"),
    "advisor/model/two_wells.py": ("test_battery", "test_battery_ends"),
    "advisor/model/wear.py": ("test_ageing", "test_rechargeable", "test_recharged"),
    "advisor/model/work.py": ("test_stand_ins", "test_tables"),
    "advisor/model/steady_state.py": ("test_reservoir", "test_reservoir_waits"),
    "advisor/decide/refused.py": ("test_tips", "test_closing"),
    "advisor/decide/family.py": ("test_family_model", "test_family_beside"),
    "advisor/decide/family_search.py": ("test_family_model", "test_family_beside"),
    "advisor/decide/family_swaps.py": ("test_family_model", "test_family_beside"),
    "advisor/decide/family_plans.py": ("test_family_model", "test_family_beside"),
    "advisor/decide/family_supply.py": ("test_joint",),
    "advisor/decide/conflicts.py": ("test_family_beside",),
    "advisor/decide/lacking.py": ("test_evaluate", "test_companions"),
    "advisor/decide/sides.py": ("test_builds", "test_companions"),
    "advisor/decide/fronts.py": ("test_choosing", "test_weighing", "test_unknown_weights"),
    "advisor/decide/clipping.py": ("test_cautions", "test_verdict", "test_line"),
    "advisor/decide/could_lead.py": ("test_verdict", "test_sums_by_hand"),
    "advisor/decide/entrants.py": ("test_evaluate", "test_companions", "test_verdict"),
    "advisor/decide/hopes.py": ("test_verdict", "test_sums_by_hand"),
    "advisor/decide/stated.py": ("test_evaluate", "test_verdict", "test_companions"),
    "advisor/decide/feed_limits.py": ("test_limits", "test_supplies"),
    "advisor/decide/option_limits.py": ("test_limits",),
    "advisor/decide/pack_limits.py": ("test_limits", "test_told_limits"),
    "advisor/decide/information.py": ("test_information_exact", "test_sums_by_hand"),
    "advisor/decide/missing.py": ("test_missing_coverage", "test_sums_by_hand"),
    "advisor/decide/along.py": ("test_outlook", "test_tips", "test_scan"),
    "advisor/decide/leading.py": ("test_tips", "test_tipping"),
    "advisor/decide/closing.py": ("test_tips", "test_tipping"),
    "advisor/decide/line.py": ("test_tips", "test_tipping"),
    "advisor/decide/bills.py": ("test_bills", "test_tips"),
    "advisor/decide/looks.py": ("test_tips", "test_tipping", "test_line"),
    "advisor/decide/scans.py": ("test_tips", "test_tipping", "test_line"),
    "advisor/decide/shelf.py": ("test_cache",),
    "advisor/decide/digests.py": ("test_marches", "test_profiles"),
    "advisor/bench/arrays.py": ("test_trace",),
    "advisor/bench/board.py": ("test_distil", "test_instrument"),
    "advisor/bench/chunks.py": ("test_trace", "test_exports"),
    "advisor/bench/clipping.py": ("test_segments", "test_meters", "test_sums_by_hand"),
    "advisor/bench/edges.py": ("test_meters", "test_distil", "test_sums_by_hand"),
    "advisor/bench/levels.py": ("test_segments",),
    "advisor/bench/outline.py": ("test_look",),
    "advisor/bench/runs.py": ("test_distil", "test_budget_lines", "test_sums_by_hand"),
    "advisor/bench/sniff.py": ("test_look", "test_exports", "test_sums_by_hand"),
    "advisor/bench/stamps.py": ("test_exports",),
    "advisor/bench/stillness.py": ("test_meters", "test_stillness_by_hand"),
    "advisor/bench/distil.py": (
        "test_distil_without_marker",
        "test_distil_clipped",
        "test_budget_lines",
    ),
    "advisor/bench/notes.py": ("test_distil",),
    "advisor/bench/rehearse.py": ("test_distil",),
    "advisor/bench/same_clock.py": ("test_compare",),
    "advisor/bench/volts.py": ("test_budget_lines",),
    "advisor/bench/targets.py": ("test_kernels", "test_small_parts"),
    "advisor/bench/kernels.py": ("test_small_parts",),
    "advisor/bench/boards.py": ("test_sums_by_hand",),
    "advisor/bench/trace.py": ("test_sums_by_hand",),
    "advisor/model/plan.py": ("test_sums_by_hand",),
    "advisor/lp.py": ("test_lp_files", "test_lp_solvers"),
}

# Ends the name of a test file of small sums of many modules, which is as near as a module's own.
BY_HAND = "_by_hand"


@dataclass(frozen=True)
class Trace:
    """What one test file does on the code as it is.

    Attributes
    ----------
    seconds : of processor time by test. through : the functions that each test goes through, as
    `module function`. shared : those that all its tests stand on: imports, fixtures.
    """

    file: str
    digest: str
    seconds: dict[str, float]
    through: dict[str, frozenset[str]]
    shared: frozenset[str]

    def modules(self) -> set[str]:
        """Every module of the scope that the file goes through."""
        every = self.shared.union(*self.through.values())
        return {name.split(" ")[0] for name in every}


def files_near(root: Path, modules: list[str]) -> list[str]:
    """Every test file that may be near one of the modules, from the checkout's top."""
    found: set[str] = set()
    for folder, places in FOLDERS.items():
        if not any(m.startswith(folder) for m in modules):
            continue
        for place in places:
            at = root / place
            files = sorted(at.glob("test_*.py")) if at.is_dir() else [at]
            found |= {p.relative_to(root).as_posix() for p in files}
    return sorted(found)


def is_own(module: str, file: str) -> bool:
    """Whether a test file mirrors a module: by its name, or by the table."""
    stem = Path(file).stem
    return stem == f"test_{Path(module).stem}" or stem in ALSO.get(module, ())


def chosen(bug: Bug, traces: list[Trace], most_s: float) -> list[list[str]]:
    """The tests near a bug, by nodeid, in two lots, each in the order of running.

    First the quick ones that go through its function, in its own file, then in others, file by
    file, the cheapest first; then the slower ones, and those whose file goes through it, as they
    may look at what another test has made. The lots end where `most_s` seconds are spent.
    """
    where = f"{bug.module} {bug.function}"
    places = next(p for folder, p in FOLDERS.items() if bug.module.startswith(folder))
    ranked: list[tuple[tuple[int, int, float, str, float, str], str, float]] = []
    for trace in traces:
        far = next((i for i, p in enumerate(places) if trace.file.startswith(p)), None)
        if far is None:
            continue
        own = is_own(bug.module, trace.file) or Path(trace.file).stem.endswith(BY_HAND)
        far = -1 if own else far
        all_through = where in trace.shared or (
            bug.function == "<module>" and bug.module in trace.modules()
        )
        direct = {t for t, names in trace.through.items() if all_through or where in names}
        if not direct:
            continue
        cost = sum(trace.seconds[t] for t in direct)
        for test, seconds in trace.seconds.items():
            quick = seconds <= (OWN_QUICK_S if far < 0 else QUICK_S)
            lot = 0 if test in direct and quick else 1 if test in direct else 2
            ranked.append(((lot, far, cost, trace.file, seconds, test), test, seconds))
    lots: list[list[str]] = [[], []]
    spent = 0.0
    for (lot, *_), test, seconds in sorted(ranked):
        if spent and spent + seconds > most_s:
            continue
        spent += seconds
        lots[min(lot, 1)].append(test)
    return [lot for lot in lots if lot]


QUICK_S = 1.0
OWN_QUICK_S = 4.0  # of a test in the module's own file, which others must not crowd out


def digest(root: Path, file: str) -> str:
    """Of the test file and of everything that it may stand on but for other test files."""
    found = hashlib.sha256()
    for folder in ("advisor", "catalog", "profiles", "tests"):
        for path in sorted((root / folder).rglob("*")):
            name = path.relative_to(root).as_posix()
            apart = folder == "tests" and (path.name.startswith("test_") or "/mutants/" in name)
            if path.suffix in {".py", ".yaml"} and (name == file or not apart):
                found.update(f"{name}\n".encode() + path.read_bytes())
    return found.hexdigest()


def read_traces(path: Path) -> dict[str, Trace]:
    """Traces kept from an earlier run, by file; none where there is no such file."""
    if not path.exists():
        return {}
    return {
        one["file"]: Trace(
            file=one["file"],
            digest=one["digest"],
            seconds=one["seconds"],
            through={t: frozenset(names) for t, names in one["through"].items()},
            shared=frozenset(one["shared"]),
        )
        for one in json.loads(path.read_text("utf-8"))
    }


def write_traces(path: Path, traces: list[Trace]) -> None:
    """Keep traces for another run."""
    kept = [
        {
            "file": t.file,
            "digest": t.digest,
            "seconds": t.seconds,
            "through": {test: sorted(names) for test, names in t.through.items()},
            "shared": sorted(t.shared),
        }
        for t in traces
    ]
    path.write_text(json.dumps(kept), "utf-8")
