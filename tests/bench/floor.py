"""What lists, their deep pages, 304s and a logged exposure cost, beside the least that could answer, in one run.

python tests/bench/floor.py [seconds of load for each, default 2]

On SQLite in a temporary folder, or on PostgreSQL with DATABASE_URL in a database of its own beside that one. The site
runs as `manage.py serve` serves it, with 1 worker and 4 threads. The floor is a bare WSGI function under granian alone,
with as many, the raw driver and orjson (`floor_yardsticks.py`). Lists have DRF's ModelSerializer as a second yardstick,
on the same rows below the same middleware and token, in a process of its own, so that its garbage is its own too.
Milliseconds are medians over rounds in which all are asked in turn, each on a kept connection; requests a second are
with 4 connections. Those who ask share the machine, so on few cores the quickest answers look slower than they are.
"""

import json
import os
import sys
import uuid
from contextlib import ExitStack
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlsplit

from asked import Question, clock, database, load, served, set_up
from figures import Figure, not_measured, print_table

ROUNDS, ROWS, DEPTH = 150, 100, 50
COMMAND = "python tests/bench/floor.py"


def fill() -> dict[str, Any]:
    """A club to list, of 100 cameras and 5 000 logs, and one to log in; what to ask of them, and whose token."""
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection, connections  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    from exposures.models import ExposureLog  # noqa: PLC0415
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
    logs = list(ExposureLog.objects.filter(club=club))
    for _ in range(1, DEPTH):
        for log in logs:
            log.number, log.id = None, uuid.uuid4()
        ExposureLog.objects.bulk_create(logs)
    other = MembershipFactory.create(user=user, role="keeper").club
    spec = CameraSpecFactory.create(camera__club=other, camera__code="T1", author=user)
    paper = PaperFactory.create(club=other)
    ExposureLogFactory.create(spec=spec, paper=paper, member=user)
    token = ApiToken.issue(user=user, name="floor")[1]
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")  # as a database does by itself once it has been filled for a minute
    connections.close_all()
    os.environ["FLOOR_CLUBS"] = f"{club.pk} {other.pk}"
    return {"token": token, "listed": club.slug, "logged": other.slug, "paper": str(paper.pk)}


@dataclass
class Listed:
    """A list: the site's, the floor's, and DRF's ModelSerializer's."""

    name: str
    ours: Question
    floor: Question
    plain: Question
    unchanged: Question | None = None

    @property
    def questions(self) -> list[Question]:
        return [self.ours, self.floor, self.plain, *([self.unchanged] if self.unchanged else [])]

    def check(self) -> None:
        """All must tell as many rows; who knows the list already asks by its ETag, where it has one."""
        for question in self.questions:
            told = json.loads(question.once()[1])
            if len(told["results"] if question is self.ours else told) != ROWS:
                raise SystemExit(f"not {ROWS} rows at {question.path}")
        if tag := self.ours.once()[0].headers["ETag"]:
            headers = self.ours.headers | {"If-None-Match": tag}
            self.unchanged = replace(self.ours, headers=headers, expected=304)

    def figures(self) -> list[Figure]:
        ours, floor, plain, again = self.ours, self.floor, self.plain, self.unchanged
        cost, speed = ours.ms / floor.ms, ours.per_second / plain.per_second
        found = [
            Figure(f"list of {self.name}", ours.ms, "ms", floor.ms, cost, "≤ 4 × the bare floor", cost <= 4, COMMAND),
            Figure(f"list of {self.name}, beside ModelSerializer", ours.per_second, "/s", plain.per_second, speed,
                   "≥ 3 × its throughput", speed >= 3, COMMAND),
        ]  # fmt: skip
        name, goal = f"304 of {self.name}, beside the list", "≥ 3 × its throughput"
        if again is None:
            return [*found, not_measured(name, "no ETag", COMMAND)]
        gain = again.per_second / ours.per_second
        return [*found, Figure(name, again.per_second, "/s", ours.per_second, gain, goal, gain >= 3, COMMAND)]


def lists_of(site: int, bare: int, plain: int, known: dict[str, Any], told: dict[str, str]) -> list[Listed]:
    listed = f"/api/v1/clubs/{known['listed']}/"
    return [
        Listed(
            f"{ROWS} {name}",
            Question(site, "GET", f"{listed}{path}/?page_size={ROWS}", told),
            Question(bare, "GET", f"/{name}/"),
            Question(plain, "GET", f"/plain/{name}/", told),
        )
        for name, path in {"cameras": "cameras", "logs": "exposures"}.items()
    ]


def last_page(first: Question) -> Question:
    """The page before the last of a list, found by its cursors."""
    at = first
    for _ in range(DEPTH - 2):
        following = urlsplit(json.loads(at.once()[1])["next"])
        at = replace(first, path=f"{following.path}?{following.query}")
    return at


def asked(ports: list[int], known: dict[str, Any], seconds: float, rounds: int) -> list[Figure]:
    from tests.bodies import CLUB  # noqa: PLC0415

    site, bare, plain, door = ports
    told = {"Authorization": f"Bearer {known['token']}", "Accept": "application/json"}
    lists = lists_of(site, bare, plain, known, told)
    for each in lists:
        each.check()
    deep = last_page(lists[1].ours)
    log = CLUB["exposures/"] | {"paper": known["paper"]}
    sent = told | {"Content-Type": "application/json"}
    post = Question(site, "POST", f"/api/v1/clubs/{known['logged']}/exposures/", sent, log, 201)
    post.once()  # so that there is a cell of evidence and an entry of the trail to begin with
    least = Question(bare, "POST", "/logs/whole/", sent, log, 201)
    alone = Question(bare, "POST", "/logs/", {}, log, 201)
    behind = replace(lists[0].floor, port=door)
    of_lists = [question for each in lists for question in each.questions]
    clock([*of_lists, alone, deep, post, least, behind], rounds)  # each floor after an answer of the site
    load([*of_lists, post, least, alone], seconds)
    first, bare_ms = lists[1].ours.ms, lists[0].floor.ms
    depth, cost, speed = deep.ms / first, post.ms / least.ms, post.per_second / least.per_second
    return [
        *(figure for each in lists for figure in each.figures()),
        Figure(f"page {DEPTH - 1} of the log, beside the first", deep.ms, "ms", first, depth, "≤ 1.25 × the first",
               depth <= 1.25, COMMAND),
        Figure("POST of a log", post.ms, "ms", least.ms, cost, "≤ 3 × the bare floor on its rows", cost <= 3, COMMAND),
        Figure("POST of a log, beside one bare INSERT of the log alone", post.ms, "ms", alone.ms, post.ms / alone.ms,
               command=COMMAND),
        Figure("the site's way of serving, around the bare list of cameras", behind.ms, "ms", bare_ms,
               behind.ms / bare_ms, command=COMMAND),
        Figure("POST of a log, throughput", post.per_second, "/s", least.per_second, speed, "", None, COMMAND),
    ]  # fmt: skip


def measure(seconds: float = 2.0, rounds: int = ROUNDS) -> list[Figure]:
    with database(), ExitStack() as servers:
        set_up()
        known = fill()
        ports = [servers.enter_context(served(what)) for what in ("site", "bare", "plain", "door")]
        return asked(ports, known, seconds, rounds)


if __name__ == "__main__":
    print_table(measure(*(float(seconds) for seconds in sys.argv[1:2])))
