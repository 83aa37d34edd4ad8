"""The page of a club's printed sheets."""

from typing import Any

from clubs.sheets import issuing
from clubs.views_sheets import SheetFilter
from clubs.web.base import ClubPage
from pinpool.web.lists import listed


class SheetsPage(ClubPage):
    """Every printed sheet that one may read, the newest first."""

    template_name = "clubs/sheets.html"
    action = "read_sheets"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = issuing.sheets_in(actor=self.membership).defer("data")
        page = listed(self.request, rows, key="number", newest_first=True, filters=SheetFilter)
        kinds = sorted(rows.order_by().values_list("kind", flat=True).distinct())
        return super().get_context_data(**kwargs) | {
            "page": page,
            "kinds": kinds,
            "asked": self.request.GET,
        }
