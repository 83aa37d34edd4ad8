"""What the optics endpoints show. One class a result; units go back on here."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from rest_framework import serializers

from optics.core.say import say_in, say_time
from optics.core.section_svg import section_svg
from optics.core.sheet_cuts_svg import sheet_cuts_svg
from pinpool.http.fields import Length, Number, Numbers, QuantityField, ShownSerializer
from pinpool.quantities import quantity_out


class SaidTime(QuantityField):
    """A time with, beside it, the words a person reads."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("time", **kwargs)

    def to_representation(self, value: float) -> dict[str, Any] | None:
        return said_time(value) if math.isfinite(value) else None


def said_time(time_s: float) -> dict[str, Any]:
    """A time with the words for it, as a `SaidTime` shows it."""
    return {**quantity_out(time_s, "time"), "text": say_time(float(time_s))}


class Angle(QuantityField):
    """An angle kept in radians, shown in degrees."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("angle", **kwargs)

    def to_representation(self, value: float) -> dict[str, Any]:
        return quantity_out(float(np.rad2deg(value)), "angle")


def length(source: str, **kwargs: Any) -> Length:
    return Length(source=source, **kwargs)


def number(source: str | None = None, **kwargs: Any) -> Number:
    return Number(source=source, **kwargs) if source else Number(**kwargs)


class Said(serializers.CharField):
    """A text of ours, its lengths in the unit the caller asked for."""

    def to_representation(self, value: str) -> str:
        return say_in(value, self.context.get("lengths", "mm"))


class FlagOut(ShownSerializer):
    code = serializers.CharField(help_text="Stable, for programs.")
    text = Said(help_text="A sentence that quotes the figure.")


class Flagged(ShownSerializer):
    flags = FlagOut(many=True, help_text="Reasons to doubt this answer.")


class DistanceOut(ShownSerializer):
    shortest = length("shortest_mm")
    longest = length("longest_mm")
    mean = length("mean_mm", help_text="Half of shortest + longest: the trade's focal length for curved film.")
    axis = length("axis_distance_mm", help_text="Along the hole's axis.")


class NegativeOut(ShownSerializer):
    width = length("length_mm")
    height = length("height_mm")


class FieldOfViewOut(ShownSerializer):
    horizontal = Angle(source="horizontal_rad")
    vertical = Angle(source="vertical_rad")
    diagonal = Angle(source="diagonal_rad")


class FilmPlaneOut(ShownSerializer):
    """How the film lies."""

    shape = serializers.CharField(source="profile.shape", help_text="How the film lies, in a word.")
    distance = DistanceOut(source="*")
    negative = NegativeOut(source="*", help_text="Laid flat.")
    field_of_view = FieldOfViewOut()


class Drawn(serializers.CharField):
    """A drawing of what stands there as SVG by `draw`, its figures in the unit the caller asked for."""

    def __init__(self, draw: Callable[..., str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.draw = draw

    def to_representation(self, value: Any) -> str:
        return self.draw(value, lengths=self.context.get("lengths", "mm"))


class Section(Drawn):
    """A film plane drawn to scale from above."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(section_svg, help_text="The film plane's section as SVG, seen from above, to scale.", **kwargs)


class DrawnFilmPlaneOut(FilmPlaneOut):
    """How the film lies, with a drawing."""

    svg = Section(source="*")


class RuleDiameterOut(ShownSerializer):
    rule = serializers.CharField(source="rule.name")
    diameter = length("diameter_mm")
    f_number = number()
    source = serializers.CharField(source="rule.source")


class DrillOut(ShownSerializer):
    number = serializers.IntegerField(source="drill", help_text="Number drill, ASME B94.11M.")
    diameter = length("drill_mm")


class HoleChoiceOut(Flagged):
    """Every rule's hole; they differ because they ask different things of the picture."""

    rules = RuleDiameterOut(many=True)
    chosen = RuleDiameterOut()
    nearest_drill = DrillOut(source="*")


class FNumberOut(ShownSerializer):
    """An f-number and how well it is known."""

    f_number = number()
    f_number_uncertainty = number(help_text="One standard deviation.")
    uncertainty_stops = number(help_text="One standard deviation.")
    nearest_third_stop = number(help_text="The nominal f-number nearest by thirds of a stop.")
    stops_from_f22 = number(
        help_text="Against the exact f/22.627 that a meter's f/22 stands for; negative = less light."
    )


class HoleMeasurementOut(Flagged):
    """The hole that was really made."""

    diameter = length("diameter_mm", help_text="Of equal area.")
    uncertainty = length("uncertainty_mm", help_text="One standard deviation.")
    roundness_share = number(allow_null=True, help_text="Narrow way / wide way; null for readings one way only.")


class RankedTryOut(ShownSerializer):
    label = serializers.CharField()
    measurement = HoleMeasurementOut()
    off_target_stops = number(help_text="Positive: lets in more light than the target.")


class AdvisedOut(ShownSerializer):
    """What to do with a hole as measured."""

    target = length("target_mm", allow_null=True, help_text="The diameter it was held against: asked for, or a rule's.")
    advice = FlagOut(
        many=True, help_text="First go_on, leave_it, measure_again or start_again; then why, then the caution."
    )


class MeasuredOut(HoleMeasurementOut, AdvisedOut):
    """One hole from its readings, or several tries ranked, the best first."""

    diameter = length("diameter_mm", required=False)
    uncertainty = length("uncertainty_mm", required=False)
    f_number = FNumberOut(required=False, help_text="Where a focal length was given.")
    ranking = RankedTryOut(many=True, required=False)


class BalanceOut(ShownSerializer):
    used_share = number()
    focal_length = length("focal_length_mm")
    f_number = number()
    error_stops = number(help_text="The brightest point is this much over, the darkest this much under.")
    within_one_stop_share = number(help_text="Of the whole negative, exposed for this f-number.")


class TradeOut(ShownSerializer):
    """The trade's rule, half of shortest + longest, and what it costs at both ends."""

    focal_length = length("trade_focal_length_mm")
    f_number = number("trade_f_number")
    brightest_stops = number("trade_brightest_stops")
    darkest_stops = number("trade_darkest_stops", allow_null=True)


#: What the map of the light is.
MAP_HELP = "The film laid flat as SVG, with a line and its figure at every half or whole stop."


class LightSummaryOut(Flagged):
    """How uneven the light is, all stops against the film point on the hole's axis."""

    brightest_stops = number()
    darkest_stops = number(allow_null=True, help_text="null: no light at all.")
    distance_only_darkest_stops = number(help_text="What distances alone would predict.")
    balanced = BalanceOut(allow_null=True, help_text="null where part of the used region gets no light.")
    by_used_share = BalanceOut(many=True, help_text="The balance for smaller middle parts, as far as it exists.")
    trade = TradeOut(source="*")
    within_one_stop_share = number(help_text="Share of the negative within one stop of the axis point.")


class IlluminationOut(LightSummaryOut):
    """The light over the laid-flat negative."""

    x = Numbers(source="x_mm", help_text="Columns, mm from the negative's middle.")
    y = Numbers(source="y_mm", help_text="Rows, mm from the negative's middle.")
    stops = Numbers(dimensions=2, help_text="One list a row; null = no light.")
    svg = serializers.CharField(help_text=MAP_HELP)


class TimeAtOut(ShownSerializer):
    f_number = number()
    time = SaidTime(source="time_s")


class LightOut(ShownSerializer):
    """One light on every scale."""

    ev100 = number()
    illuminance = QuantityField("illuminance", source="illuminance_lx")
    luminance = QuantityField("luminance", source="luminance_cd_m2")
    times = TimeAtOut(many=True, help_text="At ISO 100.")


class StripStepOut(ShownSerializer):
    strip = serializers.IntegerField()
    stops = number(help_text="Effect against the planned exposure.")
    uncover = SaidTime(source="uncover_s", help_text="Give this much more, then cover this strip.")
    total = SaidTime(source="total_s", help_text="What this strip has had by then.")


class ExposureOut(Flagged):
    """What to give."""

    ev100 = number()
    indicated_time = SaidTime(source="indicated_time_s")
    exposure_time = SaidTime(source="exposure_time_s")
    reciprocity_stops = number(help_text="The price of the long time.")
    test_strip = serializers.ListField(
        child=SaidTime(), source="strip_totals_s", help_text="Total times, shortest first."
    )
    test_strip_plan = StripStepOut(many=True, source="test_strip", help_text="As a cover-up sequence.")


class TableRowOut(ShownSerializer):
    ev100 = number()
    indicated_time = SaidTime(source="indicated_time_s")
    exposure_time = SaidTime(source="exposure_time_s")


class ExposureTableOut(ShownSerializer):
    rows = TableRowOut(many=True)


class PieceOut(ShownSerializer):
    x = Length(source="x_mm")
    y = Length(source="y_mm")
    width = length("width_mm")
    height = length("height_mm")
    turned = serializers.BooleanField()


class CutOut(ShownSerializer):
    step = serializers.IntegerField()
    x1 = length("x1_mm")
    y1 = length("y1_mm")
    x2 = length("x2_mm")
    y2 = length("y2_mm")
    text = Said()


class SheetCutsOut(Flagged):
    """The layout with most pieces, and the cuts in order."""

    count = serializers.IntegerField()
    optimal = serializers.BooleanField(help_text="Whether no guillotine layout gives more.")
    waste_share = number()
    pieces = PieceOut(many=True)
    cuts = CutOut(many=True)
    svg = Drawn(sheet_cuts_svg, source="plan", help_text="To scale, in mm.")
    caution = serializers.CharField()


class OpeningOut(ShownSerializer):
    """The opening in the wall that clips nothing."""

    width = length("width_mm")
    height = length("height_mm")
    clear_angle = Angle(source="clear_angle_rad", help_text="Twice the widest angle off the axis that must pass.")


class OpeningCheckOut(ShownSerializer):
    """What a given opening does."""

    clears = serializers.BooleanField()
    clipped_share = number(help_text="Of the negative's area that loses some light to the wall.")
    dark_share = number(help_text="Of the negative's area that loses all of it.")
    clear_width = length("clear_width_mm", help_text="Of the middle row that loses nothing.")
    clear_height = length("clear_height_mm", help_text="Of the axis's column that loses nothing.")
    corner_stops = number(allow_null=True, help_text="What is left in the worst corner; null = nothing.")


class WallOpeningOut(OpeningOut):
    check = OpeningCheckOut(required=False, help_text="Where an opening was given.")


class ArrangementOut(ShownSerializer):
    name = serializers.CharField()
    film_plane = DrawnFilmPlaneOut(source="plane")
    light = LightSummaryOut(source="illumination")


class CameraPlanOut(ShownSerializer):
    """Everything about one container."""

    film_plane = FilmPlaneOut(source="plan.plane")
    hole = HoleChoiceOut(source="hole_choice")
    hole_diameter = length("plan.hole.diameter_mm", help_text="The hole planned with: the one given, or the rule's.")
    f_number = FNumberOut(source="plan.f_number")
    illumination = LightSummaryOut(source="plan.illumination")
    wall_opening = OpeningOut(source="plan.opening", allow_null=True)
    wall_opening_used_share = number("plan.opening_used_share")
    sheet_cuts = SheetCutsOut(allow_null=True)
    exposure_table = TableRowOut(many=True, source="plan.exposure_table")
    comparison = ArrangementOut(many=True, source="plan.comparison", help_text="The same box, film flat and bowed.")
    advice = FlagOut(many=True)
    svg = Section(source="plan.plane")
    light_svg = serializers.CharField(help_text=MAP_HELP)


class HoleScanOut(Flagged, AdvisedOut):
    """The hole that was really made, from its picture."""

    diameter = length("diameter_mm", help_text="Of equal area.")
    uncertainty = length("uncertainty_mm", help_text="One standard deviation.")
    roundness_share = number(help_text="Smallest radius / largest, from the middle.")
    burr_share = number(help_text="Of the outline that stands in.")
    polarity = serializers.CharField(help_text="bright_hole or dark_hole, as found or told.")
    tone_curve = serializers.CharField()
    f_number = number(allow_null=True, help_text="Where a focal length was given.")
    centre = Numbers(source="centre_px", help_text="x, y in the picture, pixels from its top left corner.")
    outline_svg = serializers.CharField(help_text="The outline, to lay over the picture.")
