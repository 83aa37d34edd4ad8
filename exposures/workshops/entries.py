"""Exposures noted at a place: kept as they were told until the workshop is closed, and then logged."""

import uuid
from datetime import UTC, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.http import Http404

from exposures.models import ExposureLog
from exposures.services import Result
from exposures.workshops.models import Place, PlaceExposure
from exposures.workshops.services import check_open, locked_place
from pinpool.accounts.throttles import count
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict

#: What may be added to an entry later, or put right.
LATER = ("result", "note")


def entries_of(*, place: Place) -> QuerySet[PlaceExposure]:
    return PlaceExposure.objects.filter(place=place)


def entry_of(*, place: Place, id: uuid.UUID) -> PlaceExposure:  # noqa: A002  (the contract's key)
    found = entries_of(place=place).filter(id=id).first()
    if found is None:
        raise Http404
    return found


def note_exposure(
    *,
    place: Place,
    id: uuid.UUID | None = None,  # noqa: A002  (the contract's key)
    taken_at: datetime,
    reading: float,
    typed_reading: Any,
    exposure_time: float,
    typed_time: Any,
    filter_stops: float,
    result: Result | None,
    note: str,
) -> tuple[PlaceExposure, bool]:
    """Note an exposure; returns the entry and whether it is new.

    As in the club's log, the same sent again under the same `id` is the same entry, also where a result was added to
    it meanwhile, and another one under it is a `Conflict`.
    """
    kept = _kept(result)
    entry = PlaceExposure(
        id=id or uuid.uuid4(),
        place=place,
        facts={
            "taken_at": taken_at.astimezone(UTC).isoformat(),
            "ev100": reading,
            "filter_stops": filter_stops,
            "exposure_time_s": exposure_time,
            "result": kept,
            "note": note,
        },
        typed={
            "reading": typed_reading,
            "exposure_time": typed_time,
            "result": kept and kept["typed"],
            "note": note,
        },
    )
    with transaction.atomic():
        locked = locked_place(place)
        stored = _stored_as(entry)
        if stored is not None:
            return stored, False
        check_open(locked.workshop)
        most = setting("MAX_PLACE_EXPOSURES")
        if entries_of(place=locked).count() >= most:
            raise Conflict(f"This place has noted {most} exposures, which is as many as it may.")
        try:
            with transaction.atomic():
                entry.save(force_insert=True)
        except IntegrityError:  # at another place, at the same moment
            raise _taken(entry) from None
    return entry, True


def change_entry(*, place: Place, id: uuid.UUID, expected: Expected, **facts: Any) -> PlaceExposure:  # noqa: A002
    """Add a `result` or a `note` to an entry, or put them right, while the workshop is open."""
    count("CHANGES_PER_PLACE", str(place.pk))
    with transaction.atomic():
        locked = locked_place(place)
        entry = entry_of(place=locked, id=id)
        check_open(locked.workshop)
        expected.check(entry.revision)
        if "result" in facts:
            facts["result"] = _kept(facts["result"])
        changed = entry.facts | facts
        if changed != entry.facts:
            entry.facts, entry.revision = changed, entry.revision + 1
            entry.save(update_fields=["facts", "revision"])
    return entry


def told_result(entry: PlaceExposure) -> Result | None:
    """How it came out, as the log takes it."""
    kept = entry.facts["result"]
    if kept is None:
        return None
    return Result(kept["typed"], kept["stops"], kept["right_time_s"], kept["measured"])


# ------------------------------------------------------------------------------------------------------- inside


def _kept(result: Result | None) -> dict[str, Any] | None:
    if result is None:
        return None
    measured = {"stops": result.stops, "right_time_s": result.right_time_s, "measured": result.measured}
    return measured | {"typed": result.typed}


def _stored_as(entry: PlaceExposure) -> PlaceExposure | None:
    """The entry of this place stored under the id of a new one, if any; a `Conflict` where the two differ."""
    stored = PlaceExposure.objects.filter(id=entry.id).first()
    if stored is None:
        if ExposureLog.objects.filter(id=entry.id).exists():  # or it could not be logged under its id
            raise _taken(entry)
        return None
    if stored.place_id != entry.place.pk or not _same(stored, entry):
        raise _taken(entry)
    return stored


def _same(stored: PlaceExposure, entry: PlaceExposure) -> bool:
    """Whether the second tells what the first told when it was sent, or what it tells now."""
    one, other = ({k: v for k, v in each.facts.items() if k not in LATER} for each in (stored, entry))
    words = [{k: v for k, v in each.typed.items() if k not in LATER} for each in (stored, entry)]
    if one != other or words[0] != words[1]:
        return False
    return stored.typed == entry.typed or all(stored.facts[name] == entry.facts[name] for name in LATER)


def _taken(entry: PlaceExposure) -> Conflict:
    return Conflict(f"Another entry is stored under the id {entry.id}; choose a new one.")
