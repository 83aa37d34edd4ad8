"""The desk of whoever runs the site: everything of a club can be read; clubs and members can be put right.

What is put right stands on the club's trail. All else is changed through the API, which keeps the rules.
"""

from typing import Any

from django.contrib import admin
from django.db import transaction
from django.http import HttpRequest

from clubs.models import Camera, CameraPhoto, CameraSpec, Club, Membership, TrailEntry
from clubs.trail import record


class ReadOnlyAdmin(admin.ModelAdmin):
    """For rows that are seen here, never changed."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class RecordedAdmin(admin.ModelAdmin):
    """For rows that are added and changed here, each time on the trail, and never deleted.

    `told` are the fields that may be changed; `identity` those that are set once.
    """

    told: tuple[str, ...] = ()
    identity: tuple[str, ...] = ()

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("revision", *(self.identity if obj else ()))

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        after = {name: getattr(obj, name) for name in self.told}
        with transaction.atomic():
            if change:
                stored = type(obj).objects.select_for_update().get(pk=obj.pk)
                before = {name: getattr(stored, name) for name in self.told}
                obj.revision = stored.revision + 1
            super().save_model(request, obj, form, change)
            self.record(request.user, obj, before if change else None, after)

    def record(self, actor: Any, obj: Any, before: Any, after: Any) -> None:
        """Put the change on the club's trail; each kind of row says how."""
        raise NotImplementedError


@admin.register(Club)
class ClubAdmin(RecordedAdmin):
    list_display = ("name", "slug", "created_at")
    search_fields = ("name", "slug")
    told, identity = ("name",), ("slug",)

    def record(self, actor: Any, obj: Club, before: Any, after: Any) -> None:
        action = "change_club" if before else "create_club"
        record(club=obj, actor=actor, action=action, subject=f"club {obj.slug}", before=before, after=after)


@admin.register(Membership)
class MembershipAdmin(RecordedAdmin):
    list_display = ("user", "club", "role", "joined_at")
    list_filter = ("role", "club")
    told, identity = ("role",), ("club", "user")

    def record(self, actor: Any, obj: Membership, before: Any, after: Any) -> None:
        action, subject = "change_role" if before else "add_member", f"member {obj.user.get_username()}"
        record(club=obj.club, actor=actor, action=action, subject=subject, before=before, after=after)


@admin.register(Camera)
class CameraAdmin(ReadOnlyAdmin):
    list_display = ("code", "name", "club", "owner", "lent_to", "lent_until", "retired_at")
    list_filter = ("club",)
    search_fields = ("code", "name")


@admin.register(CameraPhoto)
class CameraPhotoAdmin(ReadOnlyAdmin):
    list_display = ("camera", "caption", "added_by", "added_at")
    list_filter = ("camera__club",)
    exclude = ("image",)  # its address would be one without a look at who asks


@admin.register(CameraSpec)
class CameraSpecAdmin(ReadOnlyAdmin):
    list_display = ("camera", "number", "hole_diameter_mm", "focal_length_mm", "f_number", "author", "created_at")
    list_filter = ("camera__club",)


@admin.register(TrailEntry)
class TrailEntryAdmin(ReadOnlyAdmin):
    list_display = ("at", "club", "actor_name", "action", "subject")
    list_filter = ("club", "action")
