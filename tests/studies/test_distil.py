"""From a rehearsed trace to a part's file, a comparison and a shortlist, as a user goes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from advisor.bench.kernels import KERNELS
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.schema_bench import Notes
from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError
from advisor.studies.compare import compare
from advisor.studies.distil import NO_LOG, distil
from advisor.studies.into_part import into_part
from advisor.studies.rehearse import rehearse
from tests.cli.conftest import Caller
from tests.cli.conftest import said as said  # the fixture
from tests.on_bench.sessions import NOTES, pack_session

pytestmark = pytest.mark.once


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    pack_session(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_whole_way(bench: Path, said: Caller) -> None:
    """distil into a part that has all else, catalog check, compare, shortlist."""
    parts = bench / "mine" / "parts"
    parts.mkdir(parents=True)
    base = (catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text()
    text = base.replace("part: quorvane-tib", "part: my-part")
    mine = parts / "my-part.yaml"
    mine.write_text(text)
    code, out, err = said("distil", "trace.csv", "--bench", "notes.yaml", "-o", str(mine))
    assert code == 0
    assert "REHEARSED" in out
    after = mine.read_text()
    # whatever gave way is said, with what stood and what stands
    was = re.search(r"  hash:\n    fast: \{time: (.*?), current", text)
    now = re.search(r"  hash:\n    fast: \{time: (.*?), current", after)
    assert was is not None
    assert now is not None
    assert f"{mine}: kernels.hash.fast.time: {was[1]} is now {now[1]}\n" in err
    gone = [line for line in text.splitlines() if line not in after.splitlines()]
    # only what was measured is another line: nine kernels at one point, its idle and sleep currents
    assert all(re.match(r"    (fast|current|evidence):|  fast:", line) for line in gone)
    folders = ["--catalog", str(catalogue_folder()), "--catalog", "mine"]
    code, out, err = said("catalog", "check", *folders)
    assert code == 0, err
    code, out, _ = said("compare", "my-part", "quorvane-tib", *folders, "--format", "json")
    rows = json.loads(out)["kernels"]
    assert {row["part"] for row in rows["control"]} == {"my-part"}
    for kernel in ("hash", "filter"):
        mine_, theirs = (
            next(r for r in rows[kernel] if r["part"] == p and r["point"] == "fast")
            for p in ("my-part", "quorvane-tib")
        )
        assert mine_["energy_j"] == pytest.approx(theirs["energy_j"], rel=0.02)
        assert mine_["energy_u_j"] < theirs["energy_u_j"]
    code, out, _ = said("shortlist", "frost-post", *folders, "--format", "json", "--draws", "20")
    found = json.loads(out)
    assert "my-part" in [row["part"] for row in found["ranking"]]
    assert found["invented"]


def test_truth_is_found_again(bench: Path) -> None:
    """Every figure inside three standard uncertainties of the rehearsal's truth."""
    plan = rehearse(bench / "notes.yaml", load_catalogue([catalogue_folder()]))
    found = distil(bench / "notes.yaml", [bench / "trace.csv"]).figures
    assert set(found.kernels) == set(KERNELS)
    for name, work in found.kernels.items():
        time, current = plan.truth.kernels[name]
        assert abs(work.time.value - time) < 3 * work.time.u
        assert abs(work.current.value - current) < 3 * work.current.u


def test_document_is_as_agreed(bench: Path, said: Caller) -> None:
    code, out, err = said("distil", "trace.csv", "--bench", "notes.yaml", "--format", "json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["invented"] is True
    q = found["figures"]["hash"]["fast"]["energy_j"]
    assert set(q) == {"value", "u", "dof", "k95", "budget"}
    assert {"A", "B"} == {line["type"] for line in q["budget"]}
    assert q["u"] ** 2 == pytest.approx(sum(line["u"] ** 2 for line in q["budget"]))
    assert found["segments"][0]["runs"] == 20
    assert found["idle"]["fast"]["current_a"]["value"] == pytest.approx(1.53e-3, rel=0.01)
    assert found["sleep"]["ram-kept"]["currents"][0]["temperature_degc"] == 25
    code, csv, _ = said("distil", "trace.csv", "--bench", "notes.yaml", "--format", "csv")
    assert csv.splitlines()[0].startswith("of,figure,source,type,value,u")


@pytest.mark.slow
def test_same_rehearsal_same_bytes(bench: Path) -> None:
    loaded = load_catalogue([catalogue_folder()])
    for name in ("a.csv", "a.csv.gz", "a.parquet"):
        once, again, other = (
            rehearse(bench / "notes.yaml", loaded, seed).write(bench / name)[bench / name]
            for seed in (1, 1, 2)
        )
        assert once == again != other
        (bench / name).write_bytes(once)
        assert distil(bench / "notes.yaml", [bench / name]).invented
    same = {
        name: distil(bench / "notes.yaml", [bench / name]).figures.kernels["hash"].energy.value
        for name in ("a.csv", "a.csv.gz", "a.parquet")
    }
    assert len({f"{value:.10g}" for value in same.values()}) == 1


def test_rehearsed_stays_invented(bench: Path) -> None:
    """Whoever calls a rehearsal recorded is refused; its figures bear the mark in the file."""
    text = (bench / "notes.yaml").read_text()
    (bench / "lie.yaml").write_text(text.replace("origin: rehearsed ", "origin: recorded "))
    for ending in ("csv", "parquet", "npz"):
        plan = rehearse(bench / "notes.yaml", load_catalogue([catalogue_folder()]))
        (bench / f"t.{ending}").write_bytes(
            plan.write(bench / f"t.{ending}")[bench / f"t.{ending}"]
        )
        with pytest.raises(FaultError, match="bears that mark, for good"):
            distil(bench / "lie.yaml", [bench / f"t.{ending}"])
    after = into_part(distil(bench / "notes.yaml", [bench / "trace.csv"]), None, "my-part.yaml")
    assert "invented: true" in after
    assert "kind: estimate" in after
    assert "not measured" in after


def test_recorded_traces_are_evidence_of_the_bench(tmp_path: Path) -> None:
    """Date, digest, instrument and its gain; the gain is not told twice."""
    made = tmp_path / "made.yaml"
    made.write_text(NOTES)
    plan = rehearse(made, load_catalogue([catalogue_folder()]))
    trace = tmp_path / "trace.csv"
    trace.write_bytes(plan.write(trace)[trace].partition(b"\n")[2])
    notes = tmp_path / "notes.yaml"
    notes.write_text(NOTES.replace("origin: rehearsed", "origin: recorded\ndate: 2026-03-01"))
    found = distil(notes, [trace])
    assert found.warnings[0] == NO_LOG
    after = into_part(found, None, "bench-demo.yaml")
    assert "invented" not in after
    entry = re.search(r"bench-2026-03-01-fast: (\{.*\})", after)
    assert entry is not None
    for word in (
        "kind: bench",
        "date: 2026-03-01",
        "instrument: meter-a",
        "gain: 0.1 %",
        "SHA-256",
    ):
        assert word in entry[1]
    (tmp_path / "c" / "parts").mkdir(parents=True)
    (tmp_path / "c" / "parts" / "bench-demo.yaml").write_text(after)
    part = load_catalogue([catalogue_folder(), tmp_path / "c"]).parts["bench-demo"]
    figure = part.kernels["hash"]["fast"].current
    assert figure is not None
    whole = found.figures.kernels["hash"].current
    gain = 1e-3 / np.sqrt(3) * whole.value
    # two digits of u are kept in the file: 1.05 may stand as 1.0 or 1.1
    assert np.hypot(figure.u, gain) == pytest.approx(whole.u, rel=0.05)
    table = compare(load_catalogue([catalogue_folder(), tmp_path / "c"]), ["bench-demo"], ["hash"])
    energy = found.figures.kernels["hash"].energy
    row = table.kernels["hash"][0]
    assert row.energy_j == pytest.approx(energy.value, rel=1e-3)
    # time and current are taken as independent there; their repeats here are told together
    assert row.energy_u_j == pytest.approx(energy.u, rel=0.25)


def test_wrong_kernels_are_refused(bench: Path, said: Caller) -> None:
    log = bench / "run.txt"
    text = log.read_text()
    log.write_text(
        text.replace(
            "kernel=crc run=7 units=40 ticks=9 check=right",
            "kernel=crc run=7 units=40 ticks=9 check=WRONG",
        )
    )
    code, out, err = said("distil", "trace.csv", "--bench", "notes.yaml", "-o", "my-part.yaml")
    assert (code, out) == (2, "")
    assert "kernel crc computed wrong in run 7" in err
    assert not (bench / "my-part.yaml").exists()
    log.write_text(text.replace("kernel=crc", "kernel=crk"))
    assert 'no line of kernel "crc"' in said("distil", "trace.csv", "--bench", "notes.yaml")[2]
    log.write_text(text.replace("units=40", "units=41"))
    assert "as in segments" in said("distil", "trace.csv", "--bench", "notes.yaml")[2]
    log.unlink()
    assert "no such file" in said("distil", "trace.csv", "--bench", "notes.yaml")[2]


def test_bad_calls_write_nothing(bench: Path, said: Caller) -> None:
    text = (bench / "notes.yaml").read_text()
    (bench / "col.yaml").write_text(text.replace("column: i,", "column: j,"))
    cases = [
        (["distil", "trace.csv", "--bench", "col.yaml"], 'no column "j"'),
        (["distil", "none.csv", "--bench", "notes.yaml"], "no such file"),
        (["distil", "trace.csv", "--bench", "none.yaml"], "no such file"),
        (["distil", "trace.csv", "--bench", "trace.csv"], "trace.csv"),
        (["distil", "trace.csv", "--bench", "notes.yaml", "-o", "other.yaml"], "my-part.yaml"),
        (["distil", "trace.csv", "--bench", "notes.yaml", "-o", "no/my-part.yaml"], "no folder"),
        (["rehearse", "notes.yaml", "-o", "a.wav"], "ends in"),
        (["rehearse", "notes.yaml", "--want", "0 %"], "above zero"),
        (["kernels", "export", "."], "a new or empty folder"),
        (["kernels", "verify", "--target", "hots"], "host"),
        (["kernels", "verify", "--optimise", "fast"], "0, 1, 2, 3 or s"),
        (["kernels", "verify", "--log", "notes.yaml"], "no kernel's line"),
    ]
    for name, old, new in (
        ("many", "runs: 20}", "runs: 999999999}"),
        ("long", "units: 20, runs", "units: 999999999999, runs"),
        ("shaky", "jitter: 2 us", "jitter: 2 s"),
        ("wild", "spread: 0.2 %", "spread: 50 %"),
        ("comma", "  marker:", "  decimal: comma\n  marker:"),
    ):
        (bench / f"{name}.yaml").write_text(text.replace(old, new, 1))
    cases += [
        (["rehearse", "many.yaml", "-o", "x.csv"], "fewer runs"),
        (["rehearse", "long.yaml", "-o", "x.csv"], "fewer runs"),
        (["rehearse", "shaky.yaml", "-o", "x.csv"], "at most the pause"),
        (["rehearse", "wild.yaml"], "spread"),
        (["rehearse", "comma.yaml"], "trace.decimal"),
    ]
    (bench / "mine").mkdir()
    (bench / "mine" / "my-part.yaml").write_bytes(b"part: my-part # \xff")
    bad = ["distil", "trace.csv", "--bench", "notes.yaml", "-o", "mine/my-part.yaml"]
    cases.append((bad, "text in UTF-8"))
    before = sorted(bench.iterdir())
    for call, words in cases:
        code, out, err = said(*call)
        assert (code, out) == (2, ""), (call, err)
        assert words in err, (call, err)
    assert sorted(bench.iterdir()) == before


def test_a_curve_needs_a_temperature(bench: Path) -> None:
    base = (catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text()
    base = base.replace("part: quorvane-tib", "part: my-part")
    found = distil(bench / "notes.yaml", [bench / "trace.csv"])
    after = into_part(found, base, "my-part.yaml")
    line = next(x for x in after.splitlines() if "-20 degC: 874 nA" in x)
    assert "60 degC: 5.35 µA" in line
    assert "1.59 µA ± 25 %" not in line
    text = (bench / "notes.yaml").read_text().replace(", temperature: 25 degC", "")
    (bench / "notes.yaml").write_text(text)
    cold = distil(bench / "notes.yaml", [bench / "trace.csv"])
    with pytest.raises(FaultError, match="over temperature"):
        into_part(cold, base, "my-part.yaml")
    with pytest.raises(FaultError, match="the part that"):
        into_part(found, base.replace("part: my-part", "part: other"), "my-part.yaml")


def test_plans_say_what_suffices(bench: Path, said: Caller) -> None:
    code, out, _ = said("rehearse", "notes.yaml", "--want", "1%", "--format", "json")
    found = json.loads(out)
    assert code == 0
    assert found["reaches"]["half_width_95"] <= 0.01
    better = [p for p in found["plan"] if p["rate_hz"] < found["reaches"]["rate_hz"]]
    assert all(p["half_width_95"] > 0.01 for p in better)
    code, out, _ = said("rehearse", "notes.yaml", "--want", "0.01%")
    assert code == 1
    assert "no number of runs makes less" in out


def test_plans_say_how_many_boards_suffice(bench: Path, said: Caller) -> None:
    """The mean's interval falls with the root of the boards, the next unit's to the spread's."""
    notes = bench / "notes.yaml"
    notes.write_text(notes.read_text().replace("  jitter:", "  board-spread: 2 %\n  jitter:"))
    call = ("rehearse", "notes.yaml", "--want-mean", "2 %", "--format", "json")
    code, out, _ = said(*call)
    plan = json.loads(out)["boards"]
    assert code == 0
    assert (plan["spread"], plan["usual"]) == (0.02, False)
    widths = {row["boards"]: row for row in plan["rows"]}
    fewest = plan["mean"]
    assert widths[fewest]["mean_half_95"] <= 0.02
    assert all(w["mean_half_95"] > 0.02 for n, w in widths.items() if n < fewest)
    assert widths[30]["next_half_95"] == pytest.approx(1.96 * 0.02, rel=0.1)
    code, out, _ = said(*call[:2], "--want-next", "3 %")
    assert code == 1
    assert "3 % of the next unit: not reached" in out


def test_every_key_of_the_notes_counts() -> None:
    """A key that changes nothing is a defect; these are read where figures, or files, are made."""
    from advisor.catalogue.fields import specification

    source = "".join(
        path.read_text("utf-8")
        for folder in ("bench", "studies")
        for path in (Path(__file__).parents[2] / "advisor" / folder).glob("*.py")
    )
    for name, declared in specification(Notes).items():
        assert re.search(rf"\.{declared.attribute}\b", source), name
