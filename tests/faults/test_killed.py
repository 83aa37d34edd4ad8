"""Workers, and the whole service, killed at random moments while eight clients write."""

import http.client
import json
import os
import random
import secrets
import signal
import sqlite3
import threading
import time
import uuid
from contextlib import closing, suppress
from math import isclose
from pathlib import Path
from typing import Any

import pytest

from tests.bodies import CLUB
from tests.faults.conftest import on_sqlite
from tests.faults.service import CREEK, Service
from tests.served import shell

pytestmark = pytest.mark.faults

WRITERS = 8
#: What is killed, in an order drawn by chance: a worker, both workers, the server (and then all is started anew).
VICTIMS = ["worker"] * 3 + ["workers"] * 2 + ["server"]
#: What is stored: ids, how many entries of the trail each has, and the cells beside what the logs add up to.
STORED = """
import json
from collections import Counter
from django.db import connection
from clubs.models import TrailEntry
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
SUMS = ("logs", "weight", "x", "xx", "y", "xy", "yy")
names = [name for name in SUMS if any(field.name == name for field in EvidenceCell._meta.fields)]
with connection.cursor() as cursor:
    if connection.vendor == "sqlite":
        faults = [row for pragma in ("integrity_check", "foreign_key_check")
                  for row in cursor.execute(f"PRAGMA {pragma}").fetchall() if row != ("ok",)]
    else:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS amcheck")
        cursor.execute("SELECT bt_index_check(c.oid, true) FROM pg_class c JOIN pg_am a ON a.oid = c.relam "
                       "JOIN pg_namespace n ON n.oid = c.relnamespace "
                       "WHERE a.amname = 'btree' AND n.nspname = 'public' AND c.relkind = 'i'")
        faults = []
print(json.dumps({
    "ids": [str(id) for id in ExposureLog.objects.values_list("id", flat=True)],
    "trail": Counter(TrailEntry.objects.filter(action="log_exposure").values_list("subject", flat=True)),
    "kept": sorted(EvidenceCell.objects.values_list(*names)),
    "anew": sorted(tuple(row[name] for name in names) for row in summed(ExposureLog.objects.all())),
    "faults": faults,
}, default=str))
"""


class Writers:
    """Each sends entries of ids that it chose, once each, and notes what it was told."""

    def __init__(self, service: Service, known: dict[str, str]) -> None:
        self.service, self.known, self.done = service, known, threading.Event()
        self.acknowledged: set[str] = set()
        self.unanswered: set[str] = set()
        self.odd: list[int] = []
        self.hands = [threading.Thread(target=self.write) for _ in range(WRITERS)]

    def write(self) -> None:
        while not self.done.is_set():
            chosen = str(uuid.uuid4())
            try:
                status = self.service.log_one(self.known, chosen).status
            except (OSError, http.client.HTTPException):
                self.unanswered.add(chosen)
                time.sleep(0.05)
                continue
            if status == 201:
                self.acknowledged.add(chosen)
            else:
                self.odd.append(status)


def kill(service: Service, victim: str, rng: random.Random) -> None:
    if victim == "server":
        service.kill()
        service.start()
        return
    workers = service.workers()
    for worker in workers if victim == "workers" else [rng.choice(workers)] if workers else []:
        with suppress(ProcessLookupError):
            os.kill(worker, signal.SIGKILL)


def test_what_was_acknowledged_is_there_once_whatever_was_killed(
    service: Service, known: dict[str, str], here: dict[str, str]
) -> None:
    seed = int(os.environ.get("PINPOOL_FAULTS_SEED") or secrets.randbelow(10**6))
    print(f"PINPOOL_FAULTS_SEED={seed}")  # noqa: T201  (shown where it fails)
    rng, writers = random.Random(seed), Writers(service, known)  # noqa: S311
    already = set(service.logged(known))
    for hand in writers.hands:
        hand.start()
    try:
        for victim in rng.sample(VICTIMS, len(VICTIMS)):
            time.sleep(rng.uniform(0.2, 2.0))
            kill(service, victim, rng)
        service.wait_until_ready()
        before = len(writers.acknowledged)
        service.wait_for(lambda: len(writers.acknowledged) > before + WRITERS, 60)  # it came back by itself
    finally:
        writers.done.set()
        for hand in writers.hands:
            hand.join()
    assert writers.odd == []
    assert writers.unanswered  # the kills hit
    stored = shell(here, STORED)
    ids = set(stored["ids"]) - already
    assert len(ids) + len(already) == len(stored["ids"])
    assert writers.acknowledged <= ids <= writers.acknowledged | writers.unanswered
    _assert_whole(stored)
    for chosen in writers.unanswered:
        assert service.log_one(known, chosen).status == (200 if chosen in ids else 201)
    stored = shell(here, STORED)
    assert sorted(stored["ids"]) == sorted(already | writers.acknowledged | writers.unanswered)
    _assert_whole(stored)


@on_sqlite
def test_workers_that_were_told_to_stop_go_with_their_server(
    service: Service, known: dict[str, str], here: dict[str, str]
) -> None:
    """What they are asked for is held up, who asked has gone, and their server dies while it waits for them."""
    log, workers = CLUB["exposures/"] | {"paper": known["paper"]}, service.workers()
    with closing(sqlite3.connect(Path(here["PINPOOL_DATA"]) / "pinpool.sqlite3", isolation_level=None)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        for _ in range(WRITERS):
            with pytest.raises(TimeoutError):
                service.ask("POST", f"{CREEK}exposures/", log, token=known["token"], timeout=0.3)
        service.process.send_signal(signal.SIGTERM)
        time.sleep(1)
        assert any(map(_runs, workers))
        service.process.kill()
        service.process.wait()
        ends = time.monotonic() + 10
        while any(map(_runs, workers)):
            assert time.monotonic() < ends
            time.sleep(0.1)
    service.start()


def _runs(process: int) -> bool:
    with suppress(FileNotFoundError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2][0] != "Z"
    return False


def _assert_whole(stored: dict[str, Any]) -> None:
    """Each log has its entry in the trail, and is counted in the cells."""
    assert stored["faults"] == []
    assert len(stored["trail"]) == len(stored["ids"]), json.dumps(stored["trail"])[:300]
    assert set(stored["trail"].values()) <= {1}
    assert len(stored["kept"]) == len(stored["anew"])
    for kept, anew in zip(stored["kept"], stored["anew"], strict=True):
        assert all(isclose(*pair, rel_tol=1e-9, abs_tol=1e-9) for pair in zip(kept, anew, strict=True))
