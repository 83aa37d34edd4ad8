"""RFC 9457 problem documents: every refusal of the service, in one shape, all faults at once."""

import errno
import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from traceback import walk_tb
from typing import Any

from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.db import InterfaceError, InternalError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from rest_framework import exceptions
from rest_framework.exceptions import APIException, ErrorDetail
from rest_framework.settings import api_settings

from .json_text import as_json
from .request_ids import current

MEDIA_TYPE = "application/problem+json"
UNREADABLE = "This request cannot be read: its host is not served here, or it has too many parts."

TITLES = {
    400: ("invalid_input", "The request has faults"),
    401: ("not_signed_in", "Sign in first"),
    403: ("not_allowed", "Your role does not allow this"),
    404: ("not_found", "There is nothing here, or nothing you may see"),
    405: ("method_not_allowed", "This address does not take that method"),
    406: ("not_acceptable", "This address cannot answer in that form"),
    408: ("too_slow", "The request came too slowly"),
    409: ("conflict", "This contradicts what is stored"),
    412: ("changed_meanwhile", "Somebody changed this since you read it"),
    413: ("too_large", "The request is too large"),
    415: ("unsupported_media_type", "This address does not read that kind of body"),
    422: ("impossible", "This cannot exist as described"),
    428: ("if_match_missing", "Say which revision you are changing"),
    429: ("too_many_requests", "Slow down"),
    500: ("internal_error", "Something broke on our side"),
    502: ("plugin_failed", "A plug-in failed"),
    503: ("unavailable", "This cannot be answered just now"),
    507: ("storage_full", "There is no room to store this"),
}

#: Primary result codes of SQLite: busy, locked, read-only, input or output failed, cannot open; and full.
_SQLITE_AWAY, _SQLITE_FULL = {5, 6, 8, 10, 14}, 13
#: Beginnings of SQLSTATEs: connection, resources, an operator's hand, locks, a deadlock, a transaction that the
#: database ended because this process stood still in it; and a full disk.
_POSTGRES_AWAY, _POSTGRES_FULL = ("08", "53", "57", "55P03", "40", "25P03"), "53100"

logger = logging.getLogger(__name__)


class ImpossibleCode(str):
    """The code of a fault of a request that is well formed but describes what cannot exist: answered with 422.

    The code carries the difference because serializers rebuild the details that pass through them.
    """

    __slots__ = ()


def impossible(text: str, code: str) -> ErrorDetail:
    """The detail of such a fault."""
    return ErrorDetail(text, ImpossibleCode(code))


class Conflict(APIException):
    """The request contradicts what is stored, such as a code already taken."""

    status_code = 409
    default_code = "conflict"


class ChangedMeanwhile(APIException):
    """The change was meant for another revision than the one stored."""

    status_code = 412
    default_code = "changed_meanwhile"
    default_detail = "This was changed since you read it. Read it again, and change that."


class IfMatchMissing(APIException):
    """A change that does not say which revision it is meant for."""

    status_code = 428
    default_code = "if_match_missing"
    default_detail = "Send If-Match with the ETag of what you are changing, so that nobody's change is lost."


class PluginFailed(APIException):
    """A plug-in raised, or returned what it must not; the message names it."""

    status_code = 502
    default_code = "plugin_failed"


class Unavailable(APIException):
    """Something that the answer takes is busy or stopped; the same asked again may be answered."""

    status_code = 503
    default_code = "unavailable"
    wait = 5


class StorageFull(APIException):
    """The disk is, or the database's; nothing of the request was stored."""

    status_code = 507
    default_code = "storage_full"
    default_detail = "The disk is full: nothing of this was stored. Send it again when there is room."


def refusal_of(fault: BaseException | None) -> APIException | None:
    """What to answer where it is not our code that failed but what it stands on.

    That is a full disk, or a database away or busy, which is logged here; or a form that Python cannot read. None for
    any other fault.
    """
    if _trips_on_a_header(fault):
        return exceptions.ParseError("This form cannot be read: a header in it is numbered in part only.")
    if isinstance(fault, OSError) and fault.errno in {errno.ENOSPC, errno.EDQUOT}:
        refusal: APIException = StorageFull()
    elif isinstance(fault, OperationalError | InterfaceError | InternalError):
        cause = fault.__cause__
        sqlite, postgres = getattr(cause, "sqlite_errorcode", None), getattr(cause, "sqlstate", None)
        if postgres == _POSTGRES_FULL or (sqlite is not None and sqlite & 0xFF == _SQLITE_FULL):
            refusal = StorageFull()
        elif (
            (sqlite is None and postgres is None)  # not even connected
            or (sqlite is not None and sqlite & 0xFF in _SQLITE_AWAY)
            or str(postgres).startswith(_POSTGRES_AWAY)
        ):
            refusal = Unavailable("The database does not answer just now: nothing of this was stored. Send it again.")
        else:
            return None
    else:
        return None
    logger.error("%s: %s", type(fault).__name__, fault)
    return refusal


def _trips_on_a_header(fault: BaseException | None) -> bool:
    """Python fails on `name*0*=a; name*=b` in the header of a form's part, and Django does not expect it to."""
    frames = [frame for frame, _ in walk_tb(fault.__traceback__)] if isinstance(fault, TypeError) else []
    return bool(frames) and frames[-1].f_globals.get("__name__") == "email.utils"


@contextmanager
def refuse_unknown(field: str, text: str) -> Iterator[None]:
    """Turn a 404 for something that the body names into a fault of that field."""
    try:
        yield
    except Http404:
        raise exceptions.ValidationError({field: [impossible(text, f"unknown_{field}")]}) from None


def faults_of(detail: Any, pointer: str = "") -> Iterator[tuple[str, ErrorDetail]]:
    """Every leaf of DRF's nested error detail, with its JSON pointer (RFC 6901)."""
    if isinstance(detail, ErrorDetail):
        yield pointer, detail
    elif isinstance(detail, dict):
        for key, value in detail.items():
            own = str(key) == api_settings.NON_FIELD_ERRORS_KEY
            step = "" if own else "/" + str(key).replace("~", "~0").replace("/", "~1")
            yield from faults_of(value, pointer + step)
    elif isinstance(detail, list | tuple):
        nested = any(isinstance(value, dict | list) for value in detail)
        for index, value in enumerate(detail):
            yield from faults_of(value, f"{pointer}/{index}" if nested else pointer)


def problem_body(status: int, detail: str, errors: Sequence[dict[str, str]] = ()) -> dict[str, Any]:
    """A problem document; no `errors` where there are none, and no `request_id` outside of requests that have one."""
    slug, title = TITLES.get(status, ("error", "The request could not be answered"))
    body: dict[str, Any] = {
        "type": f"urn:pinpool:problem:{slug}",
        "title": title,
        "status": status,
        "detail": detail,
    }
    if errors:
        body["errors"] = list(errors)
    if request_id := current():
        body["request_id"] = request_id
    return body


def handle_exception(exc: Exception, context: dict[str, Any]) -> HttpResponse | None:  # noqa: ARG001  (DRF's signature)
    """DRF's exception handler for our views: a problem document, or None for what is not a refusal.

    Not a DRF response: what the caller accepts, and how the view renders its answers, must not change a refusal.
    """
    if isinstance(exc, Http404):
        exc = exceptions.NotFound()
    elif isinstance(exc, PermissionDenied):
        exc = exceptions.PermissionDenied()
    elif isinstance(exc, SuspiciousOperation):
        exc = exceptions.ParseError(UNREADABLE)
    exc = refusal_of(exc) or exc
    if not isinstance(exc, APIException):
        return None
    status, errors = exc.status_code, []
    if isinstance(exc, exceptions.ValidationError):
        faults = list(faults_of(exc.detail))
        if faults and all(isinstance(fault.code, ImpossibleCode) for _, fault in faults):
            status = 422
        errors = [{"pointer": at, "code": str(fault.code), "detail": str(fault)} for at, fault in faults]
        count = len(errors)
        detail = str(faults[0][1]) if count == 1 else f"{count} faults; see errors."
    else:
        detail = str(exc.detail)
        code = getattr(exc.detail, "code", "")
        if isinstance(exc, exceptions.ParseError):
            errors = [{"pointer": "", "code": code, "detail": detail}]
    response = problem_response(status, detail, errors)
    if wait := getattr(exc, "wait", None):
        response["Retry-After"] = f"{wait:.0f}"
    if challenge := getattr(exc, "auth_header", None):
        response["WWW-Authenticate"] = challenge
    return response


def problem_response(status: int, detail: str, errors: Sequence[dict[str, str]] = ()) -> HttpResponse:
    """A problem document as a response."""
    return HttpResponse(as_json(problem_body(status, detail, errors)), status=status, content_type=MEDIA_TYPE)


@csrf_exempt  # else a POST to a misspelt address is told of a missing cookie
def unknown_address(request: HttpRequest, **_kwargs: str) -> HttpResponse:
    """The 404 for any address below the API that no route takes."""
    hint = "" if request.path.endswith("/") else "; addresses here end in a slash"
    return problem_response(404, f"No such address: {request.path}{hint}.")
