"""What the account endpoints take and show."""

from typing import Any

from rest_framework import serializers

from pinpool.conf import setting
from pinpool.http.fields import Moment, StrictSerializer, Text, Whole
from pinpool.scopes import Scope


class Password(serializers.CharField):
    """A password as it is, its spaces too."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_length": 500, "trim_whitespace": False} | kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Email(serializers.EmailField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_length": 254} | kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Days(Whole):
    """Whole days, as many as a token may last."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": setting("MAX_TOKEN_DAYS")} | kwargs)


class DoneOut(serializers.Serializer):
    """What has been done, in a sentence."""

    detail = serializers.CharField()


class NothingIn(StrictSerializer):
    """No body is needed."""


class LogInPageOut(serializers.Serializer):
    csrf_token = serializers.CharField(help_text="Send it back as X-CSRFToken with every change made in a session.")


class CredentialsIn(StrictSerializer):
    username = Text(max_length=254)
    password = Password()


class AccountOut(serializers.Serializer):
    username = serializers.CharField()
    email = serializers.CharField()
    joined_at = Moment(allow_null=True)


class EmailIn(StrictSerializer):
    email = Email()
    password = Password(help_text="The account's, asked for again.")


class PasswordIn(StrictSerializer):
    """The password asked for again."""

    password = Password()


class PasswordChangeIn(StrictSerializer):
    password = Password(help_text="The one until now.")
    new_password = Password()


class ResetIn(StrictSerializer):
    email = Email()


class ResetCodeIn(StrictSerializer):
    code = Text(max_length=200, help_text="From the e-mail.")
    new_password = Password()


class TokenIn(StrictSerializer):
    name = Text(max_length=80, help_text="What it is for.")
    scope = serializers.ChoiceField(Scope.choices)
    days = Days(help_text="Until it ends.")


class TokenOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    scope = serializers.ChoiceField(Scope.choices)
    created_at = Moment()
    expires_at = Moment(allow_null=True)
    last_used_at = Moment(allow_null=True, help_text="To within ten minutes.")


class IssuedTokenOut(TokenOut):
    secret = serializers.CharField(help_text="Shown this once and never stored.")


class OwnDataOut(serializers.Serializer):
    made_at = Moment()
    parts = serializers.DictField(child=serializers.ListField(child=serializers.JSONField()))
