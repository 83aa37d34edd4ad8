"""What the endpoints for archives take and show."""

from rest_framework import serializers

from pinpool.http.fields import Moment, StrictSerializer, Text


class ArchiveOut(serializers.Serializer):
    """A whole club. See the format in DEVELOPERS.md."""

    format = serializers.CharField()
    version = serializers.IntegerField()
    made_at = Moment()
    club = serializers.DictField()
    members = serializers.ListField(child=serializers.DictField())
    former_members = serializers.ListField(
        child=serializers.DictField(), help_text="Names kept of those who were members on an earlier server."
    )
    people = serializers.ListField(
        child=serializers.DictField(), help_text="Those without an account whose logs the club keeps."
    )
    designs = serializers.ListField(child=serializers.DictField())
    cameras = serializers.ListField(child=serializers.DictField())
    specs = serializers.ListField(child=serializers.DictField())
    photos = serializers.ListField(child=serializers.DictField())
    papers = serializers.ListField(child=serializers.DictField())
    exposures = serializers.ListField(child=serializers.DictField())
    pictures = serializers.ListField(child=serializers.DictField())
    merges = serializers.ListField(child=serializers.DictField())
    workshops = serializers.ListField(child=serializers.DictField())
    places = serializers.ListField(child=serializers.DictField())
    place_exposures = serializers.ListField(child=serializers.DictField())
    sheets = serializers.ListField(
        child=serializers.DictField(), help_text="Printed sheets that everybody in the club may read."
    )
    trail = serializers.ListField(child=serializers.DictField())
    checksum = serializers.CharField(help_text="SHA-256 of the rest as canonical JSON.")


class ArchiveIn(StrictSerializer):
    """An archive as a form with a file."""

    file = serializers.FileField(use_url=False, help_text="As …/export/archive/ gave it.")
    slug = Text(max_length=40, required=False, help_text="Another short name, where the archive's is taken here.")
    name = Text(required=False)
