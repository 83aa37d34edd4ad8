"""What those who watch over the service are told."""

from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client

from pinpool.service import probes


@pytest.fixture
def watcher() -> Client:
    """Whoever it is, at whatever name or number it knows the machine by."""
    return Client(headers={"host": "10.0.0.7:8000"})


def test_health_asks_nothing_of_the_database(watcher: Client) -> None:
    response = watcher.get("/health/")
    assert (response.status_code, response.json()) == (200, {"status": "ok"})
    assert response["Cache-Control"] == "no-store"


def test_ready_once_the_database_is_of_this_version(db: None, watcher: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probes, "unapplied", lambda: ["clubs.0099"])
    response = watcher.get("/ready/")
    assert (response.status_code, "manage.py migrate" in response.json()["status"]) == (503, True)
    monkeypatch.undo()
    assert watcher.get("/ready/").json() == {"status": "ready"}


def test_not_ready_while_the_database_is_away(db: None, watcher: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def away() -> Any:
        raise OperationalError("secret address")

    with monkeypatch.context() as now:
        now.setattr(connection, "cursor", away)
        now.setattr(connection, "close", lambda: None)
        response = watcher.get("/ready/")
    assert (response.status_code, response.json()) == (503, {"status": "The database does not answer."})
    assert watcher.get("/ready/").status_code == 200


def test_other_addresses_still_need_a_name_of_ours(watcher: Client) -> None:
    assert watcher.get("/").status_code == 400
