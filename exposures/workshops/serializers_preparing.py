"""What a leader may choose of a preparation, and what it shows."""

import re
from datetime import time
from typing import Any

from django.http import QueryDict
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction, OpenApiParameter
from rest_framework import serializers
from rest_framework.reverse import reverse

from clubs.models import IssuedSheet
from clubs.serializers_sheets import SheetOut
from clubs.sheets.blocks import PAGES_MM
from clubs.sheets.of_cameras import KINDS
from exposures.workshops.preparing import Asked
from optics.core.sheet_cuts import CAUTION, NAMED_SHEETS
from optics.outputs import Flagged, SaidTime, SheetCutsOut, number
from pinpool.http.fields import Duration, Length, Number, StrictSerializer, Whole

#: How often a pack has what is the same for every place.
OFTEN = ("once", "each", "none")


class ClockField(serializers.Field):
    """A time of day such as `09:30`."""

    def to_internal_value(self, data: Any) -> time:
        found = re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])", data) if isinstance(data, str) else None
        if found is None:
            raise serializers.ValidationError("Give a time of day such as 09:30.", "invalid")
        return time(int(found[1]), int(found[2]))

    def to_representation(self, value: time) -> str:
        return f"{value:%H:%M}"


class ClockSchema(OpenApiSerializerFieldExtension):
    target_class = ClockField

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:  # noqa: ARG002
        return {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"}


class PreparationIn(StrictSerializer):
    """What a leader chooses; what is left out follows from the workshop or from what is usual."""

    negatives_per_place = Whole(min_value=1, max_value=50, required=False, help_text="4 where left out.")
    spares = Whole(min_value=0, max_value=1000, required=False, help_text="Negatives besides; a tenth where left out.")
    sheet = serializers.ChoiceField(
        list(NAMED_SHEETS),
        required=False,
        help_text="What negatives are cut from; left out: the paper's size, or 8x10 in.",
    )
    starts = ClockField(required=False, help_text="When the day starts, such as 09:30; 10:00 where left out.")
    ev100 = Number(minimum=-10.0, maximum=20.0, required=False, help_text="The light to plan with; 13 where left out.")
    building = Duration(
        required=False, help_text="How long building a camera takes, such as 45 min; 1 h where left out."
    )
    capacity = Number(
        minimum=0.01,
        maximum=100.0,
        required=False,
        help_text="m² of paper that a litre of each bath is good for; left out: a table with its sources.",
    )
    together = Whole(min_value=1, max_value=100, required=False, help_text="Negatives in one load of a station; 1.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        names = {"building": "building_s", "capacity": "capacity_m2_per_l"}
        asked = {names.get(name, name): values.pop(name) for name in list(values) if name in PreparationIn().fields}
        return values | {"asked": Asked(**asked)}


class WorkshopSheetIn(PreparationIn):
    """What to print of a workshop; for a pack or a darkroom card also what its leader chooses."""

    kind = serializers.ChoiceField(
        ["workshop_pack", "darkroom_card", "exposure_cards"],
        help_text="workshop_pack: all of it, codes too; exposure_cards: one for each hole that is measured.",
    )
    page = serializers.ChoiceField(list(PAGES_MM), required=False, default="a4")

    def get_fields(self) -> dict[str, Any]:
        text = "In a pack, of the camera as designed: once for all, for each place, or not."
        often = {name: serializers.ChoiceField(OFTEN, required=False, default="once", help_text=text) for name in KINDS}
        return {**super().get_fields(), **often}


class WorkshopSheetOut(SheetOut):
    """The sheet that was issued."""

    def get_pdf(self, sheet: IssuedSheet) -> str:
        here = self.context["request"].resolver_match
        above = here.namespace.rpartition(":")[0]
        route = f"{above}:clubs:sheet_pdf" if above else "clubs:sheet_pdf"
        return reverse(route, kwargs={"club": here.kwargs["club"], "id": sheet.id}, request=self.context["request"])


#: The same keys as a query has them: names and what they are for.
PREPARATION_QUERY = {
    "negatives_per_place": OpenApiParameter("negatives_per_place", int, description="1 to 50; 4 where left out."),
    "spares": OpenApiParameter("spares", int, description="Negatives besides, 0 to 1000; a tenth where left out."),
    "sheet": OpenApiParameter(
        "sheet", str, enum=list(NAMED_SHEETS), description="What negatives are cut from; left out: the paper's size."
    ),
    "starts": OpenApiParameter("starts", str, description="When the day starts, such as 09:30; 10:00 where left out."),
    "ev100": OpenApiParameter("ev100", float, description="The light to plan with; 13 where left out."),
    "building": OpenApiParameter("building", str, description="Such as 45 min; 1 h where left out."),
    "capacity": OpenApiParameter("capacity", float, description="m² of paper that a litre of each bath is good for."),
    "together": OpenApiParameter("together", int, description="Negatives in one load of a station; 1 where left out."),
}


def asked_in(query: QueryDict) -> Asked:
    """A query read as the body of the same keys is: what looks like a number is one."""
    given = {name: _plain(name, str(query[name])) for name in PREPARATION_QUERY if name in query}
    bound = PreparationIn(data=given)
    bound.is_valid(raise_exception=True)
    asked: Asked = bound.validated_data["asked"]
    return asked


def _plain(name: str, text: str) -> Any:
    kind = PREPARATION_QUERY[name].type
    if kind is int and re.fullmatch(r"[0-9]{1,9}", text):
        return int(text)
    if kind is float and re.fullmatch(r"-?[0-9]{1,9}(\.[0-9]{1,9})?", text):
        return float(text)
    return text


class CutSizeOut(serializers.Serializer):
    width = Length()
    height = Length()

    def to_representation(self, size_mm: Any) -> Any:
        return super().to_representation({"width": size_mm[0], "height": size_mm[1]})


class SpanOut(serializers.Serializer):
    """At the quickest and at the slowest."""

    shortest = SaidTime()
    longest = SaidTime()

    def to_representation(self, span_s: Any) -> Any:
        return super().to_representation({"shortest": span_s[0], "longest": span_s[1]})


class PaperToBringOut(serializers.Serializer):
    """How many sheets, and how they are cut."""

    sheet = CutSizeOut(source="sheet_mm")
    negative = CutSizeOut(source="negative_mm")
    negatives_per_sheet = serializers.IntegerField(source="cuts.count")
    negatives = serializers.IntegerField()
    spares = serializers.IntegerField()
    sheets = serializers.IntegerField()
    sheets_short = serializers.IntegerField(allow_null=True, help_text="What the stock lacks; null: nobody counted it.")
    cuts = serializers.SerializerMethodField()

    def get_cuts(self, found: Any) -> SheetCutsOut():  # type: ignore[valid-type]
        shown = {**vars(found.cuts), "plan": found.cuts, "caution": CAUTION}
        return SheetCutsOut(shown, context=self.context).data


class ThingOut(serializers.Serializer):
    what = serializers.CharField()
    amount = serializers.CharField()
    text = serializers.CharField()


class MixOut(serializers.Serializer):
    """All fillings together, mixed."""

    dilution = serializers.CharField()
    concentrate_ml = Number()
    water_ml = Number()

    def to_representation(self, mix: Any) -> Any:
        return super().to_representation(dict(zip(("dilution", "concentrate_ml", "water_ml"), mix, strict=True)))


class BathOut(serializers.Serializer):
    bath = serializers.CharField(source="name")
    volume_ml = number(help_text="Of one filling at one station.")
    stations = serializers.IntegerField()
    good_for = serializers.IntegerField(help_text="Negatives that one filling of one station takes.")
    fillings = serializers.IntegerField()
    total_ml = number()
    mixes = MixOut(many=True, help_text="By each dilution that may be meant; empty: see the label.")
    capacity_m2_per_l = number()
    reference = serializers.CharField(source="source", help_text="Where the capacity is from.")


class StepOut(serializers.Serializer):
    step = serializers.CharField(source="name")
    shortest = SaidTime(source="time_s.low")
    longest = SaidTime(source="time_s.high")
    drain = SaidTime(source="drain_s")
    text = serializers.CharField(source="said")
    reference = serializers.CharField(source="time_s.source", help_text="Where the time is from.")


class QueueOut(serializers.Serializer):
    """How long negatives take through the baths, from the first in to the last out."""

    loads_per_station = serializers.IntegerField()
    each = SpanOut(source="each_s", help_text="One load by itself.")
    every = SpanOut(source="every_s", help_text="How often a station lets one out.")
    total = SpanOut(source="total_s")


class DarkroomOut(serializers.Serializer):
    steps = StepOut(many=True)
    baths = BathOut(many=True)
    queue = QueueOut(help_text="All negatives in one go.")
    round = QueueOut(source="round_queue", help_text="One negative of every place.")


class BlockOut(serializers.Serializer):
    what = serializers.CharField()
    starts = serializers.SerializerMethodField(help_text="By the clock where it is held.")
    ends = serializers.SerializerMethodField()
    lasts = SaidTime(source="lasts_s", help_text="As reckoned; blocks begin on full five minutes.")
    text = serializers.CharField()

    def get_starts(self, block: Any) -> str:
        return f"{block.starts:%Y-%m-%dT%H:%M}"

    def get_ends(self, block: Any) -> str:
        return f"{block.ends:%Y-%m-%dT%H:%M}"


class PreparationOut(Flagged):
    """What a leader prepares: what to bring, how to cut, how much chemistry, and the order of the day."""

    workshop = serializers.IntegerField(source="workshop.pk")
    places = serializers.IntegerField()
    negatives_per_place = serializers.IntegerField(source="asked.negatives_per_place")
    ev100 = number("asked.ev100")
    f_number = number(help_text="Of the hole as planned.")
    exposure_time = SaidTime(source="exposure_s", allow_null=True, help_text="null: none within a day can be told.")
    paper = PaperToBringOut(source="*")
    bring = ThingOut(many=True)
    darkroom = DarkroomOut(source="*")
    day = BlockOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())
