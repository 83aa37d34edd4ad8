"""Lists that are asked for again and again: rows by statements that are compiled once, and an ETag for each page."""

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter, itemgetter
from typing import Any

import orjson
from django.db.models import QuerySet
from django_filters import FilterSet
from rest_framework.request import Request

from pinpool import __version__
from pinpool.prepared import Prepared, Told

from .filters import filtered
from .pages import Page, Part
from .rows import Columns

#: The largest number that a column of whole numbers holds.
MOST = 2**63 - 1


@dataclass(frozen=True, eq=False)
class Listing:
    """What `rows` selects by some values, each of a field in `told`, in the order of the unique field `key`.

    `stamp` are paths of numbers and texts among the columns: while none of them changes, nothing that is shown of a
    row does, but for what it takes from `beside` the database.
    """

    rows: Callable[..., QuerySet]
    told: Mapping[str, Any]
    columns: Columns
    stamp: tuple[str, ...]
    key: Any
    newest_first: bool = False
    filters: type[FilterSet] | None = None
    beside: Callable[[], Any] = lambda: None

    def page(self, request: Request, **values: Any) -> tuple[Page, str]:
        """The page that the request asks for, and its ETag."""
        columns = self.columns.columns()
        part, found = self._found(request, columns, values)
        tag = self._tag(map(itemgetter(*map(columns.index, self.stamp)), found))
        return part.page(request, map(self.columns.made, found), attrgetter(self.key.name)), tag

    def tag(self, request: Request, **values: Any) -> str:
        """The same ETag, from less than the page itself takes. It is of the very moment, as the page's is."""
        return self._tag(self._found(request, list(self.stamp), values)[1])

    def _found(self, request: Request, columns: list[Any], values: dict[str, Any]) -> tuple[Part, list[Any]]:
        part = Part.asked_for(request, self.key, newest_first=self.newest_first)
        asked = self.filters is not None and self.filters.base_filters.keys() & request.query_params.keys()
        far = isinstance(part.edge, int) and abs(part.edge) > MOST  # Django knows what lies beyond that
        if asked or far:
            rows = self.rows(**values)
            rows = filtered(self.filters, request, rows) if self.filters else rows
            return part, list(part.of(rows, self.key.name).values_list(*columns))
        brief = len(columns) == len(self.stamp)
        statement = _statement(self, part.size, part.ascending, part.edge is not None, brief)
        return part, list(statement(**values, edge=part.edge))

    def _tag(self, stamps: Iterable[Any]) -> str:
        told = orjson.dumps([__version__, self.beside(), list(stamps)])
        return f'"l{hashlib.blake2b(told, digest_size=12).hexdigest()}"'


@lru_cache(maxsize=64)  # each size of a page is another statement
def _statement(listing: Listing, size: int, ascending: bool, begun: bool, brief: bool) -> Prepared:
    """What asks for such a part where nothing is filtered: all columns, or in `brief` those of the stamp."""

    def make() -> QuerySet:
        rows = listing.rows(**{name: Told(name, field) for name, field in listing.told.items()})
        unasked = getattr(listing.filters, "unasked", None)
        part = Part(size, False, ascending, Told("edge", listing.key) if begun else None)
        columns = listing.stamp if brief else listing.columns.columns()
        return part.of(unasked(rows) if unasked else rows, listing.key.name).values_list(*columns)

    return Prepared(make)
