"""The project's own file: found upwards, trusted by its owner, read as declared."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from advisor.catalogue.project import NAME, find_project
from advisor.catalogue.shipped import find_product, product_files
from advisor.faults import FaultError


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home with a project and a folder deep inside it, which is where the user works."""
    home = tmp_path / "home"
    deep = home / "vines" / "south" / "row"
    deep.mkdir(parents=True)
    (home / "vines" / "mine" / "parts").mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(deep)
    return home / "vines"


def write(folder: Path, text: str) -> Path:
    path = folder / NAME
    path.write_text(text, "utf-8")
    path.chmod(0o644)
    return path


def test_it_is_found_above_with_paths_from_where_one_works(place: Path) -> None:
    (place / "tag.yaml").write_text("product: tag\n", "utf-8")
    (place / "notes.yaml").write_text("bench: 1\n", "utf-8")
    write(place, "catalogues: [mine]\ndemonstration: true\nproducts: [.]\n")
    found, warning = find_project()
    assert warning is None
    assert found is not None
    assert found.catalogues == (Path("../../mine"),)
    assert found.demonstration
    assert found.products == {"tag": Path("../../tag.yaml")}  # notes are no product
    assert find_product("tag", found.products) == Path("../../tag.yaml")
    assert find_product("frost-post", found.products) == product_files()["frost-post"]


def test_the_nearest_counts_and_none_above_home(place: Path) -> None:
    write(place.parent.parent, "catalogues: [nowhere]\n")  # above home
    assert find_project() == (None, None)
    write(place, "catalogues: [mine]\n")
    write(place / "south", "products: []\n")
    found, _ = find_project()
    assert found is not None
    assert found.file == Path("..") / NAME
    assert found.catalogues == ()


def test_home_itself_may_have_one(place: Path) -> None:
    write(place.parent, "catalogues: [vines/mine]\n")
    found, _ = find_project()
    assert found is not None


def test_somebody_elses_is_not_used(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(place, "catalogues: [mine]\n")
    path.chmod(0o666)
    assert find_project() == (None, f"../../{NAME} may be written by anybody: not used")
    path.chmod(0o644)
    monkeypatch.setattr(os, "geteuid", lambda: 4711)
    # root's own counts; whoever runs the tests as another user sees the other half
    if os.stat(path).st_uid == 0:
        assert find_project()[0] is not None
    else:
        assert find_project() == (None, f"../../{NAME} belongs to somebody else: not used")


def test_a_link_of_somebody_else_is_not_used(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(place, "catalogues: [mine]\n")
    real = os.lstat

    def planted(name: str | Path) -> os.stat_result:
        found = real(name)
        if Path(name) != path:
            return found
        return os.stat_result([*found[:4], 4712, *found[5:10]])

    monkeypatch.setattr(os, "lstat", planted)
    assert find_project() == (None, f"../../{NAME} belongs to somebody else: not used")


def test_what_is_no_file_is_told(place: Path) -> None:
    (place / NAME).mkdir()
    found, warning = find_project()
    assert found is None
    assert warning is not None
    assert "no file" in warning


def test_faults_have_their_places(place: Path) -> None:
    (place / "a").mkdir()
    (place / "b").mkdir()
    for name in "ab":
        (place / name / "tag.yaml").write_text("product: tag\n", "utf-8")
    write(place, "catalogues:\n  - mine\n  - gone\nproducts: [a, b, c]\n")
    with pytest.raises(FaultError) as error:
        find_project()
    places = [(f.place.line, f.read) for f in error.value.faults if f.place is not None]
    assert [line for line, _ in places] == [4, 4, 3]
    assert "nothing there" in {read for _, read in places}
    write(place, "catalogue: [mine]\n")
    with pytest.raises(FaultError, match="nearest valid: catalogues"):
        find_project()
