"""The endpoints for sheets brought in: tried, mapped, imported, undone."""

import uuid
from types import SimpleNamespace
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import READ, WRITE, ClubView
from exposures import outputs_imports as outputs
from exposures.imports import importing, undoing
from exposures.models import ImportBatch
from pinpool.http.etags import Expected
from pinpool.http.pages import PAGE_QUERY, page_of_list
from pinpool.http.parsers import StrictJSONParser
from pinpool.http.schema import Operation, page_of
from pinpool.http.uploads import UploadParser

CHANGE = (*WRITE, 412, 428)


def whole(batch: ImportBatch) -> Any:
    """A batch in the words of the endpoint that shows it with its mapping."""
    rows = dict.fromkeys(("good", "faulty", "empty", "known", "imported", "undone"), 0) | importing.counts(batch)
    shown = {
        name: getattr(batch, name) for name in ("id", "kind", "file_name", "state", "made_by", "made_at", "revision")
    }
    return SimpleNamespace(
        **shown,
        rows=rows,
        columns=importing.columns_of(batch),
        fixed=importing.fixed_of(batch),
        questions=importing.open_questions(batch),
        known_fields=importing.known_fields(batch),
    )


class SheetParser(UploadParser):
    """multipart/form-data up to the size of a spreadsheet or a scan; one that is too large is told so by its field."""

    size_settings = ("MAX_IMPORT_BYTES", "MAX_SCAN_BYTES")


class ImportsView(ClubView):
    """Sheets brought in, the newest first: one's own, and for keepers all. A new one is tried, and nothing imported."""

    parser_classes = [SheetParser]
    query = PAGE_QUERY
    actions = {"GET": "read_imports", "POST": "import_rows"}
    operations = {
        "GET": Operation(gives=outputs.BatchOut, page=True, refusals=READ),
        "POST": Operation(takes=outputs.SheetIn, gives=outputs.WholeBatchOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = importing.batches_of(actor=self.member).defer("table", "report", "mapping")
        return self.page(rows, outputs.BatchOut, key="made_at", newest_first=True)

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        batch = importing.start(actor=member, **self.read(request, outputs.SheetIn))
        return self.one(whole(batch), outputs.WholeBatchOut, 201)


class ImportView(ClubView):
    """One sheet: how its columns are understood, and what is still asked. A change tries every row again."""

    parser_classes = [StrictJSONParser]
    query = {}
    actions = {"GET": "read_imports", "PATCH": "import_rows"}
    operations = {
        "GET": Operation(gives=outputs.WholeBatchOut, refusals=READ),
        "PATCH": Operation(takes=outputs.MappingIn, gives=outputs.WholeBatchOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(whole(importing.batch_of(actor=self.member, id=id)), outputs.WholeBatchOut)

    def patch(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        batch = importing.batch_of(actor=self.member, id=id)
        mapping = outputs.mapping_for(batch.kind, self.read(request, outputs.MappingIn))
        batch = importing.change(actor=self.member, id=id, expected=Expected.by(request), **mapping)
        return self.one(whole(batch), outputs.WholeBatchOut)


class ImportRowsView(ClubView):
    """The rows of a sheet in their order, each with what was read from it and what is wrong with it."""

    query = {
        **PAGE_QUERY,
        "state": OpenApiParameter(
            "state", str, enum=["good", "faulty", "empty", "known", "imported", "undone"], description="Only these."
        ),
    }
    actions = {"GET": "read_imports"}
    operations = {"GET": Operation(gives=outputs.SheetRowOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        batch = importing.batch_with_rows(actor=self.member, id=id)
        wanted = request.query_params.get("state")
        rows = [
            SimpleNamespace(key=f"{entry['row']:07}", **entry)
            for entry in batch.report
            if wanted is None or entry["state"] == wanted
        ]
        page = page_of_list(request, rows, key="key")
        importing.add_what_was_read(batch, self.member, page.results)
        return self.answer(page, page_of(outputs.SheetRowOut))


class ApplyView(ClubView):
    """Import all rows or none, or the good ones. Said again, it changes nothing."""

    query = {}
    actions = {"POST": "import_rows"}
    operations = {"POST": Operation(takes=outputs.ApplyIn, gives=outputs.WholeBatchOut, refusals=CHANGE)}

    def post(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        rows = self.read(request, outputs.ApplyIn)["rows"]
        batch = importing.apply(actor=member, id=id, rows=rows, expected=Expected.by(request))
        return self.one(whole(batch), outputs.WholeBatchOut)


class UndoView(ClubView):
    """Take out again what a sheet brought in; refused where something rests on any of it by now."""

    query = {}
    actions = {"POST": "undo_import"}
    operations = {"POST": Operation(takes=outputs.UndoIn, gives=outputs.WholeBatchOut, refusals=CHANGE)}

    def post(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        self.read(request, outputs.UndoIn)
        return self.one(whole(undoing.undo(actor=member, id=id, expected=Expected.by(request))), outputs.WholeBatchOut)
