"""`catalog pack|verify|key|merge` as they are typed: exit codes, what is written, what is not."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import stat
from pathlib import Path

import pytest

from advisor.catalogue.shipped import catalogue_folder
from tests.cli.conftest import Caller

SAID = ("--release", "1.0.0", "--license", "MIT", "--date", "2026-11-26")


@pytest.fixture
def field(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small catalogue `field` in the working folder."""
    monkeypatch.chdir(tmp_path)
    for name in ("parts/ostrel-yab.yaml", "cells/ls-pen.yaml", "kernels.yaml"):
        Path("field", name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(catalogue_folder() / name, Path("field", name))
    return tmp_path / "field"


def files(path: Path) -> dict[str, bytes]:
    return {str(p.relative_to(path)): p.read_bytes() for p in path.rglob("*") if p.is_file()}


def test_from_a_folder_to_another(field: Path, said: Caller) -> None:
    """Keys, a signed archive, its files elsewhere: and they are the catalogue that was packed."""
    before = files(field)
    assert said("catalog", "key", "k.pem")[0] == 0
    code, out, _ = said("catalog", "pack", "field", "-o", "f.zip", "--sign", "k.pem", *SAID)
    assert code == 0
    assert "4 of 4 files are as the descriptor tells" in out
    assert files(field) == before
    code, out, _ = said("catalog", "verify", "f.zip", "--key", "k.pem.pub", "--into", "got")
    assert (code, "signed by the owner of the key" in out) == (0, True)
    got = files(Path("got"))
    assert before.items() <= got.items()
    assert got.keys() - before.keys() == {"parts.csv", "datapackage.json", "datapackage.json.sig"}
    assert said("catalog", "verify", "got", "--key", "k.pem.pub")[0] == 0
    assert said("catalog", "check", "--catalog", "got")[0] == 0
    # a folder with something in it is not written into
    code, _, err = said("catalog", "verify", "f.zip", "--into", "got")
    assert (code, "a new or empty folder" in err) == (2, True)


def test_a_private_key_is_its_owners_alone(field: Path, said: Caller) -> None:
    """Whatever others may read otherwise; it is never shown, and no key gives way to a new one."""
    mask = os.umask(0)
    try:
        code, out, err = said("catalog", "key", "k.pem", "--public", "shared.pem")
    finally:
        os.umask(mask)
    assert code == 0
    assert stat.S_IMODE(Path("k.pem").stat().st_mode) == 0o600
    secret = Path("k.pem").read_text()
    for line in secret.splitlines():
        assert line not in out + err
    assert Path("shared.pem").read_text().startswith("-----BEGIN PUBLIC KEY-----")
    for taken in ("k.pem", "shared.pem", "/dev/stdout", "field"):
        code, out, err = said("catalog", "key", taken)
        assert code == 2
        assert "PRIVATE" not in out + err
    Path("loose").symlink_to("elsewhere")
    assert said("catalog", "key", "loose")[0] == 2
    assert said("catalog", "key", "new.pem", "--public", "new.pem")[0] == 2
    assert said("catalog", "key", "new.pem", "--public", "k.pem")[0] == 2
    assert not Path("new.pem").exists()
    assert Path("k.pem").read_text() == secret
    Path("k.pem").chmod(0o644)
    code, out, err = said("catalog", "pack", "field", "--sign", "k.pem", *SAID)
    assert (code, "chmod 600" in err) == (2, True)
    assert secret.splitlines()[1] not in out + err


def test_no_and_wrong(field: Path, said: Caller) -> None:
    """1 where the answer is no, with every file named; 2 where there is nothing to answer."""
    assert said("catalog", "pack", "field", *SAID)[0] == 0
    assert said("catalog", "verify", "field", "-q")[0] == 0
    with (field / "kernels.yaml").open("a") as file:
        file.write("# more\n")
    (field / "cells" / "ls-pen.yaml").unlink()
    (field / "parts" / "new.yaml").write_text("part: new\n")
    code, out, _ = said("catalog", "verify", "field", "--into", "got")
    assert code == 1
    for name, state in (("kernels", "changed"), ("ls-pen", "missing"), ("new", "additional")):
        assert any(name in line and state in line for line in out.splitlines())
    assert not Path("got").exists()
    code, out, _ = said("catalog", "verify", "field", "--format", "json")
    document = json.loads(out)
    assert (code, document["sound"], document["version"]) == (1, False, "1.0.0")
    assert "contents" not in document
    code, out, _ = said("catalog", "verify", "field", "--format", "csv")
    rows = {row["path"]: row["state"] for row in csv.DictReader(io.StringIO(out))}
    assert (code, rows["kernels.yaml"]) == (1, "changed")
    said("catalog", "key", "k.pem")
    assert said("catalog", "verify", "field", "--key", "k.pem.pub")[0] == 1
    for wrong in (
        ("catalog", "verify", "none"),
        ("catalog", "verify", "k.pem"),
        ("catalog", "verify", "."),
        ("catalog", "verify", "field", "--key", "k.pem"),
        ("catalog", "verify", "field", "--key", "none"),
    ):
        code, out, err = said(*wrong)
        assert (code, out) == (2, "")
        assert "expected" in err


@pytest.mark.parametrize(
    "data",
    [
        b"[" * 100_000,
        b'{"resources": [], "resources": []}',
        b'{"resources": [{"bytes": NaN}]}',
        b"\xff\xfe{}",
        b"",
    ],
)
def test_hostile_descriptors(data: bytes, field: Path, said: Caller) -> None:
    (field / "datapackage.json").write_bytes(data)
    for call in (("verify", "field"), ("pack", "field", *SAID)):
        code, _, err = said("catalog", *call)
        assert code == 2
        assert "datapackage.json" in err


def test_where_a_pack_may_go(field: Path, said: Caller) -> None:
    before = files(field)
    Path("there.zip").mkdir()
    for output in ("field/f.zip", "f.tar", "f", "there.zip", "field/../field/x.zip", "no/f.zip"):
        code, _, err = said("catalog", "pack", "field", "-o", output, *SAID)
        assert code == 2, output
        assert "--output" in err
    assert files(field) == before
    (field / "datapackage.json").mkdir()
    assert said("catalog", "pack", "field", *SAID)[0] == 2


def test_all_or_nothing(field: Path, said: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that may not be written leaves the others as they were."""
    said("catalog", "pack", "field", *SAID)
    before = files(field)
    (field / "parts.csv").chmod(0o444)
    (field / "README.md").write_text("# Ours\n")
    code, _, err = said("catalog", "pack", "field", "--release", "1.1.0")
    assert (code, "may not be written" in err) == (2, True)
    assert before.items() <= files(field).items()


def test_merged_and_told(field: Path, said: Caller) -> None:
    """Disagreements on the screen, in JSON and CSV; what has another id in each of them."""
    shutil.copytree("field", "other")
    part = Path("other/parts/ostrel-yab.yaml")
    text = part.read_text()
    changed = text.replace("revision 6", "revision 7", 1).replace("flash: 80", "flash: 96", 1)
    assert changed != text
    part.write_text(changed)
    code, out, _ = said("catalog", "merge", "field", "other", "--into", "both")
    assert code == 0
    assert "memory.flash" in out
    assert said("catalog", "check", "--catalog", "both")[0] == 0
    code, out, err = said(
        "catalog",
        "merge",
        "field",
        "other",
        "--into",
        "csv",
        "--format",
        "csv",
        "--prefer",
        "other",
    )
    (row,) = (r for r in csv.DictReader(io.StringIO(out)) if "flash" in r["path"])
    assert (row["kept_from"], row["other_from"]) == ("other", "field")
    _, out, _ = said("catalog", "merge", "field", "other", "--into", "json", "--format", "json")
    document = json.loads(out)
    assert {d["path"] for d in document["differing"]} >= {"ostrel-yab:memory.flash"}
    assert [(one["before"], one["after"]) for one in document["renamed"]] == [("sheet", "sheet-2")]
    for one in document["renamed"]:
        assert one["before"] in err
    assert files(Path("both")) == files(Path("json"))
    code, _, err = said("catalog", "merge", "field", "other", "--into", "both")
    assert (code, "a new or empty folder" in err) == (2, True)
    assert said("catalog", "merge", "field", "--into", "one")[0] == 2
    assert not Path("one").exists()
