"""API tokens: how a program proves whom it acts for."""

import hashlib
import secrets
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone

from pinpool.scopes import Scope


class ApiToken(models.Model):
    """A named, expiring token of one account, for a scope. Only the SHA-256 of the random secret is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="pinpool_tokens")
    name = models.CharField(max_length=80)
    scope = models.CharField(max_length=6, choices=Scope.choices, default=Scope.MANAGE)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = "API token"

    def __str__(self) -> str:
        return f"{self.name} of {self.user}"

    @classmethod
    def issue(
        cls, *, user: Any, name: str, scope: str = Scope.MANAGE, expires_at: datetime | None = None
    ) -> tuple["ApiToken", str]:
        """A new token and its secret, which is shown this once and never stored."""
        secret = "pp_" + secrets.token_urlsafe(32)
        token = cls.objects.create(user=user, name=name, scope=scope, digest=digest_of(secret), expires_at=expires_at)
        return token, secret

    @property
    def expired(self) -> bool:
        return self.expires_at is not None and self.expires_at <= timezone.now()


def digest_of(secret: str) -> str:
    """The SHA-256 of a secret, in hex; the secret is 256 random bits, so no salt is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()
