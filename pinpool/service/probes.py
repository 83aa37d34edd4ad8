"""Two addresses for whoever watches over the service; a middleware, so that any host name will do.

`/health/` answers while the process can answer at all; `/ready/` only while its database does and is up to date.
"""

import logging
from collections.abc import Callable

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.http.response import HttpResponseBase

from pinpool.service.versions import unapplied, unknown

logger = logging.getLogger(__name__)


class Probes:
    """Answers the two addresses, and passes everything else on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response
        self._migrated = False

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.path == "/health/":
            return _told("ok")
        if request.path == "/ready/":
            return self._ready()
        return self.get_response(request)

    def _ready(self) -> JsonResponse:
        try:
            with connection.cursor() as cursor:
                cursor.execute("SELECT 1")
            self._migrated = self._migrated or not (unapplied() or unknown())
        except DatabaseError:
            logger.exception("The database does not answer.")
            connection.close()
            return _told("The database does not answer.", 503)
        if not self._migrated:
            return _told("The database is not of this version: run manage.py migrate, or a newer version.", 503)
        return _told("ready")


def _told(status: str, code: int = 200) -> JsonResponse:
    return JsonResponse({"status": status}, status=code, headers={"Cache-Control": "no-store"})
