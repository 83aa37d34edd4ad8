"""What a leader does with a workshop: hold one, change it, and see to the codes of its places.

Whoever writes a workshop and the trail holds the club's log first, as a closing does, then the workshop, then places.
"""

from typing import Any

from django.db import transaction
from django.db.models import F
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import ValidationError

from clubs.models import Club, Design, Membership
from clubs.services import check_role
from clubs.trail import record
from exposures.evidence import hold
from exposures.models import Paper
from exposures.processes import told_again
from exposures.workshops.codes import new_claim_code
from exposures.workshops.models import Place, PlaceExposure, Workshop
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible

#: What a change of the workshop changes for whoever stands at a place of it.
SEEN_AT_PLACES = {"name", "held_on", "design", "paper"}


def hold_workshop(*, actor: Membership, design: int, paper: Any, places: int, **facts: Any) -> Workshop:
    """A new workshop with so many numbered places, each with a claim code; `facts` are fields of `Workshop`."""
    check_role(membership=actor, action="hold_workshop")
    with transaction.atomic():
        hold(actor.club_id)
        most = setting("MAX_OPEN_WORKSHOPS")
        if Workshop.objects.filter(club=actor.club, closed_at=None).count() >= most:
            raise Conflict(f"This club has {most} open workshops, which is as many as it may; close one first.")
        named = _design_and_paper(actor.club, {"design": design, "paper": paper})
        made = Workshop.objects.create(club=actor.club, leader=actor.user, **named, **facts)
        _add_places(made, 1, places)
        record_workshop(actor, made, "hold_workshop", after=_told(made, places))
    return made


def change_workshop(*, actor: Membership, workshop: Workshop, expected: Expected, **facts: Any) -> Workshop:
    """Change what is given of a workshop that is still open; `places` is how many it then has, never fewer.

    The design and the paper stay as soon as one place has measured its hole or noted an exposure. In which role a code
    lets somebody join (`joins_as`, empty for none) is the keeper's word, and can be taken back after closing too.
    """
    check_role(membership=actor, action="hold_workshop")
    if "joins_as" in facts:
        check_role(membership=actor, action="let_join")
    with transaction.atomic():
        hold(actor.club_id)
        locked = locked_workshop(workshop)
        if facts.keys() - {"joins_as"}:
            check_open(locked)
        expected.check(locked.revision)
        count = locked.places.count()
        before, places = _told(locked, count), facts.pop("places", count)
        if places < count:
            text = f"This workshop has {count} places; withdraw the codes of those that nobody needs."
            raise ValidationError({"places": [impossible(text, "places_fewer")]})
        kept = {name for name in ("design", "paper") if facts.get(name) == getattr(locked, f"{name}_id")}
        facts = {name: value for name, value in facts.items() if name not in kept}
        _check_not_begun(locked, facts.keys() & {"design", "paper"})
        for name, value in (facts | _design_and_paper(locked.club, facts)).items():
            setattr(locked, name, value)
        if (after := _told(locked, places)) == before:
            return locked
        _add_places(locked, count + 1, places)
        locked.revision += 1
        locked.save()
        if any(before[name] != after[name] for name in SEEN_AT_PLACES):
            locked.places.update(revision=F("revision") + 1)
        record_workshop(actor, locked, "hold_workshop", before, after)
    return locked


def draw_code(*, actor: Membership, place: Place, expected: Expected) -> Place:
    """Another code in the place of one that is lost or has been seen by others; the old one opens nothing any more."""
    return _change_code(actor, place, expected, code=new_claim_code(), withdrawn_at=None)


def withdraw_code(*, actor: Membership, place: Place, expected: Expected) -> Place:
    """Let nobody in by the place's code, until another one is drawn; what was noted there stays."""
    return _change_code(actor, place, expected, withdrawn_at=timezone.now())


# ------------------------------------------------------------------------------------------------------- inside


def locked_workshop(workshop: Workshop) -> Workshop:
    """The workshop's row and those of its places, held in that order for a change."""
    locked = Workshop.objects.select_for_update(no_key=True).filter(pk=workshop.pk).first()
    if locked is None:
        raise Http404
    list(locked.places.select_for_update(no_key=True).order_by("number").values_list("pk"))
    return locked


def locked_place(place: Place) -> Place:
    """A place's row, held for a change, with its workshop as it is now."""
    locked = Place.objects.select_for_update(no_key=True).filter(pk=place.pk).first()
    if locked is None:
        raise Http404
    locked.workshop = Workshop.objects.select_related("club", "design", "paper").get(pk=locked.workshop_id)
    return locked


def check_open(workshop: Workshop) -> None:
    """Raise `Conflict` where the workshop is history."""
    if workshop.closed_at is not None:
        raise Conflict("This workshop is closed; what was made in it stands in the registry and the log.")


def record_workshop(
    actor: Membership, workshop: Workshop, action: str, before: dict[str, Any] | None = None, after: Any = None
) -> None:
    told = {"before": before, "after": after}
    record(club=actor.club, actor=actor.user, action=action, subject=subject(workshop), **told)


def subject(workshop: Workshop) -> str:
    return f"workshop {workshop.pk}"


def place_subject(place: Place) -> str:
    """By its number: the trail is no place for a code that may still work."""
    return f"place {place.number} of workshop {place.workshop_id}"


def _change_code(actor: Membership, place: Place, expected: Expected, **columns: Any) -> Place:
    check_role(membership=actor, action="change_place")
    with transaction.atomic():
        hold(actor.club_id)
        locked = locked_place(place)
        expected.check(locked.revision)
        if columns["withdrawn_at"] is not None and locked.withdrawn_at is not None:
            raise Conflict("The code of this place has been withdrawn already.")
        for name, value in columns.items():
            setattr(locked, name, value)
        locked.revision += 1
        locked.save(update_fields=[*columns, "revision"])
        after = {"code": "withdrawn" if locked.withdrawn_at else "drawn anew"}
        record(club=actor.club, actor=actor.user, action="change_place", subject=place_subject(locked), after=after)
    return locked


def _add_places(workshop: Workshop, first: int, last: int) -> None:
    Place.objects.bulk_create(
        Place(workshop=workshop, number=number, code=new_claim_code()) for number in range(first, last + 1)
    )


def _check_not_begun(workshop: Workshop, changed: set[str]) -> None:
    """What is measured and noted was so of one design and on one paper."""
    measured = workshop.places.exclude(hole_diameter_mm=None)
    if changed and (measured.exists() or PlaceExposure.objects.filter(place__workshop=workshop).exists()):
        text = "A place of this workshop has measured its hole or noted an exposure by now."
        raise ValidationError({name: [impossible(text, "workshop_begun")] for name in sorted(changed)})


def _design_and_paper(club: Club, facts: dict[str, Any]) -> dict[str, Any]:
    """The design and the paper in the place of their ids; what is not in the club, or out of use, is a fault."""
    found: dict[str, Any] = {}
    faults = {}
    for name, model in (("design", Design), ("paper", Paper)):
        if name not in facts:
            continue
        row = model.objects.filter(club=club, pk=facts[name]).first()
        if row is None:
            faults[name] = [impossible(f"There is no {name} of that id in this club.", f"unknown_{name}")]
        elif row.retired_at is not None:
            faults[name] = [impossible(f"This {name} is out of use.", f"{name}_retired")]
        found[name] = row
    if faults:
        raise ValidationError(faults)
    return found


def _told(workshop: Workshop, places: int) -> dict[str, Any]:
    """A workshop as the trail tells it."""
    return {
        "name": workshop.name,
        "held_on": workshop.held_on.isoformat(),
        "design": {"id": workshop.design.pk, "name": workshop.design.name},
        "paper": {"id": str(workshop.paper.pk), "name": workshop.paper.name},
        "process": told_again(workshop.process),
        "stations": workshop.stations,
        "note": workshop.note,
        "joins_as": workshop.joins_as or None,
        "places": places,
    }
