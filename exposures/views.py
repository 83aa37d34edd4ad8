"""The endpoints for papers and the shared log."""

import uuid
from typing import Any

import django_filters
from django.contrib.auth import get_user_model
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.selectors import camera_in
from clubs.views import READ, WRITE, ClubView
from exposures import selectors, serializers, services
from exposures.models import ExposureLog
from pinpool.http.filters import filtered
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.problems import refuse_unknown
from pinpool.http.schema import Operation


class PapersView(ClubView):
    """The club's stocks of paper and film."""

    query = PAGE_QUERY
    actions = {"GET": "read_papers", "POST": "add_paper"}
    operations = {
        "GET": Operation(gives=serializers.PaperOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.PaperIn, gives=serializers.PaperOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.page(selectors.papers_in(club=self.member.club), serializers.PaperOut, key="name")

    def post(self, request: Request, club: str) -> Response:
        paper = services.add_paper(actor=self.member, **self.read(request, serializers.PaperIn))
        return self.one(paper, serializers.PaperOut, 201)


class PaperView(ClubView):
    """One paper."""

    query = {}
    actions = {"GET": "read_papers"}
    operations = {"GET": Operation(gives=serializers.PaperOut, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(selectors.paper_in(club=self.member.club, id=id), serializers.PaperOut)


class ExposureFilter(django_filters.FilterSet):
    camera = django_filters.CharFilter("spec__camera__code", "iexact", max_length=12)
    paper = django_filters.UUIDFilter("paper_id")
    member = django_filters.CharFilter(f"member__{get_user_model().USERNAME_FIELD}", max_length=150)
    shared = django_filters.BooleanFilter("shared")

    class Meta:
        model = ExposureLog
        fields: list[str] = []


class ExposuresView(ClubView):
    """The shared log, the newest entry first."""

    query = {
        **PAGE_QUERY,
        "camera": OpenApiParameter("camera", str, description="A camera's code."),
        "paper": OpenApiParameter("paper", uuid.UUID, description="A paper's id."),
        "member": OpenApiParameter("member", str, description="A member's user name."),
        "shared": OpenApiParameter("shared", str, enum=["true", "false"]),
    }
    actions = {"GET": "read_exposures", "POST": "log_exposure"}
    operations = {
        "GET": Operation(gives=serializers.LogOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.LogIn, gives=serializers.LogOut, status=201, again=True, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = filtered(ExposureFilter, request, selectors.exposures_in(club=self.member.club))
        return self.page(rows, serializers.LogOut, key="number", newest_first=True)

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        facts = self.read(request, serializers.LogIn)
        facts = with_camera_and_paper(member.club, facts)
        entry, new = services.log_exposure(actor=member, **facts)
        return self.one(entry, serializers.LogOut, 201 if new else 200)


class ExposureView(ClubView):
    """One entry of the log."""

    query = {}
    actions = {"GET": "read_exposures"}
    operations = {"GET": Operation(gives=serializers.LogOut, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(selectors.exposure_in(club=self.member.club, id=id), serializers.LogOut)


def with_camera_and_paper(club: Any, facts: dict[str, Any]) -> dict[str, Any]:
    """Put the camera and the paper in the place of their names; what is not in the club is a fault in the body."""
    with refuse_unknown("camera", "There is no camera of that code in this club."):
        camera = camera_in(club=club, code=facts["camera"])
    with refuse_unknown("paper", "There is no paper of that id in this club."):
        paper = selectors.paper_in(club=club, id=facts["paper"])
    return facts | {"camera": camera, "paper": paper}
