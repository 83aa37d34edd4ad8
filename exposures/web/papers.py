"""The pages of papers: what is in stock, and what the club's log says of each."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from clubs.models import Club
from clubs.roles import allows
from clubs.selectors import cameras_in
from clubs.web.base import ClubPage
from exposures import pooling, selectors
from exposures.darkroom import STEPS_S, steps_of
from exposures.filters import PaperFilter
from exposures.models import ExposureLog, Paper
from exposures.paper_logs import LogBesideLine, contributions_to, logs_beside_line
from exposures.published import published_law
from exposures.reciprocity.result import CurvePoint
from exposures.serializers_published import PublishedLawField
from exposures.sheets.darkroom_card import CHEMICALS_CAUTION, NAMES
from exposures.teaching import plan_tests
from exposures.templatetags.exposures_said import typed
from exposures.web.asked import AskedPage, as_api, reading_ways
from exposures.web.plots import MARKED_S, Mark, correction, paper_svg
from optics.web.views import Kind, kinds_of
from pinpool.http.filters import filtered
from pinpool.http.pages import page_of_rows
from pinpool.plugins.registry import contributions


@dataclass(frozen=True)
class CurveRow:
    """A row of a paper's table; `stops` is the correction in time, None where no time would do.

    `published_s` is what the data sheet gives, None without one.
    """

    point: CurvePoint
    published_s: float | None

    @property
    def stops(self) -> float | None:
        stops = correction(self.point.indicated_s, self.point.time_s)
        return stops if np.isfinite(stops) else None


class PapersPage(AskedPage):
    """The club's papers and films, with what is known of each."""

    action = "read_papers"
    template_name = "exposures/papers.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = as_api(self.request, self.reader)
        page = page_of_rows(asked, filtered(PaperFilter, asked, selectors.papers_in(club=self.club)), key="name")
        told: dict[str, Any] = {
            "page": page,
            "papers": selectors.known_of(page.results, self.club),
            "families": sorted(set(selectors.papers_in(club=self.club).values_list("family", flat=True))),
            "retired": self.request.GET.get("retired"),
        } | for_published(self.club)
        if allows(self.membership.role, "ask_next_tests"):
            told["plan"] = plan_tests(actor=self.membership, count=3)
        return super().get_context_data(**kwargs) | told


class PaperPage(ClubPage):
    """One paper: its curve with the logs on it, who made them, and the time to give."""

    action = "read_estimates"
    template_name = "exposures/paper.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        paper = selectors.paper_in(club=self.club, id=self.kwargs["id"])
        [known] = selectors.known_of([paper], self.club)
        may = {each for each in ("compare", "read_pool") if allows(self.membership.role, each)}
        logs = logs_beside_line(actor=self.membership, paper=paper) if "compare" in may else []
        merges = pooling.merges_in(club=self.club) if "read_pool" in may else []
        law, process = published_law(paper), _latest_process(paper)
        key = paper.catalogue_key
        return (
            super().get_context_data(**kwargs)
            | for_published(self.club, paper)
            | {
                "paper": paper,
                "known": known,
                "rows": [
                    CurveRow(point, float(law.correct(point.indicated_s)) if law else None)
                    for point in known.answer.curve
                ],
                "extrapolating": any(point.extrapolating for point in known.answer.curve),
                "plot": _plot(known, logs),
                "logs": logs,
                "logs_count": len(logs),
                "doubted": [each for each in logs if each.doubt],
                "given_by": contributions_to(actor=self.membership, paper=paper),
                "cameras": [each for each in cameras_in(club=self.club) if each.retired_at is None],
                "ways": reading_ways(self.club),
                "process": process,
                "steps": [(NAMES.get(step.name, step.name), step) for step in steps_of(process)],
                "wash": STEPS_S["wash"],
                "chemicals_caution": CHEMICALS_CAUTION,
                "merges": [each for each in merges if key in {each.key, each.into_key}],
            }
        )


def _plot(known: selectors.PaperKnown, logs: list[LogBesideLine]) -> str:
    marks = [Mark(each.indicated_s, each.log.exposure_time_s, each.log.grade, bool(each.doubt)) for each in logs]
    return paper_svg(known.paper.name, known.answer.curve, marks=marks, **sheet_drawn(known))


def sheet_drawn(known: selectors.PaperKnown) -> dict[str, Any]:
    """What `paper_svg` is told of a paper's data sheet."""
    law, written = published_law(known.paper), known.paper.published_law
    if law is None or written is None:
        return {"published_s": known.paper.published_rows_s or ()}
    points = [(point.indicated_s, float(law.correct(point.indicated_s))) for point in known.answer.curve]
    return {"published_s": points, "published_law": law_said(written)}


def for_published(club: Club, paper: Paper | None = None) -> dict[str, Any]:
    """What a form needs that takes a data sheet's times, and what one says already."""
    known, laws = PublishedLawField().offers(), kinds_of(PublishedLawField.point, "published/reciprocity", club.plugins)
    before = (paper and paper.published_law) or {}
    told: dict[str, Any] = {
        "laws": [
            _as_before(each, before) if each.name == before.get("law") else each
            for each in laws
            if each.name in known and each.name != "table" and each.fields
        ]
    }
    law = published_law(paper) if paper else None
    if paper is None or law is None:
        return told
    if paper.published_law is None:
        return told | {"published_lines": typed(paper.published_typed), "published_rows": law.rows}
    rows = [(time, float(law.correct(time))) for time in MARKED_S]
    return told | {"published_said": law_said(paper.published_law), "published_rows": rows}


def _as_before(kind: Kind, law: dict[str, Any]) -> Kind:
    """The law's fields as they were filled in."""
    fields = [replace(each, value=typed(law.get(each.key.rpartition("/")[2]))) for each in kind.fields]
    return replace(kind, fields=tuple(fields))


def law_said(law: dict[str, Any]) -> str:
    """“power law: exponent 1.3, from 1 s”, by the name that its plug-in gives it."""
    name = str(law.get("law"))
    known = contributions(PublishedLawField.point).get(name)
    label = known.label if known else f"{name}, whose plug-in is not active here now"
    order = [each.name for each in known.parameters] if known else []
    figures = {key: law[key] for key in (*order, *law) if key in law and key != "law"}
    said = [f"{key.replace('_', ' ')} {'; '.join(typed(value).splitlines())}" for key, value in figures.items()]
    return f"{label}: {', '.join(said)}" if said else label


def _latest_process(paper: Paper) -> dict[str, Any] | None:
    """How the newest log of a paper that says so was developed; of private and corrected ones nothing."""
    told = ExposureLog.objects.filter(paper=paper, private=False, corrected_at=None, process__isnull=False)
    return told.order_by("-number").values_list("process", flat=True).first()
