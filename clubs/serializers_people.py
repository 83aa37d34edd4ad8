"""What the endpoints for members and invitations take and show."""

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from clubs.roles import ROLE_CHOICES
from pinpool.accounts.serializers import Email, Password
from pinpool.conf import setting
from pinpool.http.fields import Moment, StrictSerializer, Text, Whole


class RoleIn(StrictSerializer):
    role = serializers.ChoiceField(ROLE_CHOICES)


class InvitationIn(StrictSerializer):
    role = serializers.ChoiceField(ROLE_CHOICES)
    note = Text(max_length=200, required=False, default="", allow_blank=True, help_text="For keepers: whom it is for.")
    uses = Whole(min_value=1, max_value=1000, required=False, default=1, help_text="How many may join by it.")
    days = Whole(min_value=1, max_value=setting("MAX_INVITATION_DAYS"), help_text="Until it expires.")


class InvitationOut(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField(help_text="Whoever has it may join.")
    role = serializers.ChoiceField(ROLE_CHOICES)
    note = serializers.CharField()
    uses = serializers.IntegerField()
    used = serializers.IntegerField()
    expires_at = Moment()
    withdrawn_at = Moment(allow_null=True)
    made_by = serializers.CharField(source="made_by.get_username", default=None, allow_null=True)
    made_at = Moment()
    revision = serializers.IntegerField()


class InvitedOut(serializers.Serializer):
    """What an invitation says to whoever has its code."""

    club = serializers.CharField(source="club.name")
    role = serializers.ChoiceField(ROLE_CHOICES)


class JoinedOut(serializers.Serializer):
    """The club that one has joined, and as what."""

    username = serializers.CharField(source="user.get_username")
    club = serializers.CharField(source="club.slug")
    club_name = serializers.CharField(source="club.name")
    role = serializers.ChoiceField(ROLE_CHOICES)


class AcceptIn(StrictSerializer):
    """Nothing from whoever is signed in; from anybody else the account to be made."""

    username = Text(max_length=254, required=False)
    email = Email(required=False)
    password = Password(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        names = set(self.fields)
        if self.context["request"].user.is_authenticated:
            text, code, wrong = "You are signed in, and join with that account.", "unknown_key", names & attrs.keys()
        else:
            text, code, wrong = "Give it for a new account, or sign in first.", "required", names - attrs.keys()
        if wrong:
            raise serializers.ValidationError({name: [ErrorDetail(text, code)] for name in sorted(wrong)})
        return attrs
