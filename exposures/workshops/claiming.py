"""Claiming a place: somebody who stood at it without an account has one now, and what they made becomes theirs."""

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import F
from django.http import Http404

from clubs.models import Camera, Club, Membership
from clubs.services import record_camera
from clubs.trail import record
from exposures.evidence import hold, keep, take_out
from exposures.models import ExposureLog
from exposures.workshops.closing import owner_of
from exposures.workshops.models import Place
from exposures.workshops.services import locked_place, place_subject
from pinpool.http.problems import Conflict


@dataclass(frozen=True)
class Claimed:
    """A place that became an account's: the membership, the camera where there is one, and how many logs moved."""

    place: Place
    member: Membership
    camera: Camera | None
    exposures: int

    @property
    def revision(self) -> int:
        return self.place.revision

    @property
    def owned(self) -> bool:
        return self.camera is not None and self.camera.owner_id == self.member.user_id


def claim_place(*, place: Place, user: Any) -> Claimed:
    """Make the place `user`'s, once. Who is no member joins in the role that the keeper allowed, if any.

    After closing, the camera becomes theirs where the club owns it and they may own one, and the logs of the place
    theirs with all that was reckoned from them.
    """
    with transaction.atomic():
        hold(place.workshop.club_id)
        locked = locked_place(place)
        if locked.withdrawn_at is not None or locked.code != place.code:  # meanwhile
            raise Http404
        if locked.user_id is not None:
            theirs = "You have claimed this place already." if locked.user_id == user.pk else "This place is claimed."
            raise Conflict(theirs)
        club = locked.workshop.club
        member = _join(club, user, locked)
        person, locked.user, locked.person = locked.person, user, None
        locked.revision += 1
        locked.save(update_fields=["user", "person", "revision"])
        camera = _hand_over(member, locked)
        moved = 0
        if person is not None:
            moved = _move_logs(person.pk, user)
            person.delete()
        after = {"by": user.get_username(), "exposures": moved}
        record(club=club, actor=user, action="claim_place", subject=place_subject(locked), after=after)
    return Claimed(locked, member, camera, moved)


def _join(club: Club, user: Any, place: Place) -> Membership:
    member = Membership.objects.select_related("club", "user").filter(club=club, user=user).first()
    if member is not None:
        return member
    role = place.workshop.joins_as
    if not role:
        raise Conflict("You are no member of the club that held this workshop; ask its keeper for an invitation.")
    member, new = Membership.objects.get_or_create(club=club, user=user, defaults={"role": role})
    if new:
        told = {"role": member.role, "by": place_subject(place)}
        subject = f"member {user.get_username()}"
        record(club=club, actor=user, action="claim_place", subject=subject, after=told)
    return member


def _hand_over(member: Membership, place: Place) -> Camera | None:
    """Give the camera of the place to the member, unless it belongs to somebody by now."""
    if place.camera_id is None:
        return None
    camera = Camera.objects.select_for_update(no_key=True).get(pk=place.camera_id)
    owner = owner_of(member.club, member.user)
    if camera.owner_id is None and owner is not None:
        camera.owner, camera.revision = owner, camera.revision + 1
        camera.save(update_fields=["owner", "revision"])
        record_camera(member, camera, "change_camera", {"owner": None}, {"owner": owner.get_username()})
    return camera


def _move_logs(person_id: int, user: Any) -> int:
    """Make every entry of a person the account's, corrected ones too, and their evidence with them."""
    rows = ExposureLog.objects.filter(person_id=person_id)
    logs = list(rows)
    rows.update(person=None, member=user, revision=F("revision") + 1)
    take_out(*logs)
    for log in logs:
        log.person, log.member = None, user
    keep(*(log for log in logs if log.corrected_at is None))
    return len(logs)
