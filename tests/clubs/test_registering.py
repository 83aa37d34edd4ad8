"""Registering cameras and saying what they are: what is taken, what comes back, and that nothing changes in place."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from clubs.models import CameraSpec
from clubs.roles import Role
from optics.core.film_planes import FilmPlane
from optics.inputs import FilmPlaneField
from tests.bodies import CLUB, FILM_PLANES, HOLE
from tests.factories import CameraSpecFactory, ClubFactory, MembershipFactory
from tests.problems import faults_in, problem_of

CAMERA_KEYS = {"design", "code", "name", "owner", "note", "loan", "registered_at", "retired_at", "revision", "spec"}
SPEC_KEYS = {
    "number", "film_plane", "missing_plugin", "hole", "focal_length", "f_number", "typed", "reason", "author",
    "created_at",
}  # fmt: skip


class Here:
    """A club with the camera T1, and clients of every role in it."""

    def __init__(self, as_user: Any) -> None:
        self.club = ClubFactory.create()
        roles = [role.name.lower() for role in Role]
        self.members = {role: MembershipFactory.create(club=self.club, role=role) for role in roles}
        self.clients = {role: as_user(member.user) for role, member in self.members.items()}
        CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.at = f"/api/v1/clubs/{self.club.slug}/"

    def post(self, path: str, body: Any, role: str = "member") -> Any:
        response = self.clients[role].post(self.at + path, body)
        assert response.status_code == 201, response.content
        return response.json()

    def get(self, path: str) -> Any:
        response = self.clients["guest"].get(self.at + path)
        assert response.status_code == 200, response.content
        return response.json()


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


# ----------------------------------------------------------------------------------------------------- cameras


def camera_body(**more: Any) -> dict[str, Any]:
    return {"name": "Biscuit tin", "spec": {"film_plane": FILM_PLANES["drum"], "hole": HOLE}} | more


def test_registering_a_camera(here: Here) -> None:
    camera = here.post("cameras/", camera_body(code="k-7"))
    assert camera.keys() == CAMERA_KEYS
    assert camera["spec"].keys() == SPEC_KEYS
    assert (camera["code"], camera["revision"], camera["spec"]["number"]) == ("K-7", 1, 1)
    assert camera["owner"] == camera["spec"]["author"] == here.members["member"].user.get_username()
    assert camera["spec"]["typed"] == {"film_plane": FILM_PLANES["drum"], "hole": HOLE}
    assert camera["spec"]["hole"] == {
        "diameter": {"value": 0.3, "unit": "mm"},
        "uncertainty": {"value": 0.01, "unit": "mm"},
        "plate_thickness": {"value": 0.1, "unit": "mm"},
        "measured_by": "given",
        "measurements": [],
    }
    assert here.get("cameras/k-7/") == camera
    assert here.get("cameras/")["results"][0] == camera
    assert here.post("cameras/", camera_body(club_owned=True))["owner"] is None


def test_a_code_is_drawn_where_none_is_given_and_taken_once(here: Here) -> None:
    drawn = here.post("cameras/", camera_body())["code"]
    assert len(drawn) == 4
    for code in (drawn, drawn.lower()):
        response = here.clients["member"].post(here.at + "cameras/", camera_body(code=code))
        assert drawn in problem_of(response, 409)["detail"]


@pytest.mark.parametrize("code", ["", "a", "a" * 13, "a b", "a_b", "a/b", "é1", "K7\n\n8"])
def test_codes_that_are_none(here: Here, code: str) -> None:
    faults = faults_in(here.clients["member"].post(here.at + "cameras/", camera_body(code=code)))
    assert {pointer for pointer, _ in faults} == {"/code"}


@pytest.mark.parametrize("kind", FILM_PLANES)
def test_a_stored_camera_and_a_posted_film_plane_give_identical_answers(here: Here, api: APIClient, kind: str) -> None:
    """What was posted, what the camera shows of it, and what the core makes of the stored row: one answer."""
    posted = FILM_PLANES[kind] | {"hole_offset": {"x": "-1/8 in", "y": "3 mm"}}
    spec = here.post("cameras/", camera_body(code="X1", spec={"film_plane": posted, "hole": HOLE}))["spec"]
    answers = [
        api.post("/api/v1/optics/camera-plan/", {"film_plane": plane, "hole": HOLE}).json()
        for plane in (posted, spec["typed"]["film_plane"], spec["film_plane"])
    ]
    assert answers[0] == answers[1] == answers[2]
    assert spec["focal_length"] == answers[0]["film_plane"]["distance"]["mean"]
    assert spec["f_number"] == answers[0]["f_number"]["f_number"]
    stored: FilmPlane = CameraSpec.objects.get(camera__code="X1").as_film_plane()
    assert stored.field_of_view == FilmPlaneField().run_validation(posted).field_of_view


def test_lengths_in_inches(here: Here) -> None:
    spec = here.get("cameras/T1/?lengths=in")["spec"]
    assert spec["film_plane"]["diameter"] == {"value": 100 / 25.4, "unit": "in"}
    assert spec["hole"]["diameter"]["unit"] == spec["focal_length"]["unit"] == "in"


def test_a_nominal_focal_length(here: Here) -> None:
    body = camera_body()
    body["spec"] |= {"focal_length": "90 mm"}
    spec = here.post("cameras/", body)["spec"]
    assert (spec["focal_length"]["value"], spec["f_number"]) == (90.0, pytest.approx(300.0))
    assert spec["typed"]["focal_length"] == "90 mm"


@pytest.mark.parametrize(
    ("readings", "measured_by", "diameter"),
    [
        ([{"holes_across": 4, "span": "1 mm"}], "counted", 0.25),
        ([{"pixels": 48, "resolution": "4800 dpi"}], "scanned", 0.254),
        ([{"diameter": "0.24 mm"}], "given", 0.24),
        ([{"holes_across": 4, "span": "1 mm"}, {"diameter": "0.25 mm"}], "several", 0.25),
    ],
)
def test_how_the_hole_was_measured(here: Here, readings: Any, measured_by: str, diameter: float) -> None:
    spec = here.post("cameras/", camera_body(spec={"film_plane": FILM_PLANES["flat"], "hole": {"readings": readings}}))
    hole = spec["spec"]["hole"]
    assert (hole["measured_by"], hole["diameter"]["value"]) == (measured_by, pytest.approx(diameter))
    assert hole["uncertainty"]["value"] > 0
    assert spec["spec"]["typed"]["hole"] == {"readings": readings}


@pytest.mark.parametrize(
    ("hole", "status", "fault"),
    [
        ({}, 400, ("/spec/hole/diameter", "required")),
        (HOLE | {"readings": [{"diameter": "1 mm"}]}, 400, ("/spec/hole/diameter", "ambiguous")),
        ({"readings": []}, 400, ("/spec/hole/readings", "empty")),
        ({"readings": [{"diameter": "1 mm"}], "uncertainty": "1 µm"}, 400, ("/spec/hole/uncertainty", "unknown_key")),
        ({"diameter": "0.5 µm"}, 400, ("/spec/hole/diameter", "out_of_range")),
        ({"readings": [{"holes_across": 0.05, "span": "1 m"}]}, 422, ("/spec/hole", "f_number_range")),
        ({"diameter": "1 µm"}, 201, None),
    ],
)
def test_holes_that_are_none(here: Here, hole: Any, status: int, fault: Any) -> None:
    body = camera_body(spec={"film_plane": FILM_PLANES["flat"], "hole": hole})
    response = here.clients["member"].post(here.at + "cameras/", body)
    if fault is None:
        assert response.status_code == status
    else:
        assert faults_in(response, status) == {fault}


def test_a_film_plane_that_cannot_be(here: Here) -> None:
    spec = {"film_plane": FILM_PLANES["drum"] | {"length": "4 m"}, "hole": HOLE}
    response = here.clients["member"].post(here.at + "cameras/", camera_body(spec=spec))
    assert faults_in(response, 422) == {("/spec/film_plane/length", "strip_too_long")}
    assert here.club.cameras.count() == 1


# ------------------------------------------------------------------------------------------------------- specs


def test_a_better_measurement_is_a_new_revision(here: Here) -> None:
    here.post("cameras/", camera_body(code="K7"))
    first = here.get("cameras/K7/")["spec"]
    second = here.post("cameras/K7/specs/", CLUB["cameras/"]["spec"])
    assert second.keys() == SPEC_KEYS
    assert (second["number"], second["reason"]) == (2, "measured again")
    assert "reason" not in second["typed"]
    assert here.get("cameras/K7/specs/")["results"] == [first, second]
    now = here.get("cameras/K7/")
    assert (now["spec"], now["revision"]) == (second, 2)
    for method in ("put", "patch", "delete"):
        problem_of(getattr(here.clients["keeper"], method)(here.at + "cameras/K7/specs/"), 405)


def test_who_may_say_what_a_camera_is(here: Here, as_user: Any) -> None:
    other = MembershipFactory.create(club=here.club)
    here.post("cameras/", camera_body(code="MINE"))
    here.post("cameras/", camera_body(code="OURS", club_owned=True))
    spec = CLUB["cameras/"]["spec"]
    problem_of(as_user(other.user).post(here.at + "cameras/MINE/specs/", spec), 403)
    problem_of(here.clients["leader"].post(here.at + "cameras/MINE/specs/", spec), 403)
    assert here.post("cameras/MINE/specs/", spec)["number"] == 2
    assert here.post("cameras/MINE/specs/", spec, "keeper")["number"] == 3
    assert as_user(other.user).post(here.at + "cameras/OURS/specs/", spec).status_code == 201
