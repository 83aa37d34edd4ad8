"""A server killed in the middle of its work: what it acknowledged is there, once. On the database of the run."""

import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from pathlib import Path
from typing import Any

from tests.bodies import CLUB

ROOT = Path(__file__).parents[2]
LOGS, KILLS = 1000, 4
PREPARE = """
import json
from django.core.management import call_command
call_command("migrate", verbosity=0)
from pinpool.models import ApiToken
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory
member = MembershipFactory.create(club__slug="creek")
CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
paper = PaperFactory.create(club=member.club)
print(json.dumps({"paper": str(paper.pk), "token": ApiToken.issue(user=member.user, name="walk", scope="log")[1]}))
"""
COUNT = """
import json
from exposures.evidence import summed
from exposures.models import EvidenceCell, ExposureLog
ids = [str(id) for id in ExposureLog.objects.values_list("id", flat=True)]
from_logs = sum(row["logs"] for row in summed(ExposureLog.objects.all()))
print(json.dumps({"ids": ids, "cells": sum(EvidenceCell.objects.values_list("logs", flat=True)), "logs": from_logs}))
"""


def shell(environment: dict[str, str], program: str) -> Any:
    start = "import sys; sys.path.insert(0, sys.argv[1]); import django; django.setup()"
    done = subprocess.run(
        [sys.executable, "-c", f"{start}\n{program}", str(ROOT)],
        env=environment | {"DJANGO_SETTINGS_MODULE": "pinpool.settings"},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


class Server:
    """The site under granian, in a process group that can be killed as a whole."""

    def __init__(self, environment: dict[str, str]) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.environment = environment
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--port", str(self.port)]
        command += ["--log-level", "error", "pinpool.wsgi:application"]
        self.process = subprocess.Popen(command, cwd=ROOT, env=self.environment, start_new_session=True)

    def kill(self) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


def test_every_acknowledged_log_is_there_once(own_database: dict[str, str]) -> None:
    """A client chooses the ids and sends again whatever nobody answered, while the server is killed again and again."""
    known = shell(own_database, PREPARE)
    server, done = Server(own_database), threading.Event()
    rng = random.Random(1)  # noqa: S311

    def murder() -> None:
        for _ in range(KILLS):
            if done.wait(rng.uniform(1.0, 2.5)):
                return
            server.kill()
            server.start()

    murderer = threading.Thread(target=murder)
    murderer.start()
    ids = [str(uuid.UUID(int=rng.getrandbits(128), version=4)) for _ in range(LOGS)]
    try:
        answers = [send(server.port, known, chosen) for chosen in ids]
    finally:
        done.set()
        murderer.join()
        server.kill()
    assert {status for status, _ in answers} <= {200, 201}
    assert sum(tries for _, tries in answers) > LOGS  # some were sent again
    stored = shell(own_database, COUNT)
    assert sorted(stored["ids"]) == sorted(ids)
    assert stored["cells"] == stored["logs"] == LOGS


def send(port: int, known: dict[str, str], chosen: str) -> tuple[int, int]:
    """The status of the answer that came at last, and how often it was asked for."""
    body = json.dumps(CLUB["exposures/"] | {"paper": known["paper"], "id": chosen})
    headers = {"Authorization": f"Bearer {known['token']}", "Content-Type": "application/json"}
    for tries in range(1, 400):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        try:
            connection.request("POST", "/api/v1/clubs/creek/exposures/", body, headers)
            return connection.getresponse().status, tries
        except (OSError, http.client.HTTPException):
            time.sleep(0.05)
        finally:
            connection.close()
    raise AssertionError("The server did not come back.")
