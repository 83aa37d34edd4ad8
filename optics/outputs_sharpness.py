"""What the sharpness and comparison endpoints show."""

from rest_framework import serializers

from optics.outputs import Angle, Flagged, Said, length, number
from pinpool.http.fields import Numbers, ShownSerializer


class PointSpreadOut(ShownSerializer):
    """The image of one point of light."""

    radius = Numbers(source="radius_mm", help_text="From the middle of the image, mm on the film.")
    relative_intensity = Numbers(help_text="1 is the light that point would throw there with the plate taken away.")


class EncircledOut(ShownSerializer):
    radius = Numbers(source="point_spread.radius_mm", help_text="mm on the film.")
    share = Numbers(source="encircled", help_text="Of the point's light within that radius.")


class MtfOut(ShownSerializer):
    """Contrast of image over subject; below zero the detail is there but reversed, light for dark."""

    frequency = Numbers(source="frequency_cycles_per_mm", help_text="Cycles per mm on the film.")
    contrast = Numbers()


class DirectionOut(ShownSerializer):
    contrast = Numbers(help_text="At the frequencies of mtf.")
    mtf50 = number("mtf50_cycles_per_mm")
    mtf10 = number("mtf10_cycles_per_mm")


class OffAxisOut(ShownSerializer):
    """Off the axis on a flat back: detail that varies along the ray's slant, and square to it."""

    field_angle = Angle(source="field_angle_rad")
    tangential = DirectionOut()
    radial = DirectionOut()
    approximation = serializers.CharField()


class LinePairsOut(ShownSerializer):
    across = number(help_text="Along the middle row.")
    down = number(help_text="Along the axis's column.")
    picture = number(help_text="across × down: the one number by which hole and format compare.")


class SharpnessOut(Flagged):
    """How sharp the hole draws, diffraction and the hole's own shadow together."""

    point_spread = PointSpreadOut()
    encircled_energy = EncircledOut(source="*")
    mtf = MtfOut(source="modulation_transfer")
    mtf50 = number("mtf50_cycles_per_mm", help_text="Cycles per mm at which contrast first falls to a half.")
    mtf10 = number("mtf10_cycles_per_mm", help_text="The same for a tenth: about the finest visible detail.")
    approximation = serializers.CharField(help_text="What is computed, and what is left out.")
    off_axis = OffAxisOut(required=False, help_text="Where a field angle was given.")
    line_pairs = LinePairsOut(required=False, help_text="Where a film plane was given, down to a contrast of a tenth.")
    svg = serializers.CharField(help_text="Contrast against fineness, and the image of a point.")


class PairOut(ShownSerializer):
    format = serializers.IntegerField(help_text="Place in labels, from 0.")
    diameter = length("diameter_mm")
    f_number = number(help_text="For the trade's focal length.")
    stops = number("stops_from_f22", help_text="Against f/22; negative = less light.")
    line_pairs = LinePairsOut(source="*")


class HoleComparisonOut(Flagged):
    """Is it worth making the hole better, or the negative bigger?"""

    labels = serializers.ListField(child=Said(), help_text="The formats, in the order given.")
    rows = PairOut(many=True, source="pairs")
    answer = serializers.ListField(child=Said(), help_text="The upshot in sentences.")
    approximation = serializers.CharField()
    svg = Said()
