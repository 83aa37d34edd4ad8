"""The pages of the shared log: its entries, one entry with what it was before, and where a new one is made."""

import re
import uuid
from typing import Any

from django.http import Http404, QueryDict

from clubs.models import Membership
from clubs.roles import allows
from clubs.selectors import cameras_in
from clubs.web.base import ClubPage
from exposures import selectors
from exposures.filters import ExposureFilter
from exposures.models import ExposureLog
from exposures.processes import METHODS, told_again
from exposures.serializers import VISIBILITIES
from exposures.web.asked import AskedPage, as_api, reading_ways
from pinpool.http.filters import filtered
from pinpool.http.pages import page_of_rows

#: Who may see an entry, in words.
VISIBILITY_WORDS = {"club": "the club", "shared": "the club, and the pool reckons with it", "private": "you alone"}
#: In the address of the page that follows a new entry: its id.
LOGGED = "logged"
#: Filters that a date alone is enough for on the page.
DATES = ("since", "until")


class LogPage(AskedPage):
    """The log, the newest entry first, and a form for another."""

    action = "read_exposures"
    template_name = "exposures/log.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = as_api(self.request, self.reader, filters_of(self.request.GET))
        rows = filtered(ExposureFilter, asked, selectors.exposures_for(reader=self.membership))
        page = page_of_rows(asked, rows.select_related("paper"), key="number", newest_first=True)
        return (
            super().get_context_data(**kwargs)
            | form_choices(self)
            | {
                "page": page,
                "asked": {
                    name: value for name, value in self.request.GET.items() if name not in {"cursor", LOGGED} and value
                },
                "ways": reading_ways(self.club),
                "logged": self._logged(),
            }
        )

    def _logged(self) -> ExposureLog | None:
        """The entry that the reader has just made."""
        try:
            return selectors.exposure_for(reader=self.membership, id=uuid.UUID(self.request.GET.get(LOGGED, "")))
        except (ValueError, Http404):
            return None


def filters_of(query: QueryDict) -> QueryDict:
    """A page's query as the API reads it: what was left blank is not asked for, and a day begins at midnight UTC."""
    given = query.copy()
    given.pop(LOGGED, None)
    for name, value in list(given.items()):
        text = str(value).strip()
        if not text:
            del given[name]
        elif name in DATES and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            given[name] = f"{text}T00:00:00Z"
    return given


def form_choices(page: ClubPage) -> dict[str, Any]:
    """What an entry is made of on a form."""
    papers = list(selectors.papers_in(club=page.club).order_by("name"))
    return {
        "cameras": list(cameras_in(club=page.club)),
        "papers": papers,
        "visibilities": [(name, VISIBILITY_WORDS[name]) for name in sorted(VISIBILITIES)],
        "methods": METHODS,
    }


class EntryPage(ClubPage):
    """One entry with its picture, what it was corrected from and by, and a form that corrects it."""

    action = "read_exposures"
    template_name = "exposures/entry.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        entry = selectors.exposure_for(reader=self.membership, id=self.kwargs["id"])
        whose = "own" if entry.member_id == self.reader.pk else "others"
        role = self.membership.role
        reading = entry.reading if isinstance(entry.reading, dict) else {}
        usual = {"ev", "iso"}
        return (
            super().get_context_data(**kwargs)
            | form_choices(self)
            | {
                "entry": entry,
                "history": history(reader=self.membership, entry=entry),
                "process": entry.process,
                "process_said": told_again(entry.process),
                "visibility_words": VISIBILITY_WORDS[entry.visibility],
                "ways": reading_ways(self.club, reading),
                "told_otherwise": not reading.keys() <= usual,
                "may_correct": allows(role, "correct_exposure", whose=whose) and entry.corrected_at is None,  # type: ignore[arg-type]
                "may_put_picture": allows(role, "put_picture", whose=whose),  # type: ignore[arg-type]
                "may_remove_picture": allows(role, "remove_picture", whose=whose),  # type: ignore[arg-type]
            }
        )


def history(*, reader: Membership, entry: ExposureLog) -> list[ExposureLog]:
    """An entry, what it was corrected from and what corrected it, as far as the reader may see, the newest first.

    [] where it stands alone.
    """
    steps, found = selectors.exposures_for(reader=reader).select_related("paper"), [entry]
    while (before := steps.filter(corrected_by=found[-1].number).first()) is not None:
        found.append(before)
    while (later := steps.filter(corrects=found[0].number).first()) is not None:
        found.insert(0, later)
    return found if len(found) > 1 else []
