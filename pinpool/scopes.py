"""What an API token may be used for."""

from django.db.models import TextChoices
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request


class Scope(TextChoices):
    """Each may also do what those before it may."""

    READ = "read", "read"
    LOG = "log", "read, and log exposures"
    MANAGE = "manage", "all that the account may"


_ORDER = Scope.values


def check_scope(request: Request, needed: str) -> None:
    """Raise `PermissionDenied` where the request came with a token of too small a scope."""
    scope = getattr(request.auth, "scope", Scope.MANAGE)  # signed in without a token: all that the account may
    if _ORDER.index(scope) < _ORDER.index(needed):
        raise PermissionDenied(f"This token's scope is “{scope}”; this takes “{needed}”.")
