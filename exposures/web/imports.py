"""The pages of sheets brought in: tried, mapped, imported, undone; and the way out as files."""

from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from django.http import Http404

from clubs.roles import allows
from exposures.imports import importing
from exposures.imports.cells import DATE_ORDERS, DECIMALS, parts_of
from exposures.imports.fields import KINDS_OF_SHEET, Field, fields_of
from exposures.imports.guessing import Column, Question
from exposures.imports.importers import POINT
from exposures.imports.sheets import DELIMITERS, ENCODINGS
from exposures.imports.times import COLONS
from exposures.imports.words import in_words
from exposures.models import ImportBatch
from exposures.views_exports import WHAT
from exposures.views_imports import whole
from exposures.web.asked import AskedPage, as_api
from pinpool.conf import setting
from pinpool.http.pages import Page, page_of_list, page_of_rows
from pinpool.plugins.switches import offered
from pinpool.units import KINDS

KIND_WORDS = {"exposures": "entries of the log", "cameras": "cameras", "papers": "papers and films"}
PART_WORDS = {"decimal": "Decimal sign", "unit": "Unit of bare numbers", "date": "Order of a date",
              "zone": "Time zone", "clock": "Time of day without one", "colon": "4:50 means"}  # fmt: skip
#: What the parts of a format may be, where that is no word of its own.
CHOICE_WORDS = {".": "a point: 1.5", ",": "a comma: 1,5", "iso": "year first", "day_first": "day first",
                "month_first": "month first", "min:s": "minutes and seconds", "h:min": "hours and minutes"}  # fmt: skip
#: Faults in the words of the page, where the API speaks of its keys.
FAULT_WORDS = {
    "unknown_key": "This does not go with the row's other cells: leave it empty, or its column aside.",
    "ambiguous": "Another cell of the row says this in another way: leave one of them empty.",
    "decimal_comma": "Is that a decimal comma? Say so at its column.",
    "unit_missing": "No unit here: say at its column which one bare numbers have.",
    "colon": "Minutes and seconds, or hours and minutes? Say so at its column.",
    "no_clock": "A day alone: say at its column which time of day to take, or which column has it.",
    "no_offset": "Say at its column which time zone it is in.",
    "date_order": "Is the day or the month first? Say so at its column.",
}
STATES = ("faulty", "good", "known", "empty", "imported", "undone")


class ImportsPage(AskedPage):
    """Sheets that were brought in, one's own and for keepers all, and a new one."""

    action = "read_imports"
    template_name = "exposures/imports.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = importing.batches_of(actor=self.membership).defer("table", "report", "mapping")
        role = self.membership.role
        page = page_of_rows(as_api(self.request, self.reader), rows, key="made_at", newest_first=True)
        for batch in page.results:
            batch.kind_words = KIND_WORDS[batch.kind]
        return super().get_context_data(**kwargs) | {
            "page": page,
            "kinds": [(kind, KIND_WORDS[kind]) for kind, (_, action) in KINDS_OF_SHEET.items() if allows(role, action)],
            "importers": [(name, each.label) for name, each in offered(POINT, self.club.plugins).items()],
            "encodings": list(ENCODINGS),
            "delimiters": list(DELIMITERS),
            "most_megabytes": setting("MAX_IMPORT_BYTES") // 10**6,
            "what": WHAT,
        }


@dataclass(frozen=True)
class Part:
    """One part of how a column is written: `choices` to choose from with their words, or none where it is typed."""

    name: str
    label: str
    value: str | None
    choices: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class MappedColumn:
    """A column as the page maps it, with what is still asked about it and some of its cells."""

    place: int
    column: Column
    parts: Sequence[Part]
    questions: Sequence[Question]
    cells: Sequence[str]


class ImportPage(AskedPage):
    """One sheet: how its columns are understood, what is wrong in which row, and the ways on."""

    action = "read_imports"
    template_name = "exposures/import.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        batch = importing.batch_of(actor=self.membership, id=self.kwargs["id"])
        told, fields = whole(batch), fields_of(batch.kind)
        page = self._rows()
        mapped = mapped_columns(told.columns, told.questions, fields, rows=[] if page is None else batch.table[1:])
        missing = [each for each in told.questions if each.column is None]
        clear = [each for each in mapped if not each.questions]
        return super().get_context_data(**kwargs) | {
            "batch": told,
            "kind_words": KIND_WORDS[batch.kind],
            "asked": [each for each in mapped if each.questions],
            # Where something is needed, the columns that may hold it come first.
            "clear": sorted(clear, key=lambda each: bool(missing and each.column.field)),
            "missing": missing,
            "fixed": [(fields[name], in_words(name), told.fixed.get(name, "")) for name in fixed_for(batch, missing)],
            "fields": sorted(
                ((each, in_words(name)) for name, each in fields.items() if name in told.known_fields),
                key=lambda field: (not field[0].required, field[1].casefold()),
            ),
            "open": len(told.questions),
            "states": [(state, told.rows[state]) for state in STATES if told.rows[state]],
            "state": self.request.GET.get("state"),
            "page": page,
        }

    def _rows(self) -> Page | None:
        """The page of rows that is asked for; None where the reader may not see them."""
        try:
            batch = importing.batch_with_rows(actor=self.membership, id=self.kwargs["id"])
        except Http404:
            return None
        wanted = self.request.GET.get("state")
        rows = [
            SimpleNamespace(key=f"{entry['row']:07}", **entry)
            for entry in batch.report
            if not wanted or entry["state"] == wanted
        ]
        page = page_of_list(as_api(self.request, self.reader), rows, key="key")
        first = batch.mapping["first_row"]  # the heading's
        mapped = mapped_fields(batch)
        for row in page.results:
            row.wrong = [{**fault, "at": at_fault(fault), "said": said_of(fault, mapped)} for fault in row.faults]
            row.cells = [str(cell) for cell in batch.table[row.row - first] if cell not in {None, ""}]
        return page


def fixed_for(batch: ImportBatch, missing: Sequence[Question]) -> list[str]:
    """The fields that can be given for every row: what is needed and in no column, and what was given before."""
    lacking = [each.field for each in missing]
    mapped = mapped_fields(batch)
    lacking += [fault["field"] for row in batch.report for fault in row["faults"] if lacks_column(fault, mapped)]
    fields = fields_of(batch.kind)
    # Of several that belong together, such as the hole's, the first stands for all.
    found = (next((each for each in fields if each == name or each.startswith(f"{name}.")), None) for name in lacking)
    return list(dict.fromkeys([each for each in found if each] + list(importing.fixed_of(batch))))


def mapped_fields(batch: ImportBatch) -> set[str]:
    return {column.field for column in importing.columns_of(batch) if column.field}


def lacks_column(fault: dict[str, Any], mapped: set[str]) -> bool:
    """Whether a row's fault is that no column gives what is needed, or any part of it."""
    name = fault["field"]
    return fault["code"] == "required" and bool(name) and not any(f"{each}.".startswith(f"{name}.") for each in mapped)


def at_fault(fault: dict[str, Any]) -> str:
    """What a row's fault is about: its column by the heading, or what no column gives in words."""
    return fault["column"] or (in_words(fault["field"]) if fault["field"] else "")


def said_of(fault: dict[str, Any], mapped: set[str]) -> str:
    """A row's fault in the words of the page."""
    if lacks_column(fault, mapped):
        return "needed, but no column gives it. Choose it at its column, or give it for every row."
    if fault["code"] == "required" and not fault["cell"]:
        return "needed, but nothing stands here."
    return FAULT_WORDS.get(fault["code"], fault["detail"])


def mapped_columns(
    columns: Sequence[Column], questions: Sequence[Question], fields: dict[str, Field], *, rows: Sequence[Sequence[Any]]
) -> list[MappedColumn]:
    """Each column with the parts of its format, what is asked about it, and its first three filled cells in `rows`."""
    return [
        MappedColumn(
            place,
            column,
            [_part(name, column, fields) for name in (parts_of(fields[column.field]) if column.field else ())],
            [each for each in questions if each.column == column.name],
            [str(row[place]) for row in rows if row[place] not in {None, ""}][:3],
        )
        for place, column in enumerate(columns)
    ]


def _part(name: str, column: Column, fields: dict[str, Field]) -> Part:
    kind = fields[str(column.field)].kind
    choices: dict[str, Sequence[str]] = {"decimal": DECIMALS, "date": DATE_ORDERS, "colon": COLONS}
    if name == "unit":
        choices["unit"] = KINDS[kind].units
    worded = [(each, CHOICE_WORDS.get(each, each)) for each in choices.get(name, ())]
    return Part(name, PART_WORDS[name], getattr(column.format, name), worded)
