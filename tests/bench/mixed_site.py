"""The site of `mixed.py`: clubs with people, `manage.py serve` as a keeper runs it, its memory, and what it stored."""

import json
import os
import resource
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
ROOT = HERE.parents[2]
CLUBS, PEOPLE, CAMERAS, PAPERS, LOGS = 4, 8, 10, 6, 250
PASSWORD, EMBED_ORIGIN = "salt marsh at low tide", "https://walkers.example"
#: As behind a proxy that speaks https: whatever is less, `serve` refuses.
SAFE = {"PINPOOL_HTTPS": "1", "PINPOOL_ALLOWED_HOSTS": "127.0.0.1"}


@dataclass
class Club:
    """What its people know of a club."""

    slug: str
    cameras: list[str]
    papers: list[str]
    workshop: int = 0


@dataclass
class Person:
    """A member with a token; the first of a club is its keeper."""

    club: Club
    username: str
    token: str
    keeper: bool
    cookies: str = ""
    #: Bodies of their own logs that nobody corrected yet.
    logged: list[dict[str, Any]] = field(default_factory=list)


def fill() -> list[Person]:
    """Clubs with cameras, papers, logs that teach something, a workshop, and an origin that may embed them."""
    import numpy as np  # noqa: PLC0415  (the settings are ready only now, below too)
    from django.contrib.auth.hashers import make_password  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connections  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    from pinpool.models import ApiToken  # noqa: PLC0415
    from tests import factories as make  # noqa: PLC0415

    secret, rng, people = make_password(PASSWORD), np.random.default_rng(1), []
    for number in range(CLUBS):
        here = make.ClubFactory.create(slug=f"saltmarsh-{number}")
        members = [
            make.MembershipFactory.create(club=here, user__password=secret, role="keeper" if who == 0 else "member")
            for who in range(PEOPLE)
        ]
        specs = [make.CameraSpecFactory.create(camera__club=here, camera__code=f"T{n + 1}",
                                               camera__name=f"Tea caddy {n + 1}") for n in range(CAMERAS)]  # fmt: skip
        papers = [make.PaperFactory.create(club=here, name="Glasswort" if n == 0 else f"Samphire {n}")
                  for n in range(PAPERS)]  # fmt: skip
        for n in range(LOGS):
            given = float(np.exp2(rng.uniform(3, 11)))
            make.ExposureLogFactory.create(
                spec=specs[n % CAMERAS], paper=papers[n % PAPERS], member=members[n % PEOPLE].user,
                exposure_time_s=given, indicated_time_s=float(2 ** rng.normal(0, 0.3)) * given ** (1 / 1.3),
            )  # fmt: skip
        club = Club(here.slug, [spec.camera.code for spec in specs], [str(paper.pk) for paper in papers])
        people += [
            Person(club, member.user.username, ApiToken.issue(user=member.user, name="walk")[1], who == 0)
            for who, member in enumerate(members)
        ]
    connections.close_all()
    return people


class Service:
    """`manage.py serve` with its own number of workers; each is renewed after `lifetime_s`, at least a minute."""

    def __init__(self, folder: Path, lifetime_s: int) -> None:
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            self.port = found.getsockname()[1]
        self.log, self.folder = folder / "serve.log", folder
        self.environment = os.environ | SAFE
        command = [sys.executable, str(HERE), str(lifetime_s), "--port", str(self.port)]
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=log, stderr=log)

    def await_ready(self) -> None:
        for _ in range(600):
            if self.process.poll() is not None:
                break
            try:
                connection = HTTPConnection("127.0.0.1", self.port, timeout=5)
                connection.request("GET", "/ready/")
                if connection.getresponse().status == 200:
                    return
            except OSError:
                time.sleep(0.2)
        raise SystemExit(f"The service does not come up: {self.log.read_text()[-3000:]}")

    def stop(self) -> tuple[float, float]:
        """Stop it as a service manager does; seconds that took, and processor time of all its processes, s."""
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        self.process.terminate()
        self.process.wait(timeout=60)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return time.monotonic() - begun, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    def faults(self) -> list[str]:
        """What its log says of errors, the end of each exception with it."""
        lines = [line for line in self.log.read_text(errors="replace").splitlines() if line.startswith("{")]
        told = [line for line in map(json.loads, lines) if line["level"] in {"error", "critical"}]
        return [f"{line['logger']}: {line['message']} {line.get('exception', '')[-600:]}" for line in told]

    def memory(self) -> dict[int, float]:
        """MB that each worker holds; typesetters, which are renewed by their own size, are under 0."""
        workers = children(self.process.pid)
        others = [child for worker in workers for child in family(worker)[1:]]
        return {0: sum(map(resident_mb, others))} | {worker: resident_mb(worker) for worker in workers}

    def back_up(self) -> str:
        """Run `manage.py backup` as the keepers' guide does, behind who is served; what it said if it failed."""
        done = subprocess.run(
            ["nice", sys.executable, "manage.py", "backup", str(self.folder / "backups"), "--keep", "2"],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        return done.stderr if done.returncode else ""


def children(process: int) -> list[int]:
    try:
        found = Path(f"/proc/{process}/task").glob("*/children")
        return [int(child) for each in found for child in each.read_text().split()]
    except OSError:  # gone meanwhile
        return []


def family(process: int) -> list[int]:
    return [process, *(each for child in children(process) for each in family(child))]


def resident_mb(process: int) -> float:
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@contextmanager
def repeated(every_s: float, call: Any) -> Iterator[None]:
    """Call it again and again in a thread of its own, so many seconds after it last ended."""
    done = threading.Event()

    def going() -> None:
        while not done.wait(every_s):
            call()

    thread = threading.Thread(target=going)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def stored() -> dict[str, Any]:
    """Each log's id with its time as it was typed, and whether the kept cells are what the log sums to."""
    from django.db import connections  # noqa: PLC0415

    from exposures.models import ExposureLog  # noqa: PLC0415
    from tests.exposures.workshops.conftest import cells_are_the_logs  # noqa: PLC0415

    try:
        logs = {str(key): typed for key, typed in ExposureLog.objects.values_list("id", "typed_time")}
        return {"logs": logs, "cells": cells_are_the_logs()}
    finally:
        connections.close_all()


def main() -> None:
    """Serve as `manage.py serve` does, workers renewed sooner."""
    sys.path[0] = str(ROOT)
    os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
    from django.core.management import execute_from_command_line  # noqa: PLC0415

    from pinpool.service import serving  # noqa: PLC0415

    serving.LIFETIME_S = int(sys.argv[1])
    execute_from_command_line(["manage.py", "serve", *sys.argv[2:]])


if __name__ == "__main__":
    main()
