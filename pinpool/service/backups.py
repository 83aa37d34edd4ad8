"""The whole service in one file: database, pictures, secret key, and a manifest by which it is verified.

A tar file of `manifest.json`, then what it lists. The database is in its own server's form, as it was at one moment
while the service ran: SQLite's copy, or PostgreSQL's `pg_dump`, whose programs must then be installed.
"""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import tarfile
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from pinpool import __version__
from pinpool.service.versions import bring_up_to_date

FORMAT, VERSION = "pinpool-backup", 1
_DATABASE, _SECRET, _MEDIA = "database", "secret_key", "media"
#: What a manifest tells of its backup, beside its format and version.
_TOLD = {"engine": str, "pinpool": str, "migrations": list, "tables": dict, "files": dict}
#: No backup and no restore takes so long: a folder of that age was left by one that was killed.
_ABANDONED_S = 24 * 3600


class CannotBackUp(Exception):
    """The sentence says what stands in the way; nothing was changed."""


# ----------------------------------------------------------------------------------------------------- backing up


def back_up(to: Path) -> dict[str, Any]:
    """Write the file `to`, readable by its owner alone; gives its manifest. What is there already stays."""
    if to.exists():
        raise CannotBackUp(f"{to} is there already.")
    with _folder(to.parent, ".pinpool-backup-") as folder:
        _copy_media(folder)
        tables = _dump(folder / _DATABASE)
        _copy_media(folder)  # what came meanwhile: the database may already tell of it
        if (key := _data() / _SECRET).exists():
            shutil.copy(key, folder / _SECRET)
        manifest: dict[str, Any] = {
            "format": FORMAT,
            "version": VERSION,
            "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "pinpool": __version__,
            "engine": connection.vendor,
            "migrations": sorted(map(list, MigrationRecorder(connection).applied_migrations())),
            "tables": tables,
            "files": {str(path.relative_to(folder)): _told(path) for path in _files(folder)},
        }
        (folder / "manifest.json").write_text(json.dumps(manifest, indent=1), encoding="utf-8")
        part = folder / "part"
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
            with tarfile.open(fileobj=file, mode="w|") as tar:
                for name in ("manifest.json", *manifest["files"]):
                    tar.add(folder / name, name)
            file.flush()
            os.fsync(file.fileno())
        part.rename(to)
    return manifest


def _copy_media(folder: Path) -> None:
    root = Path(settings.MEDIA_ROOT)
    for path in _files(root):
        there = folder / _MEDIA / path.relative_to(root)
        if not there.exists():
            there.parent.mkdir(parents=True, exist_ok=True)
            try:
                shutil.copy2(path, there)
            except FileNotFoundError:  # taken away meanwhile, with its row
                there.unlink(missing_ok=True)


def _dump(to: Path) -> dict[str, int]:
    """The database as it is at one moment; gives the number of rows of each table."""
    if connection.vendor == "sqlite":
        with (
            closing(sqlite3.connect(settings.DATABASES["default"]["NAME"])) as live,
            closing(sqlite3.connect(to)) as copy,
        ):
            live.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
            return {name: _count(copy.execute, name) for name in _tables()}
    with connection.cursor() as cursor:
        cursor.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
        try:
            cursor.execute("SET LOCAL idle_in_transaction_session_timeout = 0")  # while the program dumps
            cursor.execute("SELECT pg_export_snapshot()")
            _postgres("pg_dump", "--format=custom", "--no-owner", f"--snapshot={cursor.fetchone()[0]}", f"--file={to}")
            return {name: _count(cursor.execute, name) for name in _tables()}
        finally:
            cursor.execute("ROLLBACK")


# ------------------------------------------------------------------------------------------------------ restoring


def restore(file: Path) -> dict[str, Any]:
    """Bring all of a backup into an empty database and an empty folder of pictures, verified; gives its manifest.

    A backup of an older version is brought up to date. Raises `CannotBackUp` before anything is changed for a file that
    is damaged, of a newer version, or of another kind of database, and where something else is there already. The
    database comes last: a restore that was killed can be run again.
    """
    if connection.introspection.table_names():
        raise CannotBackUp("The database is not empty. Restore into a new one, and then point the service at it.")
    with _folder(_data(), ".pinpool-restore-") as folder:
        manifest = _unpacked(file, folder)
        _refuse_what_is_newer(manifest)
        _refuse_other_pictures(folder)
        if (folder / _MEDIA).exists():
            shutil.copytree(folder / _MEDIA, settings.MEDIA_ROOT, dirs_exist_ok=True)
        if (folder / _SECRET).exists():
            shutil.copy(folder / _SECRET, _data() / _SECRET)
        _load(folder / _DATABASE)
    with connection.cursor() as cursor:
        found = {name: _count(cursor.execute, name) for name in manifest["tables"]}
    if found != manifest["tables"]:
        wrong = ", ".join(name for name in found if found[name] != manifest["tables"][name])
        raise CannotBackUp(f"These tables came back with other numbers of rows: {wrong}.")
    bring_up_to_date()
    return manifest


def _unpacked(file: Path, folder: Path) -> dict[str, Any]:
    """The manifest of a file whose every part is as it says, unpacked into the folder."""
    try:
        with tarfile.open(file, "r:") as tar:  # a packed one could unpack to anything
            for part in tar:
                _unpack(tar, part, folder.resolve())
        manifest = _manifest((folder / "manifest.json").read_text(encoding="utf-8"))
        if manifest["format"] != FORMAT or manifest["version"] != VERSION:
            raise CannotBackUp(f"{file} is no backup that this version reads.")
        found = {str(path.relative_to(folder)): _told(path) for path in _files(folder)}
        del found["manifest.json"]
        wrong = sorted(name for name in found | manifest["files"] if found.get(name) != manifest["files"].get(name))
    except (OSError, tarfile.TarError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
        raise CannotBackUp(f"{file} cannot be read as a backup: {fault}.") from fault
    if wrong:
        raise CannotBackUp(f"{file} is damaged: {wrong[0]} is not as its manifest says.")
    return manifest


def _manifest(text: str) -> dict[str, Any]:
    manifest: dict[str, Any] = json.loads(text)
    pairs = all(isinstance(each, list) and list(map(type, each)) == [str, str] for each in manifest["migrations"])
    if not pairs or any(not isinstance(manifest[name], kind) for name, kind in _TOLD.items()):
        raise ValueError("its manifest does not tell what it should")
    return manifest


def _unpack(tar: tarfile.TarFile, part: tarfile.TarInfo, folder: Path) -> None:
    """Write one file, below the folder whatever its name says: Pythons before 3.11.4 have no filter for that."""
    there = (folder / part.name).resolve()
    content = tar.extractfile(part) if part.isreg() else None
    if content is None or not there.is_relative_to(folder):
        raise ValueError(f"{part.name} is no file of a backup")
    there.parent.mkdir(parents=True, exist_ok=True)
    with content, os.fdopen(os.open(there, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        shutil.copyfileobj(content, file)


def _refuse_what_is_newer(manifest: dict[str, Any]) -> None:
    if manifest["engine"] != connection.vendor:
        raise CannotBackUp(f"This is a backup of {manifest['engine']}, and the database here is {connection.vendor}.")
    known = MigrationLoader(None).disk_migrations
    newer = [f"{app}.{name}" for app, name in manifest["migrations"] if (app, name) not in known]
    if newer:
        raise CannotBackUp(f"It was made by a newer version, {manifest['pinpool']}: {newer[0]} is not known here.")


def _refuse_other_pictures(folder: Path) -> None:
    """Nothing is laid over: what is there can only be this backup's own, from a restore that was killed."""
    root = Path(settings.MEDIA_ROOT)
    for path in _files(root):
        ours = folder / _MEDIA / path.relative_to(root)
        if not (ours.exists() and ours.read_bytes().startswith(path.read_bytes())):
            raise CannotBackUp(f"The folder of pictures, {root}, is not empty: {path.name} is not of this backup.")


def _load(dump: Path) -> None:
    if connection.vendor == "sqlite":
        connection.close()
        name = Path(settings.DATABASES["default"]["NAME"])
        dump.replace(name)  # all of it or nothing, should we be killed here
        for beside in ("-wal", "-shm"):
            name.with_name(name.name + beside).unlink(missing_ok=True)
    else:
        _postgres("pg_restore", "--no-owner", "--exit-on-error", "--single-transaction",
                  f"--dbname={settings.DATABASES['default']['NAME']}", str(dump))  # fmt: skip


# --------------------------------------------------------------------------------------------------------- shared


@contextmanager
def _folder(inside: Path, prefix: str) -> Iterator[Path]:
    """A folder for the time of the block, readable by its owner alone; those of killed runs are taken away."""
    for left in inside.glob(f"{prefix}*"):
        if time.time() - left.stat().st_mtime > _ABANDONED_S:
            shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(dir=inside, prefix=prefix) as made:
        yield Path(made)


def _postgres(program: str, *words: str) -> None:
    """Run one of PostgreSQL's own programs on our database; the password goes by the environment."""
    told = settings.DATABASES["default"]
    names = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
    environment = os.environ | {key: str(told[name]) for key, name in names.items() if told.get(name)}
    try:
        done = subprocess.run(  # noqa: S603  (all words are ours)
            [program, *words], env=environment, capture_output=True, text=True, check=False
        )
    except FileNotFoundError:
        raise CannotBackUp(f"{program} is not installed: it comes with PostgreSQL's client programs.") from None
    if done.returncode:
        raise CannotBackUp(f"{program} failed: {done.stderr.strip()[-500:]}")


def _tables() -> list[str]:
    return sorted(connection.introspection.table_names())


def _count(execute: Any, table: str) -> int:
    answer = execute(f"SELECT count(*) FROM {connection.ops.quote_name(table)}")  # noqa: S608  (our own tables)
    cursor = answer if hasattr(answer, "fetchone") else execute.__self__
    return int(cursor.fetchone()[0])


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.rglob("*")) if path.is_file())


def _told(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return {"bytes": path.stat().st_size, "sha256": hashlib.file_digest(file, "sha256").hexdigest()}


def _data() -> Path:
    return Path(settings.DATA_DIR)
