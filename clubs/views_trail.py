"""The endpoint that shows a keeper the trail."""

import django_filters
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.models import TrailEntry
from clubs.serializers import TrailOut
from clubs.views import READ, ClubView
from pinpool.http.filters import filtered
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation


class TrailFilter(django_filters.FilterSet):
    actor = django_filters.CharFilter("actor_name", max_length=254)
    action = django_filters.CharFilter("action", max_length=40)
    subject = django_filters.CharFilter("subject", "icontains", max_length=200)

    class Meta:
        model = TrailEntry
        fields: list[str] = []


class TrailView(ClubView):
    """Every change of what the club keeps, the newest first. Nobody can change what stands here."""

    query = {
        **PAGE_QUERY,
        "actor": OpenApiParameter("actor", str, description="The user name of whoever made the change."),
        "action": OpenApiParameter("action", str, description="Such as lend_camera."),
        "subject": OpenApiParameter("subject", str, description="Part of what was changed, such as T1."),
    }
    actions = {"GET": "read_trail"}
    operations = {"GET": Operation(gives=TrailOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        rows = filtered(TrailFilter, request, TrailEntry.objects.filter(club=self.member.club))
        return self.page(rows, TrailOut, key="id", newest_first=True)
