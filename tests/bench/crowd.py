"""Many who ask at once: a club to log in, and a client of kept connections that costs little beside what it asks."""

import json
import os
import selectors
import socket
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import cycle
from pathlib import Path
from typing import Any

from asked import database, set_up
from mixed_site import Service

#: Longer than any bench: no worker is renewed meanwhile.
LIFETIME_S = 24 * 3600


@contextmanager
def site() -> Iterator[tuple[Service, dict[str, Any]]]:
    """`manage.py serve` on a new database, with a member of a club; and what to know of them."""
    with database():
        set_up()
        known = fill()
        service = Service(Path(os.environ["PINPOOL_DATA"]), LIFETIME_S)
        try:
            service.await_ready()
            yield service, known
        finally:
            service.stop()


def fill() -> dict[str, Any]:
    from django.core.management import call_command  # noqa: PLC0415  (the settings are ready only now, below too)
    from django.db import connections  # noqa: PLC0415

    call_command("migrate", verbosity=0)
    from pinpool.models import ApiToken  # noqa: PLC0415
    from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory  # noqa: PLC0415

    member = MembershipFactory.create(club__slug="saltmarsh", role="member")
    spec = CameraSpecFactory.create(camera__club=member.club, camera__code="T1")
    paper = PaperFactory.create(club=member.club)
    for _ in range(20):
        ExposureLogFactory.create(spec=spec, paper=paper, member=member.user)
    token = ApiToken.issue(user=member.user, name="crowd")[1]
    connections.close_all()
    return {"paper": str(paper.pk), "token": token}


def request(method: str, path: str, body: dict[str, Any] | None = None, token: str = "") -> bytes:
    """As a proxy that speaks https passes it on."""
    content = b"" if body is None else json.dumps(body).encode()
    heads = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", "X-Forwarded-Proto: https", "Accept: application/json"]
    heads += [f"Authorization: Bearer {token}"] if token else []
    heads += ["Content-Type: application/json", f"Content-Length: {len(content)}"] if content else []
    return "\r\n".join([*heads, "", ""]).encode() + content


def logged(known: dict[str, Any]) -> bytes:
    """Another exposure each time."""
    from tests.bodies import CLUB  # noqa: PLC0415

    body = CLUB["exposures/"] | {"paper": known["paper"], "id": str(uuid.uuid4())}
    return request("POST", "/api/v1/clubs/saltmarsh/exposures/", body, known["token"])


@dataclass
class Answers:
    """How long each took, in s, what was not answered by 2xx, and how long all took."""

    took: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def per_second(self) -> float:
        return len(self.took) / self.seconds


class Kept:
    """One kept connection, with the answer that is on its way."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=60)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.begun, self.said = 0.0, b""

    def send(self, asked: bytes) -> None:
        self.begun, self.said = time.perf_counter(), b""
        self.socket.sendall(asked)

    def answered(self) -> bool:
        """Read what is there; whether that is the whole answer."""
        piece = self.socket.recv(1 << 18)
        if not piece:
            raise ConnectionError(f"closed after {self.said[:200]!r}")
        self.said += piece
        heads, ended, body = self.said.partition(b"\r\n\r\n")
        if not ended:
            return False
        named = dict(line.lower().split(b": ", 1) for line in heads.split(b"\r\n")[1:])
        return len(body) >= int(named[b"content-length"])


def ask(port: int, asked: Iterator[bytes], *, connections: int, seconds: float = 1e9) -> Answers:
    """Each connection asks again as soon as it is answered, until the requests or the seconds are used up."""
    answers, crowd = Answers(), selectors.DefaultSelector()
    kept = [Kept(port) for _ in range(connections)]
    begun = time.perf_counter()
    waiting = 0
    for each in kept:
        crowd.register(each.socket, selectors.EVENT_READ, each)
        if following := next(asked, None):
            each.send(following)
            waiting += 1
    while waiting:
        for key, _ in crowd.select(60):
            each = key.data
            if not each.answered():
                continue
            now = time.perf_counter()
            answers.took.append(now - each.begun)
            if not each.said.startswith(b"HTTP/1.1 2"):
                answers.faults.append(each.said[:600].decode(errors="replace"))
            following = next(asked, None) if now - begun < seconds else None
            if following:
                each.send(following)
            else:
                waiting -= 1
    answers.seconds = time.perf_counter() - begun
    for each in kept:
        each.socket.close()
    return answers


def stored() -> dict[str, int]:
    """Logs, what the cells count of them, and entries in the trail."""
    from django.db import connections  # noqa: PLC0415
    from django.db.models import Sum  # noqa: PLC0415

    from clubs.models import TrailEntry  # noqa: PLC0415
    from exposures.models import EvidenceCell, ExposureLog  # noqa: PLC0415

    try:
        cells = EvidenceCell.objects.aggregate(logs=Sum("logs"))["logs"] or 0
        return {"logs": ExposureLog.objects.count(), "cells": cells, "trail": TrailEntry.objects.count()}
    finally:
        connections.close_all()


def again(*requests: bytes) -> Iterator[bytes]:
    return cycle(requests)
