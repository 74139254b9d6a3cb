"""A family's report as one HTML file that needs nothing else, as a product's is."""

from __future__ import annotations

from advisor.present import family_contents as contents
from advisor.present import tables
from advisor.present.html.charts import described
from advisor.present.html.family_charts import charts
from advisor.present.html.page import rendered
from advisor.studies.family_report import FamilyReport


def family_html(found: FamilyReport) -> str:
    """The page.

    Raises
    ------
    InstallationError
        Where the package was never installed, as the chart library is bundled then.
    """
    drawn = charts(found.plan)
    # nothing is ranked anew here: the script draws, folds and tells where one reads
    live = {"criteria": [], "columns": [], "parts": [], "digits": 0, "most": 0, "command": ""}
    return rendered(
        "family.html",
        {**live, "charts": described(drawn)},
        report=found,
        title=contents.title(found),
        name=found.plan.family,
        summary=found.plan.summary,
        invented=found.plan.invented and tables.INVENTED,
        cautions=found.plan.cautions,
        seed=found.plan.seed,
        draws=found.plan.draws,
        sections=list(contents.sections(found)),
        charts=drawn,
    )
