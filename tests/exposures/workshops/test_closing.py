"""Closing a workshop: cameras and logs of what was made, once and for good, and each by whoever made it."""

import uuid
from datetime import UTC, datetime
from typing import Any

import pytest

from clubs.models import Camera, CameraSpec, Person, TrailEntry
from exposures.models import EvidenceCell, ExposureLog
from exposures.workshops.models import PlaceExposure
from tests.accounts import Statements
from tests.bodies import PLACES
from tests.exposures.workshops.conftest import ANY, Day, cells_are_the_logs, scan_form
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory
from tests.problems import problem_of


def test_what_was_made_becomes_cameras_and_logs(day: Day) -> None:
    day.change(process={"developer": "Bladderwrack", "time": "2 min"})
    one, two = day.phone(1), day.phone(2)
    one.named("Finn")
    one.client.put(one.at + "hole/", PLACES["hole/"], headers=ANY)
    one.client.post(one.at + "exposures/", PLACES["exposures/"])
    two.note(result={"right_time": "5 min"})
    response = day.close()
    assert response.status_code == 200, response.content
    told = response.json()
    assert (told["exposures"], [made["place"] for made in told["cameras"]]) == (2, [1, 2])
    assert [made["name"] for made in told["cameras"]] == ["Finn, Saltmarsh day place 1", "Saltmarsh day place 2"]
    assert [made["owner"] for made in told["cameras"]] == [None, None]
    assert response["ETag"] == f'"r{day.workshop.revision}"'
    measured, planned = (Camera.objects.get(code=made["code"]) for made in told["cameras"])
    assert (measured.design, measured.owner, measured.club) == (day.design, None, day.club)
    spec = measured.spec
    assert spec.hole_diameter_mm == day.place(1).hole_diameter_mm
    assert (spec.hole_measured_by, len(spec.measurements), spec.plate_thickness_mm) == ("several", 2, 0.1)
    assert spec.f_number == pytest.approx(day.design.focal_length_mm / spec.hole_diameter_mm)
    assert spec.typed == {"film_plane": day.design.typed["film_plane"], "hole": PLACES["hole/"]}
    spec = planned.spec
    assert (spec.hole_diameter_mm, spec.hole_measured_by, spec.plate_thickness_mm) == (0.35, "planned", 0.05)
    log = ExposureLog.objects.get(id=PLACES["exposures/"]["id"])
    assert (log.spec.camera, log.paper, log.member, log.person.name) == (measured, day.paper, None, "Finn")
    assert (log.ev100, log.exposure_time_s, log.filter_stops, log.result_stops) == (11, 200, 0.5, -0.5)
    assert (log.reading, log.typed_time, log.note) == ({"ev": 12, "iso": 200}, "3 min 20 s", "cloud at the end")
    assert (log.taken_at, log.visibility) == (datetime(2026, 6, 20, 10, tzinfo=UTC), "club")
    assert log.process["developer"] == "Bladderwrack"
    assert log.f_number == measured.spec.f_number
    other = ExposureLog.objects.get(person__name="")
    assert (other.right_time_s, other.grade, other.spec) == (300, "bracketed", spec)
    assert cells_are_the_logs()
    assert EvidenceCell.objects.count() == 2


def test_the_registry_and_the_log_show_them(day: Day) -> None:
    phone = day.phone(1)
    phone.client.post(phone.at + "hole-scan/", scan_form(), format="multipart", headers=ANY)
    phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    code = day.close().json()["cameras"][0]["code"]
    camera = day.client.get(f"{day.club_at}cameras/{code}/").json()
    assert camera["spec"]["hole"]["measured_by"] == "scanned"
    [log] = day.client.get(day.club_at + "exposures/").json()["results"]
    assert (log["camera"], log["without_account"], log["member"]) == (code, True, "somebody without an account")
    assert day.phone(1).get()["camera"] == code
    assert day.places()[0]["camera"] == code


def test_a_log_made_at_closing_is_the_one_that_would_have_been_logged(day: Day) -> None:
    """Column by column, but for whose it is."""
    phone = day.phone(1)
    phone.hole()
    phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    code = day.close().json()["cameras"][0]["code"]
    body = {**PLACES["exposures/"], "id": str(uuid.uuid4()), "camera": code, "paper": str(day.paper.pk)}
    assert day.client.post(day.club_at + "exposures/", body).status_code == 201
    one, other = ExposureLog.objects.order_by("number").values()
    apart = {name for name in one if one[name] != other[name]}
    assert apart == {"number", "id", "member_id", "person_id", "created_at"}


def test_a_place_where_nothing_was_made_becomes_nothing(day: Day) -> None:
    day.phone(1).named("Finn")
    day.phone(2).get()
    assert day.close().json() == {"number": day.made["number"], "cameras": [], "exposures": 0, "revision": 2,
                                  "closed_at": day.client.get(day.at).json()["closed_at"]}  # fmt: skip
    assert [model.objects.count() for model in (Camera, Person, ExposureLog)] == [0, 0, 0]


def test_a_second_closing_changes_nothing(day: Day) -> None:
    day.phone(1).note()
    problem_of(day.client.post(day.at + "closing/", {}), 428)
    problem_of(day.client.post(day.at + "closing/", {}, headers={"If-Match": '"r2"'}), 412)
    assert day.close().status_code == 200
    counts = [model.objects.count() for model in (Camera, CameraSpec, ExposureLog, Person, TrailEntry)]
    for tag in ("*", '"r1"', '"r2"'):
        response = day.client.post(day.at + "closing/", {}, headers={"If-Match": tag})
        assert "closed" in problem_of(response, 409)["detail"]
    assert [model.objects.count() for model in (Camera, CameraSpec, ExposureLog, Person, TrailEntry)] == counts
    assert counts[0] == 1


def test_members_do_not_close_it(day: Day) -> None:
    problem_of(day.close(day.as_user(day.member.user)), 403)
    assert day.workshop.closed_at is None


def test_afterwards_the_places_can_only_be_read(day: Day) -> None:
    phone = day.phone(1)
    phone.hole()
    phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    tag = phone.client.get(phone.at)["ETag"]
    day.close()
    at = f"{phone.at}exposures/{PLACES['exposures/']['id']}/"
    changes = [phone.named("Finn"), phone.hole("0.4 mm"), phone.note(),
               phone.client.patch(at, {"note": "x"}, headers=ANY),
               phone.client.patch(phone.at, {"name": "Finn"}, headers={"If-Match": tag}),
               phone.client.post(phone.at + "hole-scan/", scan_form(), format="multipart", headers=ANY),
               day.change(name="Evening"), day.change(places=9)]  # fmt: skip
    for response in changes:
        assert "closed" in problem_of(response, 409)["detail"]
    assert phone.client.post(phone.at + "exposures/", PLACES["exposures/"]).status_code == 200  # noted before
    found = phone.client.get(phone.at, headers={"If-None-Match": tag})
    assert (found.status_code, found.json()["closed"], found.json()["name"]) == (200, True, "")
    assert len(phone.get("exposures/")["results"]) == 1
    assert phone.client.get(at).json()["note"] == "cloud at the end"
    assert phone.get("exposure-table/")["rows"]


def test_the_trail_tells_of_it(day: Day) -> None:
    day.phone(1).client.post(day.phone(1).at + "exposures/", PLACES["exposures/"])
    code = day.close().json()["cameras"][0]["code"]
    told = TrailEntry.objects.filter(actor=day.leader.user).order_by("id").values_list("action", "subject", "after")
    assert list(told)[1:] == [
        ("register_camera", f"camera {code}", {"name": "Saltmarsh day place 1", "owner": None}),
        ("log_exposure", f"1 exposures with camera {code}", {"ids": [PLACES["exposures/"]["id"]]}),
        ("close_workshop", f"workshop {day.made['number']}", {"cameras": [code], "exposures": 1}),
    ]  # fmt: skip


def test_an_id_that_was_taken_meanwhile_keeps_nobody_from_closing(day: Day) -> None:
    """A log of another club under the same id, after the exposure was noted."""
    phone = day.phone(1)
    phone.client.post(phone.at + "exposures/", PLACES["exposures/"])
    ExposureLogFactory.create(id=uuid.UUID(PLACES["exposures/"]["id"]))
    assert day.close().json()["exposures"] == 1
    [log] = ExposureLog.objects.filter(club=day.club)
    assert str(log.id) != PLACES["exposures/"]["id"]


def test_a_code_that_is_taken_at_the_same_moment_is_drawn_again(day: Day, monkeypatch: Any) -> None:
    """All of it is tried again, so that nothing is half done."""
    CameraSpecFactory.create(camera__club=day.club, camera__code="AAAA")
    for number in (1, 2):
        day.phone(number).note()
    drawn = iter(["CCCC", "AAAA", "DDDD", "EEEE"])
    monkeypatch.setattr("exposures.workshops.closing._free_code", lambda _: next(drawn))
    assert [each["code"] for each in day.close().json()["cameras"]] == ["DDDD", "EEEE"]
    assert (Camera.objects.count(), Person.objects.count(), ExposureLog.objects.count()) == (3, 2, 2)
    other = Day(day.as_user, slug="fen")
    other.phone(1).note()
    CameraSpecFactory.create(camera__club=other.club, camera__code="AAAA")
    monkeypatch.setattr("exposures.workshops.closing._free_code", lambda _: "AAAA")
    problem_of(other.close(), 409)
    assert other.workshop.closed_at is None


def test_codes_and_names_have_room(day: Day, monkeypatch: Any) -> None:
    """A camera's code that is taken is not drawn, and the longest names fit."""
    CameraSpecFactory.create(camera__club=day.club, camera__code="AAAA")
    drawn = iter(["AAAA", "CCCC", "CCCC", "DDDD"])
    monkeypatch.setattr("exposures.workshops.closing.new_code", lambda _: next(drawn))
    day.change(name="x" * 100)
    for number in (1, 2):
        day.phone(number).named("y" * 60)
        day.phone(number).note()
    made = day.close().json()["cameras"]
    assert [each["code"] for each in made] == ["CCCC", "DDDD"]
    assert [each["name"] for each in made] == [f"{'y' * 60}, {'x' * 30} place {number}" for number in (1, 2)]


def test_whoever_claimed_a_place_owns_what_it_becomes(day: Day) -> None:
    """If they may own a camera in the club by then; the logs are theirs in any case."""
    guest = MembershipFactory.create(club=day.club, role="guest").user
    gone = MembershipFactory.create(club=day.club)
    deleted = MembershipFactory.create(club=day.club).user
    day.change(places=4)
    for number, user in ((1, day.member.user), (2, guest), (3, gone.user), (4, deleted)):
        phone = day.phone(number, user)
        assert phone.client.post(phone.at + "claim/", {}).status_code == 200
        phone.note(result={"judged_stops": 0})
        phone.named(f"n{number}")
    gone.delete()
    deleted.delete()
    made = day.close().json()["cameras"]
    assert [each["owner"] for each in made] == [day.member.user.get_username(), None, None, None]
    logs = list(ExposureLog.objects.order_by("number"))
    assert [log.member for log in logs] == [day.member.user, guest, gone.user, None]
    assert [log.person and log.person.name for log in logs] == [None, None, None, "n4"]
    assert cells_are_the_logs()


def test_an_entry_costs_no_statement_of_its_own(day: Day) -> None:
    counts = []
    for number, entries in ((1, 1), (2, 30)):
        other = Day(day.as_user, slug=f"marsh-{number}")
        for entry in range(entries):
            other.phone(1).note(id=str(uuid.UUID(int=100 * number + entry)), result={"judged_stops": entry / 30})
        with Statements() as ran:
            assert other.close().json()["exposures"] == entries
        counts.append(ran.count)
    assert counts[0] == counts[1]
    assert ExposureLog.objects.count() == PlaceExposure.objects.count() == 31
