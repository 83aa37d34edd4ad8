"""A file of cells, CSV or XLSX, as one table; whatever could hide something else in it is refused.

Cells are text as it stands; numbers stay numbers where the file itself says that they are (XLSX), because then no
decimal sign is in question. Dates of an XLSX are written as ISO dates, times of day and durations as h:mm:ss, formulas
as `=` and their text: whoever reads the cells refuses them. Nothing is ever worked out.
"""

import csv
import threading
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from io import BytesIO, StringIO
from itertools import islice
from typing import Any
from zipfile import BadZipFile, ZipFile

from openpyxl import load_workbook
from openpyxl.worksheet._reader import WorkSheetParser

from optics.core.faults import Impossible
from pinpool.conf import setting

Cell = str | int | float

ENCODINGS = ("utf-8", "utf-16", "cp1252")
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))

# One workbook at a time: it bounds the memory, and Python's warning filters, set below, belong to the whole process.
_reading = threading.Lock()


@dataclass(frozen=True)
class Sheet:
    """The heading and the rows below it, all of one width; `first_row` is the heading's number in the file, from 1."""

    table: list[list[Cell]]
    first_row: int


def read_sheet(data: bytes, *, encoding: str | None = None, delimiter: str | None = None) -> Sheet:
    """The table in a file; `encoding` of `ENCODINGS` and `delimiter` of `DELIMITERS` are for a CSV that does not tell.

    Raises `Impossible` on field `file`; how much it may hold are the settings `MAX_IMPORT_…`.
    """
    checked_size(data)
    if data.startswith(b"PK\x03\x04"):
        return _xlsx(data)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refusal("sheet_kind", "This is an old or a locked workbook; save it as .xlsx or .csv, unlocked.")
    return trimmed(enumerate(_csv(_decoded(data, encoding), delimiter), 1))


def checked_size(data: bytes) -> None:
    """Raise `Impossible` for a file that is empty or larger than is read."""
    most = setting("MAX_IMPORT_BYTES")
    if len(data) > most:
        raise _refusal("too_large", f"A sheet may have at most {most} bytes.")
    if not data.strip():
        raise _refusal("empty", "The file is empty.")


# --------------------------------------------------------------------------------------------------------- CSV


def _decoded(data: bytes, encoding: str | None) -> str:
    marked = next((name for mark, name in _MARKS if data.startswith(mark)), None)
    try:
        text = data.decode(marked or encoding or "utf-8")
    except UnicodeDecodeError as fault:
        listed = ", ".join(ENCODINGS)
        text = f"The file is not {marked or encoding or 'utf-8'} at byte {fault.start}. Say its encoding: {listed}."
        raise _refusal("encoding", text) from None
    if "\0" in text:
        raise _refusal("encoding", "The file holds characters U+0000. If it is UTF-16, say so; otherwise it is no CSV.")
    return text


def _csv(text: str, delimiter: str | None) -> Iterator[list[Cell]]:
    said, _, rest = text.partition("\n")
    if said.strip().lower() in {f"sep={sign}" for sign in ",;"}:  # some programs write their delimiter on top
        delimiter, text = said.strip()[-1], "\n" + rest
    else:
        delimiter = DELIMITERS.get(delimiter or "") or _likely_delimiter(text)
    try:
        for row in csv.reader(StringIO(text, newline=""), delimiter=delimiter):
            yield [cell.strip() for cell in row]
    except csv.Error as fault:
        raise _refusal("sheet_unreadable", f"The file cannot be read as CSV: {fault}.") from None


def _likely_delimiter(text: str) -> str:
    """The sign that splits the most rows into as many cells as the widest of the first lines has."""

    def quality(sign: str) -> tuple[float, int]:
        try:
            widths = [len(row) for row in islice(csv.reader(StringIO(text, newline=""), delimiter=sign), 50) if row]
        except csv.Error:
            return 0.0, 0
        width = max(widths[:5], default=1)
        return (sum(each == width for each in widths) / len(widths), width) if width > 1 else (0.0, 1)

    return max(DELIMITERS.values(), key=quality)


# -------------------------------------------------------------------------------------------------------- XLSX


def _xlsx(data: bytes) -> Sheet:
    """The first visible sheet of a workbook."""
    with _reading, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what the workbook also holds and is not read, such as lists to choose from
        try:
            _check_parts(data)
            book = load_workbook(BytesIO(data), read_only=True, keep_links=False)
            try:
                shown = [each for each in book.worksheets if each.sheet_state == "visible"]
                if not shown:
                    raise _refusal("sheet_kind", "The workbook has no sheet to be seen.")
                return trimmed(_rows(book, shown[0]))
            finally:
                book.close()
        except Impossible:
            raise
        except BadZipFile:
            raise _refusal("sheet_unreadable", "The workbook is damaged; save it anew, or as .csv.") from None
        except Exception as fault:  # a hostile file can raise almost anything
            text = "The workbook cannot be read; save it anew as .xlsx or .csv."
            raise _refusal("sheet_unreadable", text) from fault


def _check_parts(data: bytes) -> None:
    """Refuse by what the file lists and by how much it unpacks to, before any of it is understood."""
    with ZipFile(BytesIO(data)) as parts:
        listed = parts.infolist()
        if any(part.flag_bits & 1 for part in listed):
            raise _refusal("sheet_kind", "The workbook is locked; save it without a password.")
        if len(listed) > setting("MAX_IMPORT_PARTS"):
            raise _refusal("too_large", f"The workbook is made of {len(listed)} parts; save it anew, or as .csv.")
        most = setting("MAX_IMPORT_UNPACKED_BYTES")
        if sum(part.file_size for part in listed) > most:
            raise _refusal("too_large", f"The workbook unpacks to over {most / 1e6:g} MB.")
        names = [part.filename.lower() for part in listed]
        if any("externallink" in name for name in names):
            raise _refusal("external_links", "The workbook leans on other files; paste their values and save it anew.")
        if any(name.endswith("vbaproject.bin") for name in names):
            raise _refusal("sheet_kind", "The workbook holds programs; save it as .xlsx without them.")
        if not any(name.startswith("xl/") for name in names):
            raise _refusal("sheet_kind", "This is a ZIP file but no .xlsx workbook.")
        # No part unpacks to more than it lists: what is beyond that is never read.
        if sum(parts.read(part).count(b"<") for part in listed) > setting("MAX_IMPORT_TAGS"):
            raise _refusal("too_large", "The workbook has too many cells; bring it in in parts.")


def _rows(book: Any, sheet: Any) -> Iterator[tuple[int, list[Cell]]]:
    """Rows by number as the file has them; what it says of its own size is not believed, and no gap is filled."""
    most, longest = setting("MAX_IMPORT_COLUMNS"), setting("MAX_IMPORT_CELL")
    with book._archive.open(sheet._worksheet_path) as source:
        parser = WorkSheetParser(
            source, sheet._shared_strings, epoch=book.epoch, date_formats=book._date_formats,
            timedelta_formats=book._timedelta_formats,
        )  # fmt: skip
        for number, cells in parser.parse():
            found = {each["column"]: _cell(each["value"], each["data_type"], longest) for each in cells}
            filled = [column for column, cell in found.items() if cell != ""]
            if filled and max(filled) > most:
                raise _refusal("too_many_columns", f"Row {number} has more than {most} columns.")
            yield number, [found.get(column, "") for column in range(1, max(filled, default=0) + 1)]


def _cell(value: Any, data_type: str, longest: int) -> Cell:
    if value is None:
        return ""
    if data_type == "f":
        return "=" + str(getattr(value, "text", value) or "").removeprefix("=")[: longest - 1]
    match value:
        case bool():
            text = "yes" if value else "no"
        case int() | float() if abs(value) < 1e15:
            return value
        case datetime():
            text = value.isoformat(" ", "seconds")
        case time():
            text = value.isoformat("seconds")
        case timedelta():
            minutes, seconds = divmod(round(value.total_seconds()), 60)
            text = f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"
        case _:
            text = str(value).strip()
    return text


# ------------------------------------------------------------------------------------------------------ shared


def trimmed(rows: Iterable[tuple[int, list[Cell]]]) -> Sheet:
    """From the heading, the first row with two cells, to the last row with any; every row as wide as the widest."""
    table: list[list[Cell]] = []
    first_row, width, most = 0, 0, setting("MAX_IMPORT_ROWS")
    for number, row in rows:
        filled = [index for index, cell in enumerate(row) if cell != ""]
        if not filled or (not table and len(filled) < 2):
            continue
        first_row = first_row or number
        _check_row(row[: filled[-1] + 1], number)
        if not 0 <= number - first_row - len(table) <= most - len(table):
            raise _refusal("too_many_rows", f"The sheet has more than {most} rows; bring it in in parts.")
        table += [[] for _ in range(number - first_row - len(table))]  # rows left free in between keep their numbers
        table.append(row[: filled[-1] + 1])
        width = max(width, len(table[-1]))
    if len(table) < 2:
        raise _refusal("empty", "There must be a heading of two columns at least, and rows below it.")
    return Sheet([[*row, *[""] * (width - len(row))] for row in table], first_row)


def _check_row(row: list[Cell], number: int) -> None:
    columns, longest = setting("MAX_IMPORT_COLUMNS"), setting("MAX_IMPORT_CELL")
    if len(row) > columns:
        raise _refusal("too_many_columns", f"Row {number} has more than {columns} columns.")
    for cell in row:
        if isinstance(cell, str) and len(cell) > longest:
            raise _refusal("cell_too_long", f"A cell in row {number} has more than {longest} characters.")
        if isinstance(cell, str) and any(sign == "\0" or "\ud800" <= sign <= "\udfff" for sign in cell):
            raise _refusal("sheet_unreadable", f"A cell in row {number} holds characters that no text has.")


def _refusal(code: str, text: str) -> Impossible:
    return Impossible(code, text, "file")
