"""What the endpoints show of what the logs say. One class a result; units go back on here."""

from typing import Any

import numpy as np
from rest_framework import serializers

from exposures.serializers import LogOut, PaperOut
from optics.outputs import FlagOut, SaidTime, StripStepOut, length, number
from pinpool.http.fields import Moment, StrictSerializer, Text, YesNo

#: Longer than this (35 000 years, in s) nothing bounds a time.
ENDLESS_S = 2.0**40


class IntervalOut(serializers.Serializer):
    """Two times; null where nothing bounds that side."""

    low = SaidTime(allow_null=True)
    high = SaidTime(allow_null=True)

    def to_representation(self, ends: Any) -> Any:
        low, high = (end if end < ENDLESS_S else np.inf for end in ends)
        return super().to_representation({"low": low, "high": high})


class StopsIntervalOut(serializers.Serializer):
    low = number("low_stops")
    high = number("high_stops")


class NumbersIntervalOut(serializers.Serializer):
    low = number(allow_null=True)
    high = number(allow_null=True)

    def to_representation(self, ends: Any) -> Any:
        return super().to_representation({"low": ends[0], "high": ends[1]})


class EvidenceOut(serializers.Serializer):
    """What an answer rests on."""

    logs = serializers.IntegerField()
    cameras = serializers.IntegerField()
    members = serializers.IntegerField()
    shortest = SaidTime(source="shortest_s", allow_null=True)
    longest = SaidTime(source="longest_s", allow_null=True)


class CurvePointOut(serializers.Serializer):
    """The right time for an indicated one, and where it lies with 50 % and with 90 %."""

    indicated_time = SaidTime(source="indicated_s")
    exposure_time = SaidTime(source="time_s", allow_null=True, help_text="null: by the logs no time would do.")
    interval_50 = IntervalOut(source="half")
    interval = IntervalOut(source="ninety", help_text="Holds the right time nine times in ten.")
    extrapolating = serializers.BooleanField(help_text="Outside the times that were logged.")


class PaperKnownOut(serializers.Serializer):
    """What the logs say of one paper, with the cameras and members that made them allowed for."""

    paper = PaperOut()
    evidence = EvidenceOut(source="answer.evidence")
    exposure_index = number(help_text="The index it really has, below 1 s.")
    exposure_index_interval = NumbersIntervalOut(help_text="Nine times in ten.")
    exponent = number("answer.exponent", allow_null=True, help_text="Of the power law above 1 s; 1 = no failure.")
    exponent_interval = NumbersIntervalOut(source="answer.exponent_interval", help_text="Nine times in ten.")
    curve = CurvePointOut(many=True, source="answer.curve")
    flags = FlagOut(many=True, source="answer.flags")


class CameraKnownOut(serializers.Serializer):
    """A camera's offset: how much more light its negatives get than its f-number promises."""

    camera = serializers.CharField(source="camera.code")
    spec = serializers.IntegerField(source="spec.number", help_text="The spec in force; a new hole starts anew.")
    f_number = number("spec.f_number")
    offset_stops = number("offset.stops")
    error_stops = number("offset.error_stops", help_text="One standard error.")
    interval_stops = StopsIntervalOut(source="*", help_text="Nine times in ten.")
    evidence = EvidenceOut(source="offset.evidence")
    hole_diameter = length("spec.hole_diameter_mm", help_text="As measured.")
    suggested_diameter = length("diameter_mm", help_text="What would explain the offset by the hole alone.")
    suggested_low = length("low_diameter_mm")
    suggested_high = length("high_diameter_mm")
    text = serializers.CharField(help_text="What it suggests, in a sentence.")
    flags = FlagOut(many=True, source="offset.flags")


class MemberKnownOut(serializers.Serializer):
    """A member's offset of meter and eye: how far results come out over (+) or under where others' are right."""

    member = serializers.CharField(source="membership.user.get_username")
    offset_stops = number("offset.stops")
    error_stops = number("offset.error_stops", help_text="One standard error.")
    interval_stops = StopsIntervalOut(source="*", help_text="Nine times in ten.")
    evidence = EvidenceOut(source="offset.evidence")
    text = serializers.CharField()
    flags = FlagOut(many=True, source="offset.flags")


class GradeOut(serializers.Serializer):
    grade = serializers.CharField()
    error_stops = number(help_text="How much a single log of this grade scatters, as one standard deviation.")


class DeviationsOut(serializers.Serializer):
    """How much papers (of one family), cameras and members differ: standard deviations."""

    speed_stops = number("speed", allow_null=True)
    slope = number(allow_null=True, help_text="Of stops of effect per stop of time.")
    correlation = number(allow_null=True, help_text="Between speed and slope.")
    camera_stops = number("camera", allow_null=True)
    member_stops = number("member", allow_null=True)


class RunOut(serializers.Serializer):
    """One start of the search and how it ended."""

    start = serializers.CharField()
    criterion = number()
    steps = serializers.IntegerField()
    evaluations = serializers.IntegerField()
    settled = serializers.BooleanField()


class ModelOut(serializers.Serializer):
    """The fit behind every estimate: what it rests on, how much things vary, and how it was found."""

    fingerprint = serializers.CharField(help_text="Of the data; changes with every log.")
    pooled_with_others = serializers.BooleanField()
    evidence = EvidenceOut()
    papers = serializers.IntegerField()
    doubtful_logs = serializers.IntegerField()
    grades = GradeOut(many=True)
    deviations = DeviationsOut()
    criterion = number(allow_null=True, help_text="REML: minus twice the restricted log-likelihood.")
    record = RunOut(many=True)
    flags = FlagOut(many=True)


class RecommendationOut(serializers.Serializer):
    """The time to give, how sure it is, and why."""

    ev100 = number()
    indicated_time = SaidTime(source="indicated_time_s")
    exposure_time = SaidTime(source="exposure_time_s", allow_null=True, help_text="null: by the logs no time would do.")
    interval_50 = IntervalOut(source="half", help_text="Holds the right time one time in two.")
    interval = IntervalOut(source="ninety", help_text="Holds the right time nine times in ten.")
    test_strip = serializers.ListField(child=SaidTime(), source="strip_totals_s")
    test_strip_plan = StripStepOut(many=True, source="test_strip")
    because = serializers.ListField(child=serializers.CharField())
    flags = FlagOut(many=True)


class NextTestOut(serializers.Serializer):
    """An exposure that would teach much; each row supposes that those before it are made."""

    camera = serializers.CharField(source="camera.code")
    paper = PaperOut()
    ev100 = number(help_text="The light at which this camera and paper have that indicated time.")
    indicated_time = SaidTime(source="indicated_s")
    exposure_time = SaidTime(source="time_s")
    before_stops = number(help_text="The mean error of the club's papers, over times from 1 s to half an hour.")
    after_stops = number(help_text="The same once this is logged.")
    text = serializers.CharField()


class NextTestsOut(serializers.Serializer):
    """A plan of exposures, the most telling first."""

    tests = NextTestOut(many=True)
    flags = FlagOut(many=True)


NO_ACCOUNT = "Somebody who has no account here, though an account may go by the same name."


class ComparedOut(serializers.Serializer):
    name = serializers.CharField(source="called.name")
    without_account = serializers.BooleanField(source="called.without_account", help_text=NO_ACCOUNT)
    offset_stops = number("offset.stops")
    error_stops = number("offset.error_stops")
    interval_stops = StopsIntervalOut(source="*", help_text="Nine times in ten.")
    evidence = EvidenceOut(source="offset.evidence")
    flags = FlagOut(many=True, source="offset.flags")


class ApartOut(serializers.Serializer):
    one = serializers.CharField(source="one.name")
    one_without_account = serializers.BooleanField(source="one.without_account", help_text=NO_ACCOUNT)
    other = serializers.CharField(source="other.name")
    other_without_account = serializers.BooleanField(source="other.without_account", help_text=NO_ACCOUNT)
    stops = number(help_text="What `one` gets more than `other`.")
    error_stops = number()


class ComparedLogOut(serializers.Serializer):
    id = serializers.UUIDField(source="log.id")
    name = serializers.CharField(source="called.name", help_text="What is compared: a member, a camera or a paper.")
    without_account = serializers.BooleanField(source="called.without_account", help_text=NO_ACCOUNT)
    taken_at = Moment(source="log.taken_at")
    grade = serializers.CharField(source="log.grade")
    off_stops = number(help_text="Stops off once all but what is compared is allowed for.")


class ComparisonOut(serializers.Serializer):
    """Members, cameras or papers on one scale."""

    by = serializers.CharField()
    rows = ComparedOut(many=True, help_text="From the highest to the lowest.")
    pairs = serializers.IntegerField(help_text="How many pairs were looked at.")
    distinguishable = ApartOut(many=True, source="apart", help_text="Pairs farther apart than chance explains.")
    verdict = serializers.CharField()
    logs = ComparedLogOut(many=True, help_text="The newest 500 judged logs, newest first.")


class DoubtOut(serializers.Serializer):
    """A log that looks wrong. It is kept, and counts little or not."""

    log = LogOut()
    weight_share = number(help_text="How much it counts: 0 not at all, 1 fully.")
    off_stops = number(help_text="How far off what all others say.")
    text = serializers.CharField()


class PoolIn(StrictSerializer):
    joined = YesNo(help_text="Whether logs marked shared come and go between the clubs that joined.")


class PoolOut(serializers.Serializer):
    """Whether the club shares what its logs marked shared say."""

    joined = serializers.BooleanField()
    clubs = serializers.IntegerField(help_text="How many other clubs here have joined.")
    revision = serializers.IntegerField()


class CatalogueOut(serializers.Serializer):
    """A paper as clubs know it."""

    key = serializers.CharField()
    name = serializers.CharField()
    family = serializers.CharField()
    nominal_exposure_index = number()
    own = serializers.BooleanField(help_text="Whether the club itself has it.")
    merged_into = serializers.CharField(allow_null=True)
    logs = serializers.IntegerField(help_text="Judged logs that count here, merged ones included.")


class MergeIn(StrictSerializer):
    key = Text(max_length=200, help_text="A catalogue key.")
    into_key = Text(max_length=200, help_text="The catalogue key of the paper that it really is.")


class MergeOut(serializers.Serializer):
    """A keeper's word that two catalogue keys are one paper, in this club alone."""

    id = serializers.IntegerField(source="pk")
    key = serializers.CharField()
    into_key = serializers.CharField()
    made_by = serializers.CharField(source="made_by.get_username", default=None, allow_null=True)
    made_at = Moment()
    undone_by = serializers.CharField(source="undone_by.get_username", default=None, allow_null=True)
    undone_at = Moment(allow_null=True)
    revision = serializers.IntegerField()


class ReceivedPacketOut(serializers.Serializer):
    """A packet from a club on another server."""

    id = serializers.UUIDField()
    source = serializers.CharField()  # type: ignore[assignment]
    packet_revision = serializers.IntegerField()
    checksum = serializers.CharField()
    logs = serializers.IntegerField()
    received_by = serializers.CharField(source="received_by.get_username", default=None, allow_null=True)
    received_at = Moment()
    withdrawn_at = Moment(allow_null=True)
    revision = serializers.IntegerField()


class PacketBody(serializers.Serializer):
    """Pooled statistics, for clubs on other servers. See the format in DEVELOPERS.md."""

    format = serializers.CharField()
    version = serializers.IntegerField()
    source = serializers.CharField(help_text="Stands for the club; says nothing of it.")  # type: ignore[assignment]
    revision = serializers.IntegerField(help_text="Grows whenever the packet says something new.")
    least_logs = serializers.IntegerField(help_text="Cells of fewer logs are left out.")
    papers = serializers.DictField(child=serializers.FloatField(), help_text="Nominal index by catalogue key.")
    columns = serializers.ListField(child=serializers.CharField())
    cells = serializers.ListField(child=serializers.ListField())
    checksum = serializers.CharField(help_text="SHA-256 of the rest as canonical JSON.")

    def to_internal_value(self, data: Any) -> Any:
        """As it came: `open_packet` checks it through and through."""
        return data

    def to_representation(self, instance: Any) -> Any:
        return instance
