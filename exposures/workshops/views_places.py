"""The endpoints of one place, for whoever has its claim code: no account is needed, and nothing else is opened."""

import uuid
from functools import cached_property
from typing import Any

from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from clubs.serializers_specs import MadeHoleIn
from exposures.workshops import claiming, entries, places, tables
from exposures.workshops import serializers_places as serializers
from exposures.workshops.models import Place
from exposures.workshops.serializers import PlaceExposureOut
from optics.answers_scan import hole_scan
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.accounts.serializers import NothingIn
from pinpool.accounts.throttles import address_of
from pinpool.http.etags import Expected, tagged
from pinpool.http.filters import LENGTHS
from pinpool.http.pages import PAGE_QUERY, page_of_rows
from pinpool.http.schema import Operation, page_of
from pinpool.http.uploads import UploadParser
from pinpool.http.views import AccountView, View

READ = (400, 401, 404, 429)
CHANGE = (*READ, 403, 409, 412, 422, 428)


class ByCode(View):
    """A view of the place that the code in the address opens. Who has no code that opens one learns of no fault."""

    permission_classes = [AllowAny]
    query = {}
    untold_in_logs = "claim_code"

    @cached_property
    def place(self) -> Place:
        return places.place_by(code=self.kwargs["claim_code"], address=address_of(self.request))

    def context(self) -> dict[str, Any]:
        """What may be chosen at a place is what may be in its club."""
        return super().context() | {"plugins": self.place.workshop.club.plugins}

    def one(self, row: Any, serializer: type[BaseSerializer], status: int = 200) -> Response:
        """A stored object with its ETag."""
        return tagged(self.request, self.answer(row, serializer, status), row.revision)

    def mine(self) -> Response:
        """The place as it is now."""
        del self.place
        return self.one(self.place, serializers.OpenPlaceOut)


class CodeView(ByCode):
    """A place: its workshop, the plan that it builds by, the hole that was made, and what its participant is called."""

    query = {"lengths": LENGTHS}
    operations = {
        "GET": Operation(gives=serializers.OpenPlaceOut, refusals=READ),
        "PATCH": Operation(takes=serializers.NameIn, gives=serializers.OpenPlaceOut, refusals=CHANGE),
    }

    def get(self, request: Request, claim_code: str) -> Response:
        return self.one(self.place, serializers.OpenPlaceOut)

    def patch(self, request: Request, claim_code: str) -> Response:
        place, expected = self.place, Expected.by(request)
        places.rename_place(place=place, expected=expected, **self.read(request, serializers.NameIn))
        return self.mine()


class HoleView(ByCode):
    """The hole that was made at the place, in the place of any measured before."""

    query = {"lengths": LENGTHS}
    operations = {"PUT": Operation(takes=MadeHoleIn, gives=serializers.OpenPlaceOut, refusals=CHANGE)}

    def put(self, request: Request, claim_code: str) -> Response:
        place, expected = self.place, Expected.by(request)
        made, sent = self.read(request, MadeHoleIn), request.data
        places.put_hole(place=place, expected=expected, **made, typed=dict(sent))
        return self.mine()


class HoleScanView(ByCode):
    """The hole measured from a picture of it, sent as a form with a file. A bad picture changes nothing."""

    parser_classes = [UploadParser]
    query = {"lengths": LENGTHS}
    operations = {"POST": Operation(takes=serializers.PlaceScanIn, gives=serializers.ScannedPlaceOut, refusals=CHANGE)}

    def post(self, request: Request, claim_code: str) -> Response:
        place, expected = self.place, Expected.by(request)
        asked = self.read(request, serializers.PlaceScanIn)
        try:
            found = hole_scan(**asked, focal_length=place.workshop.design.focal_length_mm)
        except Impossible as fault:
            refuse(fault)
        told = serializers.scan_told(found, asked.get("resolution"))
        bound = MadeHoleIn(data=told)
        bound.is_valid(raise_exception=True)
        places.put_hole(place=place, expected=expected, **bound.validated_data, typed=told)
        del self.place
        answer = self.answer({"place": self.place, "scan": found}, serializers.ScannedPlaceOut)
        return tagged(request, answer, self.place.revision)


class TableView(ByCode):
    """The times to give in every light, at the f-number that the hole of this place really makes."""

    operations = {"GET": Operation(gives=serializers.PlaceTableOut, refusals=(*READ, 409))}

    def get(self, request: Request, claim_code: str) -> Response:
        return self.answer(tables.table_of(self.place), serializers.PlaceTableOut)


class EntriesView(ByCode):
    """What was exposed at the place, the newest first. The same sent again under the same id is the same entry."""

    query = PAGE_QUERY
    operations = {
        "GET": Operation(gives=PlaceExposureOut, page=True, refusals=READ),
        "POST": Operation(
            takes=serializers.NoteIn, gives=PlaceExposureOut, status=201, again=True, refusals=(*READ, 403, 409, 422)
        ),
    }

    def get(self, request: Request, claim_code: str) -> Response:
        rows = entries.entries_of(place=self.place)
        found = page_of_rows(request, rows, key="number", newest_first=True)
        return self.answer(found, page_of(PlaceExposureOut))

    def post(self, request: Request, claim_code: str) -> Response:
        place = self.place
        entry, new = entries.note_exposure(place=place, **self.read(request, serializers.NoteIn))
        return self.one(entry, PlaceExposureOut, 201 if new else 200)


class EntryView(ByCode):
    """One exposure of the place. How it came out is added once the print is dry."""

    operations = {
        "GET": Operation(gives=PlaceExposureOut, refusals=READ),
        "PATCH": Operation(takes=serializers.LaterIn, gives=PlaceExposureOut, refusals=CHANGE),
    }

    def get(self, request: Request, claim_code: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(entries.entry_of(place=self.place, id=id), PlaceExposureOut)

    def patch(self, request: Request, claim_code: str, id: uuid.UUID) -> Response:  # noqa: A002
        place, expected = self.place, Expected.by(request)
        facts = self.read(request, serializers.LaterIn)
        return self.one(entries.change_entry(place=place, id=id, expected=expected, **facts), PlaceExposureOut)


class ClaimView(AccountView, ByCode):
    """Make a place one's own, once, with the account that is signed in: its camera, and its logs."""

    permission_classes = AccountView.permission_classes
    operations = {
        "POST": Operation(takes=NothingIn, gives=serializers.ClaimedOut, refusals=(400, 401, 403, 404, 409, 429))
    }

    def post(self, request: Request, claim_code: str) -> Response:
        place = self.place
        self.read(request, NothingIn)
        return self.one(claiming.claim_place(place=place, user=request.user), serializers.ClaimedOut)
