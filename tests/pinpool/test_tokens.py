"""API tokens: shown once, kept as a digest, good until they expire or are withdrawn, and never for a closed account."""

import hashlib
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.utils import timezone

from pinpool.models import ApiToken, digest_of
from pinpool.tokens import USE_NOTED_EVERY
from tests.factories import AccountFactory
from tests.problems import problem_of

CLUBS = "/api/v1/clubs/"


@pytest.fixture
def issued(db: None) -> tuple[ApiToken, str]:
    return ApiToken.issue(user=AccountFactory.create(username="walker"), name="phone")


def ask(secret: str, *, scheme: str = "Bearer", address: str = CLUBS) -> Any:
    """A plain client with cross-site checks on, as a program is."""
    return Client(enforce_csrf_checks=True).get(address, HTTP_AUTHORIZATION=f"{scheme} {secret}".strip())


def refused(response: Any) -> str:
    body = problem_of(response, 401)
    assert response["WWW-Authenticate"] == "Bearer"
    return str(body["detail"])


def test_a_secret_is_long_random_and_its_own(db: None) -> None:
    user = AccountFactory.create()
    secrets = {ApiToken.issue(user=user, name="x")[1] for _ in range(20)}
    assert len(secrets) == 20
    assert all(secret.startswith("pp_") and len(secret) == 46 for secret in secrets)  # 256 bits in base 64


def test_only_its_digest_is_kept(issued: tuple[ApiToken, str]) -> None:
    """The secret stands nowhere in the row: whoever reads the table cannot use it."""
    token, secret = issued
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM pinpool_apitoken")
        [row] = cursor.fetchall()
    assert not any(secret in str(value) or secret[3:] in str(value) for value in row)
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest() == digest_of(secret)
    assert secret not in str(token)
    assert str(token) == "phone of walker"
    with pytest.raises(IntegrityError), transaction.atomic():
        ApiToken.objects.create(user=token.user, name="again", digest=token.digest)


def test_it_stands_for_its_account(issued: tuple[ApiToken, str]) -> None:
    """A call that changes something needs no other proof: a page elsewhere cannot send it."""
    _, secret = issued
    client = Client(enforce_csrf_checks=True, HTTP_AUTHORIZATION=f"Bearer {secret}")
    made = client.post(CLUBS, b'{"slug": "creek", "name": "Creek"}', content_type="application/json")
    assert made.status_code == 201
    [member] = client.get(CLUBS + "creek/members/").json()["results"]
    assert member["username"] == "walker"


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER", "Bearer "])
def test_the_scheme_is_read_in_any_case(issued: tuple[ApiToken, str], scheme: str) -> None:
    assert ask(issued[1], scheme=scheme).status_code == 200


@pytest.mark.parametrize("scheme", ["Basic", "Token", "Digest", "", "Bearer,"])
def test_other_schemes_are_left_to_others(issued: tuple[ApiToken, str], scheme: str) -> None:
    assert refused(ask(issued[1], scheme=scheme)) == "Authentication credentials were not provided."


def test_what_does_not_count(issued: tuple[ApiToken, str]) -> None:
    """Each is refused in the same words, so that nobody learns which it was."""
    token, secret = issued
    words = {
        refused(ask(wrong))
        for wrong in ("", "pp_", secret[:-1], secret + "x", secret.swapcase(), token.digest, f"{secret} {secret}",
                      "é", "x" * 5000)
    }  # fmt: skip
    token.expires_at = timezone.now() - timedelta(seconds=1)
    token.save()
    words.add(refused(ask(secret)))
    ApiToken.objects.update(expires_at=None)
    assert ask(secret).status_code == 200
    token.user.is_active = False
    token.user.save()
    words.add(refused(ask(secret)))
    token.user.is_active = True
    token.user.save()
    token.delete()
    words.add(refused(ask(secret)))
    assert words == {"This token is unknown, withdrawn or expired."}


def test_a_bad_token_is_refused_even_where_none_is_needed(issued: tuple[ApiToken, str]) -> None:
    """Who means to be somebody learns at once that they are not."""
    assert ask("pp_wrong", address="/api/v1/plugins/").status_code == 401
    assert ask(issued[1], address="/api/v1/plugins/").status_code == 200


def test_expiry(db: None) -> None:
    now = timezone.now()
    user = AccountFactory.create()
    soon, secret = ApiToken.issue(user=user, name="x", expires_at=now + timedelta(minutes=1))
    assert not soon.expired
    assert ask(secret).status_code == 200
    assert ApiToken(expires_at=now - timedelta(microseconds=1)).expired
    assert not ApiToken(expires_at=None).expired


def test_when_it_was_last_used(issued: tuple[ApiToken, str]) -> None:
    """Noted at the first use and then at most every ten minutes: reading does not mean writing."""
    token, secret = issued
    assert token.last_used_at is None
    before = timezone.now()
    ask(secret)
    token.refresh_from_db()
    first = token.last_used_at
    assert first is not None
    assert before <= first <= timezone.now()
    ask(secret)
    token.refresh_from_db()
    assert token.last_used_at == first
    ApiToken.objects.update(last_used_at=first - USE_NOTED_EVERY - timedelta(seconds=1))
    ask(secret)
    token.refresh_from_db()
    assert token.last_used_at is not None
    assert token.last_used_at >= first
    ask(secret + "x")


def test_tokens_of_one_account_are_apart(issued: tuple[ApiToken, str]) -> None:
    token, secret = issued
    _, other = ApiToken.issue(user=token.user, name="laptop")
    token.delete()
    assert ask(secret).status_code == 401
    assert ask(other).status_code == 200


def test_an_account_takes_its_tokens_along(issued: tuple[ApiToken, str]) -> None:
    issued[0].user.delete()
    assert not ApiToken.objects.exists()
    assert ask(issued[1]).status_code == 401
