"""Catalogues packed, signed and verified; what is written is what the standard asks."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError
from advisor.intake import signing
from advisor.intake.package import DESCRIPTOR, SIGNATURE, text_of
from advisor.intake.packed import digest_of
from advisor.studies.sharing import SUMMARY, About, Packed, pack, verify

PROFILES = Path(__file__).parent.parent / "intake" / "profiles"
SAID = About(release="1.2.0", license="CC-BY-4.0", date="2026-11-26", title="Field devices")
PARTS = ("ostrel-yab", "vantle-gaf")


@pytest.fixture
def field(tmp_path: Path) -> Path:
    """A catalogue of two of the shipped parts and all else."""
    path = tmp_path / "field"
    shutil.copytree(catalogue_folder(), path)
    for part in (path / "parts").glob("*.yaml"):
        if part.stem not in PARTS:
            part.unlink()
    return path


@pytest.fixture
def keys(tmp_path: Path) -> tuple[Path, Path]:
    private, public, _ = signing.new_pair()
    (tmp_path / "k").write_bytes(private)
    (tmp_path / "k").chmod(0o600)
    (tmp_path / "k.pub").write_bytes(public)
    return tmp_path / "k", tmp_path / "k.pub"


def put(path: Path, found: Packed) -> None:
    for name, data in found.files.items():
        (path / name).write_bytes(data)


def descriptor(found: Packed) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(found.files[DESCRIPTOR])
    return document


def states(path: Path, key: Path | None = None) -> dict[str, str]:
    found = verify(path, key=key)
    assert found.sound == (all(r.state == "unchanged" for r in found.files) and key is None)
    return {row.path: row.state for row in found.files if row.state != "unchanged"}


def profile(name: str) -> Any:
    """A profile of the standard, version 2.0, as a JSON Schema that checks formats too."""
    schema = json.loads((PROFILES / f"{name}-2.0.json").read_text("utf-8"))
    jsonschema.Draft7Validator.check_schema(schema)
    checker = jsonschema.Draft7Validator.FORMAT_CHECKER
    return jsonschema.Draft7Validator(schema, format_checker=checker)


def test_the_standard_takes_what_is_written(field: Path) -> None:
    """The published profiles of Data Package and Table Schema 2.0 (datapackage.org), with licences
    that are several and contributors with and without an organisation."""
    package, schema = profile("datapackage"), profile("tableschema")
    about = About(
        release="1.0.0",
        license="CC-BY-4.0 AND (MIT OR LicenseRef-growers)",
        contributors=("measurement,curator=Terrace growers' cooperative", "review"),
        date="2026-11-26",
    )
    document = descriptor(pack(field, about))
    assert list(package.iter_errors(document)) == []
    table = next(r for r in document["resources"] if r.get("type") == "table")
    assert list(schema.iter_errors(table["schema"])) == []
    assert document["licenseExpression"] == "CC-BY-4.0 AND (MIT OR LicenseRef-growers)"
    assert [entry["name"] for entry in document["licenses"]] == [
        "CC-BY-4.0",
        "MIT",
        "LicenseRef-growers",
    ]
    # a licence of one's own has no page at SPDX
    assert ["path" in entry for entry in document["licenses"]] == [True, True, False]
    # and they would say so
    changes: list[dict[str, Any]] = [
        {"resources": []},
        {"version": 1},
        {"licenses": [{"title": "none"}]},
        {"resources": [{**table, "hash": "no hash"}]},
        {"resources": [{**table, "schema": {"fields": [{"type": "string"}]}}]},
        {"contributors": [{}]},
    ]
    for change in changes:
        assert not package.is_valid({**document, **change}), change


def test_the_summary_is_as_its_schema_says(field: Path) -> None:
    """Each column of the table read by the type that the descriptor tells of it."""
    found = pack(field, SAID)
    table = next(r for r in descriptor(found)["resources"] if r["path"] == SUMMARY)
    read: dict[str, Callable[[str], Any]] = {
        "string": str,
        "number": float,
        "integer": int,
        "boolean": {"true": True, "false": False}.__getitem__,
    }
    rows = list(csv.DictReader(io.StringIO(found.files[SUMMARY].decode())))
    assert [row["part"] for row in rows] == list(PARTS)
    types = {column["name"]: column["type"] for column in table["schema"]["fields"]}
    for row in rows:
        assert list(row) == list(types)
        for name, text in row.items():
            assert text == "" or read[types[name]](text) is not None
    assert table["bytes"] == len(found.files[SUMMARY])


def test_every_file_is_told_by_its_hash(field: Path) -> None:
    """And by sha256sum's digest, where that is at hand."""
    found = pack(field, SAID)
    told = {r["path"]: r for r in descriptor(found)["resources"]}
    files = {str(p.relative_to(field)) for p in field.rglob("*.yaml")}
    assert set(told) == files | {SUMMARY}
    for name in files:
        data = (field / name).read_bytes()
        assert told[name]["hash"] == digest_of(data)
        assert told[name]["bytes"] == len(data)
    assert len({r["name"] for r in told.values()}) == len(told)


def test_the_same_catalogue_gives_the_same_bytes(
    field: Path, keys: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = pack(field, SAID, key=keys[0], as_archive=True)
    for path in field.rglob("*"):
        os.utime(path, (1, 1))
    assert pack(field, SAID, key=keys[0], as_archive=True).archive == first.archive
    put(field, first)
    assert pack(field, About(), key=keys[0], as_archive=True).archive == first.archive
    (field / SIGNATURE).unlink()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    # 10^9 s of POSIX time (from memory): 2001-09-09 01:46:40
    assert descriptor(pack(field, About()))["created"] == "2001-09-09T01:46:40Z"
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "soon")
    with pytest.raises(FaultError, match="SOURCE_DATE_EPOCH"):
        pack(field, About())


def test_no_date_is_invented(field: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    found = pack(field, About(release="1.0.0", license="MIT"))
    assert "created" not in descriptor(found)
    assert "no date" in found.notes[0]


def test_a_changed_missing_or_additional_file(field: Path) -> None:
    put(field, pack(field, SAID))
    assert states(field) == {}
    one = field / "parts" / f"{PARTS[0]}.yaml"
    one.write_text(one.read_text().replace("maker", "taker", 1))
    assert states(field) == {f"parts/{PARTS[0]}.yaml": "changed"}
    (field / "kernels.yaml").rename(field / "parts" / "x.yaml")
    (field / "cells" / "ls-pen.yaml").write_text("")
    assert states(field) == {
        "cells/ls-pen.yaml": "changed",
        "kernels.yaml": "missing",
        f"parts/{PARTS[0]}.yaml": "changed",
        "parts/x.yaml": "additional",
    }


def test_every_single_bit_counts(field: Path, tmp_path: Path) -> None:
    """A file of the archive with any byte changed, its checksum set right, is another file."""
    whole = pack(field, SAID, as_archive=True).archive
    assert whole is not None
    with zipfile.ZipFile(io.BytesIO(whole)) as found:
        files = {name: found.read(name) for name in found.namelist()}
    for name in (SUMMARY, "kernels.yaml", f"parts/{PARTS[1]}.yaml"):
        changed = bytearray(files[name])
        changed[len(changed) // 2] ^= 1
        with zipfile.ZipFile(tmp_path / "x.zip", "w") as made:
            for n, data in files.items():
                made.writestr(n, bytes(changed) if n == name else data)
        assert states(tmp_path / "x.zip") == {name: "changed"}


def test_a_signature_holds_for_the_descriptor(
    field: Path, keys: tuple[Path, Path], tmp_path: Path
) -> None:
    """Whatever its layout (RFC 8785), and for no other word."""
    put(field, pack(field, SAID, key=keys[0]))
    assert verify(field).signature == "unchecked"
    assert verify(field, key=keys[1]).signature == "fits"
    assert verify(field, key=keys[1]).sound
    document = json.loads((field / DESCRIPTOR).read_text())
    backwards = dict(reversed(document.items()))
    (field / DESCRIPTOR).write_text(json.dumps(backwards, indent=7))
    assert verify(field, key=keys[1]).signature == "fits"
    for change in ({"version": "1.2.1"}, {"resources": document["resources"][:-1]}):
        (field / DESCRIPTOR).write_text(json.dumps({**document, **change}))
        found = verify(field, key=keys[1])
        assert (found.signature, found.sound) == ("does not fit", False)
    (field / DESCRIPTOR).write_text(json.dumps(document))
    (tmp_path / "other").write_bytes(signing.new_pair()[1])
    assert not verify(field, key=tmp_path / "other").sound
    # whoever asks for a signature is not content with none
    (field / SIGNATURE).unlink()
    found = verify(field, key=keys[1])
    assert (found.signature, found.sound) == ("none", False)


def test_a_signature_of_what_was_is_not_left(field: Path, keys: tuple[Path, Path]) -> None:
    put(field, pack(field, SAID, key=keys[0]))
    assert pack(field, About()).files.keys() == {SUMMARY, DESCRIPTOR}
    with pytest.raises(FaultError, match=r"--sign"):
        pack(field, About(release="1.3.0"))


def test_what_stood_in_the_descriptor_stays(field: Path) -> None:
    own = {
        "name": "vineyard",
        "version": "2.0.0",
        "licenses": [{"name": "CC0-1.0"}],
        "keywords": ["vineyard"],
        "description": "What the cooperative measured.",
        "resources": [{"name": "gone", "path": "gone.csv"}],
    }
    (field / DESCRIPTOR).write_text(json.dumps(own))
    found = descriptor(pack(field, About(release="2.1.0")))
    assert found["version"] == "2.1.0"
    kept = {k: v for k, v in own.items() if k not in ("version", "resources")}
    assert kept == {k: v for k, v in found.items() if k in kept}
    assert "gone.csv" not in str(found)


def faults(field: Path, about: About = SAID) -> list[str]:
    with pytest.raises(FaultError) as error:
        pack(field, about)
    return [fault.text() for fault in error.value.faults]


def test_what_a_descriptor_lacks_is_told_at_once(field: Path) -> None:
    said = faults(field, About(name="Über"))
    assert [line.partition(":")[0] for line in said] == ["name", "version", "licenses"]


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ({"license": "CC-BY 4"}, "--license"),
        ({"license": "MINE"}, "--license"),
        ({"license": ""}, "--license"),
        ({"license": "MIT OR"}, "--license"),
        ({"release": "one"}, "version"),
        ({"date": "26.11.2026"}, "--date"),
        ({"date": "2026-02-30"}, "--date"),
        ({"title": "two\nlines"}, "title"),
        ({"contributors": ("author=somebody@example.org",)}, "an address"),
        ({"contributors": ("author=https://example.org/me",)}, "an address"),
        ({"contributors": ("author=www.example.org",)}, "an address"),
        ({"contributors": ("author=/home/somebody",)}, "an address"),
        ({"contributors": ("author=../somebody",)}, "an address"),
        ({"contributors": ("author=C:\\somebody",)}, "an address"),
        ({"contributors": ("=growers",)}, "no role"),
        ({"contributors": ("somebody@example.org",)}, "no role"),
    ],
)
def test_what_may_not_be_said(field: Path, about: dict[str, Any], said: str) -> None:
    given = {"release": "1.0.0", "license": "MIT", **about}
    assert any(said in line for line in faults(field, About(**given)))


@pytest.mark.parametrize(
    "entry",
    [
        {"title": "a", "roles": ["author"], "email": "a@example.org"},
        {"title": "a", "roles": ["author"], "path": "https://example.org"},
        {"givenName": "a", "familyName": "b", "roles": ["author"]},
        {"title": "a"},
        {"title": "a", "roles": []},
        {"title": 1, "roles": ["author"]},
        "author",
    ],
)
def test_persons_in_a_standing_descriptor(field: Path, entry: object) -> None:
    own = {"version": "1.0.0", "licenses": [{"name": "MIT"}], "contributors": [entry]}
    (field / DESCRIPTOR).write_text(json.dumps(own))
    assert "contributors.1" in faults(field, About())[0]
    own |= {
        "contributors": [{"roles": ["review"]}],
        "sources": [{"title": "a", "email": "a@example.org"}],
    }
    (field / DESCRIPTOR).write_text(json.dumps(own))
    assert "sources.1.email" in faults(field, About())[0]


@pytest.mark.parametrize("name", ["MIT OR CC0-1.0", "GPL-2.0+", "mine", "", None, 3])
def test_a_standing_licence_is_an_identifier(field: Path, name: object) -> None:
    own = {"version": "1.0.0", "licenses": [{"name": "MIT"}, {"name": name, "path": "x.txt"}]}
    (field / DESCRIPTOR).write_text(json.dumps(own))
    assert any("SPDX identifiers" in line for line in faults(field, About()))


def test_a_file_that_belongs_to_no_catalogue(field: Path) -> None:
    """Neither packed unasked nor left out unsaid."""
    (field / "LICENSE").write_text("words\n")
    (field / "README.md").write_text("# Ours\n")
    assert len(pack(field, SAID).verified.files) == len(list(field.rglob("*.yaml"))) + 3
    (field / "key.pem").write_text("x")
    (field / "parts" / "note.txt").write_text("x")
    said = faults(field)
    assert [("key.pem" in line, "note.txt" in line) for line in said] == [
        (True, False),
        (False, True),
    ]


def test_a_summary_of_the_users_own_is_not_written_over(field: Path) -> None:
    (field / SUMMARY).write_text("mine\n")
    assert SUMMARY in faults(field)[0]


def test_a_catalogue_with_faults_is_not_packed(field: Path) -> None:
    one = field / "parts" / f"{PARTS[0]}.yaml"
    one.write_text(one.read_text() + "nonsense: 1\n")
    assert any("nonsense" in line for line in faults(field))


def test_a_catalogue_that_is_laid_over_another(field: Path) -> None:
    for path in field.iterdir():
        if path.name != "parts":
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    found = pack(field, SAID, base=[catalogue_folder()])
    assert {r.path for r in found.verified.files} == {f"parts/{p}.yaml" for p in PARTS} | {SUMMARY}
    assert len(found.files[SUMMARY].splitlines()) == 1 + len(PARTS)


RESOURCE = {"name": "a", "path": "a.yaml", "bytes": 1, "hash": "sha256:" + "0" * 64}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"path": "../a.yaml"}, "leads out"),
        ({"path": "/a.yaml"}, "absolute"),
        ({"path": "https://example.org/a.yaml"}, "address"),
        ({"path": ["a.yaml", "b.yaml"]}, "a file's path"),
        ({"path": None, "data": {"a": 1}}, "a file's path"),
        ({"path": DESCRIPTOR}, "the descriptor can tell of"),
        ({"path": SIGNATURE}, "the descriptor can tell of"),
        ({"hash": None}, "sha256:"),
        ({"hash": "0" * 32}, "sha256:"),
        ({"hash": "md5:" + "0" * 32}, "sha256:"),
        ({"bytes": -1}, "size in bytes"),
        ({"bytes": True}, "size in bytes"),
        ({"bytes": 1.0}, "size in bytes"),
        ({"bytes": 2**50}, "size in bytes"),
        ({"name": 7}, "each once"),
    ],
)
def test_resources_that_are_no_files_of_the_pack(
    change: dict[str, Any], said: str, tmp_path: Path
) -> None:
    (tmp_path / "a.yaml").write_text("x")
    (tmp_path / DESCRIPTOR).write_bytes(text_of({"resources": [{**RESOURCE, **change}]}))
    with pytest.raises(FaultError) as error:
        verify(tmp_path)
    assert said in str(error.value)


@pytest.mark.parametrize(
    "document",
    [
        [],
        {},
        {"resources": {}},
        {"resources": []},
        {"resources": ["a.yaml"]},
        {"resources": [RESOURCE, RESOURCE]},
        {"resources": [RESOURCE, {**RESOURCE, "name": "b"}]},
        {"resources": [RESOURCE, {**RESOURCE, "name": "b", "path": "A.yaml"}]},
    ],
)
def test_what_is_no_descriptor(document: object, tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("x")
    (tmp_path / DESCRIPTOR).write_bytes(text_of(document))
    with pytest.raises(FaultError):
        verify(tmp_path)


def test_what_others_wrote_of_persons_is_not_repeated(tmp_path: Path) -> None:
    """Another tool's pack may name persons: it verifies, and its screen does not."""
    (tmp_path / "a.yaml").write_bytes(b"x")
    one = {**RESOURCE, "hash": digest_of(b"x")}
    people = [
        {"title": "a", "email": "a@example.org", "roles": ["author"]},
        {"title": "Growers", "roles": ["review"]},
        "somebody",
    ]
    other = {"resources": [one], "contributors": people, "licenses": "MIT", "name": 3}
    (tmp_path / DESCRIPTOR).write_bytes(text_of(other))
    found = verify(tmp_path)
    assert found.sound
    assert found.contributors == ("review: Growers",)
    assert (found.name, found.license) == (None, "")


def test_what_is_handed_on_is_what_was_hashed(field: Path) -> None:
    put(field, pack(field, SAID))
    found = verify(field, keep=True)
    assert found.contents.keys() == {r.path for r in found.files} | {DESCRIPTOR}
    for row in found.files:
        assert digest_of(found.contents[row.path]) == row.told
    (field / "kernels.yaml").write_text("x")
    assert verify(field, keep=True).contents == {}


@pytest.mark.parametrize("value", [None, True, 5, -0.5, "x", "", [], [5], [[]], {}, {"a": 1}, [{}]])
def test_any_value_anywhere(value: object, tmp_path: Path) -> None:
    """A descriptor with any kind of value behind any key is read or refused, by both commands."""
    shutil.copy(catalogue_folder() / "kernels.yaml", tmp_path)
    data = (tmp_path / "kernels.yaml").read_bytes()
    one = {"name": "kernels", "path": "kernels.yaml", "bytes": len(data), "hash": digest_of(data)}
    whole = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "a",
        "title": "b",
        "version": "1.0.0",
        "created": "2026-11-26T00:00:00Z",
        "licenses": [{"name": "MIT", "title": "c"}],
        "licenseExpression": "MIT",
        "contributors": [{"title": "d", "organization": "e", "roles": ["review"]}],
        "sources": [{"title": "f"}],
    }
    changed: list[dict[str, Any]] = [{**whole, name: value} for name in whole]
    for name in ("licenses", "contributors", "sources"):
        changed += [{**whole, name: [value]}, {**whole, name: [{"name": value, "roles": value}]}]
        changed.append({**whole, name: [{"title": value, "roles": [value]}]})
    for document in changed:
        (tmp_path / DESCRIPTOR).write_bytes(text_of({**document, "resources": [one]}))
        assert verify(tmp_path).sound
        with contextlib.suppress(FaultError):
            found = descriptor(pack(tmp_path, About()))
            assert list(profile("datapackage").iter_errors(found)) == []
    for resources in (value, [value], *([{**one, name: value}] for name in one)):
        (tmp_path / DESCRIPTOR).write_bytes(text_of({**whole, "resources": resources}))
        with contextlib.suppress(FaultError):
            verify(tmp_path)
        pack(tmp_path, About())
