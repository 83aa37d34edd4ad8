"""What is checked of contributed importers: that a file of theirs becomes rows of a log, and any other is refused."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from exposures.imports.fields import fields_of
from exposures.imports.guessing import guessed
from exposures.imports.importers import KIND, read_by
from exposures.imports.sheets import Sheet
from optics.core.faults import Impossible
from pinpool.http.problems import PluginFailed
from pinpool.plugins.switches import switchable

#: Files that no importer takes for its own.
_OTHERS = {"random bytes": bytes(range(128, 256)), "one word": b"low"}


def log_importer(name: str, examples: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Faults of an importer in each of its examples: the `content` of a file, text or bytes, and its `name`."""
    for number, example in enumerate(examples, 1):
        content = example.get("content")
        if not isinstance(content, str | bytes) or example.keys() - {"content", "name"}:
            yield 'give examples as {"content": what stands in a file, "name": what it is called}.'
            return
        data = content.encode() if isinstance(content, str) else content
        asked: dict[str, Any] = {"content": data, "name": str(example.get("name", "example"))}
        try:
            sheet = read_by(name, **asked)
        except Impossible as refused:
            yield f"example {number}: it refuses its own file: {refused}"
            continue
        yield from (f"example {number}: {fault}" for fault in _table_faults(sheet))
        if read_by(name, **asked) != sheet:
            yield f"example {number}: the same file read again gives other rows."
    for words, data in _OTHERS.items():
        try:
            read_by(name, content=data, name="other")
        except Impossible:
            continue
        except PluginFailed as fault:
            yield f"a file of {words} must be refused by raising Impossible: {fault.detail}"


def _table_faults(sheet: Sheet) -> Iterator[str]:
    known, plugins = fields_of(KIND), [entry.name for entry in switchable()]
    for column in guessed(kind=KIND, table=sheet.table, known={}, plugins=plugins):
        if column.name not in known:
            yield f"“{column.name}” is no field of a log; there are {', '.join(known)}."
        elif column.field != column.name:
            yield f"what stands in “{column.name}” does not look like it."
