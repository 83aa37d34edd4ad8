"""Databases that other processes can use too, of the same kind as that of the run."""

import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit


@contextmanager
def database_of_its_own(folder: Path) -> Iterator[dict[str, str]]:
    """The environment of a process that is to work on a new, empty database."""
    environment = os.environ | {"PINPOOL_DATA": str(folder), "OPENBLAS_NUM_THREADS": "1"}
    address = os.environ.get("DATABASE_URL")
    if not address:
        yield environment
        return
    name = new_name()
    tell_server(f'CREATE DATABASE "{name}"')
    yield environment | {"DATABASE_URL": urlunsplit(urlsplit(address)._replace(path=f"/{name}"))}
    tell_server(f'DROP DATABASE "{name}" WITH (FORCE)')


@contextmanager
def copied(environment: dict[str, str], folder: Path) -> Iterator[str]:
    """A copy of a database that nobody works on just now: a file, or the name of a database of the run's server."""
    name = new_name()
    if "DATABASE_URL" not in environment:
        yield str(shutil.copy(Path(environment["PINPOOL_DATA"]) / "pinpool.sqlite3", folder / f"{name}.sqlite3"))
        return
    tell_server(f'CREATE DATABASE "{name}" TEMPLATE "{urlsplit(environment["DATABASE_URL"]).path[1:]}"')
    yield name
    tell_server(f'DROP DATABASE "{name}" WITH (FORCE)')


def new_name() -> str:
    return f"pinpool_race_{uuid.uuid4().hex[:12]}"


def tell_server(statement: str) -> None:
    """Run a statement on the server of the run, outside any transaction."""
    import psycopg  # noqa: PLC0415  (only where the run is on PostgreSQL)

    with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[arg-type]
