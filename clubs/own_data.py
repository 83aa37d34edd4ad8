"""What clubs keep of a person."""

from typing import Any

from clubs.models import Camera, CameraPhoto, CameraSpec, Design, IssuedSheet, Membership, TrailEntry
from clubs.serializers import CameraOut, SpecOut
from clubs.serializers_sheets import DesignOut


def memberships_of(user: Any) -> list[Any]:
    rows = Membership.objects.filter(user=user).order_by("pk")
    return [_plain(dict(row)) for row in rows.values("club__slug", "club__name", "role", "joined_at")]


def cameras_of(user: Any) -> list[Any]:
    """The cameras that are theirs, in whichever club."""
    rows = Camera.objects.filter(owner=user).select_related("club", "owner", "lent_to").order_by("pk")
    return [{"club": row.club.slug, **CameraOut(row).data} for row in rows.prefetch_related("specs__author")]


def specs_of(user: Any) -> list[Any]:
    """What they measured of cameras, whosever."""
    rows = CameraSpec.objects.filter(author=user).select_related("camera__club", "author").order_by("pk")
    return [{"club": row.camera.club.slug, "camera": row.camera.code, **SpecOut(row).data} for row in rows]


def designs_of(user: Any) -> list[Any]:
    """The containers' plans that they saved."""
    rows = Design.objects.filter(author=user).select_related("club", "author").order_by("pk")
    return [{"club": row.club.slug, **DesignOut(row).data} for row in rows]


def photos_of(user: Any) -> list[Any]:
    """The photos of cameras that they added: each is to be had at `photos/` below its camera."""
    rows = CameraPhoto.objects.filter(added_by=user).order_by("added_at", "pk")
    columns = ("id", "caption", "width_pixels", "height_pixels", "added_at")
    return [_plain(dict(row)) for row in rows.values("camera__club__slug", "camera__code", *columns)]


def sheets_of(user: Any) -> list[Any]:
    """The printed sheets that they issued: each is to be had at `sheets/` in its club."""
    rows = IssuedSheet.objects.filter(issued_by=user).order_by("issued_at", "pk")
    return [_plain(dict(row)) for row in rows.values("club__slug", "id", "number", "kind", "subject", "issued_at")]


def changes_of(user: Any) -> list[Any]:
    """What they changed, as the clubs' trails have it."""
    rows = TrailEntry.objects.filter(actor=user).order_by("pk")
    return [_plain(dict(row)) for row in rows.values("club__slug", "at", "action", "subject", "before", "after")]


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    shorter = {"club__slug": "club", "camera__club__slug": "club", "camera__code": "camera"}
    return {shorter.get(name, name.replace("__", "_")): value for name, value in row.items()}
