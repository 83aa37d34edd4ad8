"""Logging an exposure, adding a paper, and asking for a time."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db import IntegrityError, transaction

from clubs.models import Camera, Membership
from clubs.services import check_role
from exposures.models import ExposureLog, Paper, evidence
from exposures.reciprocity.estimate import PaperEstimate, estimate
from optics.core.exposure import StripStep, expose
from optics.core.faults import Flag
from optics.core.light import Light
from optics.core.say import say_f_number, say_stops, say_time
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
    """How an exposure came out: stops over (+) or under, or the time that would have been right."""

    typed: dict[str, Any]
    stops: float | None = None
    right_time_s: float | None = None


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
    indicated = Light(reading).time_s(f_number=spec.f_number, exposure_index=paper.nominal_exposure_index)
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
        "exposure_index": paper.nominal_exposure_index,
        "indicated_time_s": indicated * 2**filter_stops,
    }
    id = id or uuid.uuid4()  # noqa: A001
    try:
        with transaction.atomic():
            return ExposureLog.objects.create(id=id, **facts, **derived), True
    except IntegrityError:
        stored = ExposureLog.objects.select_related("spec__camera").filter(id=id).first()
        if stored is None:
            raise
    same = stored.spec.camera_id == camera.pk and all(getattr(stored, name) == value for name, value in facts.items())
    if not same:
        raise Conflict(f"Another entry is stored under the id {id}; choose a new one.")
    return stored, False


@dataclass(frozen=True)
class Recommendation:
    """A time for a camera, a paper and a light, what it rests on, and how sure it is."""

    ev100: float
    indicated_time_s: float
    exposure_time_s: float
    low_s: float | None
    high_s: float | None
    test_strip: Sequence[StripStep]
    because: Sequence[str]
    flags: Sequence[Flag]

    @property
    def strip_totals_s(self) -> list[float]:
        return [step.total_s for step in self.test_strip]


def recommend(
    *, actor: Membership, camera: Camera, paper: Paper, reading: float, filter_stops: float = 0.0
) -> Recommendation:
    """The time to give by what the club's log says of this paper."""
    check_role(membership=actor, action="ask_recommendation")
    spec = camera.spec
    assert spec is not None  # noqa: S101  (a camera is registered with one)
    pooled = estimate(*evidence(paper))
    hole_stops = float(2 / np.log(2) * spec.hole_uncertainty_mm / spec.hole_diameter_mm)
    plan = expose(
        ev100=reading,
        f_number=spec.f_number,
        exposure_index=paper.nominal_exposure_index,
        filter_stops=filter_stops,
        law=pooled,
    )
    interval: tuple[float | None, float | None] = (None, None)
    if pooled.logs:
        interval = pooled.interval(plan.indicated_time_s, more_stops=hole_stops)
    return Recommendation(
        ev100=reading,
        indicated_time_s=plan.indicated_time_s,
        exposure_time_s=plan.exposure_time_s,
        low_s=interval[0],
        high_s=interval[1],
        test_strip=plan.test_strip,
        because=_because(
            f_number=spec.f_number,
            paper=paper,
            ev100=reading,
            indicated_s=plan.indicated_time_s,
            exposure_s=plan.exposure_time_s,
            pooled=pooled,
            hole_stops=hole_stops,
        ),
        flags=(*plan.flags, *pooled.flags_at(plan.exposure_time_s)),
    )


def _because(
    *,
    f_number: float,
    paper: Paper,
    ev100: float,
    indicated_s: float,
    exposure_s: float,
    pooled: PaperEstimate,
    hole_stops: float,
) -> list[str]:
    index = paper.nominal_exposure_index
    lines = [
        f"EV {ev100:.1f} at {say_f_number(f_number)} and index {index:g} indicates {say_time(indicated_s)}.",
    ]
    if pooled.logs:
        known = (
            f"{pooled.logs} logs of {paper.name}, from {say_time(pooled.shortest_s)} to "
            f"{say_time(pooled.longest_s)}, put its index at {pooled.exposure_index(index):.2g} "
            f"({say_stops(pooled.offset_stops)} against the nominal one)"
        )
        if pooled.slope_estimated:
            known += (
                f" and its exponent at {pooled.exponent:.2f} ± {pooled.exponent_error:.2f}; a single log scatters by "
                f"{pooled.residual_stops:.2f} stop."
            )
        else:
            known += "; they tell no exponent, so none is reckoned with, and the interval allows for one."
        lines.append(known)
    else:
        lines.append(f"Nobody has logged {paper.name} yet; its nominal index is all there is.")
    lines.append(f"That makes {say_time(exposure_s)}.")
    if hole_stops > 0:
        lines.append(f"The hole is known to ±{hole_stops:.2f} stop, which is in the interval.")
    return lines
