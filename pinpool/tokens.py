"""`Authorization: Bearer pp_…`: authentication by API token."""

import logging
from datetime import timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.db import OperationalError, transaction
from django.utils import timezone
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from pinpool.prepared import Prepared, Told, columns_of, model_from

#: `last_used_at` is written at most this often, so that reading does not mean writing.
USE_NOTED_EVERY = timedelta(minutes=10)

logger = logging.getLogger(__name__)


class TokenAuthentication(BaseAuthentication):
    """Recognises an account by its API token; another scheme, or none, is left to others."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        from pinpool.models import ApiToken, digest_of  # noqa: PLC0415  (views are imported before models are ready)

        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            return None
        token = next(map(_token_of, _with_user(digest=digest_of(secret.strip()))), None)
        if token is None or token.expired or not token.user.is_active:
            raise AuthenticationFailed("This token is unknown, withdrawn or expired.")
        now = timezone.now()
        if token.last_used_at is None or now - token.last_used_at > USE_NOTED_EVERY:
            try:
                with transaction.atomic():
                    ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
            except OperationalError as fault:  # a full disk or a held database keeps nobody from reading
                logger.warning("The use of a token was not noted: %s", fault)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002  (DRF's signature)
        return "Bearer"


@Prepared
def _with_user() -> Any:
    """The token of a digest, all of its columns and then all of its user's."""
    from pinpool.models import ApiToken  # noqa: PLC0415

    columns = columns_of(ApiToken) + columns_of(get_user_model(), "user__")
    return ApiToken.objects.filter(digest=Told("digest", ApiToken._meta.get_field("digest"))).values_list(*columns)


def _token_of(row: tuple[Any, ...]) -> Any:
    from pinpool.models import ApiToken  # noqa: PLC0415

    values = iter(row)
    token = model_from(ApiToken, values)
    token.user = model_from(get_user_model(), values)
    return token
