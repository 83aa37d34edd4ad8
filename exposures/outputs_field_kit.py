"""What the field kit's endpoint shows."""

from typing import Any

import numpy as np
from rest_framework import serializers

from exposures.processes import ProcessOut
from optics.outputs import FlagOut, SaidTime, number
from pinpool.http.fields import Moment, Numbers

#: Digits of the times in a table: far finer than the table itself.
DIGITS = 4


class Rows(Numbers):
    """An array of numbers to `DIGITS` digits."""

    def to_representation(self, value: Any) -> Any:
        rounded = [[float(f"{each:.{DIGITS}g}") for each in row] for row in value]
        return super().to_representation(np.array(rounded))


class KitCameraOut(serializers.Serializer):
    """A camera as it is now."""

    code = serializers.CharField(source="camera.code")
    name = serializers.CharField(source="camera.name")
    spec = serializers.IntegerField(source="camera.spec.number")
    f_number = number("camera.spec.f_number")
    hole_uncertainty_stops = number(help_text="One standard deviation.")
    whose = serializers.ChoiceField(["own", "borrowed", "club", "another's"])
    rests_on = serializers.CharField(help_text="How far its light is off its f-number, by what; empty without papers.")


class KitStepOut(serializers.Serializer):
    """One bath: from `low` to `high`, then time to drain, and where that is from."""

    name = serializers.CharField()
    low = SaidTime(source="time_s.low")
    high = SaidTime(source="time_s.high")
    drain = SaidTime(source="drain_s")
    source = serializers.CharField(source="time_s.source")  # type: ignore[assignment]  # a field, not DRF's attribute


class KitPaperOut(serializers.Serializer):
    """A paper, its baths, and what its times rest on."""

    id = serializers.UUIDField(source="paper.pk")
    name = serializers.CharField(source="paper.name")
    nominal_exposure_index = number("paper.nominal_exposure_index")
    process = ProcessOut(allow_null=True, help_text="How it was last developed in the club; null where nobody said.")
    steps = KitStepOut(many=True)
    rests_on = serializers.CharField()
    shortest = SaidTime(source="shortest_s", allow_null=True, help_text="Of the times that are known; null: none is.")
    longest = SaidTime(source="longest_s", allow_null=True)
    flags = FlagOut(many=True)


class KitTimesOut(serializers.Serializer):
    """One paper with each of some cameras, by their codes."""

    cameras = serializers.ListField(child=serializers.CharField())
    paper = serializers.UUIDField()
    rows = Rows(
        dimensions=2,
        help_text="Each [indicated, to give, low, high] in s, indicated at the paper's nominal index: straight lines "
        "in log-log between rows are within 0.02 stop of a recommendation. A year stands for whatever is longer.",
    )


class LeftOutOut(serializers.Serializer):
    """How many were too many to go along."""

    cameras = serializers.IntegerField()
    papers = serializers.IntegerField()


class FieldKitOut(serializers.Serializer):
    """What a phone takes along for a day without signal."""

    club = serializers.CharField(source="actor.club.slug")
    club_name = serializers.CharField(source="actor.club.name")
    member = serializers.CharField(source="actor.user.get_username", help_text="Whose times these are.")
    may_log = serializers.BooleanField(help_text="Whether their role allows them to log.")
    reckoned_at = Moment()
    rests_on = serializers.CharField(help_text="What of the member is in the times.")
    cameras = KitCameraOut(many=True, help_text="One's own and borrowed ones first; the retired are left out.")
    papers = KitPaperOut(many=True)
    times = KitTimesOut(many=True)
    left_out = LeftOutOut()
