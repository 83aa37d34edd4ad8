"""What the paper and log endpoints take and show."""

import uuid
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from clubs.models import NAMELESS
from exposures.bulk import MOST_AT_ONCE
from exposures.processes import ProcessField, ProcessOut, process_out
from exposures.serializers_published import NOTHING_PUBLISHED, PublishedIn, PublishedOut
from exposures.services import Result
from optics.inputs import ReadingField, SheetField
from optics.outputs import SaidTime, number, said_time
from optics.questions import ExposureIndexField
from pinpool.http.fields import (
    Day,
    Duration,
    Identifier,
    Instant,
    Length,
    Moment,
    Number,
    QuantityField,
    StrictSerializer,
    Text,
    Whole,
    YesNo,
)
from pinpool.http.problems import impossible
from pinpool.http.rows import USERNAME, Columns
from pinpool.http.schema import FaultOut
from pinpool.quantities import quantity_out

VISIBILITIES = ("private", "club", "shared")


class PaperIn(StrictSerializer):
    name = Text()
    family = Text(max_length=60, help_text="What it leans on while it has few logs, such as “graded paper”.")
    nominal_exposure_index = ExposureIndexField()
    published = PublishedIn(required=False, allow_null=True)
    size = SheetField(required=False, allow_null=True, help_text="Of a sheet, by name or by width and height.")
    batch = Text(max_length=60, required=False, allow_blank=True)
    expires_on = Day(required=False, allow_null=True)
    sheets_left = Whole(min_value=0, max_value=1_000_000, required=False, allow_null=True)
    note = Text(max_length=2000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        columns = dict(attrs)
        if "published" in attrs:
            columns |= columns.pop("published") or NOTHING_PUBLISHED
        if "size" in attrs:
            columns["width_mm"], columns["height_mm"] = columns.pop("size") or (None, None)
        return columns


class PaperChange(PaperIn):
    """What is to change of a stock; what is left out stays."""

    retired = YesNo(required=False, help_text="Out of use; its history stays.")

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        for field in fields.values():
            field.required = False
        return fields


class SizeOut(serializers.Serializer):
    width = Length()
    height = Length()


class PaperOut(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    family = serializers.CharField()
    catalogue_key = serializers.CharField(help_text="What other clubs know it by.")
    nominal_exposure_index = number()
    published = serializers.SerializerMethodField(help_text="What a data sheet says of its times; null without one.")
    size = SizeOut(allow_null=True, help_text="Of a sheet; null where nobody said.")
    batch = serializers.CharField()
    expires_on = Day(allow_null=True)
    sheets_left = serializers.IntegerField(allow_null=True)
    retired_at = Moment(allow_null=True, help_text="Since when it is out of use; null while in use.")
    note = serializers.CharField()
    created_at = Moment()
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


class PlaceIn(StrictSerializer):
    """Where it was taken, for the weather and the sun; rounded to 0.1° (some 10 km) before anything else."""

    latitude = QuantityField("angle", minimum=-90.0, maximum=90.0, help_text="North positive.")
    longitude = QuantityField("angle", minimum=-180.0, maximum=180.0, help_text="East positive.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {f"place_{name}": Decimal(f"{degrees:.1f}") for name, degrees in attrs.items()}


class LogIn(StrictSerializer):
    id = Identifier(required=False, help_text="Choose one and sending this again is harmless.")
    camera = Text(max_length=12, help_text="Its code.")
    paper = Identifier()
    taken_at = Instant()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)
    exposure_time = Duration()
    result = ResultIn(required=False, allow_null=True, default=None)
    process = ProcessField(required=False, allow_null=True, default=None)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)
    place = PlaceIn(required=False, allow_null=True, default=None)
    visibility = serializers.ChoiceField(VISIBILITIES, required=False, help_text="Left out: club.")
    shared = YesNo(required=False, help_text="true: the same as the visibility “shared”.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        shared = values.pop("shared", None)
        visibility = values.pop("visibility", "shared" if shared else "club")
        if shared is not None and shared != (visibility == "shared"):
            text = f"“shared” is {str(shared).lower()}, which contradicts the visibility “{visibility}”; give one."
            raise serializers.ValidationError({"visibility": [ErrorDetail(text, "contradiction")]})
        place = values.pop("place") or {}
        seen = {"shared": visibility == "shared", "private": visibility == "private"}
        return values | place | seen | {"typed_reading": data["reading"], "typed_time": data["exposure_time"]}


class CorrectionIn(LogIn):
    """The whole entry as it should have been, and why."""

    reason = Text(max_length=300)


class LogsIn(serializers.ListSerializer):
    """Entries of a log, each read by itself: one with faults stands as its `ValidationError` among the others."""

    child = LogIn()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"max_length": MOST_AT_ONCE, "allow_empty": False} | kwargs)

    def run_child_validation(self, data: Any) -> Any:
        try:
            return super().run_child_validation(data)
        except serializers.ValidationError as faults:
            return faults


class PlaceOut(serializers.Serializer):
    latitude = QuantityField("angle")
    longitude = QuantityField("angle")


class PictureIn(StrictSerializer):
    """A form with a file."""

    image = serializers.FileField(
        help_text="JPEG, PNG, TIFF or WebP; encoded anew, so that no notes and no place stay in it.", use_url=False
    )


class PictureOut(serializers.Serializer):
    """A picture of the negative or print; the JPEG itself is at `picture/image/` below the entry."""

    width_pixels = serializers.IntegerField()
    height_pixels = serializers.IntegerField()
    added_at = Moment()


class LogRow(NamedTuple):
    """What is shown of an entry of the log, as it is stored."""

    number: int
    id: uuid.UUID
    camera: str
    spec: int
    paper: uuid.UUID
    member: str | None
    person_id: int | None
    person: str | None
    taken_at: str
    reading: Any
    ev100: float
    filter_stops: float
    f_number: float
    exposure_index: float
    indicated_time_s: float
    exposure_time_s: float
    result: Any
    result_stops: float | None
    grade: str
    process: dict[str, Any] | None
    note: str
    place_latitude: Decimal | None
    place_longitude: Decimal | None
    shared: bool
    private: bool
    corrects: uuid.UUID | None
    corrected_by: uuid.UUID | None
    reason: str
    picture_width: int | None
    picture_height: int | None
    picture_added_at: str | None
    revision: int


LOG = Columns(
    LogRow,
    {
        "camera": "spec__camera__code",
        "spec": "spec__number",
        "paper": "paper_id",
        "member": f"member__{USERNAME}",
        "person": "person__name",
        "corrects": "corrects__id",
        "corrected_by": "corrected_by__id",
        "picture_width": "picture__width_pixels",
        "picture_height": "picture__height_pixels",
        "picture_added_at": "picture__added_at",
    },
    parsed=("process",),
    written=("reading", "result"),
    moments=("taken_at", "picture_added_at"),
)


class LogOut(serializers.Serializer):
    id = serializers.UUIDField()
    camera = serializers.CharField()
    spec = serializers.IntegerField()
    paper = serializers.UUIDField()
    member = serializers.CharField(
        allow_null=True,
        help_text="The user name, or what somebody without an account is called; null: a former member.",
    )
    without_account = serializers.BooleanField(
        help_text="Logged for somebody who has no account here, though an account may go by the same name."
    )
    taken_at = Moment()
    reading = serializers.JSONField(help_text="As written.")
    ev100 = number()
    filter_stops = number()
    f_number = number()
    exposure_index = number()
    indicated_time = SaidTime()
    exposure_time = SaidTime()
    result = serializers.JSONField(help_text="As written; null: not judged.")
    result_stops = number(allow_null=True, help_text="Stops over (+) or under.")
    grade = serializers.CharField(help_text="judged, bracketed or densitometer; empty where it was not judged.")
    process = ProcessOut(allow_null=True)
    note = serializers.CharField()
    place = PlaceOut(allow_null=True, help_text="To 0.1°; null where nobody said.")
    visibility = serializers.ChoiceField(VISIBILITIES)
    shared = serializers.BooleanField()
    corrects = serializers.UUIDField(
        default=None, allow_null=True, help_text="The entry that this one is a correction of."
    )
    corrected_by = serializers.UUIDField(default=None, allow_null=True, help_text="The entry that counts in its place.")
    reason = serializers.CharField(help_text="Why it was corrected.")
    picture = PictureOut(default=None, allow_null=True)
    revision = serializers.IntegerField()

    def to_representation(self, log: Any) -> dict[str, Any]:
        """Of a `LogRow` or a model instance."""
        row: LogRow = LOG.row_of(log)
        return {
            "id": str(row.id),
            "camera": row.camera,
            "spec": row.spec,
            "paper": str(row.paper),
            "member": row.member if row.person_id is None else row.person or NAMELESS,
            "without_account": row.person_id is not None,
            "taken_at": row.taken_at,
            "reading": row.reading,
            "ev100": row.ev100,
            "filter_stops": row.filter_stops,
            "f_number": row.f_number,
            "exposure_index": row.exposure_index,
            "indicated_time": said_time(row.indicated_time_s),
            "exposure_time": said_time(row.exposure_time_s),
            "result": row.result,
            "result_stops": row.result_stops,
            "grade": row.grade,
            "process": row.process and process_out(row.process),
            "note": row.note,
            "place": place_out(row.place_latitude, row.place_longitude),
            "visibility": "private" if row.private else "shared" if row.shared else "club",
            "shared": row.shared,
            "corrects": row.corrects and str(row.corrects),
            "corrected_by": row.corrected_by and str(row.corrected_by),
            "reason": row.reason,
            "picture": row.picture_added_at
            and {
                "width_pixels": row.picture_width,
                "height_pixels": row.picture_height,
                "added_at": row.picture_added_at,
            },
            "revision": row.revision,
        }


def place_out(latitude: Decimal | None, longitude: Decimal | None) -> dict[str, Any] | None:
    """Where it was taken, as `PlaceOut` declares it."""
    if latitude is None or longitude is None:
        return None
    return {"latitude": quantity_out(float(latitude), "angle"), "longitude": quantity_out(float(longitude), "angle")}


class OutcomeOut(serializers.Serializer):
    """What came of one of many entries."""

    outcome = serializers.ChoiceField(["created", "known", "refused"], help_text="known: it was stored before.")
    id = serializers.UUIDField(allow_null=True)
    errors = FaultOut(many=True, help_text="Why it was refused; pointers begin with its place in the list.")


class OutcomesOut(serializers.Serializer):
    """What came of each entry, in the order in which they were sent."""

    created = serializers.IntegerField()
    known = serializers.IntegerField()
    refused = serializers.IntegerField()
    results = OutcomeOut(many=True)


class RecommendationIn(StrictSerializer):
    camera = Text(max_length=12, help_text="Its code.")
    paper = Identifier()
    reading = ReadingField()
    filter_stops = Number(minimum=0.0, maximum=30.0, required=False, default=0.0)
