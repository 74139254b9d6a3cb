"""A catalogue whose every free text would like to be more than text."""

from __future__ import annotations

from pathlib import Path

from advisor.studies.report import Report, report
from tests.studies.small import loaded, part

SCRIPT = "</script><script>document.title='taken'</script>"
IMAGE = "<img src=x onerror=document.title='taken'>"
FORMULA = "=HYPERLINK(A1)"
MENTION = "@someone see #12, www.example.invalid and http://example.invalid | a *b* `c` [d](e)"
TEMPLATE = "{{ 7 * 7 }}{% raw %}"
TEXTS = (SCRIPT, IMAGE, FORMULA, MENTION, TEMPLATE)


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


CELL = f"""
cell: odd-cell
invented: true
chemistry: alkaline
rechargeable: false
nominal-voltage: 3.0 V
capacity: 900 mAh
voltage-curve: {{0: 3.2 V, 1: 2.4 V}}
resistance: {{0: 1 ohm, 1: 2 ohm}}
cut-off: 2.0 V
temperature: {{-20 degC: {{capacity: 0.8, resistance: 2}}, 60 degC: {{capacity: 1, resistance: 1}}}}
self-discharge: 1 %/year
doubles-every: 10 degC
shelf-life: 10 years
max-continuous: 100 mA
max-pulse: 100 mA
cautions: [{_quoted(IMAGE)}, {_quoted(MENTION)}]
price: {{currency: EUR, breaks: {{1: 1.00}}}}
"""


def hostile_report(root: Path) -> Report:
    """The report of a product whose summaries, notes and items are hostile."""
    files = {}
    for name, text in (("part-one", SCRIPT), ("part-two", FORMULA)):
        note = f"{{kind: bench, note: {_quoted(IMAGE)}, date: 2026-03-11}}"
        file = part(name, kernel="4(1) mA" if name == "part-one" else "5(1) mA")
        file = file.replace("{kind: bench, date: 2026-03-11}", note)
        file += f"summary: {_quoted(text)}\nmaker: {_quoted(TEMPLATE)}\n"
        items = ", ".join(f"{{item: {_quoted(text)}, price: 0.10}}" for text in TEXTS)
        files[name] = file + f"extras: [{items}]\n"
    product = f"""
product: odd-post
summary: {_quoted(MENTION)}
service-life: 5 years
rail: 3.0 V
environment: [{{at: 20 degC, share: 1}}]
workload:
  - {{task: sample, every: 10 s, kernels: {{crc: 1}}}}
supply-options: {{cells: [{{cell: odd-cell}}]}}
cost: {{currency: EUR, units: 1000, engineer-rate: 80 EUR/h, service-visit: 1, tools: 0}}
priorities:
  battery-life: {{weight: 2, poor: 0 years, good: 12 years}}
  lifetime-cost: {{weight: 1, poor: 20, good: 0}}
"""
    (root / "cells").mkdir(parents=True)
    (root / "cells/odd-cell.yaml").write_text(CELL)
    return report(*loaded(root, files, product), draws=50, changes=[f"odd-post:summary={SCRIPT}"])
