"""A club that holds a workshop: its leader's and keeper's clients, a design, a paper, and phones at its places."""

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image
from rest_framework.test import APIClient

from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
from exposures.workshops.models import Place, Workshop
from tests.factories import DesignFactory, MembershipFactory, PaperFactory
from tests.optics.synthetic_scans import random_recipe, render

SCAN = render(random_recipe(7))
ANY = {"If-Match": "*"}


def scan_form(**more: Any) -> dict[str, Any]:
    """A form with a scan whose hole is known."""
    out = BytesIO()
    Image.fromarray(SCAN.image).save(out, "PNG")
    told = {"resolution": f"{25.4 / SCAN.mm_per_pixel:.6f} dpi", "tone_curve": SCAN.tone_curve}
    return {"image": SimpleUploadedFile("hole.png", out.getvalue(), "image/png"), **told, **more}


CELL = ("paper_id", "spec_id", "member_id", "person_id", "grade", "shared", "logs")


def cells_are_the_logs() -> bool:
    """The evidence kept step by step is what the log sums to."""
    kept = sorted(map(str, EvidenceCell.objects.values_list(*CELL)))
    return kept == sorted(str(tuple(row[name] for name in CELL)) for row in summed(ExposureLog.objects.all()))


class Phone:
    """Somebody without an account who has a claim code."""

    def __init__(self, code: str, client: APIClient) -> None:
        self.code, self.client, self.at = code, client, f"/api/v1/places/{code}/"

    def get(self, path: str = "", status: int = 200) -> Any:
        response = self.client.get(self.at + path)
        assert response.status_code == status, response.content
        return response.json()

    def named(self, name: str) -> Any:
        return self.client.patch(self.at, {"name": name}, headers=ANY)

    def hole(self, diameter: str = "0.35 mm", uncertainty: str = "0.01 mm", **more: Any) -> Any:
        told = {"diameter": diameter, "uncertainty": uncertainty} | more
        return self.client.put(self.at + "hole/", told, headers=ANY)

    def note(self, **more: Any) -> Any:
        told = {"taken_at": "2026-06-20T10:00:00Z", "reading": {"ev": 13}, "exposure_time": "4 min"}
        return self.client.post(self.at + "exposures/", told | more)


class Day:
    """A workshop of some places, made through the API by a leader of the club."""

    def __init__(self, as_user: Callable[..., APIClient], places: int = 3, slug: str = "marsh") -> None:
        self.leader = MembershipFactory.create(role="leader", club__slug=slug, club__name="Saltmarsh club")
        self.club = self.leader.club
        self.keeper = MembershipFactory.create(role="keeper", club=self.club)
        self.member = MembershipFactory.create(role="member", club=self.club)
        self.as_user = as_user
        self.client, self.keepers = as_user(self.leader.user), as_user(self.keeper.user)
        self.design = DesignFactory.create(club=self.club, name="Biscuit drum")
        self.paper = PaperFactory.create(club=self.club, name="Glasswort")
        self.club_at = f"/api/v1/clubs/{self.club.slug}/"
        response = self.client.post(self.club_at + "workshops/", self.body(places=places))
        assert response.status_code == 201, response.content
        self.made = response.json()
        self.at = f"{self.club_at}workshops/{self.made['number']}/"

    def body(self, **more: Any) -> dict[str, Any]:
        facts = {"name": "Saltmarsh day", "held_on": "2026-06-20", "design": self.design.pk,
                 "paper": str(self.paper.pk), "places": 3}  # fmt: skip
        return facts | more

    @property
    def workshop(self) -> Workshop:
        return Workshop.objects.get(pk=self.made["number"])

    def place(self, number: int) -> Place:
        return Place.objects.get(workshop=self.made["number"], number=number)

    def phone(self, number: int, user: Any = None) -> Phone:
        client = APIClient() if user is None else self.as_user(user)
        client.default_format = "json"
        return Phone(self.place(number).code, client)

    def places(self) -> list[Any]:
        response = self.client.get(self.at + "places/?page_size=200")
        assert response.status_code == 200, response.content
        return response.json()["results"]

    def change(self, client: APIClient | None = None, **facts: Any) -> Any:
        return (client or self.client).patch(self.at, facts, headers=ANY)

    def close(self, client: APIClient | None = None) -> Any:
        return (client or self.client).post(self.at + "closing/", {}, headers=ANY)


@pytest.fixture
def day(as_user: Any) -> Day:
    return Day(as_user)
