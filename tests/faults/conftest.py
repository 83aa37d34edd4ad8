"""A database that faults befall, and the service on it; and PostgreSQL of a test's own."""

import os
from collections.abc import Iterator
from urllib.parse import urlsplit, urlunsplit

import pytest

from tests.databases import copied, database_of_its_own
from tests.faults.cluster import Cluster, programs
from tests.faults.service import PREPARED, Service
from tests.served import shell

on_sqlite = pytest.mark.skipif("DATABASE_URL" in os.environ, reason="the run is on PostgreSQL")
on_postgresql = pytest.mark.skipif("DATABASE_URL" not in os.environ, reason="the run is on SQLite")


@pytest.fixture(scope="session")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    with database_of_its_own(tmp_path_factory.mktemp("data")) as environment:
        held = tmp_path_factory.mktemp("held")
        yield environment | {"TMPDIR": str(held), "PINPOOL_ACCESS_LOG": "WARNING"}


@pytest.fixture(scope="session")
def known(here: dict[str, str]) -> dict[str, str]:
    """A paper of the club, and a member's tokens."""
    return shell(here, PREPARED)


@pytest.fixture(scope="session")
def untouched(here: dict[str, str], known: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A copy of the database before anything befell it: a file, or the name of a database of the run's server."""
    with copied(here, tmp_path_factory.mktemp("untouched")) as copy:
        yield copy


@pytest.fixture(scope="session")
def service(here: dict[str, str], untouched: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    service = Service(here, tmp_path_factory.mktemp("log") / "log")
    yield service
    assert service.stop() == 0


@pytest.fixture
def cluster(here: dict[str, str], untouched: str) -> Iterator[Cluster]:
    """With a copy of the database."""
    if missing := programs():
        pytest.skip(f"NOT RUN: {missing}")
    with Cluster.made() as cluster:
        cluster.copy(urlunsplit(urlsplit(here["DATABASE_URL"])._replace(path=f"/{untouched}")))
        yield cluster
