"""`manage.py serve` itself, and what faults need of it: its workers, its log, its connections, questions to it."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.bodies import CLUB
from tests.served import PREPARE, ROOT, Server

PASSWORD = "a tide table of 1908"  # noqa: S105  (of an invented member)
#: The member is a keeper with a password; beside the token that logs there is one that manages.
PREPARED = f"""{PREPARE}
type(member).objects.filter(pk=member.pk).update(role="keeper")
member.user.set_password("{PASSWORD}")
member.user.save()
manage = ApiToken.issue(user=member.user, name="manage", scope="manage")[1]
told = {{"paper": str(paper.pk), "token": ApiToken.issue(user=member.user, name="log", scope="log")[1]}}
print(json.dumps(told | {{"manage": manage, "user": member.user.get_username()}}))
"""
CREEK = "/api/v1/clubs/creek/"
#: How long a busy machine may take to start a service, in seconds.
STARTS_S = 120


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Any
    content: bytes

    @property
    def data(self) -> Any:
        return json.loads(self.content)


class Service(Server):
    """The service of two workers with four threads each, its log in a file of its own."""

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        self.log = log
        super().__init__(environment)

    def start(self) -> None:
        command = [sys.executable, "manage.py", "serve", "--trial", "--port", str(self.port), "--workers", "2"]
        with self.log.open("a") as log:
            self.process = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=log, stderr=log)
        self.wait_until_ready()

    def wait_until_ready(self) -> None:
        self.wait_for(lambda: self.is_answered("/ready/"), STARTS_S)

    def wait_for(self, told: Callable[[], Any], seconds: float) -> Any:
        """What is told once it is anything."""
        ends = time.monotonic() + seconds
        while not (found := told()):
            assert time.monotonic() < ends, self.log.read_text()[-3000:]
            assert self.process.poll() is None, self.log.read_text()[-3000:]
            time.sleep(0.1)
        return found

    def is_answered(self, path: str) -> bool:
        try:
            return self.ask("GET", path, timeout=5).status == 200
        except (OSError, http.client.HTTPException):
            return False

    def workers(self) -> list[int]:
        told = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text(encoding="ascii")
        return [int(each) for each in told.split()]

    def kill(self) -> None:
        """The server alone, at once; its workers notice, and nobody has the port any more."""
        self.process.kill()
        self.process.wait()
        ends = time.monotonic() + STARTS_S
        with suppress(ConnectionRefusedError):
            while True:  # or a worker that is left would answer for the server that starts next
                socket.create_connection(("127.0.0.1", self.port)).close()
                assert time.monotonic() < ends, self.log.read_text()[-3000:]
                time.sleep(0.05)

    def stop(self) -> int:
        """As a keeper does; gives what the service says to that."""
        self.process.send_signal(signal.SIGTERM)
        try:
            return self.process.wait(60)
        finally:
            self.process.kill()

    def ask(
        self, method: str, path: str, body: Any = None, *, token: str = "", timeout: float = 60, **headers: str
    ) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        sent = {name.replace("_", "-"): text for name, text in headers.items()}
        if token:
            sent["Authorization"] = f"Bearer {token}"
        if body is not None and not isinstance(body, bytes):
            sent["Content-Type"], body = "application/json", json.dumps(body).encode()
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            return Answer(answer.status, answer.headers, answer.read())
        finally:
            connection.close()

    def log_one(self, known: dict[str, str], chosen: str, **more: Any) -> Answer:
        """Send a log whose id the caller chose, once."""
        body = CLUB["exposures/"] | {"paper": known["paper"], "id": chosen} | more
        return self.ask("POST", f"{CREEK}exposures/", body, token=known["token"])

    def logged(self, known: dict[str, str]) -> list[str]:
        """The ids in the whole list, page by page."""
        found, path = [], f"{CREEK}exposures/?page_size=100"
        while path:
            page = self.ask("GET", path, token=known["token"]).data
            found += [log["id"] for log in page["results"]]
            path = page["next"] and page["next"].split(str(self.port), 1)[1]
        return found


def memory_of(processes: list[int]) -> int:
    """Bytes that are theirs."""
    pages = [int(Path(f"/proc/{each}/statm").read_text().split()[1]) for each in processes]
    return sum(pages) * os.sysconf("SC_PAGESIZE")


def connections_of(port: int) -> dict[int, str]:
    """The clients' ports of connections that a server on this port has open, and what waits to be sent, in hex."""
    found = {}
    for line in Path("/proc/net/tcp").read_text().splitlines()[1:]:
        _, here, there, state, queues, *_ = line.split()
        if int(here.split(":")[1], 16) == port and state == "01":
            found[int(there.split(":")[1], 16)] = queues.split(":")[0]
    return found


def form(name: str, content: bytes, **fields: str) -> tuple[bytes, str]:
    """A multipart form with a file, and its media type."""
    edge = "edge-of-a-part"
    head = f'--{edge}\r\nContent-Disposition: form-data; name="{name}"; filename="a.jpg"\r\n'
    head += "Content-Type: image/jpeg\r\n\r\n"
    for key, text in fields.items():
        head = f'--{edge}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{text}\r\n{head}'
    body = head.encode() + content + f"\r\n--{edge}--\r\n".encode()
    return body, f"multipart/form-data; boundary={edge}"
