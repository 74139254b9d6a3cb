"""The screens of `catalog pack`, `catalog verify`, `catalog key` and `catalog merge`."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.present.layout import FAINT, GOOD, PLAIN, POOR, Page
from advisor.studies.combine import Combined
from advisor.studies.sharing import Verified

_SIGNATURES = {
    "none": "not signed",
    "unchecked": "its descriptor is signed; by whom is not known without --key",
    "fits": "its descriptor is signed by the owner of the key",
    "does not fit": "its signature is not that of the key's owner under this descriptor",
}


def verified_page(found: Verified, width: int, notes: Sequence[str] = ()) -> Page:
    """What a pack says of itself, and every file that is not as it says."""
    page = Page(width)
    page.heading(found.title or found.name or "a pack without a name")
    about = [
        f"{found.name or 'no name'} {found.version or 'without a version'}",
        f"made {found.created}" if found.created else "",
        f"licence: {found.license or 'none told'}",
        *found.contributors,
    ]
    page.paragraph("; ".join(filter(None, about)), "  ")
    bad = [row for row in found.files if row.state != "unchanged"]
    if bad:
        page.table(
            ["file", "is", "told", "found"],
            [[row.path, row.state, _short(row.told), _short(row.found)] for row in bad],
            [False, False, False, False],
            styles=[POOR] * len(bad),
            indent="  ",
        )
    sound = len(found.files) - len(bad)
    page.paragraph(f"{sound} of {len(found.files)} files are as the descriptor tells", "  ")
    style = {"fits": GOOD, "does not fit": POOR}.get(found.signature, PLAIN)
    asked = found.key is not None and found.signature == "none"
    page.paragraph(_SIGNATURES[found.signature], "  ", style=POOR if asked else style)
    if found.key is not None:
        page.paragraph(f"key {found.key}", "  ", "    ", FAINT)
    for note in notes:
        page.paragraph(f"- {note}", "  ", "    ", FAINT)
    return page


def key_page(private: str, public: str, fingerprint: str, width: int) -> Page:
    """Where a new pair of keys lies, and what each is for."""
    page = Page(width)
    page.heading("a new pair of keys")
    page.paragraph(f"{private}: signs, and is yours alone", "  ")
    page.paragraph(f"{public}: verifies, and goes to whoever gets a pack", "  ")
    page.paragraph(f"key {fingerprint}", "  ", "    ", FAINT)
    return page


def combined_page(found: Combined, width: int) -> Page:
    """What became of each file, what disagrees, and what bears another id."""
    page = Page(width)
    counts = {how: sum(1 for file in found.files if file.how == how) for how in _HOW}
    page.heading(f"{len(found.files)} files")
    said = [f"{counts[how]} {words}" for how, words in _HOW.items() if counts[how]]
    page.paragraph("; ".join(said), "  ")
    if found.differing:
        page.heading("Where the catalogues disagree")
        page.table(
            ["figure", "kept", "from", "other", "from", "apart"],
            [
                [
                    row.path,
                    row.kept or "nothing",
                    _source(row.kept_from, row.kept_evidence),
                    row.other,
                    _source(row.other_from, row.other_evidence),
                    "" if row.difference is None else f"{row.difference:.1f} u",
                ]
                for row in found.differing
            ],
            [False, False, False, False, False, True],
            [row.outcome for row in found.differing],
            indent="  ",
        )
        page.paragraph("u: combined standard uncertainty of both", "  ", style=FAINT)
    else:
        page.paragraph("they disagree nowhere", "  ")
    if found.renamed:
        page.heading("Under another id")
        page.table(
            ["document", "what", "was", "is", "from"],
            [[r.document, r.section, r.before, r.after, r.catalogue] for r in found.renamed],
            [False] * 5,
            indent="  ",
        )
    for note in found.notes:
        page.paragraph(f"- {note}", "  ", "    ", FAINT)
    return page


_HOW = {"alone": "of one catalogue", "same": "the same in all that have it", "joined": "joined"}


def _source(catalogue: str, evidence: str | None) -> str:
    return f"{catalogue} ({evidence})" if evidence else catalogue


def _short(digest: str | None) -> str:
    return "" if digest is None else digest[:19] + "…"
