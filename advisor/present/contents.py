"""What a report holds, in blocks that a page and a text file both show."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from advisor.present import curves, explanation, gaps, glance, layout, pictured, tables, tipping
from advisor.present.blocks import Block, Bullets, Glance, Grid, Section, Typed, Words, printed
from advisor.present.feeding import feeding
from advisor.present.formulas import FORMULAS
from advisor.present.pictured import Pictured
from advisor.quantities import show
from advisor.studies import words
from advisor.studies.columns import shown
from advisor.studies.outlook import LeverOutlook
from advisor.studies.report import OfferedBuild, Report
from advisor.studies.tipping import LeverTip


def sections(found: Report) -> Iterator[Section]:
    """The report in order, as it is printed; what there is nothing to say of is left out."""
    for section in _sections(found):
        # figures of a file stay as it has them
        yield section if section.bulky else printed(section)


def _sections(found: Report) -> Iterator[Section]:
    listed = found.shortlist
    if listed.ranking:
        yield _answer(found)
        yield _shortlist(found)
        seen = found.pictures
        if seen is not None and seen.cloud is not None:
            blocks = tuple(_pictured([pictured.cloud(seen.cloud)]))
            yield Section("cloud", "Cost and battery life", blocks, fold="narrow")
        yield _pair(found)
        if seen is not None:
            blocks = tuple(_pictured(pictured.by_state(seen)))
            yield Section("states", "Current and charge, state by state", blocks, fold="narrow")
        assert found.explanation is not None
        fed = feeding(found.explanation, listed.ranking)
        if fed is not None:
            yield fed
        if listed.draws and len(listed.ranking) > 1:
            yield _firm(found)
        yield _why(found)
    else:
        near = f"The nearest miss is {listed.nearest_miss}." if listed.nearest_miss else ""
        yield Section("answer", "Nothing fits", (Words(near, "lead"),))
    if found.outlook is not None:
        levers = enumerate(found.outlook.levers)
        drawn = [b for n, one in levers for b in _lever(n, one)]
        if found.pictures is not None and found.pictures.warmth is not None:
            drawn += _pictured([pictured.warmth(found.pictures.warmth)])
        yield Section("outlook", "Outlook", (*drawn, *_along(found)), fold="narrow")
    if found.tipping is not None and found.tipping.winner is not None:
        yield Section("tipping", "What would change the winner", tuple(_tipping(found)))
    if found.gaps is not None:
        yield Section("gaps", "What to measure next", tuple(_gaps(found)))
    if listed.left_out:
        said = _counts(found)
        yield Section("out", "Left out", tuple(_left_out(found)), fold="always", beside=said)
    if found.warnings:
        yield Section("warnings", "Warnings", (Bullets(found.warnings),))
    yield Section("cautions", "Cautions", tuple(_cautions(found)))
    said = f"{len(FORMULAS)} formulas with their sources"
    yield Section("model", "The model in short", tuple(_model()), fold="always", beside=said)
    said = f"{sum(len(file.figures) for file in found.inputs)} figures of {len(found.inputs)} files"
    yield Section("inputs", "Inputs", tuple(_inputs(found)), bulky=True, fold="always", beside=said)
    yield Section("again", "To get this again", tuple(_again(found)), fold="narrow")


def command(found: Report) -> str:
    """What makes the shortlist of this report again, where the catalogue is the same."""
    listed = found.shortlist
    changes = [word for text in found.changes for word in ("--set", text)]
    usual = ["--seed", str(listed.seed), "--draws", str(listed.draws)]
    return str(layout.Typed(("part-advisor", "shortlist", *found.call, *changes, *usual)))


def _answer(found: Report) -> Section:
    listed = found.shortlist
    blocks: list[Block] = [Glance(glance.five(listed))]
    own = tables.cautions_of(listed.ranking[0].build, found.cautions)
    blocks += [Words(f"Caution: {text}", "caution") for text in own[:1]]
    blocks += [Words(text) for text in glance.beside(listed)]
    return Section("answer", "The answer", tuple(blocks))


def _shortlist(found: Report) -> Section:
    ranking = found.shortlist.ranking
    blocks: list[Block] = []
    legend = Words(tables.legend(found.shortlist), "faint")
    if any(p.estimated for p in ranking):
        blocks.append(Words("*: rests on kernels that were estimated, not measured", "faint"))
    columns = shown(ranking)
    rows = tuple(tuple(column.text(p) for column in columns) for p in ranking)
    header = tuple(column.head for column in columns)
    texts = 1 + max(i for i, column in enumerate(columns) if not column.right)
    head = next(i for i, column in enumerate(columns) if column.name == "part")
    small = tuple(tables.below(p) for p in ranking)
    title = "Parts that fit, by score"
    grid = Grid(
        name="ranking",
        caption=title,
        header=header,
        rows=rows,
        texts=texts,
        small=small,
        head=head,
        first=glance.AHEAD,
        rest="parts",
    )
    shares, how = tables.rests_on(found.shortlist)
    said = (Words(shares, "faint"), Words(how, "faint"))
    blocks += [grid, legend, *said]
    return Section("shortlist", "Shortlist", tuple(blocks))


def _firm(found: Report) -> Section:
    header, rows = tables.firm_rows(found.shortlist)
    grid = Grid("ranks", "Ranks over the draws", tuple(header), tuple(map(tuple, rows)))
    said = tables.agreement(found.shortlist)
    last = () if said is None else (Words(said),)
    blocks = (grid, Words(tables.FIRM, "faint"), *last)
    return Section("firm", "How firm the order is", blocks, fold="narrow")


def _why(found: Report) -> Section:
    winner = found.explanation
    assert winner is not None
    title = f"Why {winner.part}" + (f" over {winner.over}" if winner.over else "")
    plan = tuple(explanation.plan_words(winner))
    about = Words(
        "Its operating plan (mean current at the pack, leak and self-discharge apart):", "faint"
    )
    blocks = (Bullets(winner.reasons), about, Bullets(plan))
    return Section("why", title, blocks, fold="narrow")


# Two builds beside each other ------------------------------------------------------------------


def _pair(found: Report) -> Section:
    """The first part's breakdowns beside the second's; alone where there is no other."""
    names = tuple(part.part for part in found.parts[:2])
    sides = [part.best for part in found.parts[:2]]
    winner = found.explanation
    assert winner is not None
    header, rows = explanation.point_rows(winner)
    if winner.over is not None:
        header = [*header[:2], winner.part, "points", *header[4:]]
    points = Grid(
        "points", "Points of the score", tuple(header), tuple(map(tuple, rows)), last=True
    )
    means = (Words(explanation.MEANS, "faint"),) if found.shortlist.draws else ()
    current = Grid(
        "current",
        "Mean current at the pack, by what draws it",
        ("drawn by", *names),
        tuple(
            (name, *(show(a, "current") if a else "-" for a in amounts))
            for name, amounts in beside([{c.consumer: c.a for c in b.current} for b in sides])
        ),
        last=True,
        fold="always",
    )
    unit = winner.cost.currency or "no currency"
    money = Grid(
        "money",
        f"Cost over the service life, {unit} a unit",
        ("item", *names),
        tuple(
            (name, *(words.money(a) for a in amounts))
            for name, amounts in beside([{m.item: m.amount for m in b.money} for b in sides])
        ),
        last=True,
        fold="always",
    )
    builds = tuple(f"{name}: {built(b)}" for name, b in zip(names, sides, strict=True))
    title = "Two parts side by side" if len(sides) > 1 else "Where current and money go"
    blocks = (Bullets(builds), points, *means, current, money)
    return Section("pair", title, blocks, fold="narrow")


def built(build: OfferedBuild) -> str:
    """A build in words, with the battery life it reaches and what ends it."""
    life = words.life(build.battery_life_s)
    return f"{words.build_words(build.build)}; battery life {life}, {build.ends}"


def beside(
    sides: Sequence[Mapping[str, float | None]],
) -> list[tuple[str, list[float | None]]]:
    """(name, amount on each side) of all that either side has, the greatest first; sums last.

    None is an amount that a side does not have, or that is not known.
    """
    names = list(dict.fromkeys(name for side in sides for name in side))
    names.sort(key=lambda n: -max(side.get(n, 0.0) or 0.0 for side in sides))
    rows: list[tuple[str, list[float | None]]] = [
        (name, [side.get(name) for side in sides]) for name in names
    ]
    sums: list[float | None] = []
    for side in sides:
        known = [a for a in side.values() if a is not None]
        sums.append(sum(known) if len(known) == len(side) else None)
    return [*rows, ("in all", sums)]


def _pictured(some: Iterable[Pictured]) -> Iterator[Block]:
    """Pictures as tables; a page draws them above."""
    for one in some:
        yield from [Words(one.title, "lead")] if one.title else []
        yield Words(one.finding, "finding")
        yield Grid(one.name, one.caption, one.header, one.rows, fold="always")
        yield from [Words(one.note, "faint")] if one.note else []


# Along levers, tips, gaps ----------------------------------------------------------------------


def _along(found: Report) -> Iterator[Block]:
    assert found.outlook is not None
    jumps = "a build or a price break" if found.outlook.draws else "a build, a price break or the "
    jumps += "" if found.outlook.draws else "number of battery changes"
    yield Words(
        f"{curves.rests(found.outlook)} Between two places where {jumps} differs, the curves of "
        "the page are dotted; thin lines across mark what stands now and the life wanted. Changes "
        "of the leader are found to a tenth of the figure, among the first parts of now; the "
        "command outlook looks closer.",
        "faint",
    )


def along(number: int) -> str:
    """The name of the table along a lever, by its place among the levers."""
    return f"along {number}"


def _lever(number: int, one: LeverOutlook) -> Iterator[Block]:
    now = "" if one.now is None else f", now {one.handle.shown(one.now)}"
    yield Words(f"Along {one.lever}{now}", "lead")
    if not any(p.battery_life_s for curve in one.curves for p in curve.points):
        yield Words("Nothing fits anywhere on the way.")
        return
    for lines in curves.all_told(one):
        typed = tuple("" if sets is None else str(sets) for _, sets in lines)
        yield Bullets(tuple(text for text, _ in lines), typed)
    rows = curves.place_rows(one)
    part = ""
    for row in rows:
        # a page's row is read by itself
        part = row[0] = row[0] or part
    yield Grid(
        along(number),
        f"Along {one.lever}",
        tuple(curves.PLACES),
        tuple(map(tuple, rows)),
        fold="always",
    )


# u: standard uncertainties of the figure
TIPS = ("now", "there", "change needed", "in u", "leads then")
LIMITS = 3  # values at which nothing fits, before the rest is asked for


def _tip(tip: LeverTip) -> tuple[str, str, str, str]:
    """A tip under the first of `TIPS`."""
    return tip.now_shown, tip.tips_shown or "-", tipping.change(tip), tipping.in_u(tip)


def _tipping(found: Report) -> Iterator[Block]:
    tips = found.tipping
    assert tips is not None
    shown = [t for t in tips.levers if t.tips_at is not None][: tipping.MOST]
    if shown:
        yield Grid(
            "tips",
            f"Nearest values at which another part leads instead of {tips.winner}",
            ("figure", *TIPS),
            tuple((t.path, *_tip(t), t.new_winner or "nothing fits") for t in shown),
            small=tuple(str(layout.setting(t.path, t.text)) for t in shown),
            typed=True,
            first=glance.AHEAD,
            rest="figures",
        )
    else:
        yield Words("No figure that was looked at changes the winner within its range.")
    if tips.limits:
        yield Grid(
            "limits",
            tipping.LIMITS,
            ("figure", *TIPS[:-1]),
            tuple((t.path, *_tip(t)) for t in tips.limits[: tipping.MOST]),
            small=tuple(str(layout.setting(t.path, t.text)) for t in tips.limits[: tipping.MOST]),
            typed=True,
            first=LIMITS,
            rest="figures",
        )
    stop = {t.path for t in tips.limits}
    firm = sum(t.tips_at is None and t.path not in stop for t in tips.levers)
    if firm:
        yield Words(f"{firm} of the figures that were moved tip nowhere in their range.")
    yield from (Words(text) for text in tipping.weight_words(tips) if text)
    yield Words(
        "Below each figure is what replays it; u is its standard uncertainty. "
        + tipping.looked(tips),
        "faint",
    )
    if tips.unmoved:
        yield Words(tipping.unmoved(tips), "faint")


def _gaps(found: Report) -> Iterator[Block]:
    asked = found.gaps
    assert asked is not None
    yield Words(asked.advice, "lead")
    if asked.chosen is None:
        return
    yield Words(gaps.worth(asked))
    if gaps.usual(asked):
        yield Words(gaps.usual(asked))
    for name, caption, rows in (
        ("figures", "By figure", asked.figures),
        ("groups", "By group", asked.groups),
    ):
        header, cells, shown = gaps.gap_rows(rows, asked.currency)
        if shown:
            small = tuple(g.action if g.worth_it else "" for g in shown)
            grid = Grid(name, caption, tuple(header), tuple(map(tuple, cells)), small=small)
            yield replace(grid, first=glance.AHEAD, rest=name)
    header, cells = gaps.sample_rows(asked.figures, asked.currency)
    if cells:
        lines = tuple(map(tuple, cells))
        yield Grid("samples", "How many more", tuple(header), lines, fold="always")
        yield Words(gaps.sample_words(), "faint")
    yield Words(gaps.how(asked), "faint")


# What is out, the model, the inputs -------------------------------------------------------------


def _counts(found: Report) -> str:
    """How much is left out, in a few words."""
    listed = found.shortlist
    pieces = sum(one.kind != "part" for one in listed.left_out)
    counts = (
        (len(listed.screened_out), "part", "screened out"),
        (len(listed.set_aside), "part", "with missing data"),
        (pieces, "piece", "that no build may use"),
    )
    return ", ".join(f"{n} {one}{'' if n == 1 else 's'} {why}" for n, one, why in counts if n)


def _cautions(found: Report) -> Iterator[Block]:
    ranking = found.shortlist.ranking
    told, others = glance.foremost(ranking[0].build if ranking else None, found.cautions)
    if others:
        title = f"{len(others)} more, on cells and converters that are not first"
        yield Bullets(told[:-1] if told[-1:] == found.cautions[-1:] else told)
        yield Bullets(others, title=title, fold="always")
        yield Words(found.cautions[-1])
    else:
        yield Bullets(told)


def _left_out(found: Report) -> Iterator[Block]:
    listed = found.shortlist
    pieces = [one for one in listed.left_out if one.kind != "part"]
    if listed.screened_out:
        yield Grid(
            "screened",
            "Screened out: needs that are not met",
            ("part", "why"),
            tuple((p.part, "; ".join(f.text for f in p.failed)) for p in listed.screened_out),
            texts=2,
        )
    if listed.set_aside:
        yield Grid(
            "aside",
            "Missing data: parts that lack a figure which the product needs",
            ("part", "what it lacks"),
            tuple((p.part, ", ".join(p.missing)) for p in listed.set_aside),
            texts=2,
        )
    if listed.ranking and listed.nearest_miss:
        yield Words(f"Nearest miss: {listed.nearest_miss}.", "faint")
    if pieces:
        yield Grid(
            "pieces",
            "Packs, converters, add-ons, sleep states and operating points that no build may use",
            ("what", "which", "why"),
            tuple((one.kind.replace("-", " "), one.id, one.why) for one in pieces),
            texts=3,
            head=1,
        )


def _model() -> Iterator[Block]:
    yield Grid(
        name="formulas",
        caption="What is reckoned, and how",
        header=("what", "how", "source"),
        rows=FORMULAS,
        texts=3,
    )


def _inputs(found: Report) -> Iterator[Block]:
    yield Words(
        "Every figure as its file has it, with its uncertainty where one is stated, and the "
        "evidence that it names. A figure without evidence is its file's own word.",
        "faint",
    )
    for file in found.inputs:
        kinds = {name: f"{name} ({kind})" for name, kind in file.evidence.items()}
        name = file.id if file.kind == file.id else f"{file.kind} {file.id}"
        about = ": ".join(x for x in (name, file.summary) if x)
        yield Grid(
            f"file {file.id}",
            about + (" (invented)" if file.invented else ""),
            ("figure", "as written", "evidence"),
            tuple(
                (f.path.dotted, f.text, kinds.get(f.evidence or "", f.evidence or ""))
                for f in file.figures
            ),
            texts=3,
        )


def _again(found: Report) -> Iterator[Block]:
    listed = found.shortlist
    yield Words(
        f"Made on {found.date.isoformat()} by part-advisor {found.version}, seed {listed.seed}, "
        f"{words.of_draws(listed.draws)}. The same files give the same figures:"
    )
    yield Typed(command(found))
    yield Words("SHA-256 of each file's figures, comments and layout apart:", "faint")
    yield Grid(
        "digests",
        "Digests of the inputs",
        ("file", "digest"),
        tuple(found.digests.items()),
        texts=2,
        fold="always",
    )
