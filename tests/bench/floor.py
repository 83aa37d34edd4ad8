"""What lists, a logged exposure, a 304 and two optics questions cost, beside the least that could answer, in one run.

python tests/bench/floor.py [seconds of load for each, default 2]

On SQLite in a temporary folder, or on PostgreSQL with DATABASE_URL in a database of its own beside that one. The site
runs as `pinpool/service/serving.py` serves it, with 1 worker and 4 threads. So does the floor: a bare WSGI function,
the raw driver or a bare call of the core, and orjson (`floor_yardsticks.py`). Lists have DRF's ModelSerializer as a
second yardstick, on the same rows below the same middleware and token. Milliseconds are medians over rounds in which
all are asked in turn, each on a kept connection; requests a second are with 4 connections. Those who ask share the
machine, so on few cores the quickest answers look slower than they are.
"""

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
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import urlsplit, urlunsplit

HERE = Path(__file__).resolve()
ROUNDS, WARMING, ASKERS, PASSES, ROWS = 150, 10, 4, 2, 100
SECONDS = 2.0
#: Asked of the core in mm; the site is asked the same with its units on.
OFF = {
    "f-number": {"focal_length": 61.0, "diameter": 0.24, "diameter_uncertainty": 0.01},
    "illumination": {
        "film_plane": {"kind": "flat", "width_mm": 101.6, "height_mm": 127.0, "distance_mm": 61.0},
        "hole": {"diameter_mm": 0.3, "uncertainty_mm": 0.01, "plate_thickness_mm": 0.1},
        "columns": 81, "rows": 33, "used_share": 0.9,
    },
}  # fmt: skip


@dataclass
class Question:
    """One request, and what it was found to cost."""

    port: int
    method: str
    path: str
    headers: dict[str, str] = field(default_factory=dict)
    body: dict[str, Any] | None = None
    expected: int = 200
    ms: float = 0.0
    per_second: float = 0.0

    def ask(self, connection: http.client.HTTPConnection) -> tuple[http.client.HTTPResponse, bytes]:
        """The answer and its body. An exposure is another one each time."""
        body = self.body
        if body is not None and "id" in body:
            body = body | {"id": str(uuid.uuid4())}
        connection.request(self.method, self.path, body and json.dumps(body), self.headers)
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


@contextmanager
def database() -> Iterator[None]:
    """A database of this run alone, in the environment that the site reads."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"PINPOOL_DATA": folder, "OPENBLAS_NUM_THREADS": "1", "PINPOOL_ACCESS_LOG": "INFO"}
        url = os.environ.get("DATABASE_URL")
        if not url:
            yield
            return
        import psycopg  # noqa: PLC0415  (only on PostgreSQL)

        name = f"floor_{uuid.uuid4().hex[:12]}"
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


def fill() -> dict[str, Any]:
    """A club to list, of 100 cameras and 100 logs, and one to log in; what to ask of them, and whose token."""
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connections  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    from pinpool.models import ApiToken  # noqa: PLC0415
    from tests.factories import (  # noqa: PLC0415
        CameraSpecFactory,
        ExposureLogFactory,
        MembershipFactory,
        PaperFactory,
    )

    keeper = MembershipFactory.create(role="keeper")
    club, user = keeper.club, keeper.user
    papers = [PaperFactory.create(club=club) for _ in range(8)]
    for number in range(ROWS):
        spec = CameraSpecFactory.create(camera__club=club, camera__code=f"C{number}", author=user)
        ExposureLogFactory.create(spec=spec, paper=papers[number % 8], member=user)
    other = MembershipFactory.create(user=user, role="keeper").club
    spec = CameraSpecFactory.create(camera__club=other, camera__code="T1", author=user)
    paper = PaperFactory.create(club=other)
    ExposureLogFactory.create(spec=spec, paper=paper, member=user)
    token = ApiToken.issue(user=user, name="floor")[1]
    connections.close_all()
    os.environ["FLOOR_CLUBS"] = f"{club.pk} {other.pk}"
    return {"token": token, "listed": club.slug, "logged": other.slug, "paper": str(paper.pk)}


@contextmanager
def served(what: str) -> Iterator[int]:
    """The site, or the bare function, on a free port."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    command = [sys.executable, str(HERE), "serve", what, str(port)]
    said = Path(os.environ["PINPOOL_DATA"], f"{what}.log")
    with said.open("wb") as log, subprocess.Popen(command, stdout=log, stderr=log) as server:
        try:
            for _ in range(150):
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
    """Serve as the site is served; the bare function only takes the site's place in the worker."""
    set_up()
    import floor_yardsticks  # noqa: PLC0415
    from django.conf import settings  # noqa: PLC0415

    from pinpool.service import serving  # noqa: PLC0415

    settings.ROOT_URLCONF = "floor_yardsticks"
    if what == "bare":
        serving._load_site = lambda **_: floor_yardsticks.bare
    serving.serve(address="127.0.0.1", port=port, workers=1, threads=4)


def clock(questions: list[Question]) -> dict[str, float]:
    """The median of each, all asked in turn; returns those of the core's bare calls, in this process, among them."""
    import floor_yardsticks  # noqa: PLC0415

    connections = [question.connection() for question in questions]
    took: list[list[float]] = [[] for _ in questions]
    core: dict[str, list[float]] = {name: [] for name in OFF}
    for _ in range(WARMING + ROUNDS):
        for question, connection, times in zip(questions, connections, took, strict=True):
            begun = time.perf_counter()
            question.ask(connection)
            times.append(time.perf_counter() - begun)
        for name, times in core.items():
            begun = time.perf_counter()
            floor_yardsticks.CORE[f"/{name}/"](OFF[name])
            times.append(time.perf_counter() - begun)
    for question, connection, times in zip(questions, connections, took, strict=True):
        question.ms = 1000 * median(times[WARMING:])
        connection.close()
    return {name: 1000 * median(times[WARMING:]) for name, times in core.items()}


def load(questions: list[Question], seconds: float) -> None:
    """Requests a second of each, the mean of passes that take turns."""
    for _ in range(PASSES):
        for question in questions:
            question.per_second += loaded(question, seconds / PASSES) / PASSES


def loaded(question: Question, seconds: float) -> float:
    counts = [0] * ASKERS
    end = time.perf_counter() + seconds

    def asking(number: int) -> None:
        connection = question.connection()
        while time.perf_counter() < end:
            question.ask(connection)
            counts[number] += 1
        connection.close()

    askers = [threading.Thread(target=asking, args=(number,)) for number in range(ASKERS)]
    begun = time.perf_counter()
    for asker in askers:
        asker.start()
    for asker in askers:
        asker.join()
    return sum(counts) / (time.perf_counter() - begun)


@dataclass
class Row:
    """A line of the table: the site, its floor, and for a list DRF's ModelSerializer."""

    name: str
    ours: Question
    floor: Question
    plain: Question | None = None

    @property
    def questions(self) -> list[Question]:
        return [self.ours, self.floor, *([self.plain] if self.plain else [])]

    def check(self) -> None:
        """All must tell as many rows."""
        for question in self.questions:
            told = json.loads(question.ask(question.connection())[1])
            if len(told["results"] if question is self.ours else told) != ROWS:
                raise SystemExit(f"not {ROWS} rows at {question.path}")

    def again(self) -> "Row | None":
        """The list asked for by who knows it already, where it has an ETag."""
        tag = self.ours.ask(self.ours.connection())[0].headers["ETag"]
        if tag is None:
            return None
        asked = [replace(each, headers=each.headers | {"If-None-Match": tag}, expected=304)
                 for each in (self.ours, self.floor)]  # fmt: skip
        return Row(f"304, {self.name}", *asked)

    def tell(self, goal: str) -> None:
        ours, floor, plain = self.ours, self.floor, self.plain
        line = f"{self.name:16}{ours.ms:9.2f}{ours.per_second:7.0f}{floor.ms:10.2f}{floor.per_second:7.0f}"
        line += f"{ours.ms / floor.ms:9.1f}{floor.per_second / ours.per_second:8.1f}"
        against = f"{plain.ms:9.2f}{plain.per_second:7.0f}{ours.per_second / plain.per_second:7.2f}" if plain else ""
        print(f"{line}{against:23}  {goal}")


def questions(site: int, bare: int, known: dict[str, Any]) -> tuple[list[Row], Row, list[Row]]:
    """The lists, the logged exposure, and the optics."""
    from tests.bodies import CLUB, OPTICS  # noqa: PLC0415

    told = {"Authorization": f"Bearer {known['token']}", "Accept": "application/json"}
    sent = told | {"Content-Type": "application/json"}
    listed = f"/api/v1/clubs/{known['listed']}/"
    lists = [
        Row(
            f"{ROWS} {name}",
            Question(site, "GET", f"{listed}{path}/?page_size={ROWS}", told),
            Question(bare, "GET", f"/{name}/"),
            Question(site, "GET", f"/plain/{name}/", told),
        )
        for name, path in {"cameras": "cameras", "logs": "exposures"}.items()
    ]
    log = CLUB["exposures/"] | {"paper": known["paper"]}
    logged = Question(site, "POST", f"/api/v1/clubs/{known['logged']}/exposures/", sent, log, 201)
    asked = OPTICS | {"illumination/": OPTICS["illumination/"] | {"columns": 81, "rows": 33}}
    optics = [
        Row(
            name,
            Question(site, "POST", f"/api/v1/optics/{name}/", sent, asked[f"{name}/"]),
            Question(bare, "POST", f"/{name}/", {}, off),
        )
        for name, off in OFF.items()
    ]
    return lists, Row("POST of a log", logged, Question(bare, "POST", "/logs/", {}, log, 201)), optics


def measure(site: int, bare: int, known: dict[str, Any], seconds: float) -> None:
    lists, post, optics = questions(site, bare, known)
    for row in lists:
        row.check()
    unchanged = {row.name: row.again() for row in lists}
    everything = [*lists, post, *(row for row in unchanged.values() if row), *optics]
    core = clock([question for row in everything for question in row.questions])
    load([question for row in everything for question in row.questions], seconds)

    on = "PostgreSQL" if "DATABASE_URL" in os.environ else "SQLite"
    print(f"on {on}; ms: median of {ROUNDS} in turn; /s: {ASKERS} connections; x ms, x /s: how many times the floor")
    heads = {"": 16, "ours ms": 9, "/s": 7, "floor ms": 10, " /s": 7, "x ms": 9, "x /s": 8, "DRF ms": 9, "  /s": 7}
    print("".join(f"{head:>{width}}" for head, width in heads.items()) + f"{'x DRF':>7}  goal")
    for row in lists:
        row.tell("at most 4 x floor, at least 3 x DRF")
    post.tell("at most 3 x floor")
    for row in lists:
        again = unchanged[row.name]
        if again is None:
            print(f"{'304, ' + row.name:16}  not to be had: the list has no ETag")
        else:
            again.tell(f"at least 3 x the list: {again.ours.per_second / row.ours.per_second:.1f}")
    for row in optics:
        over = row.ours.ms - core[row.name]
        row.tell(f"at most 2 ms over the bare core's {core[row.name]:.2f}: {over:.2f}")


def main() -> None:
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2], int(sys.argv[3]))
        return
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    with database(), ExitStack() as servers:
        set_up()
        known = fill()
        site, bare = (servers.enter_context(served(what)) for what in ("site", "bare"))
        measure(site, bare, known, seconds)


if __name__ == "__main__":
    main()
