"""A part's figures as arrays, against sums worked by hand from the records below."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.model.asleep import Asleep
from advisor.model.draws import Sampler
from advisor.model.tables import PartFigures, Wanted, part_figures, stack
from advisor.model.workload import product_figures
from tests.model.records import PRODUCT, records

IDLE = "idle at slow"  # of the two points the one that idles on less

PART = """
part: chip
invented: true
lifecycle: active
memory: {{flash: 64 KiB, ram: 16 KiB}}
supply: {{min: 1.8 V, max: 3.6 V, regulator: {regulator}}}
temperature: {{min: -40 degC, max: 85 degC}}
evidence:
  bench: {{kind: bench, date: 2026-03-11, instrument: meter, gain: 10 %}}
  sheet: {{kind: datasheet, date: 2026-03-11}}
operating-points:
  fast: {{idle-current: 2 mA, supply: 3.0 V, supply-min: 2.2 V, evidence: bench}}
  slow: {{idle-current: 0.5 mA, supply: 2.0 V, evidence: sheet}}
kernels:
  crc:
    fast: {{time: 2 ms, current: 4 mA, supply: 3.0 V, evidence: bench}}
    slow: {{time: 8 ms, current: 1 mA, supply: 2.0 V, evidence: sheet}}
    slow+engine: {{time: 1 ms, current: 1.5 mA, supply: 2.0 V, evidence: sheet}}
blocks:
  beacon: {{current: 5 mA, for: 3 ms, evidence: bench}}
sleep-states:
  off: {{current: {deep}, wake-time: 2 ms, retains: [], evidence: sheet}}
  warm:
    current: {warm}
    wake-time: 1 ms
    wake-charge: 3 µC
    retains: [ram, rtc]
    adds: {{ram-kib: 10 nA, rtc: 300 nA}}
    evidence: bench
"""


def figures(
    root: Path,
    draws: int = 0,
    regulator: str = "linear",
    deep: str = "1 µA",
    warm: str = "{0 degC: 1 µA, 40 degC: 4 µA}",
    wanted: Wanted | None = None,
    **product: str,
) -> PartFigures:
    named = {**PRODUCT, **{k.replace("_", "-"): v for k, v in product.items()}}
    text = PART.format(regulator=regulator, deep=deep, warm=warm)
    catalogue, made = records(root, named, parts={"chip": text})
    own = product_figures(made, Sampler("probe", draws))
    return part_figures(catalogue.parts["chip"], own, Sampler("chip", draws), wanted)


def at(degrees: float) -> str:
    return f"[{{at: {degrees} degC, share: 1}}]"


@pytest.mark.parametrize(
    ("degrees", "current"),
    [
        (20, 2.0e-6),  # the logarithm half-way between 1 and 4 uA
        (10, 2**0.5 * 1e-6),
        (40, 4e-6),  # the hot end itself
        (0, 1e-6),
        (-15, 1e-6),  # held at the cold end
    ],
)
def test_sleep_current_runs_straight_in_its_logarithm(
    tmp_path: Path, degrees: float, current: float
) -> None:
    found = figures(tmp_path, environment=at(degrees))
    assert found.sleeps == ("off", "warm", IDLE)
    assert found.sleep_a[1, 0] == pytest.approx(current, rel=1e-12)


def test_sleep_current_is_the_mean_over_the_places(tmp_path: Path) -> None:
    places = "[{at: 0 degC, share: 0.75}, {at: 40 degC, share: 0.25}]"
    found = figures(tmp_path, environment=places)
    # of currents, not the current of the mean temperature, which were 1.41 uA
    assert found.sleep_a[1, 0] == pytest.approx(0.75 * 1e-6 + 0.25 * 4e-6, rel=1e-12)


def test_a_state_is_told_that_is_not_known_at_the_hottest_place(tmp_path: Path) -> None:
    inside = figures(tmp_path / "in", environment=at(25))
    assert inside.warnings == []
    mixed = "[{at: 0 degC, share: 0.75}, {at: 60 degC, share: 0.25}]"
    found = figures(tmp_path / "out", environment=mixed)
    assert found.sleeps == ("off", "warm", IDLE)
    assert found.warnings == [
        "chip: sleep state off: its current is known up to 25 degC, the product goes up to "
        "60 degC; beyond, it is taken to double every 10 K (its one figure says nothing of its "
        "growth, and is taken for one at 25 degC), or faster in the draws",
        "chip: sleep state warm: its current is known up to 40 degC, the product goes up to "
        "60 degC; beyond, it is taken to double every 20 K (as between its two hottest figures), "
        "or faster in the draws",
    ]
    # 1 µA at 25 degC doubles three and a half times; 4 µA at 40 degC once
    off = 0.75 * 1e-6 + 0.25 * 2**3.5 * 1e-6
    assert found.sleep_a[0, 0] == pytest.approx(off, rel=1e-12)
    assert found.sleep_a[1, 0] == pytest.approx(0.75 * 1e-6 + 0.25 * 8e-6, rel=1e-12)


def test_a_state_must_keep_all_that_is_to_be_kept(tmp_path: Path) -> None:
    assert figures(tmp_path / "both", retain="[ram, rtc]").sleeps == ("warm", IDLE)
    assert figures(tmp_path / "one", retain="[rtc]").sleeps == ("warm", IDLE)
    assert figures(tmp_path / "more", retain="[ram, pins]").sleeps == (IDLE,)


@pytest.mark.parametrize(
    ("within", "sleeps"),
    [("2 ms", ("off", "warm")), ("1.9 ms", ("warm",)), ("1 ms", ("warm",)), ("0.9 ms", ())],
)
def test_a_state_must_wake_in_time_for_every_task(
    tmp_path: Path, within: str, sleeps: tuple[str, ...]
) -> None:
    tasks = (
        "[{task: slow, every: 9 s, kernels: {crc: 1}, wake-within: 5 ms}, "
        f"{{task: quick, every: 9 s, kernels: {{crc: 1}}, wake-within: {within}}}]"
    )
    assert figures(tmp_path, workload=tasks).sleeps == (*sleeps, IDLE)


def test_what_a_sleep_state_adds(tmp_path: Path) -> None:
    # 1 uA at 0 degC; a real-time clock 0.3; 10 nA for each of the 16 KiB of memory, or of the
    # 12 that the product asks for
    cold = at(0)

    def sleep(folder: str, retain: str = "[]", needs: str = "{}") -> float:
        found = figures(tmp_path / folder, environment=cold, retain=retain, needs=needs)
        return float(found.sleep_a[found.sleeps.index("warm"), 0]) * 1e6

    assert sleep("none") == pytest.approx(1.0, rel=1e-12)
    assert sleep("clock", retain="[rtc]") == pytest.approx(1.3, rel=1e-12)
    assert sleep("ram", retain="[ram]") == pytest.approx(1.16, rel=1e-12)
    both = sleep("both", retain="[ram, rtc]", needs="{memory: {ram: 12 KiB}}")
    assert both == pytest.approx(1 + 0.3 + 0.12, rel=1e-12)


def test_a_meter_s_gain_is_on_all_that_it_read(tmp_path: Path) -> None:
    # the bench's meter errs by up to 10 %, on the fast point, the block, and the warm state with
    # what it adds and its wake's charge; the sheet's figures bear none
    found = figures(
        tmp_path,
        5000,
        environment=at(0),
        retain="[ram, rtc]",
        workload="[{task: sample, every: 10 s, kernels: {crc: 1}, uses: {beacon: 2}}]",
    )
    gain = found.idle_a[found.points.index("fast")] / 2e-3
    assert gain.min() == pytest.approx(0.9, abs=1e-3)
    assert gain.max() == pytest.approx(1.1, abs=1e-3)
    assert found.sleeps == ("warm", IDLE)
    assert found.sleep_a[0] == pytest.approx(1.46e-6 * gain, rel=1e-12)
    assert found.wake_charge[0] == pytest.approx(3e-6 * gain, rel=1e-12)
    assert found.block_a[0][0] == pytest.approx(5e-3 * gain, rel=1e-12)
    labels = [o.label for o in found.options[0]]
    assert found.run_a[0][labels.index("fast"), 0] == pytest.approx(4e-3 * gain, rel=1e-12)
    assert found.run_a[0][labels.index("slow"), 0] == pytest.approx(1e-3, rel=1e-12)
    assert found.time[0][labels.index("fast"), 0] == pytest.approx(2e-3, rel=1e-12)


def test_a_gain_is_on_the_figures_of_its_own_evidence(tmp_path: Path) -> None:
    """Who measures the cold end leaves the hot end to the datasheet, and the wake charge too."""
    of = "\n    evidence-of: {40 degC: sheet, wake-charge: sheet, adds.rtc: sheet}"
    table = "{0 degC: 1 µA, 40 degC: 4 µA}"

    def found(folder: str, degrees: float) -> PartFigures:
        return figures(
            tmp_path / folder, 4000, warm=table + of, environment=at(degrees), retain="[rtc]"
        )

    cold, hot, middle = found("a", 0), found("b", 40), found("c", 20)
    gain = cold.idle_a[cold.points.index("fast")] / 2e-3
    assert cold.sleep_a[0] == pytest.approx(1e-6 * gain + 0.3e-6, rel=1e-12)
    assert hot.sleep_a[0] == pytest.approx(4.3e-6, rel=1e-12)
    # half-way in the logarithm half of the gain's is left
    assert middle.sleep_a[0] == pytest.approx(2e-6 * np.sqrt(gain) + 0.3e-6, rel=1e-12)
    assert hot.wake_charge[0] == pytest.approx(3e-6, rel=1e-12)


def test_options_are_points_with_their_engines(tmp_path: Path) -> None:
    found = figures(tmp_path, workload="[{task: sample, every: 10 s, kernels: {crc: 3}}]")
    labels = [o.label for o in found.options[0]]
    assert labels == ["fast", "slow", "slow+engine"]
    # three units of work; the time of one three times, the current as it is
    assert found.time[0][:, 0, 0] == pytest.approx([6e-3, 24e-3, 3e-3], rel=1e-12)
    assert found.run_a[0][:, 0, 0] == pytest.approx([4e-3, 1e-3, 1.5e-3], rel=1e-12)
    assert [found.points[i] for i in found.option_point[0]] == ["fast", "slow", "slow"]
    assert dict(zip(found.points, found.supply_min, strict=True)) == {"fast": 2.2, "slow": 0.0}


def test_options_stand_by_their_names_whichever_kernel_is_named_first(tmp_path: Path) -> None:
    """Among equals the first is taken: it is the same one however a task is written."""
    entry = "{time: 1 ms, current: 1 mA, supply: 2.0 V, evidence: sheet}"
    text = PART.format(regulator="linear", deep="1 µA", warm="2 µA")
    text = text.replace("blocks:", f"  hash:\n    slow: {entry}\n    slow+digest: {entry}\nblocks:")
    for names in (("crc", "hash"), ("hash", "crc")):
        task = f"{{task: sample, every: 10 s, kernels: {{{names[0]}: 1, {names[1]}: 1}}}}"
        catalogue, product = records(
            tmp_path / names[0],
            {**PRODUCT, "workload": f"[{task}]"},
            parts={"chip": text},
            kernels=("crc", "hash"),
        )
        own = product_figures(product, Sampler("probe"))
        (options,) = part_figures(catalogue.parts["chip"], own, Sampler("chip")).options
        labels = ["slow", "slow+digest", "slow+digest+engine", "slow+engine"]
        assert [o.label for o in options] == labels


def test_blocks_are_used_as_often_as_is_said(tmp_path: Path) -> None:
    tasks = "[{task: sample, every: 10 s, kernels: {crc: 1}, uses: {beacon: 4}}]"
    found = figures(tmp_path, workload=tasks)
    assert found.block_time[0][0, 0] == pytest.approx(12e-3, rel=1e-12)
    assert found.block_a[0][0, 0] == pytest.approx(5e-3, rel=1e-12)


def test_a_switching_regulator_draws_power(tmp_path: Path) -> None:
    found = figures(tmp_path, regulator="switching")
    labels = [o.label for o in found.options[0]]
    # watts at the supply of each figure: 4 mA at 3 V, 1 mA at 2 V
    assert found.run_w[0][labels.index("fast"), 0, 0] == pytest.approx(12e-3, rel=1e-12)
    assert found.run_w[0][labels.index("slow"), 0, 0] == pytest.approx(2e-3, rel=1e-12)
    assert not found.run_a[0].any()
    assert found.idle_w[:, 0] == pytest.approx([6e-3, 1e-3], rel=1e-12)
    # blocks and sleep as stated
    assert found.sleep_a[0, 0] == pytest.approx(1e-6, rel=1e-12)


def test_without_sleep_it_idles_where_that_takes_least(tmp_path: Path) -> None:
    found = figures(tmp_path, retain="[pins]")
    assert found.sleeps == (IDLE,)
    assert found.sleep_a[0, 0] == pytest.approx(0.5e-3, rel=1e-12)
    assert (found.wake_time[0, 0], found.wake_charge[0, 0]) == (0.0, 0.0)


def test_a_chosen_build_reads_what_it_uses_as_all_builds_do(tmp_path: Path) -> None:
    whole = figures(tmp_path / "whole", 200)
    chosen = whole.options[0][[o.label for o in whole.options[0]].index("slow+engine")]
    alone = figures(tmp_path / "alone", 200, wanted=Wanted("warm", (chosen,)))
    assert alone.sleeps == ("warm",)
    assert [o.label for o in alone.options[0]] == ["slow+engine"]
    assert np.array_equal(alone.sleep_a[0], whole.sleep_a[whole.sleeps.index("warm")])
    assert np.array_equal(alone.run_a[0][0], whole.run_a[0][2])


def test_parts_stand_side_by_side_padded_with_what_is_not_there(tmp_path: Path) -> None:
    more = figures(tmp_path / "more")
    less = figures(tmp_path / "less", retain="[rtc]")
    made = stack([more, less])
    assert made.sleeping.tolist() == [[True, True, True], [True, True, False]]
    assert made.sleep_a[0, :, 0] == pytest.approx(more.sleep_a[:, 0], rel=1e-15)
    assert made.sleep_a[1, :2, 0] == pytest.approx(less.sleep_a[:, 0], rel=1e-15)


def test_what_is_missing_is_named(tmp_path: Path) -> None:
    catalogue, product = records(
        tmp_path,
        {**PRODUCT, "workload": "[{task: t, every: 9 s, kernels: {crc: 1, hash: 1}}]"},
        parts={"chip": PART.format(regulator="linear", deep="1 µA", warm="2 µA")},
        kernels=("crc", "hash"),
    )
    own = product_figures(product, Sampler("probe"))
    assert part_figures(catalogue.parts["chip"], own, Sampler("chip")).missing == [
        "chip:kernels.hash"
    ]


def test_kernels_that_no_one_point_has_are_missing(tmp_path: Path) -> None:
    """Each was measured, but at another point: there is none to run the task at."""
    point = "      time: 8 ms, current: 1 mA, supply: 2.0 V, evidence: sheet"
    text = PART.format(regulator="linear", deep="1 µA", warm="2 µA")
    crc, _, rest = text.partition("    slow: {time")
    rest = rest.partition("blocks:")[2]
    hashed = f"  hash:\n    slow: {{{point.strip()}}}\nblocks:{rest}"
    catalogue, product = records(
        tmp_path,
        {**PRODUCT, "workload": "[{task: t, every: 9 s, kernels: {crc: 1, hash: 1}}]"},
        parts={"chip": crc + hashed},
        kernels=("crc", "hash"),
    )
    own = product_figures(product, Sampler("probe"))
    assert part_figures(catalogue.parts["chip"], own, Sampler("chip")).missing == [
        "chip:kernels.crc"
    ]


def test_an_idle_current_of_no_stated_supply_is_told_once(tmp_path: Path) -> None:
    """With all builds, behind a switching regulator; not again with the build that is drawn."""
    catalogue, made = records(
        tmp_path,
        parts={
            "chip": PART.format(regulator="switching", deep="1 µA", warm="2 µA").replace(
                "idle-current: 0.5 mA, supply: 2.0 V,", "idle-current: 0.5 mA,"
            )
        },
    )
    own = product_figures(made, Sampler("probe"))
    whole = part_figures(catalogue.parts["chip"], own, Sampler("chip"))
    chosen = Wanted("warm", (whole.options[0][0],))
    alone = part_figures(catalogue.parts["chip"], own, Sampler("chip"), chosen)
    assert ["idle current at slow" in w for w in whole.warnings] == [True]
    assert alone.warnings == []


@pytest.mark.parametrize(
    ("block", "lacks"),
    [("{for: 3 ms, evidence: bench}", "current"), ("{current: 5 mA, evidence: bench}", "for")],
)
def test_what_a_block_lacks_is_missing_where_a_task_uses_it(
    tmp_path: Path, block: str, lacks: str
) -> None:
    text = PART.format(regulator="linear", deep="1 µA", warm="2 µA")
    text = text.replace("{current: 5 mA, for: 3 ms, evidence: bench}", block)
    for uses, missing in (("", []), (", uses: {beacon: 1}", [f"chip:blocks.beacon.{lacks}"])):
        task = f"{{task: sample, every: 10 s, kernels: {{crc: 1}}{uses}}}"
        catalogue, product = records(
            tmp_path / str(len(missing)), {**PRODUCT, "workload": f"[{task}]"}, parts={"chip": text}
        )
        own = product_figures(product, Sampler("probe"))
        assert part_figures(catalogue.parts["chip"], own, Sampler("chip")).missing == missing


def test_all_that_the_blocks_of_a_task_lack_is_missing(tmp_path: Path) -> None:
    """Two of three lack a figure, each its own; the third counts all the same."""
    told = "  beacon: {current: 5 mA, for: 3 ms, evidence: bench}\n"
    more = "  adc: {for: 1 ms, evidence: bench}\n  lamp: {current: 1 mA, evidence: bench}\n"
    text = PART.format(regulator="linear", deep="1 µA", warm="2 µA").replace(told, more + told)
    uses = "uses: {adc: 1, lamp: 1, beacon: 2}"
    task = f"{{task: sample, every: 10 s, kernels: {{crc: 1}}, {uses}}}"
    catalogue, product = records(
        tmp_path, {**PRODUCT, "workload": f"[{task}]"}, parts={"chip": text}
    )
    own = product_figures(product, Sampler("probe"))
    found = part_figures(catalogue.parts["chip"], own, Sampler("chip"))
    assert found.missing == ["chip:blocks.adc.current", "chip:blocks.lamp.for"]
    assert found.block_time[0][:, 0] == pytest.approx([0.0, 0.0, 6e-3])


def test_what_is_kept_before_use_and_tells_no_current_is_said() -> None:
    """A phase that names its state needs that one's current; another goes by what is slept in."""
    states = {
        "ram-kept": SimpleNamespace(current=None),
        "off": SimpleNamespace(current=None),
    }

    def phase(state: str | None, connected: bool = True) -> Any:
        return SimpleNamespace(
            state=state, connected=connected, temperature=np.array([[300.0]]), name="shelf"
        )

    def unsaid(*phases: Any) -> tuple[list[str], list[str]]:
        asleep: Any = SimpleNamespace(
            part=SimpleNamespace(part="one", sleep_states=states),
            product=SimpleNamespace(before=phases, hottest=300.0),
        )
        return Asleep.unsaid(asleep)

    assert unsaid(phase("off")) == (["off"], [])
    assert unsaid(phase("off"), phase("ram-kept")) == (["off", "ram-kept"], [])
    assert unsaid(phase(None), phase("off", connected=False), phase("nothing")) == ([], [])


def test_a_state_hotter_before_use_than_its_table_is_told_once(tmp_path: Path) -> None:
    """`warm` is known to 40 degC and goes through 60 degC by truck; told with all builds, not again
    with the one that is drawn."""
    phase = "[{phase: truck, for: 2 days, state: warm, environment: [{at: 60 degC, share: 1}]}]"
    found = figures(tmp_path / "all", before_use=phase)
    assert ["sleep state warm in truck" in w for w in found.warnings] == [True]
    chosen = Wanted("warm", (found.options[0][0],))
    assert figures(tmp_path / "one", before_use=phase, wanted=chosen).warnings == []
