"""What `floor.py` measures Pinpool against, on the same rows: a bare WSGI function, and plain DRF ModelSerializers.

The bare function knows no account, no club and no unit: one statement of the raw driver, and orjson. A log it stores in
two ways: by that log's INSERT alone, and by reading and writing each row that Pinpool does for one. The plain views
stand beside Pinpool's own routes, with the same middleware and token, and DRF's own renderer.
"""

import hashlib
import os
import sqlite3
import threading
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import orjson
import psycopg
from django.urls import include, path
from psycopg.types.string import TextLoader
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.permissions import IsAuthenticated

from clubs.models import Camera, CameraSpec
from exposures.models import ExposureLog
from pinpool.settings import DATA_DIR, SQLITE
from pinpool.tokens import TokenAuthentication

ROWS = 100
#: The clubs that `floor.py` filled: one to list, one to log in.
LISTED, LOGGED = (int(number) for number in os.environ.get("FLOOR_CLUBS", "0 0").split())
CAMERAS = f"""
SELECT c.code, c.name, o.username AS owner, c.note, c.design_id, l.username AS lent_to, c.lent_until, c.retired_at,
  c.registered_at, c.revision, s.number, s.film_plane, s.hole_diameter_mm, s.hole_uncertainty_mm,
  s.plate_thickness_mm, s.hole_measured_by, s.focal_length_mm, s.f_number, s.typed, s.reason,
  a.username AS author, s.created_at
FROM pinpool_clubs_camera c JOIN pinpool_clubs_cameraspec s ON s.camera_id = c.id
  LEFT JOIN auth_user o ON o.id = c.owner_id LEFT JOIN auth_user l ON l.id = c.lent_to_id
  LEFT JOIN auth_user a ON a.id = s.author_id
WHERE c.club_id = {LISTED} ORDER BY c.code LIMIT {ROWS}
"""  # noqa: S608  (numbers of ours, here and below)
LOGS = f"""
SELECT e.id, c.code AS camera, s.number AS spec, e.paper_id, u.username AS member, e.taken_at, e.reading, e.ev100,
  e.filter_stops, e.f_number, e.exposure_index, e.indicated_time_s, e.exposure_time_s, e.result, e.result_stops,
  e.grade, e.process, e.note, e.place_latitude, e.place_longitude, e.shared, e.private, e.reason, e.revision
FROM pinpool_exposures_exposurelog e JOIN pinpool_clubs_cameraspec s ON s.id = e.spec_id
  JOIN pinpool_clubs_camera c ON c.id = s.camera_id LEFT JOIN auth_user u ON u.id = e.member_id
WHERE e.club_id = {LISTED} AND e.corrected_at IS NULL ORDER BY e.number DESC LIMIT {ROWS}
"""  # noqa: S608
LOG = f"SELECT * FROM pinpool_exposures_exposurelog WHERE club_id = {LOGGED} ORDER BY number LIMIT 1"  # noqa: S608
#: What Pinpool reads for a log: who asks, what they are in the club, the camera's specs, the paper.
READ = (
    "SELECT * FROM pinpool_apitoken t JOIN auth_user u ON u.id = t.user_id WHERE t.digest = %s",
    f"""SELECT * FROM pinpool_clubs_membership m JOIN pinpool_clubs_club c ON c.id = m.club_id
    WHERE c.id = {LOGGED} AND m.role = %s""",  # noqa: S608
    f"""SELECT * FROM pinpool_clubs_cameraspec s JOIN pinpool_clubs_camera c ON c.id = s.camera_id
    WHERE c.club_id = {LOGGED} AND c.code = %s""",  # noqa: S608
    "SELECT * FROM pinpool_exposures_paper WHERE id = %s",
)
STAMP = f"UPDATE pinpool_exposures_pool SET stamp = stamp + 1, shared_stamp = stamp + 1 WHERE club_id = {LOGGED}"  # noqa: S608
CELL = """
UPDATE pinpool_exposures_evidencecell
SET logs = logs + 1, x = x + %s, xx = xx + %s, y = y + %s, xy = xy + %s, yy = yy + %s
WHERE paper_id = %s AND grade = 'judged' AND shared
"""
ENTRY = f"SELECT * FROM pinpool_clubs_trailentry WHERE club_id = {LOGGED} ORDER BY id DESC LIMIT 1"  # noqa: S608
JSON_COLUMNS = {"film_plane", "typed", "reading", "typed_time", "result", "process"}

POSTGRESQL = "DATABASE_URL" in os.environ

mine = threading.local()


def connection() -> Any:
    """This thread's connection, set up as the site's own."""
    if not hasattr(mine, "connection"):
        if POSTGRESQL:
            mine.connection = psycopg.connect(os.environ["DATABASE_URL"], autocommit=True)
            mine.connection.adapters.register_loader("jsonb", TextLoader)
        else:
            mine.connection = sqlite3.connect(DATA_DIR / "pinpool.sqlite3", timeout=20, isolation_level=None)
            mine.connection.executescript("".join(f"PRAGMA {each};" for each in SQLITE))
    return mine.connection


def run(statement: str, values: Iterable[Any] = ()) -> Any:
    return connection().execute(statement if POSTGRESQL else statement.replace("%s", "?"), list(values))


def rows(statement: str, values: Iterable[Any] = ()) -> list[dict[str, Any]]:
    cursor = run(statement, values)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


@contextmanager
def transaction() -> Iterator[None]:
    run("BEGIN" if POSTGRESQL else "BEGIN IMMEDIATE")
    yield
    run("COMMIT")


def insert(table: str, row: dict[str, Any]) -> None:
    run(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join(['%s'] * len(row))})", row.values())  # noqa: S608


def listed(statement: str) -> bytes:
    found = rows(statement)
    for row in found:
        for name in JSON_COLUMNS & row.keys():
            row[name] = row[name] and orjson.Fragment(row[name])
    return orjson.dumps(found, default=str)


def example(statement: str, key: str) -> dict[str, Any]:
    """The row to store more like, without the key that the database draws; asked for once in each thread."""
    if statement not in mine.__dict__:
        [row] = rows(statement)
        del row[key]
        mine.__dict__[statement] = row
    return dict(mine.__dict__[statement])


def stored(body: Any) -> bytes:
    """Stores a log like the club's first, with the note that was sent."""
    new = uuid.uuid4()
    log = example(LOG, "number") | {"id": new if POSTGRESQL else new.hex, "note": body["note"]}
    insert("pinpool_exposures_exposurelog", log)
    return orjson.dumps(log, default=str)


def stored_with_all(body: Any, told: dict[str, Any]) -> bytes:
    """The same in a transaction with the club's stamps, the cell of evidence and the trail, after all that is read."""
    digest = hashlib.sha256(told["HTTP_AUTHORIZATION"].removeprefix("Bearer ").encode()).hexdigest()
    paper = body["paper"] if POSTGRESQL else body["paper"].replace("-", "")
    for statement, value in zip(READ, (digest, "keeper", body["camera"], paper), strict=True):
        if not rows(statement, [value]):
            raise LookupError(statement)
    with transaction():
        run(STAMP)
        answer = stored(body)
        if run(CELL, [*[0.5] * 5, paper]).rowcount != 1:
            raise LookupError(CELL)
        insert("pinpool_clubs_trailentry", example(ENTRY, "id"))
    return answer


def bare(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """The least that could answer."""
    at, status, answer = environ["PATH_INFO"], "200 OK", b""
    if at == "/cameras/":
        answer = listed(CAMERAS)
    elif environ["REQUEST_METHOD"] == "GET":
        answer = listed(LOGS)
    else:
        status, body = "201 Created", orjson.loads(environ["wsgi.input"].read())
        answer = stored(body) if at == "/logs/" else stored_with_all(body, environ)
    start_response(status, [("Content-Type", "application/json"), ("Content-Length", str(len(answer)))])
    return [answer]


class SpecSerializer(serializers.ModelSerializer):
    author = serializers.CharField(source="author.username")

    class Meta:
        model = CameraSpec
        exclude = ["measurements", "camera"]


class CameraSerializer(serializers.ModelSerializer):
    owner = serializers.CharField(source="owner.username", default=None)
    lent_to = serializers.CharField(source="lent_to.username", default=None)
    spec = SpecSerializer()

    class Meta:
        model = Camera
        exclude = ["club"]


class LogSerializer(serializers.ModelSerializer):
    camera = serializers.CharField(source="spec.camera.code")
    spec = serializers.IntegerField(source="spec.number")
    member = serializers.CharField(source="member.username", default=None)

    class Meta:
        model = ExposureLog
        exclude = ["number", "club", "typed_time", "right_time_s", "time_stops", "effect_stops", "imported_in"]


class Plain(ListAPIView):
    authentication_classes = [TokenAuthentication]
    permission_classes = [IsAuthenticated]
    filter_backends: list[Any] = []


class PlainCameras(Plain):
    serializer_class = CameraSerializer

    def get_queryset(self) -> Any:
        cameras = Camera.objects.filter(club_id=LISTED).select_related("owner", "lent_to")
        return cameras.prefetch_related("specs__author").order_by("code")[:ROWS]


class PlainLogs(Plain):
    serializer_class = LogSerializer

    def get_queryset(self) -> Any:
        logs = ExposureLog.objects.filter(club_id=LISTED, corrected_at=None)
        return logs.select_related("spec__camera", "member").order_by("-number")[:ROWS]


urlpatterns = [
    path("plain/cameras/", PlainCameras.as_view()),
    path("plain/logs/", PlainLogs.as_view()),
    path("", include("pinpool.urls")),
]
