"""The keeper's desk: API tokens can be seen and withdrawn, not read; accounts are not deleted here."""

from typing import Any

from django.contrib import admin
from django.contrib.auth import get_user_model
from django.http import HttpRequest

from pinpool.conf import setting
from pinpool.models import ApiToken


@admin.register(ApiToken)
class ApiTokenAdmin(admin.ModelAdmin):
    list_display = ("name", "user", "created_at", "expires_at", "last_used_at")
    fields = ("name", "user", "created_at", "expires_at", "last_used_at")
    readonly_fields = fields

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


def _keep_accounts() -> None:
    """Where Pinpool keeps accounts: the desk would delete one without parting with its logs; `deleteaccount` does."""
    users = get_user_model()
    if not setting("OWN_ACCOUNTS") or not admin.site.is_registered(users):
        return
    given: Any = type(admin.site.get_model_admin(users))

    class AccountAdmin(given):
        def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
            return False

    admin.site.unregister(users)
    admin.site.register(users, AccountAdmin)


_keep_accounts()
