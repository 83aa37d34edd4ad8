"""The endpoint that prints the sheets of a workshop."""

from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from clubs.sheets.blocks import Faulty
from clubs.sheets.issuing import issue
from clubs.sheets.of_cameras import KINDS
from clubs.views import WRITE
from clubs.views_sheets import tag_of_sheet
from exposures.sheets.workshop_pack import darkroom_document, exposure_cards, workshop_pack
from exposures.workshops.addresses import place_address
from exposures.workshops.serializers_preparing import WorkshopSheetIn, WorkshopSheetOut
from exposures.workshops.views import OfWorkshop
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.http.etags import with_tag
from pinpool.http.schema import Operation

#: Who may read each kind, as `clubs.roles.MAY` has it: a pack has the codes of all places on it.
READ_BY = {"workshop_pack": "read_places", "darkroom_card": "read_sheets", "exposure_cards": "read_workshops"}


class WorkshopSheetsView(OfWorkshop):
    """Print a workshop: a pack for leader, darkroom and places, the darkroom's card, or cards of measured holes."""

    actions = {"POST": "issue_workshop_sheet"}
    operations = {"POST": Operation(takes=WorkshopSheetIn, gives=WorkshopSheetOut, status=201, refusals=WRITE)}

    def post(self, request: Request, club: str, number: int) -> Response:
        workshop, actor = self.workshop, self.member
        wanted = self.read(request, WorkshopSheetIn)
        try:
            whole = self._document(wanted, {"actor": actor, "workshop": workshop, "page": wanted["page"]})
        except Impossible as fault:
            refuse(fault)
        except Faulty as fault:
            text = f"This is more than can be set at once; print what is the same for all once. {fault}"
            refuse(Impossible("too_much", text, "kind"))
        facts = {"action": READ_BY[wanted["kind"]], "doing": "issue_workshop_sheet"}
        issued = issue(actor=actor, document=whole, **facts)
        return with_tag(self.answer(issued, WorkshopSheetOut, 201), tag_of_sheet(issued))

    def _document(self, wanted: dict[str, Any], facts: dict[str, Any]) -> dict[str, Any]:
        match wanted["kind"]:
            case "exposure_cards":
                return exposure_cards(**facts)
            case "darkroom_card":
                return darkroom_document(**facts, asked=wanted["asked"])
        address = place_address(self.request)
        often = {name: wanted[name] for name in KINDS}
        return workshop_pack(**facts, asked=wanted["asked"], address=address, often=often)
