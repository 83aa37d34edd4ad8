"""Exposures noted at a place: once however often they are sent, judged later, and no more than a place may have."""

import uuid
from typing import Any

import pytest

from exposures.workshops.models import PlaceExposure
from tests.bodies import PLACES
from tests.exposures.workshops.conftest import ANY, Day
from tests.factories import CameraSpecFactory, ExposureLogFactory
from tests.problems import faults_in, problem_of

ID = PLACES["exposures/"]["id"]


def test_noting_one(day: Day) -> None:
    phone = day.phone(1)
    response = phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    assert response.status_code == 201, response.content
    told = response.json()
    assert told.keys() == {
        "id", "taken_at", "reading", "ev100", "filter_stops", "exposure_time", "result", "result_stops", "note",
        "created_at", "revision",
    }  # fmt: skip
    assert (told["id"], told["taken_at"], told["reading"]) == (ID, "2026-06-20T10:00:00+00:00", {"ev": 12, "iso": 200})
    assert (told["ev100"], told["filter_stops"], told["exposure_time"]["value"]) == (11, 0.5, 200)
    assert (told["result"], told["result_stops"], told["note"]) == ({"judged_stops": -0.5}, -0.5, "cloud at the end")
    assert phone.get(f"exposures/{ID}/") == told
    assert phone.get("exposures/")["results"] == [told]
    assert [place["exposures"] for place in day.places()] == [1, 0, 0]


def test_the_newest_comes_first_page_by_page(day: Day) -> None:
    phone = day.phone(1)
    ids = [phone.note().json()["id"] for _ in range(3)]
    page = phone.get("exposures/?page_size=2")
    assert [each["id"] for each in page["results"]] == ids[:0:-1]
    last = phone.client.get(page["next"]).json()
    assert ([each["id"] for each in last["results"]], last["next"]) == (ids[:1], None)


def test_sent_twice_it_is_noted_once(day: Day) -> None:
    phone = day.phone(1)
    at = phone.at + "exposures/"
    assert phone.client.post(at, PLACES["exposures/"]).status_code == 201
    again = PLACES["exposures/"] | {"taken_at": "2026-06-20T10:00:00Z"}  # the same moment
    assert [phone.client.post(at, body).status_code for body in (PLACES["exposures/"], again)] == [200, 200]
    assert PlaceExposure.objects.count() == 1


@pytest.mark.parametrize(
    "change",
    [{"exposure_time": "200 s"}, {"taken_at": "2026-06-20T10:00:01Z"}, {"reading": {"ev": 11}}, {"filter_stops": 0},
     {"result": None}, {"result": {"judged_stops": 0.5}}, {"note": ""}],
)  # fmt: skip
def test_another_one_under_its_id_is_refused(day: Day, change: Any) -> None:
    phone = day.phone(1)
    phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    problem_of(phone.client.post(phone.at + "exposures/", PLACES["exposures/"] | change), 409)
    assert PlaceExposure.objects.get().facts["exposure_time_s"] == 200
    other = day.phone(2)
    problem_of(other.client.post(other.at + "exposures/", PLACES["exposures/"]), 409)
    assert other.get("exposures/")["results"] == []


def test_an_id_of_the_log_is_taken(day: Day) -> None:
    log = ExposureLogFactory.create(spec=CameraSpecFactory.create(camera__club=day.club))
    problem_of(day.phone(1).note(id=str(log.id)), 409)


def test_judging_it_later(day: Day) -> None:
    phone = day.phone(1)
    made = phone.note(id=ID)
    at = f"{phone.at}exposures/{ID}/"
    problem_of(phone.client.patch(at, {"note": "thin"}), 428)
    tag = {"If-Match": made["ETag"]}
    judged = phone.client.patch(at, PLACES["exposures/<uuid:id>/"], headers=tag)
    assert judged.status_code == 200, judged.content
    assert (judged.json()["result"], judged.json()["result_stops"]) == ({"right_time": "4 min"}, None)
    assert (judged.json()["note"], judged["ETag"]) == ("thin", '"r2"')
    problem_of(phone.client.patch(at, {"note": "thick"}, headers=tag), 412)
    # Its first words come again from a phone that never heard of the answer: still the same entry, as it is now.
    assert (phone.note(id=ID).status_code, phone.note(id=ID).json()) == (200, judged.json())
    # And so do all its words as they are now.
    now = {"id": ID, "result": {"right_time": "4 min"}, "note": "thin"}
    assert phone.note(**now).status_code == 200
    problem_of(phone.note(**now | {"note": "thick"}), 409)
    assert phone.client.patch(at, {"result": None}, headers=ANY).json()["result"] is None
    for body in ({"exposure_time": "3 min"}, {"taken_at": "2026-06-20T10:00:00Z"}, {"id": ID}):
        [fault] = faults_in(phone.client.patch(at, body, headers=ANY))
        assert fault[1] == "unknown_key"


@pytest.mark.parametrize(
    ("change", "fault"),
    [({"taken_at": "2026-06-20T10:00"}, ("/taken_at", "no_offset")),
     ({"reading": {"ev": 99}}, ("/reading/ev", "out_of_range")),
     ({"exposure_time": "4"}, ("/exposure_time", "unit_missing")),
     ({"filter_stops": -1}, ("/filter_stops", "out_of_range")),
     ({"result": {"judged_stops": 16}}, ("/result/judged_stops", "out_of_range")),
     ({"note": "a\x00b"}, ("", "nul_character")),
     ({"note": "x" * 2001}, ("/note", "max_length")), ({"id": 7}, ("/id", "invalid")),
     ({"camera": "T1"}, ("/camera", "unknown_key")),
     ({"visibility": "shared"}, ("/visibility", "unknown_key"))],
)  # fmt: skip
def test_exposures_that_are_none(day: Day, change: Any, fault: Any) -> None:
    assert faults_in(day.phone(1).note(**change)) == {fault}
    assert not PlaceExposure.objects.exists()


def test_a_place_notes_only_so_many(day: Day, settings: Any) -> None:
    settings.PINPOOL = {"MAX_PLACE_EXPOSURES": 2}
    phone = day.phone(1)
    assert [phone.note(id=str(uuid.UUID(int=number))).status_code for number in (1, 2)] == [201, 201]
    assert "2 exposures" in problem_of(phone.note(), 409)["detail"]
    assert phone.note(id=str(uuid.UUID(int=2))).status_code == 200  # that one is noted already
    assert day.phone(2).note().status_code == 201


def test_an_unmeasured_place_may_note_too(day: Day) -> None:
    assert day.phone(1).note().status_code == 201
    assert day.place(1).hole_diameter_mm is None
