"""`Authorization: Bearer pp_…`: authentication by API token."""

import logging
from datetime import timedelta
from typing import Any

from django.db import OperationalError, transaction
from django.utils import timezone
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

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
        token = ApiToken.objects.select_related("user").filter(digest=digest_of(secret.strip())).first()
        if token is None or token.expired or not token.user.is_active:
            raise AuthenticationFailed("This token is unknown, withdrawn or expired.")
        now = timezone.now()
        if token.last_used_at is None or now - token.last_used_at > USE_NOTED_EVERY:
            try:
                with transaction.atomic():
                    ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
            except (
                OperationalError
            ) as fault:  # a full disk or a held database keeps nobody from reading
                logger.warning("The use of a token was not noted: %s", fault)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002  (DRF's signature)
        return "Bearer"
