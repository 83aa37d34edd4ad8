"""What can be done to a club. Each opens its own transaction, and raises refusals a view can pass on."""

from copy import copy
from datetime import date
from typing import Any, Literal

from django.contrib.auth import get_user_model
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import ErrorDetail, PermissionDenied, ValidationError

from clubs import closing
from clubs.codes import new_code
from clubs.models import Camera, CameraSpec, Club, Design, Membership
from clubs.roles import MAY, allows
from clubs.trail import record
from optics import contributed
from optics.core.camera_plan import Hole
from optics.core.film_planes import FilmPlane
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible
from pinpool.plugins.switches import switchable


def check_role(*, membership: Membership, action: str) -> None:
    """Raise `PermissionDenied` where the member's role does not allow the action."""
    if not allows(membership.role, action):
        raise PermissionDenied(f"A {membership.role} of this club may not {MAY[action].doing}.")


def check_camera(*, membership: Membership, camera: Camera, action: str, own: bool = False) -> None:
    """Raise `PermissionDenied` where the member's role does not allow the action with this camera, by whose it is.

    `own` where what is changed of it is the member's own work, whosever the camera.
    """
    check_role(membership=membership, action=action)
    owner, act = camera.owner_id, MAY[action]
    whose: Literal["own", "clubs", "others"] = "clubs" if owner is None else "others"
    if own or owner == membership.user_id:
        whose = "own"
    if not allows(membership.role, action, whose=whose):
        least = (act.clubs if whose == "clubs" else act.others) or act.role
        belongs = "the club" if whose == "clubs" else "somebody else"
        raise PermissionDenied(f"This camera belongs to {belongs}; doing this takes a {least.name.lower()}.")


def create_club(*, actor: Any, slug: str, name: str) -> Club:
    """A new club with `actor` as its keeper; a taken slug is a `Conflict`."""
    try:
        with transaction.atomic():
            club = Club.objects.create(slug=slug, name=name)
            Membership.objects.create(club=club, user=actor, role="keeper")
            record(club=club, actor=actor, action="create_club", subject=f"club {slug}", after={"name": name})
    except IntegrityError:
        raise Conflict(f"The short name “{slug}” is taken; choose another.") from None
    return club


def change_club(*, actor: Membership, expected: Expected, facts: dict[str, Any]) -> Club:
    """Another `name`, other `plugins` switched on; the short name stays, since addresses are made of it."""
    check_role(membership=actor, action="change_club")
    with transaction.atomic():
        club = Club.objects.select_for_update().get(pk=actor.club_id)
        expected.check(club.revision)
        if "plugins" in facts:
            facts = facts | {"plugins": _switched_on(club, facts["plugins"])}
        after = {name: value for name, value in facts.items() if value != getattr(club, name)}
        if after:
            before = {name: getattr(club, name) for name in after}
            for name, value in after.items():
                setattr(club, name, value)
            club.revision += 1
            club.save(update_fields=[*after, "revision"])
            told = {"before": before, "after": after}
            record(club=club, actor=actor.user, action="change_club", subject=f"club {club.slug}", **told)
    return club


def _switched_on(club: Club, names: list[str]) -> list[str]:
    """The names in order, each once; one that is neither here nor switched on already is refused."""
    known = {entry.name for entry in switchable()} | set(club.plugins)
    faults: dict[Any, Any] = {
        place: [impossible(f"No plug-in called “{name}” is active here.", "unknown_plugin")]
        for place, name in enumerate(names)
        if name not in known
    }
    if faults:
        raise ValidationError({"plugins": faults})
    return sorted(set(names))


def close_club(*, actor: Membership, expected: Expected) -> Club:
    """Let a club go with all that is kept of it, for good; returns it as it was.

    Only its one remaining member may, who is its keeper: a `Conflict` while there is another. The trail goes along: it
    is only ever added to as long as there is a club, and the club's own deletion asks neither its model nor its
    manager. Nobody joins in between: members are counted again once nothing but the club's row is left to be held.
    """
    check_role(membership=actor, action="close_club")
    with transaction.atomic():
        closing.hold(actor.club)
        club = _last_ones_club(actor, Club.objects.select_for_update(no_key=True))
        expected.check(club.revision)
        before = copy(club)
        closing.part_with(club)
        _last_ones_club(actor, Club.objects.select_for_update()).delete()
    return before


def _last_ones_club(actor: Membership, held: QuerySet[Club]) -> Club:
    """The actor's club, held, if they still keep it and nobody else belongs to it."""
    club = held.filter(pk=actor.club_id).first()
    now = Membership.objects.filter(pk=actor.pk).first()
    if club is None or now is None:
        raise Http404
    check_role(membership=now, action="close_club")
    if others := Membership.objects.filter(club=club).exclude(pk=actor.pk).count():
        belong = "one other member" if others == 1 else f"{others} other members"
        raise Conflict(f"{club.name} has {belong}; a club is closed by its last one. Remove the others first.")
    return club


def register_camera(
    *,
    actor: Membership,
    name: str,
    club_owned: bool,
    spec: dict[str, Any],
    code: str | None = None,
    note: str = "",
    design: int | None = None,
) -> Camera:
    """A new camera with its first spec; without a `code` one is drawn. `design` is the id of what it was built by."""
    check_role(membership=actor, action="register_camera")
    if design is not None and not Design.objects.filter(club=actor.club_id, pk=design).exists():
        raise ValidationError({"design": [impossible("There is no such design in this club.", "unknown_design")]})
    owner = None if club_owned else actor.user
    tries = [code] if code else [new_code(4), new_code(5), new_code(6)]
    for tried in tries:
        try:
            with transaction.atomic():
                facts = {"name": name, "owner": owner, "note": note, "design_id": design}
                camera = Camera.objects.create(club=actor.club, code=tried, **facts)
                _write_spec(camera=camera, author=actor.user, **spec)
                record_camera(actor, camera, "register_camera", after=_told(camera))
        except IntegrityError:
            continue
        return camera
    raise Conflict(f"The code {tries[-1]} is taken in this club; choose another.")


def change_camera(*, actor: Membership, camera: Camera, expected: Expected, facts: dict[str, Any]) -> Camera:
    """Another `name` or `note`; another `owner`, by user name, or None for the club; `retired` or in use again.

    A retired camera keeps its history and is not lent. It can still be logged with: prints are judged, and old
    notebooks typed, long after a camera is gone.
    """
    with transaction.atomic():
        locked = locked_camera(actor, camera, "change_camera", expected)
        before = _told(locked)
        locked.name, locked.note = facts.get("name", locked.name), facts.get("note", locked.note)
        if facts.get("owner") is not None:
            locked.owner = _owner(actor.club, facts["owner"])
        elif "owner" in facts:
            locked.owner = None
        if "retired" in facts and facts["retired"] != before["retired"]:
            if locked.loan:
                raise Conflict("This camera is lent; bring it back before it is retired.")
            locked.retired_at = timezone.now() if facts["retired"] else None
        if (after := _told(locked)) != before:
            _save(locked)
            record_camera(actor, locked, "change_camera", before, after)
    return locked


def lend_camera(*, actor: Membership, camera: Camera, expected: Expected, to: str, until: date) -> Camera:
    """Lend the camera to a member, by user name, until the end of a day; refused while it is lent or retired."""
    with transaction.atomic():
        locked = locked_camera(actor, camera, "lend_camera", expected)
        if locked.loan:
            raise Conflict(f"This camera is lent until {locked.lent_until}; bring it back first.")
        if locked.retired_at:
            raise Conflict("This camera is retired; bring it back into use first.")
        borrower = _member_named(actor.club, to)
        faults = {"to": [_nobody("There is no member of that name in this club.")]} if borrower is None else {}
        if until < timezone.localdate():
            faults["until"] = [impossible("This day is past.", "day_past")]
        if borrower is None or faults:
            raise ValidationError(faults)
        locked.lent_to, locked.lent_until = borrower.user, until
        _save(locked)
        record_camera(actor, locked, "lend_camera", after=_loan_told(locked))
    return locked


def bring_back_camera(*, actor: Membership, camera: Camera, expected: Expected) -> Camera:
    """End a loan."""
    with transaction.atomic():
        locked = locked_camera(actor, camera, "bring_back_camera", expected)
        if not locked.loan:
            raise Conflict("This camera is not lent.")
        before = _loan_told(locked)
        locked.lent_to = locked.lent_until = None
        _save(locked)
        record_camera(actor, locked, "bring_back_camera", before=before)
    return locked


def add_spec(*, actor: Membership, camera: Camera, spec: dict[str, Any]) -> CameraSpec:
    """A new revision of what the camera is."""
    with transaction.atomic():
        locked = locked_camera(actor, camera, "add_spec")
        before = locked.spec
        made = _write_spec(camera=locked, author=actor.user, **spec)
        _save(locked)
        record_camera(actor, locked, "add_spec", before and _spec_told(before), _spec_told(made))
    return made


# ------------------------------------------------------------------------------------------------------- inside


def locked_camera(actor: Membership, camera: Camera, action: str, expected: Expected | None = None) -> Camera:
    """The camera's row, held for a change that the actor may make and that was meant for it as it is."""
    locked = Camera.objects.select_for_update().filter(pk=camera.pk).first()
    if locked is None:
        raise Http404
    check_camera(membership=actor, camera=locked, action=action)
    if expected:
        expected.check(locked.revision)
    return locked


def _save(camera: Camera) -> None:
    camera.revision += 1
    camera.save()


def _member_named(club: Club, username: str) -> Membership | None:
    named = {f"user__{get_user_model().USERNAME_FIELD}": username}
    return Membership.objects.select_related("user").filter(club=club, **named).first()


def _owner(club: Club, username: str) -> Any:
    member = _member_named(club, username)
    if member is None or not allows(member.role, "register_camera"):
        raise ValidationError(
            {"owner": [_nobody("There is no member of that name in this club who may own a camera.")]}
        )
    return member.user


def _nobody(text: str) -> ErrorDetail:
    return impossible(text, "unknown_member")


def _told(camera: Camera) -> dict[str, Any]:
    """What of a camera can be changed, as the trail tells it."""
    owner = camera.owner.get_username() if camera.owner else None
    return {"name": camera.name, "note": camera.note, "owner": owner, "retired": camera.retired_at is not None}


def _loan_told(camera: Camera) -> dict[str, Any]:
    return {"to": camera.lent_to and camera.lent_to.get_username(), "until": str(camera.lent_until)}


def _spec_told(spec: CameraSpec) -> dict[str, Any]:
    return {"spec": spec.number, "f_number": spec.f_number, "reason": spec.reason}


def record_camera(actor: Membership, camera: Camera, action: str, before: Any = None, after: Any = None) -> None:
    """Put a change of a camera, or of what is kept of it, on the trail."""
    subject = f"camera {camera.code}"
    record(club=actor.club, actor=actor.user, action=action, subject=subject, before=before, after=after)


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
    measurements: list[dict[str, Any]] | None = None,
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
        measurements=measurements or [],
        focal_length_mm=focal_length,
        f_number=focal_length / hole.diameter_mm,
        typed=typed,
        reason=reason,
        author=author,
    )
