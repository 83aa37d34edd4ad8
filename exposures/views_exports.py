"""The endpoints that hand out and take in whole clubs: CSV for spreadsheets, an archive for another server."""

from typing import Any

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.serializers import ClubOut
from clubs.views import READ, ClubView
from exposures import archive, exports, restoring
from exposures import outputs_exports as outputs
from pinpool.http.schema import Operation
from pinpool.http.uploads import UploadParser
from pinpool.http.views import AccountView, JSONRenderer

WHAT = ("exposures", "cameras", "papers")


class CSVRenderer(BaseRenderer):
    """Lets a caller ask for text/csv; the lines themselves are streamed."""

    media_type = "text/csv"
    format = "csv"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return b""


class Whole(ClubView):
    """What is handed out whole: no keys of it can be left out."""

    def query_of(self, method: str) -> dict[str, OpenApiParameter]:
        return dict(self.query)


def _download(name: str, media: str) -> dict[str, str]:
    return {
        "Content-Type": media,
        "Content-Disposition": f'attachment; filename="{name}"',
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-store",
    }


class ExportView(Whole):
    """The club's log, cameras or papers as a CSV; of private logs one's own alone.

    Texts that a spreadsheet would take for a formula (they begin with =, +, -, @ or a tab) have an apostrophe before
    them, which an import takes off again.
    """

    renderer_classes = [CSVRenderer, JSONRenderer]  # whatever a caller accepts, what is streamed is a CSV
    query = {"what": OpenApiParameter("what", str, enum=WHAT, required=True, description="Which of them.")}
    actions = {"GET": "export_sheet"}
    operations = {"GET": Operation(gives=OpenApiTypes.STR, media="text/csv", refusals=READ)}

    def get(self, request: Request, club: str) -> StreamingHttpResponse:
        member, what = self.member, request.query_params.get("what")
        if what is None:
            raise ValidationError({"what": [ErrorDetail(f"Say which: {', '.join(WHAT)}.", "required")]})
        lines = exports.csv_lines(actor=member, what=what)
        return StreamingHttpResponse(
            lines, headers=_download(f"{member.club.slug}-{what}.csv", "text/csv; charset=utf-8")
        )


class ArchiveView(Whole):
    """Everything of the club but its members' private logs, as one object that another server makes the club of."""

    query = {
        "pictures": OpenApiParameter(
            "pictures", str, enum=["listed", "included"], description="included: with their files. Left out: listed."
        )
    }
    actions = {"GET": "read_archive"}
    operations = {"GET": Operation(gives=outputs.ArchiveOut, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        pictures = request.query_params.get("pictures") == "included"
        told = archive.archive_of(actor=self.member, pictures=pictures)
        return Response(told, headers=_download(f"{told['club']['slug']}.json", "application/json"))


class ArchiveParser(UploadParser):
    """multipart/form-data up to the size of an archive and a little."""

    size_settings = ("MAX_ARCHIVE_BYTES",)


class ImportArchiveView(AccountView):
    """A club made anew from the archive of another server; who sends it becomes its keeper.

    Its members come as people without an account, whose logs go on counting as theirs; nobody is made a member by name.
    """

    parser_classes = [ArchiveParser]
    query = {}
    operations = {
        "POST": Operation(takes=outputs.ArchiveIn, gives=ClubOut, status=201, refusals=(400, 401, 403, 409, 422))
    }

    def post(self, request: Request) -> Response:
        club = restoring.restore(actor=request.user, **self.read(request, outputs.ArchiveIn))
        return self.one(club, ClubOut, 201)
