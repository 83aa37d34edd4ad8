"""What every test may use. Passwords are hashed fast here, and nothing is written outside a folder of the run."""

import logging
from typing import Any

import pytest
from rest_framework.test import APIClient

from pinpool.accounts import mail
from tests.factories import AccountFactory


@pytest.fixture(scope="session", autouse=True)
def no_line_for_each_request() -> None:
    logging.getLogger("pinpool.access").setLevel(logging.WARNING)


@pytest.fixture(autouse=True)
def fast_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def own_files(settings: Any, tmp_path_factory: pytest.TempPathFactory) -> None:
    settings.MEDIA_ROOT = tmp_path_factory.getbasetemp() / "media"


@pytest.fixture(autouse=True)
def e_mails_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before the answer, in the test's own transaction, not after it in another thread."""
    monkeypatch.setattr(mail, "later", lambda work: work())


@pytest.fixture
def api() -> APIClient:
    """A client without an account that speaks JSON."""
    return _client()


@pytest.fixture
def as_user(db: None) -> Any:
    """`as_user(user)`: a client signed in as that account; `as_user()`: as a new one."""

    def signed_in(user: Any = None) -> APIClient:
        client = _client()
        client.force_authenticate(user or AccountFactory.create())
        return client

    return signed_in


def _client() -> APIClient:
    client = APIClient(HTTP_ACCEPT="application/json, application/problem+json")
    client.default_format = "json"
    return client
