"""The endpoints for cameras: the registry, loans, and what each camera has been."""

import django_filters
from django.db.models import Q, QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors, serializers, services
from clubs.models import Camera
from clubs.serializers_specs import DifferenceOut, SpecIn, SpecOut
from clubs.spec_difference import SpecDifference
from clubs.views import CHANGE, READ, WRITE, ClubView
from pinpool.http.etags import Expected, tagged
from pinpool.http.filters import LENGTHS
from pinpool.http.listings import Listing
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.rows import USERNAME
from pinpool.http.schema import Operation
from pinpool.plugins.registry import entries
from pinpool.plugins.switches import on_with


class CameraFilter(django_filters.FilterSet):
    search = django_filters.CharFilter(method="having_every_word", max_length=100)
    owner = django_filters.CharFilter(f"owner__{USERNAME}", max_length=254)
    club_owned = django_filters.BooleanFilter("owner", "isnull")
    lent = django_filters.BooleanFilter("lent_until", "isnull", exclude=True)
    retired = django_filters.BooleanFilter("retired_at", "isnull", exclude=True)

    class Meta:
        model = Camera
        fields: list[str] = []

    def having_every_word(self, rows: QuerySet[Camera], _name: str, value: str) -> QuerySet[Camera]:
        """Rows that have each word somewhere in what a person knows a camera by."""
        for word in value.split():
            places = ("code", "name", "note", f"owner__{USERNAME}")
            found = Q()
            for place in places:
                found |= Q(**{f"{place}__icontains": word})
            rows = rows.filter(found)
        return rows


#: A spec never changes, but its author's account may go, and with its plug-in the names of its sizes.
CAMERAS = Listing(
    rows=selectors.camera_rows,
    told={"club": Camera._meta.get_field("club")},
    columns=serializers.CAMERA,
    stamp=("code", "revision", f"owner__{USERNAME}", f"lent_to__{USERNAME}", f"spec__author__{USERNAME}"),
    key=Camera._meta.get_field("code"),
    filters=CameraFilter,
    beside=lambda: [(each.package, each.name, each.version, each.reason) for each in entries()],
)


class CamerasView(ClubView):
    """The club's registry of cameras."""

    query = {
        **PAGE_QUERY,
        "lengths": LENGTHS,
        "search": OpenApiParameter("search", str, description="Words in the code, name, note or owner's user name."),
        "owner": OpenApiParameter("owner", str, description="An owner's user name."),
        "club_owned": OpenApiParameter("club_owned", str, enum=["true", "false"]),
        "lent": OpenApiParameter("lent", str, enum=["true", "false"]),
        "retired": OpenApiParameter("retired", str, enum=["true", "false"]),
    }
    actions = {"GET": "read_cameras", "POST": "register_camera"}
    operations = {
        "GET": Operation(gives=serializers.CameraOut, page=True, refusals=READ),
        "POST": Operation(takes=serializers.CameraIn, gives=serializers.CameraOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.listed(CAMERAS, serializers.CameraOut, club=self.member.club_id)

    def post(self, request: Request, club: str) -> Response:
        member = self.member
        camera = services.register_camera(actor=member, **self.read(request, serializers.CameraIn))
        return self.one(camera, serializers.CameraOut, 201)


class CameraView(ClubView):
    """One camera with the spec in force; its owner or a keeper changes it, hands it on or retires it."""

    actions = {"GET": "read_cameras", "PATCH": "change_camera"}
    operations = {
        "GET": Operation(gives=serializers.CameraOut, refusals=READ),
        "PATCH": Operation(takes=serializers.CameraChangeIn, gives=serializers.CameraOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, code: str) -> Response:
        return self.one(selectors.camera_in(club=self.member.club, code=code), serializers.CameraOut)

    def patch(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        facts = self.read(request, serializers.CameraChangeIn)
        changed = services.change_camera(actor=self.member, camera=camera, expected=Expected.by(request), facts=facts)
        return self.one(changed, serializers.CameraOut)


class LoanView(ClubView):
    """Lend a camera to a member until a day, and bring it back. If-Match is the camera's."""

    actions = {"PUT": "lend_camera", "DELETE": "bring_back_camera"}
    operations = {
        "PUT": Operation(takes=serializers.LoanIn, gives=serializers.CameraOut, refusals=CHANGE),
        "DELETE": Operation(gives=serializers.CameraOut, refusals=CHANGE),
    }

    def put(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        loan = self.read(request, serializers.LoanIn)
        lent = services.lend_camera(actor=self.member, camera=camera, expected=Expected.by(request), **loan)
        return self.one(lent, serializers.CameraOut)

    def delete(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        back = services.bring_back_camera(actor=self.member, camera=camera, expected=Expected.by(request))
        return self.one(back, serializers.CameraOut)


class SpecsView(ClubView):
    """What a camera has been: immutable revisions, the latest in force."""

    query = {**PAGE_QUERY, "lengths": LENGTHS}
    actions = {"GET": "read_cameras", "POST": "add_spec"}
    operations = {
        "GET": Operation(gives=SpecOut, page=True, refusals=READ),
        "POST": Operation(takes=SpecIn, gives=SpecOut, status=201, refusals=WRITE),
    }

    def get(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        return self.page(camera.specs.select_related("author"), SpecOut, key="number")

    def post(self, request: Request, club: str, code: str) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        member, before = self.member, [camera.spec.film_plane["kind"]] if camera.spec else []
        plugins = on_with(member.club.plugins, "film_planes", before)
        spec = services.add_spec(actor=member, camera=camera, spec=self.read(request, SpecIn, plugins=plugins))
        return tagged(request, self.answer(spec, SpecOut, 201), spec.number)


class SpecView(ClubView):
    """What a camera was by one of its specs. A spec is never changed."""

    actions = {"GET": "read_cameras"}
    operations = {"GET": Operation(gives=SpecOut, refusals=READ)}

    def get(self, request: Request, club: str, code: str, number: int) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        spec = selectors.spec_of(camera=camera, number=number)
        return tagged(request, self.answer(spec, SpecOut), spec.number)


class DifferenceView(ClubView):
    """What changed from one spec of a camera to another: key by key, in stops, and in words."""

    query = {
        "lengths": LENGTHS,
        "to": OpenApiParameter("to", int, description="The number of the other spec; left out: the one in force."),
    }
    actions = {"GET": "read_cameras"}
    operations = {"GET": Operation(gives=DifferenceOut, refusals=READ)}

    def get(self, request: Request, club: str, code: str, number: int) -> Response:
        camera = selectors.camera_in(club=self.member.club, code=code)
        old = selectors.spec_of(camera=camera, number=number)
        asked = request.query_params.get("to")
        new = (
            camera.spec
            if asked is None
            else next((spec for spec in camera.specs.all() if str(spec.number) == asked), None)
        )
        if new is None:
            known = ", ".join(str(spec.number) for spec in camera.specs.all())
            raise ValidationError({"to": [ErrorDetail(f"This camera has the specs {known}.", "unknown_spec")]})
        return self.answer(SpecDifference(old, new), DifferenceOut)
