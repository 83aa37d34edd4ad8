"""API tokens through the API: shown once, and never giving more than their issuer has."""

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone
from rest_framework.test import APIClient

from pinpool.models import ApiToken
from tests.accounts import AT, OTHER, PASSWORD, Statements, by_token
from tests.factories import AccountFactory
from tests.problems import faults_in, problem_of

pytestmark = pytest.mark.django_db


def test_a_token_is_shown_once(signed_in: APIClient) -> None:
    response = signed_in.post(AT + "tokens/", {"name": "phone", "scope": "log", "days": 30})
    assert response.status_code == 201
    assert response["Cache-Control"] == "no-store"
    token = response.json()
    secret = token.pop("secret")
    assert token.keys() == {"id", "name", "scope", "created_at", "expires_at", "last_used_at"}
    [listed] = signed_in.get(AT + "tokens/").json()["results"]
    assert listed == token
    stored = ApiToken.objects.get()
    assert abs(stored.expires_at - timezone.now() - timedelta(days=30)) < timedelta(minutes=1)  # type: ignore[operator]
    assert APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}").get(AT + "me/").status_code == 200
    removed = signed_in.delete(f"{AT}tokens/{token['id']}/")
    assert removed.json()["id"] == token["id"]
    problem_of(APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}").get(AT + "me/"), 401)
    problem_of(signed_in.delete(f"{AT}tokens/{token['id']}/"), 404)


def test_tokens_of_others_do_not_exist(signed_in: APIClient) -> None:
    other, _ = ApiToken.issue(user=AccountFactory.create(), name="theirs")
    assert signed_in.get(AT + "tokens/").json()["results"] == []
    for number in (other.pk, 0, 10**30):
        problem_of(signed_in.delete(f"{AT}tokens/{number}/"), 404)
    assert ApiToken.objects.filter(pk=other.pk).exists()


@pytest.mark.parametrize("own", ["read", "log", "manage"])
@pytest.mark.parametrize("wanted", ["read", "log", "manage"])
def test_a_token_gives_no_more_than_it_has(walker: Any, own: str, wanted: str) -> None:
    client = by_token(walker, scope=own)
    response = client.post(AT + "tokens/", {"name": "more", "scope": wanted, "days": 1})
    assert response.status_code == (201 if own == "manage" else 403)
    assert ApiToken.objects.count() == (2 if own == "manage" else 1)


@pytest.mark.parametrize("scope", ["read", "log"])
def test_what_a_token_of_small_scope_may_not(walker: Any, scope: str) -> None:
    client, token = by_token(walker, scope=scope), ApiToken.objects.latest("pk")
    assert client.get(AT + "me/").status_code == client.get(AT + "tokens/").status_code == 200
    for method, path, body in (
        ("post", "logout/", {}), ("patch", "me/", {"email": "a@creek.example", "password": PASSWORD}),
        ("post", "me/deletion/", {"password": PASSWORD}), ("delete", f"tokens/{token.pk}/", None),
        ("post", "password/", {"password": PASSWORD, "new_password": OTHER}),
    ):  # fmt: skip
        problem_of(getattr(client, method)(AT + path, body, headers={"If-Match": "*"}), 403)
    assert get_user_model().objects.get(username="walker").check_password(PASSWORD)


def test_a_token_does_not_live_on_in_another(walker: Any) -> None:
    client = by_token(walker, expires_at=timezone.now() + timedelta(days=10))
    response = client.post(AT + "tokens/", {"name": "heir", "scope": "manage", "days": 11})
    assert faults_in(response, 422) == {("/days", "outlasts_its_issuer")}
    assert client.post(AT + "tokens/", {"name": "heir", "scope": "manage", "days": 9}).status_code == 201


def test_a_token_alone_takes_no_account_over(walker: Any) -> None:
    """Not without the password: neither by another address, nor by another password, nor by deleting it."""
    client = by_token(walker)
    for method, path, body in (
        ("patch", "me/", {"email": "a@creek.example"}), ("post", "me/deletion/", {}),
        ("post", "password/", {"new_password": OTHER}),
    ):  # fmt: skip
        response = getattr(client, method)(AT + path, body, headers={"If-Match": "*"})
        assert faults_in(response) == {("/password", "required")}
    assert client.post(AT + "password/", {"password": PASSWORD, "new_password": OTHER}).status_code == 200
    assert "sessionid" not in client.cookies


def test_an_account_has_so_many_tokens(signed_in: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"MAX_TOKENS": 2}
    body = {"name": "phone", "scope": "read", "days": 1}
    assert [signed_in.post(AT + "tokens/", body).status_code for _ in range(3)] == [201, 201, 409]


@pytest.mark.parametrize(
    ("change", "fault"),
    [({"days": 0}, ("/days", "min_value")), ({"days": 367}, ("/days", "max_value")),
     ({"days": True}, ("/days", "invalid")),
     ({"scope": "all"}, ("/scope", "invalid_choice")), ({"name": ""}, ("/name", "blank")),
     ({"user": 1}, ("/user", "unknown_key")), ({"digest": "0"}, ("/digest", "unknown_key"))],
)  # fmt: skip
def test_tokens_that_are_none(signed_in: APIClient, change: Any, fault: Any) -> None:
    response = signed_in.post(AT + "tokens/", {"name": "phone", "scope": "read", "days": 1} | change)
    assert faults_in(response) == {fault}


def test_a_list_of_tokens_costs_the_same_however_long(signed_in: APIClient, walker: Any) -> None:
    counts = []
    for more in (2, 40):
        for _ in range(more):
            ApiToken.issue(user=walker, name="x")
        with Statements() as ran:
            assert len(signed_in.get(AT + "tokens/").json()["results"]) >= more
        counts.append(ran.count)
    assert counts[0] == counts[1]
