"""What is answered where it is not our code that fails but what it stands on. Of SQLite real faults."""

import errno
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from django.db import InterfaceError, InternalError, OperationalError, ProgrammingError
from rest_framework.test import APIClient

from pinpool.http.problems import refusal_of
from tests.problems import problem_of


def wrapped(cause: Exception | None, kind: type[Exception] = OperationalError) -> Exception:
    """As Django raises it."""
    fault = kind(str(cause))
    fault.__cause__ = cause
    return fault


def failing(path: Path, *statements: str) -> Exception:
    with closing(sqlite3.connect(path, timeout=0)) as here:
        *before, last = statements
        for statement in before:
            here.execute(statement)
        with pytest.raises(sqlite3.Error) as caught:
            here.execute(last)
    return caught.value


def full(folder: Path) -> Exception:
    return failing(folder / "a", "PRAGMA max_page_count = 1", "CREATE TABLE a (b)")


def busy(folder: Path) -> Exception:
    with closing(sqlite3.connect(folder / "a")) as other:
        other.execute("BEGIN EXCLUSIVE")
        return failing(folder / "a", "CREATE TABLE a (b)")


def absent(folder: Path) -> Exception:
    return failing(folder / "none", "SELECT * FROM nothing")


@pytest.mark.parametrize(("cause", "status"), [(full, 507), (busy, 503), (absent, None)])
def test_faults_of_sqlite(tmp_path: Path, cause: Callable[[Path], Exception], status: int | None) -> None:
    refusal = refusal_of(wrapped(cause(tmp_path)))
    assert (refusal and refusal.status_code) == status


@pytest.mark.parametrize(("fault", "status"), [
    (wrapped(psycopg.errors.DiskFull()), 507), (wrapped(psycopg.errors.AdminShutdown()), 503),
    (wrapped(psycopg.OperationalError()), 503), (wrapped(psycopg.errors.LockNotAvailable()), 503),
    (wrapped(psycopg.errors.TooManyConnections()), 503), (wrapped(psycopg.InterfaceError(), InterfaceError), 503),
    (wrapped(psycopg.errors.IdleInTransactionSessionTimeout(), InternalError), 503),
    (wrapped(psycopg.errors.InFailedSqlTransaction(), InternalError), None),
    (wrapped(psycopg.errors.UndefinedTable(), ProgrammingError), None),
    (wrapped(psycopg.errors.SyntaxError(), OperationalError), None),
    (OSError(errno.ENOSPC, "full"), 507), (OSError(errno.ENOENT, "absent"), None), (ZeroDivisionError(), None),
    (None, None),
])  # fmt: skip
def test_other_faults(fault: Exception | None, status: int | None) -> None:
    refusal = refusal_of(fault)
    assert (refusal and refusal.status_code) == status


@pytest.mark.parametrize("path", ["/api/v1/clubs/", "/clubs/", "/admin/"])
def test_every_door_says_so(db: None, monkeypatch: pytest.MonkeyPatch, api: APIClient, path: str) -> None:
    """The API, a page, and the desk, for whoever has a session."""

    def away(*_args: object, **_more: object) -> None:
        raise wrapped(psycopg.OperationalError("10.0.0.3 is away"))

    monkeypatch.setattr("django.contrib.sessions.backends.db.SessionStore.load", away)
    api.cookies["sessionid"] = "abcdefghijklmnopqrstuvwxyz012345"
    api.raise_request_exception = False
    response = api.get(path)
    assert response.status_code == 503
    assert "10.0.0.3" not in response.content.decode()
    if path != "/clubs/":
        assert problem_of(response, 503)["type"] == "urn:pinpool:problem:unavailable"
        assert response["Retry-After"] == "5"
