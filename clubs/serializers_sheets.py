"""What the endpoints for designs and printed sheets take and show."""

from typing import Any

from django.urls import reverse
from rest_framework import serializers

from clubs.models import IssuedSheet
from clubs.serializers_specs import StoredFilmPlane, missing_plugin
from clubs.sheets.blocks import PAGES_MM
from clubs.sheets.changes import changes_since
from clubs.sheets.contributed import POINT
from clubs.sheets.of_cameras import KINDS, Section
from optics.core.camera_plan import Hole, choose_hole
from optics.inputs import ByKind, FilmPlaneField
from optics.outputs import length
from optics.questions import SheetField
from pinpool.http.fields import Length, Moment, Number, StrictSerializer, Text, YesNo
from pinpool.http.problems import impossible


def address_of(request: Any, route: str, **names: Any) -> str:
    """The whole address of one of our routes."""
    return request.build_absolute_uri(reverse(f"{request.resolver_match.namespace}:{route}", kwargs=names))


class SectionField(ByKind):
    """A contributed section by `section`, its parameters beside it."""

    point = POINT
    selector = "section"

    def to_internal_value(self, data: Any) -> Section:
        return Section(*self.read(data))


class DesignSheetIn(StrictSerializer):
    """What to print of a design."""

    kind = serializers.ChoiceField(list(KINDS), help_text="camera_spec: all about it.")
    page = serializers.ChoiceField(list(PAGES_MM), required=False, default="a4")
    sheet = SheetField(
        required=False, default=None, help_text="With camera_spec: the paper that negatives are cut from."
    )
    sections = serializers.ListField(
        child=SectionField(),
        max_length=10,
        required=False,
        default=list,
        help_text="Of plug-ins, after the sheet's own.",
    )


class CameraSheetIn(DesignSheetIn):
    """What to print of a camera."""

    wall_thickness = Length(
        maximum=1000.0, required=False, default=None, help_text="At the hole; left out: that of the camera's design."
    )


class SheetOut(serializers.Serializer):
    """A sheet as it was issued. It never changes."""

    id = serializers.UUIDField()
    number = serializers.IntegerField(help_text="Counts the club's sheets.")
    kind = serializers.CharField()
    subject = serializers.CharField(help_text="What it is of, such as camera T1.")
    digest = serializers.CharField(
        help_text="SHA-256 of the canonical JSON of data without made_at, number and changes: sorted keys, no spaces, "
        "UTF-8. Its first 12 letters stand on every page."
    )
    issued_by = serializers.CharField(source="issued_by.get_username", default=None, allow_null=True)
    issued_at = Moment()
    pdf = serializers.SerializerMethodField(help_text="The address of the sheet as PDF.")

    def get_pdf(self, sheet: IssuedSheet) -> str:
        request = self.context["request"]
        return address_of(request, "sheet_pdf", club=request.resolver_match.kwargs["club"], id=sheet.id)


class SheetChangeOut(serializers.Serializer):
    pointer = serializers.CharField(help_text="JSON pointer into data, or into the older sheet's where it is gone.")
    old = serializers.JSONField(help_text="null: it had none. A drawing is told by the SHA-256 of its SVG.")
    new = serializers.JSONField(help_text="null: it has none.")


class SheetChangesOut(serializers.Serializer):
    """What changed since the sheet before of the same kind and subject."""

    since = serializers.IntegerField(allow_null=True, help_text="That sheet's number; null: this is the first.")
    changes = SheetChangeOut(many=True)
    text = serializers.ListField(child=serializers.CharField(), help_text="The same in words.")

    def to_representation(self, instance: IssuedSheet) -> Any:
        return super().to_representation(changes_since(instance))


class OneSheetOut(SheetOut):
    """A sheet with all that it tells, and what changed since the one before."""

    data = serializers.JSONField(help_text="The document: title, subject, sections of blocks.")
    changes = SheetChangesOut(source="*")


class PlannedHoleIn(StrictSerializer):
    """A hole as planned."""

    diameter = Length(maximum=20.0)
    plate_thickness = Length(maximum=20.0, minimum=0.0, required=False, default=0.0)


class DesignIn(StrictSerializer):
    """A container's plan that cameras are built by."""

    name = Text()
    note = Text(max_length=2000, required=False, default="", allow_blank=True)
    film_plane = FilmPlaneField()
    hole = PlannedHoleIn(required=False, help_text="Left out: what the usual rule asks for, in a thin plate.")
    wall_thickness = Length(maximum=1000.0, help_text="Of the container, at the hole.")
    focal_length = Length(required=False, help_text="Nominal; left out: half of shortest + longest.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        attrs = super().to_internal_value(data)
        focal_length = attrs.get("focal_length") or attrs["film_plane"].mean_mm
        hole = attrs.get("hole") or {"plate_thickness": 0.0}
        diameter = hole.get("diameter") or choose_hole(focal_length_mm=focal_length).chosen.diameter_mm
        if not 1 <= focal_length / diameter <= 100_000:
            text = f"f/{focal_length / diameter:.3g} is no pinhole camera; check the hole and its distance."
            raise serializers.ValidationError({"hole": [impossible(text, "f_number_range")]})
        typed = {key: value for key, value in data.items() if key not in {"name", "note"}}
        kept = {name: attrs[name] for name in ("name", "note", "film_plane", "wall_thickness")}
        return kept | {
            "hole": Hole(diameter, 0.0, hole["plate_thickness"]),
            "focal_length": focal_length,
            "typed": typed,
        }


class DesignChangeIn(StrictSerializer):
    """Only what is to be changed; what a design is never is."""

    name = Text(required=False)
    note = Text(max_length=2000, required=False, allow_blank=True)
    retired = YesNo(required=False, help_text="true: no more cameras are built by it; false: offered again.")


class PlannedHoleOut(serializers.Serializer):
    diameter = length("hole_diameter_mm")
    plate_thickness = length("plate_thickness_mm")


class DesignOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    note = serializers.CharField()
    film_plane = StoredFilmPlane()
    missing_plugin = missing_plugin()
    hole = PlannedHoleOut(source="*")
    wall_thickness = length("wall_thickness_mm")
    focal_length = length("focal_length_mm")
    f_number = Number(help_text="Of the hole as planned.")
    typed = serializers.JSONField(help_text="What the author wrote, as they wrote it.")
    author = serializers.CharField(source="author.get_username", default=None, allow_null=True)
    created_at = Moment()
    retired_at = Moment(allow_null=True, help_text="null: cameras are built by it.")
    revision = serializers.IntegerField()
