"""The site as it is served, on a database of a bench's own, and what questions to it cost."""

import http.client
import json
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import urlsplit, urlunsplit

HERE = Path(__file__).resolve()
WARMING, ASKERS, THREADS = 10, 4, 4


@dataclass
class Question:
    """One request, and what it was found to cost."""

    port: int
    method: str
    path: str
    headers: dict[str, str] = field(default_factory=dict)
    body: dict[str, Any] | bytes | None = None
    expected: int = 200
    ms: float = 0.0
    per_second: float = 0.0

    def ask(self, connection: http.client.HTTPConnection) -> tuple[http.client.HTTPResponse, bytes]:
        """The answer and its body. An exposure is another one each time."""
        body = self.body
        if isinstance(body, dict):
            body = json.dumps(body | {"id": str(uuid.uuid4())} if "id" in body else body).encode()
        connection.request(self.method, self.path, body, self.headers)
        response = connection.getresponse()
        said = response.read()
        if response.status != self.expected:
            raise SystemExit(f"{self.method} {self.path}: {response.status} {said[:500]!r}")
        return response, said

    def connection(self) -> http.client.HTTPConnection:
        made = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        made.connect()
        made.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return made

    def once(self) -> tuple[http.client.HTTPResponse, bytes]:
        connection = self.connection()
        try:
            return self.ask(connection)
        finally:
            connection.close()


@contextmanager
def database() -> Iterator[None]:
    """A database of this run alone, in the environment that the site reads."""
    kept = dict(os.environ)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        os.environ |= {"PINPOOL_DATA": folder, "OPENBLAS_NUM_THREADS": "1", "PINPOOL_ACCESS_LOG": "INFO"}
        try:
            with _database_at(os.environ.get("DATABASE_URL")):
                yield
        finally:
            os.environ.clear()
            os.environ.update(kept)


@contextmanager
def _database_at(url: str | None) -> Iterator[None]:
    if not url:
        yield
        return
    import psycopg  # noqa: PLC0415  (only on PostgreSQL)

    name = f"bench_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(url, autocommit=True) as outside:
        outside.execute(f"CREATE DATABASE {name}")
        os.environ["DATABASE_URL"] = urlunsplit(urlsplit(url)._replace(path=f"/{name}"))
        try:
            yield
        finally:
            outside.execute(f"DROP DATABASE {name} WITH (FORCE)")


def set_up() -> None:
    sys.path.insert(0, str(HERE.parents[2]))
    os.environ["DJANGO_SETTINGS_MODULE"] = "pinpool.settings"
    import django  # noqa: PLC0415  (the environment is ready only now)

    django.setup()


@contextmanager
def served(what: str) -> Iterator[int]:
    """What `serve` serves under this name, on a free port."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    command = [sys.executable, str(HERE), what, str(port)]
    said = Path(os.environ["PINPOOL_DATA"], f"{what}.log")
    with said.open("wb") as log, subprocess.Popen(command, stdout=log, stderr=log) as server:
        try:
            for _ in range(300):
                time.sleep(0.1)
                with socket.socket() as tried:
                    if tried.connect_ex(("127.0.0.1", port)) == 0:
                        break
            else:
                raise SystemExit(f"{what} does not answer: {said.read_text()[-2000:]}")
            yield port
        finally:
            server.terminate()


def serve(what: str, port: int) -> None:
    """The site as `manage.py serve` serves it, but by one worker; "bare" by granian alone, with as much.

    "plain" is the site once more, with a log of its own; "door" is the bare function in its place, served as it is.
    """
    set_up()
    import floor_yardsticks  # noqa: PLC0415

    if what != "bare":
        from django.conf import settings  # noqa: PLC0415

        from pinpool import wsgi  # noqa: PLC0415
        from pinpool.service import serving  # noqa: PLC0415

        settings.ROOT_URLCONF = "floor_yardsticks"
        if what == "door":
            bare = floor_yardsticks.bare
            wsgi.application = lambda environ, start: (piece for piece in bare(environ, start))  # such have a close()
        serving.serve(address="127.0.0.1", port=port, workers=1, threads=THREADS)
        return
    from granian import Granian  # noqa: PLC0415
    from granian.constants import Interfaces  # noqa: PLC0415

    server = Granian(
        "bare", port=port, interface=Interfaces.WSGI, workers=1, blocking_threads=THREADS, websockets=False
    )
    server.serve(target_loader=lambda *_, **__: floor_yardsticks.bare, wrap_loader=False)


def clock(questions: list[Question], rounds: int, calls: Mapping[str, Callable[[], Any]] | None = None) -> list[float]:
    """Median milliseconds of each question, kept with it, and of each call in this process; all take turns."""
    connections = [question.connection() for question in questions]
    asking = [lambda q=q, c=c: q.ask(c) for q, c in zip(questions, connections, strict=True)]
    everything = [*asking, *(calls or {}).values()]
    took: list[list[float]] = [[] for _ in everything]
    for _ in range(WARMING + rounds):
        for call, times in zip(everything, took, strict=True):
            begun = time.perf_counter()
            call()
            times.append(time.perf_counter() - begun)
    medians = [1000 * median(times[WARMING:]) for times in took]
    for question, connection, ms in zip(questions, connections, medians, strict=False):
        question.ms = ms
        connection.close()
    return medians[len(questions) :]


def load(questions: list[Question], seconds: float, passes: int = 2) -> None:
    """Requests a second of each, the mean of passes that take turns."""
    for _ in range(passes):
        for question in questions:
            question.per_second += loaded(question, seconds / passes) / passes


def loaded(question: Question, seconds: float) -> float:
    counts, faults = [0] * ASKERS, []
    end = time.perf_counter() + seconds

    def asking(number: int) -> None:
        connection = question.connection()
        try:
            while time.perf_counter() < end:
                question.ask(connection)
                counts[number] += 1
        except SystemExit as fault:
            faults.append(fault)
        finally:
            connection.close()

    askers = [threading.Thread(target=asking, args=(number,)) for number in range(ASKERS)]
    begun = time.perf_counter()
    for asker in askers:
        asker.start()
    for asker in askers:
        asker.join()
    if faults:
        raise faults[0]
    return sum(counts) / (time.perf_counter() - begun)


if __name__ == "__main__":
    serve(sys.argv[1], int(sys.argv[2]))
