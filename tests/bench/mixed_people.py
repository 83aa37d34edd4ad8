"""What people ask of the site in `mixed.py`: each kind of visit with how often it happens, and what must come back."""

import http.client
import json
import random
import threading
import time
import uuid
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any
from urllib.parse import urlencode

from mixed_site import EMBED_ORIGIN, PASSWORD, Club, Person

FINE = frozenset({200})
CHANGED = frozenset({200, 412})
AS_JSON = {"Content-Type": "application/json"}


@dataclass
class Record:
    """What was heard: seconds by kind of request, faults, and the logs that are stored by now, with their times."""

    times: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    faults: list[str] = field(default_factory=list)
    stored: dict[str, str] = field(default_factory=dict)
    #: Requests sent again since a kept connection was closed before any answer, as a browser does.
    again: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)


class Line:
    """A kept connection."""

    def __init__(self, port: int, record: Record) -> None:
        self.port, self.record = port, record
        self.connection: http.client.HTTPConnection | None = None

    def send(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> tuple[int, Any, bytes]:
        """Status, headers and body. A new connection must answer."""
        if self.connection is not None:
            try:
                return self._send(method, path, body, headers)
            except (ConnectionError, http.client.RemoteDisconnected, http.client.CannotSendRequest):
                self.connection.close()
                with self.record.lock:
                    self.record.again += 1
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            return self._send(method, path, body, headers)
        except Exception:
            self.connection.close()
            self.connection = None
            raise

    def _send(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> tuple[int, Any, bytes]:
        assert self.connection is not None
        self.connection.request(method, path, body, headers)
        response = self.connection.getresponse()
        return response.status, response.headers, response.read()


class Unexpected(Exception):
    """An answer that should not have been: it is on record, and the visit ends."""


@dataclass
class Visit:
    """One person's visit; `due` is when it should have begun, so that waiting for the site's answers counts."""

    kind: str
    line: Line
    person: Person
    record: Record
    dice: random.Random
    due: float

    @property
    def club(self) -> Club:
        return self.person.club

    @property
    def camera(self) -> str:
        return self.dice.choice(self.club.cameras)

    @property
    def paper(self) -> str:
        return self.dice.choice(self.club.papers)

    def ask(
        self, method: str, path: str, body: Any = None, *, fine: frozenset[int] = FINE, kind: str = "", **headers: str
    ) -> tuple[int, Any, bytes]:
        """An answer with one of the statuses that are `fine`; any other is a fault."""
        sent = {"Host": f"127.0.0.1:{self.line.port}", "X-Forwarded-Proto": "https"}
        if not isinstance(body, bytes) and body is not None:
            body, headers = json.dumps(body).encode(), AS_JSON | headers
        try:
            status, told, said = self.line.send(method, path, body, sent | headers)
        except OSError as fault:
            status, told, said = 0, {}, repr(fault).encode()
        took = time.monotonic() - self.due
        with self.record.lock:
            self.record.times[kind or self.kind].append(took)
            if status not in fine:
                self.record.faults.append(f"{self.kind}: {method} {path}: {status} {said[:300]!r}")
        self.due = time.monotonic()
        if status not in fine:
            raise Unexpected
        return status, told, said

    def api(self, method: str, path: str, body: Any = None, **more: Any) -> tuple[int, Any, bytes]:
        """The same below the club, with the person's token."""
        told = {"Authorization": f"Bearer {self.person.token}", "Accept": "application/json"}
        return self.ask(method, f"/api/v1/clubs/{self.club.slug}/{path}", body, **(told | more))

    def json(self, method: str, path: str, body: Any = None, **more: Any) -> Any:
        return json.loads(self.api(method, path, body, **more)[2])

    def page(self, path: str) -> None:
        """A page for people, by the session's cookie; who has none signs in before."""
        if not self.person.cookies:
            log_in(self)
        self.ask("GET", path, Cookie=self.person.cookies, Accept="text/html")

    def new_log(self) -> dict[str, Any]:
        return {
            "id": str(uuid.UUID(int=self.dice.getrandbits(128), version=4)), "camera": self.camera,
            "paper": self.paper, "taken_at": "2026-05-01T12:00:00Z", "reading": {"ev": self.dice.randint(8, 15)},
            "exposure_time": f"{self.dice.randint(20, 900)} s", "visibility": self.dice.choice(["club", "shared"]),
            "result": {"judged_stops": self.dice.choice([-0.5, 0, 0.5])}, "note": "cloud at the end (invented)",
        }  # fmt: skip

    def acknowledged(self, *bodies: dict[str, Any]) -> None:
        with self.record.lock:
            self.record.stored |= {body["id"]: body["exposure_time"] for body in bodies}
            self.person.logged.extend(bodies)


def log_in(visit: Visit) -> None:
    at = "/api/v1/accounts/login/"
    _, told, said = visit.ask("GET", at, kind="sign in")
    headers = {"X-CSRFToken": json.loads(said)["csrf_token"], "Cookie": cookies_of(told),
               "Referer": f"https://127.0.0.1:{visit.line.port}/"}  # fmt: skip
    body = {"username": visit.person.username, "password": PASSWORD}
    _, told, _ = visit.ask("POST", at, body, kind="sign in", **headers)
    visit.person.cookies = cookies_of(told)


def cookies_of(headers: Any) -> str:
    return "; ".join(each.split(";")[0] for each in headers.get_all("Set-Cookie", []))


def lists(visit: Visit) -> None:
    visit.api("GET", visit.dice.choice(["cameras/", "exposures/", "exposures/", "papers/", "members/"]))


def filtered(visit: Visit) -> None:
    asked = visit.dice.choice([
        {"camera": visit.camera}, {"paper": visit.paper}, {"judged": "false"}, {"shared": "true"},
        {"member": visit.person.username}, {"since": "2026-05-01T00:00:00Z", "camera": visit.camera},
    ])  # fmt: skip
    visit.api("GET", f"exposures/?{urlencode(asked)}")


def deep(visit: Visit) -> None:
    """Three pages on, by cursors."""
    path = "exposures/?page_size=20"
    for _ in range(4):
        following = json.loads(visit.api("GET", path)[2])["next"]
        if following is None:
            return
        path = following.split(f"/{visit.club.slug}/", 1)[1]


def known_already(visit: Visit) -> None:
    """Something is read and asked for again with its ETag; somebody else may change it between."""
    path = visit.dice.choice([f"cameras/{visit.camera}/", f"papers/{visit.paper}/", "field-kit/", "cameras/", "papers/",
                              "exposures/?page_size=20"])  # fmt: skip
    _, told, _ = visit.api("GET", path, kind="read before a 304")
    if tag := told["ETag"]:
        visit.api("GET", path, fine=frozenset({200, 304}), **{"If-None-Match": tag})


def log(visit: Visit) -> None:
    """One exposure; of ten, one is sent again as a phone does that heard no answer."""
    body = visit.new_log()
    visit.api("POST", "exposures/", body, fine=frozenset({201, 200}))
    visit.acknowledged(body)
    if visit.dice.random() < 0.1:
        visit.api("POST", "exposures/", body, kind="log, sent again")


def log_many(visit: Visit) -> None:
    """What a phone kept for a day, some of it sent before."""
    bodies = [visit.new_log() for _ in range(visit.dice.randint(5, 25))]
    known = visit.person.logged[-3:]
    said = json.loads(visit.api("POST", "exposures/bulk/", [*bodies, *known])[2])
    if said["refused"]:
        raise_fault(visit, f"refused of a bulk: {said}")
    visit.acknowledged(*bodies)


def raise_fault(visit: Visit, text: str) -> None:
    with visit.record.lock:
        visit.record.faults.append(f"{visit.kind}: {text[:300]}")
    raise Unexpected


def correct(visit: Visit) -> None:
    with visit.record.lock:
        wrong = visit.person.logged.pop(0) if visit.person.logged else None
    if wrong is None:
        log(visit)
        return
    body = visit.new_log() | {"camera": wrong["camera"], "reason": "The paper was another (invented)."}
    visit.api("POST", f"exposures/{wrong['id']}/corrections/", body, fine=frozenset({201, 200}))
    with visit.record.lock:
        visit.record.stored[body["id"]] = body["exposure_time"]


def change(visit: Visit) -> None:
    """A camera's note, by the club's keeper; who was not first is told so."""
    path = f"cameras/{visit.camera}/"
    _, told, _ = visit.api("GET", path, kind="read before a change")
    note = {"note": f"lid sticks, {visit.dice.randint(1, 999)} (invented)"}
    visit.api("PATCH", path, note, fine=CHANGED, **{"If-Match": told["ETag"]})


def optics(visit: Visit) -> None:
    from tests.bodies import OPTICS  # noqa: PLC0415  (the settings are ready only now)

    name = visit.dice.choice(sorted(OPTICS))
    visit.ask("POST", f"/api/v1/optics/{name}", OPTICS[name])


def photo(visit: Visit) -> None:
    body, kind = form(image=("camera.jpg", picture(visit.dice.randint(0, 3)), "image/jpeg"), caption="from above")
    path = f"cameras/{visit.camera}/photos/"
    status, _, said = visit.api("POST", path, body, fine=frozenset({201, 409}), **{"Content-Type": kind})
    if status == 201:
        visit.api("GET", f"{path}{json.loads(said)['id']}/", kind="read of a photo")


_PICTURES: dict[int, bytes] = {}


def picture(number: int) -> bytes:
    """A photo of some 1.5 MB, as a phone takes it when asked for a middle size."""
    if number not in _PICTURES:
        import numpy as np  # noqa: PLC0415
        from PIL import Image  # noqa: PLC0415

        out, noise = BytesIO(), np.random.default_rng(number).integers(0, 256, (1200, 1600, 3), dtype=np.uint8)
        Image.fromarray(noise).save(out, "JPEG", quality=60)
        _PICTURES[number] = out.getvalue()
    return _PICTURES[number]


def form(**parts: str | tuple[str, bytes, str]) -> tuple[bytes, str]:
    """multipart/form-data, and its content type; a file is its name, bytes and type."""
    from django.core.files.uploadedfile import SimpleUploadedFile  # noqa: PLC0415
    from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart  # noqa: PLC0415

    said = {name: SimpleUploadedFile(*part) if isinstance(part, tuple) else part for name, part in parts.items()}
    return encode_multipart(BOUNDARY, said), MULTIPART_CONTENT


def sheet(visit: Visit) -> None:
    """A camera's sheet, issued and set as a PDF."""
    body = {"kind": "camera_spec", "page": "a4", "wall_thickness": "2 mm", "sheet": "8x10 in"}
    said = visit.api("POST", f"cameras/{visit.camera}/sheets/", body, fine=frozenset({201}))[2]
    visit.api("GET", f"sheets/{json.loads(said)['id']}/pdf/", kind="PDF of a sheet", Accept="application/pdf")


def pack(visit: Visit) -> None:
    """A workshop's pack of sheets for every place, by its keeper."""
    body = {"kind": "workshop_pack", "page": "a4", "camera_spec": "each", "sheet": "8x10 in", "starts": "09:30"}
    said = visit.api("POST", f"workshops/{visit.club.workshop}/sheets/", body, fine=frozenset({201}))[2]
    visit.api("GET", f"sheets/{json.loads(said)['id']}/pdf/", kind="PDF of a pack", Accept="application/pdf")


def recommend(visit: Visit) -> None:
    body = {"camera": visit.camera, "paper": visit.paper, "reading": {"ev": visit.dice.randint(8, 15)}}
    visit.api("POST", "recommendation/", body)


def learn(visit: Visit) -> None:
    path = [
        "reciprocity/",
        "reciprocity/cameras/",
        "reciprocity/model/",
        "comparison/?by=camera",
        "next-tests/?count=2",
    ]
    visit.api("GET", visit.dice.choice(path))


def field_page(visit: Visit) -> None:
    visit.page("/field/")
    visit.ask("GET", "/field/sw.js")
    visit.api("GET", "field-kit/", kind="field kit")


def pages(visit: Visit) -> None:
    here = f"/clubs/{visit.club.slug}/"
    paths = ["", "cameras/", f"cameras/{visit.camera}/", "papers/", f"papers/{visit.paper}/", "log/", "comparison/"]
    visit.page(visit.dice.choice([here + path for path in paths] + ["/bench/", "/", "/clubs/", "/hole/"]))


def embed(visit: Visit) -> None:
    at = f"/api/v1/embed/{visit.club.slug}/"
    path = visit.dice.choice(["", "cameras/", "cameras/T1/"])
    _, told, _ = visit.ask("GET", at + path, Origin=EMBED_ORIGIN)
    visit.ask("GET", at + path, fine=frozenset({200, 304}), Origin=EMBED_ORIGIN, **{"If-None-Match": told["ETag"]})


def bring_in(visit: Visit) -> None:
    """A messy spreadsheet: sent, told what its columns are, imported, and now and then undone."""
    from tests.exposures.imports.messy import ANSWERS, HEADING, as_csv, messy_rows  # noqa: PLC0415

    rows, kinds = messy_rows(60, seed=visit.dice.randint(1, 10**6))
    body, kind = form(file=("log.csv", as_csv(HEADING, rows), "text/csv"), kind="exposures")
    _, told, said = visit.api("POST", "imports/", body, fine=frozenset({201}), **{"Content-Type": kind})
    at = f"imports/{json.loads(said)['id']}/"
    _, told, _ = visit.api("PATCH", at, ANSWERS, kind="import mapped", **{"If-Match": told["ETag"]})
    done = visit.api("POST", at + "apply/", {"rows": "good"}, kind="import applied", **{"If-Match": told["ETag"]})
    if json.loads(done[2])["rows"]["imported"] != kinds["good"]:
        raise_fault(visit, f"imported otherwise than {kinds}: {done[2]!r}")
    if visit.dice.random() < 0.3:
        visit.api("POST", at + "undo/", {}, kind="import undone", **{"If-Match": done[1]["ETag"]})


def export(visit: Visit) -> None:
    visit.api("GET", f"export/?what={visit.dice.choice(['exposures', 'cameras', 'papers'])}", Accept="text/csv")


def archive(visit: Visit) -> None:
    visit.api("GET", "export/archive/")


def own_data(visit: Visit) -> None:
    visit.ask("GET", "/api/v1/accounts/me/data/", Authorization=f"Bearer {visit.person.token}")


#: Of a thousand visits. The last three take a keeper.
KINDS: dict[str, tuple[int, Callable[[Visit], None]]] = {
    "sign in": (12, log_in), "list": (150, lists), "filtered list": (90, filtered), "deep pages": (40, deep),
    "304": (90, known_already), "log": (150, log), "many logs": (8, log_many), "correction": (20, correct),
    "optics": (110, optics), "photo": (10, photo), "sheet": (5, sheet), "recommendation": (70, recommend),
    "what the log says": (40, learn), "field page": (30, field_page), "page": (100, pages), "embedding": (40, embed),
    "import": (4, bring_in), "export": (8, export), "own data": (3, own_data),
    "change": (16, change), "pack": (2, pack), "archive": (2, archive),
}  # fmt: skip
KEEPERS = frozenset({"change", "pack", "archive"})


def visit_of(line: Line, people: list[Person], record: Record, dice: random.Random, due: float) -> None:
    """Some visit by somebody who may make it."""
    kind = dice.choices(list(KINDS), [often for often, _ in KINDS.values()])[0]
    person = dice.choice([one for one in people if one.keeper] if kind in KEEPERS else people)
    try:
        KINDS[kind][1](Visit(kind, line, person, record, dice, due))
    except Unexpected:
        return
    except Exception as fault:  # noqa: BLE001  (a fault of the walk's own must not pass for silence)
        with record.lock:
            record.faults.append(f"{kind}: {fault!r}")
