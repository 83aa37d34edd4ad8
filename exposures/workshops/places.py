"""What whoever has a claim code may do at their place: say what they are called, and which hole they made."""

from typing import Any

from django.db import transaction
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import ValidationError

from clubs.trail import record
from exposures.evidence import hold
from exposures.workshops.codes import read_code
from exposures.workshops.models import Place
from exposures.workshops.services import check_open, locked_place, place_subject
from optics.core.camera_plan import Hole
from pinpool.accounts.throttles import count, counted
from pinpool.http.etags import Expected
from pinpool.http.problems import impossible

#: What of a place stands on the trail.
TOLD = {"name", "hole_diameter_mm", "hole_uncertainty_mm"}


def place_by(*, code: str, address: str) -> Place:
    """The place that a code opens; any other code is a 404, always the same, that counts as a try of the address.

    A code that opens its place costs no try: a whole workshop may sit behind one address.
    """
    with counted(PLACE_TRIES_PER_ADDRESS=address):
        read = read_code(code)
        rows = Place.objects.select_related("workshop__club", "workshop__design", "workshop__paper", "camera")
        found = rows.filter(code=read, withdrawn_at=None).first() if read else None
        if found is None:
            raise Http404
    if found.opened_at is None:
        Place.objects.filter(pk=found.pk, opened_at=None).update(opened_at=timezone.now())
    return found


def rename_place(*, place: Place, expected: Expected, name: str) -> Place:
    """What the participant wants to be called, shown to the club; empty for nothing."""
    return _change(place, expected, name=name)


def put_hole(
    *, place: Place, expected: Expected, hole: Hole, measured_by: str, measurements: list[Any], typed: dict[str, Any]
) -> Place:
    """The hole that was made, in the place of any that was measured before; `typed` is what was sent.

    Raises `ValidationError` at the key of the measurement where it makes no pinhole camera of the design.
    """
    f_number = place.workshop.design.focal_length_mm / hole.diameter_mm
    if not 1 <= f_number <= 100_000:
        text = f"f/{f_number:.3g} is no pinhole camera; check the hole ({hole.diameter_mm:g} mm)."
        [key] = typed.keys() & {"diameter", "readings", "scan"}
        raise ValidationError({key: [impossible(text, "f_number_range")]})
    return _change(
        place,
        expected,
        hole_diameter_mm=hole.diameter_mm,
        hole_uncertainty_mm=hole.uncertainty_mm,
        hole_measured_by=measured_by,
        measurements=measurements,
        typed=typed,
    )


def _change(place: Place, expected: Expected, **columns: Any) -> Place:
    """Set some columns of the place while its workshop is open, and put what differs on the trail, by nobody."""
    count("CHANGES_PER_PLACE", str(place.pk))
    with transaction.atomic():
        hold(place.workshop.club_id)
        locked = locked_place(place)
        check_open(locked.workshop)  # before the tag, which closing changes
        expected.check(locked.revision)
        before = {name: getattr(locked, name) for name in columns}
        if before == columns:
            return locked
        if "typed" in columns:
            columns["measured_at"] = timezone.now()
        for name, value in columns.items():
            setattr(locked, name, value)
        locked.revision += 1
        locked.save(update_fields=[*columns, "revision"])
        told, after = ({name: value for name, value in each.items() if name in TOLD} for each in (before, columns))
        where = place_subject(locked)
        record(club=locked.workshop.club, actor=None, action="change_place", subject=where, before=told, after=after)
    return locked
