"""The screen of `shortlist`, and the words that other forms of an answer share with it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from advisor.decide.clipping import NOTHING
from advisor.decide.robustness import AGREE
from advisor.model.tables import never_sleeps
from advisor.present.harvest import service_words
from advisor.present.layout import FAINT, PLAIN, STRONG, Page, cells
from advisor.present.left_out import left_out
from advisor.present.marks import marks
from advisor.studies.columns import Column, fitting, shown
from advisor.studies.results import BuildResult, CostResult, RankedPart
from advisor.studies.shortlist import Shortlist
from advisor.studies.words import (
    between,
    build_words,
    exchange,
    life,
    life_with_range,
    money,
    of_draws,
    pack,
    per_cent,
)

if TYPE_CHECKING:
    pass

INVENTED = "DEMONSTRATION DATA, in part invented: it describes no real product."

ROOMY = 96  # letters of a line that has room for more than the answer itself
MORE = ", ..."
TOP = 5  # parts listed unless more are asked for


def shortlist_page(
    result: Shortlist,
    width: int,
    most: int | None = TOP,
    everything: bool = False,
    cautioned: bool = False,
) -> Page:
    """The shortlist: the answer with its caution, the first parts, what there is beside.

    Parameters
    ----------
    most : parts to list; None for all. everything : tells how firm the order is and all that was
    left out with its reason, in place of a line. cautioned : tells every caution.
    """
    page = Page(width)
    page.heading(f"{result.product}" + (f": {result.summary}" if result.summary else ""))
    if result.invented:
        page.paragraph(INVENTED, style=FAINT)
    if result.ranking:
        first, *more = answer(result)
        page.heading(first)
        for text in more:
            page.paragraph(text)
        caution(page, result.ranking[0].build, result.cautions, cautioned)
        _ranking(page, result, most)
    else:
        page.heading("Nothing fits.")
        if result.nearest_miss:
            page.paragraph(f"The nearest miss is {result.nearest_miss}.")
    if result.ranking and result.draws and everything:
        _firmness(page, result)
    _left_out(page, result, everything)
    if result.evidence:
        shares, how = rests_on(result)
        for text in (shares, how) if everything else (f"{shares} {_drawn(result)}",):
            page.paragraph(text, "", "  ", FAINT)
    notes(page, result.warnings, result.cautions if cautioned else ())
    if result.cautions and not cautioned:
        page.paragraph(result.cautions[-1], "", "  ")
    return page


def caution(
    page: Page,
    build: BuildResult,
    cautions: Sequence[str],
    all_follow: bool,
    how: str = "--cautions",
) -> None:
    """The foremost caution on a build's cells, converter and add-ons, inside the answer.

    Parameters
    ----------
    all_follow : whether all are told below. how : what tells the others.
    """
    own = cautions_of(build, cautions)
    if not own:
        return
    short = caution_words(own[0], len(cautions) - 1, how)
    page.paragraph(f"Caution: {own[0]}" if all_follow else short, style=STRONG)


def foremost_caution(page: Page, cautions: Sequence[str]) -> None:
    """The foremost of the cautions of all cells in use, below an answer that tells of no build."""
    if len(cautions) > 1:
        page.paragraph(
            caution_words(cautions[0], len(cautions) - 1, "shortlist --cautions"), style=STRONG
        )


def caution_words(text: str, more: int, how: str) -> str:
    """The first sentence of a caution, which says what it is about, and `how` to read the others of
    which there are `more`."""
    rest = f" ({more} more: {how})" if more else ""
    return f"Caution: {text.partition('. ')[0].rstrip('.')}.{rest}"


def cautions_of(build: BuildResult, cautions: Sequence[str]) -> list[str]:
    """The cautions on a build's cells and converter, in their order."""
    return [
        text
        for text in cautions
        if {build.cell, build.converter, *build.addons} & set(text.partition(": ")[0].split(", "))
    ]


def _drawn(result: Shortlist) -> str:
    """How the figures were drawn, in a few words."""
    if not result.draws:
        return "Ranked at the stated values, without draws."
    return f"{of_draws(result.draws)}, seed {result.seed}; ranges are 5–95 % of them."


def rests_on(result: Shortlist) -> tuple[str, str]:
    """What kinds of evidence the figures in use are of, and how they were drawn."""
    shares = ", ".join(f"{k} {per_cent(v)}" for k, v in result.evidence.items())
    how = (
        f"{of_draws(result.draws)} of the stated uncertainties, seed {result.seed}; ranges are "
        "5–95 %. A draw that breaks a need or a limit scores nothing; a part is out that keeps "
        f"them in less than {per_cent(result.confidence)} of the draws (needs.confidence)."
        if result.draws
        else "Ranked at the stated values, without draws: what is uncertain is not looked at."
    )
    return " ".join([f"Measured figures in use: {shares}.", *exchanged(result)]), how


def exchanged(result: Shortlist) -> list[str]:
    """The rates of exchange behind the amounts of a ranking, a sentence; empty without any."""
    if not (result.ranking and result.rates):
        return []
    return [f"Exchanged at {exchange(result.rates, result.ranking[0].cost.currency)}."]


UNSURE = "without draws no uncertainty counts"


def answer(result: Shortlist) -> tuple[str, ...]:
    """The first part in sentences: its build first, then its life, its cost, why, how firm."""
    best = result.ranking[0]
    lives = best.battery_life_s
    words = f"Battery life {life_with_range(lives.nominal, lives.p05, lives.p95)}"
    if result.life_target_s is not None:
        words += f", wanted {life(result.life_target_s)}"
        if best.meets_life_target_probability is not None:
            words += f" (met in {per_cent(best.meets_life_target_probability)} of draws)"
    out = [
        f"First: {best.part} on {build_words(best.build)}.",
        f"{words}; it ends because {best.ends}.",
    ]
    if lives.one_charge is not None:
        out.append(f"One charge of the new pack lasts {life(lives.one_charge)}.")
    if best.cost.told is not None:
        out.append(cost_words(best.cost))
    if best.service is not None:
        out.append(service_words(best.service))
    out += [*seldom(best), *awake(result)]
    out.append(f"Why: {best.reason}.")
    if result.verdict is not None and (len(result.ranking) > 1 or result.verdict.could_lead):
        out.append(f"Verdict {result.verdict.text}.")
    elif result.verdict is None:
        out.append(f"No verdict: {UNSURE}.")
    return (*out, *clipped(result))


def seldom(best: RankedPart) -> list[str]:
    """How often a part fits, where it does not in all draws."""
    told = fits(best).removeprefix("; ")
    return [f"It {told}."] if told else []


def awake(result: Shortlist) -> list[str]:
    """Why the first part never sleeps, where it does not: what decides the life is no line among
    others."""
    best = result.ranking[0]
    told = [
        f"{one.id.partition(':')[2]} {one.why}"
        for one in result.left_out
        if one.kind == "sleep-state" and one.id.startswith(f"{best.part}:")
    ]
    if not (told and never_sleeps(best.build.sleep_state)):
        return []
    return [f"It never sleeps: {'; '.join(told)}."]


def clipped(result: Shortlist) -> list[str]:
    """Where figures of the first parts lie beyond what counts."""
    told = "; ".join(one.text.removesuffix(NOTHING) for one in result.clipped if one.head)
    return [f"Beyond an anchor{NOTHING}: {told}."] if told else []


def cost_words(cost: CostResult) -> str:
    """What a unit costs over the service life in a sentence: expected, with its range."""
    if cost.expected is None:
        return (
            f"{money(cost.lifetime, cost.currency)} a unit over the service life at the stated "
            f"values, of it {money(cost.purchase)} to buy, {money(cost.development)} to develop, "
            f"{_upkeep_words(cost)}."
        )
    change = (
        ""
        if cost.change_probability is None
        else f" (needed in {per_cent(cost.change_probability)} of draws)"
    )
    return (
        f"Expected cost {money(cost.expected, cost.currency)} a unit over the service life"
        f"{cost_range(cost, ' (', beyond(cost) + ')')}: {money(cost.expected_purchase)} to buy, "
        f"{money(cost.expected_development)} to develop, {money(cost.expected_upkeep)} for "
        f"battery changes{change}{charges_words(cost)}."
    )


def _upkeep_words(cost: CostResult) -> str:
    """`3.70 for 1 battery change`, or `no battery change`, at the stated values."""
    changes, charges = cost.replacements or 0.0, charges_words(cost)
    if changes:
        what = f"{changes:g} battery change{'' if changes == 1 else 's'}{charges}"
    elif charges:
        what = charges.removeprefix(" and ")
    else:
        return "no battery change"
    return f"{money(cost.upkeep)} for {what}"


def charges_words(cost: CostResult) -> str:
    """` and 19 visits to charge it`; empty where nobody charges the pack."""
    if cost.charges is None:
        return ""
    return f" and {cost.charges:g} visit{'' if cost.charges == 1 else 's'} to charge it"


def cost_range(cost: CostResult, before: str = "", after: str = "") -> str:
    """`5.31–38.9`: 5 to 95 % of the draws; empty without them."""
    if cost.p05 is None or cost.p95 is None:
        return ""
    return f"{before}{between(money(cost.p05), money(cost.p95))}{after}"


def beyond(cost: CostResult) -> str:
    """What a range is, where the expected cost lies outside of it as both are printed: a few
    draws far above, with a change of the battery, raise the mean."""
    if cost.told is None or cost.p05 is None or cost.p95 is None:
        return ""
    within = round(cost.p05, 2) <= round(cost.told, 2) <= round(cost.p95, 2)
    return "" if within else " in 90 %"


def legend(result: Shortlist, columns: Sequence[Column] = ()) -> str:
    """What the columns of a shortlist are; all that are shown, or some."""
    currency = result.ranking[0].cost.currency or "no currency"
    told = (f"{c.head}: {c.legend}" for c in columns or shown(result.ranking) if c.legend)
    expected = "expected " if result.draws else ""
    return "; ".join(told).format(currency=currency, expected=expected)


def below(part: RankedPart, roomy: bool = True) -> str:
    """A ranked part's second line: its pack, with room what it costs in 5 to 95 % of the draws, why
    it stands there, and how often it fails."""
    cost = cost_range(part.cost, ", cost ", beyond(part.cost)) if roomy else ""
    return f"on {pack(part.build)}{cost}: {part.reason}{fits(part)}"


def _in_room(text: str, room: int) -> str:
    """A text without the last of its terms where it takes more than a line of `room` letters; 0
    is room enough."""
    if not room or cells(text) <= room:
        return text
    ends = [found.start() for found in re.finditer("[,;] ", text)]
    kept = [end for end in ends if cells(text[:end]) + len(MORE) <= room]
    return text[: kept[-1]] + MORE if kept else text


def fits(part: RankedPart) -> str:
    """In how many draws a part fits, where it does not in all, and what it breaks most."""
    if part.fits_probability is None or part.fits_probability >= 1:
        return ""
    need = next(iter(part.broken))
    return f"; fits in {per_cent(part.fits_probability)} of draws ({need})"


def _ranking(page: Page, result: Shortlist, most: int | None) -> None:
    listed = result.ranking if most is None else result.ranking[:most]
    columns = fitting(
        result.ranking,
        lambda some: page.takes(
            [c.head for c in some], [[c.text(part) for c in some] for part in listed]
        ),
    )
    roomy = not page.width or page.width >= ROOMY
    header = [column.head for column in columns]
    rows = [[column.text(part) for column in columns] for part in listed]
    drawn = marks(listed, result.life_target_s)
    told = legend(result, columns)
    if drawn is not None and page.takes([*header, drawn.head], [[*r, drawn.head] for r in rows]):
        header.append(drawn.head)
        rows = [[*row, line] for row, line in zip(rows, drawn.lines, strict=True)]
        told += f"; {drawn.legend}"
    page.heading("Shortlist")
    page.paragraph(told, style=FAINT)
    page.table(
        header,
        rows,
        [*(column.right for column in columns), *([False] * (len(header) - len(columns)))],
        # the first one's is the answer itself
        [
            "" if p.rank == 1 else _in_room(below(p, roomy), 0 if roomy else page.width - 3)
            for p in listed
        ],
        [STRONG if p.rank == 1 else PLAIN for p in listed],
    )
    if any(p.estimated for p in listed):
        page.paragraph(
            "*: rests on kernels that were estimated, not measured; see the warnings", "  "
        )
    if len(listed) < len(result.ranking):
        page.paragraph(f"and {len(result.ranking) - len(listed)} more: --top 0", "   ", style=FAINT)


FIRM = (
    "parts that come third or better in some draw; share of draws at each rank; points lost: on "
    "average if you choose it, against the best of each draw; beaten by: at least as good by every "
    "criterion and better by one"
)
NAMES = 3  # parts that are named of those that beat one


def firm_rows(result: Shortlist) -> tuple[list[str], list[list[str]]]:
    """(header, rows) of the ranks over the draws, for those that may come near the top."""
    near = [p for p in result.ranking if p.rank == 1 or sum((p.rank_acceptability or ())[:3]) > 0]
    ranks = range(min(5, len(result.ranking)))
    return ["part", *(f"rank {r + 1}" for r in ranks), "points lost", "beaten by"], [
        [
            p.part,
            *(per_cent(_rank(p, r)) for r in ranks),
            "-" if p.expected_regret is None else f"{p.expected_regret:.2f}",
            _beaten_by(p),
        ]
        for p in near
    ]


def _beaten_by(part: RankedPart) -> str:
    """Who dominates a part, by name."""
    named = ", ".join(part.dominated_by[:NAMES])
    more = len(part.dominated_by) - NAMES
    return (f"{named} and {more} more" if more > 0 else named) or "none"


def agreement(result: Shortlist) -> str | None:
    """How far the draws agree with the order, in words."""
    if result.order_agreement is None:
        return None
    return (
        f"The draws agree with this order, over the first {min(AGREE, len(result.ranking))}, "
        f"by a mean Kendall's tau of {result.order_agreement:.2f} (1 the same, 0 unrelated)."
    )


def _firmness(page: Page, result: Shortlist) -> None:
    if len(result.ranking) < 2:
        return
    page.heading("How firm the order is")
    page.paragraph(FIRM, style=FAINT)
    header, rows = firm_rows(result)
    # who beats a part has a line of its own: names are long
    beaten = ["" if row[-1] == "none" else f"beaten by {row[-1]}" for row in rows]
    page.table(
        header[:-1],
        [row[:-1] for row in rows],
        [False, *(True for _ in header[2:])],
        beaten,
        indent="  ",
    )
    text = agreement(result)
    if text is not None:
        page.paragraph(text, "  ")


def _rank(part: RankedPart, rank: int) -> float:
    shares = part.rank_acceptability or ()
    return shares[rank] if rank < len(shares) else 0.0


def _add_ons(page: Page, result: Shortlist) -> None:
    """How many parts are out only for what add-ons would bring, where these are refused."""
    if result.evaluation.product.add_ons != "refused":
        return
    out = [one.with_addons for one in result.screened_out if one.with_addons]
    out += [one.with_addons for one in result.set_aside if one.with_addons]
    if out:
        names = sorted({name for sets in out for chosen in sets for name in chosen})
        parts = "1 part lacks" if len(out) == 1 else f"{len(out)} parts lack"
        page.paragraph(
            f"Add-ons are refused: {parts} only what {', '.join(names)} would bring.",
            "",
            "  ",
            FAINT,
        )


def _left_out(page: Page, result: Shortlist, everything: bool) -> None:
    left_out(page, result.left_out, everything)
    if not everything:
        _add_ons(page, result)
    if result.ranking and result.nearest_miss:
        page.paragraph(f"Nearest miss: {result.nearest_miss}.", "", "  ", FAINT)


def notes(page: Page, warnings: tuple[str, ...], cautions: tuple[str, ...] = ()) -> None:
    """Warnings and cautions, as every screen ends."""
    if warnings:
        page.heading("Warnings")
        for text in warnings:
            page.paragraph(f"- {text}", "  ", "    ")
    if cautions:
        page.heading("Cautions")
        for text in cautions:
            page.paragraph(f"- {text}", "  ", "    ")
