"""Add-ons that may not be used: why, and what of a part's needs they would bring."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.studies.explain import NotRankedError, explain
from tests.decide.test_companions import ADDON, decided


@pytest.mark.parametrize(
    ("change", "left"),
    [
        ("caller:temperature.max=10 degC", "environment max: 20.0 degC needed, 10.0 degC offered"),
        ("caller:standing=null", "lacks caller:standing"),
        ("caller:setup=null", "lacks caller:setup"),
        ("caller:board-area=null", "lacks caller:board-area"),
        ("caller:price=null", "lacks caller:price.breaks"),
        ("caller:price.currency=CHF", "lacks probe:cost.rates.CHF"),
        ("caller:gives.blocks.call.for=null", "lacks caller:gives.blocks.call.for"),
        ("probe:needs.lead-time=9 weeks", "lacks caller:price.lead-time"),
        ("probe:needs.lifecycle=[active]", "lacks caller:lifecycle"),
    ],
)
def test_an_add_on_that_may_not_be_used_says_why(tmp_path: Path, change: str, left: str) -> None:
    key, _, value = change.partition("=")
    extra = ["one:price.lead-time=1 week", "pill:price.lead-time=1 week"]
    text = ADDON
    if value == "null":
        # what is not there
        name = key.partition(":")[2].split(".")[-1]
        if name == "for":
            text = text.replace(", for: 1.7 ms", "")
        else:
            text = "".join(
                line for line in ADDON.splitlines(True) if not line.startswith(f"{name}:")
            )
        changes = extra
    else:
        changes = [*extra, change]
    found = decided(tmp_path, changes, ADDON=text)
    assert found.candidates == ()
    told = {one.kind: one for one in found.left_out}
    assert told["add-on"].id == "caller"
    assert told["add-on"].why == left
    # no sentence denies what the other tells
    needs = "features.radio, blocks.call"
    assert told["part"].why.endswith(f"; caller would bring {needs} and is left out ({left})")
    with pytest.raises(NotRankedError, match=re.escape(told["part"].why)):
        explain(found.catalogue, found.product, "one", draws=0)


def test_what_add_ons_that_are_left_out_would_bring_is_told_apart_from_what_none_does(
    tmp_path: Path,
) -> None:
    """Of one need none brings anything; of another three do, and may not be used."""
    unrated = ADDON.replace("temperature: {min: -40 degC, max: 85 degC}\n", "")
    for n in "abc":
        folder = tmp_path / "addons"
        folder.mkdir(exist_ok=True)
        (folder / f"other-{n}.yaml").write_text(unrated.replace("caller", f"other-{n}"))
    changes = ["probe:needs.features={radio: 1, clock: 2}"]
    whole = ADDON.replace("features: {radio: 1}, blocks", "blocks")

    found = decided(tmp_path, changes, ADDON=whole)
    by_id = {one.id: one.why for one in found.left_out}
    lacking = [f"lacks other-{n}:temperature.min, other-{n}:temperature.max" for n in "abc"]
    assert [by_id[f"other-{n}"] for n in "abc"] == lacking
    told = (
        "features.radio: 1 needed, 0 offered; blocks.call: 1 needed, 0 offered; no add-on brings "
        f"features.clock; other-a would bring features.radio and is left out ({lacking[0]}); "
        f"other-b would bring features.radio and is left out ({lacking[1]}); 1 more that would "
        "bring some of it is left out"
    )
    assert by_id["one"] == told
    found = decided(tmp_path, [*changes, "probe:add-ons=refused"], ADDON=whole)
    assert {one.id: one.why for one in found.left_out}["one"] == f"{told}; add-ons are refused"


def test_ports_that_an_add_on_would_give_were_it_not_left_out(tmp_path: Path) -> None:
    """The one that brings what is lacked needs a port, which a bridge gives that lacks a figure."""
    bridge = ADDON.replace("caller", "bridge").replace("standing: 7 µA\n", "")
    begin, end = bridge.index("gives:"), bridge.index("temperature:")
    bridge = f"{bridge[:begin]}gives: {{features: {{spi: 1}}}}\n{bridge[end:]}"
    (tmp_path / "addons").mkdir()
    (tmp_path / "addons" / "bridge.yaml").write_text(bridge)
    found = decided(tmp_path, ADDON=ADDON.replace("{uart: 1}", "{spi: 1}"))
    by_id = {one.id: one.why for one in found.left_out}
    assert by_id["bridge"] == "lacks bridge:standing"
    assert by_id["one"].endswith(
        "; bridge would bring ports for them (spi) and is left out (lacks bridge:standing)"
    )
