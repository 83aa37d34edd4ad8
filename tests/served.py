"""The service in processes of its own, with a member who may log: to be killed, loaded, backed up."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.bodies import CLUB

ROOT = Path(__file__).parents[1]
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
