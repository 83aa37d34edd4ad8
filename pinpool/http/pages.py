"""Cursor pages: `{"next", "previous", "results"}` on a unique key, the same cost however deep."""

import base64
import binascii
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from pinpool.conf import setting

PAGE_QUERY = {
    "cursor": OpenApiParameter("cursor", str, description="Where the page starts; copy it from next or previous."),
    "page_size": OpenApiParameter("page_size", int, description="Rows in a page: 1 to 200."),
}


@dataclass(frozen=True)
class Page:
    """One page of rows, with the addresses of its neighbours."""

    results: list[Any]
    next: str | None
    previous: str | None


def page_of_list(request: Request, rows: Iterable[Any], *, key: str) -> Page:
    """The page of objects made elsewhere that the request asks for, in the order of their unique text `key`."""
    size = _page_size(request)
    backwards, edge = _read_cursor(request)
    ordered = sorted(rows, key=lambda row: getattr(row, key))
    if edge is not None:
        ordered = [row for row in ordered if (getattr(row, key) < edge if backwards else getattr(row, key) > edge)]
    found = ordered[-size:] if backwards else ordered[:size]
    more = len(found) < len(ordered)
    return _page(request, found, key=key, after=backwards or more, before=more if backwards else edge is not None)


def page_of_rows(
    request: Request,
    rows: QuerySet,
    *,
    key: str,
    newest_first: bool = False,
    read: Callable[[QuerySet], Iterable[Any]] = iter,
) -> Page:
    """The page of `rows` that the request asks for, in the order of the unique field `key`, as `read` reads them."""
    size = _page_size(request)
    backwards, edge = _read_cursor(request)
    ascending = newest_first == backwards
    if edge is not None:
        field = rows.model._meta.get_field(key)
        try:
            bound = field.to_python(edge)
            if isinstance(bound, datetime):
                bound = bound.astimezone(UTC)  # beyond the year 1 or 9999 no database takes it
        except Exception as fault:  # field.to_python raises Django's own ValidationError
            raise _bad("cursor", "Copy the cursor from next or previous.") from fault
        rows = rows.filter(**{f"{key}__{'gt' if ascending else 'lt'}": bound})
    found = list(read(rows.order_by(key if ascending else f"-{key}")[: size + 1]))
    more, found = len(found) > size, found[:size]
    if backwards:
        found.reverse()
    return _page(request, found, key=key, after=backwards or more, before=more if backwards else edge is not None)


def _page(request: Request, found: list[Any], *, key: str, after: bool, before: bool) -> Page:
    return Page(
        results=found,
        next=_address(request, "f", getattr(found[-1], key)) if found and after else None,
        previous=_address(request, "b", getattr(found[0], key)) if found and before else None,
    )


def _page_size(request: Request) -> int:
    asked = request.query_params.get("page_size")
    if asked is None:
        return setting("PAGE_SIZE")
    most = setting("MAX_PAGE_SIZE")
    if not (asked.isascii() and asked.isdigit() and len(asked) < 6 and 1 <= int(asked) <= most):
        raise _bad("page_size", f"A whole number from 1 to {most}.")
    return int(asked)


def _read_cursor(request: Request) -> tuple[bool, str | None]:
    cursor = request.query_params.get("cursor")
    if cursor is None:
        return False, None
    try:
        text = base64.urlsafe_b64decode(cursor.encode("ascii")).decode()
    except (ValueError, binascii.Error):
        text = ""
    if text[:2] not in {"f:", "b:"} or "\0" in text:
        raise _bad("cursor", "Copy the cursor from next or previous.")
    return text[0] == "b", text[2:]


def _address(request: Request, way: str, edge: Any) -> str:
    cursor = base64.urlsafe_b64encode(f"{way}:{edge}".encode()).decode()
    return replace_query_param(request.build_absolute_uri(), "cursor", cursor)


def _bad(name: str, text: str) -> ValidationError:
    return ValidationError({name: [ErrorDetail(text, "invalid")]})
