"""What a camera has been: the measurements behind its hole, and what lies between two specs."""

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from clubs.models import CameraSpec, TrailEntry
from clubs.spec_difference import SpecDifference
from optics import contributed
from tests.bodies import FILM_PLANES, HOLE
from tests.factories import CameraFactory, CameraSpecFactory, MembershipFactory
from tests.problems import faults_in, problem_of

SCAN = {
    "diameter": {"value": 0.31, "unit": "mm"}, "uncertainty": {"value": 0.004, "unit": "mm"}, "roundness_share": 0.97,
    "resolution": "4800 dpi",
}  # fmt: skip


@pytest.fixture
def camera(as_user: Any) -> tuple[Any, str]:
    """A member's client and the address of a club's camera."""
    member = MembershipFactory.create()
    spec = CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
    return as_user(member.user), f"/api/v1/clubs/{member.club.slug}/cameras/{spec.camera.code}/"


def spec_with(camera: tuple[Any, str], **more: Any) -> Any:
    client, at = camera
    response = client.post(at + "specs/", {"film_plane": FILM_PLANES["drum"], "hole": HOLE} | more)
    assert response.status_code == 201, response.content
    return response.json()


def mm(value: float) -> dict[str, Any]:
    return {"value": pytest.approx(value), "unit": "mm"}


# ----------------------------------------------------------------------------------------------- measurements


def test_every_reading_is_kept_with_the_diameter_it_gives_alone(camera: Any) -> None:
    """d = span/n with u(d) = d·u(n)/n; p pixels of 25.4/dpi mm, each edge good to half a pixel either way."""
    readings = [
        {"holes_across": 4, "span": "1 mm", "holes_across_uncertainty": 0.2, "direction": "across"},
        {"pixels": 60, "resolution": "4800 dpi", "direction": "down"},
        {"diameter": "1/4 mm", "uncertainty": "10 µm"},
        {"diameter": "0.26 mm"},
    ]
    hole = spec_with(camera, hole={"readings": readings})["hole"]
    pixel = 25.4 / 4800
    assert hole["measurements"] == [
        {"way": "holes_across", "diameter": mm(0.25), "uncertainty": mm(0.0125), "direction": "across",
         "holes_across": 4.0, "holes_across_uncertainty": 0.2, "span": mm(1.0)},
        {"way": "pixels", "diameter": mm(60 * pixel), "uncertainty": mm(pixel / 6**0.5), "direction": "down",
         "pixels": 60.0, "resolution": {"value": pytest.approx(4800), "unit": "dpi"}},
        {"way": "diameter", "diameter": mm(0.25), "uncertainty": mm(0.01), "direction": ""},
        {"way": "diameter", "diameter": mm(0.26), "uncertainty": mm(0.013), "direction": ""},
    ]  # fmt: skip
    assert hole["measured_by"] == "several"
    kept = CameraSpec.objects.get(number=2).measurements
    assert kept[0]["span_mm"] == 1.0
    assert kept[1]["resolution_dpi"] == 4800.0
    client, at = camera
    inches = client.get(at + "specs/2/?lengths=in").json()["hole"]["measurements"][0]
    assert inches["span"] == {"value": pytest.approx(1 / 25.4), "unit": "in"}


def test_a_scan_as_the_hole_scan_endpoint_answers_it(camera: Any) -> None:
    hole = spec_with(camera, hole={"scan": SCAN, "plate_thickness": "0.1 mm"})["hole"]
    assert (hole["diameter"], hole["uncertainty"], hole["measured_by"]) == (mm(0.31), mm(0.004), "scanned")
    assert hole["measurements"] == [
        {"way": "scan", "diameter": mm(0.31), "uncertainty": mm(0.004), "roundness_share": 0.97,
         "resolution": {"value": pytest.approx(4800), "unit": "dpi"}},
    ]  # fmt: skip
    bare = spec_with(camera, hole={"scan": {name: SCAN[name] for name in ("diameter", "uncertainty")}})["hole"]
    assert bare["measurements"][0].keys() == {"way", "diameter", "uncertainty"}


def test_a_bare_diameter_has_no_measurements_behind_it(camera: Any) -> None:
    assert spec_with(camera)["hole"]["measurements"] == []


@pytest.mark.parametrize(
    ("hole", "fault"),
    [
        ({"scan": SCAN, "diameter": "0.3 mm"}, ("/hole/diameter", "ambiguous")),
        ({"scan": SCAN, "readings": [{"diameter": "1 mm"}]}, ("/hole/diameter", "ambiguous")),
        ({"scan": SCAN, "uncertainty": "1 µm"}, ("/hole/uncertainty", "unknown_key")),
        ({"scan": SCAN | {"burr_share": 0.1}}, ("/hole/scan/burr_share", "unknown_key")),
        ({"scan": SCAN | {"roundness_share": 1.1}}, ("/hole/scan/roundness_share", "out_of_range")),
        ({"scan": SCAN | {"diameter": 0.3}}, ("/hole/scan/diameter", "unit_missing")),
        ({"scan": {"diameter": "0.3 mm"}}, ("/hole/scan/uncertainty", "required")),
        ({"scan": None}, ("/hole/scan", "null")),
        ({"diameter": "0.3 mm", "measurements": []}, ("/hole/measurements", "unknown_key")),
    ],
)
def test_holes_that_are_none(camera: Any, hole: Any, fault: tuple[str, str]) -> None:
    client, at = camera
    assert faults_in(client.post(at + "specs/", {"film_plane": FILM_PLANES["flat"], "hole": hole})) == {fault}


# ---------------------------------------------------------------------------------------------------- reading


def test_one_spec(camera: Any) -> None:
    client, at = camera
    made = spec_with(camera, reason="<script>alert(1)</script>")
    response = client.get(at + "specs/2/")
    assert (response.json(), response["ETag"]) == (made, '"r2"')
    assert client.get(at + "specs/2/", HTTP_IF_NONE_MATCH='"r2"').status_code == 304
    for number in ("0", "3", "99999999999999999999999"):
        problem_of(client.get(f"{at}specs/{number}/"), 404)
    for method in ("put", "patch", "delete", "post"):
        problem_of(getattr(client, method)(at + "specs/2/", {}), 405)


@pytest.mark.parametrize(
    "body",
    [{"number": 9}, {"author": "keeper"}, {"created_at": "2020-01-01T00:00:00Z"}, {"f_number": 8}, {"camera": "T2"}],
)
def test_nothing_else_can_be_set(camera: Any, body: dict[str, Any]) -> None:
    client, at = camera
    response = client.post(at + "specs/", {"film_plane": FILM_PLANES["drum"], "hole": HOLE} | body)
    assert faults_in(response) == {(f"/{next(iter(body))}", "unknown_key")}


def test_a_new_spec_is_told_with_what_it_does(camera: Any) -> None:
    made = spec_with(camera, reason="measured again")
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.subject) == ("add_spec", "camera T1")
    assert entry.before == {"spec": 1, "f_number": pytest.approx(100 * 0.969 / 0.35, rel=0.1), "reason": ""}
    assert entry.after == {"spec": 2, "f_number": made["f_number"], "reason": "measured again"}


def test_a_page_of_two_hundred_costs_what_a_page_of_two_does(camera: Any, django_assert_num_queries: Any) -> None:
    """The member, the camera with its specs and their authors, and the page itself."""
    client, at = camera
    first = CameraSpec.objects.get()
    for many in (1, 200):
        for number in range(2, many + 1):
            CameraSpecFactory.create(camera=first.camera, number=number)
        with django_assert_num_queries(5):
            assert len(client.get(at + "specs/?page_size=200").json()["results"]) == many


# ------------------------------------------------------------------------------------------------- difference


def difference(camera: Any, number: int, query: str = "") -> Any:
    client, at = camera
    response = client.get(f"{at}specs/{number}/difference/{query}")
    assert response.status_code == 200, response.content
    return response.json()


def test_what_changed_key_by_key_in_stops_and_in_words(camera: Any) -> None:
    """A hole √2 as wide lets twice the light in; a focal length √2 as long takes half of it away."""
    plane = FILM_PLANES["flat"]
    hole = {"diameter": "0.3 mm", "uncertainty": "0.006 mm"}
    spec_with(camera, film_plane=plane, hole=hole, focal_length="60 mm")
    wider = hole | {"diameter": f"{0.3 * 2**0.5:.9f} mm"}
    spec_with(camera, film_plane=plane, hole=wider, focal_length="60 mm", reason="drilled")
    found = difference(camera, 2)
    assert (found["number"], found["to"]) == (2, 3)
    assert [change["pointer"] for change in found["changes"]] == ["/hole/diameter", "/f_number"]
    assert found["changes"][0] == {"pointer": "/hole/diameter", "old": mm(0.3), "new": mm(0.3 * 2**0.5)}
    assert found["hole_stops"] == found["stops"] == pytest.approx(1, abs=1e-6)
    assert found["focal_length_stops"] == 0
    assert found["time_share"] == pytest.approx(0.5, abs=1e-6)
    assert found["uncertainty_stops"] == pytest.approx(2 / np.log(2) * 0.02 * 1.5**0.5, abs=1e-6)
    assert found["text"] == [
        "The hole goes from 0.3 mm to 0.424 mm: +1 stop.",
        "f/200 becomes f/141, 1.0 stops more light: give 0.5 times the time, before reciprocity failure.",
    ]
    spec_with(camera, film_plane=plane, hole=wider, focal_length=f"{60 * 2**0.5:.9f} mm")
    later = difference(camera, 3)
    assert (later["stops"], later["time_share"]) == (pytest.approx(-1, abs=1e-6), pytest.approx(2, abs=1e-6))
    assert later["uncertainty_stops"] is None
    assert difference(camera, 2)["stops"] == pytest.approx(0, abs=1e-6)
    assert "no difference that a print would show" in difference(camera, 2)["text"][2]


def test_the_way_back_is_the_opposite(camera: Any) -> None:
    spec_with(camera, film_plane=FILM_PLANES["flat"], hole={"diameter": "0.4 mm"})
    there, back = difference(camera, 1, "?to=2"), difference(camera, 2, "?to=1")
    for name in ("hole_stops", "focal_length_stops", "stops"):
        assert back[name] == pytest.approx(-there[name])
    assert (there["old_darkest_stops"], there["new_darkest_stops"]) == (
        back["new_darkest_stops"], back["old_darkest_stops"]
    )  # fmt: skip
    swapped = [{"pointer": c["pointer"], "old": c["new"], "new": c["old"]} for c in back["changes"]]
    assert sorted(swapped, key=lambda c: c["pointer"]) == sorted(there["changes"], key=lambda c: c["pointer"])


def test_another_film_plane_changes_the_corners(camera: Any, api: Any) -> None:
    """They are those that the illumination endpoint gives; on a flat film the light falls with cos⁴."""
    spec_with(camera, film_plane=FILM_PLANES["flat"], hole=HOLE)
    found = difference(camera, 1)
    body = {"film_plane": FILM_PLANES["flat"], "hole": HOLE}
    assert found["new_darkest_stops"] == pytest.approx(
        api.post("/api/v1/optics/illumination/", body).json()["darkest_stops"]
    )
    spec_with(camera, film_plane=FILM_PLANES["flat"], hole={"diameter": "0.3 mm"})
    corner = np.hypot(2, 2.5) * 25.4
    assert difference(camera, 1)["new_darkest_stops"] == pytest.approx(4 * np.log2(61 / np.hypot(61, corner)))
    pointers = {change["pointer"]: change for change in found["changes"]}
    assert pointers["/film_plane/kind"] == {"pointer": "/film_plane/kind", "old": "drum", "new": "flat"}
    assert pointers["/film_plane/diameter"] == {"pointer": "/film_plane/diameter", "old": mm(100), "new": None}
    assert any("stops under the middle before" in text for text in found["text"])


def test_a_corner_without_light(camera: Any) -> None:
    """A plate three holes thick shades all that lies more than 18° off the axis."""
    spec_with(camera, film_plane=FILM_PLANES["flat"], hole={"diameter": "0.3 mm", "plate_thickness": "0.9 mm"})
    found = difference(camera, 1)
    assert found["new_darkest_stops"] is None
    assert "gets no light after" in found["text"][-1]


def test_a_change_within_the_error_is_called_so(camera: Any) -> None:
    for diameter in ("0.30 mm", "0.31 mm"):
        spec_with(camera, hole={"diameter": diameter, "uncertainty": "0.02 mm"})
    found = difference(camera, 2)
    assert abs(found["hole_stops"]) < found["uncertainty_stops"]
    assert "may be no change at all" in found["text"][-1]


def test_no_difference(camera: Any) -> None:
    found = difference(camera, 1)
    assert found["number"] == found["to"] == 1
    assert found["changes"] == []
    assert found["text"] == ["Nothing that the light depends on differs."]
    assert found["stops"] == 0
    spec_with(camera, hole={"diameter": "0.3 mm"}, reason="one")
    spec_with(camera, hole={"diameter": "0.3 mm"}, reason="two")
    assert difference(camera, 2)["changes"] == []


def test_lengths_in_inches(camera: Any) -> None:
    spec_with(camera, hole={"diameter": "0.3 mm"})
    found = difference(camera, 1, "?lengths=in")
    assert "to 0.012 in" in found["text"][0]
    [change, *_] = [c for c in found["changes"] if c["pointer"] == "/hole/diameter"]
    assert change["new"] == {"value": pytest.approx(0.3 / 25.4), "unit": "in"}


@pytest.mark.parametrize(
    ("query", "code"),
    [("to=2", "unknown_spec"), ("to=x", "unknown_spec"), ("to=-1", "unknown_spec"), ("to=", "blank"),
     ("to=01", "unknown_spec"), ("to=1&to=1", "repeated_query"), ("to=" + "9" * 5000, "unknown_spec")],
)  # fmt: skip
def test_specs_that_are_none(camera: Any, query: str, code: str) -> None:
    client, at = camera
    assert faults_in(client.get(f"{at}specs/1/difference/?{query}")) == {("/to", code)}
    problem_of(client.get(f"{at}specs/7/difference/"), 404)


def test_it_asks_the_database_no_more_than_a_camera_does(camera: Any, django_assert_num_queries: Any) -> None:
    spec_with(camera)
    with django_assert_num_queries(4):
        difference(camera, 1)


@pytest.mark.django_db
def test_stops_add_up_to_the_f_numbers() -> None:
    """Positive where the film gets more light."""
    plane = contributed.film_plane("flat", height_mm=80.0, width_mm=100.0, distance_mm=70.0)
    camera = CameraFactory.create()
    facts = {"camera": camera, "film_plane": contributed.stored(plane), "created_at": datetime(2026, 1, 1, tzinfo=UTC)}
    old = CameraSpecFactory.create(number=1, hole_diameter_mm=0.25, focal_length_mm=70.0, **facts)
    new = CameraSpecFactory.create(number=2, hole_diameter_mm=0.4, focal_length_mm=90.0, **facts)
    assert SpecDifference(old, new).stops == pytest.approx(2 * np.log2(old.f_number / new.f_number))
