"""Eight processes at one workshop, at the same moment: see start.py and test_workshop_races.py."""

import uuid
from collections.abc import Callable
from typing import Any

from tests.races.race import PROCESSES, World, at_once  # which sets Django up

# isort: split
from rest_framework.test import APIClient

from clubs.models import Camera, Person, TrailEntry
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
from exposures.workshops.models import Place, PlaceExposure, Workshop
from tests.bodies import PLACES
from tests.factories import AccountFactory, DesignFactory, PlaceExposureFactory, PlaceFactory, WorkshopFactory

ANY = {"If-Match": "*"}
CELL = ("paper_id", "spec_id", "member_id", "person_id", "grade", "logs")
JUDGED = {"typed": {"judged_stops": 0.5}, "stops": 0.5, "right_time_s": None, "measured": False}


class Day(World):
    """An open workshop of eight places, at each of which two exposures were noted; a code lets anybody join."""

    def __init__(self) -> None:
        super().__init__()
        design = DesignFactory.create(club=self.club)
        self.workshop = WorkshopFactory.create(club=self.club, design=design, paper=self.paper, joins_as="member")
        self.places = [PlaceFactory.create(workshop=self.workshop, number=n + 1) for n in range(PROCESSES)]
        for place in self.places * 2:
            entry = PlaceExposureFactory.build(place=place)
            PlaceExposureFactory.create(place=place, facts=entry.facts | {"result": JUDGED})
        self.users = AccountFactory.create_batch(PROCESSES)

    def close(self, client: APIClient) -> Any:
        client.force_authenticate(self.keeper.user)
        return client.post(f"{self.at}workshops/{self.workshop.pk}/closing/", {}, format="json", headers=ANY)

    def claim(self, client: APIClient, number: int) -> Any:
        return client.post(f"/api/v1/places/{self.places[number].code}/claim/", {})


def stored() -> dict[str, Any]:
    """What is in the registry and the log, and whether the evidence is what the log sums to."""
    kept = sorted(map(str, EvidenceCell.objects.values_list(*CELL)))
    anew = sorted(str(tuple(row[name] for name in CELL)) for row in summed(ExposureLog.objects.all()))
    closings = TrailEntry.objects.filter(action="close_workshop").count()
    counts = {"cameras": Camera.objects.exclude(design=None).count(), "logs": ExposureLog.objects.count()}
    return counts | {"people": Person.objects.count(), "closings": closings, "right": kept == anew}


def closings() -> dict[str, Any]:
    """Eight hands close one workshop."""
    day = Day()
    statuses = at_once(lambda client, _: day.close(client), day.keeper.user)
    return {"statuses": statuses, **stored()}


def claims(closed: bool) -> dict[str, Any]:
    """Eight accounts claim one place."""
    day = Day()
    if closed:
        assert day.close(APIClient(SERVER_NAME="localhost")).status_code == 200
    statuses = at_once(lambda client, _: day.claim(client, 0), *day.users)
    theirs = ExposureLog.objects.exclude(member=None).count()
    owned = Camera.objects.filter(owner__in=day.users).count()
    members = day.club.memberships.filter(user__in=day.users).count()
    return {"statuses": statuses, "members": members, "theirs": theirs, "owned": owned, **stored()}


def closing_meanwhile() -> dict[str, Any]:
    """One closes, one claims, and six note or judge exposures."""
    day = Day()
    entries = {entry.place_id: entry for entry in PlaceExposure.objects.all()}

    def call(client: APIClient, number: int) -> Any:
        at = f"/api/v1/places/{day.places[number].code}/exposures/"
        client.default_format = "json"
        if number == 0:
            return day.close(client)
        if number == 1:
            return day.claim(client, number)
        client.force_authenticate(None)
        if number % 2:
            entry = entries[day.places[number].pk]
            return client.patch(f"{at}{entry.id}/", {"result": {"judged_stops": -1}}, headers=ANY)
        return client.post(at, PLACES["exposures/"] | {"id": str(uuid.UUID(int=number))})

    statuses = at_once(call, *day.users)
    noted = PlaceExposure.objects.values_list("id", "facts")
    results = {each: facts["result"] and facts["result"]["stops"] for each, facts in noted}
    logged = dict(ExposureLog.objects.values_list("id", "result_stops"))
    closed = Workshop.objects.get().closed_at is not None
    moved = Place.objects.exclude(user=None).count()
    answers = {"statuses": sorted(set(statuses) - {200, 201, 409}), "closed": closed, "claimed": moved}
    return answers | {"all": results == logged} | {name: stored()[name] for name in ("cameras", "closings", "right")}


RACES: dict[str, Callable[[], dict[str, Any]]] = {
    "closings": closings,
    "claims": lambda: claims(closed=False),
    "claims_after_closing": lambda: claims(closed=True),
    "closing_meanwhile": closing_meanwhile,
}
