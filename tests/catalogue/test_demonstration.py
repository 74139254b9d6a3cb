"""The demonstration catalogue is invented throughout and recalls nothing that can be bought.

Common practice, no source: a maker's suffix tells a part's class, and its clock, flash and RAM go
up together in a ladder. So suffixes here have no meaning, and the figures keep off round ladders.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from advisor.catalogue.load import load_catalogue
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.shipped import catalogue_folder, load, product_files
from advisor.studies.kernels import exported

# three letters, consonant, vowel, consonant: can be said, and holds no digit that would be a size
NAME = re.compile(r"(?P<maker>[a-z]{5,})-(?P<suffix>[b-df-hj-np-tv-z][aeiou][b-df-hj-np-tv-z])")
# words of the trade of that form
TAKEN = re.compile(
    "bit|bus|cap|can|dac|dec|dip|fan|gan|hal|hex|led|lin|lut|mac|mem|mil|mos|mux|nan|nav|nor|pal"
    "|pic|pin|pol|pot|ram|reg|rel|res|rom|sar|sec|set|sim|sip|soc|som|sub|sum|tab|tag|tim|tin|vec"
    "|vid|vol|wep|zig|zip"
)
# a sleep state says what it keeps; the most that it keeps names it
WORDS = {
    frozenset(): "off",
    frozenset({"rtc"}): "clock-kept",
    frozenset({"ram"}): "ram-kept",
    frozenset({"ram", "rtc"}): "ram-kept",
    frozenset({"ram", "rtc", "uart"}): "ports-kept",
}
ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue([catalogue_folder()])


def ladder(part: Part) -> tuple[float, float, float]:
    """(top clock in Hz, flash in bytes, RAM in bytes)."""
    assert part.memory is not None
    flash, ram = part.memory.flash, part.memory.ram
    assert flash is not None
    assert ram is not None
    clocks = [p.clock.nominal for p in part.operating_points.values() if p.clock is not None]
    return max(clocks), flash.nominal, ram.nominal


def test_a_part_is_its_maker_and_three_letters_without_meaning(catalogue: Catalogue) -> None:
    found = {name: NAME.fullmatch(name) for name in catalogue.parts}
    assert all(found.values()), [name for name, match in found.items() if not match]
    suffixes = Counter(m["suffix"] for m in found.values() if m)
    assert [s for s, n in suffixes.items() if n > 1] == []
    assert [s for s in suffixes if TAKEN.fullmatch(s)] == []
    # one rule for all: the maker is the first half of the name, a single made-up word
    for name, part in catalogue.parts.items():
        assert part.maker == name.partition("-")[0].capitalize()


def test_no_two_parts_share_a_ladder(catalogue: Catalogue) -> None:
    places = {name: ladder(part) for name, part in catalogue.parts.items()}
    assert len(set(places.values())) == len(places)
    # ladders that are sold go by powers of two
    for name, (_, flash, ram) in places.items():
        for size in (flash, ram):
            assert int(size) & (int(size) - 1), (name, size)


def test_all_of_it_is_invented_and_says_so(catalogue: Catalogue) -> None:
    told = {name: part.invented for name, part in catalogue.parts.items()}
    told |= {name: cell.invented for name, cell in catalogue.cells.items()}
    told |= {name: converter.invented for name, converter in catalogue.converters.items()}
    told |= {name: addon.invented for name, addon in catalogue.addons.items()}
    assert len(told) >= 40
    assert [name for name, invented in told.items() if not invented] == []
    for name in product_files():
        assert load(name)[1].invented
    for path in (catalogue_folder() / "parts").glob("*.yaml"):
        assert path.read_text("utf-8").startswith("# Invented for demonstration"), path


def test_sleep_states_say_what_they_keep(catalogue: Catalogue) -> None:
    seen = set()
    for name, part in catalogue.parts.items():
        for state, told in part.sleep_states.items():
            kept = frozenset(told.retains or ())
            assert state == WORDS[kept], (name, state, sorted(kept))
            seen.add(state)
    assert seen == {"clock-kept", "ram-kept", "ports-kept"}


def texts() -> Iterator[tuple[str, str]]:
    yield "notes.yaml", exported()["notes.yaml"].decode()
    pages = sorted((ROOT / "advisor" / "reference").glob("*.md"))
    for path in [ROOT / "README.md", *pages, *sorted((ROOT / "tests").rglob("*.py"))]:
        yield str(path.relative_to(ROOT)), path.read_text("utf-8")


def test_examples_and_tests_use_the_same_words() -> None:
    """States in notes and in parts' texts, wherever an example writes one."""
    written = (
        r"\{(?:state|wake): ([a-z][a-z-]*)",
        r"(?:states|wakes): \{+([a-z][a-z-]*)",
        r"^ *sleep-states:\n +([a-z][a-z-]*):",
        r"sleep-states\.([a-z][a-z-]*)\.",
        r"sleeping in ([a-z-]+)\b",
    )
    # a proposal of notes does not know what a state is called, one of a map what the table calls it
    words = {*WORDS.values(), "idle", "my-state", "sleep", "standby"}
    found = [
        (where, match[1])
        for where, text in texts()
        for pattern in written
        for match in re.finditer(pattern, text, re.MULTILINE)
    ]
    assert len(found) > 20
    assert [(where, word) for where, word in found if word not in words] == []
