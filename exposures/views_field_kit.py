"""The endpoint for what a phone takes along."""

from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import READ, ClubView
from exposures import field_kit
from exposures.outputs_field_kit import FieldKitOut
from pinpool.http.etags import unchanged, with_tag
from pinpool.http.schema import Operation


class FieldKitView(ClubView):
    """Cameras, papers, baths and times to look up without signal; its ETag changes with all that it rests on."""

    query = {}
    actions = {"GET": "ask_recommendation"}
    operations = {"GET": Operation(gives=FieldKitOut, refusals=READ)}

    def get(self, request: Request, club: str) -> Response:
        contents = field_kit.contents_for(actor=self.member)
        known = unchanged(request, contents.tag)
        return known or with_tag(self.answer(field_kit.reckon(contents), FieldKitOut), contents.tag)
