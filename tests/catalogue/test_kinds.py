"""What an uncertainty may reach: limits below what a figure can be are faults where they stand."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.catalogue.kinds import Figure, Reading
from advisor.faults import FaultError, FaultLog
from advisor.quantities import Quantity
from advisor.source import read_text
from tests.studies.small import loaded, part

PRODUCT = """
product: probe
environment: [{at: 20 degC, share: 1}]
workload: [{task: sample, every: 60 s, kernels: {crc: 1}}]
supply-options: {cells: [{budget: 200 mAh, voltage: 3.0 V}], converters: [none]}
priorities: {battery-life: {weight: 1, poor: 1 year, good: 9 years}}
"""


def read(figure: Figure, text: str) -> tuple[Quantity | None, FaultLog]:
    log = FaultLog()
    root = read_text(f"'{text}'", "here").root
    return figure.read(root, "key", Reading("here", "id", log)), log


CURRENT = Figure("current")
DEGREES = Figure("temperature", least=-273.15)


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (CURRENT, "2 ± 2 µA"),  # limits at 0 and 4: zero is no fault
        (CURRENT, "0.3 mA ± 100 %"),
        (CURRENT, "2 ± 3 µA (k=2)"),  # normal, u = 1.5: the lognormal stands for it
        (CURRENT, "2(3) µA"),
        (CURRENT, "0 ± 0 µA"),
        (DEGREES, "-10 ± 20 degC"),
        (Figure("score", least=None), "1 ± 3"),
        (Figure("score", least=None), "0(2)"),
    ],
)
def test_what_may_stand(figure: Figure, text: str) -> None:
    found, log = read(figure, text)
    assert found is not None
    assert not log.faults


@pytest.mark.parametrize(
    ("figure", "text", "words"),
    [
        (CURRENT, "2 ± 2.01 µA", "with a half-width of at most 2.00 µA: its limits reach below"),
        (CURRENT, "2 µA ± 101 %", "half-width of at most 2.00 µA"),
        (CURRENT, "0 ± 1 µA", "half-width of at most 0 A"),
        (CURRENT, "0(1) µA", "without uncertainty: it would reach below zero"),
        (CURRENT, "0 ± 1 µA (k=2)", "without uncertainty: it would reach below zero"),
        (Figure("voltage", above=True), "3 ± 3.3 V", "half-width of at most 3.00 V"),
        (DEGREES, "-200 ± 100 degC", "at most 73.1 K: its limits reach below -273 degC"),
    ],
)
def test_what_may_not(figure: Figure, text: str, words: str) -> None:
    found, log = read(figure, text)
    assert found is None
    (fault,) = log.faults
    assert words in fault.expected
    assert fault.read == f'"{text}"'


def test_the_fault_names_file_line_and_key_and_all_come_at_once(tmp_path: Path) -> None:
    texts = {"probe-part": part("probe-part", sleep="2 ± 3 µA", kernel="4 ± 5 mA")}
    with pytest.raises(FaultError) as caught:
        loaded(tmp_path, texts, PRODUCT)
    sleep, kernel = sorted(caught.value.faults, key=lambda f: "kernels" in f.path)
    lines = texts["probe-part"].splitlines()
    for fault, key in (
        (sleep, "sleep-states.ram-kept.current"),
        (kernel, "kernels.crc.run.current"),
    ):
        assert fault.path == f"probe-part:{key}"
        assert fault.place is not None
        assert fault.place.file.endswith("probe-part.yaml")
        assert fault.read.strip('"') in lines[fault.place.line - 1]


def test_keys_are_joined_in_every_file_whose_form_is_right(tmp_path: Path) -> None:
    """What could not be read is not taken for absent: it would be told as missing elsewhere."""
    both = PRODUCT.replace("environment:", "life-target: 5 yers\nenvironment:")
    both = both.replace("{crc: 1}", "{crx: 1}")
    other = part("two").replace("min: 1.8 V", "min: 4.8 V")
    with pytest.raises(FaultError) as caught:
        loaded(tmp_path / "form", {"one": part("one"), "two": other}, both)
    assert [f.path for f in caught.value.faults] == ["two:supply.min", "probe:life-target"]
    with pytest.raises(FaultError) as caught:
        loaded(tmp_path / "joined", {"one": part("one")}, both.replace("yers", "years"))
    assert [f.path for f in caught.value.faults] == ["probe:workload.sample.kernels.crx"]
