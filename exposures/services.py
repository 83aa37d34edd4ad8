"""Logging an exposure and adding a paper."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from clubs.models import Camera, Membership
from clubs.services import check_role
from exposures.evidence import evidence_of, keep
from exposures.models import ExposureLog, Paper
from optics.core.light import Light
from pinpool.http.problems import Conflict


def add_paper(*, actor: Membership, **facts: Any) -> Paper:
    """A new stock; its name is the club's own and taken once."""
    check_role(membership=actor, action="add_paper")
    try:
        with transaction.atomic():
            return Paper.objects.create(club=actor.club, **facts)
    except IntegrityError:
        raise Conflict(f"The club has a paper called “{facts['name']}” already.") from None


@dataclass(frozen=True)
class Result:
    """How an exposure came out: stops over (+) or under, or the time that would have been right.

    `measured` where the stops come from a density, not from the eye.
    """

    typed: dict[str, Any]
    stops: float | None = None
    right_time_s: float | None = None
    measured: bool = False


def log_exposure(
    *,
    actor: Membership,
    camera: Camera,
    paper: Paper,
    taken_at: datetime,
    reading: float,
    typed_reading: Any,
    exposure_time: float,
    typed_time: Any,
    filter_stops: float,
    result: Result | None,
    id: uuid.UUID | None = None,  # noqa: A002  (the contract's key)
    **words: Any,
) -> tuple[ExposureLog, bool]:
    """Log an exposure with the camera's spec in force; returns the entry and whether it is new.

    The same entry sent again under the same `id` is the same entry; another one under it is a `Conflict`.
    """
    check_role(membership=actor, action="log_exposure")
    spec = camera.spec
    assert spec is not None  # noqa: S101  (a camera is registered with one)
    index = paper.nominal_exposure_index
    indicated = Light(reading).time_s(f_number=spec.f_number, exposure_index=index) * 2**filter_stops
    facts = {
        "club": actor.club,
        "paper": paper,
        "member": actor.user,
        "taken_at": taken_at,
        "reading": typed_reading,
        "ev100": reading,
        "filter_stops": filter_stops,
        "exposure_time_s": exposure_time,
        "typed_time": typed_time,
        "result": result.typed if result else None,
        "result_stops": result.stops if result else None,
        "right_time_s": result.right_time_s if result else None,
        **words,
    }
    derived = {
        "spec": spec,
        "f_number": spec.f_number,
        "exposure_index": index,
        "indicated_time_s": indicated,
        **evidence_of(
            exposure_time_s=exposure_time,
            indicated_time_s=indicated,
            exposure_index=index,
            result_stops=facts["result_stops"],
            right_time_s=facts["right_time_s"],
            measured=result is not None and result.measured,
        ),
    }
    id = id or uuid.uuid4()  # noqa: A001
    try:
        with transaction.atomic():
            log = ExposureLog.objects.create(id=id, **facts, **derived)
            keep(log)
            return log, True
    except IntegrityError:
        stored = ExposureLog.objects.select_related("spec__camera").filter(id=id).first()
        if stored is None:
            raise
    same = stored.spec.camera_id == camera.pk and all(getattr(stored, name) == value for name, value in facts.items())
    if not same:
        raise Conflict(f"Another entry is stored under the id {id}; choose a new one.")
    return stored, False
