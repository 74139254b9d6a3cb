"""Changes that break each rule: (what is set, the path told, a word of what was read)."""

from __future__ import annotations

BROKEN = {
    "a feature, a grade or a block that it brings": [
        ("net-link:gives={features: {radio: 0}}", "gives", "nothing"),
    ],
    "a feature that all add-ons either count or grade": [
        (
            "net-link:gives.grades={adc: 12}",
            "gives.grades.adc",
            "fine-gauge counts it",
        ),
    ],
    "an entry of this file's evidence": [
        (
            "net-link:gives.blocks.radio-advert.evidence=banch",
            "gives.blocks.radio-advert.evidence",
            "banch",
        ),
        (
            "quorvane-jor:run-current={per-clock: 90 uA/MHz, evidence: banch}",
            "run-current.evidence",
            "banch",
        ),
        (
            "quorvane-jor:operating-points.fast.run-current={per-clock: 9 uA/MHz, evidence: shoot}",
            "operating-points.fast.run-current.evidence",
            "shoot",
        ),
        ("quorvane-jor:kernels.hash.fast.evidence=banch", "kernels.hash.fast.evidence", "banch"),
        (
            "quorvane-jor:sleep-states.ram-kept.evidence=shoot",
            "sleep-states.ram-kept.evidence",
            "shoot",
        ),
        (
            "quorvane-jor:kernels.hash.fast.evidence-of={time: shoot}",
            "kernels.hash.fast.evidence-of.time",
            "shoot",
        ),
    ],
    "a time and a current that were measured beside it": [
        (
            "quorvane-jor:kernels.crc.fast={time: 1 ms, correlation: 0.3}",
            "kernels.crc.fast.correlation",
            "0.3",
        )
    ],
    "a figure that stands beside it, its key or temperature as written": [
        ("quorvane-jor:kernels.crc.fast.evidence-of={tine: sheet}", "evidence-of.tine", "tine"),
        (
            "quorvane-jor:sleep-states.ram-kept.evidence-of={24 degC: sheet}",
            "sleep-states.ram-kept.evidence-of.24 degC",
            "24 degC",
        ),
    ],
    "an operating point of this part, or POINT+ENGINE": [
        ("quorvane-jor:kernels.crc.fist={time: 1 ms}", "kernels.crc.fist", "fist"),
        ("quorvane-jor:kernels.crc.fast+={time: 1 ms}", "kernels.crc.fast+", "fast+"),
    ],
    "a kernel of kernels.yaml": [
        ("quorvane-jor:kernels.hsah={fast: {time: 1 ms}}", "kernels.hsah", "hsah")
    ],
    "the kernel's version: figures of other work are not mixed": [
        ("quorvane-jor:kernels.hash.fast.version=2", "kernels.hash.fast.version", "version 2"),
    ],
    "a range whose lower end is not above its upper end": [
        ("quorvane-jor:supply.min=3.7 V", "supply.min", "3.7 V"),
        ("quorvane-jor:supply.brown-out=3.7 V", "supply.brown-out", "3.7 V"),
        ("quorvane-jor:temperature.min=90 degC", "temperature.min", "90 degC"),
        ("ldo-a:input.min=6 V", "input.min", "6 V"),
        ("ldo-a:output.min=5 V", "output.min", "5 V"),
        ("lm-thumb:charge={min: 9 degC, max: 0 degC}", "charge.min", "9 degC above 0 degC"),
        (
            "frost-post:standing-loads.divider.supply={min: 3 V, max: 2 V}",
            "standing-loads.divider.supply.min",
            "3 V above 2 V",
        ),
        (
            "frost-post:workload.report.loads.radio.supply={min: 3 V, max: 2 V}",
            "workload.report.loads.radio.supply.min",
            "3 V above 2 V",
        ),
        (
            "quorvane-jor:blocks={beacon: {supply: {min: 3 V, max: 2 V}}}",
            "blocks.beacon.supply.min",
            "3 V above 2 V",
        ),
        ("net-link:supply={min: 3 V, max: 2 V}", "supply.min", "3 V above 2 V"),
        (
            "net-link:gives.blocks={beacon: {supply: {min: 3 V, max: 2 V}}}",
            "gives.blocks.beacon.supply.min",
            "3 V above 2 V",
        ),
    ],
    "good above poor: by this criterion more is better": [
        ("frost-post:priorities.battery-life.poor=11 years", "priorities.battery-life.good", "11")
    ],
    "good below poor: by this criterion less is better": [
        ("frost-post:priorities.lifetime-cost.poor=4", "priorities.lifetime-cost.good", "poor 4")
    ],
    "a wake-time above zero beside the wake-charge": [
        (
            "tessimur-rud:sleep-states.ram-kept.wake-time=0 s",
            "sleep-states.ram-kept.wake-charge",
            "9 nC",
        )
    ],
    "at least one price break": [
        ("quorvane-jor:price.breaks={}", "price.breaks", "nothing"),
        ("lm-thumb:price.breaks={}", "price.breaks", "nothing"),
        ("ldo-a:price.breaks={}", "price.breaks", "nothing"),
        ("net-link:price.breaks={}", "price.breaks", "nothing"),
    ],
    "an open-circuit voltage that never rises with depth of discharge": [
        ("lm-thumb:voltage-curve.0.4=3.2 V", "voltage-curve", "rises")
    ],
    "rechargeable: true beside it": [
        ("lm-thumb:charge={min: 0 degC}", "charge", "may not be charged"),
        ("lm-thumb:ageing={end: 0.8}", "ageing", "may not be charged"),
    ],
    "one of leak and self-discharge, by which the cell loses charge": [
        ("sc-drum:self-discharge=9 %/year", "leak", "beside a self-discharge"),
        ("lm-thumb:leak=2 uA", "leak", "beside a self-discharge"),
        ("sc-drum:doubles-every=10 K", "doubles-every", "beside a leak"),
    ],
    "a temperature above absolute zero": [
        ("li-flat:ageing.calendar.at=-273.15 degC", "ageing.calendar.at", "-273.15 degC"),
        ("li-flat:ageing.cycles.at=0 K", "ageing.cycles.at", "0 K"),
    ],
    "no more than the open voltage of the fresh cell": [
        (
            "ls-pen:after-rest={1 h: {-40 degC: {1 mA: 3.7 V}}}",
            "after-rest.1 h.-40 degC.1 mA",
            "3.7 V",
        )
    ],
    "an end below the rated capacity": [("lm-thumb:ageing={end: 100 %}", "ageing.end", "100 %")],
    "a pack of rechargeable cells among supply-options.cells": [
        ("frost-post:recharge={every: 3 months}", "recharge", "none may be charged")
    ],
    "both c and k": [("lm-thumb:two-well={c: 0.5}", "two-well", "one of c and k")],
    "dropout with kind linear, efficiency with the switching kinds": [
        ("ldo-a:efficiency={1 mA: 0.8}", "efficiency", "linear"),
        ("buck-a:dropout=0.1 V", "dropout", "switching"),
    ],
    "light-load with the switching kinds": [
        (
            "ldo-a:light-load={below: 1 mA, no-load: 1 µA, efficiency: 80 %}",
            "light-load",
            "linear",
        )
    ],
    "no more than the quiescent current, which flows without load too": [
        (
            "buck-a:light-load={below: 1 mA, no-load: 1 µA, efficiency: 80 %}",
            "light-load.no-load",
            "above 0.45 µA",
        )
    ],
    "a converter that makes this voltage": [
        (
            "frost-post:rails=[{rail: aux, voltage: 3.3 V, converters: [none]}]",
            "rails.aux.voltage",
            "3.3 V",
        )
    ],
    "one of the product's rails": [
        ("frost-post:workload.report.loads.radio.rail=aux", "loads.radio.rail", "no rails")
    ],
    "a load that stands on it": [
        (
            "frost-post:rails=[{rail: aux, voltage: 3.3 V, converters: [bb-a]}]",
            "rails.aux",
            "none",
        )
    ],
    "a rail that is never switched off": [
        ("frost-post:standing-loads.divider.rail=aux", "divider.rail", "gated")
    ],
    "a capacitance beside it": [
        ("frost-post:workload.sample.loads.probe.decay=3 s", "loads.probe.decay", "3 s")
    ],
    "a time above zero for what is switched on": [
        (
            "frost-post:workload.sample.loads=[{load: eye, current: 1 mA, for: 0 s, "
            "gated: true, capacitance: 1 uF}]",
            "loads.eye.for",
            "0 s",
        )
    ],
    "no more than the load draws in use": [
        ("frost-post:workload.sample.loads.probe.standby=1 mA", "loads.probe.standby", "0.6 mA")
    ],
    "shares of the time that sum to 1": [
        ("frost-post:environment.8 degC.share=0.7", "environment", "1.08")
    ],
    "the product's environment for times that have none of their own": [
        (
            "frost-post:times=[{time: all, share: 1, environment: [{at: 3 degC, share: 1}]}]",
            "environment",
            "every time has its own",
        )
    ],
    "a block that the task uses": [
        (
            "frost-post:workload.sample.use-retries={advert: {fails: 0.1}}",
            "workload.sample.use-retries.advert",
            '"advert"',
        )
    ],
    "the name of one of the product's times": [
        ("frost-post:workload.sample.every={day: 3 s}", "workload.sample.every.day", "no times"),
        ("frost-post:times=[{time: low, share: 1}]", "times.low", "a spread"),
    ],
    "disconnected, asleep or a sleep state of some part": [
        (
            "frost-post:before-use=[{phase: s, for: 3 d, state: of, "
            "environment: [{at: 3 degC, share: 1}]}]",
            "before-use.s.state",
            '"of"',
        )
    ],
    "one of current, power and charge": [
        (
            "frost-post:workload.sample.loads=[{load: eye, for: 1 s}]",
            "workload.sample.loads.eye",
            "none of them",
        ),
        (
            "frost-post:workload.sample.loads=[{load: eye, for: 1 s, current: 1 mA, power: 3 mW}]",
            "workload.sample.loads.eye.power",
            "current and power",
        ),
        (
            "frost-post:workload.sample.loads=[{load: eye, for: 1 s, charge: 1 mC, power: 3 mW}]",
            "workload.sample.loads.eye.charge",
            "power and charge",
        ),
    ],
    "one of current and power": [
        ("frost-post:standing-loads=[{load: eye}]", "standing-loads.eye", "none of them"),
        (
            "frost-post:standing-loads.divider.power=2 µW",
            "standing-loads.divider.power",
            "current and power",
        ),
    ],
    "a time above zero beside a charge": [
        (
            "frost-post:workload.sample.loads=[{load: eye, charge: 1 µC, for: 0 s}]",
            "workload.sample.loads.eye.for",
            "0 s",
        ),
    ],
    "a weight above zero for one criterion or more": [
        ("frost-post:priorities={toolchain: {weight: 0}}", "priorities", "no weight"),
    ],
    "this figure: absent is never zero": [
        ("frost-post:environment=[]", "environment", "nothing"),
        ("frost-post:supply-options.cells=[]", "supply-options.cells", "nothing"),
        ("frost-post:supply-options.converters=[]", "supply-options.converters", "nothing"),
        ("frost-post:recharge={cost: 3.00}", "recharge.every", "nothing"),
        ("frost-post:workload=[{task: look}]", "workload.look.every", "nothing"),
        (
            "frost-post:workload.sample.loads=[{load: eye, charge: 1 µC}]",
            "workload.sample.loads.eye.for",
            "nothing",
        ),
        (
            "frost-post:workload.sample.loads=[{load: eye, current: 1 mA}]",
            "workload.sample.loads.eye.for",
            "nothing",
        ),
        (
            "frost-post:supply-options.reservoir={esr: 1 ohm, leakage: 1 nA, price: 0}",
            "supply-options.reservoir.capacitance",
            "nothing",
        ),
    ],
    "a weight, on any scale": [
        ("frost-post:priorities.toolchain={poor: 1}", "priorities.toolchain.weight", "nothing")
    ],
    "this figure, which a weighted cost rests on; write 0 for none": [
        ("frost-post:cost={currency: EUR, units: 5}", "cost.engineer-rate", "nothing"),
        (
            "frost-post:supply-options.reservoir={capacitance: 1 uF, esr: 1 ohm, leakage: 1 nA}",
            "supply-options.reservoir.price",
            "nothing",
        ),
    ],
    "poor and good, two different values": [
        ("frost-post:priorities.battery-life.poor=10 years", "priorities.battery-life", "equal"),
        (
            "frost-post:priorities.own-figures.radiation-score={weight: 1}",
            "priorities.own-figures.radiation-score",
            "both anchors",
        ),
    ],
    "a need that this criterion can measure": [
        (
            "barrel-tag:priorities.time-headroom={weight: 1}",
            "priorities.time-headroom",
            "no task with finish-within",
        ),
        ("frost-post:priorities.memory-headroom={weight: 1}", "", "no needs.memory"),
    ],
    "an id that the catalogue defines": [
        (
            "frost-post:workload.sample.kernels={filtre: 1}",
            "workload.sample.kernels.filtre",
            "filtre",
        ),
        ("frost-post:workload.sample.uses={radio: 1}", "workload.sample.uses.radio", "radio"),
        (
            "frost-post:supply-options.cells=[{cell: lm-thomb}]",
            "supply-options.cells.lm-thomb",
            "lm-thomb",
        ),
        (
            "frost-post:supply-options.converters=[ldo-aa]",
            "supply-options.converters.ldo-aa",
            "ldo-aa",
        ),
    ],
    "either a cell, or a budget with its voltage": [
        ("frost-post:supply-options.cells=[{series: 2}]", "supply-options.cells.1", "neither"),
        ("frost-post:supply-options.cells=[{budget: 1 Ah}]", "", "without its voltage"),
        (
            "frost-post:supply-options.cells=[{cell: lm-thumb, voltage: 3 V}]",
            "supply-options.cells.lm-thumb",
            "beside a cell",
        ),
        (
            "frost-post:supply-options.cells=[{budget: 1 Ah, voltage: 3 V, series: 2}]",
            "",
            "beside a budget",
        ),
    ],
    "the rate of every currency that prices are in": [
        ("quorvane-jor:price.currency=CHF", "cost.rates.CHF", "quorvane-jor:price"),
        ("frost-post:cost.engineer-rate=80 CHF/h", "cost.rates.CHF", "cost.engineer-rate"),
    ],
    "one of recharge and harvest, by which the pack is charged": [
        (
            "frost-post:recharge={every: 3 months}",
            "recharge",
            "beside a harvest",
        ),
    ],
    "one of energy, irradiation and file": [
        ("frost-post:harvest={spread: 0.4}", "harvest", "none of them"),
        (
            "frost-post:harvest={energy: {may: 5 J}, irradiation: {may: 5 kWh/m2}}",
            "harvest",
            "energy and irradiation",
        ),
    ],
    "irradiation, or a file per area, for a panel to stand in": [
        (
            "frost-post:harvest={energy: {may: 5 J}, panel: {area: 5 cm2}}",
            "harvest.panel",
            "beside an energy",
        ),
    ],
    "this figure of the harvest: absent is never zero": [
        ("frost-post:harvest={energy: {may: 5 J}}", "harvest.energy.june", "nothing"),
        ("frost-post:harvest={energy: {may: 5 J}}", "harvest.night", "nothing"),
        ("frost-post:harvest={irradiation: {may: 5 kWh/m2}}", "harvest.panel.area", "nothing"),
        (
            "frost-post:harvest={irradiation: {may: 5 kWh/m2}}",
            "harvest.charger.efficiency",
            "nothing",
        ),
        (
            "frost-post:harvest={energy: {may: 5 J}, charger: {price: 1}}",
            "harvest.charger.efficiency",
            "nothing",
        ),
    ],
    "a harvest, by which days of service are counted": [
        ("frost-post:needs.service=99 %", "needs.service", "99 %"),
    ],
}
