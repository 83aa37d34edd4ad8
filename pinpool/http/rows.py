"""Rows of an answer: only the columns that it shows, from the database or from a model instance alike."""

from collections.abc import Mapping
from datetime import UTC, datetime
from functools import partial
from typing import Any

import orjson
from django.contrib.auth import get_user_model
from django.db.models import Func, TextField
from django.db.models.functions import Cast

from .fields import moment_out

#: Where the name of an account stands: the column that `get_username` reads.
USERNAME = get_user_model().USERNAME_FIELD


class _Parsed(TextField):
    """A column of JSON, read by the quicker of two readers."""

    def from_db_value(self, value: str | None, *_: Any) -> Any:
        return None if value is None else orjson.loads(value)


class _AsWritten(TextField):
    """A column of JSON that an answer passes on unread."""

    def from_db_value(self, value: str | None, *_: Any) -> Any:
        return None if value is None else orjson.Fragment(value)


class _Instant(TextField):
    """An instant as text, as it is shown."""

    def from_db_value(self, value: Any, _expression: Any, connection: Any) -> Any:
        if isinstance(value, datetime):
            return moment_out(value if value.tzinfo else value.replace(tzinfo=connection.timezone))
        return value


class _Shown(Func):
    """An instant as `moment_out` writes it. A database is far quicker at that than Python by way of a datetime."""

    arity, template, output_field = 1, "%(expressions)s", _Instant()

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        """Kept as text without a zone, which a host site may have chosen."""
        if connection.timezone is UTC:
            more["template"] = "replace(%(expressions)s, ' ', 'T') || 'Z'"
        return self.as_sql(compiler, connection, **more)

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        written = """to_char(%(expressions)s AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
        return self.as_sql(compiler, connection, template=f"replace({written}, '.000000Z', 'Z')", **more)


class Columns:
    """Where each field of `row`, a NamedTuple, stands: in the column of its name, or at the path that is given.

    Paths are Django's (`spec__camera__code`). `parsed` and `written` are the columns of JSON: those that are looked
    into, and those that are passed on as they are. `moments` are instants, held as texts as they are shown. The last
    field may hold a row itself, whose columns are `below`: it is None where the first of them is.
    """

    def __init__(
        self,
        row: type[Any],
        paths: Mapping[str, str] | None = None,
        *,
        parsed: tuple[str, ...] = (),
        written: tuple[str, ...] = (),
        moments: tuple[str, ...] = (),
        below: "Columns | None" = None,
    ) -> None:
        self.row, self.below = row, below
        names = row._fields[:-1] if below else row._fields
        self.paths = {name: name for name in names} | dict(paths or {})
        self.moments = moments
        self.read: dict[str, Any] = {
            **dict.fromkeys(parsed, partial(Cast, output_field=_Parsed())),
            **dict.fromkeys(written, partial(Cast, output_field=_AsWritten())),
            **dict.fromkeys(moments, _Shown),
        }

    def row_of(self, given: Any) -> Any:
        """The row that a model instance makes; what is a row is left as it is."""
        if given is None or isinstance(given, self.row):
            return given
        own = {name: _at(given, path) for name, path in self.paths.items()}
        own |= {name: own[name] and moment_out(own[name]) for name in self.moments}
        if self.below:
            own["below"] = self.below.row_of(getattr(given, self.row._fields[-1]))
        return self.row(*own.values())

    def columns(self, at: str = "") -> list[Any]:
        """What `values_list` takes, each path below `at`."""
        paths = [(name, at + path) for name, path in self.paths.items()]
        own = [self.read[name](path) if name in self.read else path for name, path in paths]
        return own + (self.below.columns(f"{at}{self.row._fields[-1]}__") if self.below else [])

    def made(self, values: tuple[Any, ...]) -> Any:
        """The row of what `values_list` gives of those columns."""
        if self.below is None:
            return self.row._make(values)
        own, rest = values[: len(self.paths)], values[len(self.paths) :]
        return self.row(*own, None if rest[0] is None else self.below.made(rest))


def _at(instance: Any, path: str) -> Any:
    """What stands at a path from an instance; None beyond what is not there."""
    for name in path.split("__"):
        instance = getattr(instance, name, None)
    return instance
