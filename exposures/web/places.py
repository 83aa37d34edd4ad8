"""The page of one place of a workshop, for the phone of whoever has its claim code; no account is needed."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from clubs.models import Membership
from exposures.sheets.darkroom_card import CHEMICALS_CAUTION
from exposures.sheets.exposure_card import SUN_CAUTION
from exposures.web.asked import as_api, reading_ways
from exposures.workshops import entries, places, tables
from exposures.workshops.codes import shown_code
from exposures.workshops.holes import HoleBesidePlan, beside_plan, f_number_of
from exposures.workshops.models import Place, PlaceExposure, Workshop
from exposures.workshops.preparing import HOLE_CAUTION
from pinpool.accounts.throttles import address_of
from pinpool.http.problems import Conflict, PluginFailed
from pinpool.web.pages import Page


class PlacePage(Page):
    """Say a name, measure the hole, see its own times, expose, judge."""

    template_name = "exposures/place.html"
    untold_in_logs = "code"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        address = address_of(as_api(self.request, self.reader))
        place = places.place_by(code=self.kwargs["code"], address=address)
        workshop = place.workshop
        measured = place.hole_diameter_mm is not None
        return (
            super().get_context_data(**kwargs)
            | table(place)
            | {
                "place": place,
                "workshop": workshop,
                "code": place.code,
                "shown_code": shown_code(place.code),
                "f_number": f_number_of(place) if measured else None,
                "planned_f_number": workshop.design.focal_length_mm / workshop.design.hole_diameter_mm,
                "beside": holes_beside_plan(workshop, [place]).get(place.number),
                "entries": [Entry(each) for each in entries.entries_of(place=place).order_by("-number")],
                "ways": reading_ways(workshop.club),
                "cautions": (HOLE_CAUTION, SUN_CAUTION),
                "chemicals_caution": CHEMICALS_CAUTION,
                "is_mine": place.user_id is not None and place.user_id == self.reader.pk,
                "may_claim": place.user_id is None and self.reader.is_authenticated and self._lets_in(place),
            }
        )

    def _lets_in(self, place: Place) -> bool:
        """Whether the reader belongs to the club, or may join it by the code."""
        club = place.workshop.club
        return bool(place.workshop.joins_as) or Membership.objects.filter(club=club, user=self.reader).exists()


def table(place: Place) -> dict[str, Any]:
    """The times of the place's own f-number, or why there are none."""
    try:
        return {"table": tables.table_of(place)}
    except Conflict as fault:
        return {"table": None, "no_table": str(fault.detail)}


def holes_beside_plan(workshop: Workshop, places: Sequence[Place]) -> dict[int, HoleBesidePlan]:
    """As `beside_plan`; of none where the plug-in of the design's film plane is gone."""
    try:
        return beside_plan(workshop, places)
    except PluginFailed:
        return {}


class Entry:
    """An exposure of the place as its page shows it."""

    def __init__(self, entry: PlaceExposure) -> None:
        self.row, facts = entry, entry.facts
        self.taken_at = datetime.fromisoformat(facts["taken_at"])
        self.ev100: float = facts["ev100"]
        self.time_s: float = facts["exposure_time_s"]
        self.note: str = facts["note"]
        result = facts["result"]
        self.judged = result is not None
        self.stops: float | None = result and result["stops"]
        self.right_time_s: float | None = result and result["right_time_s"]
