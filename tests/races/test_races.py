"""Eight at once: one does it, the others are told so, and nothing is counted twice. On the database of the run."""

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

RACE = Path(__file__).with_name("race.py")


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Callable[[str], Any]]:
    """`run(name)`: what came of a race, in processes and a database of its own."""
    environment = os.environ | {"PINPOOL_DATA": str(tmp_path), "OPENBLAS_NUM_THREADS": "1"}
    address = os.environ.get("DATABASE_URL")
    name = f"pinpool_race_{uuid.uuid4().hex[:12]}"
    if address:
        tell_server(address, f'CREATE DATABASE "{name}"')
        environment["DATABASE_URL"] = urlunsplit(urlsplit(address)._replace(path=f"/{name}"))

    def race(which: str) -> Any:
        done = subprocess.run(
            [sys.executable, str(RACE), which],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout.splitlines()[-1])

    yield race
    if address:
        tell_server(address, f'DROP DATABASE "{name}" WITH (FORCE)')


def tell_server(address: str, statement: str) -> None:
    import psycopg  # noqa: PLC0415  (only where the run is on PostgreSQL)

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[arg-type]


def test_the_same_log_is_stored_and_counted_once(run: Callable[[str], Any]) -> None:
    assert run("same_log") == {"statuses": [200] * 7 + [201], "stored": 1, "counted": 1}


def test_different_logs_are_all_counted_in_one_cell(run: Callable[[str], Any]) -> None:
    assert run("other_logs") == {"statuses": [201] * 8, "stored": 8, "cells": [8]}


def test_one_of_eight_changes_a_record(run: Callable[[str], Any]) -> None:
    assert run("same_record") == {"statuses": [200] + [412] * 7, "revision": 2}
