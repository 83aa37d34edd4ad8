"""A disk that is full: what cannot be stored is refused and leaves nothing; what is there can be read."""

import os
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest

from tests.bodies import CLUB, picture
from tests.databases import new_name, tell_server
from tests.faults.service import CREEK, Service, form
from tests.served import shell

pytestmark = pytest.mark.faults

SIZE = "48m"
BROKEN = """
import json
from django.db import connection
with connection.cursor() as cursor:
    print(json.dumps([row[0] for row in cursor.execute("PRAGMA integrity_check").fetchall()]
                     if connection.vendor == "sqlite" else ["ok"]))
"""


@pytest.fixture
def disk() -> Iterator[Path]:
    """A small disk of its own, to which PostgreSQL finds its way too."""
    if os.geteuid() != 0:
        pytest.skip("NOT RUN: only root can mount a small disk")
    with tempfile.TemporaryDirectory() as folder:
        mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", folder]
        done = subprocess.run(mount, capture_output=True, text=True, check=False)
        if done.returncode:
            pytest.skip(f"NOT RUN: no small disk can be mounted here: {done.stderr.strip()}")
        Path(folder).chmod(0o755)
        try:
            yield Path(folder)
        finally:
            subprocess.run(["umount", "-l", folder], check=True)


@pytest.fixture
def there(disk: Path, here: dict[str, str], untouched: str) -> Iterator[dict[str, str]]:
    """The database and the pictures on that disk.

    Of PostgreSQL only the tables are: it stops where there is no room for its journal, which is a database away.
    """
    (disk / "data").mkdir()
    moved = here | {"PINPOOL_DATA": str(disk / "data")}
    if "DATABASE_URL" not in here:
        shutil.copy(untouched, disk / "data" / "pinpool.sqlite3")
        yield moved
        return
    (disk / "tables").mkdir()
    name = new_name()
    try:
        shutil.chown(disk / "tables", "postgres")
        tell_server(f"CREATE TABLESPACE \"{name}\" LOCATION '{disk / 'tables'}'")
    except (LookupError, psycopg.Error) as fault:
        pytest.skip(f"NOT RUN: the server of the run cannot keep tables on a disk of ours: {fault}")
    tell_server(f'CREATE DATABASE "{name}" TEMPLATE "{untouched}" TABLESPACE "{name}"')
    yield moved | {"DATABASE_URL": urlunsplit(urlsplit(here["DATABASE_URL"])._replace(path=f"/{name}"))}
    tell_server(f'DROP DATABASE "{name}" WITH (FORCE)')
    tell_server(f'DROP TABLESPACE "{name}"')


def fill(ballast: Path) -> None:
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return


def test_a_full_disk_is_said_and_leaves_nothing_half_written(
    there: dict[str, str], known: dict[str, str], disk: Path, tmp_path: Path
) -> None:
    service = Service(there, tmp_path / "log")
    try:
        first = str(uuid.uuid4())
        assert service.log_one(known, first).status == 201
        fill(disk / "ballast")
        stored, refused = {first}, None
        for _ in range(100):  # there is still room inside the files that there are
            entries = [entry(known) for _ in range(50)]
            answer = service.ask("POST", f"{CREEK}exposures/bulk/", entries, token=known["token"])
            if answer.status >= 300:
                refused = answer
                break
            stored |= {each["id"] for each in entries}
        assert refused is not None
        assert (refused.status, refused.headers["Content-Type"]) == (507, "application/problem+json")
        assert refused.data["type"] == "urn:pinpool:problem:storage_full"
        fill(disk / "more")
        body, kind = form("image", picture("PNG"), caption="from above")
        photos = f"{CREEK}cameras/T1/photos/"
        answer = service.ask("POST", photos, body, token=known["manage"], Content_Type=kind)
        assert answer.status == 507, answer.content
        assert [path for path in (disk / "data" / "media").rglob("*") if path.is_file()] == []
        assert service.ask("GET", photos, token=known["manage"]).data["results"] == []
        assert set(service.logged(known)) == stored
        assert service.ask("GET", "/health/").status == 200
        (disk / "ballast").unlink()
        (disk / "more").unlink(missing_ok=True)
        assert service.ask("POST", f"{CREEK}exposures/bulk/", entries, token=known["token"]).status in {200, 201}
        assert service.ask("POST", photos, body, token=known["manage"], Content_Type=kind).status == 201
        assert set(service.logged(known)) == stored | {each["id"] for each in entries}
        assert shell(there, BROKEN) == ["ok"]
    finally:
        service.stop()


def entry(known: dict[str, str]) -> dict[str, object]:
    return CLUB["exposures/"] | {"paper": known["paper"], "id": str(uuid.uuid4()), "note": "invented " * 100}
