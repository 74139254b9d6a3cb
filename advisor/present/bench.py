"""The screens of `kernels`, `distil` and `rehearse`."""

from __future__ import annotations

from advisor.bench.budget import Result
from advisor.bench.kernels import LEVEL, SMALL_RAM, WHOLE_RAM, shaping
from advisor.bench.runlog import Memory
from advisor.present.layout import FAINT, POOR, Page
from advisor.quantities import show
from advisor.studies.distil import Distilled
from advisor.studies.kernels import COUNTED, Logged, Pack, Verification
from advisor.studies.rehearse import BoardPlan, Rehearsed

REHEARSED = "REHEARSED: made up for trying things out; nothing here was measured."
SAFETY = (
    "Power the board from a limited supply while measuring; a lithium cell that is shorted burns. "
    "The tool advises; it does not certify."
)


def pack_page(found: Pack, width: int) -> Page:
    """Every kernel: its work, what it leans on and takes, how it is checked."""
    page = Page(width)
    page.heading("Kernels of the pack, in the order they run")
    page.table(
        ["kernel", "version", "stresses", "RAM", "code", "small"],
        [
            [
                k.name,
                str(k.version),
                k.stresses,
                str(k.ram),
                f"{k.code[0]} to {k.code[1]}",
                "yes" if k.small else "no",
            ]
            for k in found.kernels
        ],
        [False, True, False, True, True, False],
        [f"{k.work}; checked by {k.check}" for k in found.kernels],
        indent="  ",
    )
    small, whole = found.ram
    page.line("")
    page.paragraph(
        "RAM: bytes that a pack of this kernel alone takes at most, stack included; all work in "
        f"one buffer, so that the small set (those of at most {SMALL_RAM} bytes) takes {small} "
        f"together, to be built with -DKERNELS_SMALL, and the whole pack {whole} of the "
        f"{WHOLE_RAM} that it is linked for. Code: bytes of program and constants. Both over the "
        f"emulated targets, by {shaping(LEVEL)} and one compiler.",
        style=FAINT,
    )
    return page


def verification_page(found: Verification, width: int) -> Page:
    """A table a target."""
    page = Page(width)
    for run in found.passes:
        counted = any(k.instructions is not None for k in run.kernels)
        page.heading(f"{run.target}, by {run.compiler}")
        page.paragraph(f"pack {run.pack}, flags {run.flags}", "  ", "    ", FAINT)
        if run.memory is not None and run.ram is not None:
            page.paragraph(_memory(run.memory, run.ram), "  ", "    ", FAINT)
        page.table(
            ["kernel", "version", "result", "code bytes", *(["instructions"] if counted else [])],
            [
                [
                    k.kernel,
                    str(k.version),
                    "right" if k.right else "WRONG",
                    str(k.code_bytes),
                    *([str(k.instructions)] if k.instructions is not None else []),
                ]
                for k in run.kernels
            ],
            [False, True, False, True, *([True] if counted else [])],
            styles=["" if k.right else POOR for k in run.kernels],
            indent="  ",
        )
    for name, tools in found.left_out:
        page.heading(f"{name}: left out, not on this machine: {tools}")
    if any(k.instructions is not None for run in found.passes for k in run.kernels):
        page.line("")
        page.paragraph(COUNTED, style=FAINT)
    return page


def _memory(memory: Memory, ram: int | None = None) -> str:
    of = "" if ram is None else f" of {ram}"
    return (
        f"RAM: {memory.fixed + memory.stack}{of} bytes, {memory.fixed} of variables and "
        f"{memory.stack} that the stack reached"
    )


def log_page(found: Logged, width: int) -> Page:
    """What a board's lines say."""
    page = Page(width)
    page.heading(f"Kernels by the lines of a run, {found.asked}")
    page.table(
        ["kernel", "version", "runs", "result"],
        [
            [
                k.kernel,
                "" if k.version is None else str(k.version),
                str(k.runs),
                k.fault or "right",
            ]
            for k in found.kernels
        ],
        [False, True, True, False],
        styles=["" if k.fault is None else POOR for k in found.kernels],
        indent="  ",
    )
    built = found.log.built
    for what, text in (
        ("pack", built.pack),
        ("compiler", built.compiler),
        ("flags", built.flags),
        ("optimised for", built.optimised),
    ):
        page.paragraph(f"{what} {text or 'not told'}", "  ", "    ", FAINT)
    for state in found.log.states:
        page.paragraph(f"{state.state} for {state.ms} ms", "  ", "    ", FAINT)
    if found.log.memory is not None:
        page.paragraph(_memory(found.log.memory), "  ", "    ", FAINT)
    for remark in found.remarks:
        page.paragraph(remark, "  ")
    return page


def distilled_page(found: Distilled, width: int) -> Page:
    """What was cut, the figures, and every line of their budgets."""
    page = Page(width)
    page.heading(f"{found.part} at {found.point}: from the bench")
    if found.invented:
        page.paragraph(REHEARSED, style=FAINT)
    how = "by the marker" if found.figures.by_marker else "by their current, no marker being there"
    page.heading(f"Stretches, told {how}")
    page.table(
        ["of", "kind", "runs", "from", "to"],
        [
            [s.name, s.kind, str(s.runs), f"{s.start_s:.6g} s", f"{s.end_s:.6g} s"]
            for s in found.figures.stretches
        ],
        [False, False, True, True, True],
        indent="  ",
    )
    page.heading("Figures of one unit of work, of the chip alone, with their budgets")
    page.paragraph(
        "±: half-width of the 95 % interval, k95 times the standard uncertainty u; each source's "
        "part of u below, A from repeats, B from a statement",
        style=FAINT,
    )
    rows, notes = [], []
    for name, figure, dimension, result in found.results():
        rows.append([name, figure, *_figure(result, dimension)])
        notes.append(_budget(result))
    page.table(
        ["of", "figure", "value", "±", "share", "k95", "freedom"],
        rows,
        [False, False, True, True, True, True, True],
        notes,
        indent="  ",
    )
    _warnings(page, found.warnings)
    page.line("")
    page.paragraph(SAFETY, style=FAINT)
    return page


def _figure(result: Result, dimension: str) -> list[str]:
    share = result.expanded / result.value if result.value else 0.0
    return [
        show(result.value, dimension, 4),
        show(result.expanded, dimension, 2),
        f"{100 * share:.2g} %",
        f"{result.k95:.2f}",
        f"{result.dof:.0f}" if result.dof < 1e6 else "any",
    ]


def _budget(result: Result) -> str:
    return "; ".join(
        f"{t.source} ({t.type}) {100 * t.u / result.value:.2g} %" for t in result.budget
    )


def _warnings(page: Page, warnings: tuple[str, ...]) -> None:
    if warnings:
        page.heading("Warnings")
        for warning in warnings:
            page.paragraph(f"- {warning}", "  ", "    ")


def rehearsed_page(found: Rehearsed, width: int) -> Page:
    """The plan, and the truth behind the trace."""
    page = Page(width)
    page.heading(f"{found.session.notes.part} at {found.session.point}: a rehearsal")
    page.paragraph(REHEARSED, style=FAINT)
    page.heading("Truth that distilling should find again")
    page.table(
        ["of", "time", "current"],
        [
            [name, show(time, "time", 5), show(current, "current", 5)]
            for works in (found.truth.kernels, found.truth.wakes)
            for name, (time, current) in works.items()
        ]
        + [[name, "", show(current, "current", 5)] for name, current in found.truth.states.items()],
        [False, True, True],
        indent="  ",
    )
    _plan(page, found)
    if found.boards is not None:
        _boards(page, found.boards)
    return page


def _boards(page: Page, plan: BoardPlan) -> None:
    page.heading(f"Half-width of the 95 % interval of {plan.kernel}'s energy, by boards measured")
    page.table(
        ["boards", "mean board", "next unit"],
        [
            [str(r.boards), f"{100 * r.mean_half_95:.2g} %", f"{100 * r.next_half_95:.2g} %"]
            for r in plan.rows
        ],
        [True, True, True],
        indent="  ",
    )
    why = " (usual, common practice, no source)" if plan.usual else ""
    page.paragraph(
        f"Boards are taken to differ by {100 * plan.spread:.2g} %, as a standard deviation{why}; "
        "no number of boards makes the next unit's interval less than that spread does.",
        "  ",
        style=FAINT,
    )
    for what, wanted, boards in (
        ("the mean board", plan.wanted_mean, plan.mean),
        ("the next unit", plan.wanted_next, plan.next_unit),
    ):
        if wanted is None:
            continue
        reached = "not reached by these" if boards is None else f"reached with {boards}"
        page.paragraph(f"{100 * wanted:.3g} % of {what}: {reached}.", "  ")


def _plan(page: Page, found: Rehearsed) -> None:
    page.heading("Half-width of the 95 % interval of the energy that is told least well")
    if not found.plan:
        page.paragraph("No rate here puts enough samples into a run: more units of work.", "  ")
        return
    rates = sorted({p.rate_hz for p in found.plan})
    runs = sorted({p.runs for p in found.plan})
    widths = {(p.rate_hz, p.runs): p.half_width_95 for p in found.plan}
    page.table(
        ["samples a second", *(f"{n} runs" for n in runs)],
        [
            [show(rate, "frequency"), *(f"{100 * widths[rate, n]:.2g} %" for n in runs)]
            for rate in rates
        ],
        [True, *(True for _ in runs)],
        indent="  ",
    )
    if found.wanted is None:
        return
    wanted = f"{100 * found.wanted:.3g} %"
    if found.reaches is not None:
        page.paragraph(
            f"{wanted} is reached from {show(found.reaches.rate_hz, 'frequency')} with "
            f"{found.reaches.runs} runs ({found.reaches.kernel} is told least well).",
            "  ",
        )
        return
    least = min(found.plan, key=lambda p: p.half_width_95)
    page.paragraph(
        f"{wanted} is not reached: {100 * least.half_width_95:.2g} % is the best here, and "
        f"{100 * least.type_b:.2g} % of it, as a standard uncertainty, is the meter's and the "
        "supply's statement, which no number of runs makes less.",
        "  ",
    )
