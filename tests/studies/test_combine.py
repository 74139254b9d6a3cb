"""Catalogues merged: nothing is lost, nothing gives way silently, and nothing is mixed."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import Any

import pytest

from advisor.catalogue.evidence import evidence_of
from advisor.catalogue.fields import read_record
from advisor.catalogue.kinds import Reading
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError, FaultLog
from advisor.source import read_text
from advisor.studies import merging
from advisor.studies.combine import Combined, combine
from tests.studies.every_key import PART

ONE = """\
# set up in spring
part: one
invented: true
memory: {flash: 64 KiB}   # as ordered
evidence:
  bench: {kind: bench, date: 2026-03-01, instrument: meter-a, gain: 0.6 %}
  sheet: {kind: datasheet, note: revision 1}
operating-points:
  fast: {clock: 48 MHz, idle-current: 1.10(2) mA, supply: 3.0 V, evidence: bench}
kernels:
  hash:
    fast: {time: 0.400(3) ms, current: 6.00(6) mA, supply: 3.0 V, evidence: bench}
sleep-states:
  ram-kept: {current: {25 degC: 2.0(1) µA}, wake-time: 20 us, evidence: sheet}
price: {currency: EUR, breaks: {1: 1.50, 100: 1.10}}
"""


def catalogue(path: Path, *texts: str, kernels: bool = True) -> Path:
    (path / "parts").mkdir(parents=True)
    if kernels:
        shutil.copy(catalogue_folder() / "kernels.yaml", path)
    for text in texts:
        name = next(line.split()[1] for line in text.splitlines() if line.startswith("part:"))
        (path / "parts" / f"{name}.yaml").write_text(text)
    return path


def merged(tmp_path: Path, *texts: str, prefer: int | None = None) -> Combined:
    folders = [catalogue(tmp_path / "abc"[n], text) for n, text in enumerate(texts)]
    found = combine(folders, prefer=None if prefer is None else folders[prefer])
    assert set(found.contents) == {"kernels.yaml", "parts/one.yaml"}
    return found


def text_of(found: Combined) -> str:
    return found.contents["parts/one.yaml"].decode()


def part_of(found: Combined) -> Part:
    log = FaultLog()
    root = read_text(text_of(found), "one.yaml").root
    part: Part = read_record(Part, root, "", Reading("one.yaml", "one", log))
    log.raise_if_any()
    return part


def told(found: Combined) -> dict[str, tuple[str, str, str]]:
    return {
        row.path.partition(":")[2]: (row.kept, row.other, row.outcome) for row in found.differing
    }


def test_the_same_and_the_absent(tmp_path: Path) -> None:
    """What has nothing else adds nothing, whatever its layout; a file is kept to the byte."""
    other = ONE.replace("0.400(3) ms", "400(3) us").replace("# set up in spring\n", "")
    found = merged(tmp_path, ONE, other.replace("{1: 1.50, 100: 1.10}", "{1: 1.5, 100: 1.1}"))
    assert (text_of(found), found.renamed) == (ONE, ())
    assert told(found) == {}
    a, b = catalogue(tmp_path / "x", ONE), catalogue(tmp_path / "y", ONE.replace("one", "two"))
    both = combine([a, b])
    assert both.contents["parts/two.yaml"] == (b / "parts" / "two.yaml").read_bytes()
    assert [s.how for s in both.files] == ["same", "alone", "alone"]


def test_a_figure_that_disagrees(tmp_path: Path) -> None:
    """The first stands. Both were measured, so both are kept as observations; the difference is in
    combined standard uncertainties (JCGM 100:2008, 5.1.2): for the current with each meter's gain,
    a half-width, over the square root of 3 (4.3.7)."""
    other = ONE.replace("0.400(3) ms", "0.410(4) ms").replace("6.00(6) mA", "6.20(8) mA")
    other = other.replace("meter-a, gain: 0.6 %", "meter-b, gain: 0.9 %")
    found = merged(tmp_path, ONE, other)
    kept = "first kept, both kept as observations"
    assert told(found) == {
        "kernels.hash.fast.time": ("0.400(3) ms", "0.410(4) ms", kept),
        "kernels.hash.fast.current": ("6.00(6) mA", "6.20(8) mA", kept),
    }
    time, current = (row.difference for row in found.differing)
    assert time == pytest.approx(0.010 / math.hypot(0.003, 0.004), rel=1e-9)
    gains = math.hypot(0.006 * 6.00, 0.009 * 6.20) / math.sqrt(3)
    assert current == pytest.approx(0.20 / math.hypot(0.06, 0.08, gains), rel=1e-9)
    part = part_of(found)
    assert part.kernels["hash"]["fast"].time is not None
    assert part.kernels["hash"]["fast"].time.text == "0.400(3) ms"
    seen = {name: merging.seen_in(o) for name, o in part.boards.items()}
    assert {n: s["kernels.hash.fast.time"].value for n, s in seen.items()} == {
        "a-bench": pytest.approx(0.400e-3),
        "b-bench-2": pytest.approx(0.410e-3),
    }
    assert {o.board for o in part.boards.values()} == {"not told, of a", "not told, of b"}
    assert part.evidence["bench-2"].instrument == "meter-b"
    assert text_of(found).startswith("# set up in spring\n")
    assert "# as ordered" in text_of(found)


def test_one_meter_is_off_by_the_same_in_both(tmp_path: Path) -> None:
    found = merged(tmp_path, ONE, ONE.replace("6.00(6) mA", "6.20(8) mA"))
    assert found.differing[0].difference == pytest.approx(2.0, rel=1e-9)


def test_the_preferred_catalogue_stands(tmp_path: Path) -> None:
    found = merged(tmp_path, ONE, ONE.replace("64 KiB", "96 KiB"), prefer=1)
    assert told(found) == {"memory.flash": ("96 KiB", "64 KiB", "first kept")}
    (row,) = found.differing
    assert (row.kept_from, row.other_from) == (str(tmp_path / "b"), str(tmp_path / "a"))
    assert row.difference is None


def test_a_sheets_figures_are_no_observations(tmp_path: Path) -> None:
    found = merged(tmp_path, ONE, ONE.replace("2.0(1) µA", "2.3(1) µA").replace("20 us", "30 us"))
    assert {outcome for _, _, outcome in told(found).values()} == {"first kept"}
    assert found.differing[0].difference == pytest.approx(0.3 / math.hypot(0.1, 0.1), rel=1e-9)
    assert part_of(found).boards == {}


def test_what_the_other_alone_tells_comes_with_its_evidence(tmp_path: Path) -> None:
    other = ONE.replace("revision 1", "revision 2").replace("flash: 64 KiB", "ram: 16 KiB")
    other = other.replace(
        "{current: {25 degC: 2.0(1) µA}, wake-time: 20 us, evidence: sheet}",
        "{current: {298.15 K: 2.0(1) µA, 60 degC: 5 µA}, wake-time: 20 us, wake-charge: 1 nC, "
        "adds: {rtc: 0.3 µA}, evidence: bench, evidence-of: {60 degC: sheet}}",
    ).replace("kernels:\n", "kernels:\n  crc:\n    fast: {time: 1 ms, evidence: sheet}\n")
    found = merged(tmp_path, ONE, other)
    assert told(found) == {}
    part = part_of(found)
    assert part.memory.flash is not None
    assert part.memory.ram is not None
    state = part.sleep_states["ram-kept"]
    assert state.current is not None
    assert state.current.keys == ("25 degC", "60 degC")
    assert {
        f: evidence_of(state, f) for f in ("25 degC", "60 degC", "wake-time", "wake-charge")
    } == {
        "25 degC": "sheet",
        "60 degC": "sheet-2",
        "wake-time": "sheet",
        "wake-charge": "bench",
    }
    assert evidence_of(state, "adds.rtc") == "bench"
    assert part.kernels["crc"]["fast"].evidence == "sheet-2"
    assert part.evidence["sheet"].note == "revision 1"
    assert part.evidence["sheet-2"].note == "revision 2"


def test_a_figure_without_evidence_borrows_none(tmp_path: Path) -> None:
    state = "{current: {25 degC: 2.0(1) µA}, wake-time: 20 us, evidence: sheet}"
    other = ONE.replace(state, "{wake-time: 20 us, wake-charge: 1 nC}")
    part = part_of(merged(tmp_path, ONE, other))
    assert evidence_of(part.sleep_states["ram-kept"], "wake-charge") == "not-told"
    assert "does not tell" in str(part.evidence["not-told"].note)


def test_another_clock_is_another_point(tmp_path: Path) -> None:
    """Nothing measured at 24 MHz stands at a point of 48 MHz, engines and boards included."""
    other = ONE.replace("48 MHz", "24 MHz").replace(
        "    fast: {time: 0.400(3)",
        "    fast+sha: {time: 0.1 ms, evidence: bench}\n    fast: {time: 0.800(3)",
    )
    other += (
        "boards:\n  b-7: {board: b-7, evidence: bench, "
        "kernels: {hash: {fast: {time: 0.8 ms}}}, common: {kernels.hash.fast.time: 0.1 %}}\n"
    )
    found = merged(tmp_path, ONE, other)
    assert told(found) == {}
    part = part_of(found)
    assert set(part.kernels["hash"]) == {"fast", "fast-2", "fast-2+sha"}
    clocks = {n: p.clock.nominal for n, p in part.operating_points.items() if p.clock is not None}
    assert clocks == {"fast": pytest.approx(48e6), "fast-2": pytest.approx(24e6)}
    assert set(part.boards["b-7"].kernels["hash"]) == {"fast-2"}
    assert set(part.boards["b-7"].common) == {"kernels.hash.fast-2.time"}
    assert [(r.section, r.before, r.after) for r in found.renamed] == [
        ("operating-points", "fast", "fast-2")
    ]


def test_another_supply_is_not_mixed(tmp_path: Path) -> None:
    other = ONE.replace("6.00(6) mA, supply: 3.0 V", "6.20(6) mA, supply: 1.8 V")
    first = ONE.replace("time: 0.400(3) ms, ", "")
    found = merged(tmp_path, first, other)
    assert told(found) == {
        "kernels.hash.fast.time": ("", "0.400(3) ms", "not taken: another supply"),
        "kernels.hash.fast.current": ("6.00(6) mA", "6.20(6) mA", "first kept: another supply"),
        "kernels.hash.fast.supply": ("3.0 V", "1.8 V", "first kept"),
    }
    assert part_of(found).boards == {}
    assert text_of(found) == first


def test_how_anothers_errors_go_together(tmp_path: Path) -> None:
    """A correlation is of the errors of one's own time and current, not of another's."""
    other = ONE.replace(
        "supply: 3.0 V, evidence: bench}\nsleep",
        "supply: 3.0 V, correlation: 0.4, evidence: bench}\nsleep",
    )
    assert other != ONE
    found = merged(tmp_path, ONE, other)
    assert told(found) == {
        "kernels.hash.fast.correlation": ("", "0.4", "not taken: of the other's errors")
    }
    assert text_of(found) == ONE


def test_an_observation_says_how_it_was_taken(tmp_path: Path) -> None:
    """A point's idle current with its supply; a sleep current at its place, spelled as it is."""
    state = (
        "sleep-states:\n  ram-kept: {current: {25 degC: 2.0(1) µA}, wake-time: 20 us, evidence: "
    )
    first = ONE.replace("evidence: sheet}", "evidence: bench}")
    assert state in ONE
    other = first.replace("1.10(2) mA", "1.20(2) mA").replace(
        "{25 degC: 2.0(1) µA}", "{298.15 K: 2.4(1) µA}"
    )
    found = merged(tmp_path, first, other)
    assert set(told(found)) == {
        "operating-points.fast.idle-current",
        "sleep-states.ram-kept.current.25 degC",
    }
    boards = part_of(found).boards
    assert set(boards) == {"a-bench", "b-bench"}
    for board, idle, sleep in (("a-bench", 1.10e-3, 2.0e-6), ("b-bench", 1.20e-3, 2.4e-6)):
        point = boards[board].operating_points["fast"]
        assert point.idle_current is not None
        assert point.supply is not None
        assert point.idle_current.nominal == pytest.approx(idle)
        assert point.supply.text == "3.0 V"
        curve = boards[board].sleep_states["ram-kept"].current
        assert curve is not None
        assert len(curve.x) == 1
        assert curve.y[0].nominal == pytest.approx(sleep)


def test_a_figures_own_evidence_is_told(tmp_path: Path) -> None:
    own = "time: 0.410(4) ms, evidence-of: {time: sheet}, current"
    found = merged(tmp_path, ONE, ONE.replace("time: 0.400(3) ms, current", own))
    (row,) = found.differing
    assert (row.kept_evidence, row.other_evidence) == ("bench", "sheet")
    assert row.outcome == "first kept"


def test_without_any_evidence_none_is_named(tmp_path: Path) -> None:
    bare = ONE.replace(", evidence: sheet}", "}")
    found = merged(tmp_path, bare, bare.replace("wake-time", "adds: {rtc: 0.3 µA}, wake-time"))
    state = part_of(found).sleep_states["ram-kept"]
    assert state.adds
    assert not state.evidence_of
    assert "not-told" not in part_of(found).evidence
    other = ONE.replace(
        "wake-time", "adds: {rtc: 0.3 µA}, evidence-of: {adds.rtc: bench}, wake-time"
    )
    both = merged(tmp_path / "more", bare, other)
    assert evidence_of(part_of(both).sleep_states["ram-kept"], "adds.rtc") == "bench"


def test_a_place_of_a_curve_is_merged_anew(tmp_path: Path) -> None:
    """At the key that stands, in whatever spelling; its evidence's other words stay the first's
    where no observation is new."""
    one = (
        "part: one\ninvented: true\nevidence:\n  bench: {kind: bench, instrument: meter-a}\n"
        "  boards: {kind: bench, note: of 1}\nsleep-states:\n"
        "  ram-kept: {current: {298.15 K: 2.0(3) µA}, evidence: boards}\nboards:\n"
        "  b-1: {board: b-1, evidence: bench, "
        "sleep-states: {ram-kept: {current: {25 degC: 2.0(1) µA}}}}\n"
    )
    assert text_of(merged(tmp_path, one, one.replace("of 1}", "of 1, date: 2026-01-01}"))) == one
    two = one.replace("b-1", "b-2").replace("2.0(1)", "2.2(1)").replace("2.0(3)", "2.2(3)")
    found = merged(tmp_path / "more", one, two)
    part = part_of(found)
    curve = part.sleep_states["ram-kept"].current
    assert curve is not None
    assert curve.keys == ("298.15 K",)
    (whole,) = merging.merge(merging.sessions_of(part))
    assert whole.boards == ("b-1", "b-2")
    assert curve.y[0].nominal == pytest.approx(whole.figure.value, rel=0.01)  # as written
    (row,) = found.differing
    assert row.outcome == "merged anew from 2 boards"
    assert row.kept == curve.y[0].text


def test_observations_are_kept_once(tmp_path: Path) -> None:
    """A figure that an earlier merge has kept as an observation is not counted again."""
    other = ONE.replace("0.400(3) ms", "0.410(4) ms").replace("gain: 0.6 %", "gain: 0.9 %")
    once = merged(tmp_path, ONE, other)
    assert set(part_of(once).boards) == {"a-bench", "b-bench-2"}
    whole = catalogue(tmp_path / "m", text_of(once))
    for source in ("a", "b"):
        assert text_of(combine([whole, tmp_path / source])) == text_of(once)
        assert len(part_of(combine([tmp_path / source, whole])).boards) == 2


@pytest.mark.parametrize(
    ("other", "rows"),
    [
        ("{currency: USD, breaks: {10: 1.00}}", {"price.currency", "price.breaks.10"}),
        ("{currency: EUR, breaks: {1: 1.50, 1000: 0.9}}", {"price.breaks.1000"}),
    ],
)
def test_two_price_lists_are_not_mixed(other: str, rows: set[str], tmp_path: Path) -> None:
    found = merged(
        tmp_path, ONE, ONE.replace("{currency: EUR, breaks: {1: 1.50, 100: 1.10}}", other)
    )
    assert set(told(found)) == rows
    assert text_of(found) == ONE


def boards(*values: tuple[str, str]) -> str:
    """A part whose kernel's time is merged from boards."""
    sessions = "".join(
        f"  {name}: {{board: {name}, date: 2026-03-01, evidence: bench, "
        f"kernels: {{hash: {{fast: {{time: {time}, supply: 3.0 V}}}}}}}}\n"
        for name, time in values
    )
    return (
        "part: one\ninvented: true\nevidence:\n"
        "  bench: {kind: bench, instrument: meter-a}\n"
        f"  boards-fast: {{kind: bench, note: of {len(values)}}}\n"
        "operating-points:\n  fast: {clock: 48 MHz}\n"
        "kernels:\n  hash:\n    fast: {time: 0.400(9) ms, supply: 3.0 V, evidence: boards-fast}\n"
        f"boards:\n{sessions}"
    )


def test_observations_of_both_are_merged_anew(tmp_path: Path) -> None:
    """The figure is that of all boards at once, as if one session after the other had been put into
    one file; an id that both use for another board goes on under a new one."""
    first = boards(("b-1", "0.400(3) ms"), ("b-2", "0.404(3) ms"))
    second = boards(("b-2", "0.410(3) ms"), ("b-3", "0.391(3) ms")).replace("0.400(9)", "0.401(9)")
    found = merged(tmp_path, first, second)
    part = part_of(found)
    assert set(part.boards) == {"b-1", "b-2", "b-2-2", "b-3"}
    (whole,) = merging.merge(merging.sessions_of(part))
    time = part.kernels["hash"]["fast"].time
    assert time is not None
    # as written, to two digits of u
    assert time.nominal == pytest.approx(whole.figure.value, rel=1e-3)
    assert time.u == pytest.approx(whole.figure.u, rel=0.05)
    # b-2 was on two benches: three boards, four sessions
    assert "3 boards, 4 sessions" in str(part.evidence["boards-fast"].note)
    assert told(found)["kernels.hash.fast.time"] == (
        time.text,
        "0.401(9) ms",
        "merged anew from 3 boards",
    )
    assert ("boards", "b-2", "b-2-2") in {(r.section, r.before, r.after) for r in found.renamed}


def test_merging_again_changes_nothing(tmp_path: Path) -> None:
    """A merged catalogue with either of its own, whichever stands first."""
    other = ONE.replace("0.400(3) ms", "0.410(4) ms").replace("gain: 0.6 %", "gain: 0.9 %")
    other = other.replace("48 MHz", "24 MHz")
    once = merged(tmp_path, ONE, other)
    whole = catalogue(tmp_path / "m", text_of(once))
    for source in ("a", "b"):
        again = combine([whole, tmp_path / source])
        assert text_of(again) == text_of(once)
        assert set(part_of(combine([tmp_path / source, whole])).kernels["hash"]) == {
            "fast",
            "fast-2",
        }


@pytest.mark.once
def test_a_part_that_states_everything(tmp_path: Path) -> None:
    """Each key of a part, alone in the other, is taken; with every key in both, none is told."""
    text = PART.replace("part: probe-part", "part: one") if "probe-part" in PART else PART
    root: Any = read_text(text, "one").root
    for name, _ in root.value:
        if name.value in ("part", "evidence", "operating-points"):
            continue
        lines = text.splitlines(keepends=True)
        starts = [n for n, line in enumerate(lines) if line[0] not in " #\n"]
        begin = next(n for n in starts if lines[n].startswith(f"{name.value}:"))
        end = next((n for n in starts if n > begin), len(lines))
        short = "".join(lines[:begin] + lines[end:])
        folder = tmp_path / name.value
        first, second = catalogue(folder / "a", short), catalogue(folder / "b", text)
        try:
            load_catalogue([first])
        except FaultError:
            continue  # what others need is not left out
        found = combine([first, second])
        (of,) = (data for path, data in found.contents.items() if path.startswith("parts/"))
        ours = read_text(of, "m").root
        assert sorted(map(str, _flat(ours))) == sorted(map(str, _flat(root))), name.value
        assert found.differing == ()


def _flat(node: Any, at: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    if isinstance(node.value, str):
        return [(*at, node.value)]
    out = []
    for n, item in enumerate(node.value):
        name, value = item if isinstance(item, tuple) else (None, item)
        out += _flat(value, (*at, str(n) if name is None else name.value))
    return out


@pytest.mark.parametrize("order", [("true", "false"), ("false", "true")])
def test_what_holds_anything_invented_is(order: tuple[str, str], tmp_path: Path) -> None:
    found = merged(tmp_path, *(ONE.replace("invented: true", f"invented: {w}") for w in order))
    assert part_of(found).invented


def test_files_that_go_with_no_other(tmp_path: Path) -> None:
    """Half a table of a cell's is none of another sheet's; another kernel's work is refused."""
    a, b = (catalogue(tmp_path / n, ONE) for n in "ab")
    cell = (catalogue_folder() / "cells" / "lm-thumb.yaml").read_text()
    for path, text in ((a, cell), (b, cell.replace("0:", "0.01:", 1))):
        (path / "cells").mkdir()
        (path / "cells" / "lm-thumb.yaml").write_text(text)
    assert cell != cell.replace("0:", "0.01:", 1)
    found = combine([a, b])
    assert found.contents["cells/lm-thumb.yaml"].decode() == cell
    assert len(found.differing) == 1
    kernels = (b / "kernels.yaml").read_text()
    (b / "kernels.yaml").write_text(kernels.replace("hash: {", "hash: {version: 2, ", 1))
    part = b / "parts" / "one.yaml"
    part.write_text(ONE.replace("one", "two").replace("fast: {time", "fast: {version: 2, time"))
    part.rename(part.with_name("two.yaml"))
    load_catalogue([b])
    with pytest.raises(FaultError, match="merged"):
        combine([a, b])


def test_what_is_refused_and_what_is_left(tmp_path: Path) -> None:
    a, b = catalogue(tmp_path / "a", ONE), catalogue(tmp_path / "b", ONE + "nonsense: 1\n")
    for folders in ([a], [a, a], [a, tmp_path / "." / "a"]):
        with pytest.raises(FaultError, match="two catalogues"):
            combine(folders)
    with pytest.raises(FaultError, match="nonsense"):
        combine([a, b])
    (b / "parts" / "one.yaml").write_text(ONE)
    with pytest.raises(FaultError, match="--prefer"):
        combine([a, b], prefer=tmp_path)
    (b / "LICENSE").write_text("x")
    assert combine([a, b]).notes == (f"{b}: LICENSE not taken",)
    (b / "cells").mkdir()
    cell = (catalogue_folder() / "cells" / "lm-thumb.yaml").read_text()
    (b / "cells" / "one.yaml").write_text(cell.replace("cell: lm-thumb", "cell: one"))
    (b / "parts" / "one.yaml").unlink()
    with pytest.raises(FaultError, match="an id that only one file"):
        combine([a, b])


def test_catalogues_that_are_laid_over_another(tmp_path: Path) -> None:
    a, b = (catalogue(tmp_path / n, t, kernels=False) for n, t in (("a", ONE), ("b", ONE)))
    assert set(combine([a, b], over=[catalogue_folder()]).contents) == {"parts/one.yaml"}
