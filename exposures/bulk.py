"""Many entries of the log at once: what a season's notebook or a phone that was away brings."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from rest_framework.exceptions import ErrorDetail, ValidationError

from clubs.models import Membership
from clubs.selectors import cameras_in
from clubs.services import check_role
from exposures.evidence import hold, keep
from exposures.models import ExposureLog, Paper
from exposures.services import record_in_trail, same, unsaved_log
from pinpool.http.problems import Conflict, faults_of, impossible

MOST_AT_ONCE = 500
#: Another club may store entries under the same ids at the same moment; each try sees what it stored before.
TRIES = 5


@dataclass(frozen=True)
class Outcome:
    """What came of one entry: `created`, `known` (stored before), or `refused` with its faults."""

    outcome: str
    id: UUID | None
    errors: Sequence[dict[str, str]] = ()


@dataclass(frozen=True)
class Outcomes:
    results: Sequence[Outcome]
    counts: Counter[str] = field(default_factory=Counter)

    @property
    def created(self) -> int:
        return self.counts["created"]

    @property
    def known(self) -> int:
        return self.counts["known"]

    @property
    def refused(self) -> int:
        return self.counts["refused"]


def log_exposures(*, actor: Membership, entries: Sequence[dict[str, Any] | ValidationError]) -> Outcomes:
    """Log all that have no faults, in one transaction, with one statement more for each cell that they count in.

    `entries` are read by `LogIn`, or the faults it found. The same rule for ids holds as for one entry, also within
    the list.
    """
    check_role(membership=actor, action="log_exposure")
    found = _with_cameras_and_papers(actor, entries)
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return _store(actor, found)
        except IntegrityError:  # an id that another club stored in between: now it is seen
            continue
    raise Conflict("Others store entries under the same ids all the time; send it again.")


def _store(actor: Membership, entries: Sequence[dict[str, Any] | ValidationError]) -> Outcomes:
    hold(actor.club_id)
    ids = [entry["id"] for entry in entries if isinstance(entry, dict) and "id" in entry]
    stored = {log.id: log for log in ExposureLog.objects.filter(id__in=ids).select_related("spec")}
    new: list[ExposureLog] = []
    results: list[Outcome] = []
    for place, entry in enumerate(entries):
        if isinstance(entry, ValidationError):
            results.append(_refused(place, entry.detail))
            continue
        log = unsaved_log(actor=actor, **entry)
        before = stored.get(log.id)
        if before is None:
            stored[log.id] = log
            new.append(log)
            results.append(Outcome("created", log.id))
        elif same(before, log):
            results.append(Outcome("known", log.id))
        else:
            text = f"Another entry is stored under the id {log.id}; choose a new one."
            results.append(_refused(place, {"id": [ErrorDetail(text, "conflict")]}))
    ExposureLog.objects.bulk_create(new)
    keep(*new)
    told = [str(log.id) for log in new if not log.private]
    if told:
        record_in_trail(actor, "log_exposure", f"{len(told)} exposures", after={"ids": told})
    return Outcomes(results, Counter(each.outcome for each in results))


def _with_cameras_and_papers(
    actor: Membership, entries: Sequence[dict[str, Any] | ValidationError]
) -> list[dict[str, Any] | ValidationError]:
    """The camera and the paper in the place of their names; what is not in the club is a fault of the entry."""
    good = [entry for entry in entries if isinstance(entry, dict)]
    codes, ids = ({entry[name] for entry in good} for name in ("camera", "paper"))
    rows = cameras_in(club=actor.club).filter(code__in={code.upper() for code in codes})
    cameras = {camera.code: camera for camera in rows}
    papers = Paper.objects.filter(club=actor.club).in_bulk(list(ids))
    found: list[dict[str, Any] | ValidationError] = []
    for entry in entries:
        if isinstance(entry, ValidationError):
            found.append(entry)
            continue
        camera, paper = cameras.get(entry["camera"].upper()), papers.get(entry["paper"])
        faults = {
            name: [impossible(f"There is no {name} of that {key} in this club.", f"unknown_{name}")]
            for name, key, row in (("camera", "code", camera), ("paper", "id", paper))
            if row is None
        }
        found.append(ValidationError(faults) if faults else entry | {"camera": camera, "paper": paper})
    return found


def _refused(place: int, detail: Any) -> Outcome:
    faults = [
        {"pointer": pointer, "code": str(fault.code), "detail": str(fault)}
        for pointer, fault in faults_of(detail, f"/{place}")
    ]
    return Outcome("refused", None, faults)
