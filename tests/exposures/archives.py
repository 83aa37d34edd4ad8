"""A club with something in every table, and its archive on the way."""

import io
from datetime import date
from typing import Any

import numpy as np
import orjson
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from clubs.models import Camera, CameraPhoto, Design, Person
from clubs.sheets.documents import document
from clubs.sheets.issuing import issue
from exposures.archive import checksum
from exposures.models import ExposureLog, NegativePicture, PaperMerge
from exposures.services import Result, log_exposure
from exposures.workshops.models import Place, PlaceExposure, Workshop
from optics import contributed
from pinpool.pictures import reencoded
from tests.bodies import CLUB
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory

IMPORT = "/api/v1/clubs/import-archive/"


def jpeg() -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (40, 60, 3), dtype=np.uint8)).save(file, "PNG")
    return reencoded(file.getvalue(), most_pixels_wide=1600)[0]


class Made:
    """A club with something in every table, made through the API where it has a way."""

    def __init__(self, as_user: Any) -> None:
        self.keeper = MembershipFactory.create(role="keeper", club__slug="creek", club__name="Creek")
        self.club = self.keeper.club
        self.member = MembershipFactory.create(club=self.club, role="member", user__username="walker")
        self.client, self.as_user = as_user(self.keeper.user), as_user
        self.at = "/api/v1/clubs/creek/"
        spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1", camera__owner=self.member.user)
        CameraSpecFactory.create(camera=spec.camera, number=2, hole_diameter_mm=0.3, reason="measured again")
        lent = CameraSpecFactory.create(camera__club=self.club, camera__code="T2").camera
        Camera.objects.filter(pk=lent.pk).update(lent_to=self.member.user, lent_until=date(2099, 1, 1))
        self.paper = PaperFactory.create(club=self.club, name="Glasswort", batch="B 7", sheets_left=12)
        other = PaperFactory.create(club=self.club, name="Glass wort")
        keys = {"key": other.catalogue_key, "into_key": self.paper.catalogue_key}
        PaperMerge.objects.create(club=self.club, made_by=self.keeper.user, **keys)
        client = as_user(self.member.user)
        body = CLUB["exposures/"] | {"paper": str(self.paper.id)}
        del body["id"]
        results = (
            {"judged_stops": -0.5},
            {"right_time": "6 min"},
            {"density": 1.2, "target": 1.0, "gradient": 0.9},
            None,
        )
        self.logs = [self._post(client, "exposures/", body | {"result": result}) for result in results]
        self._post(client, f"exposures/{self.logs[0]['id']}/corrections/", body | {"reason": "It was 4 min."})
        self._post(client, "exposures/", body | {"visibility": "private", "note": "secret"})
        self.workshop(spec)
        photo = CameraPhoto(camera=lent, width_pixels=60, height_pixels=40, caption="front", added_by=self.keeper.user)
        photo.image.save("", ContentFile(jpeg()))
        picture = NegativePicture(log=ExposureLog.objects.get(id=self.logs[1]["id"]), width_pixels=60, height_pixels=40)
        picture.image.save("", ContentFile(jpeg()))

    def workshop(self, spec: Any) -> None:
        """Somebody without an account with a log and a place, a design, an open place, and two printed sheets."""
        self.ada = Person.objects.create(club=self.club, name="Ada")
        plane = contributed.stored(contributed.film_plane("drum", height_mm=80.0, diameter_mm=100.0, length_mm=150.0))
        design = Design.objects.create(
            club=self.club, name="Tea caddy", film_plane=plane, hole_diameter_mm=0.35, plate_thickness_mm=0.05,
            wall_thickness_mm=0.3, focal_length_mm=98.0, typed={"wall_thickness": "0.3 mm"}, author=self.keeper.user,
        )  # fmt: skip
        Camera.objects.filter(pk=spec.camera_id).update(design=design)
        day = Workshop.objects.create(
            club=self.club, name="Creek day", held_on=date(2026, 5, 1), design=design, paper=self.paper, stations=3,
            joins_as="keeper", leader=self.keeper.user,
        )  # fmt: skip
        facts = {"hole_diameter_mm": 0.34, "hole_uncertainty_mm": 0.01, "hole_measured_by": "scanned"}
        first = Place.objects.create(
            workshop=day, number=1, code="SECRETCODEONE1", name="Ada", person=self.ada, camera=spec.camera, **facts
        )
        Place.objects.create(workshop=day, number=2, code="SECRETCODETWO2", user=self.member.user, name="Walker")
        log, _ = log_exposure(
            actor=self.keeper, camera=spec.camera, paper=self.paper, taken_at=spec.created_at, reading=13.0,
            typed_reading={"ev": 13}, exposure_time=240.0, typed_time="4 min", filter_stops=0.0,
            result=Result({"judged_stops": 0.5}, stops=0.5), person=self.ada,
        )  # fmt: skip
        result = {"stops": 0.5, "right_time_s": None, "measured": False, "typed": {"judged_stops": 0.5}}
        facts = {"taken_at": spec.created_at.isoformat(), "ev100": 13.0, "filter_stops": 0.0}
        facts |= {"exposure_time_s": 240.0, "result": result, "note": "calm"}
        typed = {"reading": {"ev": 13}, "exposure_time": "4 min", "result": result["typed"], "note": "calm"}
        PlaceExposure.objects.create(place=first, id=log.id, facts=facts, typed=typed)
        for text, action in (("0.35 mm", "read_sheets"), ("a claim code", "read_places"), ("0.34 mm", "read_sheets")):
            section = {"title": "Hole", "blocks": [{"kind": "facts", "rows": [["Hole", text]]}]}
            told = {"kind": "camera", "title": "T1", "subject": "camera T1", "made_at": "", "sections": [section]}
            issue(actor=self.keeper, document=document(**told), action=action)

    def _post(self, client: Any, path: str, body: Any) -> Any:
        response = client.post(self.at + path, body)
        assert response.status_code == 201, response.content
        return response.json()

    def archive(self, client: Any = None, club: str = "creek", pictures: str = "included") -> Any:
        response = (client or self.client).get(f"/api/v1/clubs/{club}/export/archive/?pictures={pictures}")
        assert response.status_code == 200, response.content
        return orjson.loads(response.content)


def send(client: Any, told: Any, **more: str) -> Any:
    data = told if isinstance(told, bytes) else orjson.dumps(told)
    return client.post(IMPORT, {"file": SimpleUploadedFile("club.json", data)} | more, format="multipart")


def signed(told: dict[str, Any]) -> dict[str, Any]:
    return told | {"checksum": checksum(told)}
