"""Makes the files of a release that `test_upgrade.py` starts from, by the code of that release itself.

    DATABASE_URL=postgres://user@host:port/name python tests/releases/make.py COMMIT first|all FOLDER

Clones the commit aside, builds its environment from its own pins, fills an empty SQLite database through its API
(`fill.py` says with what), and keeps the database, the same rows on PostgreSQL, and what the API answered. `first`
keeps them bare, as the very first version had no backups; `all` as backups. The server of DATABASE_URL gets a
database for it.
"""

import gzip
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

ROOT = Path(__file__).resolve().parents[2]
NAME = "pinpool_release"


class Old:
    """A commit's own code, with an empty folder for its data."""

    def __init__(self, commit: str, folder: Path) -> None:
        self.code, self.data = folder / "code", folder / "data"
        _run(["git", "clone", "--quiet", "--no-checkout", str(ROOT), str(self.code)])
        _run(["git", "checkout", "--quiet", commit], cwd=self.code)
        kept = {name: text for name, text in os.environ.items() if not name.startswith(("PINPOOL", "VIRTUAL_ENV"))}
        self.environment = kept | {"PINPOOL_DATA": str(self.data)}
        _run(["uv", "sync", "--quiet", "--no-dev", "--python", sys.executable], cwd=self.code, env=self.environment)

    def python(self, *words: str, url: str = "") -> str:
        environment = {name: text for name, text in self.environment.items() if name != "DATABASE_URL"}
        environment |= {"DATABASE_URL": url} if url else {}
        return _run([str(self.code / ".venv/bin/python"), *words], cwd=self.code, env=environment)

    def manage(self, *words: str, url: str = "") -> str:
        return self.python("manage.py", *words, url=url)


def _run(command: list[str], **more: object) -> str:
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, **more).stdout  # type: ignore[call-overload,no-any-return]


def make(commit: str, how: str, to: Path) -> None:
    server = os.environ["DATABASE_URL"]
    url = urlunsplit(urlsplit(server)._replace(path=f"/{NAME}"))
    to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        old = Old(commit, folder)
        old.manage("migrate", "--verbosity", "0")
        old.python(str(ROOT / "tests/releases/fill.py"), how, str(to / "told.json"))
        database = old.data / "pinpool.sqlite3"
        with sqlite3.connect(database) as connection:
            connection.execute("VACUUM")
        connection.close()
        rows = folder / "rows.xml"  # as JSON it would lose microseconds
        rows.write_text(
            old.manage("dumpdata", "--format", "xml", "--exclude", "contenttypes", "--exclude", "auth.permission")
        )
        _run(["psql", "--quiet", server, "--command", f"CREATE DATABASE {NAME}"])
        try:
            old.manage("migrate", "--verbosity", "0", url=url)
            old.manage("loaddata", "--verbosity", "0", str(rows), url=url)
            keep = _keep_bare if how == "first" else _keep_backups
            keep(old, database, url, to)
        finally:
            _run(["psql", "--quiet", server, "--command", f"DROP DATABASE {NAME} WITH (FORCE)"])


def _keep_bare(old: Old, database: Path, url: str, to: Path) -> None:
    _zip(database.read_bytes(), to / "pinpool.sqlite3.gz")
    text = _run(["pg_dump", "--inserts", "--no-owner", "--no-privileges", url])
    # Newer programs write words of psql's own into it, which the server does not know.
    lines = (line for line in text.splitlines(keepends=True) if not line.startswith("\\"))
    _zip("".join(lines).encode(), to / "postgresql.sql.gz")


def _keep_backups(old: Old, database: Path, url: str, to: Path) -> None:
    for name, address in (("sqlite", ""), ("postgresql", url)):
        folder = old.data.parent / name
        folder.mkdir()
        old.manage("backup", str(folder), url=address)
        [file] = folder.iterdir()
        _zip(file.read_bytes(), to / f"{name}.tar.gz")


def _zip(content: bytes, to: Path) -> None:
    to.write_bytes(gzip.compress(content, 9, mtime=0))


if __name__ == "__main__":
    if not shutil.which("pg_dump"):
        sys.exit("This needs PostgreSQL's client programs.")
    make(sys.argv[1], sys.argv[2], Path(sys.argv[3]))
