"""How the service holds its database."""

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.db import ConnectionHandler
from django.db.backends.base.base import BaseDatabaseWrapper
from pytest_django import DjangoDbBlocker

from pinpool import settings
from pinpool.service import serving


@pytest.fixture(autouse=True)
def reached(django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Databases may be asked, though none is the test run's own."""
    with django_db_blocker.unblock():
        yield


def test_sqlite_keeps_what_it_acknowledged_and_queues_who_writes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DATABASE_URL", raising=False)
    monkeypatch.setattr(settings, "DATA_DIR", tmp_path)
    one, other = (ConnectionHandler({"default": settings._database()})["default"] for _ in range(2))
    with one.cursor() as cursor:
        said = {name: cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")}
    assert said == {"journal_mode": "wal", "synchronous": 2}  # FULL
    assert other.get_connection_params()["timeout"] >= 5
    one.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)  # as `atomic` begins
    with other.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 0")
        with pytest.raises(Exception, match="locked"):
            cursor.execute("CREATE TABLE late (x)")
    one.rollback()
    for connection in (one, other):
        connection.close()


@pytest.fixture
def pooled(monkeypatch: pytest.MonkeyPatch) -> Iterator[ConnectionHandler]:
    """The connections of a worker to PostgreSQL, two of them."""
    handler = ConnectionHandler({"default": settings._database()})
    monkeypatch.setattr(serving, "connections", handler)
    serving._pool_connections(2)
    yield handler
    handler["default"].close_pool()  # type: ignore[attr-defined]  # PostgreSQL's


@pytest.mark.skipif("DATABASE_URL" not in os.environ, reason="on PostgreSQL alone")
def test_threads_share_connections_and_get_new_ones_for_those_that_broke(pooled: ConnectionHandler) -> None:
    def ask(statement: str) -> set[int]:
        def asked(_: int) -> int:
            connection: BaseDatabaseWrapper = pooled["default"]
            try:
                with connection.cursor() as cursor:
                    cursor.execute(statement)
                    return int(cursor.fetchone()[0])
            finally:
                connection.close()

        with ThreadPoolExecutor(8) as threads:
            return set(threads.map(asked, range(24)))

    backends = ask("SELECT pg_backend_pid() FROM pg_sleep(0.02)")
    assert len(backends) == 2
    with pooled["default"].cursor() as cursor:
        others = "pid = ANY(%s) AND pid <> pg_backend_pid()"
        cursor.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}", [list(backends)])  # noqa: S608
    pooled["default"].close()
    assert len(ask("SELECT pg_backend_pid() FROM pg_sleep(0.02)") - backends) == 1
