"""Words by which tables of parts name their columns (common practice, no source)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from advisor.dataclass import dataclass

# what a cell says where there is nothing to say
BLANKS = frozenset(
    (
        *("-", "--", "–", "—", "n/a", "N/A", "n.a.", "na", "NA", "tbd", "TBD", "tba", "TBA", "?"),
        *("./.", "#N/A", "k.A.", "unknown", "...", "…"),
    )
)
UNITS: Mapping[str, str] = {
    **dict.fromkeys(("KB", "kB", "K", "Kbyte", "kbyte", "KByte", "kByte", "Kbytes"), "KiB"),
    **dict.fromkeys(("MB", "Mbyte", "MByte"), "MiB"),
    **dict.fromkeys(("Bytes", "bytes", "byte"), "B"),
    **dict.fromkeys(("C", "° C", "deg C", "ºC", "Celsius"), "degC"),
    **dict.fromkeys(("Mhz", "MHZ", "mhz"), "MHz"),
    **dict.fromkeys(("ua", "UA", "µa"), "µA"),
    **dict.fromkeys(("wks", "wk", "Weeks", "weeks", "week"), "weeks"),
    **dict.fromkeys(("Days", "days", "day"), "days"),
    **dict.fromkeys(("sqmm", "mm^2", "sq mm"), "mm2"),
    **dict.fromkeys(("Volt", "Volts", "volt"), "V"),
}
"""A unit as tables have it, and as it is here. Of memory a K is 1024."""

LIFECYCLE: Mapping[str, str] = {
    r"active|in production|production|released|available": "active",
    r"nrnd|not recommended.*|last.?(orders?|time.?buy)|ltb": "last-orders",
    r"eol|end of life|obsolete|discontinued|ended|inactive": "ended",
    r"announced|preview|sampling|samples|coming soon|pre-?release": "announced",
}

PART = (
    r"part( ?(no|number|name))?|mpn|manufacturer part.*|device|item|type|article|product|"
    r"order(ing|able)? ?(code|number|part)|name|model"
)
KERNEL = r"kernel|workload|work"
POINT = r"operating.?point|point|(clock|power|run) ?mode|mode|setting"
QUANTITY = r"q(uanti)?ty|quantity( from)?|from quantity|break|pieces|pcs|price break|scale"
MINIMUM = r"moq|min(imum)? ?(order)?( ?(qty|quantity))?|least order"


@dataclass(frozen=True, slots=True)
class Guess:
    """A key that a column may be of: where it goes, its usual unit, what is unsure of it."""

    key: str
    unit: str = ""
    unsure: str = ""


_PLAIN: tuple[tuple[str, Guess], ...] = (
    (r"maker|manufacturer|mfr|mfg|vendor|brand", Guess("maker")),
    (r"description|summary|title", Guess("summary")),
    (r"(life.?cycle|part|product)? ?(status|state)|life.?cycle", Guess("lifecycle")),
    (r"(cpu ?)?(core|architecture)|cpu|instruction set", Guess("core.architecture")),
    (r"cores|number of cores|cpus", Guess("core.cores")),
    (
        r"(.*\b)?(flash|program memory|code memory|rom)\b( size| memory)?",
        Guess("memory.flash", "KiB"),
    ),
    (r"(.*\b)?(s?ram|data memory)( size)?", Guess("memory.ram", "KiB")),
    (r"brown.?out.*|bor( level)?", Guess("supply.brown-out", "V")),
    (r"regulator", Guess("supply.regulator")),
    (r"peak current|(max(imum)? )?inrush( current)?", Guess("peak-current", "mA")),
    (r"(board|pcb|footprint) ?area|footprint", Guess("board-area", "mm2")),
    (r"currency|cur|ccy", Guess("price.currency")),
    (r"lead(.?time)?|delivery( time)?", Guess("price.lead-time", "weeks")),
    (r"(order )?mult(iples?)?|pack(age|aging)? (qty|quantity|unit)|spq", Guess("price.multiple")),
    (r"(in )?stock|available( qty| quantity)?|on hand|inventory", Guess("price.stock")),
    (r"(quote|offer)( ?(no|number|ref.*))?", Guess("price.offer")),
    (r"(quote|offer|price) date|date", Guess("price.date")),
    (r"(set.?up|bring.?up) ?(time|hours?)", Guess("toolchain.setup", "h")),
)
_SUPPLY = r"(supply|vdd|vcc|vbat|operating voltage|supply voltage|voltage)( range| voltage)?"
_HEAT = r"(temp(erature)?s?|ambient( temperature)?|operating temp(erature)?|t_?a)( range)?"
_FEATURES = {
    r"u?s?arts?": "uart",
    r"spis?": "spi",
    r"i2c|iic|twi": "i2c",
    r"cans?|can.?fd": "can",
    r"usb": "usb",
    r"gpios?|i/?os?|io pins?|pins": "gpio",
    r"timers?": "timer",
    r"rtc": "rtc",
    r"adc (bits|resolution)|adc": "adc-bits",
    r"dacs?": "dac",
    r"lcd": "lcd",
    r"dma( channels)?": "dma",
}
_SLEEPS = (
    r"(deep.?sleep|sleep|stand.?by|stop|power.?down|hibernat(?:e|ion)|shut.?down|off|retention)"
)
_END = re.compile(r"[\s,/(]*\b(min|max|typ|low|high)(?:imum|ical)?\b\.?\)?", re.IGNORECASE)
_HEAT_IN = re.compile(r"(-?[0-9]+) ?(?:°|º|deg)? ?C\b")
_QUANTITY_IN = re.compile(
    r"([0-9][0-9.,' ]*)\s*(k)?\s*(\+|pcs|pieces|units|off|up)?", re.IGNORECASE
)


def guesses(name: str, *, point: str, kernel: str | None, quantity: str | None) -> Iterator[Guess]:
    """The keys that a column may be of by its name, without unit; the likeliest first.

    Parameters
    ----------
    name : with what stands above it, ` / ` between. point, kernel, quantity : the key's steps for
        them, placeholders where columns name them; None where nothing does.
    """
    text = " ".join(name.replace("_", " ").split()).lower()
    text = re.sub(r"(?<=[a-z])\.(?= |$)", "", text)  # an abbreviation's
    below = text.rpartition(" / ")[2]
    end = _END.search(text)
    plain = _END.sub(" ", text).strip(" /,-")
    plain = " ".join(plain.split())
    for one in dict.fromkeys(
        (plain, _END.sub(" ", below).strip(" /,-"), plain.replace(" / ", " "))
    ):
        yield from _named(one, text, end[1].lower() if end else "", point, kernel, quantity)


def _named(
    name: str, text: str, end: str, point: str, kernel: str | None, quantity: str | None
) -> Iterator[Guess]:
    if kernel is not None:
        at = f"kernels.{kernel}.{point}"
        if re.fullmatch(r"(run ?|execution ?)?time|duration", name):
            yield Guess(f"{at}.time", "ms")
        if re.fullmatch(r"(mean |average |supply |run )?current|idd|icc", name):
            yield Guess(f"{at}.current", "mA")
        if re.fullmatch(_SUPPLY, name) and not end:
            yield Guess(f"{at}.supply", "V")
    for pattern, key, unit in ((_SUPPLY, "supply", "V"), (_HEAT, "temperature", "degC")):
        if re.fullmatch(pattern, name):
            if end in ("min", "low", "max", "high"):
                yield Guess(f"{key}.{'min' if end in ('min', 'low') else 'max'}", unit)
            else:
                yield Guess(f"{key}.range", unit)
    for pattern, guess in _PLAIN:
        if re.fullmatch(pattern, name):
            yield guess
    for pattern, feature in _FEATURES.items():
        if re.fullmatch(f"(number of )?(?:{pattern})", name):
            yield Guess(f"features.{feature}")
    if re.fullmatch(r"(max(imum)? )?(core |cpu |system )?(clock|frequency|f_?max|speed)", name):
        unsure = "" if point.startswith("{") else f"the point is called {point} here"
        yield Guess(f"operating-points.{point}.clock", "MHz", unsure)
    if re.fullmatch(r"idle( current)?|(wait|sleep) mode current", name):
        yield Guess(f"operating-points.{point}.idle-current" + _spread(end), "mA")
    yield from _sleeping(name, end)
    yield from _priced(text, quantity)


def _spread(end: str) -> str:
    return {"typ": ".typical", "max": ".max"}.get(end, "")


def _sleeping(name: str, end: str) -> Iterator[Guess]:
    wake = re.fullmatch(rf"(?:{_SLEEPS} ?/? ?)?wake.?up( time)?( from {_SLEEPS})?", name)
    if wake:
        word = next((g for g in wake.groups() if g and re.fullmatch(_SLEEPS, g)), "sleep")
        yield Guess(f"sleep-states.{_state(word)}.wake-time", "µs")
    found = re.match(rf"{_SLEEPS}\b", name)
    if found and "wake" not in name:
        heat = _HEAT_IN.search(name.upper())
        at = f".{heat[1]} degC" if heat else ""
        state = _state(found[1])
        yield Guess(f"sleep-states.{state}.current{at}{_spread(end)}", "µA")


def _state(word: str) -> str:
    return re.sub(r"[^a-z]+", "-", word)


def _priced(text: str, quantity: str | None) -> Iterator[Guess]:
    if not re.search(r"price|cost|each|€|\$|\beur\b|\busd\b|\bgbp\b|@", text):
        return
    found = _QUANTITY_IN.search(text.rpartition("price")[2] or text)
    if found:
        digits = re.sub(r"[.,' ]", "", found[1])
        count = int(digits) * (1000 if found[2] else 1)
        yield Guess(f"price.breaks.{count}")
    elif quantity is not None:
        yield Guess(f"price.breaks.{quantity}")
    elif re.search(r"price|cost", text):
        yield Guess("price.breaks.1", unsure="the quantity is not told; taken as from 1 up")
