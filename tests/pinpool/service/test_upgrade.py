"""Databases of older versions, brought up to date: no row is lost, and the API answers as it did."""

import gzip
import http.client
import json
import socket
import sqlite3
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.databases import database_of_its_own
from tests.pinpool.service.test_backups import manage
from tests.pinpool.service.test_serving import wait_until_ready
from tests.served import ROOT, shell

RELEASES = ROOT / "fixtures" / "releases"
#: Each run of this is killed within its second migration, when all of that is done but for saying so.
KILLED = """
import json, os, signal
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from pinpool.service.versions import bring_up_to_date, unapplied

really = MigrationRecorder.record_applied
seen = []

def record(self, app, name):
    seen.append(name)
    if len(seen) == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    really(self, app, name)

missed, killed, ended = len(unapplied()), 0, -signal.SIGKILL
while ended == -signal.SIGKILL:
    connection.close()
    if not (child := os.fork()):
        MigrationRecorder.record_applied = record
        bring_up_to_date()
        os._exit(0)
    ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    killed += ended != 0
print(json.dumps({"ended": ended, "killed": killed, "missed": missed, "left": unapplied()}))
"""


@pytest.fixture
def here(tmp_path: Path) -> Iterator[dict[str, str]]:
    with database_of_its_own(tmp_path) as environment:
        yield environment


@contextmanager
def opened(here: dict[str, str]) -> Iterator[Any]:
    """A connection to the database, by its own driver; whatever is done is kept."""
    if "DATABASE_URL" not in here:
        with closing(
            sqlite3.connect(Path(here["PINPOOL_DATA"]) / "pinpool.sqlite3", isolation_level=None)
        ) as connection:
            yield connection
        return
    import psycopg  # noqa: PLC0415  (only where the run is on PostgreSQL)

    with psycopg.connect(here["DATABASE_URL"], autocommit=True) as connection:
        yield connection


def place(release: str, here: dict[str, str]) -> Any:
    """Put a release's database there; gives what is told of it."""
    kept = RELEASES / release
    engine = "postgresql" if "DATABASE_URL" in here else "sqlite"
    if release != "first":
        backup = Path(here["PINPOOL_DATA"]) / "kept.tar"
        backup.write_bytes(gzip.decompress((kept / f"{engine}.tar.gz").read_bytes()))
        manage(here, "restore", str(backup))
    elif engine == "sqlite":
        database = gzip.decompress((kept / "pinpool.sqlite3.gz").read_bytes())
        (Path(here["PINPOOL_DATA"]) / "pinpool.sqlite3").write_bytes(database)
    else:
        with opened(here) as connection:
            connection.execute(gzip.decompress((kept / "postgresql.sql.gz").read_bytes()))
    return json.loads((kept / "told.json").read_text(encoding="utf-8"))


Rows = dict[str, list[dict[str, Any]]]


def rows_in(here: dict[str, str]) -> Rows:
    """Every row of every table of ours, and of the accounts."""
    listing = "SELECT name FROM sqlite_master WHERE type = 'table'"
    if "DATABASE_URL" in here:
        listing = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
    found = {}
    with opened(here) as connection:
        for (table,) in connection.execute(listing).fetchall():
            if table.startswith(("pinpool_", "auth_user")) and table != "pinpool_cache":
                cursor = connection.execute(f'SELECT * FROM "{table}"')  # noqa: S608  (our own tables)
                names = [column[0] for column in cursor.description]
                found[table] = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    return found


def lost(before: Rows, after: Rows) -> list[str]:
    """Rows of before that are not there, with the same in every column but those that became something else."""
    became = {"process", "last_login", "last_used_at"}
    gone = []
    for table, rows in before.items():
        for row in rows:
            same = {name: value for name, value in row.items() if name not in became}
            if not any(same.items() <= other.items() for other in after[table]):
                gone.append(f"{table} {row}")
    return gone


def missing(kept: Any, now: Any, at: str = "") -> list[str]:
    """Where an answer is not what it was, but for keys added since.

    A log's `process` was a text before it was an object with a note; nothing else that was kept has changed its kind.
    """
    if at.endswith("/process") and isinstance(kept, str):
        kept = {"note": kept} if kept else None
    if isinstance(kept, dict) and isinstance(now, dict):
        return [
            each
            for key in kept
            for each in (missing(kept[key], now[key], f"{at}/{key}") if key in now else [f"{at}/{key} is gone"])
        ]
    if isinstance(kept, list) and isinstance(now, list) and len(kept) == len(now):
        return [each for i, pair in enumerate(zip(kept, now, strict=True)) for each in missing(*pair, f"{at}/{i}")]
    return [] if kept == now else [f"{at}: {str(kept)[:80]} became {str(now)[:80]}"]


class Served:
    """The site of today on that database, as a keeper starts it."""

    def __init__(self, here: dict[str, str]) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = [sys.executable, "manage.py", "serve", "--trial", "--workers", "1", "--port", str(self.port)]
        self.process = subprocess.Popen(
            command, cwd=ROOT, env=here, text=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )

    def __enter__(self) -> "Served":
        wait_until_ready(self.process, self.port)
        return self

    def __exit__(self, *fault: object) -> None:
        self.process.terminate()
        assert self.process.wait(60) == 0

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> tuple[int, Any]:
        """The status, and what was answered: its digest where that is no JSON."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        with closing(connection):
            told = {"Host": "localhost", "Content-Type": "application/json"} | {
                key.replace("_", "-"): text for key, text in headers.items()
            }
            connection.request(method, path, None if body is None else json.dumps(body), told)
            answer = connection.getresponse()
            content = answer.read()
            self.cookies = "; ".join(text.split(";")[0] for text in answer.headers.get_all("Set-Cookie", []))
            is_json = "json" in answer.headers["Content-Type"]
            return answer.status, json.loads(content) if is_json else sha256(content).hexdigest()

    def sign_in(self, name: str, password: str) -> int:
        _, page = self.ask("GET", "/api/v1/accounts/login/")
        told = {"username": name, "password": password}
        headers = {"Cookie": self.cookies, "X-CSRFToken": page["csrf_token"]}
        return self.ask("POST", "/api/v1/accounts/login/", told, **headers)[0]


@pytest.mark.parametrize("release", ["first", "0.1.0"])
def test_an_older_database_is_served(release: str, here: dict[str, str]) -> None:
    """Every row is there, the API answers as it did, old passwords and tokens open, and the log goes on."""
    told = place(release, here)
    before = rows_in(here)
    with Served(here) as site:
        wrong = []
        for asked, kept in told["answers"].items():
            who, path = asked.split(" ")
            _, now = site.ask("GET", path, Authorization=f"Bearer {told['tokens'][who]}")
            wrong += [f"{asked} {fault}" for fault in missing(kept, now)]
        assert wrong == []
        assert site.sign_in("wader", told["password"]) == 200
        assert site.sign_in("wader", "another") == 401
        entry = told["entry"] | {"id": str(uuid.uuid4()), "taken_at": "2026-08-01T12:00:00Z"}
        by = {"Authorization": f"Bearer {told['tokens']['wader']}"}
        assert site.ask("POST", "/api/v1/clubs/saltmarsh/exposures/", entry, **by)[0] == 201
    assert lost(before, rows_in(here)) == []


def test_killed_in_every_migration(here: dict[str, str]) -> None:
    """Each is done whole or not at all, so that running it again gets on with what is left."""
    place("first", here)
    before = rows_in(here)
    told = shell(here, KILLED)
    assert (told["ended"], told["left"]) == (0, [])
    assert told["killed"] == told["missed"] - 1 > 10
    assert lost(before, rows_in(here)) == []


def test_code_older_than_its_database_is_not_served(here: dict[str, str]) -> None:
    place("first", here)
    with opened(here) as connection:
        connection.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('pinpool_clubs', '9999_later', '2030-01-01')"
        )
    before = rows_in(here)
    told = manage(here, "serve", "--trial", refused=True)
    assert "older than its database, which pinpool_clubs.9999_later has changed" in told
    assert rows_in(here) == before
