"""The keeper's desk: API tokens can be seen and withdrawn, not read."""

from django.contrib import admin
from django.http import HttpRequest

from pinpool.models import ApiToken


@admin.register(ApiToken)
class ApiTokenAdmin(admin.ModelAdmin):
    list_display = ("name", "user", "created_at", "expires_at", "last_used_at")
    fields = ("name", "user", "created_at", "expires_at", "last_used_at")
    readonly_fields = fields

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False
