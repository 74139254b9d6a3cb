"""Every fault of a call at once: of its options, of files, of what rests on both."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from advisor.catalogue.places import catalogue_folder, product_files
from advisor.cli.application import app
from advisor.cli.bundles import ReadingCommand
from tests.cli.conftest import Caller

pytestmark = pytest.mark.once

NO_KEY, NO_UNIT = ("--set", "barrel-tag:nokey=1"), ("--set", "barrel-tag:rail=5")
NO_FOLDER, NO_CATALOG = ("-o", "nodir/x"), ("--catalog", "nonexist")
NO_ID = ("--set", "foo:bar=1")

CASES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "output and changes": (
        (
            *("shortlist", "barrel-tag", *NO_FOLDER, *NO_UNIT, *NO_KEY),
            *("--set", "quorvane-tib:memory.flash=-3 KiB"),
        ),
        ("--output", "quorvane-tib:memory.flash", "barrel-tag:rail", "barrel-tag:nokey"),
    ),
    "a catalogue too": (
        ("shortlist", "barrel-tag", *NO_FOLDER, *NO_UNIT, *NO_CATALOG, "--draws", "x"),
        ("--draws", "--output", "nonexist", "barrel-tag:rail"),
    ),
    "a product that is not there": (
        ("shortlist", "nosuch", *NO_FOLDER, *NO_ID),
        ("--output", "PRODUCT", "foo:bar=1"),
    ),
    "an id that might be the product's": (
        ("shortlist", "barel-tag", "--set", "barel-tag:rail=3 V", *NO_KEY),
        ("PRODUCT",),
    ),
    "an id beside a product at fault": (
        ("shortlist", "barrel-tag", *NO_UNIT, *NO_ID),
        ("barrel-tag:rail", "foo:bar=1"),
    ),
    "products of a family": (
        ("family", "nosuch", *NO_FOLDER, *NO_ID),
        ("--output", "PRODUCT", NO_ID[1]),
    ),
    "levers": (
        ("tipping", "barrel-tag", "--lever", "nonsense", "--lever", NO_KEY[1][:-2], *NO_UNIT),
        ("barrel-tag:rail", "nonsense", "barrel-tag:nokey"),
    ),
    "ways of an outlook": (
        (
            *("outlook", "barrel-tag", "nopart", "--along", "barrel-tag:nokey=1:2"),
            *("--along", "barrel-tag:cost.units=9:3", "--points", "0", "--plot", "x.gif"),
        ),
        ("--points", "--plot", "PART", "barrel-tag:nokey", "--along"),
    ),
    "a lever that a sound change makes": (
        (
            *("outlook", "barrel-tag", "--along", "barrel-tag:life-target", *NO_UNIT),
            *("--set", "barrel-tag:life-target=5 years", "--width", "20"),
        ),
        ("--width", "barrel-tag:rail"),
    ),
    "parts to explain": (
        ("explain", "barrel-tag", "nopart", "--over", "none", "--seed", "-1", *NO_KEY),
        ("--seed", "barrel-tag:nokey", "PART", "--over"),
    ),
    "an order of criteria": (
        ("weights", "barrel-tag", "--order", "battery-life,toolchain", "--ask", "what", *NO_UNIT),
        ("--ask", "barrel-tag:rail", "--order", "--order", "--order"),
    ),
    "parts and kernels": (
        ("compare", "nopart", "--kernel", "foo", "--plot", "a.gif", "--at-clock", "7"),
        ("--plot", "--at-clock", "PART", "--kernel"),
    ),
    "a report": (
        ("report", "barrel-tag", "-o", "x.foo", "--along", "nonsense", "--draws", "-1"),
        ("--draws", "--output", "nonsense"),
    ),
    "a decision": (
        ("decide", "barrel-tag", "--because", "x", "--plan", "2", *NO_UNIT),
        ("PART", "--plan", "barrel-tag:rail"),
    ),
    "options alone": (
        ("shortlist", "--seed", "-1", "--format", "nope"),
        ("--seed", "--format", "PRODUCT"),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_faults_that_rest_on_nothing_of_each_other_are_told_at_once(
    said: Caller, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    arguments, paths = CASES[name]
    code, out, err = said(*arguments)
    assert (code, out) == (2, "")
    count = f"part-advisor: {len(paths)} fault{'' if len(paths) == 1 else 's'}, nothing written"
    assert err.splitlines()[-1] == count
    assert all(f"{path}: read " in err for path in paths)
    if arguments[0] not in ("report", "decide") and "--format" not in arguments:
        told = json.loads(said(*arguments, "--format", "json")[2])["faults"]
        assert [one["path"] for one in told] == list(paths)
    assert not [*tmp_path.iterdir()]


def test_a_parameter_alone_is_told_as_a_wrong_call(said: Caller) -> None:
    code, _, err = said("shortlist", "barrel-tag", "--seed", "-1")
    assert code == 2
    assert err.startswith("Usage: ")
    assert "Invalid value for '--seed': -1 is not in the range" in err


READING = {
    "shortlist": ("barrel-tag",),
    "explain": ("barrel-tag", "ostrel-ruv"),
    "outlook": ("barrel-tag",),
    "tipping": ("barrel-tag",),
    "gaps": ("barrel-tag",),
    "family": ("frost-post", "valve-driver"),
    "weights": ("barrel-tag",),
    "compare": (),
    "report": ("barrel-tag", "-o", "x.html"),
    "decide": ("barrel-tag", "ostrel-ruv", "--because", "x"),
    "catalog list": (),
    "catalog check": (),
    "product check": ("barrel-tag",),
}


@pytest.mark.parametrize("name", READING)
def test_commands_that_read_first_do_nothing_before(
    said: Caller, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    """A wrong option stands as if it were not given, so nothing may come of it but faults."""
    monkeypatch.chdir(tmp_path)
    option = ("--draws", "-1") if name == "report" else ("--width", "39")
    code, out, err = said(*name.split(), *READING[name], *option, *NO_CATALOG)
    assert (code, out) == (2, "")
    assert err.startswith(f"{option[0]}: read ")
    assert "\nnonexist: read nothing there; " in err
    assert said(*name.split(), *READING[name], *option)[0] == 2
    assert not [*tmp_path.iterdir()]


def test_every_command_that_reads_first_is_among_them() -> None:
    groups = [("", app), *((f"{g.name} ", g.typer_instance) for g in app.registered_groups)]
    names = {
        f"{prefix}{one.name or getattr(one.callback, '__name__', '')}"
        for prefix, group in groups
        if group is not None
        for one in group.registered_commands
        if isinstance(one.callback, ReadingCommand)
    }
    # whose record has to be read before it is known what else is
    assert names - {"revisit"} == READING.keys()


@pytest.mark.parametrize("width", ["1", "20", "39"])
def test_a_width_that_no_screen_has_is_refused(said: Caller, width: str) -> None:
    for command in (("kernels", "list"), ("shortlist", "barrel-tag", "--draws", "0")):
        code, out, err = said(*command, "--width", width)
        assert (code, out) == (2, "")
        assert f"Invalid value for '--width': {width} is neither 0 nor 40 at least." in err


@pytest.mark.parametrize("name", ["my tag.yaml", "täg.yml", "Tag.yaml"])
def test_a_file_whose_name_is_no_id_is_to_be_renamed(
    said: Caller, tmp_path: Path, name: str
) -> None:
    """Its id cannot be made equal to it."""
    path = tmp_path / name
    path.write_text(product_files()["barrel-tag"].read_text())
    code, _, err = said("product", "check", str(path))
    assert code == 2
    assert f"expected the file named after it: rename it to barrel-tag{path.suffix}\n" in err
    path.rename(tmp_path / "tag.yaml")
    assert 'expected the file\'s name, "tag"' in said("product", "check", f"{tmp_path}/tag.yaml")[2]


def test_so_is_one_of_a_catalogue(said: Caller, tmp_path: Path) -> None:
    (tmp_path / "cells").mkdir()
    text = (catalogue_folder() / "cells" / "lb-coin.yaml").read_text()
    (tmp_path / "cells" / "lb coin.yaml").write_text(text)
    code, _, err = said("catalog", "check", "--catalog", str(tmp_path))
    assert code == 2
    assert "expected the file named after it: rename it to lb-coin.yaml\n" in err
