"""What the club endpoints take and show."""

from typing import Any

import numpy as np
from django.core.validators import RegexValidator
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from clubs.roles import ROLE_CHOICES
from optics.answers import measure
from optics.core.camera_plan import Hole
from optics.inputs import SUFFIXES, FilmPlaneField
from optics.outputs import length
from optics.questions import HoleReadingIn
from pinpool.http.fields import Day, Length, Number, StrictSerializer, Text, YesNo
from pinpool.http.problems import impossible
from pinpool.plugins.registry import contributions
from pinpool.quantities import quantity_out


class ClubIn(StrictSerializer):
    slug = Text(
        max_length=40,
        validators=[RegexValidator(r"^[a-z0-9]+(-[a-z0-9]+)*\Z", "Words of a–z and 0–9, joined by hyphens.")],
        help_text="Short name in addresses: a–z, 0–9, -.",
    )
    name = Text()


class ClubOut(serializers.Serializer):
    slug = serializers.CharField()
    name = serializers.CharField()
    created_at = serializers.DateTimeField()
    revision = serializers.IntegerField()


class MemberIn(StrictSerializer):
    username = Text(max_length=150)
    role = serializers.ChoiceField(ROLE_CHOICES)


class MemberOut(serializers.Serializer):
    id = serializers.IntegerField(help_text="Of the membership.")
    username = serializers.CharField(source="user.get_username")
    role = serializers.ChoiceField(ROLE_CHOICES)
    joined_at = serializers.DateTimeField()
    revision = serializers.IntegerField()


class MadeHoleIn(StrictSerializer):
    """A hole with how it was measured: a diameter, or the readings behind it."""

    diameter = Length(maximum=20.0, required=False)
    uncertainty = Length(maximum=20.0, minimum=0.0, required=False, help_text="One standard deviation.")
    readings = HoleReadingIn(many=True, allow_empty=False, max_length=100, required=False)
    plate_thickness = Length(maximum=20.0, minimum=0.0, required=False, default=0.0)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = [name for name in ("diameter", "readings") if name in attrs]
        if len(given) != 1:
            text = "Give the diameter, or the readings it came from" + (", not both." if given else ".")
            raise serializers.ValidationError({"diameter": [ErrorDetail(text, "ambiguous" if given else "required")]})
        if "readings" not in attrs:
            hole = Hole(attrs["diameter"], attrs.get("uncertainty", 0.0), attrs["plate_thickness"])
            return {"hole": hole, "measured_by": "given"}
        if "uncertainty" in attrs:
            text = "The readings carry their own uncertainty."
            raise serializers.ValidationError({"uncertainty": [ErrorDetail(text, "unknown_key")]})
        found = measure(attrs["readings"])
        ways = {reading["way"] for reading in attrs["readings"]}
        measured_by = {"holes_across": "counted", "pixels": "scanned", "diameter": "given"}[ways.pop()]
        hole = Hole(found.diameter_mm, found.uncertainty_mm, attrs["plate_thickness"])
        return {"hole": hole, "measured_by": "several" if ways else measured_by}


class SpecIn(StrictSerializer):
    """What a camera is."""

    film_plane = FilmPlaneField()
    hole = MadeHoleIn()
    focal_length = Length(required=False, help_text="Nominal; left out: half of shortest + longest.")
    reason = Text(max_length=300, required=False, default="")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        attrs = super().to_internal_value(data)
        made, focal_length = attrs["hole"], attrs.get("focal_length") or attrs["film_plane"].mean_mm
        f_number = focal_length / made["hole"].diameter_mm
        if not 1 <= f_number <= 100_000:
            diameter = made["hole"].diameter_mm
            text = f"f/{f_number:.3g} is no pinhole camera; check the hole ({diameter:g} mm) and its distance."
            raise serializers.ValidationError({"hole": [impossible(text, "f_number_range")]})
        typed = {key: value for key, value in data.items() if key != "reason"}
        return {
            "film_plane": attrs["film_plane"],
            "hole": made["hole"],
            "hole_measured_by": made["measured_by"],
            "focal_length": focal_length,
            "reason": attrs["reason"],
            "typed": typed,
        }


class CameraIn(StrictSerializer):
    code = Text(
        max_length=12,
        validators=[RegexValidator(r"^[A-Za-z0-9-]{2,12}\Z", "2 to 12 of A–Z, 0–9 and -.")],
        required=False,
        help_text="Left out: one is drawn that is easy to read aloud.",
    )
    name = Text()
    club_owned = YesNo(required=False, default=False)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)
    spec = SpecIn()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return attrs | {"code": attrs["code"].upper()} if "code" in attrs else attrs


class CameraChangeIn(StrictSerializer):
    """Only what is to be changed."""

    name = Text(required=False)
    note = Text(max_length=2000, required=False, allow_blank=True)
    owner = Text(max_length=150, required=False, allow_null=True, help_text="A member's user name; null: the club.")
    retired = YesNo(required=False, help_text="true: kept for its history; false: back in use.")


class LoanIn(StrictSerializer):
    to = Text(max_length=150, help_text="A member's user name.")
    until = Day(help_text="The last day of the loan.")


class StoredFilmPlane(serializers.Field):
    """A stored film plane in the form in which one is posted."""

    def to_representation(self, value: dict[str, Any]) -> dict[str, Any]:
        lengths = self.context.get("lengths", "mm")

        def shown(size: Any, kind: str) -> Any:
            if kind == "points":
                return [[shown(part, "length") for part in pair] for pair in size]
            if kind == "angle":
                return quantity_out(float(np.rad2deg(size)), kind)
            return size if kind in {"number", "text"} else quantity_out(size, kind, lengths=lengths)

        contribution = contributions("film_planes").get(value["kind"])
        parameters = contribution.parameters if contribution else ()
        offset = {"x": value["hole_offset_x_mm"], "y": value["hole_offset_y_mm"]}
        return {
            "kind": value["kind"],
            "height": shown(value["height_mm"], "length"),
            **{p.name: shown(value[p.name + SUFFIXES.get(p.kind, "")], p.kind) for p in parameters},
            "hole_offset": {key: shown(size, "length") for key, size in offset.items()},
        }


class MadeHoleOut(serializers.Serializer):
    diameter = length("hole_diameter_mm")
    uncertainty = length("hole_uncertainty_mm", help_text="One standard deviation; 0 where nobody said.")
    plate_thickness = length("plate_thickness_mm")
    measured_by = serializers.CharField(source="hole_measured_by")


class SpecOut(serializers.Serializer):
    number = serializers.IntegerField()
    film_plane = StoredFilmPlane()
    hole = MadeHoleOut(source="*")
    focal_length = length("focal_length_mm")
    f_number = Number()
    typed = serializers.JSONField(help_text="What the author wrote, as they wrote it.")
    reason = serializers.CharField()
    author = serializers.CharField(source="author.get_username", default=None, allow_null=True)
    created_at = serializers.DateTimeField()


class LoanOut(serializers.Serializer):
    to = serializers.CharField(
        source="to.get_username", default=None, allow_null=True, help_text="null: a former member."
    )
    until = serializers.DateField()


class CameraOut(serializers.Serializer):
    code = serializers.CharField()
    name = serializers.CharField()
    owner = serializers.CharField(
        source="owner.get_username", default=None, allow_null=True, help_text="null: the club owns it."
    )
    note = serializers.CharField()
    loan = LoanOut(allow_null=True, help_text="null: it is not lent.")
    registered_at = serializers.DateTimeField()
    retired_at = serializers.DateTimeField(allow_null=True, help_text="null: it is in use.")
    revision = serializers.IntegerField()
    spec = SpecOut(help_text="The spec in force.")


class TrailOut(serializers.Serializer):
    """Who changed what, when, from what to what."""

    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    actor = serializers.CharField(source="actor_name", help_text="The user name of that day.")
    action = serializers.CharField()
    subject = serializers.CharField()
    before = serializers.JSONField(allow_null=True, help_text="What it was, of what changed; null: it is new.")
    after = serializers.JSONField(allow_null=True, help_text="What it became; null: it is gone.")
