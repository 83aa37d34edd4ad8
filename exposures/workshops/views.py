"""The endpoints of workshops inside the club: for whoever leads one, and for members to see what came of it."""

from collections.abc import Sequence
from functools import cached_property

from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import CHANGE, READ, WRITE, ClubView
from exposures.views_known import KnownView
from exposures.workshops import closing, selectors, serializers, services
from exposures.workshops.holes import beside_plan
from exposures.workshops.models import Place, Workshop
from pinpool.accounts.serializers import NothingIn
from pinpool.http.etags import Expected, tag_of
from pinpool.http.filters import LENGTHS
from pinpool.http.pages import PAGE_QUERY, page_of_rows
from pinpool.http.schema import Operation


class WorkshopsView(ClubView):
    """The club's workshops, the newest first. A new one gets its places and their claim codes at once."""

    query = PAGE_QUERY
    actions = {"GET": "read_workshops", "POST": "hold_workshop"}
    operations = {
        "GET": Operation(gives=serializers.WorkshopOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.WorkshopIn, gives=serializers.WorkshopOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = selectors.workshops_in(club=self.member.club)
        return self.page(rows, serializers.WorkshopOut, key="id", newest_first=True)

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        made = services.hold_workshop(actor=member, **self.read(request, serializers.WorkshopIn))
        return self.one(selectors.workshop_in(club=member.club, number=made.pk), serializers.WorkshopOut, 201)


class OfWorkshop(ClubView):
    """A view of one workshop of the club."""

    query = {}

    @cached_property
    def workshop(self) -> Workshop:
        return selectors.workshop_in(club=self.member.club, number=self.kwargs["number"])


class WorkshopView(OfWorkshop):
    """One workshop. Its design and paper stay once a place has measured its hole or noted an exposure."""

    actions = {"GET": "read_workshops", "PATCH": "hold_workshop"}
    operations = {
        "GET": Operation(gives=serializers.WorkshopOut, refusals=READ),
        "PATCH": Operation(takes=serializers.WorkshopChangeIn, gives=serializers.WorkshopOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, number: int) -> Response:
        return self.one(self.workshop, serializers.WorkshopOut)

    def patch(self, request: Request, club: str, number: int) -> Response:
        actor, workshop = self.member, self.workshop
        facts = self.read(request, serializers.WorkshopChangeIn)
        services.change_workshop(actor=actor, workshop=workshop, expected=Expected.by(request), **facts)
        return self.one(selectors.workshop_in(club=actor.club, number=number), serializers.WorkshopOut)


class OfPlaces(OfWorkshop):
    """A view of places as whoever leads the workshop sees them, with what their holes cost."""

    def beside_plan(self, places: Sequence[Place]) -> Sequence[Place]:
        found = beside_plan(self.workshop, places)
        for place in places:
            place.beside_plan = found.get(place.number)  # type: ignore[attr-defined]
        return places

    def place(self, number: int) -> Response:
        """A place with its tag; never 304, since what is counted of it changes without a revision."""
        place = selectors.place_in(workshop=self.workshop, number=number)
        response = self.answer(self.beside_plan([place])[0], serializers.WorkshopPlaceOut)
        response["ETag"] = tag_of(place.revision)
        return response


class PlacesView(KnownView, OfPlaces):
    """Every place of the workshop as it stands: its code, its hole beside the plan, and how much was noted there."""

    query = {**PAGE_QUERY, "lengths": LENGTHS}
    actions = {"GET": "read_places"}
    operations = {"GET": Operation(gives=serializers.WorkshopPlaceOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str, number: int) -> Response:
        page = page_of_rows(request, selectors.places_of(workshop=self.workshop), key="number")
        return self.known(page, self.beside_plan(page.results), serializers.WorkshopPlaceOut)


class PlaceView(OfPlaces):
    """One place of the workshop."""

    query = {"lengths": LENGTHS}
    actions = {"GET": "read_places"}
    operations = {"GET": Operation(gives=serializers.WorkshopPlaceOut, refusals=READ)}

    def get(self, request: Request, club: str, number: int, place: int) -> Response:
        return self.place(place)


class PlaceCodeView(OfPlaces):
    """The claim code of a place: another one instead of one that is lost (POST), or none (DELETE)."""

    actions = {"POST": "change_place", "DELETE": "change_place"}
    operations = {
        "POST": Operation(takes=NothingIn, gives=serializers.WorkshopPlaceOut, refusals=CHANGE),
        "DELETE": Operation(gives=serializers.WorkshopPlaceOut, refusals=CHANGE),
    }

    def post(self, request: Request, club: str, number: int, place: int) -> Response:
        found = selectors.place_in(workshop=self.workshop, number=place)
        self.read(request, NothingIn)
        services.draw_code(actor=self.member, place=found, expected=Expected.by(request))
        return self.place(place)

    def delete(self, request: Request, club: str, number: int, place: int) -> Response:
        found = selectors.place_in(workshop=self.workshop, number=place)
        services.withdraw_code(actor=self.member, place=found, expected=Expected.by(request))
        return self.place(place)


class ResultsView(KnownView, OfWorkshop):
    """What was exposed at all places, side by side, the newest first, beside what the club would have given."""

    query = PAGE_QUERY
    actions = {"GET": "read_workshops"}
    operations = {"GET": Operation(gives=serializers.PlaceResultOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str, number: int) -> Response:
        rows = selectors.exposures_of(workshop=self.workshop)
        page = page_of_rows(request, rows, key="number", newest_first=True)
        results = selectors.results_of(workshop=self.workshop, entries=page.results)
        return self.known(page, results, serializers.PlaceResultOut)


class ClosingView(OfWorkshop):
    """Close the workshop: each place becomes a camera and what was noted there the club's log. Once, and for good."""

    actions = {"POST": "close_workshop"}
    operations = {
        "POST": Operation(takes=NothingIn, gives=serializers.ClosedOut, refusals=CHANGE),
    }

    def post(self, request: Request, club: str, number: int) -> Response:
        workshop = self.workshop
        self.read(request, NothingIn)
        closed = closing.close_workshop(actor=self.member, workshop=workshop, expected=Expected.by(request))
        return self.one(closed, serializers.ClosedOut)
