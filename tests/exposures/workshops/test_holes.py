"""The hole that was made at a place: measured by hand or from a scan, what it costs, and the times that it asks for."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from clubs.models import TrailEntry
from exposures.workshops.models import Place
from tests.bodies import PLACES
from tests.exposures.workshops.conftest import ANY, SCAN, Day, scan_form
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of

# -------------------------------------------------------------------------------------------------------- hole


def test_measuring_by_hand(day: Day) -> None:
    phone = day.phone(1)
    problem_of(phone.client.put(phone.at + "hole/", PLACES["hole/"]), 428)
    response = phone.client.put(phone.at + "hole/", PLACES["hole/"], headers=ANY)
    assert response.status_code == 200, response.content
    found = response.json()
    # 70 px at 4800 dpi are 0.3704 mm; weighed with 0.36 ± 0.02 mm.
    assert 0.36 < found["hole"]["diameter"]["value"] < 0.3705
    assert found["hole"]["plate_thickness"] == {"value": 0.1, "unit": "mm"}
    assert found["hole"]["measured_by"] == "several"
    assert len(found["hole"]["measurements"]) == 2
    assert found["f_number"] == pytest.approx(day.design.focal_length_mm / found["hole"]["diameter"]["value"])
    share = found["hole"]["uncertainty"]["value"] / found["hole"]["diameter"]["value"]
    assert found["f_number_uncertainty"] == pytest.approx(found["f_number"] * share)
    assert response["ETag"] == '"r2"'
    assert phone.hole().json()["hole"]["plate_thickness"] == {"value": 0.05, "unit": "mm"}  # the plan's
    entry = TrailEntry.objects.filter(action="change_place").latest("id")
    assert (entry.actor, entry.actor_name, entry.after["hole_diameter_mm"]) == (None, "", 0.35)


@pytest.mark.parametrize(
    ("body", "fault", "status"),
    [({}, ("/diameter", "required"), 400), ({"diameter": "0,35 mm"}, ("/diameter", "decimal_comma"), 400),
     ({"diameter": "0.35"}, ("/diameter", "unit_missing"), 400),
     ({"diameter": "0.3 mm", "depth": 1}, ("/depth", "unknown_key"), 400),
     ({"diameter": "0.3 mm", "scan": {"diameter": "0.3 mm", "uncertainty": "0 mm"}}, ("/diameter", "ambiguous"), 400)],
)  # fmt: skip
def test_holes_that_are_none(day: Day, body: Any, fault: Any, status: int) -> None:
    phone = day.phone(1)
    assert faults_in(phone.client.put(phone.at + "hole/", body, headers=ANY), status) == {fault}
    assert day.place(1).hole_diameter_mm is None


def test_a_hole_that_makes_no_pinhole_camera(day: Day) -> None:
    day.design.focal_length_mm = 10.0
    day.design.save()
    assert faults_in(day.phone(1).hole("15 mm"), 422) == {("/diameter", "f_number_range")}
    assert day.place(1).revision == 1


def test_measuring_from_a_scan(day: Day) -> None:
    phone = day.phone(1)
    at = phone.at + "hole-scan/"
    problem_of(phone.client.post(at, scan_form(), format="multipart"), 428)
    response = phone.client.post(at, scan_form(), format="multipart", headers=ANY)
    assert response.status_code == 200, response.content
    found = response.json()
    assert found["scan"]["diameter"]["value"] == pytest.approx(SCAN.diameter_mm, rel=0.01)
    assert found["place"]["hole"]["diameter"] == found["scan"]["diameter"]
    assert found["place"]["hole"]["uncertainty"]["value"] == pytest.approx(found["scan"]["uncertainty"]["value"])
    assert found["place"]["hole"]["measured_by"] == "scanned"
    assert found["place"]["f_number"] == pytest.approx(found["scan"]["f_number"])
    assert response["ETag"] == '"r2"'
    assert phone.get() == found["place"]
    # What is kept can be put again by hand, and is the same.
    put = phone.client.put(phone.at + "hole/", day.place(1).typed, headers=ANY)
    assert put.json()["hole"] == found["place"]["hole"]


@pytest.mark.parametrize(
    ("more", "fault", "status"),
    [({"image": b"no picture"}, ("/image", "image_kind"), 422),
     ({"resolution": "20 dpi"}, ("/resolution", "out_of_range"), 400),
     ({"focal_length": "5 mm"}, ("/focal_length", "unknown_key"), 400), ({"resolution": "1e6 dpi"}, None, None)],
)  # fmt: skip
def test_bad_scans_change_nothing(day: Day, more: Any, fault: Any, status: int | None) -> None:
    phone = day.phone(1)
    phone.hole()
    before = phone.get()
    if "image" in more:
        more = {"image": SimpleUploadedFile("hole.png", more["image"], "image/png")}
    response = phone.client.post(phone.at + "hole-scan/", scan_form(**more), format="multipart", headers=ANY)
    if fault:
        assert faults_in(response, status or 400) == {fault}
    else:
        assert response.status_code in {400, 422}
    assert phone.get() == before


def test_what_a_hole_costs(day: Day) -> None:
    """Light goes by the square of the diameter: a hole √2 as wide is one stop more."""
    for number, diameter, uncertainty in (
        (1, "0.35 mm", "0.01 mm"),
        (2, "0.495 mm", "0.01 mm"),
        (3, "0.45 mm", "0.1 mm"),
    ):
        assert day.phone(number).hole(diameter, uncertainty).status_code == 200
    right, wide, unsure = (place["beside_plan"] for place in day.places())
    assert (right["off_stops"], right["far_off"], right["sharpness_share"]) == (0, False, 1)
    assert wide["off_stops"] == pytest.approx(1, abs=2e-3)
    assert wide["far_off"]
    assert "1.0 stops more light" in wide["text"]
    assert wide["line_pairs"] != wide["planned_line_pairs"] == right["line_pairs"]
    assert unsure["off_stops"] > 0.7
    assert not unsure["far_off"]  # it is measured too badly to say so
    assert unsure["uncertainty_stops"] == pytest.approx(2 / 0.693147 * 0.1 / 0.45, rel=1e-5)
    one = day.client.get(day.at + "places/2/").json()
    assert one["beside_plan"] == pytest.approx(wide) or one["beside_plan"]["line_pairs"] == pytest.approx(
        wide["line_pairs"]
    )


def test_the_detail_is_what_the_optics_say(day: Day, api: APIClient) -> None:
    """By the endpoint that anybody may ask, for the paper's receptor."""
    day.phone(1).hole("0.5 mm")
    beside = day.places()[0]["beside_plan"]
    plane = {"kind": "drum", "height": "80 mm", "diameter": "100 mm", "length": "150 mm"}
    for diameter, line_pairs in (("0.5 mm", beside["line_pairs"]), ("0.35 mm", beside["planned_line_pairs"])):
        asked = {"film_planes": [plane], "diameters": [diameter, "0.1 mm"], "receptor": "graded_paper"}
        pairs = api.post("/api/v1/optics/hole-comparison/", asked).json()["rows"]
        [pair] = [each for each in pairs if each["diameter"]["value"] == pytest.approx(float(diameter[:-3]))]
        assert line_pairs == pytest.approx(pair["line_pairs"]["picture"], rel=1e-6)


# ------------------------------------------------------------------------------------------------------- table


def logged(day: Day) -> None:
    """Four logs of the workshop's paper by somebody with another camera."""
    member, spec = MembershipFactory.create(club=day.club), CameraSpecFactory.create(camera__club=day.club)
    for time in (10, 60, 300, 900):
        facts = {"exposure_time_s": time, "indicated_time_s": time**0.8}
        ExposureLogFactory.create(spec=spec, paper=day.paper, member=member.user, **facts)


def test_the_times_are_for_ones_own_hole(day: Day) -> None:
    phone = day.phone(1)
    detail = problem_of(phone.client.get(phone.at + "exposure-table/"), 409)["detail"]
    assert "Measure your hole first" in detail
    phone.hole("0.35 mm")
    planned = phone.get("exposure-table/")
    assert [row["ev100"] for row in planned["rows"]] == [16, 15, 14, 13, 12, 11, 10, 9, 8]
    assert planned["f_number"] == pytest.approx(day.design.focal_length_mm / 0.35)
    assert all(row["light"] for row in planned["rows"])
    assert planned["because"][0].startswith("The times are for Glasswort and f/")
    assert any("Nobody has logged" in sentence for sentence in planned["because"])
    first = planned["rows"][0]
    # t = N²/(2^EV · index/100), ISO 2720
    assert first["indicated_time"]["value"] == pytest.approx(planned["f_number"] ** 2 / (2**16 * 0.06))
    times = [row["exposure_time"]["value"] for row in planned["rows"]]
    assert times == sorted(times)
    for row in planned["rows"]:
        assert row["interval"]["low"]["value"] < row["exposure_time"]["value"]
    assert planned["rows"][-1]["interval"]["high"] is None  # with nothing logged nothing bounds long times
    phone.hole("0.495 mm")
    for wide, row in zip(phone.get("exposure-table/")["rows"], planned["rows"], strict=True):
        ratio = row["indicated_time"]["value"] / wide["indicated_time"]["value"]
        assert ratio == pytest.approx(2, rel=1e-3)  # one stop


def test_a_hole_known_badly_widens_the_intervals(day: Day) -> None:
    logged(day)
    phone = day.phone(1)
    spans = []
    for uncertainty in ("0 mm", "0.1 mm"):
        phone.hole("0.35 mm", uncertainty)
        row = phone.get("exposure-table/")["rows"][3]
        spans.append(row["interval"]["high"]["value"] / row["interval"]["low"]["value"])
    assert spans[1] > 1.1 * spans[0]


def test_the_table_is_the_clubs_recommendation(day: Day) -> None:
    """A registered camera with the same hole, asked of by somebody who has logged nothing, is told the same times."""
    logged(day)
    CameraSpecFactory.create(camera__club=day.club, camera__code="T1")
    phone = day.phone(1)
    phone.hole("0.35 mm", "0.01 mm")
    table = phone.get("exposure-table/")
    for row in table["rows"]:
        body = {"camera": "T1", "paper": str(day.paper.pk), "reading": {"ev": row["ev100"]}}
        told = (
            day.as_user(MembershipFactory.create(club=day.club).user).post(day.club_at + "recommendation/", body).json()
        )
        assert row["exposure_time"]["value"] == pytest.approx(told["exposure_time"]["value"], rel=1e-9)
        assert row["interval"]["low"]["value"] == pytest.approx(told["interval"]["low"]["value"], rel=1e-9)
    assert any(sentence.startswith("4 logs of this paper by") for sentence in table["because"])


def test_places_keep_apart(day: Day) -> None:
    day.phone(1).hole("0.5 mm")
    assert day.phone(2).get()["hole"] is None
    assert Place.objects.filter(hole_diameter_mm=None).count() == 2
