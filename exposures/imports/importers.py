"""Logs that are no spreadsheet, read by what plug-ins contribute to `log_importers`; what they return is checked."""

from collections.abc import Callable
from functools import partial
from itertools import islice
from sys import float_info
from typing import Any

from exposures.imports.sheets import Cell, Sheet, checked_size, trimmed
from optics.core.faults import Impossible
from pinpool.conf import setting
from pinpool.plugins.model import LogTable
from pinpool.plugins.registry import call, failure, run

POINT = "log_importers"
#: Its rows are entries of the log: the kind of sheet that they become.
KIND = "exposures"
_PLAIN: tuple[tuple[type, Callable[[Any], Any]], ...] = (
    (str, str.__str__), (int, int.__int__), (float, float.__float__),
)  # fmt: skip
#: So much of what an importer refuses with is told, characters.
LONGEST_REFUSAL = 500


def read_by(importer: str, *, content: bytes, name: str) -> Sheet:
    """The table that an importer makes of a file of this name, its columns as heading, within the limits of a sheet.

    Raises `Impossible` on field `file` for what the importer refuses and for what is too much, and a `PluginFailed`
    that names it for what is no table.
    """
    checked_size(content)
    try:
        made = call(POINT, importer, refusals=(Impossible,), content=content, name=name)
        if not isinstance(made, LogTable):
            raise failure(POINT, importer, "did not return a LogTable")
        table = run(POINT, importer, partial(_plain, made, setting("MAX_IMPORT_ROWS") + 1), refusals=(Impossible,))
    except Impossible as fault:
        said = str(fault).encode(errors="replace").decode()  # it may quote bytes that are no text
        raise Impossible(fault.code, said[:LONGEST_REFUSAL], "file") from fault
    if wrong := _fault_in(table):
        raise failure(POINT, importer, f"returned what is no table of a log: {wrong}")
    cells = [[_cell(cell) for cell in row] for row in table]
    return trimmed(enumerate(cells, 1))


def _plain(made: LogTable, most: int) -> list[list[Any]]:
    """Columns and rows as plain lists of plain values, so that nothing of a stranger's is called later."""
    return [[_own(cell) for cell in row] for row in (made.columns, *islice(made.rows, most))]


def _own(cell: Any) -> Any:
    """A text or number of a type derived from Python's, such as `numpy.float64`, as Python's; the rest as it is."""
    for kind, plain in _PLAIN:
        if isinstance(cell, kind) and type(cell) not in {kind, bool}:
            return plain(cell)
    return cell


def _fault_in(table: list[list[Any]]) -> str | None:
    heading, *rows = table
    named = all(isinstance(column, str) and column.strip() and _is_text(column) for column in heading)
    if not named or len(set(heading)) < len(heading):
        return "a column has no name, or one that another has"
    for number, row in enumerate(rows, 1):
        if len(row) != len(heading):
            return f"row {number} has {len(row)} cells for {len(heading)} columns"
        for cell in row:
            if not (cell is None or isinstance(cell, str | int | float)):
                return f"row {number} holds a {type(cell).__name__}"
            if isinstance(cell, str) and not _is_text(cell):
                return f"row {number} holds a text with characters that are none"
            if isinstance(cell, int | float) and not abs(cell) <= float_info.max:
                return f"row {number} holds a number that is none"
    return None


def _is_text(cell: str) -> bool:
    """Whether it has no half characters, which nothing can keep."""
    return not any("\ud800" <= sign <= "\udfff" for sign in cell)


def _cell(cell: str | float | None) -> Cell:
    """A cell as a sheet has it."""
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case str():
            return cell.strip()
        case int() | float() if abs(cell) < 1e15:
            return cell
    return str(cell)
