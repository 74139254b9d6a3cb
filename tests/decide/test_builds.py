"""Builds: what tells them apart, which goes first, and their averaged life."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor.decide import builds
from advisor.decide.builds import assess
from advisor.decide.evaluate import evaluate
from advisor.decide.stated import averaged_lives
from advisor.model.carried import drain_of
from tests.decide.random_catalogues import draft


@pytest.mark.parametrize("seed", range(6))
def test_builds_of_a_part_have_names_of_their_own_and_stand_in_order(
    seed: int, tmp_path: Path
) -> None:
    (one,) = evaluate(*draft(seed).load(tmp_path)).candidates
    names = [build.name for build in one.builds]
    assert len(set(names)) == len(names)
    orders = [build.order[:2] for build in one.builds]
    assert orders == sorted(orders)
    for before, after in zip(one.builds, one.builds[1:], strict=False):
        # of equals the first by name
        assert before.order[:2] < after.order[:2] or before.name < after.name


@pytest.mark.parametrize("seed", range(6))
def test_averaged_lives_are_those_of_a_pack_as_warm_as_the_mean(seed: int, tmp_path: Path) -> None:
    """The drafts' cells lose capacity in the cold: 0.8 or 1 of it at -20 degC, straight to 1 at
    20 degC, and stand at -10 degC for 0.3 of the time."""
    (one,) = evaluate(*draft(seed).load(tmp_path)).candidates
    mild = averaged_lives(one.builds)
    for build, seconds in zip(one.builds, mild, strict=True):
        found, row = build.assessed, build.row
        life = float(found.life.life_s[row, 0])
        pack = found.feed.pack
        assert seconds >= life * (1 - 1e-9)
        cold = pack.least_capacity[0] == pytest.approx(found.life.end_depth[row, 0], rel=1e-12)
        if cold and not found.drain.power_w[row].any():
            # constant currents: the life goes as the capacity at hand, until something else ends it
            most = life * float(pack.mean_capacity[0] / pack.least_capacity[0])
            assert seconds <= most * (1 + 1e-9)
        elif not cold:
            assert seconds == pytest.approx(life, rel=1e-9)
    assert np.isfinite(mild).all()


def test_a_state_of_no_length_draws_what_sleep_does() -> None:
    """Else a current that flows for no time at all would pull the pack's voltage down."""
    duration = np.array([1e-3, 0.0, 2e-3, 0.0, 0.0]).reshape(1, -1, 1)
    lines: Any = SimpleNamespace(
        chip_a=np.array([5e-3, 9.0, 6e-3, 8.0, 1e-6]).reshape(1, -1, 1),
        chip_w=np.array([5e-3, 9.0, 6e-3, 8.0, 2e-6]).reshape(1, -1, 1),
        at_rail=lambda volts: np.zeros((5, 1)),
        fill_s=np.full((5, 1), 1e-6),
        rails=(),
        other_w=np.zeros((5, 1)),
        duration=duration,
        share=duration,
        tasks=(slice(0, 4),),
        period=np.ones((1, 1)),
    )
    feed: Any = SimpleNamespace(
        main=SimpleNamespace(volts=np.ones(1)),
        converter=None,
        nominal_v=np.array([3.0]),
        main_side=lambda a, w, more_a, more_w: (a + more_a, w + more_w),
        rails=(),
    )
    made = drain_of(feed, lines, np.array([[2.0]]))
    assert made.constant_a[0, :, 0].tolist() == [5e-3, 1e-6, 6e-3, 1e-6, 1e-6]
    assert made.power_w[0, :, 0].tolist() == [5e-3, 2e-6, 6e-3, 2e-6, 2e-6]
    assert made.filling is not None
    assert made.filling[0][0, :, 0].tolist() == [1e-6, 0.0, 1e-6, 0.0, 1e-6]


@pytest.mark.parametrize(
    ("draws", "rested", "limit", "wanted", "asked"),
    [
        (1, None, np.inf, False, True),
        (50, None, np.inf, False, False),
        (50, None, np.inf, True, True),
        (50, "a film", np.inf, False, True),
        # 30 mA against the pulse limit
        (50, None, 20e-3, False, True),
        (50, None, 40e-3, False, False),
    ],
)
@pytest.mark.parametrize("means", [None, "energy-per-day", "charged", "harvested"])
def test_a_fresh_pack_and_means_are_asked_for_where_something_goes_by_them(
    draws: int,
    rested: str | None,
    limit: float,
    wanted: bool,
    asked: bool,
    means: str | None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A fresh pack by the stated values, where pulses may pass a limit, and where a film after a
    rest counts; means over the life there, and where a criterion or what charges the pack rests on
    them."""

    class AskedError(Exception):
        """That a life was asked for."""

    def lives(_: Any, __: Any, fresh: bool, means: bool, ___: int) -> Any:
        raise AskedError(fresh, means)

    of = np.ones((1, 2, draws))
    drain = SimpleNamespace(
        share=of,
        constant_a=30e-3 * of,
        power_w=0 * of,
        cut_off_v=2 * of[:, 0],
        filling=None,
        seen=(),
    )
    feed = SimpleNamespace(
        option=SimpleNamespace(cell="pill", series=1, parallel=1),
        pack=SimpleNamespace(every_s=1.0 if means == "charged" else None),
        rested=rested,
        most_pulse_a=limit,
    )
    made: Any = SimpleNamespace(feed=feed, drain=drain)
    none: Any = None
    marches: Any = SimpleNamespace(lives=lives)
    product: Any = SimpleNamespace(income=1.0 if means == "harvested" else None)
    criteria: Any = [SimpleNamespace(name=means or "battery-life")]
    monkeypatch.setattr(builds, "on_one_charge", lambda pack: pack)
    with pytest.raises(AskedError) as told:
        assess([made], none, product, criteria, fresh=wanted, marches=marches)
    assert told.value.args == (asked, asked or means is not None)


def test_the_greatest_current_is_of_states_that_take_time_and_of_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """States 1 and 2 take no time in the first build; in the second the last one, at rest, draws
    most. The timeline of what may meet, and of the greatest fillings, tells."""
    shape = (2, 4, 1)
    told = np.array([[3.0, 9.0, 8.0, 1.0], [3.0, 2.0, 1.0, 5.0]]).reshape(shape)
    length = np.array([[1.0, 0.0, 0.0, 0.0], [1.0, 1.0, 0.0, 0.0]]).reshape(shape)

    def line(current: Any) -> Any:
        return SimpleNamespace(
            rail_current=lambda _: current, share=np.full(shape, 0.25), duration=length
        )

    for name, found in (("costs", None), ("_headroom", None), ("_lost", None), ("_View", None)):
        monkeypatch.setattr(builds, name, lambda *_, found=found, **__: found)
    monkeypatch.setattr(builds, "score", lambda *_: (np.zeros((2, 1)), np.zeros((1, 2, 1))))
    made: Any = SimpleNamespace(
        feed=SimpleNamespace(
            chip_voltage=lambda: None, pack=SimpleNamespace(every_s=None), rails=()
        ),
        side=SimpleNamespace(cost=[None], setup_h=[None]),
        awake=SimpleNamespace(line=line(told), worst=(line(10 * told),), part=0),
        drain=None, feed_cost=None, stack=None, battery_a=None,
    )  # fmt: skip
    life: Any = SimpleNamespace(life_s=np.ones((2, 1)), next_s=None)
    product: Any = SimpleNamespace()
    criterion: Any = SimpleNamespace(measure=SimpleNamespace(value=lambda _: 0.0))
    none: Any = None
    found = builds._assessed(made, life, None, none, product, [criterion], None)
    assert found.peak_a[:, 0].tolist() == [30.0, 50.0]
    assert found.rail_a[:, 0].tolist() == [21 / 4, 11 / 4]
