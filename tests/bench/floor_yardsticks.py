"""What `floor.py` measures Pinpool against, on the same rows: a bare WSGI function, and plain DRF ModelSerializers.

The bare function knows no account, no club and no unit: one statement of the raw driver, and orjson. The plain views
stand beside Pinpool's own routes, with the same middleware and token, and DRF's own renderer.
"""

import os
import sqlite3
import threading
import uuid
from collections.abc import Callable, Iterable
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
JSON_COLUMNS = {"film_plane", "typed", "reading", "typed_time", "result", "process"}

mine = threading.local()


def connection() -> Any:
    """This thread's connection, set up as the site's own."""
    if not hasattr(mine, "connection"):
        if url := os.environ.get("DATABASE_URL"):
            mine.connection = psycopg.connect(url, autocommit=True)
            mine.connection.adapters.register_loader("jsonb", TextLoader)
        else:
            mine.connection = sqlite3.connect(DATA_DIR / "pinpool.sqlite3", timeout=20, isolation_level=None)
            mine.connection.executescript("".join(f"PRAGMA {each};" for each in SQLITE))
    return mine.connection


def rows(statement: str) -> list[dict[str, Any]]:
    cursor = connection().execute(statement)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def listed(statement: str) -> bytes:
    found = rows(statement)
    for row in found:
        for name in JSON_COLUMNS & row.keys():
            row[name] = row[name] and orjson.Fragment(row[name])
    return orjson.dumps(found, default=str)


def stored(body: Any) -> bytes:
    """Stores a log like the club's first, with the note that was sent."""
    if not hasattr(mine, "log"):
        mine.log = rows(LOG)[0]
        del mine.log["number"]
    new = uuid.uuid4()
    log = mine.log | {"id": new if "DATABASE_URL" in os.environ else new.hex, "note": body["note"]}
    mark = "%s" if "DATABASE_URL" in os.environ else "?"
    into = f"pinpool_exposures_exposurelog ({', '.join(log)})"
    connection().execute(f"INSERT INTO {into} VALUES ({', '.join([mark] * len(log))})", list(log.values()))  # noqa: S608
    return orjson.dumps(log, default=str)


def bare(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """The least that could answer."""
    at, status, answer = environ["PATH_INFO"], "200 OK", b""
    if at == "/cameras/":
        answer = listed(CAMERAS)
    elif environ["REQUEST_METHOD"] == "GET":
        answer = listed(LOGS)
    else:
        status, answer = "201 Created", stored(orjson.loads(environ["wsgi.input"].read()))
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
