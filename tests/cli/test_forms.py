"""What the answers look like: widths, forms, files."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.shipped import catalogue_folder, product_files
from tests.cli.conftest import Caller

HANG = 30  # s, a guard against hanging on a slow machine, no claim of speed
LONG = ["outlook", "barrel-tag", "--points", "3", "--draws", "20"]
LONG += ["--along", "barrel-tag:workload.sample.every=5s:120s"]


SCREENS = [
    ["shortlist", "frost-post"],
    ["shortlist", "barrel-tag"],
    ["shortlist", "valve-driver"],
    ["explain", "frost-post", "helmaric-lep"],
    ["explain", "valve-driver", "quorvane-jor"],
    ["explain", "barrel-tag", "ostrel-ruv"],
    LONG,
    ["catalog", "list"],
    ["catalog", "show", "quorvane-jor"],
    ["catalog", "check"],
    ["product", "list"],
    ["product", "check", "frost-post"],
    ["schema", "part"],
]


@pytest.mark.once
@pytest.mark.usefixtures("studied_once")
@pytest.mark.parametrize("arguments", SCREENS, ids=" ".join)
def test_screens_keep_to_their_width_and_lose_nothing(said: Caller, arguments: list[str]) -> None:
    extra = [] if arguments[0] != "shortlist" else ["--draws", "200"]
    wide = said(*arguments, *extra)
    assert wide[0] == 0
    words = set(re.findall(r"[a-z]+(?:-[a-z0-9]+)+", wide[1]))
    assert "\x1b" not in wide[1]
    for width in (80, 60, 40):
        narrow = said(*arguments, *extra, "--width", str(width))
        assert narrow[0] == 0
        # what stands at any width stands at this one: nothing is cut; a column of a shortlist that
        # there is no room for goes with its legend, a second reason of a row as ", ..."
        lost = words - set(re.findall(r"[a-z]+(?:-[a-z0-9]+)+", narrow[1]))
        may_go = {"set-up", *CRITERIA} if arguments[0] == "shortlist" else set()
        assert lost <= may_go, lost
        longest = max(narrow[1].splitlines(), key=len)
        if width == 80 or arguments[0] == "explain":
            assert len(longest) <= width or " " not in longest.strip(), longest
        assert "…" not in narrow[1] or arguments[0] == "schema"


@pytest.mark.parametrize("form", ["table", "json", "csv"])
@pytest.mark.parametrize(
    "command", [["shortlist", "barrel-tag"], ["explain", "barrel-tag", "quorvane-tib"]]
)
def test_cautions_show_in_every_form_however_quiet(
    said: Caller, command: list[str], form: str
) -> None:
    code, out, err = said(*command, "--draws", "0", "--format", form, "--quiet")
    assert code == 0
    assert err == ""
    flat = " ".join(out.split())
    assert "button cells kill children" in flat
    assert "This advises, it does not certify" in flat
    assert re.search("invented|DEMONSTRATION", out) or command[0] == "explain"


@pytest.mark.once
def test_each_part_takes_a_line_and_its_reason_at_eighty_columns(said: Caller) -> None:
    for name in product_files():
        _, out, _ = said("shortlist", name, "--width", "80", "--draws", "0")
        lines = out.splitlines()
        start = next(i for i, line in enumerate(lines) if re.match(r" *# +part", line)) + 1
        table = []
        for line in lines[start:]:
            if not line:
                break
            table.append(line)
        parts = re.split(r"\n(?= *\d+  [a-z])", "\n".join(table))
        # the first one's reason is the answer's own
        assert len(parts[0].splitlines()) == 1
        for part in parts[1:]:
            figures, *why = part.splitlines()
            assert re.match(r" *\d+  [a-z]", figures), figures
            assert why[0].startswith("   on ")
            assert "behind" in why[0]
            assert len(why[0]) <= 80
            # the last one goes before what is not listed
            assert why[1:] in ([], [line for line in why if "more: --top" in line])


KEYS = {
    "product", "seed", "draws", "invented", "ranking", "screened_out", "set_aside", "evidence",
    "cautions", "warnings",
}  # fmt: skip
RANKED = {
    "rank": None,
    "part": None,
    "score": None,
    "first_place_probability": None,
    "meets_life_target_probability": None,
    "build": {"cell", "series", "parallel", "converter", "sleep_state", "addons",
              "operating_points", "engines"},
    "power": {"rail_current_a", "battery_current_a", "busy_share", "breakdown_a"},
    "battery_life_s": {"nominal", "p05", "p50", "p95", "ends_by"},
    "cost": {"currency", "purchase", "development", "upkeep", "lifetime"},
    "criteria": {"battery-life"},
}  # fmt: skip


def test_the_json_is_the_agreed_one(said: Caller) -> None:
    code, out, err = said("shortlist", "frost-post", "--format", "json", "--draws", "100")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found.keys() >= KEYS
    first = found["ranking"][0]
    assert first.keys() >= RANKED.keys()
    for key, inner in RANKED.items():
        if inner is not None:
            assert first[key].keys() >= inner, key
    assert first["power"]["breakdown_a"].keys() == {"sleep", "standing", "addons", "tasks"}
    assert first["criteria"]["battery-life"].keys() >= {"value", "unit", "utility", "weight"}
    assert found["screened_out"][0]["failed"][0].keys() >= {"need", "required", "offered"}
    assert found["set_aside"][0]["missing"]
    assert sum(found["evidence"].values()) == pytest.approx(1.0)
    total = sum(p["first_place_probability"] for p in found["ranking"])
    assert total == pytest.approx(1.0)
    numbers = re.findall(r": (-?\d\.\d+(?:e-?\d+)?)", out)
    assert numbers
    for number in numbers:
        assert len(re.sub(r"e.*|[-.]", "", number).lstrip("0")) <= 12


@pytest.mark.once
def test_the_same_seed_gives_the_same_bytes(said: Caller) -> None:
    call_ = ["shortlist", "barrel-tag", "--format", "json", "--draws", "4100"]
    first = said(*call_)
    assert said(*call_, "--jobs", "2") == first
    assert said(*call_, "--seed", "2")[1] != first[1]


def test_csv_parses_and_guards_against_formulas(said: Caller, tmp_path: Path) -> None:
    code, out, _ = said("shortlist", "frost-post", "--format", "csv", "--draws", "0")
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [r["rank"] for r in rows] == [str(i + 1) for i in range(len(rows))]
    (tmp_path / "parts").mkdir()
    text = (catalogue_folder() / "parts/ostrel-yab.yaml").read_text()
    text = re.sub(r"(?m)^summary:.*$", 'summary: "=HYPERLINK(1)"', text)
    (tmp_path / "parts/ostrel-yab.yaml").write_text(text)
    shipped = str(catalogue_folder())
    _, out, _ = said(
        "catalog", "list", "--catalog", shipped, "--catalog", str(tmp_path), "--format", "csv"
    )
    cells = [cell for row in csv.reader(io.StringIO(out)) for cell in row]
    assert "'=HYPERLINK(1)" in cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)


def test_output_is_all_or_nothing(
    said: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = tmp_path / "answer.json"
    arguments = ["shortlist", "barrel-tag", "--format", "json", "--draws", "0"]
    assert said(*arguments, "-o", str(answer)) == (0, "", "")
    before = answer.read_text()
    assert json.loads(before)["product"] == "barrel-tag"
    assert said(*arguments, "-o", str(answer), "--set", "barrel-tag:rail=3 A")[0] == 2
    assert answer.read_text() == before

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    code, out, err = said(*arguments, "-o", str(answer))
    assert (code, out) == (2, "")
    assert "No space left" in err
    assert answer.read_text() == before
    assert [p.name for p in tmp_path.iterdir()] == ["answer.json"]


@pytest.mark.usefixtures("studied_once")
@pytest.mark.once
def test_plots_are_drawn_in_either_format(said: Caller, tmp_path: Path) -> None:
    for name, begins in (("a.svg", b"<?xml"), ("c.PNG", b"\x89PNG")):
        assert said(*LONG, "--plot", str(tmp_path / name), "--quiet")[0] == 0
        assert (tmp_path / name).read_bytes().startswith(begins)
    assert b"<svg" in (tmp_path / "a.svg").read_bytes()


@pytest.mark.once
def test_tips_and_worths_are_drawn(said: Caller, tmp_path: Path) -> None:
    few = ("--draws", "100", "--quiet")
    lever = ("--lever", "quorvane-tib:supply.max", "--points", "2")
    for call_ in (("tipping", "barrel-tag", *lever), ("gaps", "barrel-tag")):
        drawing, answer = tmp_path / f"{call_[0]}.svg", tmp_path / f"{call_[0]}.json"
        assert (
            said(*call_, *few, "--plot", str(drawing), "--format", "json", "-o", str(answer))[0]
            == 0
        )
        assert b"<svg" in drawing.read_bytes()
        assert json.loads(answer.read_text())["product"] == "barrel-tag"
        # one file for both, and an ending that says nothing
        assert said(*call_, *few, "--plot", str(drawing), "-o", str(drawing))[0] == 2
        assert said(*call_, *few, "--plot", str(tmp_path / "a.pdf"))[0] == 2


@pytest.mark.slow
def test_plots_are_drawn_the_same_each_time(said: Caller, tmp_path: Path) -> None:
    """Studied and drawn anew each time, for two figures."""
    figures = ("barrel-tag:cost.engineer-rate",)
    arguments = [*LONG, *(word for figure in figures for word in ("--along", figure))]
    drawn = []
    for name in ("a.svg", "b.svg"):
        assert said(*arguments, "--plot", str(tmp_path / name), "--quiet")[0] == 0
        drawn.append((tmp_path / name).read_bytes())
    assert drawn[0] == drawn[1]


def test_a_plot_of_wrong_input_is_not_drawn(said: Caller, tmp_path: Path) -> None:
    refused = tmp_path / "d.svg"
    code, _, _ = said(*LONG, "--plot", str(refused), "--set", "barrel-tag:rail=3 A")
    assert code == 2
    assert not refused.exists()


def test_a_product_from_standard_input() -> None:
    text = product_files()["barrel-tag"].read_text()
    done = subprocess.run(
        [sys.executable, "-m", "advisor", "shortlist", "-", "--draws", "0", "--format", "json"],
        input=text,
        capture_output=True,
        text=True,
        timeout=HANG,
        check=True,
    )
    assert json.loads(done.stdout)["ranking"][0]["part"] == "quorvane-tib"


@pytest.mark.once
def test_no_colour_in_a_pipe_nor_where_it_is_unwanted() -> None:
    import pty

    def on_terminal(**changes: str) -> str:
        main, side = pty.openpty()
        environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", **changes}
        with subprocess.Popen(
            [sys.executable, "-m", "advisor", "product", "list"],
            stdout=side,
            stderr=side,
            env=environment,
        ) as process:
            os.close(side)
            out = b""
            while True:
                try:
                    piece = os.read(main, 65536)
                except OSError:
                    break
                if not piece:
                    break
                out += piece
            process.wait(timeout=HANG)
        os.close(main)
        return out.decode().replace("\r\n", "\n")

    coloured = on_terminal()
    assert "\x1b[" in coloured
    plain = on_terminal(NO_COLOR="1")
    assert "\x1b" not in plain
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain
