"""An id for each request: its answer carries it, and so do its problem document and every line logged meanwhile."""

import logging
import re
import time
import uuid
from collections.abc import Callable
from contextvars import ContextVar

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import Resolver404, resolve

from pinpool.conf import setting

HEADER = "X-Request-ID"
#: The key of a request's `META` that holds its id.
KEY = "pinpool.request_id"

logger = logging.getLogger("pinpool.access")

_current: ContextVar[str] = ContextVar("request_id", default="")
_FIT = re.compile(r"[A-Za-z0-9._-]{8,64}")


def current() -> str:
    """The id of the request that is being answered; empty outside of one."""
    return _current.get()


def told_path(request: HttpRequest) -> str:
    """The path as logs tell it: without a code that opens something, which a view names as `untold_in_logs`.

    Of an address that no route takes it is one step more than routes know of: the rest may be a code with a slip in it.
    """
    path: str = request.path
    if path.startswith(settings.STATIC_URL):
        return path
    try:
        match = request.resolver_match or resolve(request.path_info)
    except Resolver404:
        return "/…"
    if secret := getattr(getattr(match.func, "view_class", None), "untold_in_logs", ""):
        return path.replace(match.kwargs[secret], "…") if match.kwargs.get(secret) else path
    steps = path.split("/")
    known = len(steps) - max(request.path_info.count("/") - match.route.count("/") - 1, 0)
    return "/".join([*steps[:known], "…"]) if any(steps[known:]) else path


class RequestIds:
    """Middleware that gives ids and logs a line for each answer.

    An id that comes with a request is kept where a proxy of ours may have given it; anybody could send one otherwise.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        given = request.headers.get(HEADER, "") if setting("TRUSTED_PROXIES") else ""
        found = given if _FIT.fullmatch(given) else uuid.uuid4().hex
        request.META[KEY] = found
        token, start = _current.set(found), time.perf_counter()
        try:
            response = self.get_response(request)
        finally:
            _current.reset(token)
        response[HEADER] = found
        took = round((time.perf_counter() - start) * 1000, 1)
        logger.info(
            "%s %s %s", request.method, told_path(request), response.status_code,
            extra={"status": response.status_code, "milliseconds": took, "request_id": found},
        )  # fmt: skip
        return response
