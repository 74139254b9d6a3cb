"""What is set in place of each key's value, so that it is felt; see `test_every_key`."""

from __future__ import annotations

# where a tenth more would not be felt, or is no number: limits that screen, words and lists
NOT_INVENTED = [
    f"{name}:invented=false"
    for name in ("probe", "probe-part", "probe-cell", "probe-ldo", "probe-sw")
]
# what puts the task where cycles and run currents stand in for what was not measured
ELSEWHERE = {
    "middle": ["probe:workload.sample.at=middle"],
    "spare": [
        "probe:workload.sample.at=spare",
        "probe-part:operating-points.spare.idle-current=0.5 mA",
    ],
}
CHANGES: dict[str, list[str] | str] = {
    "probe-part:part": [],  # an id must equal the file's name: a fault of its own, tested elsewhere
    "probe-cell:cell": [],
    "probe-ldo:converter": [],
    "probe-sw:converter": [],
    "probe:product": [],
    "probe-part:lifecycle": "ended",
    "probe-part:memory.flash": "56 KiB",
    "probe-part:memory.ram": "14 KiB",
    "probe-part:supply.min": "3.4 V",
    "probe-part:supply.max": "2.0 V",
    "probe-part:supply.regulator": "switching",
    "probe-part:supply.brown-out": "2.9 V",
    "probe-part:temperature.min": "0 degC",
    "probe-part:temperature.max": "40 degC",
    "probe-part:features.uart": "0",
    "probe-part:evidence.bench.kind": "estimate",
    "probe-part:evidence.bench.instrument": "meter-b",
    "probe-part:evidence.sheet.kind": "estimate",
    "probe-part:operating-points.fast.supply-min": "2.8 V",
    "probe-part:operating-points.fast.evidence": "bench",
    "probe-part:operating-points.fast.clock": [],  # all is measured there
    # they count with --estimate-missing: test_stand_ins.py
    "probe-part:core.architecture": [],
    "probe-part:core.float-unit": [],
    **{
        f"probe-part:{path}": [f"probe-part:{path}={value}", *ELSEWHERE[point]]
        for path, value, point in (
            ("operating-points.middle.clock", "20 MHz", "middle"),
            ("operating-points.middle.run-current.per-clock", "110 uA/MHz", "middle"),
            ("operating-points.middle.run-current.base", "0.3 mA", "middle"),
            ("operating-points.middle.run-current.supply", "2.5 V", "middle"),
            ("operating-points.middle.run-current.evidence", "bench", "middle"),
            ("kernels.hash.middle.cycles", "30000", "middle"),
            ("kernels.filter.middle.cycles", "30000", "middle"),
            ("operating-points.spare.clock", "9 MHz", "spare"),
            ("run-current", "110 uA/MHz", "spare"),
            ("kernels.hash.spare.cycles", "30000", "spare"),
            ("kernels.filter.spare.cycles", "30000", "spare"),
        )
    },
    "probe-part:kernels.hash.fast.evidence": "sheet",
    "probe-part:kernels.hash.fast.version": "2",
    "probe-part:kernels.filter.fast.evidence": "sheet",
    "probe-part:blocks.radio-advert.evidence": "sheet",
    "probe-part:sleep-states.ram-kept.evidence": "bench",
    "probe-part:kernels.filter.fast.evidence-of.time": "bench",
    "probe-part:blocks.radio-advert.evidence-of.for": "bench",
    "probe-part:sleep-states.ram-kept.evidence-of.25 degC": "sheet",
    "probe-part:sleep-states.ram-kept.evidence-of.wake-time": "bench",
    "probe-part:price.currency": "USD",
    "probe-part:price.breaks.1": [
        "probe-part:price.breaks.1=2.1",
        "probe:cost.units=50",
        "probe-part:price.multiple=1",
    ],
    "probe-part:price.breaks.10000": [],
    "probe-part:price.multiple": "400",
    "probe-part:price.lead-time": "21 weeks",
    "probe-part:extras.crystal.item": "resonator",
    "probe-part:toolchain.maturity.compiler.answer": "none",
    "probe-part:toolchain.maturity.debug": "full",
    "probe:invented": ["probe:invented=false", *NOT_INVENTED],
    "probe-part:invented": ["probe-part:invented=false", *NOT_INVENTED],
    "probe-cell:invented": ["probe-cell:invented=false", *NOT_INVENTED],
    "probe-ldo:invented": ["probe-ldo:invented=false", *NOT_INVENTED],
    "probe-sw:invented": ["probe-sw:invented=false", *NOT_INVENTED],
    "probe-cell:temperature.-20 degC.capacity": "0.5",
    "probe-cell:temperature.20 degC.capacity": "0.5",
    "probe-cell:temperature.60 degC.capacity": "0.5",
    "probe:workload.sample.arrival": "regular",
    "probe:workload.sample.retries.most": "3",
    "probe:workload.sample.use-retries.radio-advert.most": "1",
    "probe:workload.sample.loads.radio.retries.most": "1",
    "probe:times.day.share": ["probe:times.day.share=0.6", "probe:times.night.share=0.4"],
    "probe:times.night.share": ["probe:times.day.share=0.8", "probe:times.night.share=0.2"],
    **{
        f"probe:{where}.{place}.share": [
            f"probe:{where}.{one}.share={share}" for one, share in shares.items()
        ]
        for where, shares in (
            ("times.night.environment", {"-12 degC": 0.1, "9 degC": 0.9}),
            ("before-use.truck.environment", {"33 degC": 0.9, "52 degC": 0.1}),
        )
        for place in shares
    },
    "probe:before-use.storage.environment.21 degC.share": [],  # alone it is the whole time
    "probe:before-use.storage.state": "asleep",
    "probe:before-use.truck.state": "disconnected",
    "probe-cell:rechargeable": "true",
    "probe-cell:chemistry": "alkaline",
    "probe-cell:temperature.60 degC.resistance": "9",
    "probe-cell:temperature.20 degC.resistance": "9",
    "probe-cell:shelf-life": "6 months",
    "probe-cell:discharge-to": "0.3",
    "probe-cell:max-continuous": "1 µA",
    "probe-cell:max-pulse.-12 degC": "5 mA",
    "probe-cell:max-pulse.20 degC": [],
    "probe-cell:after-rest.1 h.-20 degC.70 mA": [],
    "probe-cell:after-rest.1 h.20 degC.70 mA": [],
    "probe-cell:after-rest.30 days.-20 degC.70 mA": "1.2 V",
    "probe-cell:price.currency": "USD",
    "probe-cell:price.multiple": "400",
    "probe-cell:price.lead-time": "21 weeks",
    "probe-cell:price.breaks.1": [],
    "probe-cell:price.breaks.10000": [],
    "probe-cell:resistance.0": "9 ohm",
    "probe-cell:two-well.c": "0.0002",
    "probe-cell:two-well.k": "0.00001 /h",
    "probe-ldo:kind": [],  # another kind needs other keys
    "probe-sw:kind": "buck",
    "probe-ldo:input.min": "2.9 V",
    "probe-ldo:input.max": "3.0 V",
    "probe-ldo:output.min": "2.4 V",
    "probe-ldo:output.max": "2.0 V",
    "probe-ldo:max-output": "1 mA",
    "probe-ldo:price.currency": "EUR",
    "probe-ldo:price.multiple": "400",
    "probe-ldo:price.lead-time": "21 weeks",
    "probe-ldo:price.breaks.1000": ["probe-ldo:price.breaks.1000=0.1", "probe:cost.units=1500"],
    "probe-sw:input.min": "2.9 V",
    "probe-sw:input.max": "3.0 V",
    "probe-sw:output.min": "2.4 V",
    "probe-sw:output.max": "2.0 V",
    "probe-sw:max-output": "1 mA",
    "probe-sw:price.currency": "EUR",
    "probe-sw:price.lead-time": "21 weeks",
    "probe-sw:efficiency.40 µA": "0.3",
    "probe:workload.sample.task": "look",
    "probe:workload.sample.loads.probe.load": "eye",
    "probe:workload.sample.loads.radio.load": "ear",
    "probe:workload.sample.loads.pump.load": "jet",
    "probe:workload.sample.loads.lamp.load": "beam",
    "probe:workload.sample.loads.lamp.cpu": "idle",
    "probe:workload.sample.loads.pump.supply.min": "3.0 V",
    "probe:workload.sample.loads.pump.supply.max": "2.0 V",
    "probe:standing-loads.divider.supply.min": "2.9 V",
    "probe:standing-loads.divider.supply.max": "2.0 V",
    "probe:standing-loads.keeper.load": "guard",
    "probe-part:blocks.radio-advert.supply.min": "2.9 V",
    "probe-part:blocks.radio-advert.supply.max": "2.0 V",
    "probe:workload.sample.loads.probe.cpu": "idle",
    "probe:workload.sample.loads.radio.cpu": "asleep",
    "probe:workload.sample.at": "spare",
    "probe:workload.sample.finish-within": "300 ms",
    **{
        f"probe-part:kernels.hash.fast+aid.{key}": [
            f"probe-part:kernels.hash.fast+aid.{key}={value}",
            "probe:workload.sample.without-engines=[]",
        ]
        for key, value in (
            ("time", "0.2(1) ms"),
            ("current", "9.0(1) mA"),
            ("supply", "3.0 V"),
            ("evidence", "sheet"),
        )
    },
    "probe:workload.sample.wake-within": "1 us",
    "probe:standing-loads.divider.load": "leak",
    "probe:needs.features.uart": "3",
    "probe:needs.lead-time": "11 weeks",
    "probe:needs.temperature.min": "-60 degC",
    "probe:needs.temperature.max": "99 degC",
    "probe:supply-options.cells.probe-cell.cell": "probe-cell-b",
    "probe:supply-options.cells.probe-cell.series": "2",
    "probe:supply-options.cells.probe-cell.parallel": "2",
    "probe:supply-options.reservoir.capacitance": "9 mF",
    "probe:supply-options.reservoir.esr": "50 ohm",
    "probe:add-ons": "allowed",
    "probe:cost.currency": "CHF",
    "probe:cost.units": "700",
    "probe:cost.engineer-rate": "120 EUR/h",
    "probe:cost.rates.USD": "0.80",
}
SHARES = {
    "-10 degC": ("0.3", "15 degC", "0.4"),
    "15 degC": ("0.4", "-10 degC", "0.3"),
    "45 degC": ("0.2", "15 degC", "0.6"),
}

# bounds that do not bind at the stated values: an uncertainty about them is felt where they do
SLACK = {
    "probe-cell:after-rest.1 h.-20 degC.70 mA",
    "probe-cell:after-rest.1 h.20 degC.70 mA",
    "probe-cell:after-rest.30 days.-20 degC.70 mA",
    "probe:before-use.storage.environment.21 degC.share",
    "probe-part:supply.min",
    "probe-part:supply.brown-out",
    "probe-part:peak-current",
    "probe-part:price.breaks.1",
    "probe-part:price.breaks.10000",
    "probe-cell:price.breaks.1",
    "probe-cell:price.breaks.10000",
    "probe-ldo:price.breaks.1000",
    "probe-cell:nominal-voltage",  # compares builds; no figure of the chosen one rests on it
    "probe-cell:resistance.0",
    "probe-cell:temperature.60 degC.capacity",
    "probe-cell:temperature.60 degC.resistance",
    "probe-cell:shelf-life",
    "probe-cell:discharge-to",
    "probe-cell:two-well.c",
    "probe-cell:two-well.k",
    "probe:supply-options.reservoir.capacitance",
    "probe-part:operating-points.fast.clock",  # all is measured there
}
