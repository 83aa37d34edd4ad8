"""What a guesser learns of accounts, by words, by time and by trying often: nothing."""

import time
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings as site
from django.contrib.auth.hashers import MD5PasswordHasher
from django.core import mail as outbox
from django.core.cache import cache, caches
from django.db import connection
from django.test import RequestFactory
from rest_framework.exceptions import Throttled
from rest_framework.test import APIClient

from pinpool.accounts import mail
from pinpool.accounts.throttles import address_of, count, counted
from tests.accounts import AT, OTHER, PASSWORD, Statements, log_in
from tests.factories import AccountFactory
from tests.problems import problem_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def hashes(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows by one with each hash of a password: the only part of signing in that takes time."""
    made: list[str] = []
    encode = MD5PasswordHasher.encode

    def counting(self: Any, password: str, salt: str) -> str:
        made.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counting)
    return made


def test_an_unknown_name_is_not_told_from_a_wrong_password(walker: Any, api: APIClient, hashes: list[str]) -> None:
    """The same words, as many hashes and as many statements."""
    AccountFactory.create(username="asleep", is_active=False, password=walker.password)
    unusable = "!never"
    AccountFactory.create(username="unusable", password=unusable)
    seen, costs, statements = set(), set(), set()
    log_in(api, "first", "wrong")  # whatever is loaded once is loaded
    for name, password in (("nobody", PASSWORD), ("walker", "wrong"), ("asleep", PASSWORD), ("unusable", unusable)):
        hashes.clear()
        with Statements() as ran:
            response = log_in(api, name, password)
        seen.add(problem_of(response, 401)["detail"])
        costs.add(len(hashes))
        statements.add(ran.count)
    assert seen == {"There is no account of this name with this password."}
    assert costs == {1}
    assert len(statements) == 1


def test_asking_for_a_new_password_says_and_does_the_same_for_any_address(
    walker: Any, api: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before the answer nothing looks at the address at all; looking and sending come after it."""
    left: list[Callable[[], None]] = []
    monkeypatch.setattr(mail, "later", left.append)
    answers, statements = set(), set()
    api.post(AT + "password-reset/", {"email": "first@creek.example"})
    for email in ("walker@creek.example", "nobody@creek.example"):
        with Statements() as ran:
            response = api.post(AT + "password-reset/", {"email": email})
        answers.add((response.status_code, response.content))
        statements.add(ran.count)
    assert len(answers) == len(statements) == 1
    assert outbox.outbox == []
    for work in left:
        work()
    assert [message.to for message in outbox.outbox] == [["walker@creek.example"]]


def test_guessing_at_an_account_ends_and_says_when_to_go_on(walker: Any, api: APIClient, settings: Any) -> None:
    """Any spelling of the name is the same account, from wherever it is tried; also the right password waits."""
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ACCOUNT": (3, 900)}
    for number, name in enumerate(("walker", "Walker", "ｗalker")):
        problem_of(log_in(api, name, "wrong", REMOTE_ADDR=f"192.0.2.{number}"), 401)
    response = log_in(api, "walker", PASSWORD, REMOTE_ADDR="192.0.2.9")
    problem_of(response, 429)
    assert 1 <= int(response["Retry-After"]) <= 900
    problem_of(log_in(api, "nobody", "wrong"), 401)  # another account is another matter


def test_an_unknown_account_is_throttled_like_a_known_one(walker: Any, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ACCOUNT": (2, 900)}
    told = [[log_in(api, name, "wrong").status_code for _ in range(4)] for name in ("walker", "nobody")]
    assert told == [[401, 401, 429, 429]] * 2


def test_guessing_from_one_address_ends(walker: Any, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ADDRESS": (3, 900)}
    told = [log_in(api, f"name-{number}", "wrong").status_code for number in range(4)]
    assert told == [401, 401, 401, 429]
    assert log_in(api, "walker", PASSWORD, REMOTE_ADDR="192.0.2.1").status_code == 200


def test_signing_in_well_costs_nothing(walker: Any, api: APIClient, settings: Any) -> None:
    """And clears nobody's failures: an account of one's own is no way round the limit."""
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ADDRESS": (2, 900)}
    assert [log_in(api, "walker", PASSWORD).status_code for _ in range(5)] == [200] * 5
    told = [log_in(api, *pair).status_code for pair in (("a", "b"), ("walker", PASSWORD), ("a", "c"), ("a", "d"))]
    assert told == [401, 200, 401, 429]


def test_the_password_asked_for_again_is_counted_too(signed_in: APIClient, settings: Any) -> None:
    """Whoever finds a session open cannot guess the password through it."""
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ACCOUNT": (2, 900)}
    body = {"password": "wrong", "new_password": OTHER}
    told = [signed_in.post(AT + "password/", body).status_code for _ in range(2)]
    told += [signed_in.post(AT + "me/deletion/", {"password": PASSWORD}).status_code]
    assert told == [422, 422, 429]


def test_a_window_ends(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ADDRESS": (1, 100)}
    now = 1_000_030.0
    monkeypatch.setattr(time, "time", lambda: now)
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    count("LOGIN_TRIES_PER_ADDRESS", "a")
    with pytest.raises(Throttled) as refused:
        count("LOGIN_TRIES_PER_ADDRESS", "a")
    assert refused.value.wait == 70
    now = 1_000_100.0
    count("LOGIN_TRIES_PER_ADDRESS", "a")


def test_a_try_that_fails_any_way_counts(settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"LOGIN_TRIES_PER_ADDRESS": (2, 900)}
    for _ in range(2):
        with pytest.raises(ZeroDivisionError), counted(LOGIN_TRIES_PER_ADDRESS="a"):
            raise ZeroDivisionError
    with pytest.raises(Throttled), counted(LOGIN_TRIES_PER_ADDRESS="a"):
        pytest.fail("not run")


def test_nobody_stands_in_the_cache_by_name(walker: Any, api: APIClient) -> None:
    log_in(api, "walker", "wrong", REMOTE_ADDR="192.0.2.77")
    with connection.cursor() as cursor:
        cursor.execute("SELECT cache_key, value FROM pinpool_cache")
        rows = cursor.fetchall()
    assert len(rows) == 2
    assert not any("walker" in str(row) or "192.0" in str(row) for row in rows)


def test_the_service_counts_in_its_database() -> None:
    """What every worker shares with no other service running; the table is made by a migration."""
    assert site.CACHES["default"]["BACKEND"] == "django.core.cache.backends.db.DatabaseCache"
    assert cache._table == "pinpool_cache" == site.CACHES["default"]["LOCATION"]
    assert cache._max_entries >= 100_000


@pytest.mark.parametrize(
    ("proxies", "forwarded", "remote", "expected"),
    [
        (0, "198.51.100.7", "192.0.2.1", "192.0.2.1"),
        (1, "6.6.6.6, 198.51.100.7", "192.0.2.1", "198.51.100.7"),
        (2, "6.6.6.6, 198.51.100.7, 192.0.2.5", "192.0.2.1", "198.51.100.7"),
        (2, "198.51.100.7", "192.0.2.1", "198.51.100.7"),
        (1, None, "192.0.2.1", "192.0.2.1"),
        (0, None, "2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        (0, None, "::ffff:192.0.2.1", "192.0.2.1"),
        (0, None, "", ""),
        (1, "unknown", "192.0.2.1", "unknown"),
    ],
)
def test_whose_address_counts(settings: Any, proxies: int, forwarded: Any, remote: str, expected: str) -> None:
    """What a caller writes into the header themselves is not believed."""
    settings.PINPOOL = settings.PINPOOL | {"TRUSTED_PROXIES": proxies}
    headers = {"X-Forwarded-For": forwarded} if forwarded else {}
    request: Any = RequestFactory().get("/", REMOTE_ADDR=remote, headers=headers)
    assert address_of(request) == expected


def test_every_cache_that_is_named_is_used(walker: Any, api: APIClient, settings: Any) -> None:
    """A host site's own, by its alias."""
    settings.CACHES = settings.CACHES | {"tries": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.PINPOOL = settings.PINPOOL | {"CACHE": "tries", "LOGIN_TRIES_PER_ACCOUNT": (1, 900)}
    assert [log_in(api, "walker", "wrong").status_code for _ in range(2)] == [401, 429]
    caches["tries"].clear()
    problem_of(log_in(api, "walker", "wrong"), 401)
