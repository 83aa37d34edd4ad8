"""The keeper's desk: clubs, members and cameras. A spec can be read and added, never changed."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from clubs.models import Camera, CameraSpec, Club, Membership


class ReadOnlyAdmin(admin.ModelAdmin):
    """For rows that are history: seen here, never changed."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Club)
class ClubAdmin(admin.ModelAdmin):
    list_display = ("name", "slug", "created_at")
    search_fields = ("name", "slug")
    readonly_fields = ("revision",)


@admin.register(Membership)
class MembershipAdmin(admin.ModelAdmin):
    list_display = ("user", "club", "role", "joined_at")
    list_filter = ("role", "club")
    readonly_fields = ("revision",)


@admin.register(Camera)
class CameraAdmin(admin.ModelAdmin):
    list_display = ("code", "name", "club", "owner")
    list_filter = ("club",)
    search_fields = ("code", "name")
    readonly_fields = ("revision",)


@admin.register(CameraSpec)
class CameraSpecAdmin(ReadOnlyAdmin):
    list_display = ("camera", "number", "hole_diameter_mm", "focal_length_mm", "f_number", "author", "created_at")
    list_filter = ("camera__club",)
