"""The page of the trail: every change of what the club keeps."""

from typing import Any

from clubs.models import TrailEntry
from clubs.views_trail import TrailFilter
from clubs.web.base import ClubPage
from clubs.web.words import changed
from pinpool.web.lists import listed


class TrailPage(ClubPage):
    """Who changed what, when, from what to what; the newest first."""

    template_name = "clubs/trail.html"
    action = "read_trail"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = TrailEntry.objects.filter(club=self.club)
        page = listed(self.request, rows, key="id", newest_first=True, filters=TrailFilter)
        actions = set(rows.order_by().values_list("action", flat=True).distinct())
        entries = [(entry, changed(entry.before, entry.after)) for entry in page.results]
        return super().get_context_data(**kwargs) | {
            "page": page,
            "entries": entries,
            "actions": sorted(actions),
            "asked": self.request.GET,
        }
