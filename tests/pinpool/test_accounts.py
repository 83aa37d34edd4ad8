"""Signing in and out, and one's own account: shown, changed, handed out as data, deleted."""

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.db.models import ProtectedError
from django.test import Client
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.test import APIClient

from pinpool.accounts import services
from pinpool.models import ApiToken
from tests.accounts import AT, OTHER, PASSWORD, by_token, log_in, session_of
from tests.problems import faults_in, problem_of

pytestmark = pytest.mark.django_db


def test_signing_in_and_out(walker: Any, api: APIClient) -> None:
    answer = log_in(api, "walker", PASSWORD)
    assert answer.json().keys() == {"username", "email", "joined_at"}
    assert answer.json()["username"] == "walker"
    assert api.get(AT + "me/").json() == answer.json()
    assert api.post(AT + "logout/", {}).status_code == 200
    problem_of(api.get(AT + "me/"), 401)
    problem_of(api.post(AT + "logout/", {}), 401)


def test_a_session_starts_anew_with_who_signs_in(walker: Any, api: APIClient) -> None:
    """A session key planted before is worth nothing after."""
    api.session.save()
    planted = api.session.session_key
    log_in(api, "walker", PASSWORD)
    assert api.session.session_key != planted


def test_pages_elsewhere_cannot_sign_anybody_in_or_out(walker: Any) -> None:
    """The CSRF token is read first, and sent back; without it nothing happens, signed in or not."""
    client = Client(enforce_csrf_checks=True)
    body = {"username": "walker", "password": PASSWORD}
    problem_of(client.post(AT + "login/", body, content_type="application/json"), 403)
    token = client.get(AT + "login/").json()["csrf_token"]
    headers = {"X-CSRFToken": token}
    assert client.post(AT + "login/", body, content_type="application/json", headers=headers).status_code == 200
    problem_of(client.post(AT + "logout/", "{}", content_type="application/json", headers=headers), 403)  # renewed
    problem_of(client.post(AT + "logout/", "{}", content_type="application/json"), 403)
    fresh = {"X-CSRFToken": client.get(AT + "login/").json()["csrf_token"]}
    assert client.post(AT + "logout/", "{}", content_type="application/json", headers=fresh).status_code == 200


@pytest.mark.parametrize(
    ("body", "pointers"),
    [({}, {"/username", "/password"}), ({"username": "walker", "password": PASSWORD, "is_staff": True}, {"/is_staff"}),
     ({"username": ["walker"], "password": 5}, {"/username", "/password"}),
     ({"username": "a\x07b", "password": ""}, {"/username", "/password"}),
     ({"username": "x" * 255, "password": "x" * 501}, {"/username", "/password"})],
)  # fmt: skip
def test_bodies_that_are_none(api: APIClient, body: Any, pointers: set[str]) -> None:
    assert {pointer for pointer, _ in faults_in(api.post(AT + "login/", body))} == pointers


def test_another_address_takes_the_password_and_the_revision(signed_in: APIClient, walker: Any) -> None:
    me = signed_in.get(AT + "me/")
    body = {"email": "new@creek.example", "password": PASSWORD}
    problem_of(signed_in.patch(AT + "me/", body), 428)
    problem_of(signed_in.patch(AT + "me/", body, headers={"If-Match": '"r1"'}), 412)
    tag = {"If-Match": me["ETag"]}
    wrong = signed_in.patch(AT + "me/", body | {"password": "wrong"}, headers=tag)
    assert faults_in(wrong, 422) == {("/password", "wrong_password")}
    changed = signed_in.patch(AT + "me/", body, headers=tag)
    assert changed.json() == me.json() | {"email": "new@creek.example"}
    assert changed["ETag"] != me["ETag"]
    problem_of(signed_in.patch(AT + "me/", body, headers=tag), 412)
    walker.refresh_from_db()
    assert walker.email == "new@creek.example"


@pytest.mark.parametrize("key", ["is_staff", "is_superuser", "username", "id", "last_login", "is_active", "groups"])
def test_nothing_else_of_an_account_can_be_set(signed_in: APIClient, key: str) -> None:
    body = {"email": "a@creek.example", "password": PASSWORD, key: 1}
    response = signed_in.patch(AT + "me/", body, headers={"If-Match": "*"})
    assert faults_in(response) == {("/" + key, "unknown_key")}


@pytest.mark.parametrize(
    "email", ["", "creek", "a@b@c.example", "a\r\nBcc: b@creek.example", 5, None, "a" * 250 + "@b.cd"]
)
def test_addresses_that_are_none(signed_in: APIClient, email: Any) -> None:
    body = {"email": email, "password": PASSWORD}
    response = signed_in.patch(AT + "me/", body, headers={"If-Match": "*"})
    assert {pointer for pointer, _ in faults_in(response)} == {"/email"}


def test_changing_the_password_ends_other_sessions(signed_in: APIClient, walker: Any) -> None:
    elsewhere, phone = session_of("walker", PASSWORD), by_token(walker)
    assert signed_in.post(AT + "password/", {"password": PASSWORD, "new_password": OTHER}).status_code == 200
    assert signed_in.get(AT + "me/").status_code == 200
    problem_of(elsewhere.get(AT + "me/"), 401)
    assert phone.get(AT + "me/").status_code == 200
    session_of("walker", OTHER)
    problem_of(log_in(elsewhere, "walker", PASSWORD), 401)


def test_passwords_are_held_to_the_sites_rules(signed_in: APIClient) -> None:
    response = signed_in.post(AT + "password/", {"password": PASSWORD, "new_password": "walker"})
    assert faults_in(response) == {
        ("/new_password", "password_too_similar"), ("/new_password", "password_too_short"),
        ("/new_password", "password_too_common"),
    }  # fmt: skip
    assert signed_in.post(AT + "password/", {"password": PASSWORD, "new_password": "  spaced  out "}).status_code == 200
    session_of("walker", "  spaced  out ")


def test_one_s_own_data(signed_in: APIClient, walker: Any) -> None:
    _, secret = ApiToken.issue(user=walker, name="phone")
    response = signed_in.get(AT + "me/data/")
    assert response["Content-Disposition"].startswith("attachment")
    parts = response.json()["parts"]
    assert parts["account"] == [signed_in.get(AT + "me/").json()]
    assert [token["name"] for token in parts["tokens"]] == ["phone"]
    for never in (secret, ApiToken.objects.get().digest, walker.password):
        assert never not in response.content.decode()


def test_deleting_an_account(signed_in: APIClient, walker: Any) -> None:
    ApiToken.issue(user=walker, name="phone")
    wrong = signed_in.post(AT + "me/deletion/", {"password": "wrong"})
    assert faults_in(wrong, 422) == {("/password", "wrong_password")}
    assert get_user_model().objects.filter(pk=walker.pk).exists()
    assert signed_in.post(AT + "me/deletion/", {"password": PASSWORD}).status_code == 200
    assert not get_user_model().objects.filter(pk=walker.pk).exists()
    assert not ApiToken.objects.exists()
    problem_of(signed_in.get(AT + "me/"), 401)
    problem_of(log_in(signed_in, "walker", PASSWORD), 401)


def test_what_else_a_site_keeps_of_an_account_may_hold_it(
    signed_in: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def protected(self: Any) -> None:
        raise ProtectedError("An invoice of the host's.", set())

    monkeypatch.setattr(get_user_model(), "delete", protected)
    problem_of(signed_in.post(AT + "me/deletion/", {"password": PASSWORD}), 409)
    assert signed_in.get(AT + "me/").status_code == 200


def test_an_account_is_deleted_once(walker: Any) -> None:
    """Of two requests at once the later one finds it gone."""
    services.delete_account(user=get_user_model().objects.get(pk=walker.pk), password=PASSWORD)
    with pytest.raises(AuthenticationFailed):
        services.delete_account(user=walker, password=PASSWORD)
