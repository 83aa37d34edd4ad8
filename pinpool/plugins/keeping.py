"""What is contributed, kept as it was loaded: a change is seen after each call into a plug-in, and undone.

This is no wall: a plug-in is code in our process, and who installs it trusts it. It keeps one author's short cut from
changing other people's figures.
"""

from collections.abc import Iterable, Iterator
from itertools import chain
from operator import is_
from typing import Any, TypeVar

from .model import POINTS, Plugin

Table = TypeVar("Table", bound=dict[Any, Any])

_tables: list[dict[Any, Any]] = []


def watched(table: Table) -> Table:
    """`table`, a registry of ours, from now on watched during calls into other packages' plug-ins."""
    _tables.append(table)
    return table


def tables() -> Iterator[dict[Any, Any]]:
    """Every watched table, and the tables in it."""
    for table in _tables:
        yield table
        yield from (part for part in table.values() if isinstance(part, dict))


def parts_of(plugins: Iterable[Plugin]) -> Iterator[dict[str, Any]]:
    """The fields of plug-ins, of their contributions and of those's parameters."""
    for plugin in plugins:
        yield vars(plugin)
        for contribution in chain.from_iterable(getattr(plugin, point) for point in POINTS):
            yield vars(contribution)
            yield from map(vars, contribution.parameters)


class Kept:
    """Dictionaries as they are now. Only the very same objects in them count as unchanged."""

    def __init__(self, found: Iterable[dict[Any, Any]]) -> None:
        self._found = list(found)
        self._copies = [dict(each) for each in self._found]
        self._keys = list(map(list, self._found))
        self._values = list(chain.from_iterable(map(dict.values, self._found)))

    def mend(self) -> bool:
        """Whether anything was changed; it is then as it was again."""
        values = chain.from_iterable(map(dict.values, self._found))
        if list(map(list, self._found)) == self._keys and all(map(is_, values, self._values)):
            return False
        for found, copy in zip(self._found, self._copies, strict=True):
            found.clear()
            found.update(copy)
        return True
