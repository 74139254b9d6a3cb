"""What people write for a key or a word of the files, and the right one; asked on refusing one.

The right key is written from the record that was being read; `<…>` is a name of the user's own.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Collection, Mapping

from advisor.faults import nearest

# record -> right key -> other words for it; of one that belongs nowhere, what to do instead
_PRICE = {
    "breaks": "moq min-order minimum-order min-quantity each unit unit-price price cost value 1 "
    "10 100 1000 10000 quantity qty",
    "multiple": "package packaging pack pack-size reel spq order-multiple",
    "lead-time": "delivery lead leadtime delivery-time",
    "currency": "unit-currency ccy curr",
}
_PRICED = {
    "price.breaks": "cost unit-price prices price-breaks price-each moq min-order minimum-order "
    "min-order-quantity",
    "price.multiple": "pack-size package-quantity order-multiple reel-size",
    "price.lead-time": "lead-time leadtime delivery delivery-time",
    "price.currency": "currency",
}
_WINDOW = {
    "min": "minimum low lower lowest from vmin least start",
    "max": "maximum high upper highest to vmax most end",
}
_EVIDENCE = {"evidence": "source evidences from ref reference"}
KEYS: Mapping[str, Mapping[str, str]] = {
    "Part": {
        "part": "name id part-name part-number partnumber mpn model device mcu",
        "maker": "manufacturer vendor brand mfr make",
        "summary": "description desc comment title note notes text",
        "lifecycle": "status state availability life-cycle",
        "core": "cpu processor",
        "core.architecture": "architecture arch instruction-set isa",
        "core.float-unit": "fpu float float-unit",
        "core.cores": "cores core-count",
        "memory.ram": "ram sram data-memory ram-size",
        "memory.flash": "flash rom program-memory code-memory flash-size nvm",
        "supply.min": "vmin vdd-min vcc-min supply-min min-voltage minimum-voltage",
        "supply.max": "vmax vdd-max vcc-max supply-max max-voltage maximum-voltage",
        "supply.min and supply.max": "voltage vdd vcc supply-voltage voltage-range supply-range "
        "operating-voltage power-supply",
        "supply.regulator": "regulator ldo dcdc",
        "supply.brown-out": "brown-out brownout bor",
        "temperature.min and temperature.max": "temp temp-range temperature-range "
        "operating-temperature ambient",
        "temperature.min": "temp-min min-temp min-temperature t-min",
        "temperature.max": "temp-max max-temp max-temperature t-max",
        "features.<feature>": "uart uarts spi i2c adc adcs gpio gpios pins io dma timers usb can "
        "peripherals interfaces feature",
        "operating-points.<operating point>.clock": "clock freq frequency speed mhz clock-speed "
        "clock-frequency max-clock max-frequency fmax",
        "operating-points.<operating point>.idle-current": "idle-current idle idle-power",
        "operating-points": "points modes clocks operating-point run-modes clock-settings",
        "run-current": "active-current run active run-mode-current current supply-current "
        "current-per-mhz active-mode-current consumption",
        "kernels": "benchmarks kernel benchmark measurements performance",
        "sleep-states": "sleep sleep-modes low-power-modes sleep-state sleeps power-modes standby "
        "stop-modes",
        "sleep-states.<sleep state>.current": "sleep-current standby-current deep-sleep-current "
        "stop-current",
        "sleep-states.<sleep state>.wake-time": "wake-time wakeup-time wake-up-time wakeup wake-up",
        "blocks": "block peripheral-currents",
        "extras": "bom external components external-parts",
        "toolchain": "tools tool-chain ide sdk",
        "toolchain.setup": "setup setup-time set-up",
        "board-area": "area footprint package-area size pcb-area",
        "peak-current": "max-current peak inrush",
        "own-figures": "figures custom own scores own-figure",
        **_PRICED,
        **_EVIDENCE,
    },
    "Core": {"architecture": "arch name type isa", "float-unit": "fpu float", "cores": "count"},
    "Memory": {
        "flash": "rom program code nvm flash-size program-memory",
        "ram": "sram data ram-size data-memory",
    },
    "PartSupply": {**_WINDOW, "regulator": "ldo dcdc type", "brown-out": "bor brownout"},
    "Window": _WINDOW,
    "Span": _WINDOW,
    "OperatingPoint": {
        "clock": "freq frequency speed mhz f clock-speed hclk sysclk",
        "idle-current": "idle sleep-current idle-mode current-idle",
        "run-current": "current active-current run run-mode active current-per-mhz",
        "supply": "voltage vdd vcc v supply-voltage",
        "supply-min": "min-supply vmin min-voltage vdd-min minimum-supply",
        **_EVIDENCE,
    },
    "RunCurrent": {
        "per-clock": "slope current per-mhz value ua-per-mhz rate",
        "base": "offset static fixed constant intercept",
        "supply": "voltage vdd vcc v at",
        **_EVIDENCE,
    },
    "KernelFigure": {
        "time": "duration runtime run-time t elapsed execution-time",
        "current": "i amps mean-current average-current supply-current",
        "supply": "voltage vdd vcc v",
        "cycles": "clock-cycles cycle-count cycle instructions",
        **_EVIDENCE,
    },
    "Block": {"current": "i amps", "for": "time duration length t", **_EVIDENCE},
    "SleepState": {
        "current": "i sleep-current amps leakage",
        "supply": "voltage vdd vcc v",
        "wake-time": "wakeup wake-up wakeup-time wake-up-time latency wake",
        "wake-charge": "wakeup-charge wake-up-charge wake-energy",
        "retains": "retention keeps kept retained retain",
        "adds": "extra additions plus",
        **_EVIDENCE,
    },
    "Price": _PRICE,
    "Extra": {"item": "name part component what", "price": "cost each"},
    "Evidence": {
        "kind": "type source quality",
        "date": "when day on",
        "instrument": "meter tool",
        "note": "notes comment remark",
        "gain": "accuracy gain-error error",
    },
    "Toolchain": {"setup": "setup-time hours set-up", "maturity": "questions quality answers"},
    "Cell": {
        "cell": "name id battery model part",
        "chemistry": "type technology chem",
        "nominal-voltage": "voltage nominal v nom-voltage",
        "capacity": "mah size-mah nominal-capacity",
        "voltage-curve": "ocv discharge-curve curve open-circuit-voltage ocv-curve voltages",
        "resistance": "esr internal-resistance ir ri r impedance",
        "cut-off": "cutoff cutoff-voltage end-voltage cut-off-voltage empty min-voltage",
        "self-discharge": "selfdischarge leakage self-discharge-rate loss",
        "shelf-life": "lifetime life shelflife",
        "max-continuous": "max-current continuous-current max-discharge continuous",
        "max-pulse": "pulse-current pulse max-pulse-current peak peak-current",
        "mass": "weight",
        "rechargeable": "secondary chargeable",
        "temperature": "temperatures derating",
        "summary": "description desc comment title note notes",
        **_PRICED,
        **_EVIDENCE,
    },
    "Converter": {
        "converter": "name id regulator part",
        "kind": "type topology",
        "input.min and input.max": "vin input-voltage input-range",
        "output.min and output.max": "vout output-voltage voltage output-range",
        "quiescent": "iq quiescent-current idle-current",
        "efficiency": "eff eta",
        "dropout": "drop-out dropout-voltage vdo",
        "max-output": "max-current output-current iout max-output-current",
        "summary": "description desc comment title note notes",
        **_PRICED,
        **_EVIDENCE,
    },
    "AddOn": {
        "addon": "name id add-on part",
        "standing": "quiescent iq idle-current current supply-current",
        "sleep": "sleep-current shutdown shutdown-current standby-current",
        "setup": "setup-time hours set-up bring-up",
        "board-area": "area footprint package-area size",
        "gives": "features blocks brings provides",
        "takes": "ports occupies needs interface",
        "summary": "description desc comment title note notes",
        **_PRICED,
        **_EVIDENCE,
    },
    "Giving": {"grades": "quality qualities grade"},
    "Kernel": {"work": "description unit what", "check": "result checks", "stresses": "type kind"},
    "Product": {
        "product": "name id title device project",
        "summary": "description desc comment note notes",
        "life-target": "battery-life lifetime life target target-life required-life",
        "service-life": "product-life years in-service",
        "rail": "voltage vdd vcc supply supply-voltage rail-voltage",
        "environment": "temperature temperatures ambient climate temp",
        "workload": "tasks task jobs duty load work activities schedule",
        "workload.<task>.every": "interval period every rate frequency freq cycle",
        "standing-loads": "always-on quiescent leakage static standing-load",
        "retain": "retains keep keeps retention",
        "needs": "requirements requires constraints limits must need",
        "needs.memory.ram": "ram sram memory",
        "needs.memory.flash": "flash rom",
        "needs.lead-time": "lead-time delivery",
        "supply-options.cells": "battery batteries cell cells pack packs power-source",
        "supply-options.converters": "converter converters regulator",
        "supply-options.reservoir": "capacitor reservoir supercap",
        "supply-options": "power supplies power-supply options",
        "cost.units": "units quantity qty volume annual-volume pieces",
        "cost.currency": "currency",
        "cost.unit-cost-limit": "budget max-cost cost-limit price-limit",
        "cost.engineer-rate": "engineer-rate hourly-rate",
        "cost.rates": "rates exchange-rates exchange",
        "priorities": "weights criteria priority weight importance preferences",
        "measuring": "measurement effort",
    },
    "Task": {
        "task": "name id job",
        "every": "interval period rate frequency freq repeat each cycle times schedule",
        "kernels": "kernel compute work computations cpu runs",
        "uses": "blocks block peripherals use",
        "loads": "load external consumers",
        "loads.<load>.for": "duration time length for",
        "finish-within": "deadline within time-limit max-time",
        "wake-within": "latency response wake-up max-latency",
        "without-engines": "no-engines without engines",
        "at": "point operating-point clock mode",
    },
    "Load": {
        "load": "name id what part",
        "for": "duration time length t on-time ms",
        "current": "i amps draw consumption",
        "power": "p watts",
        "charge": "q coulombs",
        "cpu": "mode state core mcu",
    },
    "StandingLoad": {
        "load": "name id what part",
        "current": "i amps draw",
        "power": "p watts",
    },
    "Stay": {
        "at": "temperature temp t degrees ambient",
        "share": "fraction part percent time weight proportion",
    },
    "CellOption": {
        "cell": "name id battery",
        "series": "s in-series",
        "parallel": "p in-parallel count number quantity",
        "budget": "capacity charge mah",
        "voltage": "v nominal nominal-voltage",
    },
    "Reservoir": {"capacitance": "c cap value size", "esr": "resistance r", "leakage": "leak"},
    "Cost": {
        "units": "quantity qty volume pieces annual-volume number",
        "engineer-rate": "hourly-rate rate engineering engineer",
        "service-visit": "visit service replacement maintenance",
        "unit-cost-limit": "budget max max-cost limit cost-limit",
        "rates": "exchange exchange-rates fx",
        "tools": "tooling equipment",
    },
    "Needs": {
        "memory": "ram flash rom",
        "temperature": "temp temperature-range ambient",
        "features": "feature peripherals",
        "lead-time": "delivery leadtime lead",
        "lifecycle": "status",
        "confidence": "probability sure",
    },
    "priorities": {
        "battery-life": "battery life lifetime runtime endurance battery-lifetime",
        "lifetime-cost": "total-cost tco ownership cost-of-ownership life-cycle-cost",
        "purchase-cost": "price bom unit-cost unit-price bom-cost part-cost",
        "lifetime-cost or purchase-cost": "cost costs money",
        "toolchain": "tools maturity software tooling ecosystem",
        "bring-up": "setup time-to-market effort learning",
        "time-headroom": "performance speed headroom cpu-headroom time",
        "memory-headroom": "memory ram flash",
        "board-area": "size area footprint space",
        "energy-per-day": "energy power consumption current efficiency",
    },
    "Priority": {
        "weight": "importance value w points priority",
        "poor": "worst bad min minimum",
        "good": "best max maximum target ideal",
    },
}

# word of the files -> other words for it
WORDS: Mapping[str, str] = {
    "true": "yes y on 1 t ja oui ok",
    "false": "no n off 0 f nein non",
    "active": "production in-production current mass-production available",
    "announced": "preview preliminary coming sampling new",
    "last-orders": "nrnd not-recommended last-time-buy ltb eol end-of-life",
    "ended": "obsolete discontinued dead",
    "linear": "ldo low-dropout",
    "switching": "dcdc dc-dc dc/dc smps switcher",
    "buck": "step-down stepdown",
    "boost": "step-up stepup",
    "buck-boost": "buckboost step-up-down sepic",
    "bench": "measured measurement lab test",
    "datasheet": "sheet data-sheet spec manual",
    "estimate": "guess estimated assumed assumption",
    "asleep": "sleep sleeping off stop standby",
    "idle": "waiting wait on idling",
    "single": "sp fp32 float f32",
    "double": "dp fp64 f64",
    "none": "no nil null nothing",
    "full": "yes complete ok",
    "partial": "partly some maybe half",
    "allowed": "yes allow true on",
    "not-allowed": "no never false off forbidden",
    "typical": "typ nominal nom avg average mean median",
    "max": "maximum upper worst worst-case greatest",
    "low": "min minimum lower least",
    "likely": "mode expected most-likely",
    "high": "hi upper highest",
}
# code of a currency -> what else it is called
_CURRENCIES: Mapping[str, str] = {
    "AUD": "a$ au$",
    "CAD": "c$ ca$ can$",
    "CHF": "sfr fr franken swiss-franc swiss-francs",
    "CNY": "rmb yuan renminbi cn¥",
    "CZK": "kc kč koruna koruny",
    "DKK": "dkr",
    "EUR": "€ euro euros eur€ €uro",
    "GBP": "£ pound pounds sterling quid stg gbp£",
    "INR": "₹ rupee rupees",
    "JPY": "yen jp¥",
    "KRW": "₩ won",
    "NOK": "nkr",
    "PLN": "zl zł zloty zlotys złoty",
    "SEK": "skr",
    "USD": "us$ $us usd$ dollar dollars us-dollar us-dollars $",
}
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]


def plain(word: str) -> str:
    """A word as a key is written: lower case, hyphens between its words."""
    word = re.sub(r"(?<=[a-z0-9])(?=[A-Z][a-z])", "-", word.strip(" \t:."))
    return re.sub(r"[\s_./]+", "-", word).strip("-").casefold()


def key_meant(record: str, word: str, known: Collection[str]) -> str | None:
    """The right key for one that a record does not have; None where that is not known."""
    asked = plain(word)
    if asked in known:
        return asked
    for right, words in KEYS.get(record, {}).items():
        if asked in words.split():
            return right
    singular = {name.removesuffix("s"): name for name in known}
    return singular.get(asked.removesuffix("s"))


def word_meant(word: str, options: Collection[str]) -> str | None:
    """The right word of a few for one that is none of them; None where that is not known."""
    asked = plain(word)
    folded = {option.casefold(): option for option in options}
    if asked in folded:
        return folded[asked]
    found = [option for option in options if asked and asked in WORDS.get(option, "").split()]
    return found[0] if len(found) == 1 else None


def currency_meant(word: str) -> str | None:
    """The code of the currency that a word is; None where that is not known."""
    asked = plain(word)
    for code, words in _CURRENCIES.items():
        if asked == code.casefold() or asked in words.split():
            return code
    if re.fullmatch("[a-z]{3}", asked):
        return asked.upper()
    return nearest(asked.upper(), tuple(_CURRENCIES))


def id_meant(word: str) -> str | None:
    """The id nearest to a name; None where nothing is left of it."""
    return re.sub(r"[^a-z0-9]+", "-", word.strip().lower()).strip("-") or None


def number_meant(word: str) -> str | None:
    """The whole number that a text means; None where that is not known."""
    text = word.strip().replace("\N{MINUS SIGN}", "-")
    if re.fullmatch(r"[0-9]{1,3}(?:[,.' _][0-9]{3})+", text):
        marks = {c for c in text if not c.isdigit()}
        whole = re.sub("[^0-9]", "", text)
        return whole if len(marks) == 1 and (marks != {"."} or text.count(".") > 1) else None
    found = re.fullmatch(r"([0-9]+)(?:\.0+)?\s*(?:x|×|pcs?\.?|pieces|units|times|off)?", text, re.I)
    if found is not None:
        return found[1]
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*k", text, re.I)
    if found is None:
        found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)[eE]\+?0?3", text)
    if found is not None and (1000 * float(found[1])).is_integer():
        return f"{1000 * float(found[1]):.0f}"
    return None


def day_meant(word: str) -> str | None:
    """The date that a text means; None where it may mean several, or none."""
    text = word.strip()
    found = re.fullmatch(r"([0-9]{4})[./ -]([0-9]{1,2})[./ -]([0-9]{1,2})", text)
    if found is not None:
        return _date(int(found[1]), int(found[2]), int(found[3]))
    found = re.fullmatch(r"([0-9]{1,2})\.\s?([0-9]{1,2})\.\s?([0-9]{4})", text)
    if found is not None:
        return _date(int(found[3]), int(found[2]), int(found[1]))
    found = re.fullmatch(r"([0-9]{1,2})[/-]([0-9]{1,2})[/-]([0-9]{4})", text)
    if found is not None:
        first, second = int(found[1]), int(found[2])
        if first > 12 or first == second:
            return _date(int(found[3]), second, first)
        return _date(int(found[3]), first, second) if second > 12 else None
    found = re.fullmatch(r"([0-9]{1,2})\.?\s*([A-Za-z]{3})[a-z]*\.?,?\s*([0-9]{4})", text)
    if found is not None and found[2].lower() in _MONTHS:
        return _date(int(found[3]), _MONTHS.index(found[2].lower()) + 1, int(found[1]))
    return None


def _date(year: int, month: int, day: int) -> str | None:
    try:
        return datetime.date(year, month, day).isoformat()
    except ValueError:
        return None


def clock_meant(word: str) -> str | None:
    """The time of the day that a text means; None where that is not known."""
    found = re.fullmatch(r"\s*([0-9]{1,2})(?:[:.h]?([0-9]{2}))?\s*([ap])?\.?m?\.?\s*", word, re.I)
    if found is None or not (found[2] or found[3]):
        return None
    hour, minute = int(found[1]), int(found[2] or 0)
    if found[3]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + 12 * (found[3].lower() == "p")
    return f"{hour:02d}:{minute:02d}" if hour < 24 and minute < 60 else None
