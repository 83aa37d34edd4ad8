"""Invitations: made and withdrawn by keepers, redeemed by whoever has the code, and of no use to whoever guesses."""

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from rest_framework.test import APIClient

from clubs.codes import ALPHABET
from clubs.models import Invitation, Membership, TrailEntry
from pinpool.models import ApiToken
from tests.accounts import PASSWORD, Statements, session_of
from tests.factories import AccountFactory, MembershipFactory
from tests.problems import faults_in, problem_of

pytestmark = pytest.mark.django_db
CODES = "/api/v1/invitations/"
AT = "/api/v1/clubs/creek/invitations/"
NEWCOMER = {"username": "newcomer", "email": "newcomer@creek.example", "password": PASSWORD}


@pytest.fixture
def keeper() -> Membership:
    return MembershipFactory.create(role="keeper", club__slug="creek", club__name="Creek Walkers")


@pytest.fixture
def client(keeper: Membership, as_user: Any) -> APIClient:
    return as_user(keeper.user)


@pytest.fixture
def invitation(keeper: Membership) -> Invitation:
    ends = timezone.now() + timedelta(days=7)
    return Invitation.objects.create(club=keeper.club, code="ACDE347HJK", role="member", expires_at=ends)


def accept(client: APIClient, code: str = "ACDE347HJK", body: Any = None, **more: Any) -> Any:
    return client.post(f"{CODES}{code}/accept/", body or {}, **more)


# ---------------------------------------------------------------------------------------------------- by keepers


def test_making_one(client: APIClient, keeper: Membership) -> None:
    body = {"role": "leader", "note": "for Finn", "uses": 3, "days": 14}
    response = client.post(AT, body)
    assert response.status_code == 201
    made = response.json()
    assert made.keys() == {"id", "code", "role", "note", "uses", "used", "expires_at", "withdrawn_at", "made_by",
                           "made_at", "revision"}  # fmt: skip
    assert (made["role"], made["note"], made["uses"], made["used"]) == ("leader", "for Finn", 3, 0)
    assert len(made["code"]) == 10
    assert set(made["code"]) <= set(ALPHABET)
    stored = Invitation.objects.get()
    assert abs(stored.expires_at - timezone.now() - timedelta(days=14)) < timedelta(minutes=1)
    assert client.get(f"{AT}{made['id']}/").json() == client.get(AT).json()["results"][0] == made
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.actor) == ("invite", keeper.user)
    assert made["code"] not in f"{entry.subject} {entry.after}"


def test_withdrawing_one(client: APIClient, invitation: Invitation, api: APIClient) -> None:
    at = f"{AT}{invitation.pk}/"
    problem_of(client.delete(at), 428)
    problem_of(client.delete(at, headers={"If-Match": '"r2"'}), 412)
    withdrawn = client.delete(at, headers={"If-Match": client.get(at)["ETag"]}).json()
    assert withdrawn["withdrawn_at"] is not None
    assert withdrawn["revision"] == 2
    problem_of(client.delete(at, headers={"If-Match": "*"}), 409)
    problem_of(api.get(f"{CODES}{invitation.code}/"), 404)
    assert client.get(at).json() == withdrawn
    assert TrailEntry.objects.get().action == "withdraw_invitation"


@pytest.mark.parametrize(
    ("change", "fault"),
    [({"role": "owner"}, ("/role", "invalid_choice")), ({"uses": 0}, ("/uses", "min_value")),
     ({"uses": 1001}, ("/uses", "max_value")), ({"days": 0}, ("/days", "min_value")),
     ({"days": 367}, ("/days", "max_value")), ({"days": 10**40}, ("/days", "max_value")),
     ({"code": "AAAAAAAAAA"}, ("/code", "unknown_key")), ({"used": -5}, ("/used", "unknown_key")),
     ({"club": "marsh"}, ("/club", "unknown_key")), ({"note": "x" * 201}, ("/note", "max_length"))],
)  # fmt: skip
def test_invitations_that_are_none(client: APIClient, change: Any, fault: Any) -> None:
    assert faults_in(client.post(AT, {"role": "guest", "days": 7} | change)) == {fault}


def test_invitations_of_other_clubs_are_not_there(client: APIClient, invitation: Invitation, as_user: Any) -> None:
    elsewhere = as_user(MembershipFactory.create(role="keeper", club__slug="marsh").user)
    at = f"/api/v1/clubs/marsh/invitations/{invitation.pk}/"
    problem_of(elsewhere.get(at), 404)
    problem_of(elsewhere.delete(at, headers={"If-Match": "*"}), 404)
    problem_of(elsewhere.get(AT), 404)


def test_a_list_costs_the_same_however_long(client: APIClient, keeper: Membership) -> None:
    counts = []
    for more in (2, 60):
        for number in range(more):
            facts = {"code": f"{more}-{number}", "role": "guest", "expires_at": timezone.now()}
            Invitation.objects.create(club=keeper.club, made_by=AccountFactory.create(), **facts)
        with Statements() as ran:
            assert len(client.get(AT + "?page_size=200").json()["results"]) >= more
        counts.append(ran.count)
    assert counts[0] == counts[1]


# ------------------------------------------------------------------------------------------------------ redeemed


def test_what_anybody_with_the_code_sees(api: APIClient, invitation: Invitation) -> None:
    for code in (invitation.code, invitation.code.lower()):
        assert api.get(f"{CODES}{code}/").json() == {"club": "Creek Walkers", "role": "member"}


def test_joining_with_an_account(invitation: Invitation, as_user: Any) -> None:
    user = AccountFactory.create(username="walker")
    response = accept(as_user(user))
    assert response.status_code == 201
    assert response.json() == {
        "username": "walker", "club": "creek", "club_name": "Creek Walkers", "role": "member",
    }  # fmt: skip
    assert user.pinpool_memberships.get().role == "member"
    invitation.refresh_from_db()
    assert (invitation.used, invitation.revision) == (1, 2)
    entry = TrailEntry.objects.get()
    assert (entry.action, entry.actor, entry.subject) == ("accept_invitation", user, "member walker")
    problem_of(accept(as_user()), 404)  # the one use is gone


def test_joining_with_a_new_account(invitation: Invitation, api: APIClient) -> None:
    assert accept(api, body=NEWCOMER).status_code == 201
    user = get_user_model().objects.get(username="newcomer")
    assert (user.email, user.is_staff, user.is_superuser) == ("newcomer@creek.example", False, False)
    assert session_of("newcomer", PASSWORD).get("/api/v1/clubs/creek/").status_code == 200
    assert user.pinpool_memberships.get().role == "member"


def test_a_member_does_not_join_twice(invitation: Invitation, client: APIClient, keeper: Membership) -> None:
    """And uses nothing up."""
    problem_of(accept(client), 409)
    invitation.refresh_from_db()
    assert (invitation.used, invitation.revision) == (0, 1)
    keeper.refresh_from_db()
    assert keeper.role == "keeper"


@pytest.mark.parametrize(
    ("change", "fault", "status"),
    [({"password": "short"}, ("/password", "password_too_short"), 400),
     ({"password": "newcomer@creek"}, ("/password", "password_too_similar"), 400),
     ({"username": "new comer"}, ("/username", "invalid"), 400), ({"username": "taken"}, ("/username", "taken"), 422),
     ({"username": "TAKEN"}, ("/username", "taken"), 422), ({"username": "ｔａｋｅｎ"}, ("/username", "taken"), 422),
     ({"email": "nowhere"}, ("/email", "invalid"), 400), ({"is_staff": True}, ("/is_staff", "unknown_key"), 400),
     ({"role": "keeper"}, ("/role", "unknown_key"), 400),
     ({"username": "<script>"}, ("/username", "invalid"), 400)],
)  # fmt: skip
def test_accounts_that_are_none(invitation: Invitation, api: APIClient, change: Any, fault: Any, status: int) -> None:
    """Nothing is made, and nothing used up."""
    AccountFactory.create(username="taken")
    assert faults_in(accept(api, body=NEWCOMER | change), status) == {fault}
    assert get_user_model().objects.filter(email=NEWCOMER["email"]).count() == 0
    invitation.refresh_from_db()
    assert invitation.used == 0


def test_all_faults_are_told_at_once(invitation: Invitation, api: APIClient, as_user: Any) -> None:
    keys = {"/username", "/email", "/password"}
    assert faults_in(accept(api)) == {(key, "required") for key in keys}
    assert faults_in(accept(as_user(), body=NEWCOMER)) == {(key, "unknown_key") for key in keys}
    found = faults_in(accept(api, body=NEWCOMER | {"username": "new comer", "password": "1234567"}))
    assert {"/username", "/password"} == {pointer for pointer, _ in found}


def test_an_address_that_is_known_here_is_not_told(invitation: Invitation, api: APIClient) -> None:
    AccountFactory.create(username="other", email=NEWCOMER["email"])
    assert accept(api, body=NEWCOMER).status_code == 201


@pytest.mark.parametrize("scope", ["read", "log"])
def test_a_token_of_small_scope_joins_nothing(invitation: Invitation, scope: str) -> None:
    _, secret = ApiToken.issue(user=AccountFactory.create(), name="phone", scope=scope)
    client = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    problem_of(client.post(f"{CODES}{invitation.code}/accept/", {}, format="json"), 403)
    assert Membership.objects.filter(role="member").count() == 0


def test_a_page_elsewhere_cannot_make_anybody_join(invitation: Invitation) -> None:
    user = AccountFactory.create()
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(user)
    problem_of(client.post(f"{CODES}{invitation.code}/accept/", {}, format="json"), 403)


# ------------------------------------------------------------------------------------------------------- guessed


@pytest.mark.parametrize("end", ["used", "expired", "withdrawn", "unknown"])
def test_codes_that_do_not_count_are_all_alike(invitation: Invitation, api: APIClient, end: str) -> None:
    """Neither the words nor the faults of a body tell whether there was ever such a code."""
    change: dict[str, Any] = {
        "used": {"used": 1}, "expired": {"expires_at": timezone.now()}, "withdrawn": {"withdrawn_at": timezone.now()},
        "unknown": {"code": "RRRRRRRRRR"},
    }[end]  # fmt: skip
    Invitation.objects.update(**change)
    told = problem_of(api.get(f"{CODES}ACDE347HJK/"), 404)["detail"]
    for body in ({}, NEWCOMER, {"colour": 1}, NEWCOMER | {"username": "taken"}):
        assert problem_of(accept(api, body=body), 404)["detail"] == told == "Not found."


def test_a_wrong_code_costs_a_try_and_a_right_one_none(invitation: Invitation, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"INVITATION_TRIES_PER_ADDRESS": (3, 900)}
    right = [api.get(f"{CODES}{invitation.code}/").status_code for _ in range(5)]
    wrong = [api.get(f"{CODES}RRRRRRRRR{end}/").status_code for end in "ACDE"]
    assert (right, wrong) == ([200] * 5, [404, 404, 404, 429])
    response = api.get(f"{CODES}{invitation.code}/")
    problem_of(response, 429)
    assert int(response["Retry-After"]) >= 1
    problem_of(accept(api, body=NEWCOMER), 429)
    assert api.get(f"{CODES}{invitation.code}/", REMOTE_ADDR="192.0.2.9").status_code == 200


def test_trying_names_through_an_invitation_ends(invitation: Invitation, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"INVITATION_TRIES_PER_ADDRESS": (3, 900)}
    AccountFactory.create(username="taken")
    told = [accept(api, body=NEWCOMER | {"username": "taken"}).status_code for _ in range(4)]
    assert told == [422, 422, 422, 429]


@pytest.mark.parametrize("code", ["a", "-", "x" * 2000, "ACDE347HJK" * 2, "ACDE347HJ", "%00", "..", "é", "' OR 1=1"])
def test_codes_that_are_none(invitation: Invitation, api: APIClient, code: str) -> None:
    problem_of(api.get(f"{CODES}{code}/"), 404)
