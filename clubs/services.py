"""What can be done to a club. Each opens its own transaction, and raises refusals a view can pass on."""

from typing import Any

from django.contrib.auth import get_user_model
from django.db import IntegrityError, transaction
from rest_framework.exceptions import PermissionDenied, ValidationError

from clubs.codes import new_code
from clubs.models import Camera, CameraSpec, Club, Membership
from clubs.roles import allows
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane
from pinpool.http.problems import Conflict, impossible


def check_role(*, membership: Membership, action: str) -> None:
    """Raise `PermissionDenied` where the member's role does not allow the action."""
    if not allows(membership.role, action):
        raise PermissionDenied(f"A {membership.role} of this club may not {action.replace('_', ' ')}.")


def create_club(*, actor: Any, slug: str, name: str) -> Club:
    """A new club with `actor` as its keeper; a taken slug is a `Conflict`."""
    try:
        with transaction.atomic():
            club = Club.objects.create(slug=slug, name=name)
            Membership.objects.create(club=club, user=actor, role="keeper")
    except IntegrityError:
        raise Conflict(f"The short name “{slug}” is taken; choose another.") from None
    return club


def add_member(*, actor: Membership, username: str, role: str) -> Membership:
    """Give an existing account a role in the club."""
    check_role(membership=actor, action="add_member")
    users = get_user_model()
    user = users.objects.filter(**{users.USERNAME_FIELD: username}).first()
    if user is None:
        raise ValidationError({"username": [impossible("There is no account of that name.", "unknown_account")]})
    try:
        with transaction.atomic():
            return Membership.objects.create(club=actor.club, user=user, role=role)
    except IntegrityError:
        raise Conflict(f"{username} is a member already.") from None


def register_camera(
    *, actor: Membership, name: str, club_owned: bool, spec: dict[str, Any], code: str | None = None
) -> Camera:
    """A new camera with its first spec; without a `code` one is drawn."""
    check_role(membership=actor, action="register_camera")
    owner = None if club_owned else actor.user
    tries = [code] if code else [new_code(4), new_code(5), new_code(6)]
    for tried in tries:
        try:
            with transaction.atomic():
                camera = Camera.objects.create(club=actor.club, code=tried, name=name, owner=owner)
                _write_spec(camera=camera, author=actor.user, **spec)
        except IntegrityError:
            continue
        return camera
    raise Conflict(f"The code {tries[-1]} is taken in this club; choose another.")


def add_spec(*, actor: Membership, camera: Camera, spec: dict[str, Any]) -> CameraSpec:
    """A new revision of what the camera is."""
    check_role(membership=actor, action="add_spec")
    if camera.owner_id not in {None, actor.user_id} and not allows(actor.role, "add_member"):
        raise PermissionDenied("Only its owner or a keeper may say what this camera is.")
    with transaction.atomic():
        locked = Camera.objects.select_for_update().get(pk=camera.pk)
        made = _write_spec(camera=locked, author=actor.user, **spec)
        locked.revision += 1
        locked.save(update_fields=["revision"])
    return made


def _write_spec(
    *,
    camera: Camera,
    author: Any,
    film_plane: FilmPlane,
    hole: Hole,
    hole_measured_by: str,
    focal_length: float,
    reason: str,
    typed: dict[str, Any],
) -> CameraSpec:
    latest = camera.spec
    return CameraSpec.objects.create(
        camera=camera,
        number=latest.number + 1 if latest else 1,
        film_plane=contributed.stored(film_plane),
        hole_diameter_mm=hole.diameter_mm,
        hole_uncertainty_mm=hole.uncertainty_mm,
        plate_thickness_mm=hole.plate_thickness_mm,
        hole_measured_by=hole_measured_by,
        focal_length_mm=focal_length,
        f_number=focal_length / hole.diameter_mm,
        typed=typed,
        reason=reason,
        author=author,
    )
