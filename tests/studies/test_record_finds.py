"""A record finds its product and its catalogue again, from wherever one stands."""

from __future__ import annotations

from pathlib import Path

import pytest

import advisor
from advisor.catalogue.places import product_files
from advisor.cli.main import call
from advisor.faults import FaultError
from advisor.studies.record import read_decision

PART = """
part: my-chip
invented: true
memory: {flash: 60 KiB, ram: 20 KiB}
supply: {min: 1.8 V, max: 3.6 V}
temperature: {min: -40 degC, max: 85 degC}
operating-points: {run: {clock: 20 MHz, idle-current: 0.9 mA}}
run-current: 110 uA/MHz
kernels: {filter: {run: {cycles: 30000}}}
sleep-states: {ram-kept: {current: 1.1 µA, wake-time: 20 us, retains: [ram]}}
price: {currency: EUR, breaks: {1: 1.10}}
"""
PRODUCT = """
product: my-post
invented: true
life-target: 3 years
environment: [{at: 15 degC, share: 1}]
workload: [{task: sample, every: 10 s, kernels: {filter: 2}}]
supply-options: {cells: [{budget: 900 mAh, voltage: 3.0 V}], converters: [none]}
priorities: {battery-life: {weight: 1}}
"""


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A folder with a catalogue and a product of one's own."""
    (tmp_path / "mine/parts").mkdir(parents=True)
    (tmp_path / "mine/kernels.yaml").write_text("filter: {work: 64 samples filtered}\n")
    (tmp_path / "mine/parts/my-chip.yaml").write_text(PART)
    (tmp_path / "my-post.yaml").write_text(PRODUCT)
    return tmp_path


def decided(mine: Path, *more: str) -> Path:
    (mine / "records").mkdir(exist_ok=True)
    record = mine / "records/one.yaml"
    given = [str(mine / "my-post.yaml"), "my-chip", "--because", "a test", "-o", str(record)]
    options = ["--catalog", str(mine / "mine"), "--draws", "0", "--no-cache", *more]
    assert call(["decide", *given, *options]) == 0
    return record


def test_a_record_tells_where_its_inputs_are(mine: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = decided(mine, "--set", "my-post:workload.sample.every=20 s")
    kept = read_decision(record)
    assert (kept.product_file, kept.catalogs) == ("../my-post.yaml", ("../mine",))
    monkeypatch.chdir("/")
    assert call(["revisit", str(record), "--no-cache"]) == 0
    found = advisor.revisit(str(record))
    assert (found.product, found.stands, found.changed) == ("my-post", True, ())
    # one's own is looked at as it is now
    text = PRODUCT.replace("3 years", "300 years")
    (mine / "my-post.yaml").write_text(text)
    assert [c.path for c in advisor.revisit(record).changed] == ["my-post:life-target"]
    assert call(["revisit", str(record), "--no-cache"]) == 0


def test_what_is_gone_is_told(mine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = decided(mine)
    moved = mine / "elsewhere.yaml"
    (mine / "my-post.yaml").rename(moved)
    assert call(["revisit", str(record), "--no-cache"]) == 2
    told = capsys.readouterr().err
    assert "product-file" in told
    assert "--product" in told
    options = ["--product", str(moved), "--catalog", str(mine / "mine"), "--no-cache"]
    # a file's name is its id
    assert call(["revisit", str(record), *options]) == 2
    (mine / "new").mkdir()
    moved.rename(mine / "new/my-post.yaml")
    options[1] = str(mine / "new/my-post.yaml")
    assert call(["revisit", str(record), *options]) == 0


@pytest.mark.parametrize("place", ["", "profiles", "products"])
def test_a_record_that_does_not_tell_is_looked_about(mine: Path, place: str) -> None:
    record = decided(mine)
    old = [line for line in record.read_text().splitlines() if not line.startswith("product-file")]
    record.write_text("\n".join(old) + "\n")
    with pytest.raises(FaultError, match="neither shipped nor in"):
        advisor.revisit(record)
    (mine / "records" / place).mkdir(exist_ok=True)
    (mine / "my-post.yaml").rename(mine / "records" / place / "my-post.yaml")
    assert advisor.revisit(record).stands


@pytest.mark.once
def test_a_shipped_product_needs_no_path(tmp_path: Path) -> None:
    record = tmp_path / "record.yaml"
    given = ["decide", "frost-post", "quorvane-jor", "--because", "a test", "-o", str(record)]
    assert call([*given, "--draws", "0"]) == 0
    kept = read_decision(str(record))
    assert (kept.product_file, kept.catalogs) == (None, ())
    assert advisor.revisit(record).stands
    with pytest.raises(FaultError, match="one of them alone"):
        advisor.revisit(kept, advisor.load_catalogue())


# ------------------------------------------------------------------- names of files as texts


def test_texts_paths_and_ids_do_alike(mine: Path) -> None:
    product, folder = mine / "my-post.yaml", mine / "mine"
    first = advisor.load(product, folder)
    for other in (
        advisor.load(str(product), str(folder)),
        advisor.load(str(product), [str(folder)]),
        advisor.load(product, [folder], "my-post:life-target=3 years"),
    ):
        assert other[1] == first[1]
        assert other[0].parts == first[0].parts
    catalogue = advisor.load_catalogue(str(folder))
    assert advisor.load_product(str(product), catalogue) == first[1]
    assert advisor.load_product(product.read_bytes(), catalogue) == first[1]
    shipped = advisor.load_catalogue()
    assert advisor.load_product("frost-post", shipped) == advisor.load("frost-post")[1]
    assert set(product_files()) >= {"frost-post"}
    # what is a path is never an id
    with pytest.raises(FaultError, match="no such file"):
        advisor.load_product(Path("frost-post"), shipped)


def test_the_bench_takes_texts(tmp_path: Path) -> None:
    notes = tmp_path / "notes.yaml"
    notes.write_text("part: nothing\n")
    for ask in (str, Path):
        with pytest.raises(FaultError) as caught:
            advisor.distil(ask(notes), ask(tmp_path / "trace.csv"))
        assert all(
            f.place is None or f.place.file.startswith(str(tmp_path)) for f in caught.value.faults
        )
        with pytest.raises(FaultError):
            advisor.look(ask(tmp_path / "trace.csv"))
        with pytest.raises(FaultError):
            advisor.rehearse(ask(notes), advisor.load_catalogue())
        with pytest.raises(FaultError):
            advisor.hours(ask(tmp_path / "log.yaml"))


def test_the_readme_s_example_of_one_s_own_catalogue(mine: Path) -> None:
    """What the README shows, on a catalogue and a product of one's own."""
    catalogue, product = advisor.load(f"{mine}/my-post.yaml", f"{mine}/mine")
    found = advisor.shortlist(catalogue, product, draws=500)
    row = found.to_frame().iloc[0]
    assert row["part"] == "my-chip"
    assert row["estimated"]
    changed = advisor.load(f"{mine}/my-post.yaml", f"{mine}/mine", "my-chip:run-current=80 uA/MHz")
    better = advisor.shortlist(*changed, draws=0).ranking[0]
    assert better.battery_life_s.nominal > found.ranking[0].battery_life_s.nominal
