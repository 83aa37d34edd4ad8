"""A database that other processes can use too, of the same kind as that of the run."""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path
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


def tell_server(address: str, statement: str) -> None:
    import psycopg  # noqa: PLC0415  (only where the run is on PostgreSQL)

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[arg-type]
