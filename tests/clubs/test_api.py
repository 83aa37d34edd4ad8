"""The club endpoints: who may do what, what comes back, and that nothing is changed in place."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import get_resolver
from rest_framework.test import APIClient

from clubs.models import CameraPhoto, Club, Invitation
from clubs.roles import MAY, Role, allows
from clubs.sheets.issuing import issue
from clubs.views import ClubView
from exposures.models import ImportBatch, NegativePicture, PaperMerge, ReceivedPacket
from pinpool.models import ApiToken
from pinpool.scopes import Scope
from tests.bodies import (
    CAMERA_CHANGE,
    CLUB,
    CORRECTION,
    DESIGN_CHANGE,
    EMBED,
    FORMS,
    LOAN,
    MAPPING,
    OTHERS,
    PACKET,
    PAPER_CHANGE,
    PICTURE,
    POOL,
    SHEET,
    WORKSHOP_CHANGE,
)
from tests.clubs.sheets.printed import of_blocks
from tests.factories import (
    AccountFactory,
    CameraSpecFactory,
    DesignFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
    PlaceExposureFactory,
    PlaceFactory,
    WorkshopFactory,
)
from tests.problems import faults_in, problem_of

BODIES = {"POST", "PUT", "PATCH"}


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
        facts = {"image": "t1.jpg", "width_pixels": 60, "height_pixels": 40}
        self.photo = CameraPhoto.objects.create(camera=self.spec.camera, **facts)
        self.photo.image.save("t1.jpg", ContentFile(PICTURE))
        self.paper = PaperFactory.create(club=self.club)
        self.log = ExposureLogFactory.create(spec=self.spec, paper=self.paper)
        negative = NegativePicture(log=self.log, width_pixels=60, height_pixels=40)
        negative.image.save("n.jpg", ContentFile(PICTURE))
        for name in ("Cordgrass", "Cord Grass", "Samphire"):
            PaperFactory.create(club=self.club, name=name)
        keys = {"key": "samphire|graded paper", "into_key": "cordgrass|graded paper"}
        self.merge = PaperMerge.objects.create(club=self.club, **keys)
        facts = {"source": "elsewhere", "packet_revision": 1, "checksum": "", "content": PACKET, "logs": 4}
        self.packet = ReceivedPacket.objects.create(club=self.club, **facts)
        self.design = DesignFactory.create(club=self.club)
        self.workshop = WorkshopFactory.create(club=self.club, design=self.design, paper=self.paper)
        self.place = PlaceFactory.create(workshop=self.workshop, number=1, hole_diameter_mm=0.36,
                                         hole_uncertainty_mm=0.01, hole_measured_by="given", typed={})  # fmt: skip
        self.noted = PlaceExposureFactory.create(place=self.place)
        self.printed = issue(actor=self.members["keeper"], document=of_blocks({"kind": "fold"}))
        self.at = f"/api/v1/clubs/{self.club.slug}/"
        self.sheet = FORMS["imports/"] | {"file": SimpleUploadedFile("cameras.csv", SHEET)}
        sent = self.clients["keeper"].post(self.at + "imports/", self.sheet, format="multipart")
        self.batch = ImportBatch.objects.get(pk=sent.json()["id"])
        self.bodies = {path: body | ({"paper": str(self.paper.id)} if "paper" in body else {})
                       for path, body in CLUB.items()}  # fmt: skip
        self.bodies["workshops/"] |= {"design": self.design.pk}
        workshop = f"workshops/{self.workshop.pk}/"
        self.bodies |= {
            workshop: WORKSHOP_CHANGE, f"{workshop}closing/": {}, f"{workshop}places/1/code/": {},
            f"{workshop}sheets/": CLUB["workshops/<int:number>/sheets/"],
        }  # fmt: skip
        self.bodies |= {"cameras/T1/specs/": CLUB["cameras/"]["spec"], "packets/": PACKET, "pool/": POOL}
        self.bodies["embed/"] = EMBED
        self.bodies |= {
            f"papers/{self.paper.id}/": PAPER_CHANGE,
            "exposures/bulk/": [self.bodies["exposures/"]],
            f"exposures/{self.log.id}/corrections/": CORRECTION | {"paper": str(self.paper.id)},
        }
        self.bodies |= {
            "cameras/T1/sheets/": OTHERS["cameras/<slug:code>/sheets/"],
            f"designs/{self.design.pk}/": DESIGN_CHANGE,
            f"designs/{self.design.pk}/sheets/": OTHERS["designs/<int:number>/sheets/"],
        }
        batch = f"imports/{self.batch.pk}/"
        self.bodies |= {batch: MAPPING, f"{batch}apply/": {"rows": "good"}, f"{batch}undo/": {}, "imports/": self.sheet}
        self.bodies |= {
            f"members/{self.other.pk}/": {"role": "leader"},
            "": {"name": "Creek Walkers"},
            "cameras/T1/": CAMERA_CHANGE,
            "cameras/T1/photos/": FORMS["cameras/<slug:code>/photos/"]
            | {"image": SimpleUploadedFile("t.jpg", PICTURE)},
            f"cameras/T1/photos/{self.photo.id}/": {"caption": "the lid"},
            f"exposures/{self.log.id}/picture/": {"image": SimpleUploadedFile("n.jpg", PICTURE)},
            "cameras/T1/loan/": LOAN | {"to": self.members["guest"].user.get_username()},
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
    things = {
        "cameras/": here.photo, "exposures/": here.log, "papers/": here.paper, "packets/": here.packet,
        "imports/": here.batch, "sheets/": here.printed,
    }  # fmt: skip
    thing = getattr(things.get(route.partition("/")[0] + "/"), "id", "")
    numbered = {"members/": here.other.pk, "invitations/": here.invitation.pk, "cameras/": here.spec.number,
                "workshops/": here.workshop.pk, "designs/": here.design.pk, "sheets/": 1}  # fmt: skip
    number = numbered.get(route.partition("/")[0] + "/", here.merge.pk)
    known = {"<slug:code>": "T1", "<uuid:id>": str(thing), "<int:number>": str(number), "<int:place>": "1"}
    for name, value in known.items():
        route = route.replace(name, value)
    return here.at + route + {"comparison/": "?by=camera", "export/": "?what=papers"}.get(route, "")


def whose(route: str) -> Any:
    """To whom the thing at a route belongs: the camera to the club, a log to somebody else."""
    return {"cameras": "clubs", "exposures": "others", "designs": "others"}.get(route.partition("/")[0], "own")


def form_of(body: Any) -> dict[str, str]:
    """How to send a body: with a file in it as a form, the file from its beginning."""
    files = [value for value in body.values() if hasattr(value, "seek")] if isinstance(body, dict) else []
    for file in files:
        file.seek(0)
    return {"format": "multipart"} if files else {}


def answers_to(action: str) -> set[int]:
    """What whoever may do it is told; this club has other members, so it stays."""
    return {409} if action == "close_club" else {200, 201}


# -------------------------------------------------------------------------------------------------- permission


def test_every_action_belongs_to_a_call() -> None:
    """In which role a claim code lets somebody join is one key of a workshop, and asks for a role of its own."""
    assert {action for _, _, action in club_calls()} | {"let_join"} == set(MAY)


@pytest.mark.parametrize("role", ["guest", "member", "leader", "keeper"])
def test_what_a_role_may(here: Here, role: str) -> None:
    """Every call inside a club is answered or refused just as `clubs.roles.MAY` says."""
    AccountFactory.create(username="walker")
    here.batch.made_by = here.members[role].user  # or only a keeper would see it
    here.batch.save()
    for route, method, action in sorted(club_calls(), key=lambda call: call[2] == "leave_club"):  # which ends all else
        at = address(here, route)
        body = here.bodies[at.removeprefix(here.at)] if method in BODIES else None
        headers = {"If-Match": "*"} if method != "GET" else {}
        form = form_of(body)
        response = getattr(here.clients[role], method.lower())(at, body, headers=headers, **form)
        if allows(role, action, whose=whose(route)):
            assert response.status_code in answers_to(action), (method, at, response.content)
        else:
            detail = problem_of(response, 403)["detail"]
            assert allows(role, action) or detail == f"A {role} of this club may not {MAY[action].doing}."


@pytest.mark.parametrize("scope", Scope.values)
def test_what_a_token_may(here: Here, scope: str) -> None:
    """A keeper's token of each scope: every call is answered or refused just as `clubs.roles.MAY` says."""
    AccountFactory.create(username="walker")
    _, secret = ApiToken.issue(user=here.members["keeper"].user, name="walk", scope=scope)
    client = APIClient(headers={"Authorization": f"Bearer {secret}"})
    client.default_format = "json"
    for route, method, action in sorted(club_calls(), key=lambda call: call[2] == "leave_club"):
        at = address(here, route)
        body = here.bodies[at.removeprefix(here.at)] if method in BODIES else None
        headers = {"If-Match": "*"} if method != "GET" else {}
        response = getattr(client, method.lower())(at, body, headers=headers, **form_of(body))
        needed = MAY[action].scope
        if Scope.values.index(scope) >= Scope.values.index(needed):
            assert response.status_code in answers_to(action), (method, at, response.content)
        else:
            detail = problem_of(response, 403)["detail"]
            assert detail == f"This token's scope is “{scope}”; this takes “{needed}”."


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
    assert club.keys() == {"slug", "name", "plugins", "created_at", "revision"}
    assert (club["slug"], club["name"], club["revision"]) == ("creek-walkers", "Creek Walkers", 1)
    [member] = client.get("/api/v1/clubs/creek-walkers/members/").json()["results"]
    assert (member["username"], member["role"]) == (user.get_username(), "keeper")
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
    "slug", ["", "import-archive", "Creek", "creek_1", "-creek", "creek-", "a--b", "creek walkers", "crêek", "a" * 41]
)
def test_short_names_that_are_none(as_user: Any, slug: str) -> None:
    assert {at for at, _ in faults_in(as_user().post("/api/v1/clubs/", {"slug": slug, "name": "Creek"}))} == {"/slug"}


@pytest.mark.parametrize("name", ["", "   ", "a" * 101, "a\x07b", "a\rb"])
def test_names_that_are_none(as_user: Any, name: str) -> None:
    assert {at for at, _ in faults_in(as_user().post("/api/v1/clubs/", {"slug": "creek", "name": name}))} == {"/name"}


def test_a_pasted_tab_is_a_space(as_user: Any) -> None:
    made = as_user().post("/api/v1/clubs/", {"slug": "creek", "name": "Creek\twalkers"})
    assert made.json()["name"] == "Creek walkers"


def test_a_club_gets_another_name(here: Here) -> None:
    client, name = here.clients["keeper"], "<script>alert(1)</script>"
    problem_of(client.patch(here.at, {"name": name}), 428)
    changed = client.patch(here.at, {"name": name}, headers={"If-Match": '"r1"'})
    assert (changed.json()["name"], changed["ETag"]) == (name, '"r2"')
    assert here.get("")["name"] == name
    problem_of(client.patch(here.at, {"name": "Creek"}, headers={"If-Match": '"r1"'}), 412)
    entry = here.club.trail.get(action="change_club")
    assert (entry.before, entry.after) == ({"name": here.club.name}, {"name": name})
    for body in ({"slug": "mine"}, {"revision": 9}, {"name": "Creek", "created_at": "2020-01-01T00:00:00Z"}):
        assert "unknown_key" in {code for _, code in faults_in(client.patch(here.at, body, headers={"If-Match": "*"}))}


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
