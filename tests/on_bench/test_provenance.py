"""What a log tells of build, versions and states is held against notes, part and catalogue."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.bench.kernels import KERNELS, digest
from advisor.catalogue.load import load_catalogue
from advisor.catalogue.schema_parts import Part
from advisor.catalogue.shipped import catalogue_folder
from advisor.faults import FaultError
from advisor.studies.distil import distil
from advisor.studies.into_part import into_part
from tests.on_bench.test_plausible import lines, session

pytestmark = pytest.mark.once

FILE = "bench-demo.yaml"
FLAGS = "-std=c99 -ffreestanding -Os -mcpu=one"
HEAD = f"""built pack=1f2e
built compiler=12.2.1 20221205
built flags={FLAGS}
built optimised=size
built kernels=hash,filter,search
built runs=3
"""
STATES = "state=idle ms=150\nstate=sleep ms=1200\n"
POINT = "point: {name: fast"
# what of the trace stands behind its last pulse, at 1.6 s
HELD = (
    "  - {kernel: search, units: 20, runs: 2}\n",
    "  - {kernel: search, units: 20, runs: 2}\n"
    "  - {state: idle, from: 1.65025 s, to: 1.75025 s}\n"
    "  - {state: ram-kept, from: 1.90025 s, to: 2.90025 s}\n",
)


def built(text: str) -> tuple[str, str]:
    """The notes' own word on the build."""
    return POINT, f"built: {{{text}}}\n{POINT}"


def test_the_logs_build_becomes_the_evidence(tmp_path: Path) -> None:
    found = distil(*session(tmp_path, HEAD + lines()))
    text = into_part(found, None, FILE)
    told = f'built: {{compiler: "12.2.1 20221205", flags: "{FLAGS}", pack: "1f2e"}}'
    assert told in text
    # again is the same
    assert into_part(found, text, FILE) == text


SAME = {
    "all of it": f'pack: 1f2e, compiler: "12.2.1 20221205", flags: "{FLAGS}"',
    "a toolchain beside": "toolchain: kit",
    "fewer flags": "flags: -Os",
    "another order": 'flags: "-Os -std=c99"',
    "a shorter version": "compiler: cc 12.2",
    "no version": "compiler: the board's own",
}


@pytest.mark.parametrize("name", SAME)
def test_notes_that_say_the_same_stand(tmp_path: Path, name: str) -> None:
    found = distil(*session(tmp_path, HEAD + lines(), built(SAME[name])))
    whole = found.session.notes.built
    assert (whole.flags, whole.pack) == (FLAGS, "1f2e")
    stated = SAME[name].partition("compiler: ")[2].strip('"').partition('"')[0]
    assert whole.compiler == (stated or "12.2.1 20221205")


OTHER = {
    "pack": ("pack: 3d4c", r'built\.pack: read "3d4c", and the log "1f2e"'),
    "compiler": ("compiler: cc 13.1", r'"cc 13.1", and the log "12.2.1 20221205"'),
    "level": ("flags: -O2", r'"-O2", and the log "-std=c99 -ffreestanding -Os'),
    "a flag more": ('flags: "-Os -flto"', r'"-Os -flto", and the log'),
}


@pytest.mark.parametrize("name", OTHER)
def test_notes_of_another_build_are_refused(tmp_path: Path, name: str) -> None:
    stated, words = OTHER[name]
    with pytest.raises(FaultError, match=words):
        distil(*session(tmp_path, HEAD + lines(), built(stated)))


def test_flags_that_the_log_does_not_know_are_held_against_the_compiler(tmp_path: Path) -> None:
    head = HEAD.replace(FLAGS, "unknown")
    assert distil(*session(tmp_path, head + lines(), built("flags: -Os"))).figures.kernels
    with pytest.raises(FaultError, match='"-O3", and the log optimised for "size"'):
        distil(*session(tmp_path, head + lines(), built("flags: -O3")))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("pack=1f2e", "pack=3d4c", "pack 3d4c, where kernels.hash.fast was built with 1f2e"),
        ("-mcpu=one", "-mcpu=two", r"flags .*two, where kernels.hash.fast was built with .*one"),
        ("-Os", "-Oz", r"flags .*-Oz"),
        ("12.2.1 2", "12.3.0 2", r"compiler 12\.3\.0 .*, where"),
    ],
)
def test_a_log_of_another_build_than_what_stands_is_refused(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    """By the log alone: the notes say nothing."""
    stands = into_part(distil(*session(tmp_path, HEAD + lines())), None, FILE)
    assert old in HEAD
    found = distil(*session(tmp_path, HEAD.replace(old, new) + lines()))
    with pytest.raises(FaultError, match=words):
        into_part(found, stands, FILE)


# ------------------------------------------------------------------------------- versions


def versioned(version: int, kernel: str = "hash") -> str:
    return lines().replace(f"kernel={kernel} ", f"kernel={kernel} version={version} ")


def test_versions_go_into_the_part(tmp_path: Path) -> None:
    notes, trace = session(tmp_path, versioned(1))
    found = distil(notes, trace)
    assert found.versions == {"hash": 1, "filter": 1, "search": 1}
    text = into_part(found, None, FILE)
    assert text.count("version: 1") == 3
    # of one board too
    notes.write_text("board: b-1\n" + notes.read_text())
    assert into_part(distil(notes, trace), None, FILE).count("version: 1") == 6
    # without a log by the pack that the notes state, else by nothing
    text = notes.read_text().replace("log: run.txt\n", "")
    notes.write_text(f'built: {{pack: "{digest()}"}}\n' + text)
    assert distil(notes, trace).versions == {"hash": 1, "filter": 1, "search": 1}
    notes.write_text("built: {pack: 1f2e}\n" + text)
    found = distil(notes, trace)
    assert found.versions == {}
    assert "version:" not in into_part(found, None, FILE)


def test_another_version_of_a_kernel_of_the_pack_is_refused(tmp_path: Path) -> None:
    assert KERNELS["hash"].version == 1
    with pytest.raises(FaultError, match=r"kernel hash of version 2.*version 1.*export the pack"):
        distil(*session(tmp_path, versioned(2)))
    both = versioned(2).replace("version=2 run=1", "version=1 run=1")
    with pytest.raises(FaultError, match="kernel hash of version 1 and 2"):
        distil(*session(tmp_path, both))


OWN = ("kernel: hash", "kernel: own")


@pytest.mark.parametrize("board", ["", "board: b-1\n"])
def test_another_version_than_what_stands_is_refused(tmp_path: Path, board: str) -> None:
    """Of a kernel that is not the pack's, whose version is what its log says."""

    def one(version: int, day: int) -> str:
        log = versioned(version).replace("kernel=hash", "kernel=own")
        notes, trace = session(tmp_path, log, OWN, ("2026-03-01", f"2026-03-0{day}"))
        notes.write_text(board + notes.read_text())
        return into_part(distil(notes, trace), stands, FILE)

    stands: str | None = None
    stands = one(3, 1)
    assert "version: 3" in stands
    assert one(3, 1) == stands
    with pytest.raises(FaultError, match=r"own of version 4, where kernels.own.fast is of .*3"):
        one(4, 2)
    # figures that tell no version are of the first
    stands = re.sub(r"(, version: 3)|(^ +version: 3\n)", "", stands, flags=re.MULTILINE)
    assert "version: 3" not in stands
    with pytest.raises(FaultError, match=r"own of version 4, where .* is of version 1"):
        one(4, 2)


def test_a_catalogue_refuses_figures_of_another_version(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    text = (catalogue_folder() / "parts" / "quorvane-tib.yaml").read_text()
    mine = tmp_path / "parts" / "my-part.yaml"
    mine.write_text(text.replace("part: quorvane-tib", "part: my-part"))
    folders = [catalogue_folder(), tmp_path]
    part: Part = load_catalogue(folders).parts["my-part"]
    assert part.kernels["hash"]["fast"].version == 1
    later = '{work: "one block hashed otherwise", version: 2}'
    (tmp_path / "kernels.yaml").write_text(f"hash: {later}\n")
    with pytest.raises(FaultError) as caught:
        load_catalogue(folders)
    said = "\n".join(str(fault) for fault in caught.value.faults)
    assert "kernels.hash.fast.version" in said
    assert "version 1, where kernels.yaml has 2" in said
    # every part with figures of that work, and no other kernel's
    assert all("kernels.hash." in str(fault) for fault in caught.value.faults)


# --------------------------------------------------------------------------------- states


def test_states_within_those_of_the_log_stand(tmp_path: Path) -> None:
    found = distil(*session(tmp_path, HEAD + lines() + STATES, HELD))
    assert [s.state for s in found.figures.states] == ["idle", "ram-kept"]
    assert not any("stretch of" in words for words in found.warnings)
    # another program's log tells nothing of states
    found = distil(*session(tmp_path, lines(), HELD))
    assert not any("the log tells" in words for words in found.warnings)
    # this pack's would
    found = distil(*session(tmp_path, HEAD + lines(), HELD))
    told = [words for words in found.warnings if "the log tells" in words]
    assert told == [
        "the log tells of no idle stretch: that idle was held is the notes' word",
        "the log tells of no sleep stretch: that ram-kept was held is the notes' word",
    ]


STRETCHED = {
    "longer than it idled": (
        STATES.replace("150", "99"),
        (),
        r"idle from 1.65025 s to 1.75025 s; expected within the 99 ms for which the log says idle",
    ),
    "longer than it slept": (
        STATES.replace("1200", "900"),
        (),
        "ram-kept from 1.90025 s to 2.90025 s; expected within the 900 ms",
    ),
    "idle before the kernels were done": (
        STATES,
        (("from: 1.65025 s, to: 1.75025 s", "from: 1.41 s, to: 1.48 s"),),
        "idle from 1.41 s to 1.48 s; expected behind the last run of a kernel, which ends at 1.59",
    ),
    "asleep before it idled": (
        STATES.replace("1200", "9000").replace("150", "9000"),
        (
            ("state: idle, from: 1.65025 s, to: 1.75025 s", "state: idle, from: 2.5 s, to: 2.9 s"),
            ("from: 1.90025 s, to: 2.90025 s", "from: 1.90025 s, to: 2.40025 s"),
        ),
        "ram-kept from 1.90025 s to 2.40025 s; expected behind the idle stretch, which ends at 2.9",
    ),
}


@pytest.mark.parametrize("name", STRETCHED)
def test_states_that_the_log_does_not_tell_of_are_refused(tmp_path: Path, name: str) -> None:
    states, changes, words = STRETCHED[name]
    with pytest.raises(FaultError, match=words):
        distil(*session(tmp_path, HEAD + lines() + states, HELD, *changes))


def test_a_kernel_that_the_log_lacks_is_named(tmp_path: Path) -> None:
    log = "".join(x for x in lines().splitlines(keepends=True) if "filter" not in x)
    with pytest.raises(FaultError, match='no line of kernel "filter"'):
        distil(*session(tmp_path, log))
