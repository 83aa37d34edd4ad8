"""What whoever has a claim code sends and sees. Whatever is shown is plain data, and of this place alone."""

import unicodedata
from typing import Any

from rest_framework import serializers

from clubs.roles import ROLE_CHOICES
from clubs.serializers_specs import StoredFilmPlane
from exposures.outputs import IntervalOut
from exposures.serializers import ResultIn
from exposures.workshops.serializers import WithHole
from optics.inputs import ReadingField
from optics.outputs import FieldOfViewOut, FlagOut, HoleScanOut, SaidTime, length, number
from optics.questions import HoleScanIn
from pinpool.http.fields import Day, Duration, Identifier, Instant, Number, StrictSerializer, Text
from pinpool.quantities import quantity_out

#: Characters that are no letters of a name: controls, line ends, and those that turn the way of writing round.
_TURNING = set("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class NameIn(StrictSerializer):
    name = Text(max_length=60, allow_blank=True, help_text="What the club may call the participant; empty: nothing.")

    def validate_name(self, name: str) -> str:
        if any(unicodedata.category(sign) in {"Cc", "Zl", "Zp"} or sign in _TURNING for sign in name):
            raise serializers.ValidationError("A name is one line, without control characters.", "control_character")
        return name


class PlaceScanIn(HoleScanIn):
    """A scan of the hole and its scale; the design says the focal length. The picture is measured and let go."""

    focal_length = None  # type: ignore[assignment]


def scan_told(found: dict[str, Any], resolution: float | None) -> dict[str, Any]:
    """A measured scan as the hole's own key `scan` takes it."""
    told: dict[str, Any] = {
        "diameter": quantity_out(found["diameter_mm"], "length"),
        "uncertainty": quantity_out(found["uncertainty_mm"], "length"),
        "roundness_share": found["roundness_share"],
    }
    return {"scan": told | ({} if resolution is None else {"resolution": quantity_out(resolution, "resolution")})}


class NoteIn(StrictSerializer):
    """An exposure. Choose its `id` on the phone, and sending it again is harmless."""

    id = Identifier(required=False)
    taken_at = Instant()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)
    exposure_time = Duration()
    result = ResultIn(required=False, allow_null=True, default=None)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        return values | {"typed_reading": data["reading"], "typed_time": data["exposure_time"]}


class LaterIn(StrictSerializer):
    """What is added to an entry later, or put right; what is left out stays."""

    result = ResultIn(required=False, allow_null=True)
    note = Text(max_length=2000, required=False, allow_blank=True)


class PlanOut(serializers.Serializer):
    """The design that the place builds by."""

    name = serializers.CharField()
    film_plane = StoredFilmPlane()
    field_of_view = FieldOfViewOut(source="as_film_plane.field_of_view")
    focal_length = length("focal_length_mm")
    hole_diameter = length("hole_diameter_mm", help_text="As planned.")
    plate_thickness = length("plate_thickness_mm")
    wall_thickness = length("wall_thickness_mm")
    f_number = serializers.SerializerMethodField(help_text="As planned.")

    def get_f_number(self, design: Any) -> Number():  # type: ignore[valid-type]
        return design.focal_length_mm / design.hole_diameter_mm


class OpenPlaceOut(WithHole):
    """A place as whoever has its claim code sees it."""

    workshop = serializers.CharField(source="workshop.name")
    held_on = Day(source="workshop.held_on")
    closed = serializers.SerializerMethodField(help_text="true: it can only be read, and claimed.")
    number = serializers.IntegerField()
    name = serializers.CharField()
    paper = serializers.CharField(source="workshop.paper.name")
    design = PlanOut(source="workshop.design")
    claimed = serializers.SerializerMethodField(help_text="Whether an account has claimed it.")
    camera = serializers.CharField(
        source="camera.code", default=None, allow_null=True, help_text="Its code in the club, once it is closed."
    )
    revision = serializers.IntegerField()

    def get_closed(self, place: Any) -> serializers.BooleanField():  # type: ignore[valid-type]
        return place.workshop.closed_at is not None

    def get_claimed(self, place: Any) -> serializers.BooleanField():  # type: ignore[valid-type]
        return place.user_id is not None


class ScannedPlaceOut(serializers.Serializer):
    """The place with the hole that was measured, and how the scan measured."""

    place = OpenPlaceOut()
    scan = HoleScanOut()


class LightRowOut(serializers.Serializer):
    ev100 = number()
    light = serializers.CharField(help_text="What it looks like; a meter's reading goes before it.")
    indicated_time = SaidTime(source="indicated_s")
    exposure_time = SaidTime(source="time_s", allow_null=True, help_text="null: by the logs no time would do.")
    interval = IntervalOut(source="ninety", help_text="Holds the right time nine times in ten.")


class PlaceTableOut(serializers.Serializer):
    """The times to give at this place's own f-number, from bright to dark."""

    f_number = number()
    rows = LightRowOut(many=True)
    because = serializers.ListField(child=serializers.CharField())
    flags = FlagOut(many=True)


class ClaimedOut(serializers.Serializer):
    """The place that is one's own now, and the club that one belongs to."""

    club = serializers.CharField(source="member.club.slug")
    club_name = serializers.CharField(source="member.club.name")
    role = serializers.ChoiceField(ROLE_CHOICES, source="member.role")
    place = serializers.IntegerField(source="place.number")
    camera = serializers.CharField(source="camera.code", default=None, allow_null=True, help_text="null: not yet made.")
    owned = serializers.BooleanField(help_text="Whether the camera is one's own; else it is the club's, or another's.")
    exposures = serializers.IntegerField(help_text="How many logs became one's own; those of an open workshop will.")
    revision = serializers.IntegerField()
