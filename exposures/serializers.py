"""What the paper and log endpoints take and show."""

from typing import Any

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from exposures.services import Result
from optics.inputs import ReadingField
from optics.outputs import FlagOut, SaidTime, StripStepOut, number
from optics.questions import ExposureIndexField
from pinpool.http.fields import Duration, Identifier, Instant, Number, StrictSerializer, Text, YesNo
from pinpool.http.problems import impossible


class PaperIn(StrictSerializer):
    name = Text()
    family = Text(max_length=60, help_text="What it leans on while it has few logs, such as “graded paper”.")
    nominal_exposure_index = ExposureIndexField()
    note = Text(max_length=2000, required=False, default="", allow_blank=True)


class PaperOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    family = serializers.CharField()
    nominal_exposure_index = number()
    note = serializers.CharField()
    created_at = serializers.DateTimeField()
    revision = serializers.IntegerField()


#: Farther over or under than this, a print is black or white and says no more.
MOST_STOPS = 15.0


class ResultIn(StrictSerializer):
    """How it came out, one way: judged stops over (+) or under, the right time, or a density against its target."""

    judged_stops = Number(minimum=-MOST_STOPS, maximum=MOST_STOPS, required=False)
    right_time = Duration(required=False)
    density = Number(minimum=0.0, maximum=5.0, required=False)
    target = Number(minimum=0.0, maximum=5.0, required=False, help_text="The density aimed at.")
    gradient = Number(minimum=0.05, maximum=10.0, required=False, help_text="Density per log₁₀ exposure.")

    def to_internal_value(self, data: Any) -> Result:
        values = super().to_internal_value(data)
        ways = [name for name in ("judged_stops", "right_time", "density") if name in values]
        if len(ways) != 1:
            text = "Give judged_stops, right_time or density" + (", not several." if ways else ".")
            code = "ambiguous" if ways else "required"
            raise serializers.ValidationError({(ways or ["judged_stops"])[0]: [ErrorDetail(text, code)]})
        needs = {"target", "gradient"}
        if ways == ["density"]:
            faults = {k: [ErrorDetail("density needs it.", "required")] for k in needs - values.keys()}
        else:
            text = f"This does not go with {ways[0]}."
            faults = {k: [ErrorDetail(text, "unknown_key")] for k in needs & values.keys()}
        if faults:
            raise serializers.ValidationError(faults)
        if ways == ["right_time"]:
            return Result(dict(data), right_time_s=values["right_time"])
        if ways == ["judged_stops"]:
            return Result(dict(data), stops=values["judged_stops"])
        # stops = ΔD/(γ·log₁₀ 2), the gradient being density per tenfold exposure
        stops = (values["density"] - values["target"]) / (values["gradient"] * np.log10(2))
        if abs(stops) > MOST_STOPS:
            text = f"This makes {stops:+.0f} stops; at most {MOST_STOPS:g} can be told. Check density and gradient."
            raise serializers.ValidationError({"density": [impossible(text, "stops_out_of_range")]})
        return Result(dict(data), stops=stops)


class LogIn(StrictSerializer):
    id = Identifier(required=False, help_text="Choose one and sending this again is harmless.")
    camera = Text(max_length=12, help_text="Its code.")
    paper = Identifier()
    taken_at = Instant()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)
    exposure_time = Duration()
    result = ResultIn(required=False, allow_null=True, default=None)
    process = Text(max_length=2000, required=False, default="", allow_blank=True)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)
    shared = YesNo(required=False, default=False)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        return values | {"typed_reading": data["reading"], "typed_time": data["exposure_time"]}


class LogOut(serializers.Serializer):
    id = serializers.UUIDField()
    camera = serializers.CharField(source="spec.camera.code")
    spec = serializers.IntegerField(source="spec.number")
    paper = serializers.UUIDField(source="paper_id")
    member = serializers.CharField(source="member.get_username", default=None, allow_null=True)
    taken_at = serializers.DateTimeField()
    reading = serializers.JSONField(help_text="As written.")
    ev100 = number()
    filter_stops = number()
    f_number = number()
    exposure_index = number()
    indicated_time = SaidTime(source="indicated_time_s")
    exposure_time = SaidTime(source="exposure_time_s")
    result = serializers.JSONField(help_text="As written; null: not judged.")
    result_stops = number(allow_null=True, help_text="Stops over (+) or under.")
    process = serializers.CharField()
    note = serializers.CharField()
    shared = serializers.BooleanField()
    revision = serializers.IntegerField()


class PaperKnownOut(serializers.Serializer):
    """What the logs say of one paper."""

    paper = PaperOut()
    logs = serializers.IntegerField(source="estimate.logs")
    exposure_index = number(help_text="The index it really has, below 1 s.")
    exponent = number("estimate.exponent", help_text="Of the power law above 1 s; 1 = no failure.")
    exponent_error = number("estimate.exponent_error", help_text="One standard error.")
    residual_stops = number("estimate.residual_stops", allow_null=True, help_text="How much single logs scatter.")
    shortest = SaidTime(source="estimate.shortest_s", allow_null=True)
    longest = SaidTime(source="estimate.longest_s", allow_null=True)
    flags = FlagOut(many=True, source="estimate.flags")


class RecommendationIn(StrictSerializer):
    camera = Text(max_length=12, help_text="Its code.")
    paper = Identifier()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)


class IntervalOut(serializers.Serializer):
    low = SaidTime(source="low_s")
    high = SaidTime(source="high_s")


class RecommendationOut(serializers.Serializer):
    """The time to give, how sure it is, and why."""

    ev100 = number()
    indicated_time = SaidTime(source="indicated_time_s")
    exposure_time = SaidTime(source="exposure_time_s")
    interval = serializers.SerializerMethodField(help_text="Holds the right time nine times in ten; null without logs.")
    test_strip = serializers.ListField(child=SaidTime(), source="strip_totals_s")
    test_strip_plan = StripStepOut(many=True, source="test_strip")
    because = serializers.ListField(child=serializers.CharField())
    flags = FlagOut(many=True)

    def get_interval(self, found: Any) -> IntervalOut(allow_null=True):  # type: ignore[valid-type]
        return None if found.low_s is None else IntervalOut(found, context=self.context).data
