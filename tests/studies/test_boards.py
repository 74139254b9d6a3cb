"""Sessions of several boards put into one part: provenance, what is refused, what is merged."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.boards import SPREADS, figure
from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.sense import one_board
from advisor.catalogue.shipped import catalogue_folder, load
from advisor.faults import FaultError
from advisor.studies.distil import Distilled, distil
from advisor.studies.into_part import into_part, merged_in
from advisor.studies.rehearse import rehearse
from advisor.studies.shortlist import shortlist
from advisor.studies.standing import replaced
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture
from tests.on_bench.sessions import NOTES

pytestmark = pytest.mark.once

FILE = "bench-demo.yaml"
STANDING = """# what the sheet says
part: bench-demo
evidence:
  sheet: {kind: datasheet, date: 2026-01-01}
operating-points:
  fast: {clock: 120 MHz, idle-current: 3.2 mA, supply: 3.3 V, evidence: sheet}
sleep-states:
  ram-kept:
    current: {25 degC: 18 µA, 85 degC: 90 µA}    # typical
    wake-time: 9 us
    evidence: sheet
"""


def session(folder: Path, *changes: tuple[str, str], seed: int = 1, current: float = 1.0) -> Path:
    """Notes and a trace of a board of its own, recorded as far as the files say."""
    folder.mkdir(parents=True, exist_ok=True)
    text = NOTES.replace("2.5 s}", "2.5 s, temperature: 25 degC}")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    text = text.replace("current: 9.8 mA", f"current: {9.8 * current:.6g} mA")
    made = folder / "notes.yaml"
    made.write_text(text)
    plan = rehearse(made, load_catalogue([catalogue_folder()]), seed)
    data = plan.write(folder / "t.csv")[folder / "t.csv"].partition(b"\n")[2]
    (folder / "t.csv").write_bytes(data)
    made.write_text(text.replace("origin: rehearsed", "origin: recorded\ndate: 2026-03-01"))
    return made


def board(root: Path, name: str, seed: int, current: float = 1.0, more: str = "") -> Distilled:
    notes = session(
        root / name,
        ("origin: rehearsed", f"board: {name}{more}\norigin: rehearsed"),
        seed=seed,
        current=current,
    )
    return distil(notes, [notes.parent / "t.csv"])


def read(text: str, root: Path) -> Part:
    (root / "c" / "parts").mkdir(parents=True, exist_ok=True)
    (root / "c" / "parts" / FILE).write_text(text)
    return load_catalogue([catalogue_folder(), root / "c"]).parts["bench-demo"]


def test_a_measured_temperature_leaves_the_others_to_the_sheet(tmp_path: Path) -> None:
    notes = session(tmp_path)
    after = into_part(distil(notes, [tmp_path / "t.csv"]), STANDING, FILE)
    state = read(after, tmp_path).sleep_states["ram-kept"]
    of = {name: evidence_of(state, name) for name in ("25 degC", "85 degC", "wake-time")}
    assert of == {
        "25 degC": "bench-2026-03-01-fast",
        "85 degC": "sheet",
        "wake-time": "sheet",
    }
    assert "# typical" in after
    gone = {r.path: (r.old, r.new) for r in replaced(STANDING, after, FILE)}
    assert set(gone) == {
        "operating-points.fast.idle-current",
        "operating-points.fast.supply",
        "operating-points.fast.evidence",
        "sleep-states.ram-kept.current.25 degC",
    }
    assert gone["sleep-states.ram-kept.current.25 degC"][0] == "18 µA"


@pytest.mark.parametrize("stands", ["18 µA", "{typical: 18 µA, max: 60 µA}"])
def test_a_figure_without_a_temperature_stays_at_room_temperature(
    tmp_path: Path, stands: str
) -> None:
    notes = session(tmp_path, ("temperature: 25 degC", "temperature: 85 degC"))
    base = re.sub(r"current: \{25.*", f"current: {stands}", STANDING)
    state = read(into_part(distil(notes, [tmp_path / "t.csv"]), base, FILE), tmp_path).sleep_states
    curve = state["ram-kept"].current
    assert curve is not None
    assert curve.keys == ("25 degC", "85 degC")
    assert curve.y[0].nominal == pytest.approx(18e-6)
    assert evidence_of(state["ram-kept"], "25 degC") == "sheet"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("clock: 120 MHz", "clock: 80 MHz"), "80 MHz, where fast stands at 120 MHz"),
        (("supply: 3.300(2) V", "supply: 1.800(2) V"), "where operating-points.fast stands at 3.3"),
    ],
)
def test_another_setting_is_another_point(
    tmp_path: Path, change: tuple[str, str], words: str
) -> None:
    notes = session(tmp_path / "a", change)
    found = distil(notes, [notes.parent / "t.csv"])
    with pytest.raises(FaultError) as caught:
        into_part(found, STANDING, FILE)
    assert words in caught.value.faults[0].read
    assert "another name than fast" in caught.value.faults[0].expected
    other = session(tmp_path / "b", change, ("name: fast", "name: other"))
    after = into_part(distil(other, [other.parent / "t.csv"]), STANDING, FILE)
    assert set(read(after, tmp_path).operating_points) == {"fast", "other"}


@pytest.mark.parametrize(
    "built",
    ["", "built: {compiler: cc 12, flags: -O3}\n", "built: {compiler: cc 13, flags: -O2}\n"],
)
def test_another_build_is_another_point(tmp_path: Path, built: str) -> None:
    origin = "origin: rehearsed"
    first = session(tmp_path / "a", (origin, "built: {compiler: cc 12, flags: -O2}\n" + origin))
    stands = into_part(distil(first, [first.parent / "t.csv"]), None, FILE)
    assert 'built: {compiler: "cc 12", flags: "-O2"}' in stands
    again = into_part(distil(first, [first.parent / "t.csv"]), stands, FILE)
    assert again == stands
    second = session(tmp_path / "b", (origin, built + origin), seed=2)
    with pytest.raises(FaultError, match="was built with"):
        into_part(distil(second, [second.parent / "t.csv"]), stands, FILE)


def test_boards_are_merged(tmp_path: Path) -> None:
    """The part's figure is that of its observations, its u that of the next unit."""
    text: str | None = None
    found = []
    for n, current in enumerate((1.0, 1.03, 0.98), 1):
        found.append(board(tmp_path, f"b-{n}", n, current))
        text = into_part(found[-1], text, FILE)
    assert text is not None
    part = read(text, tmp_path)
    assert {o.board for o in part.boards.values()} == {"b-1", "b-2", "b-3"}
    stands = part.kernels["hash"]["fast"].current
    assert stands is not None
    seen = [o.kernels["hash"]["fast"].current for o in part.boards.values()]
    merged = figure(
        [q.nominal for q in seen if q is not None],
        [q.u for q in seen if q is not None],
        SPREADS["current"],
        [o.common["kernels.hash.fast.current"].nominal for o in part.boards.values()],
    )
    # u to two digits in the file
    assert stands.nominal == pytest.approx(merged.value, rel=1e-3)
    assert stands.u == pytest.approx(merged.u, rel=0.05)
    # far above any one board's own, which the second session would otherwise have left behind
    assert stands.u > 5 * found[-1].figures.kernels["hash"].current.u
    evidence = part.evidence["boards-fast"]
    assert (evidence.kind, evidence.instrument) == ("bench", "meter-a")
    assert "3 boards" in (evidence.note or "")
    # the same session again is the same observation, as its file has it to two digits
    again = into_part(found[0], text, FILE)
    assert into_part(found[0], again, FILE) == again
    assert len(again.splitlines()) == len(text.splitlines())


def test_the_observation_keeps_what_the_session_saw(tmp_path: Path) -> None:
    found = board(tmp_path, "SN 0017/A", 1)
    part = read(into_part(found, None, FILE), tmp_path)
    ((name, kept),) = part.boards.items()
    assert name.startswith("sn-0017-a-")
    assert (kept.board, str(kept.date)) == ("SN 0017/A", "2026-03-01")
    assert kept.trace is not None
    assert kept.trace.startswith(name.rpartition("-")[2])
    time = kept.kernels["hash"]["fast"].time
    assert time is not None
    whole = found.figures.kernels["hash"].time
    common = kept.common["kernels.hash.fast.time"].nominal
    assert np.hypot(time.u, common * time.nominal) == pytest.approx(whole.u, rel=0.03)


def test_an_unnamed_board_among_named_ones_is_refused(tmp_path: Path) -> None:
    text = into_part(board(tmp_path, "b-1", 1), None, FILE)
    notes = session(tmp_path / "x", seed=5)
    with pytest.raises(FaultError, match="no such key"):
        into_part(distil(notes, [notes.parent / "t.csv"]), text, FILE)


def test_a_far_board_is_told(tmp_path: Path) -> None:
    text: str | None = None
    for n, current in enumerate((1.0, 1.001, 0.999, 1.5), 1):
        text = into_part(board(tmp_path, f"b-{n}", n, current), text, FILE)
    assert text is not None
    merged = merged_in(text, FILE, "bench-demo")
    far = {one.path: one.outliers for one in merged if one.outliers}
    assert far == {"kernels.hash.fast.current": ("b-4",)}
    assert "board b-4 is" in next(iter(merged[1].warnings()))


def test_two_meters_have_their_gains_in_the_figures(tmp_path: Path) -> None:
    text = into_part(board(tmp_path, "b-1", 1), None, FILE)
    notes = session(
        tmp_path / "b-2",
        ("origin: rehearsed", "board: b-2\norigin: rehearsed"),
        ("meter-a", "meter-b"),
        seed=2,
    )
    part = read(into_part(distil(notes, [notes.parent / "t.csv"]), text, FILE), tmp_path)
    assert part.evidence["boards-fast"].gain is None
    assert part.evidence["boards-fast"].instrument is None


def test_what_the_command_says(
    tmp_path: Path, said: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    board(tmp_path, "b-1", 1)
    monkeypatch.chdir(tmp_path / "b-1")
    Path(FILE).write_text(STANDING)
    call = ("distil", "t.csv", "--bench", "notes.yaml", "-o", FILE, "--format", "json")
    code, out, err = said(*call)
    assert code == 0
    document = json.loads(out)
    assert {"path": "sleep-states.ram-kept.current.25 degC", "old": "18 µA"}.items() <= next(
        r for r in document["replaced"] if "25 degC" in r["path"]
    ).items()
    assert "sleep-states.ram-kept.current.25 degC: 18 µA is now" in err
    assert "from 1 board, its spread the usual one (common practice, no source)" in err
    one = next(b for b in document["boards"] if b["path"] == "kernels.hash.fast.current")
    assert one["boards"] == ["b-1"]
    assert one["prior_scale"] == SPREADS["current"]
    # one board's own place in its batch, and the next one's
    assert one["next_unit_u"] / one["value"] == pytest.approx(0.05 * 2**0.5, rel=0.15)


def test_code_size_and_peak(tmp_path: Path) -> None:
    more = "\npeak: true\ncode-size: {hash: 1.2 KiB}"
    part = read(into_part(board(tmp_path, "b-1", 1, more=more), None, FILE), tmp_path)
    assert part.code_size["hash"].nominal == pytest.approx(1228.8)
    assert part.peak_current is not None
    # 9.8 mA with noise of 0.1 mA a sample and 0.5 % from run to run
    assert part.peak_current.nominal == pytest.approx(10.2e-3, rel=0.03)


def test_one_board_is_said_on_the_answer(tmp_path: Path) -> None:
    base = (catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text()
    for boards in (1, 2):
        kept = "".join(
            f"  b-{n}: {{board: b-{n}, operating-points: {{fast: {{idle-current: 1.5 mA}}}}}}\n"
            for n in range(boards)
        )
        text = base.replace("quorvane-tib", "bench-demo") + "boards:\n" + kept
        assert bool(one_board(read(text, tmp_path))) == (boards == 1)
        inputs = load("frost-post", [catalogue_folder(), tmp_path / "c"])
        told = shortlist(*inputs, draws=0).warnings
        assert any("bench-demo: one board was measured" in w for w in told) == (boards == 1)
