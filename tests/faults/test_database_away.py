"""The database held, stopped, killed, and back: what is asked meanwhile is refused, and afterwards answered again."""

import sqlite3
import uuid
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from tests.faults.cluster import Cluster
from tests.faults.conftest import on_postgresql, on_sqlite
from tests.faults.service import CREEK, Answer, Service

pytestmark = pytest.mark.faults


def assert_refused(answer: Answer) -> None:
    assert (answer.status, answer.headers["Content-Type"]) == (503, "application/problem+json")
    assert int(answer.headers["Retry-After"]) > 0
    assert answer.data["type"] == "urn:pinpool:problem:unavailable"
    assert answer.data["request_id"] == answer.headers["X-Request-ID"]


@on_sqlite
def test_a_database_that_is_held_refuses_in_time_and_takes_what_comes_after(
    service: Service, known: dict[str, str], here: dict[str, str]
) -> None:
    chosen = str(uuid.uuid4())
    assert service.ask("GET", f"{CREEK}exposures/", token=known["token"]).status == 200  # the token's use is noted
    with closing(sqlite3.connect(Path(here["PINPOOL_DATA"]) / "pinpool.sqlite3", isolation_level=None)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        assert_refused(service.log_one(known, chosen))
        assert service.ask("GET", f"{CREEK}exposures/", token=known["token"]).status == 200  # readers need no lock
    assert service.log_one(known, chosen).status == 201


@on_postgresql
def test_a_database_that_was_away_is_used_again_without_a_restart(
    cluster: Cluster, here: dict[str, str], known: dict[str, str], tmp_path: Path
) -> None:
    there = here | {"DATABASE_URL": cluster.url(), "PINPOOL_DATA": str(tmp_path)}
    service = Service(there, tmp_path / "log")
    try:
        first = str(uuid.uuid4())
        assert service.log_one(known, first).status == 201
        stopped, killed = (_go_and_come_back(service, known, cluster, leave) for leave in (cluster.stop, cluster.kill))
        assert sorted(service.logged(known)) == sorted([first, stopped, killed])
    finally:
        service.stop()


def _go_and_come_back(service: Service, known: dict[str, str], cluster: Cluster, leave: Callable[[], None]) -> str:
    """The id of a log that is refused while the database is away, and taken as soon as it is back."""
    chosen, workers = str(uuid.uuid4()), service.workers()
    leave()
    assert_refused(service.wait_for(lambda: _refusal(service, known, chosen), 20))
    page = service.ask("GET", "/clubs/", Cookie="sessionid=abcdefghijklmnopqrstuvwxyz012345")
    assert (page.status, page.headers["Content-Type"]) == (503, "text/html; charset=utf-8")
    assert service.ask("GET", "/ready/").status == 503
    assert service.ask("GET", "/health/").status == 200
    cluster.stop()
    cluster.start()
    service.wait_for(lambda: service.log_one(known, chosen).status in {200, 201}, 60)
    assert service.workers() == workers
    assert service.ask("GET", "/ready/").status == 200
    return chosen


def _refusal(service: Service, known: dict[str, str], chosen: str) -> Answer | None:
    """A killed server's children finish what they are at."""
    answer = service.log_one(known, chosen)
    return answer if answer.status >= 500 else None
