"""What the sun and the progress endpoints show."""

from rest_framework import serializers

from optics.outputs import Flagged, FlagOut, Said, SaidTime, length, number
from pinpool.http.fields import Instant, Numbers, QuantityField, ShownSerializer


class SunRowOut(ShownSerializer):
    time = Instant()
    altitude = QuantityField("angle", source="altitude_deg", help_text="Above the horizon, with refraction.")
    azimuth = QuantityField("angle", source="azimuth_deg", help_text="From north by east.")
    x = length("x_mm", required=False, allow_null=True, help_text="On the negative laid flat; null off it.")
    y = length("y_mm", required=False, allow_null=True)


class CrossingOut(ShownSerializer):
    time = Instant()
    x = length("x_mm")
    y = length("y_mm")


class PassageOut(ShownSerializer):
    enters = CrossingOut()
    leaves = CrossingOut()


class MinutesMapOut(ShownSerializer):
    """How long each cell of the negative has the middle of the sun's image in it."""

    x = Numbers(help_text="Middles of the columns, mm from the negative's middle.")
    y = Numbers(help_text="Middles of the rows, mm.")
    minutes = Numbers(dimensions=2, help_text="One list a row.")


class OnFilmOut(ShownSerializer):
    passages = PassageOut(many=True, help_text="Each entry to the negative and the exit from it.")
    time_on_film = SaidTime(source="time_on_film_s")
    dwell = SaidTime(
        source="dwell_s",
        allow_null=True,
        help_text="How long one point near the axis sees the sun on one pass; needs hole.",
    )
    map = MinutesMapOut()
    svg = Said(help_text="The tracks at the solstices, the equinox and the days asked for.")


class DaylightOut(ShownSerializer):
    sky = serializers.CharField()
    ev100 = number(allow_null=True)
    illuminance = QuantityField("illuminance", source="illuminance_lx", allow_null=True)
    spread_stops = number(help_text="An instant may be this much brighter or darker.")
    text = serializers.CharField()
    flags = FlagOut(many=True)


class SunOut(Flagged):
    """The sun over a place. Never look at it, directly or through any hole, viewfinder or loupe."""

    caution = serializers.CharField()
    rise = Instant(allow_null=True, help_text="Of the day that holds `from`; null where the sun does not rise.")
    transit = Instant()
    set = Instant(allow_null=True)
    track = SunRowOut(many=True)
    daylight = DaylightOut(many=True, help_text="An estimate, with the sun at its highest in this time.")
    on_film = OnFilmOut(required=False, help_text="Where a film plane was given.")


class ProgressOut(Flagged):
    """How far an exposure is. Each moment counts as the share of the whole time that its own light asks for."""

    share = number(help_text="Of the exposure given; 1 = complete.")
    given_time = SaidTime(source="given_s")
    remaining_time = SaidTime(source="remaining_s", help_text="At the present light.")
    remaining_from = SaidTime(source="soonest_s", help_text="If the light goes on changing as it has, at the soonest.")
    remaining_to = SaidTime(source="latest_s", allow_null=True, help_text="At the latest; null = never.")
