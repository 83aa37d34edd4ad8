"""A database that other processes can use too, of the same kind as that of the run."""

import json
import os
import subprocess
import sys
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import pytest


@pytest.fixture
def own_database(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of a process that is to work on a new, empty database."""
    environment = os.environ | {"PINPOOL_DATA": str(tmp_path), "OPENBLAS_NUM_THREADS": "1"}
    address = os.environ.get("DATABASE_URL")
    if not address:
        yield environment
        return
    name = f"pinpool_race_{uuid.uuid4().hex[:12]}"
    tell_server(address, f'CREATE DATABASE "{name}"')
    yield environment | {"DATABASE_URL": urlunsplit(urlsplit(address)._replace(path=f"/{name}"))}
    tell_server(address, f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def run(request: pytest.FixtureRequest, own_database: dict[str, str]) -> Callable[[str], Any]:
    """`run(name)`: what came of a race of the module's `RACE`, in processes and a database of its own."""

    def race(which: str) -> Any:
        command = [sys.executable, str(request.module.RACE), which]
        done = subprocess.run(command, env=own_database, capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout.splitlines()[-1])

    return race


def tell_server(address: str, statement: str) -> None:
    import psycopg  # noqa: PLC0415  (only where the run is on PostgreSQL)

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[arg-type]
