"""The club endpoints: who may do what, what comes back, and that nothing is changed in place."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.urls import get_resolver
from rest_framework.test import APIClient

from clubs.models import CameraSpec, Club, Invitation
from clubs.roles import MAY, Role, allows
from clubs.views import ClubView
from exposures.models import PaperMerge, ReceivedPacket
from optics.core.film_planes import FilmPlane
from optics.inputs import FilmPlaneField
from tests.bodies import CAMERA_CHANGE, CLUB, CORRECTION, FILM_PLANES, HOLE, LOAN, PACKET, PAPER_CHANGE, POOL
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

BODIES = {"POST", "PUT", "PATCH"}
CAMERA_KEYS = {"code", "name", "owner", "note", "loan", "registered_at", "retired_at", "revision", "spec"}
SPEC_KEYS = {"number", "film_plane", "hole", "focal_length", "f_number", "typed", "reason", "author", "created_at"}


class Here:
    """A club with a camera, a paper and a log, and clients of every role in it."""

    def __init__(self, as_user: Any) -> None:
        self.members = {role.name.lower(): MembershipFactory.create(role="keeper") for role in [Role.KEEPER]}
        self.club = self.members["keeper"].club
        for role in ("guest", "member", "leader"):
            self.members[role] = MembershipFactory.create(club=self.club, role=role)
        self.clients = {role: as_user(member.user) for role, member in self.members.items()}
        MembershipFactory.create(club=self.club, role="keeper")  # or the other could not leave
        self.other = MembershipFactory.create(club=self.club)
        facts = {"code": "ACDE347HJK", "role": "guest", "expires_at": datetime(2099, 1, 1, tzinfo=UTC)}
        self.invitation = Invitation.objects.create(club=self.club, **facts)
        self.spec = CameraSpecFactory.create(camera__club=self.club, camera__code="T1")
        self.paper = PaperFactory.create(club=self.club)
        self.log = ExposureLogFactory.create(spec=self.spec, paper=self.paper)
        for name in ("Cordgrass", "Cord Grass", "Samphire"):
            PaperFactory.create(club=self.club, name=name)
        keys = {"key": "samphire|graded paper", "into_key": "cordgrass|graded paper"}
        self.merge = PaperMerge.objects.create(club=self.club, **keys)
        facts = {"source": "elsewhere", "packet_revision": 1, "checksum": "", "content": PACKET, "logs": 4}
        self.packet = ReceivedPacket.objects.create(club=self.club, **facts)
        self.at = f"/api/v1/clubs/{self.club.slug}/"
        self.bodies = {path: body | ({"paper": str(self.paper.id)} if "paper" in body else {})
                       for path, body in CLUB.items()}  # fmt: skip
        self.bodies |= {"cameras/T1/specs/": CLUB["cameras/"]["spec"], "packets/": PACKET, "pool/": POOL}
        self.bodies |= {
            f"papers/{self.paper.id}/": PAPER_CHANGE,
            "exposures/bulk/": [self.bodies["exposures/"]],
            f"exposures/{self.log.id}/corrections/": CORRECTION | {"paper": str(self.paper.id)},
        }
        self.bodies |= {
            f"members/{self.other.pk}/": {"role": "leader"},
            "cameras/T1/": CAMERA_CHANGE,
            "cameras/T1/loan/": LOAN | {"to": self.members["guest"].user.username},
        }

    def post(self, path: str, body: Any, role: str = "member", status: int = 201) -> Any:
        response = self.clients[role].post(self.at + path, body)
        assert response.status_code == status, response.content
        return response.json()

    def get(self, path: str, role: str = "guest") -> Any:
        response = self.clients[role].get(self.at + path)
        assert response.status_code == 200, response.content
        return response.json()


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


def club_calls() -> list[tuple[str, str, str]]:
    """(path below the club, method, action of MAY) of every view inside a club, from the routes themselves."""
    calls = []
    for route, view in routes(get_resolver()):
        inside = issubclass(getattr(view, "cls", object), ClubView)
        for method, action in view.cls.actions.items() if inside else ():
            calls.append((route.partition("<slug:club>/")[2], method, action))
    return calls


def routes(resolver: Any, before: str = "") -> Any:
    for pattern in resolver.url_patterns:
        route = before + str(pattern.pattern)
        if hasattr(pattern, "url_patterns"):
            yield from routes(pattern, route)
        else:
            yield route, pattern.callback


def address(here: Here, route: str) -> str:
    things = {"exposures/": here.log.id, "papers/": here.paper.id, "packets/": here.packet.id}
    thing = things.get(route.partition("/")[0] + "/", "")
    numbered = {"members/": here.other, "invitations/": here.invitation}
    number = numbered.get(route.partition("/")[0] + "/", here.merge).pk
    known = {"<slug:code>": "T1", "<uuid:id>": str(thing), "<int:number>": str(number)}
    for name, value in known.items():
        route = route.replace(name, value)
    return here.at + route + ("?by=camera" if route == "comparison/" else "")


def whose(route: str) -> Any:
    """To whom the thing at a route belongs: the camera to the club, a log to somebody else."""
    return {"cameras": "clubs", "exposures": "others"}.get(route.partition("/")[0], "own")


# -------------------------------------------------------------------------------------------------- permission


def test_every_action_belongs_to_a_call() -> None:
    assert {action for _, _, action in club_calls()} == set(MAY)


@pytest.mark.parametrize("role", ["guest", "member", "leader", "keeper"])
def test_what_a_role_may(here: Here, role: str) -> None:
    """Every call inside a club is answered or refused just as `clubs.roles.MAY` says."""
    AccountFactory.create(username="walker")
    for route, method, action in sorted(club_calls(), key=lambda call: call[2] == "leave_club"):  # which ends all else
        at = address(here, route)
        body = here.bodies[at.removeprefix(here.at)] if method in BODIES else None
        headers = {"If-Match": "*"} if method in {"PUT", "PATCH", "DELETE"} else {}
        response = getattr(here.clients[role], method.lower())(at, body, headers=headers)
        if allows(role, action, whose=whose(route)):
            assert response.status_code in {200, 201}, (method, at, response.content)
        else:
            detail = problem_of(response, 403)["detail"]
            assert allows(role, action) or detail == f"A {role} of this club may not {action.replace('_', ' ')}."


def test_strangers_meet_nothing(here: Here, as_user: Any, api: APIClient) -> None:
    """404 to whoever is outside, 401 to whoever did not say who they are; also with a body full of faults."""
    keeper_elsewhere = as_user(MembershipFactory.create(role="keeper").user)
    for route, method, _ in club_calls():
        at = address(here, route)
        for body in (None, {"colour": 1}) if method in BODIES else (None,):
            problem_of(getattr(keeper_elsewhere, method.lower())(at, body), 404)
            response = getattr(api, method.lower())(at, body)
            problem_of(response, 401)
            assert response["WWW-Authenticate"] == "Bearer"


def test_another_clubs_things_are_not_found_in_mine(here: Here) -> None:
    other = ExposureLogFactory.create()
    client = here.clients["keeper"]
    for path in (
        f"cameras/{other.spec.camera.code}/", f"cameras/{other.spec.camera.code}/specs/", f"papers/{other.paper.id}/",
        f"exposures/{other.id}/", "cameras/NONE/", "papers/00000000-0000-0000-0000-000000000000/",
    ):  # fmt: skip
        problem_of(client.get(here.at + path), 404)


def test_leaving_a_club_ends_it(here: Here) -> None:
    here.members["member"].delete()
    problem_of(here.clients["member"].get(here.at), 404)


# ------------------------------------------------------------------------------------------------------- clubs


def test_founding_a_club(as_user: Any) -> None:
    user = AccountFactory.create()
    client = as_user(user)
    response = client.post("/api/v1/clubs/", {"slug": "creek-walkers", "name": " Creek Walkers "})
    assert response.status_code == 201
    club = response.json()
    assert club.keys() == {"slug", "name", "created_at", "revision"}
    assert (club["slug"], club["name"], club["revision"]) == ("creek-walkers", "Creek Walkers", 1)
    [member] = client.get("/api/v1/clubs/creek-walkers/members/").json()["results"]
    assert (member["username"], member["role"]) == (user.username, "keeper")
    assert client.get("/api/v1/clubs/creek-walkers/").json() == club


def test_i_see_my_clubs_alone(here: Here, as_user: Any) -> None:
    MembershipFactory.create()
    listed = here.clients["guest"].get("/api/v1/clubs/").json()["results"]
    assert [club["slug"] for club in listed] == [here.club.slug]
    assert as_user().get("/api/v1/clubs/").json() == {"next": None, "previous": None, "results": []}


def test_a_short_name_is_taken_once(here: Here) -> None:
    response = here.clients["guest"].post("/api/v1/clubs/", {"slug": here.club.slug, "name": "Mine"})
    assert here.club.slug in problem_of(response, 409)["detail"]
    assert Club.objects.count() == 1


@pytest.mark.parametrize(
    "slug", ["", "Creek", "creek_1", "-creek", "creek-", "a--b", "creek walkers", "crêek", "a" * 41]
)
def test_short_names_that_are_none(as_user: Any, slug: str) -> None:
    assert {at for at, _ in faults_in(as_user().post("/api/v1/clubs/", {"slug": slug, "name": "Creek"}))} == {"/slug"}


@pytest.mark.parametrize("name", ["", "   ", "a" * 101, "a\x07b", "a\rb"])
def test_names_that_are_none(as_user: Any, name: str) -> None:
    assert {at for at, _ in faults_in(as_user().post("/api/v1/clubs/", {"slug": "creek", "name": name}))} == {"/name"}


def test_a_pasted_tab_is_a_space(as_user: Any) -> None:
    made = as_user().post("/api/v1/clubs/", {"slug": "creek", "name": "Creek\twalkers"})
    assert made.json()["name"] == "Creek walkers"


# ----------------------------------------------------------------------------------------------------- members


def test_adding_a_member(here: Here) -> None:
    walker = AccountFactory.create(username="walker")
    added = here.post("members/", {"username": "walker", "role": "leader"}, "keeper")
    assert added.keys() == {"id", "username", "role", "joined_at", "revision"}
    assert (added["username"], added["role"]) == ("walker", "leader")
    assert walker.pinpool_memberships.get().club == here.club
    problem_of(here.clients["keeper"].post(here.at + "members/", {"username": "walker", "role": "guest"}), 409)
    assert walker.pinpool_memberships.get().role == "leader"


def test_an_account_that_does_not_exist(here: Here) -> None:
    response = here.clients["keeper"].post(here.at + "members/", {"username": "nobody", "role": "guest"})
    assert faults_in(response, 422) == {("/username", "unknown_account")}


# ----------------------------------------------------------------------------------------------------- cameras


def camera_body(**more: Any) -> dict[str, Any]:
    return {"name": "Biscuit tin", "spec": {"film_plane": FILM_PLANES["drum"], "hole": HOLE}} | more


def test_registering_a_camera(here: Here) -> None:
    camera = here.post("cameras/", camera_body(code="k-7"))
    assert camera.keys() == CAMERA_KEYS
    assert camera["spec"].keys() == SPEC_KEYS
    assert (camera["code"], camera["revision"], camera["spec"]["number"]) == ("K-7", 1, 1)
    assert camera["owner"] == camera["spec"]["author"] == here.members["member"].user.username
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
