"""The endpoints for what the log says: papers, cameras, members, a time to give, the next test, a comparison."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.selectors import camera_in, cameras_in
from clubs.views import READ, ClubView
from exposures import outputs, selectors, teaching
from exposures.offsets import cameras_known, members_known
from exposures.recommending import recommend
from exposures.serializers import RecommendationIn
from exposures.views import with_camera_and_paper
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.fields import Identifier, StrictSerializer, Text
from pinpool.http.filters import LENGTHS
from pinpool.http.pages import PAGE_QUERY, Page, page_of_rows
from pinpool.http.problems import refuse_unknown
from pinpool.http.schema import Operation, page_of


class KnownView(ClubView):
    """A list of what is known of the rows on a page."""

    def known(self, page: Page, rows: Any, shown: type[serializers.BaseSerializer]) -> Response:
        return self.answer({"next": page.next, "previous": page.previous, "results": rows}, page_of(shown))


class ReciprocityView(KnownView):
    """What the logs say of each paper: its real index, its exponent and its curve, with intervals."""

    query = PAGE_QUERY
    actions = {"GET": "read_estimates"}
    operations = {"GET": Operation(gives=outputs.PaperKnownOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        own = self.member.club
        page = page_of_rows(request, selectors.papers_in(club=own), key="name")
        return self.known(page, selectors.known_of(page.results, own), outputs.PaperKnownOut)


class CameraOffsetsView(KnownView):
    """How far each camera's light is off its f-number, and what that says of its hole."""

    query = {**PAGE_QUERY, "lengths": LENGTHS}
    actions = {"GET": "compare"}
    operations = {"GET": Operation(gives=outputs.CameraKnownOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        own = self.member.club
        page = page_of_rows(request, cameras_in(club=own), key="code")
        return self.known(page, cameras_known(page.results, own), outputs.CameraKnownOut)


class MemberOffsetsView(KnownView):
    """How far each member's meter and eye are off the others'."""

    query = PAGE_QUERY
    actions = {"GET": "compare"}
    operations = {"GET": Operation(gives=outputs.MemberKnownOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        own = self.member.club
        page = page_of_rows(request, own.memberships.select_related("user"), key="id")
        return self.known(page, members_known(page.results, own), outputs.MemberKnownOut)


class ModelView(ClubView):
    """The fit behind every estimate."""

    query = {}
    actions = {"GET": "read_estimates"}
    operations = {"GET": Operation(gives=outputs.ModelOut, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        return self.answer(selectors.model_of(self.member.club), outputs.ModelOut)


class RecommendationView(ClubView):
    """The time to give for a camera, a paper and a light, with how sure it is and why."""

    query = {}
    actions = {"POST": "ask_recommendation"}
    operations = {"POST": Operation(takes=RecommendationIn, gives=outputs.RecommendationOut, refusals=(*READ, 422))}

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        facts = with_camera_and_paper(member.club, self.read(request, RecommendationIn))
        try:
            found = recommend(actor=member, **facts)
        except Impossible as fault:
            refuse(fault)
        return self.answer(found, outputs.RecommendationOut)


class WhichTests(StrictSerializer):
    """How many tests, and on what."""

    count = serializers.RegexField(
        r"^([1-9]|1[0-9]|20)\Z", required=False, default="3", error_messages={"invalid": "A whole number from 1 to 20."}
    )
    camera = Text(max_length=12, required=False)
    paper = Identifier(required=False)


class NextTestsView(ClubView):
    """Which exposures would narrow the club's uncertainty most, by the model's own information."""

    query = {
        "count": OpenApiParameter("count", int, description="How many: 1 to 20; 3 where left out."),
        "camera": OpenApiParameter("camera", str, description="Only with this camera, by its code."),
        "paper": OpenApiParameter("paper", uuid.UUID, description="Only on this paper, by its id."),
    }
    actions = {"GET": "ask_next_tests"}
    operations = {"GET": Operation(gives=outputs.NextTestsOut, refusals=(*READ, 422))}

    def get(self, request: Request, club: str) -> Response:
        member = self.member
        bound = WhichTests(data=dict(request.query_params.items()))
        bound.is_valid(raise_exception=True)
        asked = bound.validated_data
        with refuse_unknown("camera", "There is no camera of that code in this club."):
            camera = camera_in(club=member.club, code=asked["camera"]) if "camera" in asked else None
        with refuse_unknown("paper", "There is no paper of that id in this club."):
            paper = selectors.paper_in(club=member.club, id=asked["paper"]) if "paper" in asked else None
        plan = teaching.plan_tests(actor=member, count=int(asked["count"]), camera=camera, paper=paper)
        return self.answer(plan, outputs.NextTestsOut)


class ComparisonView(ClubView):
    """Logged results on one scale, by member, camera or paper, and what can be told apart."""

    query = {
        "by": OpenApiParameter(
            "by", str, enum=["member", "camera", "paper"], description="What to compare.", required=True
        )
    }
    actions = {"GET": "compare"}
    operations = {"GET": Operation(gives=outputs.ComparisonOut, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        member = self.member
        by = request.query_params.get("by")
        if by is None:
            raise ValidationError({"by": [ErrorDetail("Say what to compare: member, camera or paper.", "required")]})
        return self.answer(teaching.compare(actor=member, by=by), outputs.ComparisonOut)


class DoubtsView(ClubView):
    """Logs that look wrong: one's own, and for leaders and keepers everybody's. They are kept, and count little."""

    query = PAGE_QUERY
    actions = {"GET": "read_doubts"}
    operations = {"GET": Operation(gives=outputs.DoubtOut, page=True, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        return self.page(teaching.doubts_for(actor=self.member), outputs.DoubtOut, key="id", newest_first=True)
