"""Cursor pages: `{"next", "previous", "results"}` on a unique key, the same cost however deep."""

import base64
import binascii
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from operator import attrgetter
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
    before = more if backwards else edge is not None
    return _page(request, found, key=attrgetter(key), after=backwards or more, before=before)


def page_of_rows(request: Request, rows: QuerySet, *, key: str, newest_first: bool = False) -> Page:
    """The page of `rows` that the request asks for, in the order of the unique field `key`."""
    part = Part.asked_for(request, rows.model._meta.get_field(key), newest_first=newest_first)
    return part.page(request, part.of(rows, key), attrgetter(key))


@dataclass(frozen=True)
class Part:
    """Which rows a page holds: so many, in an order, beyond the edge that its cursor names."""

    size: int
    backwards: bool
    ascending: bool
    edge: Any

    @classmethod
    def asked_for(cls, request: Request, field: Any, *, newest_first: bool) -> "Part":
        """What the request asks for in the order of a unique field."""
        size = _page_size(request)
        backwards, told = _read_cursor(request)
        edge: Any = told
        if told is not None:
            try:
                edge = field.to_python(told)
                if isinstance(edge, datetime):
                    edge = edge.astimezone(UTC)  # beyond the year 1 or 9999 no database takes it
            except Exception as fault:  # field.to_python raises Django's own ValidationError
                raise _bad("cursor", "Copy the cursor from next or previous.") from fault
        return cls(size, backwards, newest_first == backwards, edge)

    def of(self, rows: QuerySet, key: str) -> QuerySet:
        """The page's rows in the order they are found in, and one more where there is one."""
        if self.edge is not None:
            rows = rows.filter(**{f"{key}__{'gt' if self.ascending else 'lt'}": self.edge})
        return rows.order_by(key if self.ascending else f"-{key}")[: self.size + 1]

    def page(self, request: Request, rows: Iterable[Any], key: Callable[[Any], Any]) -> Page:
        """The page of what was found, each row's `key` being the order's."""
        found = list(rows)
        more, found = len(found) > self.size, found[: self.size]
        if self.backwards:
            found.reverse()
        begun = self.edge is not None
        before = more if self.backwards else begun
        return _page(request, found, key=key, after=self.backwards or more, before=before)


def _page(request: Request, found: list[Any], *, key: Callable[[Any], Any], after: bool, before: bool) -> Page:
    return Page(
        results=found,
        next=_address(request, "f", key(found[-1])) if found and after else None,
        previous=_address(request, "b", key(found[0])) if found and before else None,
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
