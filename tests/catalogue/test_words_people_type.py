"""Words that people type: each is told the right one, and never a worse one.

Every case is a value laid over a file of the demonstration, as somebody would write it there, with
the word that must be put forward: of a word with two meanings none may be, and both are told.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import usage
from advisor.catalogue import schema_parts, schema_product, schema_supply, usual_words
from advisor.catalogue.criteria import CRITERIA
from advisor.catalogue.fields import Either, ListOf, MapOf, Record, specification
from advisor.catalogue.kinds import ID
from advisor.catalogue.load import load_catalogue, with_changes
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_product import Product
from advisor.catalogue.shipped import load
from advisor.dimensions import DIMENSIONS
from advisor.faults import Fault, FaultError
from advisor.quantities import QuantityError, read_quantity

PART, TASK = "quorvane-jor", "frost-post:workload.sample"
RAM, SLEEP = f"{PART}:memory.ram", f"{PART}:sleep-states.ram-kept.wake-time"
CLOCK, IDLE = f"{PART}:operating-points.fast.clock", f"{PART}:operating-points.fast.idle-current"
EVERY, VOLTS = f"{TASK}.every", f"{PART}:supply.min"
HOT, CELL = f"{PART}:temperature.max", "ls-pen"
PRICE = f"{PART}:price"


@dataclass(frozen=True)
class Told:
    """What must be said: the nearest valid word, and words that must stand in what is expected."""

    right: str | None
    say: tuple[str, ...] = ()


def told(right: str | None, *say: str) -> Told:
    return Told(right, say)


# what is set -> what must be told
VALUES: dict[str, Told] = {
    # sizes: 64 kB for 64 KiB would screen a part out
    f"{RAM}=64KB": told(None, "KiB (1024 B)", "kB (1000 B)"),
    f"{RAM}=64 Kb": told(None, "KiB (1024 B)", "kB (1000 B)"),
    f"{RAM}=64K": told(None, "KiB (1024 B)", "kB (1000 B)"),
    f"{RAM}=64 kbytes": told(None, "KiB (1024 B)", "kB (1000 B)"),
    f"{RAM}=1 Mb": told(None, "MiB", "MB"),
    f"{RAM}=512 kbit": told(None, "8 bits are a byte"),
    f"{RAM}=64 kib": told("KiB"),
    f"{RAM}=65536 bytes": told("B"),
    f"{RAM}=65536": told(None, "with its unit"),
    # units in another case, or spelled out
    f"{CLOCK}=24 Mhz": told("MHz"),
    f"{CLOCK}=24 mhz": told("MHz"),
    f"{CLOCK}=24 MHZ": told("MHz"),
    f"{CLOCK}=32768 hz": told("Hz"),
    f"{CLOCK}=24M": told(None, "24 MHz"),
    f"{IDLE}=900 ua": told("µA"),
    f"{IDLE}=900 UA": told("µA"),
    f"{IDLE}=900 microamps": told("µA"),
    f"{IDLE}=1.1 ma": told("mA"),
    f"{IDLE}=1.1 MA": told("mA"),
    f"{IDLE}=1.1 amps": told("A"),
    f"{IDLE}=105 uA/MHz": told(None, "run-current"),
    f"{IDLE}=1.1 mAh": told(None, "a charge"),
    f"{VOLTS}=1.8 v": told("V"),
    f"{VOLTS}=1.8 volts": told("V"),
    f"{VOLTS}=1.8 VDC": told("V"),
    f"{VOLTS}=1v8": told("1.8 V"),
    f"{VOLTS}=3V3": told("3.3 V"),
    f"{HOT}=85 C": told("degC"),
    f"{HOT}=85 °": told("degC"),
    f"{HOT}=85 deg C": told("degC"),
    f"{HOT}=85 degrees": told("degC"),
    f"{HOT}=85 celsius": told("degC"),
    f"{HOT}=85 ºC": told("degC"),
    f"{HOT}=185 F": told("degF"),
    f"{SLEEP}=900 usec": told("µs"),
    f"{SLEEP}=900 microseconds": told("µs"),
    f"{SLEEP}=1 MS": told("ms"),
    f"{EVERY}=30 sec": told("s"),
    f"{EVERY}=5 minutes": told("min"),
    f"{EVERY}=2 hrs": told("h"),
    f"{EVERY}=5 m": told(None, "min (minutes)", "months"),
    f"{EVERY}=30": told(None, "with its unit"),
    f"{CELL}:capacity=220 mAH": told("mAh"),
    f"{CELL}:capacity=220 mah": told("mAh"),
    f"{CELL}:capacity=660 mWh": told(None, "nominal voltage"),
    f"{CELL}:resistance.0=4k7": told("4.7 kohm"),
    f"{CELL}:resistance.0=10 ohms": told("ohm"),
    f"{CELL}:resistance.0=10 R": told("ohm"),
    f"{CELL}:self-discharge=1 %/yr": told("%/year"),
    f"{CELL}:self-discharge=1 % per year": told("%/year"),
    f"{CELL}:self-discharge=1 percent/year": told("%/year"),
    f"{PART}:board-area=25 mm^2": told("mm2"),
    f"{PART}:board-area=25 sq mm": told("mm2"),
    f"{PART}:run-current=105 ua/mhz": told("µA/MHz"),
    f"{PART}:run-current=105 uA per MHz": told("µA/MHz"),
    f"{PART}:run-current=105 uA/Mhz": told("µA/MHz"),
    # how often for how long between
    f"{EVERY}=8 per day": told("3 h"),
    f"{EVERY}=8/day": told("3 h"),
    f"{EVERY}=8x daily": told("3 h"),
    f"{EVERY}=8 times a day": told("3 h"),
    f"{EVERY}=twice a day": told("12 h"),
    f"{EVERY}=every hour": told("1 h"),
    f"{EVERY}=every 5 minutes": told("5 min"),
    f"{EVERY}=hourly": told("1 h"),
    f"{EVERY}=daily": told("1 day"),
    f"{EVERY}=4/h": told("15 min"),
    f"{EVERY}=weekdays": told("33.6 h", "5 a week"),
    f"{EVERY}=Mon-Fri": told("33.6 h", "5 a week"),
    f"{EVERY}=[mon, wed, fri]": told("56 h", "3 a week"),
    f"{EVERY}=Monday to Sunday": told("1 day", "7 a week"),
    # how sure a figure is
    f"{IDLE}=typ 1.1 mA": told("1.1 mA", "{typical: 1.1 mA, max: …}"),
    f"{IDLE}=1.1 mA typ.": told("1.1 mA", "{typical: 1.1 mA, max: …}"),
    f"{IDLE}=max 2 mA": told("2 mA", "{typical: …, max: 2 mA}"),
    f"{IDLE}=<2 mA": told("2 mA", "{typical: …, max: 2 mA}"),
    f"{IDLE}=~1 mA": told("1 mA", "±"),
    f"{IDLE}=1-2 mA": told("1.5 ± 0.5 mA"),
    f"{IDLE}=1 to 2 mA": told("1.5 ± 0.5 mA"),
    f"{IDLE}={{typ: 1 mA, max: 2 mA}}": told("typical"),
    f"{IDLE}={{typical: 1 mA, maximum: 2 mA}}": told("max"),
    f"{IDLE}={{Typical: 1 mA, Max: 2 mA}}": told("max"),
    f"{IDLE}={{min: 1 mA, likely: 2 mA, high: 3 mA}}": told("low"),
    f"{IDLE}={{min: 1 mA, typ: 2 mA, max: 3 mA}}": told(None, "{low, likely, high}"),
    f"{IDLE}=tbd": told(None, "left out"),
    f"{IDLE}=n/a": told(None, "left out"),
    f"{IDLE}='?'": told(None, "left out"),
    # numbers
    f"{VOLTS}='1,8 V'": told("1.8 V", "decimal point"),
    f"{CELL}:capacity='1,200 mAh'": told(None, "1.200 or 1200"),
    f"{CELL}:capacity='1.200,5 mAh'": told("1200.5 mAh"),
    f"{CELL}:capacity=1 200 mAh": told("1200 mAh"),
    f"{CELL}:capacity=1'200 mAh": told("1200 mAh"),
    f"{PRICE}.breaks.1=€1.42": told("1.42", "currency"),
    f"{PRICE}.breaks.1=1.42 EUR": told("1.42", "currency"),
    f"{PRICE}.multiple=3k": told("3000"),
    f"{PRICE}.multiple='3,000'": told("3000"),
    f"{PRICE}.multiple=3000 pcs": told("3000"),
    f"{PRICE}.multiple=3000.0": told("3000"),
    f"{PRICE}.breaks={{1k: 1.42}}": told("1000"),
    "frost-post:cost.engineer-rate=80 €/h": told("80 EUR/h"),
    "frost-post:cost.engineer-rate=80 eur/h": told("80 EUR/h"),
    # a currency, wherever one stands
    "frost-post:cost.currency=EURO": told("EUR", "three capital letters"),
    "frost-post:cost.currency=euro": told("EUR"),
    "frost-post:cost.currency=eur": told("EUR"),
    "frost-post:cost.currency=€": told("EUR"),
    "frost-post:cost.currency=US$": told("USD"),
    "frost-post:cost.currency=Gulden": told(None, "three capital letters"),
    "frost-post:cost.rates={usd: 0.9}": told("USD"),
    "frost-post:cost.rates={Dollar: 0.9}": told("USD"),
    f"{PRICE}.currency=EURO": told("EUR"),
    f"{CELL}:price.currency=euros": told("EUR"),
    "ldo-a:price.currency=Eur": told("EUR"),
    "bus-split:price.currency=sterling": told("GBP"),
    "frost-post:cost.units=10k": told("10000"),
    # words
    f"{PART}:invented=yes": told("true"),
    f"{PART}:invented=No": told("false"),
    f"{PART}:invented=TRUE": told("true"),
    f"{CELL}:rechargeable=n": told("false"),
    f"{PART}:lifecycle=production": told("active"),
    f"{PART}:lifecycle=obsolete": told("ended"),
    f"{PART}:lifecycle=EOL": told("last-orders"),
    f"{PART}:supply.regulator=LDO": told("linear"),
    f"{PART}:supply.regulator=DC-DC": told("switching"),
    f"{PART}:evidence.new={{kind: measured}}": told("bench"),
    f"{PART}:evidence.new={{kind: guess}}": told("estimate"),
    f"{PART}:evidence.new={{kind: bench, date: 11.3.2026}}": told("2026-03-11"),
    f"{PART}:evidence.new={{kind: bench, date: 2026/3/11}}": told("2026-03-11"),
    f"{PART}:evidence.new={{kind: bench, date: 11 Mar 2026}}": told("2026-03-11"),
    f"{PART}:evidence.new={{kind: bench, date: 3/11/2026}}": told(None),
    f"{PART}:evidence.new={{instrument: Meter A}}": told("meter-a"),
    f"{PART}:toolchain.maturity.debug='yes'": told("full"),
    f"{TASK}.loads=[{{load: radio, current: 1 mA, for: 1 s, cpu: sleep}}]": told("asleep"),
}
# a key that people type, with a value, and the right one
KEYS: dict[str, Told] = {
    f"{PART}:name=x": told("part"),
    f"{PART}:manufacturer=x": told("maker"),
    f"{PART}:vendor=x": told("maker"),
    f"{PART}:ram=64 KiB": told("memory.ram"),
    f"{PART}:flash=64 KiB": told("memory.flash"),
    f"{PART}:SRAM=64 KiB": told("memory.ram"),
    f"{PART}:freq=24 MHz": told("operating-points.<operating point>.clock"),
    f"{PART}:frequency=24 MHz": told("operating-points.<operating point>.clock"),
    f"{PART}:voltage=3.3 V": told("supply.min and supply.max"),
    f"{PART}:vdd=3.3 V": told("supply.min and supply.max"),
    f"{PART}:moq=10": told("price.breaks"),
    f"{PART}:min order=10": told("price.breaks"),
    f"{PART}:lead time=10 weeks": told("price.lead-time"),
    f"{PART}:lead_time=10 weeks": told("price.lead-time"),
    f"{PART}:currency=EUR": told("price.currency"),
    f"{PART}:cost=1.42": told("price.breaks"),
    f"{PART}:architecture=x": told("core.architecture"),
    f"{PART}:sleep_states={{}}": told("sleep-states"),
    f"{PART}:sleepStates={{}}": told("sleep-states"),
    f"{PART}:operating_points={{}}": told("operating-points"),
    f"{PART}:active-current=1 mA": told("run-current"),
    f"{PART}:uart=2": told("features.<feature>"),
    f"{PRICE}.moq=10": told("breaks"),
    f"{PRICE}.min-order=10": told("breaks"),
    f"{PRICE}.lead time=10 weeks": told("lead-time"),
    f"{PRICE}.lead_time=10 weeks": told("lead-time"),
    f"{PRICE}.leadtime=10 weeks": told("lead-time"),
    f"{PRICE}.reel=3000": told("multiple"),
    f"{PART}:supply.vmin=1.8 V": told("min"),
    f"{PART}:supply.maximum=3.6 V": told("max"),
    f"{PART}:operating-points.fast.freq=24 MHz": told("clock"),
    f"{PART}:operating-points.fast.voltage=3 V": told("supply"),
    f"{PART}:operating-points.fast.idle_current=1 mA": told("idle-current"),
    f"{PART}:sleep-states.ram-kept.wakeup-time=1 ms": told("wake-time"),
    f"{PART}:kernels.hash.fast.duration=1 ms": told("time"),
    f"{CELL}:name=x": told("cell"),
    f"{CELL}:voltage=3 V": told("nominal-voltage"),
    f"{CELL}:esr=3 ohm": told("resistance"),
    f"{CELL}:cutoff=2 V": told("cut-off"),
    f"{CELL}:weight=3 g": told("mass"),
    "frost-post:name=x": told("product"),
    "frost-post:battery=x": told("supply-options.cells"),
    "frost-post:lifetime=5 years": told("life-target"),
    "frost-post:interval=5 s": told("workload.<task>.every"),
    "frost-post:quantity=500": told("cost.units"),
    "frost-post:weights={}": told("priorities"),
    "frost-post:voltage=3 V": told("rail"),
    "frost-post:ram=16 KiB": told("needs.memory.ram"),
    f"{TASK}.interval=5 s": told("every"),
    f"{TASK}.period=5 s": told("every"),
    f"{TASK}.freq=1 Hz": told("every"),
    f"{TASK}.deadline=1 s": told("finish-within"),
    "frost-post:cost.qty=500": told("units"),
    "frost-post:priorities.price={weight: 1}": told("purchase-cost"),
    "frost-post:priorities.cost={weight: 1}": told("lifetime-cost or purchase-cost"),
    "frost-post:priorities.battery_life={weight: 1}": told("battery-life"),
    "frost-post:priorities.battery-life.importance=3": told("weight"),
    "frost-post:priorities.battery-life.worst=3 years": told("poor"),
}


@pytest.fixture(scope="module")
def inputs() -> tuple[Catalogue, Product]:
    return load("frost-post")


def refusal(text: str, dimension: str) -> QuantityError | None:
    try:
        read_quantity(text, dimension)
    except QuantityError as error:
        return error
    return None


def faults_at(inputs: tuple[Catalogue, Product], change: str) -> tuple[Fault, ...]:
    try:
        with_changes(*inputs, [change])
    except FaultError as error:
        return error.faults
    return ()


def faults_of(inputs: tuple[Catalogue, Product], change: str) -> tuple[Fault, ...]:
    with pytest.raises(FaultError) as caught:
        with_changes(*inputs, [change])
    return caught.value.faults


@pytest.mark.parametrize("change", [*VALUES, *KEYS])
def test_the_right_word_is_told(inputs: tuple[Catalogue, Product], change: str) -> None:
    wanted = VALUES.get(change) or KEYS[change]
    faults = faults_of(inputs, change)
    assert wanted.right in {f.nearest for f in faults}, [f.text() for f in faults]
    said = " ".join(f.expected for f in faults)
    for word in wanted.say:
        assert word in said
    if change in KEYS:
        (fault,) = [f for f in faults if f.nearest == wanted.right]
        assert wanted.right is not None
        assert "here one of" in fault.expected or wanted.right in fault.expected


def test_what_is_put_forward_is_taken(inputs: tuple[Catalogue, Product]) -> None:
    """The nearest valid word, set in place of what was refused, is no fault any more."""
    tried = 0
    for change, wanted in VALUES.items():
        path, _, value = change.partition("=")
        if wanted.right is None or value.strip("'")[0] in "{[":
            continue
        number = re.match(r"'?([0-9.]+)", value)
        whole = wanted.right
        if not whole[0].isdigit() and number is not None:
            whole = f"{number[1]} {whole}"
        # a good word may still break a rule with others there: then no other one is put forward
        assert [f.text() for f in faults_at(inputs, f"{path}={whole}") if f.nearest] == [], change
        tried += 1
    assert tried > 50


def test_no_word_for_a_unit_has_two_meanings() -> None:
    for dimension, words in usage.UNITS.items():
        own = {usage._folded(u) for u in DIMENSIONS[dimension].units}
        seen = [usage._folded(w) for text in words.values() for w in text.split()]
        assert len(seen) == len(set(seen)), dimension
        assert set(words) <= set(DIMENSIONS[dimension].units)
        for word in seen:
            assert word not in usage.TWO.get(dimension, {})
            # a unit in another case is that unit
            assert word not in own or word in {usage._folded(u) for u in words}, (dimension, word)


@pytest.mark.parametrize("dimension", sorted(DIMENSIONS))
def test_a_unit_in_another_case_is_itself_or_two(dimension: str) -> None:
    units = [u for u in DIMENSIONS[dimension].units if u]
    for unit, other in itertools.product(units, (str.upper, str.lower, str.swapcase)):
        word = other(unit)
        error = refusal(f"1 {word}", dimension)
        alike = [u for u in units if usage._folded(u) == usage._folded(word)]
        if error is None:
            continue
        if error.nearest is not None:
            assert error.nearest in alike
        else:
            assert len(alike) > 1 or " or " in error.expected or ";" in error.expected


def _records() -> dict[str, Any]:
    found: dict[str, Any] = {}
    for module in (schema_parts, schema_product, schema_supply):
        for name, value in vars(module).items():
            if isinstance(value, type) and hasattr(value, "__dataclass_fields__"):
                found[name] = value
    return found


def stands(kind: Any, keys: list[str]) -> bool:
    """Whether a key may stand below a kind; `<…>` is any name."""
    if not keys:
        return True
    if isinstance(kind, Either):
        kind = kind.record
    if isinstance(kind, ListOf | MapOf):
        return stands(kind.kind, keys[1:]) if keys[0].startswith("<") else False
    below = getattr(kind, "below", lambda _: None)(keys[0])
    return below is not None and stands(below, keys[1:])


def test_every_key_put_forward_may_stand_there() -> None:
    records = _records()
    for record, words in usual_words.KEYS.items():
        known = CRITERIA if record == "priorities" else specification(records[record])
        seen = [w for text in words.values() for w in text.split()]
        twice = {w for w in seen if seen.count(w) > 1}
        assert not twice, (record, twice)
        for right in words:
            for one in re.split(" and | or ", right):
                if record == "priorities":
                    assert one in CRITERIA
                else:
                    assert stands(Record(records[record]), one.split(".")), (record, one)
        # what is a key there already is no other word for one
        assert not set(seen) & set(known), (record, set(seen) & set(known))


def test_a_word_of_the_files_is_no_other_word_for_one_it_stands_beside() -> None:
    for options in (
        schema_parts.LIFECYCLES,
        schema_parts.EVIDENCE_KINDS,
        schema_parts.ANSWERS,
        ("linear", "switching"),
        ("linear", "buck", "boost", "buck-boost"),
        ("true", "false"),
        ("idle", "asleep"),
        ("none", "single", "double"),
    ):
        for option in options:
            assert usual_words.word_meant(option, options) == option
            for word in usual_words.WORDS.get(option, "").split():
                assert usual_words.word_meant(word, options) == option


@given(st.text(max_size=60))
def test_hostile_words_are_refused_in_words(text: str) -> None:
    for dimension in ("time", "information", "voltage", "money", "current"):
        error = refusal(text, dimension)
        wanted = DIMENSIONS[dimension].wanted.split(" such")[0]
        assert error is None or error.expected.startswith(wanted)
    near = usual_words.id_meant(text)
    assert near is None or ID.fullmatch(near)
    for ask in (usual_words.day_meant, usual_words.clock_meant, usual_words.number_meant):
        assert ask(text) is None or isinstance(ask(text), str)
    usual_words.key_meant("Part", text, ("part",))


@pytest.mark.parametrize(
    ("text", "right"),
    [
        *(("9:30", "09:30"), ("9.30", "09:30"), ("0930", "09:30"), ("9:30 am", "09:30")),
        *(("2 pm", "14:00"), ("12 am", "00:00"), ("12 pm", "12:00"), ("9", None), ("25:00", None)),
    ],
)
def test_times_of_the_day(text: str, right: str | None) -> None:
    assert usual_words.clock_meant(text) == right


def test_the_shipped_files_need_no_other_words() -> None:
    from advisor.catalogue.shipped import catalogue_folder

    assert load_catalogue([catalogue_folder()]).parts
