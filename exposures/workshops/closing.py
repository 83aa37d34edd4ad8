"""Closing a workshop: every place that made something becomes a camera, and what was noted there the club's log."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, prefetch_related_objects
from django.utils import timezone

from clubs.codes import new_code
from clubs.models import Camera, CameraSpec, Club, Membership, Person
from clubs.roles import allows
from clubs.services import check_role, record_camera
from exposures.evidence import hold, keep
from exposures.models import ExposureLog
from exposures.services import record_in_trail, unsaved_log
from exposures.workshops.entries import told_result
from exposures.workshops.holes import f_number_of, plate_thickness_mm
from exposures.workshops.models import Place, PlaceExposure, Workshop
from exposures.workshops.services import check_open, locked_workshop, record_workshop
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict

#: A camera's code, or an entry's id in another club, may be taken at the same moment; each try sees what was before.
TRIES = 5


@dataclass(frozen=True)
class Closed:
    """A workshop that was closed, and what came of it: the places that became cameras, and how many logs there are."""

    workshop: Workshop
    places: Sequence[Place]
    exposures: int

    @property
    def revision(self) -> int:
        return self.workshop.revision


def close_workshop(*, actor: Membership, workshop: Workshop, expected: Expected) -> Closed:
    """Make cameras of the places that measured a hole or noted an exposure, and logs of what was noted.

    All of it or nothing, and once: a second closing is a `Conflict`. A camera is its participant's where they claimed
    the place and may own one in this club, else the club's; so are the logs, which without an account are a
    `Person`'s, each participant counting by themselves.
    """
    check_role(membership=actor, action="close_workshop")
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return _close(actor, workshop, expected)
        except IntegrityError:  # somebody took a code or an id in between: now it is seen
            continue
    raise Conflict("Others take the same codes or ids all the time; close it again.")


def owner_of(club: Club, user: Any | None) -> Any | None:
    """`user` where their role in the club lets them own a camera; else None, for the club."""
    member = None if user is None else Membership.objects.filter(club=club, user=user).first()
    return user if member is not None and allows(member.role, "register_camera") else None


def _close(actor: Membership, workshop: Workshop, expected: Expected) -> Closed:
    hold(actor.club_id)
    locked = locked_workshop(workshop)
    check_open(locked)  # before the tag, so that a second closing hears of the first
    expected.check(locked.revision)
    noted: dict[int, list[PlaceExposure]] = {}
    for entry in PlaceExposure.objects.filter(place__workshop=locked).order_by("number"):
        noted.setdefault(entry.place_id, []).append(entry)
    rows = locked.places.select_related("workshop__design", "workshop__paper", "user").order_by("number")
    made = [place for place in rows if place.hole_diameter_mm is not None or place.pk in noted]
    _register(actor, made)
    logs = []
    for place in made:
        found = _logs_of(actor, place, noted.get(place.pk, []))
        if found and place.camera:
            what = f"{len(found)} exposures with camera {place.camera.code}"
            record_in_trail(actor, "log_exposure", what, after={"ids": [str(log.id) for log in found]})
        logs += found
    ExposureLog.objects.bulk_create(logs)
    keep(*logs)
    locked.closed_at, locked.revision = timezone.now(), locked.revision + 1
    locked.save(update_fields=["closed_at", "revision"])
    locked.places.update(revision=F("revision") + 1)
    told = {"cameras": [place.camera.code for place in made if place.camera], "exposures": len(logs)}
    record_workshop(actor, locked, "close_workshop", after=told)
    return Closed(locked, made, len(logs))


def _register(actor: Membership, places: Sequence[Place]) -> None:
    """A camera for each place, and a person for each whose participant has no account."""
    taken = set(Camera.objects.filter(club=actor.club).values_list("code", flat=True))
    for place in places:
        camera = Camera.objects.create(
            club=actor.club,
            code=_free_code(taken),
            name=_camera_name(place),
            owner=owner_of(actor.club, place.user),
            design=place.workshop.design,
        )
        CameraSpec.objects.create(camera=camera, **_spec_of(actor, place))
        place.camera = camera
        if place.user is None and place.person is None:  # a restored place has its person already
            place.person = Person.objects.create(club=actor.club, name=place.name)
        place.save(update_fields=["camera", "person"])
        owner = camera.owner.get_username() if camera.owner else None
        record_camera(actor, camera, "register_camera", after={"name": camera.name, "owner": owner})
    prefetch_related_objects(places, "camera__specs")


def _free_code(taken: set[str]) -> str:
    """A code that no camera of the club has; longer where the short ones run out."""
    for length in (4, 4, 4, 5, 5, 6, 6, 8):
        code = new_code(length)
        if code not in taken:
            break
    taken.add(code)
    return code


def _camera_name(place: Place) -> str:
    """Such as “Saltmarsh day place 3”, with the participant's name before it where they gave one."""
    where = f" place {place.number}"
    called = f"{place.name}, " if place.name else ""
    return called + place.workshop.name[: 100 - len(called) - len(where)] + where


def _spec_of(actor: Membership, place: Place) -> dict[str, Any]:
    """What the camera is: the design with the hole as measured, or as planned where nobody measured it."""
    design, measured = place.workshop.design, place.hole_diameter_mm is not None
    typed = {name: design.typed[name] for name in ("film_plane", "focal_length") if name in design.typed}
    return {
        "number": 1,
        "film_plane": design.film_plane,
        "hole_diameter_mm": place.hole_diameter_mm if measured else design.hole_diameter_mm,
        "hole_uncertainty_mm": place.hole_uncertainty_mm if measured else 0.0,
        "plate_thickness_mm": plate_thickness_mm(place),
        "hole_measured_by": place.hole_measured_by if measured else "planned",
        "measurements": place.measurements if measured else [],
        "focal_length_mm": design.focal_length_mm,
        "f_number": f_number_of(place),
        "typed": typed | ({"hole": place.typed} if place.typed else {}),
        "reason": f"Built at {place.workshop.name[:200]}, place {place.number}",
        "author": place.user or actor.user,
    }


def _logs_of(actor: Membership, place: Place, entries: Sequence[PlaceExposure]) -> list[ExposureLog]:
    """The entries of a place as the club's log takes them, under their own ids unless those were taken meanwhile."""
    taken = set(ExposureLog.objects.filter(id__in=[entry.id for entry in entries]).values_list("id", flat=True))
    author = actor if place.user is None else Membership(club=actor.club, user=place.user)
    assert place.camera is not None  # noqa: S101  (registered just now)
    return [
        unsaved_log(
            actor=author,
            person=place.person if place.user is None else None,
            id=uuid.uuid4() if entry.id in taken else entry.id,
            camera=place.camera,
            paper=place.workshop.paper,
            taken_at=datetime.fromisoformat(entry.facts["taken_at"]),
            reading=entry.facts["ev100"],
            typed_reading=entry.typed["reading"],
            exposure_time=entry.facts["exposure_time_s"],
            typed_time=entry.typed["exposure_time"],
            filter_stops=entry.facts["filter_stops"],
            result=told_result(entry),
            process=place.workshop.process,
            note=entry.facts["note"],
        )
        for entry in entries
    ]
