"""The endpoints for papers and the shared log."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, OpenApiTypes
from rest_framework.request import Request
from rest_framework.response import Response

from clubs.views import READ, WRITE, ClubView
from exposures import bulk, pictures, selectors, serializers, services
from exposures.filters import ExposureFilter, PaperFilter
from exposures.models import ExposureLog
from exposures.serializers_published import PublishedLawField
from optics.inputs import ReadingField, readings_told
from pinpool.http.etags import Expected
from pinpool.http.filters import LENGTHS, filtered
from pinpool.http.images import JPEGRenderer, PictureView, picture
from pinpool.http.listings import Listing
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.problems import refuse_unknown
from pinpool.http.rows import USERNAME
from pinpool.http.schema import Operation
from pinpool.http.uploads import UploadParser
from pinpool.plugins.switches import on_with

CHANGE = (*WRITE, 412, 428)


def truth(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(name, str, enum=["true", "false"], description=description)


class PapersView(ClubView):
    """The club's stocks of paper and film."""

    query = {**PAGE_QUERY, "lengths": LENGTHS, "retired": truth("retired", "Out of use, or not.")}
    actions = {"GET": "read_papers", "POST": "add_paper"}
    operations = {
        "GET": Operation(gives=serializers.PaperOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.PaperIn, gives=serializers.PaperOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = filtered(PaperFilter, request, selectors.papers_in(club=self.member.club))
        return self.page(rows, serializers.PaperOut, key="name")

    def post(self, request: Request, club: str) -> Response:
        paper = services.add_paper(actor=self.member, **self.read(request, serializers.PaperIn))
        return self.one(paper, serializers.PaperOut, 201)


class PaperView(ClubView):
    """One paper. Its name, family and nominal index may be put right: what the logs say of it is then told anew."""

    actions = {"GET": "read_papers", "PATCH": "change_paper"}
    operations = {
        "GET": Operation(gives=serializers.PaperOut, refusals=READ),
        "PATCH": Operation(takes=serializers.PaperChange, gives=serializers.PaperOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(selectors.paper_in(club=self.member.club, id=id), serializers.PaperOut)

    def patch(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        law = selectors.paper_in(club=member.club, id=id).published_law
        plugins = on_with(member.club.plugins, PublishedLawField.point, [law["law"]] if law else ())
        changes = self.read(request, serializers.PaperChange, plugins=plugins)
        paper = services.change_paper(actor=member, id=id, expected=Expected.by(request), **changes)
        return self.one(paper, serializers.PaperOut)


#: Whatever of an entry changes raises its revision, but for the name of whose it is.
EXPOSURES = Listing(
    rows=selectors.log_rows,
    told={"club": ExposureLog._meta.get_field("club"), "reader": ExposureLog._meta.get_field("member")},
    columns=serializers.LOG,
    stamp=("number", "revision", f"member__{USERNAME}", "person__name"),
    key=ExposureLog._meta.get_field("number"),
    newest_first=True,
    filters=ExposureFilter,
)


class ExposuresView(ClubView):
    """The shared log, the newest entry first."""

    query = {
        **PAGE_QUERY,
        "camera": OpenApiParameter("camera", str, description="A camera's code."),
        "paper": OpenApiParameter("paper", uuid.UUID, description="A paper's id."),
        "member": OpenApiParameter("member", str, description="A member's user name."),
        "person": OpenApiParameter("person", str, description="The name of somebody without an account."),
        "without_account": truth("without_account", "Of people without an account, or of others."),
        "visibility": OpenApiParameter("visibility", str, enum=list(serializers.VISIBILITIES)),
        "shared": truth("shared", "The same as the visibility “shared”, or not."),
        "judged": truth("judged", "With a result, or without."),
        "since": OpenApiParameter("since", OpenApiTypes.DATETIME, description="Taken then or later."),
        "until": OpenApiParameter("until", OpenApiTypes.DATETIME, description="Taken before then."),
        "corrected": truth("corrected", "true: with the entries that have been corrected since; else without."),
    }
    actions = {"GET": "read_exposures", "POST": "log_exposure"}
    operations = {
        "GET": Operation(gives=serializers.LogOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.LogIn, gives=serializers.LogOut, status=201, again=True, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        member = self.member
        return self.listed(EXPOSURES, serializers.LogOut, club=member.club_id, reader=member.user_id)

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        facts = with_camera_and_paper(member.club, self.read(request, serializers.LogIn))
        entry, new = services.log_exposure(actor=member, **facts)
        if not new:  # it may have been corrected since
            entry = selectors.exposure_for(reader=member, id=entry.id)
        return self.one(entry, serializers.LogOut, 201 if new else 200)


class BulkView(ClubView):
    """Up to 500 entries at once. Good ones are stored whatever the others are; each is told what came of it."""

    query = {}
    actions = {"POST": "log_exposure"}
    operations = {"POST": Operation(takes=serializers.LogsIn, gives=serializers.OutcomesOut, refusals=WRITE)}

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        outcomes = bulk.log_exposures(actor=member, entries=self.read(request, serializers.LogsIn))
        return self.answer(outcomes, serializers.OutcomesOut)


class ExposureView(ClubView):
    """One entry of the log. What is wrong in it is corrected by another entry."""

    query = {}
    actions = {"GET": "read_exposures"}
    operations = {"GET": Operation(gives=serializers.LogOut, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        return self.one(selectors.exposure_for(reader=self.member, id=id), serializers.LogOut)


class CorrectionsView(ClubView):
    """An entry in the place of a wrong one, which stays on record but counts no longer."""

    query = {}
    actions = {"POST": "correct_exposure"}
    operations = {
        "POST": Operation(
            takes=serializers.CorrectionIn, gives=serializers.LogOut, status=201, again=True, refusals=WRITE
        )
    }

    def post(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        wrong = selectors.exposure_for(reader=member, id=id)
        plugins = on_with(member.club.plugins, ReadingField.point, readings_told(wrong.reading))
        facts = with_camera_and_paper(member.club, self.read(request, serializers.CorrectionIn, plugins=plugins))
        entry, new = services.correct_exposure(actor=member, log=wrong, **facts)
        entry = selectors.exposure_for(reader=member, id=entry.id)
        return self.one(entry, serializers.LogOut, 201 if new else 200)


class NegativeView(ClubView):
    """A picture of the negative or print, one to an entry, by its author or a keeper. The answer is the entry."""

    parser_classes = [UploadParser]
    query = {}
    actions = {"PUT": "put_picture", "DELETE": "remove_picture"}
    operations = {
        "PUT": Operation(takes=serializers.PictureIn, gives=serializers.LogOut, refusals=CHANGE),
        "DELETE": Operation(gives=serializers.LogOut, refusals=CHANGE),
    }

    def put(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        entry = selectors.exposure_for(reader=member, id=id)
        image = self.read(request, serializers.PictureIn)["image"]
        pictures.put_picture(actor=member, log=entry, image=image, expected=Expected.by(request))
        return self.one(selectors.exposure_for(reader=member, id=id), serializers.LogOut)

    def delete(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        member = self.member
        entry = selectors.exposure_for(reader=member, id=id)
        pictures.remove_picture(actor=member, log=entry, expected=Expected.by(request))
        return self.one(selectors.exposure_for(reader=member, id=id), serializers.LogOut)


class NegativeImageView(PictureView, ClubView):
    """The picture itself, for those who may see the entry."""

    actions = {"GET": "read_exposures"}
    operations = {"GET": Operation(gives=OpenApiTypes.BINARY, media=JPEGRenderer.media_type, refusals=READ)}

    def get(self, request: Request, club: str, id: uuid.UUID) -> Response:  # noqa: A002
        entry = selectors.exposure_for(reader=self.member, id=id)
        image = pictures.picture_of(entry).image
        return picture(request, image, name=f"{entry.id.hex[:8]}.jpg", revision=entry.revision)


def with_camera_and_paper(club: Any, facts: dict[str, Any]) -> dict[str, Any]:
    """Put the camera and the paper in the place of their names; what is not in the club is a fault in the body."""
    with refuse_unknown("camera", "There is no camera of that code in this club."):
        camera = selectors.camera_to_expose(club=club, code=facts["camera"])
    with refuse_unknown("paper", "There is no paper of that id in this club."):
        paper = selectors.paper_in(club=club, id=facts["paper"])
    return facts | {"camera": camera, "paper": paper}
