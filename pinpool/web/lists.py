"""Lists on pages, filtered and split by cursors as the API's are."""

from django.db.models import QuerySet
from django.http import Http404, HttpRequest
from django_filters import FilterSet
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from pinpool.http.filters import filtered
from pinpool.http.pages import Page, page_of_rows


def listed(
    request: HttpRequest,
    rows: QuerySet,
    *,
    key: str,
    newest_first: bool = False,
    filters: type[FilterSet] | None = None,
) -> Page:
    """The page of `rows` that the address asks for; an empty filter does not filter.

    A cursor or a filter's value that cannot be read is no page of ours: `Http404`.
    """
    asked = Request(request)
    try:
        found = filtered(filters, asked, rows) if filters else rows
        return page_of_rows(asked, found, key=key, newest_first=newest_first)
    except ValidationError as fault:
        raise Http404 from fault
