"""Designs: plans that cameras are built by. What a design is never changes, only its name and its note do."""

from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import PermissionDenied

from clubs.models import Club, Design, Membership
from clubs.roles import MAY, allows
from clubs.services import check_role
from clubs.trail import record
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane
from pinpool.http.etags import Expected


def designs_in(*, club: Club) -> QuerySet[Design]:
    return Design.objects.filter(club=club).select_related("club", "author")


def design_in(*, club: Club, id: int) -> Design:  # noqa: A002  (the contract's key)
    found = designs_in(club=club).filter(pk=id).first()
    if found is None:
        raise Http404
    return found


def save_design(
    *,
    actor: Membership,
    name: str,
    note: str,
    film_plane: FilmPlane,
    hole: Hole,
    wall_thickness: float,
    focal_length: float,
    typed: dict[str, Any],
) -> Design:
    """A new design; lengths in mm."""
    check_role(membership=actor, action="save_design")
    with transaction.atomic():
        design = Design.objects.create(
            club=actor.club,
            name=name,
            note=note,
            film_plane=contributed.stored(film_plane),
            hole_diameter_mm=hole.diameter_mm,
            plate_thickness_mm=hole.plate_thickness_mm,
            wall_thickness_mm=wall_thickness,
            focal_length_mm=focal_length,
            typed=typed,
            author=actor.user,
        )
        _record(actor, design, "save_design", None, _told(design))
    return design


def change_design(*, actor: Membership, design: Design, expected: Expected, facts: dict[str, Any]) -> Design:
    """Another `name` or `note`; `retired`, or offered again."""
    check_role(membership=actor, action="change_design")
    with transaction.atomic():
        locked = Design.objects.select_for_update().filter(pk=design.pk).first()
        if locked is None:
            raise Http404
        _check_own(actor, locked)
        expected.check(locked.revision)
        before = _told(locked)
        locked.name, locked.note = facts.get("name", locked.name), facts.get("note", locked.note)
        if "retired" in facts and facts["retired"] != before["retired"]:
            locked.retired_at = timezone.now() if facts["retired"] else None
        if (after := _told(locked)) != before:
            locked.revision += 1
            locked.save()
            _record(actor, locked, "change_design", before, after)
    return locked


def _check_own(actor: Membership, design: Design) -> None:
    whose = "own" if design.author_id == actor.user_id else "others"
    if not allows(actor.role, "change_design", whose=whose):  # type: ignore[arg-type]
        least = MAY["change_design"].others or MAY["change_design"].role
        raise PermissionDenied(f"This design is somebody else's; to change it takes a {least.name.lower()}.")


def _told(design: Design) -> dict[str, Any]:
    return {"name": design.name, "note": design.note, "retired": design.retired_at is not None}


def _record(actor: Membership, design: Design, action: str, before: Any, after: Any) -> None:
    subject = f"design {design.pk}"
    record(club=actor.club, actor=actor.user, action=action, subject=subject, before=before, after=after)
