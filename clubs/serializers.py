"""What the club endpoints take and show."""

from datetime import date
from typing import Any, NamedTuple

from django.core.validators import RegexValidator
from rest_framework import serializers

from clubs.roles import ROLE_CHOICES
from clubs.serializers_specs import SPEC, SpecIn, SpecOut, SpecRow, spec_out
from pinpool.http.fields import Day, Moment, StrictSerializer, Text, Whole, YesNo
from pinpool.http.rows import USERNAME, Columns

#: Words that stand where a club's short name would.
TAKEN_BY_ROUTES = {"import-archive"}


class ClubIn(StrictSerializer):
    slug = Text(
        max_length=40,
        validators=[RegexValidator(r"^[a-z0-9]+(-[a-z0-9]+)*\Z", "Words of a–z and 0–9, joined by hyphens.")],
        help_text="Short name in addresses: a–z, 0–9, -.",
    )
    name = Text()

    def validate_slug(self, slug: str) -> str:
        if slug in TAKEN_BY_ROUTES:
            raise serializers.ValidationError("This word has an address of its own; choose another.", "reserved")
        return slug


class ClubChangeIn(StrictSerializer):
    """Only what is to be changed."""

    name = Text(required=False)
    plugins = serializers.ListField(
        child=Text(max_length=40),
        max_length=100,
        required=False,
        help_text="Names of all plug-ins of other packages to be switched on here; Pinpool's own always are.",
    )


class ClubOut(serializers.Serializer):
    slug = serializers.CharField()
    name = serializers.CharField()
    plugins = serializers.ListField(
        child=serializers.CharField(), help_text="Those of other packages that are switched on here, by name."
    )
    created_at = Moment()
    revision = serializers.IntegerField()


class MemberIn(StrictSerializer):
    username = Text(max_length=254)
    role = serializers.ChoiceField(ROLE_CHOICES)


class MemberOut(serializers.Serializer):
    id = serializers.IntegerField(help_text="Of the membership.")
    username = serializers.CharField(source="user.get_username")
    role = serializers.ChoiceField(ROLE_CHOICES)
    joined_at = Moment()
    revision = serializers.IntegerField()


class CameraIn(StrictSerializer):
    code = Text(
        max_length=12,
        validators=[RegexValidator(r"^[A-Za-z0-9-]{2,12}\Z", "2 to 12 of A–Z, 0–9 and -.")],
        required=False,
        help_text="Left out: one is drawn that is easy to read aloud.",
    )
    name = Text()
    club_owned = YesNo(required=False, default=False)
    note = Text(max_length=2000, required=False, default="", allow_blank=True)
    design = Whole(
        min_value=1, required=False, default=None, allow_null=True, help_text="The id of the design it was built by."
    )
    spec = SpecIn()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return attrs | {"code": attrs["code"].upper()} if "code" in attrs else attrs


class CameraChangeIn(StrictSerializer):
    """Only what is to be changed."""

    name = Text(required=False)
    note = Text(max_length=2000, required=False, allow_blank=True)
    owner = Text(max_length=254, required=False, allow_null=True, help_text="A member's user name; null: the club.")
    retired = YesNo(required=False, help_text="true: kept for its history; false: back in use.")


class LoanIn(StrictSerializer):
    to = Text(max_length=254, help_text="A member's user name.")
    until = Day(help_text="The last day of the loan.")


class CameraRow(NamedTuple):
    """What is shown of a camera, as it is stored."""

    code: str
    name: str
    owner: str | None
    note: str
    design_id: int | None
    lent_to: str | None
    lent_until: date | None
    registered_at: str
    retired_at: str | None
    revision: int
    spec: SpecRow | None


CAMERA = Columns(
    CameraRow,
    {"owner": f"owner__{USERNAME}", "lent_to": f"lent_to__{USERNAME}"},
    moments=("registered_at", "retired_at"),
    below=SPEC,
)


class LoanOut(serializers.Serializer):
    to = serializers.CharField(default=None, allow_null=True, help_text="null: a former member.")
    until = Day()


class CameraOut(serializers.Serializer):
    code = serializers.CharField()
    name = serializers.CharField()
    owner = serializers.CharField(default=None, allow_null=True, help_text="null: the club owns it.")
    note = serializers.CharField()
    design = serializers.IntegerField(
        allow_null=True, help_text="The id of the design it was built by; null: none that is kept."
    )
    loan = LoanOut(allow_null=True, help_text="null: it is not lent.")
    registered_at = Moment()
    retired_at = Moment(allow_null=True, help_text="null: it is in use.")
    revision = serializers.IntegerField()
    spec = SpecOut(help_text="The spec in force.")

    def to_representation(self, camera: Any) -> dict[str, Any]:
        """Of a `CameraRow` or a model instance."""
        row, lengths = CAMERA.row_of(camera), self.context.get("lengths", "mm")
        lent = row.lent_until is not None
        return {
            "code": row.code,
            "name": row.name,
            "owner": row.owner,
            "note": row.note,
            "design": row.design_id,
            "loan": {"to": row.lent_to, "until": row.lent_until.isoformat()} if lent else None,
            "registered_at": row.registered_at,
            "retired_at": row.retired_at,
            "revision": row.revision,
            "spec": row.spec and spec_out(row.spec, lengths),
        }


class TrailOut(serializers.Serializer):
    """Who changed what, when, from what to what."""

    id = serializers.IntegerField()
    at = Moment()
    actor = serializers.CharField(source="actor_name", help_text="The user name of that day.")
    action = serializers.CharField()
    subject = serializers.CharField()
    before = serializers.JSONField(help_text="What it was, of what changed; null: it is new.")
    after = serializers.JSONField(help_text="What it became; null: it is gone.")
