"""The endpoints for designs that cameras are built by, and their printed sheets."""

import django_filters
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import designs
from clubs.models import Design
from clubs.serializers_sheets import DesignChangeIn, DesignIn, DesignOut, DesignSheetIn, OneSheetOut, address_of
from clubs.sheets import of_cameras
from clubs.views import CHANGE, READ, WRITE, ClubView
from clubs.views_sheets import tag_of_sheet
from pinpool.http.etags import Expected, with_tag
from pinpool.http.filters import LENGTHS, filtered
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation


class DesignFilter(django_filters.FilterSet):
    retired = django_filters.BooleanFilter("retired_at", "isnull", exclude=True)

    class Meta:
        model = Design
        fields: list[str] = []


class DesignsView(ClubView):
    """The club's designs, the oldest first."""

    query = {
        **PAGE_QUERY,
        "lengths": LENGTHS,
        "retired": OpenApiParameter("retired", str, enum=["true", "false"]),
    }
    actions = {"GET": "read_designs", "POST": "save_design"}
    operations = {
        "GET": Operation(gives=DesignOut, page=True, refusals=READ),
        "POST": Operation(takes=DesignIn, gives=DesignOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = filtered(DesignFilter, request, designs.designs_in(club=self.member.club))
        return self.page(rows, DesignOut, key="id")

    def post(self, request: Request, club: str) -> Response:
        design = designs.save_design(actor=self.member, **self.read(request, DesignIn))
        return self.one(design, DesignOut, 201)


class DesignView(ClubView):
    """One design. Its author or a leader names it anew, or retires it; what it is never changes."""

    actions = {"GET": "read_designs", "PATCH": "change_design"}
    operations = {
        "GET": Operation(gives=DesignOut, refusals=READ),
        "PATCH": Operation(takes=DesignChangeIn, gives=DesignOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, number: int) -> Response:
        return self.one(designs.design_in(club=self.member.club, id=number), DesignOut)

    def patch(self, request: Request, club: str, number: int) -> Response:
        design = designs.design_in(club=self.member.club, id=number)
        facts = self.read(request, DesignChangeIn)
        changed = designs.change_design(actor=self.member, design=design, expected=Expected.by(request), facts=facts)
        return self.one(changed, DesignOut)


class DesignSheetsView(ClubView):
    """Print a sheet of a design."""

    query = {}
    actions = {"POST": "issue_sheet"}
    operations = {"POST": Operation(takes=DesignSheetIn, gives=OneSheetOut, status=201, refusals=WRITE)}

    def post(self, request: Request, club: str, number: int) -> Response:
        design = designs.design_in(club=self.member.club, id=number)
        asked = self.read(request, DesignSheetIn)
        told = of_cameras.told(design, url=address_of(request, "design", club=club, number=design.pk))
        subject, sheet = of_cameras.subject_of(design), asked.pop("sheet")
        issued = of_cameras.issue_sheet(actor=self.member, camera=told, subject=subject, sheet_mm=sheet, **asked)
        return with_tag(self.answer(issued, OneSheetOut, 201), tag_of_sheet(issued))
