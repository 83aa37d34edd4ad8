"""The endpoints of what other web pages show: for everybody to read, and the keeper's switches.

Which site may read is answered here, club by club (the CORS protocol of the Fetch standard): no middleware could know.
"""

import hashlib
import uuid
from typing import Any

from django.utils.cache import patch_vary_headers
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as drf
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import CHANGE, READ, ClubView
from exposures.embed import questions, selectors, serializers, services
from exposures.embed.models import Embedding
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.accounts.throttles import address_of, count
from pinpool.http.etags import Expected, tagged, unchanged, with_tag
from pinpool.http.filters import LENGTHS
from pinpool.http.pages import PAGE_QUERY, page_of_rows
from pinpool.http.problems import refuse_unknown
from pinpool.http.schema import Operation, page_of
from pinpool.http.views import JSONRenderer, View

REFUSED = (400, 403, 404)
#: So long a browser, or a cache between, may keep an answer without asking, s.
KEPT_S = 60


class EmbedView(View):
    """Read by anybody, from our own pages and from the origins that the club allows; nobody's cookies are looked at."""

    authentication_classes = []
    permission_classes = [AllowAny]
    query = {}
    embedding: Embedding
    #: Whom the answer is for: an origin that the club allows, or nobody in particular.
    allowed: str | None = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        self.embedding = selectors.embedding_at(club=kwargs["club"])
        origin = request.headers.get("Origin")
        if origin in self.embedding.origins:
            self.allowed = origin
        elif origin not in {None, f"{request.scheme}://{request.get_host()}"}:
            raise PermissionDenied("This club does not let that site show it; its keeper can add the site's origin.")
        super().initial(request, *args, **kwargs)

    def options(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        """What a browser asks before a request that is not simple."""
        headers = {
            "Access-Control-Allow-Methods": "GET, HEAD, OPTIONS",
            "Access-Control-Allow-Headers": "If-None-Match",
            "Access-Control-Max-Age": f"{KEPT_S}",
        }
        return Response(status=204, headers=headers)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(response, ["Origin"])
        response["X-Content-Type-Options"] = "nosniff"
        response["Cache-Control"] = f"public, max-age={KEPT_S}" if response.status_code in {200, 304} else "no-store"
        if self.allowed:
            response["Access-Control-Allow-Origin"] = self.allowed
        return response

    def shown(self, request: Request, result: Any, serializer: type[drf.BaseSerializer]) -> Response:
        """The answer with an ETag of all that it says, or 304."""
        response = self.answer(result, serializer)
        tag = f'"{hashlib.sha256(JSONRenderer().render(response.data)).hexdigest()[:32]}"'
        return unchanged(request, tag) or with_tag(response, tag)


class EmbeddedClubView(EmbedView):
    """What a club lets everybody read: its name, and the cameras and papers that it shows."""

    operations = {"GET": Operation(gives=serializers.EmbeddedClubOut, refusals=REFUSED)}

    def get(self, request: Request, club: str) -> Response:
        found = {
            "embedding": self.embedding,
            "cameras": selectors.cameras_on(self.embedding),
            "papers": selectors.papers_on(self.embedding),
        }
        return self.shown(request, found, serializers.EmbeddedClubOut)


class EmbeddedCamerasView(EmbedView):
    """The cameras in use, where the club shows the list of them."""

    query = {**PAGE_QUERY, "lengths": LENGTHS}
    operations = {"GET": Operation(gives=serializers.RegisteredCameraOut, page=True, refusals=REFUSED)}

    def get(self, request: Request, club: str) -> Response:
        page = page_of_rows(request, selectors.registry_of(self.embedding), key="code")
        return self.shown(request, page, page_of(serializers.RegisteredCameraOut))


class EmbeddedCameraView(EmbedView):
    """One camera's card: what it is, and a drawing of how its film lies."""

    query = {"lengths": LENGTHS}
    operations = {"GET": Operation(gives=serializers.EmbeddedCameraOut, refusals=REFUSED)}

    def get(self, request: Request, club: str, code: str) -> Response:
        return self.shown(request, selectors.camera_on(self.embedding, code=code), serializers.EmbeddedCameraOut)


class EmbeddedPaperView(EmbedView):
    """What one paper is like: its index, its exponent and its curve, with intervals."""

    operations = {"GET": Operation(gives=serializers.EmbeddedPaperOut, refusals=REFUSED)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        curve = selectors.curve_of(selectors.paper_on(self.embedding, id=id), self.embedding.club)
        return self.shown(request, curve, serializers.EmbeddedPaperOut)


class EmbeddedExposureView(EmbedView):
    """The time to give with one camera on one paper in a light, whoever exposes.

    The light is told by the keys of a reading: `ev` and `iso`; `time`, `f_number` and `iso`; or another that is known.
    Only these questions are limited in number: the other answers are the same for everybody, for caches to keep.
    """

    operations = {"GET": Operation(gives=serializers.EmbeddedExposureOut, refusals=(*REFUSED, 422, 429))}

    def query_of(self, method: str) -> dict[str, OpenApiParameter]:
        paper = OpenApiParameter("paper", uuid.UUID, required=True, description="A paper's id.")
        return {"paper": paper, **questions.reading_query(), **super().query_of(method)}

    def get(self, request: Request, club: str, code: str) -> Response:
        count("EMBED_QUESTIONS_PER_ADDRESS", address_of(request))
        card = selectors.camera_on(self.embedding, code=code)
        asked = self._asked(request)
        with refuse_unknown("paper", "There is no paper of that id here, or none that is shown."):
            paper = selectors.paper_on(self.embedding, id=asked["paper"])
        try:
            found = selectors.time_at(card=card, paper=paper, club=self.embedding.club, reading=asked["reading"])
        except Impossible as fault:
            refuse(fault)
        return self.shown(request, found, serializers.EmbeddedExposureOut)

    def _asked(self, request: Request) -> dict[str, Any]:
        """The query, read as a body is; raises with every fault at once."""
        context = self.context() | {"plugins": self.embedding.club.plugins}
        bound = questions.EmbeddedExposureIn(data=questions.as_body(request.query_params), context=context)
        bound.is_valid(raise_exception=True)
        return bound.validated_data


class SwitchesView(ClubView):
    """What everybody may read of the club, and which sites may show it. Nothing, unless a keeper says so."""

    query = {}
    actions = {"GET": "read_embeds", "PATCH": "switch_embeds"}
    operations = {
        "GET": Operation(gives=serializers.EmbeddingOut, refusals=READ),
        "PATCH": Operation(takes=serializers.EmbeddingIn, gives=serializers.EmbeddingOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self._told(request, services.embedding_of(self.member.club))

    def patch(self, request: Request, club: str) -> Response:
        member = self.member
        facts = self.read(request, serializers.EmbeddingIn)
        return self._told(request, services.switch_embeds(actor=member, expected=Expected.by(request), facts=facts))

    def _told(self, request: Request, embedding: Embedding) -> Response:
        return tagged(request, self.answer(embedding, serializers.EmbeddingOut), embedding.revision)
