"""Rows of an answer: only the columns that it shows, from the database or from a model instance alike."""

from collections.abc import Mapping
from typing import Any

import orjson
from django.contrib.auth import get_user_model
from django.db.models import TextField
from django.db.models.functions import Cast

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


class Columns:
    """Where each field of `row`, a NamedTuple, stands: in the column of its name, or at the path that is given.

    Paths are Django's (`spec__camera__code`). `parsed` and `written` are the columns of JSON: those that are looked
    into, and those that are passed on as they are. The last field may hold a row itself, whose columns are `below`: it
    is None where the first of them is.
    """

    def __init__(
        self,
        row: type[Any],
        paths: Mapping[str, str] | None = None,
        *,
        parsed: tuple[str, ...] = (),
        written: tuple[str, ...] = (),
        below: "Columns | None" = None,
    ) -> None:
        self.row, self.below = row, below
        names = row._fields[:-1] if below else row._fields
        self.paths = {name: name for name in names} | dict(paths or {})
        self.json = dict.fromkeys(parsed, _Parsed()) | dict.fromkeys(written, _AsWritten())

    def row_of(self, given: Any) -> Any:
        """The row that a model instance makes; what is a row is left as it is."""
        if given is None or isinstance(given, self.row):
            return given
        own = [_at(given, path) for path in self.paths.values()]
        return self.row(*own, *([self.below.row_of(getattr(given, self.row._fields[-1]))] if self.below else ()))

    def columns(self, at: str = "") -> list[Any]:
        """What `values_list` takes, each path below `at`."""
        paths = [(name, at + path) for name, path in self.paths.items()]
        own = [Cast(path, self.json[name]) if name in self.json else path for name, path in paths]
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
