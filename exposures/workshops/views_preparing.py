"""The endpoint for what a leader prepares."""

from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import READ
from exposures.workshops.preparing import prepare
from exposures.workshops.serializers_preparing import PREPARATION_QUERY, PreparationOut, asked_in
from exposures.workshops.views import OfWorkshop
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.filters import LENGTHS
from pinpool.http.schema import Operation


class PreparationView(OfWorkshop):
    """What to bring, how to cut, how much chemistry, how long the darkroom queues, and the order of the day."""

    query = {**PREPARATION_QUERY, "lengths": LENGTHS}
    actions = {"GET": "read_workshops"}
    operations = {"GET": Operation(gives=PreparationOut, refusals=(*READ, 422))}

    def get(self, request: Request, club: str, number: int) -> Response:
        workshop, asked = self.workshop, asked_in(request.query_params)
        places = workshop.places.count()
        try:
            found = prepare(actor=self.member, workshop=workshop, asked=asked, places=places)
        except Impossible as fault:
            refuse(fault)
        return self.answer(found, PreparationOut)
