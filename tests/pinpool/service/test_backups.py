"""A drill: back up under load, restore elsewhere, compare row by row and file by file. On the database of the run."""

import io
import json
import os
import subprocess
import sys
import tarfile
import threading
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.databases import database_of_its_own
from tests.served import PREPARE, ROOT, Server, send, shell

#: Every row of every table.
ROWS = """
import json
from django.db import connection
rows = {}
with connection.cursor() as cursor:
    for name in connection.introspection.table_names(cursor):
        cursor.execute(f'SELECT * FROM "{name}"')
        rows[name] = sorted(map(repr, cursor.fetchall()))
print(json.dumps(rows))
"""
LOGS = """
import json
from exposures.models import ExposureLog
print(json.dumps({str(log["id"]): repr(log) for log in ExposureLog.objects.values()}))
"""
#: A restore that is killed when all but the database is there.
KILLED = """
import os
import signal
from pathlib import Path
from pinpool.service import backups
backups._load = lambda dump: os.kill(os.getpid(), signal.SIGKILL)
backups.restore(Path({file!r}))
"""
#: A backup that takes longer than whoever asks PostgreSQL may idle in a transaction.
LONG = """
import time
from pathlib import Path
from django.db import connection
from pinpool.service import backups
with connection.cursor() as cursor:
    cursor.execute("SET idle_in_transaction_session_timeout = '100ms'")
dump = backups._postgres
backups._postgres = lambda *words: (time.sleep(0.5), dump(*words))
print(len(backups.back_up(Path({file!r}))["tables"]))
"""
#: What each of these files is refused for.
TRY = """
import json
from pathlib import Path
from pinpool.service.backups import CannotBackUp, restore
told = []
for file in {files}:
    try:
        told.append(str(restore(Path(file))))
    except CannotBackUp as fault:
        told.append(str(fault))
print(json.dumps(told))
"""


def manage(environment: dict[str, str], *words: str, refused: bool = False) -> str:
    """What a command printed; where it is to be refused, its reason."""
    done = subprocess.run(
        [sys.executable, "manage.py", *words], cwd=ROOT, env=environment, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == (1 if refused else 0), done.stderr
    return done.stderr if refused else done.stdout


class Drill:
    """A service that is written to, a backup made meanwhile, one made afterwards, and the file of each."""

    def __init__(self, here: dict[str, str], folder: Path) -> None:
        self.here, self.data = here, Path(here["PINPOOL_DATA"])
        (self.data / "media" / "pictures").mkdir(parents=True)
        (self.data / "media" / "pictures" / "a strip.jpg").write_bytes(bytes(range(256)) * 300)
        known = shell(here, PREPARE)
        server, done = Server(here), threading.Event()
        self.acknowledged: list[str] = []

        def load() -> None:
            while not done.is_set():
                chosen = str(uuid.uuid4())
                if send(server.port, known, chosen)[0] == 201:
                    self.acknowledged.append(chosen)

        hands = [threading.Thread(target=load) for _ in range(2)]
        for hand in hands:
            hand.start()
        try:
            while len(self.acknowledged) < 10:
                time.sleep(0.05)
            self.before = list(self.acknowledged)
            manage(here, "backup", str(folder / "meanwhile"))
            after = len(self.acknowledged)
        finally:
            done.set()
            for hand in hands:
                hand.join()
            server.kill()
        assert after > len(self.before)  # it did not keep the service waiting
        manage(here, "backup", str(folder / "afterwards"))
        [self.meanwhile], [self.afterwards] = (list((folder / name).iterdir()) for name in ("meanwhile", "afterwards"))


@pytest.fixture(scope="module")
def drill(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Drill]:
    with database_of_its_own(tmp_path_factory.mktemp("here")) as here:
        yield Drill(here, tmp_path_factory.mktemp("backups"))


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[dict[str, str]]:
    with database_of_its_own(tmp_path) as there:
        yield there


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_what_is_restored_is_the_same_row_by_row_and_file_by_file(drill: Drill, elsewhere: dict[str, str]) -> None:
    assert "rows" in manage(elsewhere, "restore", str(drill.afterwards))
    there, here = shell(elsewhere, ROWS), shell(drill.here, ROWS)
    assert there == here
    assert len(there["pinpool_exposures_exposurelog"]) >= len(drill.acknowledged)
    data = Path(elsewhere["PINPOOL_DATA"])
    assert files_in(data / "media") == files_in(drill.data / "media")
    assert (data / "secret_key").read_text() == (drill.data / "secret_key").read_text()
    assert "is not empty" in manage(elsewhere, "restore", str(drill.afterwards), refused=True)


def test_a_restore_that_was_killed_can_be_run_again(drill: Drill, elsewhere: dict[str, str]) -> None:
    with pytest.raises(AssertionError):  # no program that is killed ends well
        shell(elsewhere, KILLED.format(file=str(drill.afterwards)))
    data = Path(elsewhere["PINPOOL_DATA"])
    [left] = data.glob(".pinpool-restore-*")
    os.utime(left, times=(0, 0))
    other = data / "media" / "pictures" / "another strip.jpg"
    other.write_bytes(b"another")
    told = manage(elsewhere, "restore", str(drill.afterwards), refused=True)
    assert "another strip.jpg is not of this backup" in told
    other.unlink()
    manage(elsewhere, "restore", str(drill.afterwards))
    assert shell(elsewhere, ROWS) == shell(drill.here, ROWS)
    assert files_in(data / "media") == files_in(drill.data / "media")
    assert not left.exists()


def test_what_was_acknowledged_before_is_in_a_backup_made_under_load(drill: Drill, elsewhere: dict[str, str]) -> None:
    manage(elsewhere, "restore", str(drill.meanwhile))
    there, here = shell(elsewhere, LOGS), shell(drill.here, LOGS)
    assert set(drill.before) <= there.keys() <= here.keys()
    assert all(here[id] == row for id, row in there.items())  # noqa: A001


@pytest.mark.skipif("DATABASE_URL" not in os.environ, reason="on PostgreSQL alone")
def test_a_backup_may_take_long(drill: Drill, tmp_path: Path) -> None:
    assert shell(drill.here, LONG.format(file=str(tmp_path / "long.tar"))) > 20


def bent(file: Path, to: Path, change: Any) -> Path:
    """A copy of a backup with one part changed: `change(name, content)` gives its new content."""
    with tarfile.open(file) as old, tarfile.open(to, "w") as new:
        for member in old:
            content = old.extractfile(member).read()  # type: ignore[union-attr]
            content = change(member.name, content)
            member.size = len(content)
            new.addfile(member, io.BytesIO(content))
    return to


def with_manifest(**told: Any) -> Any:
    def change(name: str, content: bytes) -> bytes:
        return json.dumps(json.loads(content) | told).encode() if name == "manifest.json" else content

    return change


def test_what_cannot_be_restored_is_refused_before_anything_is_changed(
    drill: Drill, elsewhere: dict[str, str], tmp_path: Path
) -> None:
    flipped = bent(drill.afterwards, tmp_path / "1", lambda name, data: data[:-1] + b"!" if "strip" in name else data)
    climbing, link = tarfile.TarInfo("../climbed"), tarfile.TarInfo("secret_key")
    link.type, link.linkname = tarfile.SYMTYPE, "/etc/hostname"
    for number, part in enumerate((climbing, link), 5):
        with tarfile.open(tmp_path / str(number), "w") as tar:
            tar.addfile(part)
    newer = with_manifest(migrations=[["clubs", "9999_from_tomorrow"]], pinpool="9.9")
    reasons = {
        flipped: "damaged: media/pictures/a strip.jpg",
        bent(drill.afterwards, tmp_path / "2", newer): "newer version, 9.9: clubs.9999_from_tomorrow",
        bent(drill.afterwards, tmp_path / "3", with_manifest(engine="oracle")): "a backup of oracle",
        bent(drill.afterwards, tmp_path / "4", with_manifest(version=2)): "no backup that this version reads",
        tmp_path / "5": "../climbed is no file of a backup",
        tmp_path / "6": "secret_key is no file of a backup",
        tmp_path / "absent": "cannot be read as a backup",
        Path(__file__): "cannot be read as a backup",
    }
    told = shell(elsewhere, TRY.format(files=[str(file) for file in reasons]))
    assert [reason for reason, sentence in zip(reasons.values(), told, strict=True) if reason not in sentence] == []
    assert shell(elsewhere, ROWS) == {}


def test_only_the_newest_are_kept(drill: Drill, tmp_path: Path) -> None:
    for name in ("pinpool-20200101T000000Z.tar", "pinpool-20210101T000000Z.tar", "other.tar"):
        (tmp_path / name).touch()
    abandoned, made_now = tmp_path / ".pinpool-backup-1", tmp_path / ".pinpool-backup-2"
    for folder in (abandoned, made_now):
        (folder / "media").mkdir(parents=True)
    os.utime(abandoned, times=(0, 0))
    manage(drill.here, "backup", str(tmp_path), "--keep", "2")
    assert (abandoned.exists(), made_now.exists()) == (False, True)
    kept = sorted(path.name for path in tmp_path.glob("[!.]*"))
    assert (len(kept), kept[:2]) == (3, ["other.tar", "pinpool-20210101T000000Z.tar"])
    assert (tmp_path / kept[2]).stat().st_mode & 0o777 == 0o600
