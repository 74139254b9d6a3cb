"""The drawings of tips and of what measurements are worth, and that of kernels folded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.shipped import catalogue_folder
from advisor.present import colours, lever_plots
from advisor.present import compare as comparing
from advisor.present.lever_plots import save_tips, save_worths
from advisor.present.tipping import MOST
from advisor.studies.compare import compare
from advisor.studies.gaps import Gap, Gaps
from advisor.studies.tipping import LeverTip, Tipping
from tests.present.test_pictures import SIGHTS, _far

pytestmark = pytest.mark.once


def _tip(path: str, now: float, at: float | None, leads: str | None) -> LeverTip:
    share = None if at is None else abs(at - now) / now
    told = None if at is None else f"{at:g}"
    return LeverTip(path, now, "", at, told, leads, None, share, None, f"{now:g}", told)


WARM = LeverTip("p:environment.a.at", 20, "K", 28, "28 degC", "two", None, None, 8, "20", "28")
TIPPING = Tipping(
    product="p",
    invented=True,
    winner="one",
    seed=1,
    draws=100,
    points=12,
    contenders=("one", "three", "two"),
    waiting=(),
    levers=(
        _tip("p:rail", 2.0, 2.2, "two"),
        _tip("one:price.breaks.100", 1.0, 0.8, "a-part-with-a-long-name"),
        WARM,
        _tip("p:priorities.battery-life.weight", 3.0, 4.5, "two"),
        _tip("p:service-life", 3.0, None, None),
    ),
    limits=(_tip("p:workload.sample.loads.radio.current", 1.0, 1.9, None),),
    unmoved={},
    weights=(),
    never_first=(),
    left_out=(),
    cautions=(),
    warnings=(),
)


def _gap(path: str, score: float, hours: float, rate: float | None = 80.0) -> Gap:
    worth = 1000 * score if rate else None
    net = None if worth is None or rate is None else worth - rate * hours
    return Gap(
        path=path,
        score=score,
        error=score / 10,
        money=None,
        money_error=None,
        worth_money=worth,
        effort_h=hours,
        usual_hours=(),
        effort_money=None if rate is None else rate * hours,
        net=net,
        worth_it=score > 0 and (net is None or net > 0),
        action="",
        members=(),
        samples=(),
        best_measurements=None,
    )


GAPS = Gaps(
    product="p",
    seed=1,
    draws=100,
    invented=False,
    currency="EUR",
    units=1000,
    engineer_rate=80.0,
    no_net=None,
    usual_hours=(),
    first="one",
    chosen="one",
    fitting=2,
    evpi_score=0.5,
    evpi_money=1.0,
    figures=(
        *(_gap(f"one:kernels.filter.mid.time-{n}", 0.40 - 0.002 * n, 4.0) for n in range(6)),
        _gap("one:sleep-states.ram-kept.current.25 degC", 0.1, 0.5),
        _gap("p:rail", 0.05, 8.0),
        _gap("p:nothing", 0.0, 8.0),
    ),
    groups=(_gap("one", 0.6, 9.0),),
    advice="First measure the time of filter at mid of one.",
    left_out=(),
    cautions=(),
    warnings=(),
)


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """What draws, and gives the figure in place of its file."""

    def draw(module: Any, function: Callable[..., bytes], *given: Any) -> Any:
        kept: list[Any] = []

        def keep(figure: Any, *_: object, **__: object) -> bytes:
            kept.append(figure)
            return b""

        with monkeypatch.context() as patch:
            patch.setattr(module, "saved", keep)
            function(*given)
        return kept[0]

    return draw


def _texts(figure: Any) -> list[Any]:
    """Boxes of the texts that are seen, by what they say."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    seen = []
    for axis in figure.axes:
        (low, high), (left, right) = sorted(axis.get_ylim()), sorted(axis.get_xlim())
        for text in axis.texts:
            seen.append(text)
        ticks = [t for t in axis.yaxis.get_major_ticks() if low <= t.get_loc() <= high]
        ticks += [t for t in axis.xaxis.get_major_ticks() if left <= t.get_loc() <= right]
        seen += [t.label1 for t in ticks]
        seen.append(axis._left_title)
    seen += figure.texts
    from matplotlib.text import Text

    # the words alone: what joins them to a point runs over others
    return [
        (t.get_text(), Text.get_window_extent(t, renderer))
        for t in seen
        if t.get_text() and (t.axes is None or t.axes.get_visible())
    ]


def _clear(figure: Any) -> None:
    """No text is cut by the edge, none lies over another."""
    found = _texts(figure)
    assert len(found) > 10
    for said, box in found:
        assert figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1, said
        assert figure.bbox.y0 <= box.y0 <= box.y1 <= figure.bbox.y1, said
    for (one, a), (two, b) in combinations(found, 2):
        assert not a.padded(-1.5).overlaps(b.padded(-1.5)), (one, two)


def _bars(axis: Any) -> list[tuple[float, float]]:
    return [(p.get_x(), p.get_x() + p.get_width()) for p in axis.patches]


def test_tips_are_bars_from_now_in_groups(drawn: Callable[..., Any]) -> None:
    figure = drawn(lever_plots, save_tips, TIPPING, Path("a.png"))
    titles = [axis.get_title("left") for axis in figure.axes]
    assert titles == [
        *("Physical figures", "Physical figures, temperatures", "Prices and costs"),
        *("Preferences", "Values at which nothing fits"),
    ]
    # by hand: 2.2 of 2 V is a tenth more, 0.8 of 1 a fifth less, 28 of 20 degC 8 K more
    ends = [x for axis in figure.axes for bar in _bars(axis) for x in bar]
    assert ends == pytest.approx([1, 1.1, 0, 8, 1, 0.8, 1, 1.5, 1, 1.9])
    assert {axis.get_xscale() for axis in figure.axes} == {"linear"}
    assert [t.get_text() for t in figure.axes[0].get_xticklabels()].count("now") == 1
    # one colour a part, another for where nothing leads
    faces = [axis.patches[0].get_facecolor() for axis in figure.axes]
    assert faces[0] == faces[1] == faces[3]
    assert len(set(faces)) == 3
    said = [text for text, _ in _texts(figure)]
    assert said.count("two") == 3
    assert "nothing fits" in said
    assert "2 to 2.2" in said
    assert any("Not drawn: 1 figure that tips nowhere" in text for text in said)
    assert any("DEMONSTRATION DATA" in text for text in said)
    _clear(figure)


def test_far_tips_are_logarithmic_and_the_rest_is_counted(drawn: Callable[..., Any]) -> None:
    far = tuple(_tip(f"p:rail-{n}", 1.0, 0.25 * 1.2**n, f"part-{n % 10}") for n in range(25))
    figure = drawn(lever_plots, save_tips, replace(TIPPING, levers=far), Path("a.png"))
    assert {axis.get_xscale() for axis in figure.axes} == {"log"}
    assert len(figure.axes[0].patches) == MOST
    assert any("5 more that tip" in text for text, _ in _texts(figure))
    low, high = figure.axes[0].get_xlim()
    assert low < 0.25 < 0.25 * 1.2**19 < high
    _clear(figure)


def test_measurements_that_gain_lie_above_the_line(drawn: Callable[..., Any]) -> None:
    figure = drawn(lever_plots, save_worths, GAPS, Path("a.png"))
    singles, groups = figure.axes
    line = next(one for one in singles.lines if one.get_linestyle() == "--")
    x, y = line.get_data()
    assert y == pytest.approx(80 * x)
    points = [one for one in singles.lines if one.get_marker() in ("o", "s")]
    assert len(points) == 8
    for one in points:
        hours, worth = float(one.get_xdata()[0]), float(one.get_ydata()[0])
        assert (one.get_marker() == "o") == (worth > 80 * hours)
    said = [text for text, _ in _texts(figure)]
    assert "p:rail: EUR 50 for 8 h, not worth it" in said
    assert "one:sleep-states.ram-kept.current.25 degC: EUR 100 for 0.5 h, worth it" in said
    assert not any("p:nothing" in text for text in said)
    assert len(groups.texts) == 2
    _clear(figure)


def test_without_a_rate_there_is_no_line(drawn: Callable[..., Any]) -> None:
    figures = tuple(_gap(f"p:figure-{n}", 0.1 * n, float(n), None) for n in range(1, 4))
    reason = "no units are stated (cost.units)"
    bare = replace(GAPS, figures=figures, groups=(), engineer_rate=None, no_net=reason)
    figure = drawn(lever_plots, save_worths, bare, Path("a.png"))
    assert not any(one.get_linestyle() == "--" for one in figure.axes[0].lines)
    said = [text for text, _ in _texts(figure)]
    assert "p:figure-2: 0.200 points for 2 h, worth it" in said
    assert any(reason in " ".join(text.split()) for text in said)


@pytest.mark.parametrize("empty", [True, False])
def test_the_same_bytes_each_time(empty: bool) -> None:
    tips, worths = TIPPING, GAPS
    if empty:
        tips = replace(tips, winner=None, levers=(), limits=())
        worths = replace(worths, figures=(), groups=(), chosen=None)
    one, other = Path("a.svg"), Path("b.svg")
    assert save_tips(tips, one) == save_tips(tips, other)
    assert save_worths(worths, one) == save_worths(worths, other)
    assert save_worths(worths, one).startswith(b"<?xml")
    assert save_tips(tips, Path("a.PNG")).startswith(b"\x89PNG")


@pytest.mark.parametrize("sight", SIGHTS)
def test_what_leads_nowhere_looks_like_no_part(sight: str) -> None:
    assert min(_far(lever_plots.NOTHING, part, sight) for part in colours.PARTS) > 15


@pytest.mark.parametrize("full", [False, True])
def test_kernels_are_folded_to_a_picture(drawn: Callable[..., Any], full: bool) -> None:
    found = compare(load_catalogue([catalogue_folder()]))
    figure = drawn(comparing, comparing.save_dots, found, Path("a.png"), full)
    wide, high = figure.get_size_inches()
    assert high < (21 if full else 12)
    assert wide < 16
    parts = {
        label.get_text().split()[0]
        for axis in figure.axes
        if axis.get_visible()
        for label in axis.get_yticklabels()
    }
    assert len(parts) == (len(found.parts) if full else comparing.LISTED)
    title = figure._suptitle.get_text()
    assert (f"{len(found.parts) - comparing.LISTED} more: --full" in title) != full
    # the least is that of all parts, drawn or not
    least = min(r.energy_j for r in found.kernels["copy"] if r.native and r.energy_j is not None)
    first = next(r for r in found.kernels["copy"] if r.native and r.energy_j == least)
    said = [axis.get_title("left") for axis in figure.axes]
    assert any(text.startswith(f"copy: {first.part}") for text in said)
    _clear(figure)
