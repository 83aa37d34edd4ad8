"""What the paper and log endpoints take and show."""

from typing import Any

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from exposures.services import Result
from optics.core.faults import Impossible
from optics.core.reciprocity import TableLaw
from optics.inputs import Pairs, ReadingField, refuse
from optics.outputs import SaidTime, number
from optics.questions import ExposureIndexField
from pinpool.http.fields import Duration, Identifier, Instant, Number, StrictSerializer, Text, YesNo
from pinpool.http.problems import impossible


class PublishedIn(StrictSerializer):
    """A data sheet's reciprocity table, for film: it stands in until the club has logs of its own."""

    rows = Pairs(Duration(), help_text="Pairs of indicated and corrected time, both rising.")
    source = Text(max_length=300, help_text="Where it is printed: maker, sheet, edition, page.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        try:
            law = TableLaw(tuple((float(indicated), float(corrected)) for indicated, corrected in values["rows"]))
        except Impossible as fault:
            refuse(fault)
        return {
            "published_rows_s": [list(row) for row in law.rows],
            "published_typed": data["rows"],
            "published_source": values["source"],
        }


class PaperIn(StrictSerializer):
    name = Text()
    family = Text(max_length=60, help_text="What it leans on while it has few logs, such as “graded paper”.")
    nominal_exposure_index = ExposureIndexField()
    published = PublishedIn(required=False, allow_null=True, default=None)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        published = attrs.pop("published") or {}
        return attrs | published


class PublishedOut(serializers.Serializer):
    rows = serializers.ListField(child=serializers.ListField(child=SaidTime()), source="published_rows_s")
    source = serializers.CharField(source="published_source")


class PaperOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    family = serializers.CharField()
    catalogue_key = serializers.CharField(help_text="What other clubs know it by.")
    nominal_exposure_index = number()
    published = serializers.SerializerMethodField(help_text="A data sheet's reciprocity table; null without one.")
    note = serializers.CharField()
    created_at = serializers.DateTimeField()
    revision = serializers.IntegerField()

    def get_published(self, paper: Any) -> PublishedOut(allow_null=True):  # type: ignore[valid-type]
        return None if paper.published_rows_s is None else PublishedOut(paper, context=self.context).data


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
        return Result(dict(data), stops=stops, measured=True)


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
    grade = serializers.CharField(help_text="judged, bracketed or densitometer; empty where it was not judged.")
    process = serializers.CharField()
    note = serializers.CharField()
    shared = serializers.BooleanField()
    revision = serializers.IntegerField()


class RecommendationIn(StrictSerializer):
    camera = Text(max_length=12, help_text="Its code.")
    paper = Identifier()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)
