"""Logs that are no spreadsheet, read by what plug-ins contribute to `log_importers`; what they return is checked."""

from functools import partial
from itertools import islice
from math import isfinite
from typing import Any

from exposures.imports.sheets import Cell, Sheet, checked_size, trimmed
from optics.core.faults import Impossible
from pinpool.conf import setting
from pinpool.plugins.model import LogTable
from pinpool.plugins.registry import call, failure, run

POINT = "log_importers"
#: Its rows are entries of the log: the kind of sheet that they become.
KIND = "exposures"


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
        raise Impossible(fault.code, str(fault), fault.field or "file") from fault
    if wrong := _fault_in(table):
        raise failure(POINT, importer, f"returned what is no table of a log: {wrong}")
    cells = [[_cell(cell) for cell in row] for row in table]
    return trimmed(enumerate(cells, 1))


def _plain(made: LogTable, most: int) -> list[list[Any]]:
    """Columns and rows as lists of their own, so that nothing of a stranger's is called later."""
    return [list(made.columns), *(list(row) for row in islice(made.rows, most))]


def _fault_in(table: list[list[Any]]) -> str | None:
    heading, *rows = table
    if not all(isinstance(column, str) and column.strip() for column in heading) or len(set(heading)) < len(heading):
        return "a column has no name, or one that another has"
    for number, row in enumerate(rows, 1):
        if len(row) != len(heading):
            return f"row {number} has {len(row)} cells for {len(heading)} columns"
        for cell in row:
            if not (cell is None or isinstance(cell, str | int | float)):
                return f"row {number} holds a {type(cell).__name__}"
            if isinstance(cell, float) and not isfinite(cell):
                return f"row {number} holds a number that is none"
    return None


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
