"""What the endpoints of a workshop take and show inside the club."""

from typing import Any

from rest_framework import serializers

from clubs.serializers_specs import MadeHoleOut, hole_out
from exposures.processes import ProcessField, ProcessOut
from exposures.workshops.codes import shown_code
from exposures.workshops.holes import plate_thickness_mm
from exposures.workshops.models import Place
from optics.outputs import SaidTime, number
from pinpool.conf import setting
from pinpool.http.fields import Day, Identifier, Moment, Number, StrictSerializer, Text, Whole

#: The roles in which a claim code may let somebody join: neither leads nor keeps.
JOINS_AS = ("guest", "member")


class WorkshopIn(StrictSerializer):
    name = Text()
    held_on = Day()
    design = Whole(min_value=1, help_text="The id of the design that every place builds by.")
    paper = Identifier(help_text="The id of the paper that is exposed.")
    places = Whole(min_value=1, max_value=setting("MAX_WORKSHOP_PLACES"), help_text="How many; each gets a claim code.")
    process = ProcessField(required=False, allow_null=True, default=None, help_text="How the negatives are developed.")
    stations = Whole(
        min_value=1, max_value=100, required=False, default=1, help_text="Trays or tanks worked side by side."
    )
    note = Text(max_length=2000, required=False, default="", allow_blank=True)


class WorkshopChangeIn(WorkshopIn):
    """What is to change; what is left out stays. `places` is how many there then are."""

    joins_as = serializers.ChoiceField(
        JOINS_AS,
        required=False,
        allow_null=True,
        help_text="The role in which whoever has a claim code may join the club; null: none. A keeper's to say.",
    )

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        for field in fields.values():
            field.required, field.default = False, serializers.empty
        return fields

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return attrs | ({"joins_as": attrs["joins_as"] or ""} if "joins_as" in attrs else {})


class NamedDesignOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()


class NamedPaperOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()


class WorkshopOut(serializers.Serializer):
    """A workshop, without the codes of its places."""

    number = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    held_on = Day()
    design = NamedDesignOut()
    paper = NamedPaperOut()
    places = serializers.IntegerField(source="places_count")
    process = ProcessOut(allow_null=True)
    stations = serializers.IntegerField()
    note = serializers.CharField()
    joins_as = serializers.SerializerMethodField(help_text="null: a claim code lets nobody join the club.")
    leader = serializers.CharField(source="leader.get_username", default=None, allow_null=True)
    created_at = Moment()
    closed_at = Moment(allow_null=True, help_text="null: it is open.")
    revision = serializers.IntegerField()

    def get_joins_as(self, workshop: Any) -> serializers.ChoiceField(JOINS_AS, allow_null=True):  # type: ignore[valid-type]
        return workshop.joins_as or None


class BesidePlanOut(serializers.Serializer):
    """A measured hole against the planned one."""

    off_stops = number(help_text="Of light; positive: it lets in more.")
    uncertainty_stops = number(help_text="One standard deviation.")
    far_off = serializers.BooleanField(
        help_text="By more than a third of a stop and more than two of its own standard deviations."
    )
    line_pairs = number(help_text="Resolved across times down the negative, to a contrast of 0.1.")
    planned_line_pairs = number()
    sharpness_share = number(allow_null=True, help_text="The one over the other.")
    text = serializers.CharField()


def f_number_shown(place: Place) -> float | None:
    """By the measured hole."""
    diameter = place.hole_diameter_mm
    return None if diameter is None else place.workshop.design.focal_length_mm / diameter


class WithHole(serializers.Serializer):
    """The hole of a place and the f-number that it makes, as far as it is measured."""

    hole = serializers.SerializerMethodField(help_text="null until it is measured.")
    f_number = serializers.SerializerMethodField(help_text="null until the hole is measured.")
    f_number_uncertainty = serializers.SerializerMethodField(help_text="One standard deviation.")

    def get_hole(self, place: Place) -> MadeHoleOut(allow_null=True):  # type: ignore[valid-type]
        if place.hole_diameter_mm is None:
            return None
        return hole_out(place, plate_thickness_mm(place), self.context.get("lengths", "mm"))

    def get_f_number(self, place: Place) -> Number(allow_null=True):  # type: ignore[valid-type]
        return f_number_shown(place)

    def get_f_number_uncertainty(self, place: Place) -> Number(allow_null=True):  # type: ignore[valid-type]
        found, diameter = f_number_shown(place), place.hole_diameter_mm
        return None if found is None or diameter is None else found * (place.hole_uncertainty_mm or 0.0) / diameter


class WorkshopPlaceOut(WithHole):
    """A place as whoever leads the workshop sees it."""

    number = serializers.IntegerField()
    code = serializers.SerializerMethodField(help_text="The claim code; null while it is withdrawn.")
    withdrawn_at = Moment(allow_null=True)
    name = serializers.CharField(help_text="What the participant wants to be called; may be empty.")
    opened_at = Moment(allow_null=True, help_text="When its code was first used; null: not yet.")
    measured_at = Moment(allow_null=True)
    beside_plan = serializers.SerializerMethodField(help_text="null until the hole is measured.")
    exposures = serializers.IntegerField(source="exposures_count")
    claimed_by = serializers.CharField(source="user.get_username", default=None, allow_null=True)
    camera = serializers.CharField(
        source="camera.code", default=None, allow_null=True, help_text="Its code, once the workshop is closed."
    )
    revision = serializers.IntegerField()

    def get_code(self, place: Place) -> serializers.CharField(allow_null=True):  # type: ignore[valid-type]
        return None if place.withdrawn_at else shown_code(place.code)

    def get_beside_plan(self, place: Any) -> BesidePlanOut(allow_null=True):  # type: ignore[valid-type]
        found = place.beside_plan
        return None if found is None else BesidePlanOut(found, context=self.context).data


class PlaceExposureOut(serializers.Serializer):
    """An exposure noted at a place; closing the workshop puts it into the club's log under the same id."""

    id = serializers.UUIDField()
    taken_at = serializers.CharField(source="facts.taken_at")
    reading = serializers.JSONField(source="typed.reading", help_text="As written.")
    ev100 = number("facts.ev100")
    filter_stops = number("facts.filter_stops")
    exposure_time = SaidTime(source="facts.exposure_time_s")
    result = serializers.JSONField(source="facts.result.typed", default=None, help_text="As written; null: not judged.")
    result_stops = number("facts.result.stops", default=None, allow_null=True, help_text="Stops over (+) or under.")
    note = serializers.CharField(source="facts.note")
    created_at = Moment()
    revision = serializers.IntegerField()


class PlaceResultOut(serializers.Serializer):
    """An exposure of a place beside what the club would have given there."""

    place = serializers.IntegerField(source="entry.place.number")
    name = serializers.CharField(source="entry.place.name")
    exposure = PlaceExposureOut(source="entry")
    f_number = number(help_text="By the hole as measured, or as planned where it is not.")
    indicated_time = SaidTime(source="indicated_s")
    recommended_time = SaidTime(
        source="recommended_s",
        allow_null=True,
        help_text="By the club's logs of the paper, at this f-number and reading; null: they contradict each other.",
    )
    given_stops = number(allow_null=True, help_text="What the time given does more (+) or less than that one.")
    off_stops = number(allow_null=True, help_text="How far the result is over (+) or under even so; null: not judged.")


class CameraMadeOut(serializers.Serializer):
    """What became of a place."""

    place = serializers.IntegerField(source="number")
    code = serializers.CharField(source="camera.code")
    name = serializers.CharField(source="camera.name")
    owner = serializers.CharField(
        source="camera.owner.get_username", default=None, allow_null=True, help_text="null: the club owns it."
    )


class ClosedOut(serializers.Serializer):
    """What came of a workshop."""

    number = serializers.IntegerField(source="workshop.pk")
    closed_at = Moment(source="workshop.closed_at")
    cameras = CameraMadeOut(source="places", many=True)
    exposures = serializers.IntegerField(help_text="How many were logged.")
    revision = serializers.IntegerField()
