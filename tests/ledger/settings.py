"""Documents that state every key, in the settings whose answers are kept: they describe nothing
real."""

from __future__ import annotations

from tests.studies import every_key

EVERY = {
    "parts/probe-part": every_key.PART,
    "cells/probe-cell": every_key.CELL,
    "cells/probe-charged": every_key.CHARGED,
    "cells/probe-cap": every_key.LEAKING,
    "converters/probe-ldo": every_key.LINEAR,
    "converters/probe-sw": every_key.SWITCHING,
    "addons/probe-add": every_key.ADDON,
    "asked/probe": every_key.PRODUCT,
    **{f"asked/{name}": text for name, text in every_key.HARVESTED.items()},
}
# (file, text, what stands in its place) of the documents that state every key
Texts = tuple[tuple[str, str, str], ...]


RIVAL_FILE = "parts/probe-rival"
RIVAL = {
    RIVAL_FILE: every_key.PART.replace("part: probe-part", "part: probe-rival")
    .replace("maker: Probe", "maker: Other")
    .replace("idle-current: 1.1(1) mA", "idle-current: 0.7(1) mA")
    .replace("time: 0.2(1) ms", "time: 0.5(2) ms")
    .replace("1: 1.42, 100: 0.98", "1: 0.90, 100: 0.80")
    .replace("likely: 3 h, high: 8 h", "likely: 6 h, high: 20 h")
}
CHARGED = (
    "probe:supply-options.cells=[{cell: probe-charged}]",
    "probe:cost.unit-cost-limit=90",
)
BARE = (
    # a cell of few keys, and a part that sleeps in no state of its own
    ("cells/probe-cell", "self-discharge: 1.5(3) %/year\ndoubles-every: 10 K\n", ""),
    ("cells/probe-cell", "shelf-life: 12 years\ndischarge-to: 90 %\n", ""),
    ("cells/probe-cell", "two-well: {c: 0.9, k: 4 /h}\n", ""),
    ("cells/probe-cell", "resistance: {0: 0.5 ohm, 0.5: 1 ohm, 1: 3 ohm}", "resistance: 1 ohm"),
)
NO_WELL = (("cells/probe-cell", "two-well: {c: 0.9, k: 4 /h}\n", ""),)
NO_RESERVOIR = (
    (
        "asked/probe",
        "  reservoir: {capacitance: 20 uF, esr: 0.5 ohm, leakage: 0.5 µA, price: 0.20}\n",
        "",
    ),
)
SIMPLE = (  # of one time, one rail and nothing before use
    (
        "asked/probe",
        every_key.PRODUCT[
            every_key.PRODUCT.index("rails:\n") : every_key.PRODUCT.index("environment:")
        ],
        "",
    ),
    (
        "asked/probe",
        every_key.PRODUCT[
            every_key.PRODUCT.index("times:\n") : every_key.PRODUCT.index("recharge:")
        ],
        "",
    ),
    ("asked/probe", ", rail: far", ""),
    ("asked/probe", ", rail: near", ""),
)
# name: (product, changes, texts)
SETTINGS: dict[str, tuple[str, tuple[str, ...], Texts]] = {
    "stated": ("probe", (), ()),
    "linear": ("probe", ("probe:supply-options.converters=[probe-ldo]",), ()),
    "switched": ("probe", ("probe:supply-options.converters=[probe-sw, none]",), ()),
    "own-regulator": ("probe", ("probe-part:supply.regulator=switching",), ()),
    "budget": (
        "probe",
        ("probe:supply-options.cells=[{budget: 900 mAh, voltage: 3.0 V}, {cell: probe-charged}]",),
        (),
    ),
    "helped": (
        "probe",
        (
            "probe:needs.features={uart: 1, wireless: 1, sight-bits: 10}",
            "probe:workload.sample.uses={radio-advert: 2, mark: 3}",
        ),
        (),
    ),
    "bare": ("probe", ("probe:cost.unit-cost-limit=900",), BARE),
    "simple": ("probe", (), SIMPLE),
    "simple-firm": ("probe", ("probe:workload.sample.arrival=regular",), SIMPLE + NO_RESERVOIR),
    "simple-often": (
        "probe",
        ("probe:workload.sample.every=0.5 s", "probe:supply-options.converters=[probe-sw]"),
        SIMPLE + NO_WELL,
    ),
    "by-middle": (
        "probe",
        (
            "probe:workload.sample.at=middle",
            "probe-part:operating-points.middle.supply-min=1.9 V",
            "probe:supply-options.converters=[probe-ldo, probe-sw]",
        ),
        SIMPLE,
    ),
    "by-spare": (
        "probe",
        (
            "probe:workload.sample.at=spare",
            "probe-part:operating-points.spare.idle-current=0.5 mA",
        ),
        NO_RESERVOIR,
    ),
    "busy": ("probe", ("probe:workload.sample.every=300 ms",), ()),
    "seldom": ("probe", ("probe:workload.sample.every=9 h",), NO_WELL),
    "several-cells": (
        "probe",
        (
            "probe:supply-options.cells=[{cell: probe-cell, parallel: 3}, "
            "{cell: probe-cell, series: 2}, {cell: probe-charged, parallel: 2}]",
            "probe:supply-options.converters=[probe-ldo, probe-sw, none]",
            "probe:cost.unit-cost-limit=900",
        ),
        (),
    ),
    "weak-pulse": ("probe", ("probe-cell:max-pulse.-12 degC=40 mA",), NO_RESERVOIR),
    "sags": ("probe", ("probe-cell:resistance.1=30 ohm", "probe-cell:resistance.0=9 ohm"), ()),
    "sags-bare": (
        "probe",
        ("probe-cell:resistance=12 ohm", "probe:cost.unit-cost-limit=900"),
        BARE + NO_RESERVOIR,
    ),
    "large-store": (
        "probe",
        (
            "probe:supply-options.reservoir.capacitance=20 mF",
            "probe:supply-options.reservoir.esr=3 ohm",
            "probe-cell:resistance.0=9 ohm",
        ),
        (),
    ),
    "two-well": ("probe", ("probe-cell:two-well.c=0.2", "probe-cell:two-well.k=0.01 /h"), SIMPLE),
    "spoils": (
        "probe",
        ("probe-cell:self-discharge=40 %/year", "probe-cell:shelf-life=4 years"),
        (),
    ),
    "shelf": (
        "probe",
        (
            "probe-cell:shelf-life=6 months",
            "probe:workload.sample.every=1 h",
            "probe:cost.unit-cost-limit=900",
        ),
        (),
    ),
    "long-stored": ("probe", ("probe:before-use.storage.for=11 years",), ()),
    "hot": (
        "probe",
        ("probe:environment=[{at: 59 degC, share: 1}]", "probe:cost.unit-cost-limit=900"),
        SIMPLE,
    ),
    "retries": (
        "probe",
        (
            "probe:workload.sample.retries.fails=0.6",
            "probe:workload.sample.retries.most=30",
            "probe:workload.sample.loads.radio.retries.fails=0",
        ),
        (),
    ),
    "ungated": (
        "probe",
        (
            "probe:workload.sample.loads.lamp.rail=near",
            "probe:rails.far.gated=false",
            "probe:standing-loads.keeper.rail=far",
            "probe:workload.sample.loads.probe.gated=false",
        ),
        (),
    ),
    "incremental": (
        "probe",
        (
            "probe-part:price.discount=incremental",
            "probe-cell:price.discount=incremental",
            "probe:cost.units=9900",
        ),
        (),
    ),
    "bare-needs": ("probe", ("probe:needs.memory.flash=1 KiB", "probe:retain=[]"), ()),
    "refused": ("probe", ("probe:needs.features={uart: 9}", "probe:add-ons=refused"), ()),
    "unlikely": ("probe", ("probe:needs.confidence=100 %", "probe-part:supply.max=3.0 V"), ()),
    "charged": ("probe", CHARGED, ()),
    "charged-simple": ("probe", CHARGED, SIMPLE + NO_RESERVOIR),
    "charged-often": (
        "probe",
        (*CHARGED, "probe:recharge.every=1 day", "probe:workload.sample.every=1 s"),
        SIMPLE,
    ),
    "charged-late": (
        "probe",
        (*CHARGED, "probe:recharge.every=250 days", "probe:workload.sample.every=20 s"),
        (),
    ),
    "charged-worn": (
        "probe",
        (
            *CHARGED,
            "probe-charged:ageing.calendar.loss.100 %=30 %",
            "probe-charged:ageing.cycles.after=40",
            "probe-charged:ageing.cycles.exponent=1",
            "probe-charged:ageing.calendar.exponent=1",
        ),
        (),
    ),
    "charged-cold": ("probe", (*CHARGED, "probe-charged:charge.min=12 degC"), ()),
    "lit": ("probe-lit", (), ()),
    "lit-dark": ("probe-lit", ("probe-lit:harvest.panel.area=0.16 cm2",), ()),
    "lit-bright": ("probe-lit", ("probe-lit:harvest.panel.area=9 cm2",), ()),
    "fed": ("probe-fed", (), ()),
    "fed-even": (
        "probe-fed",
        (
            "probe-fed:harvest.spread=0 %",
            "probe-fed:harvest.persistence=0",
            "probe-fed:harvest.night=0 h",
        ),
        (),
    ),
    "fed-wild": (
        "probe-fed",
        ("probe-fed:harvest.spread=90 %", "probe-fed:harvest.persistence=0.95"),
        (),
    ),
    "fed-cell": (
        "probe-fed",
        (
            "probe-fed:supply-options.cells="
            "[{cell: probe-charged}, {cell: probe-cap, parallel: 2}]",
            "probe-fed:cost.unit-cost-limit=190",
            "probe-charged:charge.min=-5 degC",
        ),
        (),
    ),
    "logged": ("probe-log", (), ()),
}


# what the second of two parts, or what feeds it, lacks: (changes, texts)
LACKING: dict[str, tuple[tuple[str, ...], Texts]] = {
    "kernel": (
        (),
        (
            (RIVAL_FILE, "      time: 0.4(1) ms\n", ""),
            (RIVAL_FILE, "      correlation: 0.4\n", ""),
        ),
    ),
    "idle": ((), ((RIVAL_FILE, "idle-current: 0.7(1) mA, ", ""),)),
    "sleep": (
        (),
        (
            (RIVAL_FILE, "    supply: {25 degC: 3.0 V, 85 degC: 3.1 V}\n", ""),
            (RIVAL_FILE, "    evidence-of: {25 degC: bench, wake-time: sheet}\n", ""),
            (
                RIVAL_FILE,
                "current: {-20 degC: 1 µA, 25 degC: {typical: 2.4 µA, max: 5 µA}, 85 degC: 18 µA}",
                "retains: [rtc]",
            ),
            (RIVAL_FILE, "    retains: [ram, rtc]\n", ""),
        ),
    ),
    "price": ((), ((RIVAL_FILE, "breaks: {1: 0.90, 100: 0.80, 10000: 0.60}, ", ""),)),
    "toolchain": ((), ((RIVAL_FILE, "  setup: {low: 2 h, likely: 6 h, high: 20 h}\n", ""),)),
    "area": ((), ((RIVAL_FILE, "board-area: 40 mm2\n", ""),)),
    "wake": (
        (),
        (
            (RIVAL_FILE, "    wake-time: 900 us\n    wake-charge: 1.4 µC\n", ""),
            (RIVAL_FILE, "25 degC: bench, wake-time: sheet", "25 degC: bench"),
        ),
    ),
    "wake-charge": ((), ((RIVAL_FILE, "    wake-charge: 1.4 µC\n", ""),)),
    "block": ((), ((RIVAL_FILE, "  radio-advert:\n", "  radio-reply:\n"),)),
    "converter": (
        ("probe:supply-options.converters=[probe-ldo, probe-sw]",),
        (("converters/probe-ldo", "dropout: 150 mV\n", ""),),
    ),
    "rail-converter": ((), (("converters/probe-sw", "start-up: 40 µJ\n", ""),)),
    "cell-price": ((), (("cells/probe-charged", "breaks: {1: 60.00}, ", ""),)),
    "resistance": (
        (),
        (("cells/probe-cell", "resistance: {0: 0.5 ohm, 0.5: 1 ohm, 1: 3 ohm}\n", ""),),
    ),
    "add-on": (
        (
            "probe:needs.features={uart: 1, wireless: 1}",
            "probe:workload.sample.uses={radio-advert: 2, mark: 3}",
        ),
        (("addons/probe-add", "standing: 2.0 µA ± 20 %\n", ""),),
    ),
    "often-enough": (
        ("probe-cell:max-pulse.-12 degC=61.12 mA", "probe:needs.confidence=30 %"),
        NO_RESERVOIR,
    ),
    "barely-warm": (
        ("probe:needs.temperature.max=61 degC", "probe:needs.confidence=30 %"),
        (),
    ),
    "late": (("probe:workload.sample.finish-within=67 ms", "probe:needs.confidence=20 %"), SIMPLE),
}
