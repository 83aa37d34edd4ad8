"""People of the cooperative, and browsers of theirs that keep its rules."""

import re
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

PASSWORD = "reed is cut at low water"  # noqa: S105  (invented)


@pytest.fixture
def keeper(db: None) -> Any:
    return get_user_model().people.create_user("mara@reedfold.example", PASSWORD, called="Mara")


class Browser:
    """Signs in by the cooperative's door, and sends what Pinpool's scripts would send."""

    def __init__(self, person: Any = None) -> None:
        self.client = Client(enforce_csrf_checks=True)
        if person is not None:
            page = self.client.get("/door/enter/?next=/pinhole/clubs/")
            token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.content.decode())
            assert token
            told = {"username": person.email, "password": PASSWORD, "next": "/pinhole/clubs/"}
            entered = self.client.post("/door/enter/", told | {"csrfmiddlewaretoken": token[1]})
            assert (entered.status_code, entered["Location"]) == (302, "/pinhole/clubs/")

    def page(self, path: str, status: int = 200) -> str:
        response = self.client.get(path)
        assert response.status_code == status, response.content
        return response.content.decode()

    def send(self, path: str, body: Any, *, on: str = "/pinhole/clubs/", method: str = "post", **headers: str) -> Any:
        """What a form on the page `on` sends, with the token and by the header that the page names."""
        told = re.search(r'<meta name="csrf" content="(\w+)" data-header="([\w-]+)">', self.page(on))
        assert told
        sent = getattr(self.client, method)
        return sent(path, body, content_type="application/json", headers={told[2]: told[1], **headers})


@pytest.fixture
def browser(keeper: Any) -> Browser:
    return Browser(keeper)


@pytest.fixture
def stranger(db: None) -> Browser:
    return Browser()
