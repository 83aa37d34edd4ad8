"""The endpoints for printed sheets: issued, listed, compared, and set as PDF and SVG."""

import uuid

import django_filters
from django.http import Http404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors
from clubs.models import IssuedSheet
from clubs.serializers_sheets import CameraSheetIn, OneSheetOut, SheetOut, address_of
from clubs.sheets import issuing, of_cameras, press
from clubs.views import READ, WRITE, ClubView
from pinpool.http.etags import unchanged, with_tag
from pinpool.http.filters import filtered
from pinpool.http.images import JPEGRenderer, PictureView
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation

FILTERS = {
    "subject": OpenApiParameter("subject", str, description="What they are of, such as camera T1."),
    "kind": OpenApiParameter("kind", str, description="Such as camera_spec."),
}


class SheetFilter(django_filters.FilterSet):
    subject = django_filters.CharFilter("subject", max_length=200)
    kind = django_filters.CharFilter("kind", max_length=40)

    class Meta:
        model = IssuedSheet
        fields: list[str] = []


class SheetsView(ClubView):
    """The club's printed sheets that one may read, the newest first."""

    query = {**PAGE_QUERY, **FILTERS}
    actions = {"GET": "read_sheets"}
    operations = {"GET": Operation(gives=SheetOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        rows = filtered(SheetFilter, request, issuing.sheets_in(actor=self.member).defer("data"))
        return self.page(rows, SheetOut, key="number", newest_first=True)


class CameraSheetsView(ClubView):
    """A camera's printed sheets, the newest first; a new one tells of the spec in force."""

    query = {**PAGE_QUERY, "kind": FILTERS["kind"]}
    actions = {"GET": "read_sheets", "POST": "issue_sheet"}
    operations = {
        "GET": Operation(gives=SheetOut, page=True, refusals=READ),
        "POST": Operation(takes=CameraSheetIn, gives=OneSheetOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        rows = issuing.sheets_in(actor=self.member).filter(subject=of_cameras.subject_of(camera)).defer("data")
        return self.page(filtered(SheetFilter, request, rows), SheetOut, key="number", newest_first=True)

    def post(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        asked = self.read(request, CameraSheetIn)
        url, wall = address_of(request, "camera", club=club, code=camera.code), asked.pop("wall_thickness")
        told = of_cameras.told(camera, url=url, wall_thickness_mm=wall)
        subject, sheet = of_cameras.subject_of(camera), asked.pop("sheet")
        issued = of_cameras.issue_sheet(actor=self.member, camera=told, subject=subject, sheet_mm=sheet, **asked)
        return with_tag(self.answer(issued, OneSheetOut, 201), tag_of_sheet(issued))


class SheetView(ClubView):
    """One printed sheet: all that it tells, and what changed since the sheet before."""

    query = {}
    actions = {"GET": "read_sheets"}
    operations = {"GET": Operation(gives=OneSheetOut, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002  (the contract's key)
        sheet = issuing.sheet_in(actor=self.member, id=id)
        tag = tag_of_sheet(sheet)
        return unchanged(request, tag) or with_tag(self.answer(sheet, OneSheetOut), tag)


class PDFRenderer(JPEGRenderer):
    media_type = "application/pdf"
    format = "pdf"


class SVGRenderer(JPEGRenderer):
    media_type = "image/svg+xml"
    format = "svg"


class SheetFileView(PictureView, ClubView):
    """A view of a sheet as it is printed."""

    actions = {"GET": "read_sheets"}

    def sheet(self, id: uuid.UUID) -> IssuedSheet:  # noqa: A002
        return issuing.sheet_in(actor=self.member, id=id)

    def file(self, sheet: IssuedSheet, data: bytes, name: str, headers: dict[str, str] | None = None) -> Response:
        """It may be kept, but whether it may still be seen is asked each time."""
        headers = {
            "X-Content-Type-Options": "nosniff",
            "Content-Disposition": f'inline; filename="{name}"',
            "Cache-Control": "private, no-cache",
            **(headers or {}),
        }
        return with_tag(Response(data, headers=headers), tag_of_sheet(sheet))


class SheetPDFView(SheetFileView):
    """The sheet as a tagged PDF, to print at 100 %."""

    renderer_classes = [PDFRenderer]
    operations = {
        "GET": Operation(gives=OpenApiTypes.BINARY, media=PDFRenderer.media_type, refusals=(*READ, 503)),
    }

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        sheet = self.sheet(id)
        known = unchanged(request, tag_of_sheet(sheet))
        return known or self.file(sheet, press.pdf(sheet.data), f"sheet-{sheet.number}.pdf")


class SheetPageView(SheetFileView):
    """One page of the sheet as SVG, from 1."""

    renderer_classes = [SVGRenderer]
    operations = {
        "GET": Operation(gives=OpenApiTypes.BINARY, media=SVGRenderer.media_type, refusals=(*READ, 503)),
    }

    def get(self, request: Request, club: str, id: uuid.UUID, number: int) -> Response:  # noqa: A002
        sheet = self.sheet(id)
        if known := unchanged(request, tag_of_sheet(sheet)):
            return known
        pages = press.svgs(sheet.data)
        if not 1 <= number <= len(pages):
            raise Http404
        alone = {"Content-Security-Policy": "default-src 'none'; img-src data:; sandbox"}
        return self.file(sheet, pages[number - 1].encode(), f"sheet-{sheet.number}-{number}.svg", alone)


def tag_of_sheet(sheet: IssuedSheet) -> str:
    """The strong ETag of a sheet and of its pages: a sheet never changes."""
    return f'"{sheet.digest}"'
