"""An invented account's password, and clients that use it."""

from typing import Any

from django.db import connection
from rest_framework.test import APIClient

from pinpool.models import ApiToken

AT = "/api/v1/accounts/"
PASSWORD = "salt marsh at low tide"  # noqa: S105  (invented)
OTHER = "tea caddy, biscuit drum"


def session_of(username: str, password: str) -> APIClient:
    client = APIClient()
    client.default_format = "json"
    response = log_in(client, username, password)
    assert response.status_code == 200, response.content
    return client


def log_in(client: APIClient, username: str, password: str, **more: Any) -> Any:
    return client.post(AT + "login/", {"username": username, "password": password}, format="json", **more)


def by_token(user: Any, **facts: Any) -> APIClient:
    _, secret = ApiToken.issue(user=user, **{"name": "phone"} | facts)
    client = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    client.default_format = "json"
    return client


class Statements:
    """Counts the statements of a block."""

    def __enter__(self) -> "Statements":
        self.count = 0
        self.wrapper = connection.execute_wrapper(self._one)
        self.wrapper.__enter__()
        return self

    def _one(self, execute: Any, *args: Any) -> Any:
        self.count += 1
        return execute(*args)

    def __exit__(self, *fault: Any) -> None:
        self.wrapper.__exit__(*fault)
