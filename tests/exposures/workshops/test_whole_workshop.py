"""A whole day through the API: twelve without accounts, and all that goes wrong in a room."""

from typing import Any

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from clubs.models import Camera, Person
from exposures.models import EvidenceCell, ExposureLog
from exposures.workshops.models import PlaceExposure
from tests.exposures.workshops.conftest import ANY, Day, scan_form
from tests.factories import MembershipFactory
from tests.problems import faults_in, problem_of

SCRIPT = "<script>alert('fen')</script>"


def test_a_day_with_twelve_participants(as_user: Any, settings: Any) -> None:
    settings.PINPOOL = {"PLACE_TRIES_PER_ADDRESS": (4, 10**9)}
    day = Day(as_user, places=13)
    rng = np.random.default_rng(12)

    # Two misspell their codes, and the room goes on; one slip of paper was photographed, and is withdrawn.
    for wrong in ("ACDEFGH-JKMNPQR", "acdefghjkmnpqt"):
        problem_of(APIClient().get(f"/api/v1/places/{wrong}/"), 404)
    lost = day.phone(13)
    assert lost.get()["number"] == 13
    assert day.client.delete(day.at + "places/13/code/", headers=ANY).status_code == 200
    problem_of(lost.client.get(lost.at), 404)

    phones = [day.phone(number) for number in range(1, 13)]
    for number, phone in enumerate(phones, 1):
        assert phone.get()["number"] == number
        if number <= 9:
            assert phone.named(SCRIPT if number == 5 else f"walker {number}").status_code == 200
        if number == 7:
            sent = phone.client.post(phone.at + "hole-scan/", scan_form(), format="multipart", headers=ANY)
            assert sent.status_code == 200, sent.content
        elif number < 12:  # the last one only exposes
            assert phone.hole(f"{0.35 * 2 ** rng.normal(0, 0.1):.3f} mm").status_code == 200
        if number == 8:
            bad = {"image": SimpleUploadedFile("hole.png", b"no picture", "image/png")}
            hole = phone.get()["hole"]
            sent = phone.client.post(phone.at + "hole-scan/", scan_form(**bad), format="multipart", headers=ANY)
            assert faults_in(sent, 422) == {("/image", "image_kind")}
            assert phone.get()["hole"] == hole
        for shot in range(3):
            told = {"id": f"{number:08}-0b7e-4c8e-9d0e-6a1f0d1c2b{shot:02}", "reading": {"ev": 12 + shot},
                    "exposure_time": f"{20 * 4 ** (2 - shot)} s",
                    "result": {"judged_stops": round(rng.normal(0, 0.3), 2)}}  # fmt: skip
            sent = [phone.note(**told).status_code for _ in range(2 if number == 3 else 1)]
            assert sent == [201, 200][: len(sent)]
        if number == 4:
            at = f"{phone.at}exposures/{number:08}-0b7e-4c8e-9d0e-6a1f0d1c2b00/"
            assert phone.client.patch(at, {"note": "dried darker"}, headers=ANY).status_code == 200

    # One more wrong code is one too many for an address from which somebody tries them out.
    problem_of(APIClient().get("/api/v1/places/ACDEFGHJKMNPQW/"), 404)
    problem_of(APIClient().get("/api/v1/places/ACDEFGHJKMNPQX/"), 429)
    for phone in phones:
        phone.client.defaults["REMOTE_ADDR"] = "192.0.2.7"

    # The leader's list has them all, and nobody is locked out of it.
    rows = day.places()
    assert [row["exposures"] for row in rows] == [3] * 12 + [0]
    assert [row["hole"] is None for row in rows] == [False] * 11 + [True] * 2
    assert rows[4]["name"] == SCRIPT
    seen = day.as_user(day.member.user).get(day.at + "results/?page_size=200").json()["results"]
    assert len(seen) == PlaceExposure.objects.count() == 36
    assert {row["name"] for row in seen if row["place"] == 5} == {SCRIPT}

    closed = day.close().json()
    assert (len(closed["cameras"]), closed["exposures"]) == (12, 36)
    problem_of(day.close(), 409)
    assert (Camera.objects.count(), ExposureLog.objects.count(), Person.objects.count()) == (12, 36, 12)
    listed = day.client.get(day.club_at + "exposures/?page_size=200").json()["results"]
    assert {log["id"] for log in listed} == {str(entry.id) for entry in PlaceExposure.objects.all()}
    assert {log["without_account"] for log in listed} == {True}
    assert sum(log["note"] == "dried darker" for log in listed) == 1
    cameras = day.client.get(day.club_at + "cameras/").json()["results"]
    assert sum(SCRIPT in camera["name"] for camera in cameras) == 1
    holes = [camera["spec"]["hole"]["measured_by"] for camera in cameras]
    assert sorted(holes) == ["given"] * 10 + ["planned", "scanned"]

    # Each counts by themselves: twelve people with twelve cameras, those without a name too.
    model = day.client.get(day.club_at + "reciprocity/model/").json()
    assert (model["evidence"]["members"], model["evidence"]["cameras"], model["evidence"]["logs"]) == (12, 12, 36)
    assert EvidenceCell.objects.values("person").distinct().count() == 12
    compared = day.client.get(day.club_at + "comparison/?by=member").json()["rows"]
    assert sum(row["without_account"] for row in compared) == 12

    # One signs up later: what they made becomes theirs, and the model knows as many people as before.
    user = MembershipFactory.create(club=day.club).user
    claimed = phones[4].client
    claimed.force_authenticate(user)
    told = claimed.post(phones[4].at + "claim/", {}).json()
    assert (told["owned"], told["exposures"]) == (True, 3)
    model = day.client.get(day.club_at + "reciprocity/model/").json()
    assert (model["evidence"]["members"], model["evidence"]["logs"]) == (12, 36)
    assert ExposureLog.objects.filter(member=user).count() == 3
