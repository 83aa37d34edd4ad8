"""Members: roles changed, memberships ended by keepers, by leaving and with an account; and that a keeper is left."""

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.http import Http404
from rest_framework.exceptions import PermissionDenied
from rest_framework.test import APIClient

from clubs.members import change_role, club_held
from clubs.models import Camera, CameraPhoto, Club, IssuedSheet, Membership, TrailEntry
from pinpool.http.etags import Expected
from pinpool.models import ApiToken
from tests.accounts import PASSWORD, Statements
from tests.factories import AccountFactory, CameraSpecFactory, ClubFactory, DesignFactory, MembershipFactory
from tests.problems import faults_in, problem_of

pytestmark = pytest.mark.django_db
ANY = {"If-Match": "*"}


@pytest.fixture
def keeper() -> Membership:
    user = AccountFactory.create(username="ada")
    user.set_password(PASSWORD)
    user.save()
    return MembershipFactory.create(user=user, role="keeper", club__slug="creek", club__name="Creek Walkers")


@pytest.fixture
def walker(keeper: Membership) -> Membership:
    return MembershipFactory.create(club=keeper.club, user__username="walker")


@pytest.fixture
def client(keeper: Membership, as_user: Any) -> APIClient:
    return as_user(keeper.user)


def at(member: Membership) -> str:
    return f"/api/v1/clubs/{member.club.slug}/members/{member.pk}/"


def mine(member: Membership) -> str:
    return f"/api/v1/clubs/{member.club.slug}/membership/"


def delete_account(client: APIClient) -> Any:
    return client.post("/api/v1/accounts/me/deletion/", {"password": PASSWORD})


# --------------------------------------------------------------------------------------------------------- added


def test_fishing_for_names_of_accounts_ends(client: APIClient, settings: Any) -> None:
    """Anybody can keep a club: names that are none are counted, real ones are not."""
    settings.PINPOOL = {"MEMBER_TRIES_PER_ACCOUNT": (2, 900)}
    for name in ("finn", "edith"):
        AccountFactory.create(username=name)
    members = "/api/v1/clubs/creek/members/"
    names = ("finn", "nobody", "edith", "no one", "finn")
    told = [client.post(members, {"username": name, "role": "guest"}).status_code for name in names]
    assert told == [201, 422, 201, 422, 429]
    entries = TrailEntry.objects.order_by("pk").values_list("action", "subject", "after")
    assert list(entries) == [("add_member", f"member {name}", {"role": "guest"}) for name in ("finn", "edith")]


# --------------------------------------------------------------------------------------------------------- roles


def test_another_role(client: APIClient, walker: Membership) -> None:
    shown = client.get(at(walker))
    assert shown.json().keys() == {"id", "username", "role", "joined_at", "revision"}
    changed = client.patch(at(walker), {"role": "leader"}, headers={"If-Match": shown["ETag"]})
    assert changed.json() == shown.json() | {"role": "leader", "revision": 2}
    assert client.get(at(walker)).json() == changed.json()
    problem_of(client.patch(at(walker), {"role": "guest"}, headers={"If-Match": shown["ETag"]}), 412)
    problem_of(client.patch(at(walker), {"role": "guest"}), 428)
    problem_of(client.delete(at(walker)), 428)
    entry = TrailEntry.objects.get()
    assert (entry.actor_name, entry.action, entry.subject) == ("ada", "change_role", "member walker")
    assert (entry.before, entry.after) == ({"role": "member"}, {"role": "leader"})


@pytest.mark.parametrize(
    ("body", "fault"),
    [({}, ("/role", "required")), ({"role": "owner"}, ("/role", "invalid_choice")),
     ({"role": "guest", "club": "marsh"}, ("/club", "unknown_key")),
     ({"role": "guest", "user": 1}, ("/user", "unknown_key")), ({"role": ["keeper"]}, ("/role", "invalid_choice"))],
)  # fmt: skip
def test_bodies_that_are_none(client: APIClient, walker: Membership, body: Any, fault: Any) -> None:
    assert faults_in(client.patch(at(walker), body, headers=ANY)) == {fault}
    walker.refresh_from_db()
    assert (walker.role, walker.revision) == ("member", 1)


def test_members_of_other_clubs_are_not_there(client: APIClient, walker: Membership, keeper: Membership) -> None:
    elsewhere = MembershipFactory.create(club__slug="marsh")
    for number in (elsewhere.pk, 0, 10**30):
        address = f"/api/v1/clubs/creek/members/{number}/"
        for response in (
            client.get(address), client.patch(address, {"role": "keeper"}, headers=ANY),
            client.delete(address, headers=ANY),
        ):  # fmt: skip
            problem_of(response, 404)
    assert Membership.objects.filter(pk=elsewhere.pk, role="member").exists()


def test_nobody_makes_themselves_more(walker: Membership, as_user: Any) -> None:
    problem_of(as_user(walker.user).patch(at(walker), {"role": "keeper"}, headers=ANY), 403)
    _, secret = ApiToken.issue(user=walker.user, name="phone", scope="log")
    phone = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    assert phone.get(mine(walker)).json()["role"] == "member"
    problem_of(phone.delete(mine(walker), headers=ANY), 403)


def test_a_role_lost_meanwhile_counts(keeper: Membership, walker: Membership) -> None:
    """Who was a keeper when the request came in, and is none when it is its turn, changes nothing any more."""
    stale = MembershipFactory.create(club=keeper.club, role="keeper")
    Membership.objects.filter(pk=stale.pk).update(role="member")
    with pytest.raises(PermissionDenied):
        change_role(actor=stale, number=walker.pk, role="keeper", expected=Expected(frozenset("*")))
    Membership.objects.filter(pk=stale.pk).delete()
    with pytest.raises(Http404), club_held(stale, "change_role"):
        pytest.fail("not run")


# ------------------------------------------------------------------------------------------- removed and leaving


def test_removing_a_member(client: APIClient, walker: Membership, as_user: Any) -> None:
    spec = CameraSpecFactory.create(camera__club=walker.club, camera__owner=walker.user)
    removed = client.delete(at(walker), headers={"If-Match": '"r1"'})
    assert removed.json()["username"] == "walker"
    problem_of(client.get(at(walker)), 404)
    problem_of(as_user(walker.user).get("/api/v1/clubs/creek/"), 404)
    assert Camera.objects.get(pk=spec.camera_id).owner == walker.user
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.subject, entry.before) == ("remove_member", "member walker", {"role": "member"})
    problem_of(client.delete(at(walker), headers=ANY), 404)


def test_leaving(walker: Membership, as_user: Any) -> None:
    client = as_user(walker.user)
    shown = client.get(mine(walker))
    assert (shown.json()["username"], shown.json()["role"]) == ("walker", "member")
    problem_of(client.delete(mine(walker)), 428)
    assert client.delete(mine(walker), headers={"If-Match": shown["ETag"]}).json() == shown.json()
    problem_of(client.get(mine(walker)), 404)
    assert TrailEntry.objects.get().action == "leave_club"


# ------------------------------------------------------------------------------------------------- a keeper is left


@pytest.mark.parametrize("way", ["change", "remove", "leave", "delete"])
def test_the_last_keeper_stays(client: APIClient, keeper: Membership, walker: Membership, way: str) -> None:
    """And is told what to do; once another keeper is there, all of it can be done."""
    ways = {
        "change": lambda: client.patch(at(keeper), {"role": "leader"}, headers=ANY),
        "remove": lambda: client.delete(at(keeper), headers=ANY),
        "leave": lambda: client.delete(mine(keeper), headers=ANY),
        "delete": lambda: delete_account(client),
    }
    detail = problem_of(ways[way](), 409)["detail"]
    assert detail == "ada is the only keeper of Creek Walkers. Make another member its keeper first."
    assert Membership.objects.filter(pk=keeper.pk, role="keeper", revision=1).exists()
    assert get_user_model().objects.filter(username="ada").exists()
    assert not TrailEntry.objects.exists()
    assert client.patch(at(walker), {"role": "keeper"}, headers=ANY).status_code == 200
    assert ways[way]().status_code == 200


def test_a_keeper_that_is_given_the_same_role_stays(client: APIClient, keeper: Membership) -> None:
    assert client.patch(at(keeper), {"role": "keeper"}, headers=ANY).status_code == 200


def test_a_refusal_of_one_club_keeps_the_account_in_all(client: APIClient, keeper: Membership) -> None:
    first = MembershipFactory.create(user=keeper.user, club=ClubFactory.create(slug="aaa"))
    problem_of(delete_account(client), 409)
    assert Membership.objects.filter(pk=first.pk).exists()


# ----------------------------------------------------------------------------------------------- a deleted account


def test_what_a_deleted_account_leaves(walker: Membership, keeper: Membership, as_user: Any) -> None:
    """Cameras are the club's, and what they lent shows that somebody has it; every change of it shows by its tag."""
    walker.user.set_password(PASSWORD)
    walker.user.save()
    owned = CameraSpecFactory.create(camera__club=walker.club, camera__owner=walker.user, author=walker.user).camera
    lent = CameraSpecFactory.create(camera__club=walker.club, camera__lent_to=walker.user).camera
    Camera.objects.filter(pk=lent.pk).update(lent_until="2099-01-01")
    TrailEntry.objects.create(club=walker.club, actor=walker.user, actor_name="walker", action="a", subject="b")
    assert delete_account(as_user(walker.user)).status_code == 200
    for camera in (owned, lent):
        camera.refresh_from_db()
        assert (camera.owner, camera.lent_to, camera.revision) == (None, None, 2)
    assert owned.spec.author is None
    assert not Membership.objects.filter(pk=walker.pk).exists()
    told = list(TrailEntry.objects.order_by("pk").values_list("actor", "actor_name", "action", "subject"))
    assert told == [(None, "walker", "a", "b"), (None, "walker", "leave_club", "member walker")]
    assert Club.objects.filter(pk=walker.club_id).exists()


def test_one_s_own_data_of_clubs(walker: Membership, as_user: Any) -> None:
    spec = CameraSpecFactory.create(camera__club=walker.club, camera__owner=walker.user, author=walker.user)
    CameraSpecFactory.create(camera__club=walker.club)
    TrailEntry.objects.create(club=walker.club, actor=walker.user, actor_name="walker", action="a", subject="b")
    TrailEntry.objects.create(club=walker.club, actor=None, actor_name="other", action="a", subject="b")
    parts = as_user(walker.user).get("/api/v1/accounts/me/data/").json()["parts"]
    [membership], [camera], [measured], [change] = (
        parts[name] for name in ("memberships", "cameras", "specs", "changes")
    )
    assert (membership["club"], membership["club_name"], membership["role"]) == ("creek", "Creek Walkers", "member")
    assert (camera["club"], camera["code"], camera["owner"]) == ("creek", spec.camera.code, "walker")
    assert (measured["camera"], measured["number"]) == (spec.camera.code, 1)
    assert (change["club"], change["action"]) == ("creek", "a")


def test_the_designs_that_one_saved_are_listed(walker: Membership, as_user: Any) -> None:
    for author in (walker.user, MembershipFactory.create(club=walker.club).user):
        DesignFactory.create(club=walker.club, author=author, name=f"Drum of {author.pk}")
    [design] = as_user(walker.user).get("/api/v1/accounts/me/data/").json()["parts"]["designs"]
    assert (design["club"], design["name"]) == ("creek", f"Drum of {walker.user.pk}")
    assert design["film_plane"]


def test_photos_and_printed_sheets_are_listed(walker: Membership, as_user: Any) -> None:
    """One's own alone, whosever the camera."""
    camera = CameraSpecFactory.create(camera__club=walker.club, camera__code="T1").camera
    for number, user in enumerate((walker.user, MembershipFactory.create(club=walker.club).user), 1):
        facts = {"image": "t1.jpg", "width_pixels": 60, "height_pixels": 40, "caption": f"lid {number}"}
        CameraPhoto.objects.create(camera=camera, added_by=user, **facts)
        facts = {"kind": "camera", "subject": "camera T1", "action": "read_sheets", "data": {}, "digest": ""}
        IssuedSheet.objects.create(club=walker.club, number=number, issued_by=user, **facts)
    parts = as_user(walker.user).get("/api/v1/accounts/me/data/").json()["parts"]
    [photo], [sheet] = parts["photos"], parts["sheets"]
    assert (photo["club"], photo["camera"], photo["caption"], photo["width_pixels"]) == ("creek", "T1", "lid 1", 60)
    assert (sheet["club"], sheet["number"], sheet["kind"], sheet["subject"]) == ("creek", 1, "camera", "camera T1")
    assert "data" not in sheet  # it may hold what was others' to hand out


def test_one_s_own_data_costs_the_same_however_much(walker: Membership, as_user: Any) -> None:
    client, counts = as_user(walker.user), []
    for more in (2, 30):
        for _ in range(more):
            CameraSpecFactory.create(camera__club=walker.club, camera__owner=walker.user, author=walker.user)
            DesignFactory.create(club=walker.club, author=walker.user)
        with Statements() as ran:
            assert len(client.get("/api/v1/accounts/me/data/").json()["parts"]["cameras"]) >= more
        counts.append(ran.count)
    assert counts[0] == counts[1]


def test_a_list_of_members_costs_the_same_however_long(client: APIClient, keeper: Membership) -> None:
    counts = []
    for more in (2, 60):
        MembershipFactory.create_batch(more, club=keeper.club)
        with Statements() as ran:
            assert len(client.get("/api/v1/clubs/creek/members/?page_size=200").json()["results"]) > more
        counts.append(ran.count)
    assert counts[0] == counts[1]
