"""The pages of workshops: for whoever leads one, and for members to see what comes of it."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import segno
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.http import ConditionalGetMiddleware
from django.urls import reverse
from rest_framework.exceptions import ValidationError

from clubs.models import Design
from clubs.roles import allows
from clubs.sheets.of_cameras import KINDS
from clubs.web.base import ClubPage
from exposures.processes import METHODS
from exposures.selectors import papers_in
from exposures.web.asked import AskedPage, as_api, words_of
from exposures.web.places import holes_beside_plan
from exposures.workshops import selectors
from exposures.workshops.addresses import place_address
from exposures.workshops.codes import shown_code
from exposures.workshops.holes import HoleBesidePlan, f_number_of
from exposures.workshops.models import Place, Workshop
from exposures.workshops.preparing import Asked, Preparation, prepare
from exposures.workshops.serializers import JOINS_AS
from exposures.workshops.serializers_preparing import OFTEN, PREPARATION_QUERY, asked_in
from optics.core.faults import Impossible
from optics.core.say import Lengths
from optics.core.sheet_cuts import NAMED_SHEETS
from optics.core.sheet_cuts_svg import sheet_cuts_svg
from pinpool.conf import setting
from pinpool.http.pages import page_of_rows
from pinpool.http.problems import PluginFailed

#: The newest results that the live table shows.
SHOWN_RESULTS = 60


class WorkshopsPage(AskedPage):
    """The club's workshops, and where a new one is made."""

    action = "read_workshops"
    template_name = "exposures/workshops.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = selectors.workshops_in(club=self.club)
        return super().get_context_data(**kwargs) | {
            "page": page_of_rows(as_api(self.request, self.reader), rows, key="id", newest_first=True),
            "designs": Design.objects.filter(club=self.club).order_by("-pk"),
            "papers": papers_in(club=self.club).filter(retired_at=None).order_by("name"),
            "most_places": setting("MAX_WORKSHOP_PLACES"),
            "methods": METHODS,
        }


class OfWorkshopPage(ClubPage):
    """A page of one workshop of the club."""

    action = "read_workshops"

    @cached_property
    def workshop(self) -> Workshop:
        return selectors.workshop_in(club=self.club, number=self.kwargs["number"])

    @property
    def leads(self) -> bool:
        """Whether the reader may see the places and their codes."""
        return allows(self.membership.role, "read_places")

    def live(self) -> dict[str, Any]:
        """What changes while the workshop goes on."""
        rows = selectors.exposures_of(workshop=self.workshop).order_by("-number")[:SHOWN_RESULTS]
        told: dict[str, Any] = {
            "workshop": self.workshop,
            "results": selectors.results_of(workshop=self.workshop, entries=list(rows)),
        }
        if self.leads:
            told["places"] = live_places(self.workshop)
        return told


@dataclass(frozen=True)
class LivePlace:
    """A place as it stands: its f-number by the measured hole, and what that hole costs."""

    place: Place
    f_number: float | None
    beside_plan: HoleBesidePlan | None


def live_places(workshop: Workshop) -> list[LivePlace]:
    """Every place of a workshop, by its number."""
    places: Sequence[Place] = list(selectors.places_of(workshop=workshop).order_by("number"))
    found = holes_beside_plan(workshop, places)
    return [
        LivePlace(place, f_number_of(place) if place.hole_diameter_mm else None, found.get(place.number))
        for place in places
    ]


class WorkshopLive(OfWorkshopPage):
    """The live part of a workshop's page alone, with an ETag of what it says."""

    template_name = "exposures/workshop_live.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        response = super().dispatch(request, *args, **kwargs)
        return conditional(request, response)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | self.live()


def conditional(request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
    """A response with the ETag of what it holds; 304 in its place where the reader has that already."""
    return ConditionalGetMiddleware(lambda _request: response).process_response(request, response)


class WorkshopPage(OfWorkshopPage):
    """One workshop: what it takes, who is where, and what comes of it."""

    template_name = "exposures/workshop.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        told = self.live()
        if self.leads:
            address = place_address(self.request)
            told["codes"] = [_handed_out(each.place, address(each.place.code)) for each in told["places"]]
        sheet = uuid.UUID(int=0)  # stands for the sheet that is going to be issued
        pdf = reverse("pinpool:clubs:sheet_pdf", kwargs={"club": self.club.slug, "id": sheet})
        context = super().get_context_data(**kwargs)
        return (
            context
            | told
            | self._prepared(context["lengths"])
            | {
                "designs": Design.objects.filter(club=self.club).order_by("-pk"),
                "papers": papers_in(club=self.club).order_by("name"),
                "joins_as": JOINS_AS,
                "most_places": setting("MAX_WORKSHOP_PLACES"),
                "pdf": pdf.replace(str(sheet), "{id}"),
                "kinds": KINDS,
                "often": OFTEN,
                "sheets": list(NAMED_SHEETS),
                "methods": METHODS,
                "started": bool(told["results"]) or self.workshop.places.exclude(measured_at=None).exists(),
            }
        )

    def _prepared(self, lengths: Lengths) -> dict[str, Any]:
        """The preparation as the address asks for it; as is usual, with what is wrong, where it cannot be so."""
        query = self.request.GET.copy()
        for name in [name for name, value in query.items() if not str(value).strip()]:
            del query[name]
        asked = {name: query[name] for name in PREPARATION_QUERY if name in query}
        try:
            return {"asked": asked, **self._preparation(asked_in(query), lengths)}
        except ValidationError as fault:
            return {"asked": asked, "wrong": words_of(fault), **self._preparation(Asked(), lengths)}

    def _preparation(self, asked: Asked, lengths: Lengths) -> dict[str, Any]:
        places = self.workshop.places.count()
        try:
            found: Preparation = prepare(actor=self.membership, workshop=self.workshop, asked=asked, places=places)
        except Impossible as fault:
            return {"preparation": None, "impossible": str(fault)}
        except PluginFailed as fault:  # the design's film plane
            return {"preparation": None, "impossible": str(fault.detail)}
        return {"preparation": found, "cuts": sheet_cuts_svg(found.cuts, lengths=lengths)}


def _handed_out(place: Place, address: str) -> dict[str, Any]:
    """What a leader hands out for a place; no code where it is withdrawn."""
    if place.withdrawn_at is not None:
        return {"place": place, "code": None}
    image = segno.make(address, error="m").svg_inline(scale=5, border=4, dark="#000", light="#fff")
    return {"place": place, "code": shown_code(place.code), "address": address, "image": image}
