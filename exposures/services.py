"""What can be done to papers and the log."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.http import Http404
from django.utils import timezone
from rest_framework.exceptions import PermissionDenied, ValidationError

from clubs.models import Camera, Membership, Person
from clubs.roles import allows
from clubs.services import check_role
from clubs.trail import record
from exposures.evidence import evidence_of, hold, hold_for, keep, mark_changed, take_out
from exposures.models import ExposureLog, NegativePicture, Paper, PaperMerge
from exposures.processes import told_again
from optics.core.light import Light
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible
from pinpool.prepared import PreparedInsert

#: What a person tells of an exposure. Sent again under the same id, all of it must be the same; the camera too.
TOLD = (
    "club_id", "member_id", "person_id", "paper_id", "taken_at", "reading", "ev100", "filter_stops", "exposure_time_s",
    "typed_time", "result", "result_stops", "right_time_s", "process", "note", "place_latitude", "place_longitude",
    "shared", "private", "corrects_id", "reason",
)  # fmt: skip
#: What the club's fit rests on of a paper.
COUNTED = ("catalogue_key", "nominal_exposure_index")


# ------------------------------------------------------------------------------------------------------ papers


def add_paper(*, actor: Membership, **facts: Any) -> Paper:
    """A new stock; its name is the club's own and taken once."""
    check_role(membership=actor, action="add_paper")
    paper = Paper(club=actor.club, **facts)
    with transaction.atomic():
        _save_paper(paper)
        record_in_trail(actor, "add_paper", f"paper {paper.name}", after=_paper_told(paper))
    return paper


def change_paper(
    *,
    actor: Membership,
    id: uuid.UUID,  # noqa: A002  (the contract's key)
    expected: Expected,
    retired: bool | None = None,
    **facts: Any,
) -> Paper:
    """Change some facts of a stock, or take it out of use (`retired`) and back.

    Its name and family make its catalogue key, by which the logs are pooled, and effects are counted from its nominal
    index: changing those makes every fit anew. A paper that a merge names keeps its key until that is undone.
    """
    check_role(membership=actor, action="change_paper")
    with transaction.atomic():
        paper = Paper.objects.select_for_update(no_key=True).filter(club=actor.club, pk=id).first()
        if paper is None:
            raise Http404
        expected.check(paper.revision)
        before, counted = _paper_told(paper), [getattr(paper, name) for name in COUNTED]
        for name, value in facts.items():
            setattr(paper, name, value)
        if retired is not None and retired != (paper.retired_at is not None):
            paper.retired_at = timezone.now() if retired else None
        if (after := _paper_told(paper)) == before:
            return paper
        paper.revision += 1
        _save_paper(paper)
        if counted != [getattr(paper, name) for name in COUNTED]:
            _check_merges(paper, counted[0])
            mark_changed(club_id=actor.club_id, shared=True)
        record_in_trail(actor, "change_paper", f"paper {before['name']}", before, after)
    return paper


def _save_paper(paper: Paper) -> None:
    try:
        with transaction.atomic():
            paper.save()
    except IntegrityError:
        raise Conflict(f"The club has a paper called “{paper.name}” already.") from None


def _check_merges(paper: Paper, key_before: str) -> None:
    """A merge is the keeper's word about two keys; it must not come to speak of nothing."""
    if paper.catalogue_key == key_before:
        return
    merges = PaperMerge.objects.filter(club=paper.club, undone_at=None)
    if merges.filter(Q(key=key_before) | Q(into_key=key_before)).exists():
        raise Conflict("A merge of papers names this one; undo that before you change its name or family.")


def _paper_told(paper: Paper) -> dict[str, Any]:
    """A stock for the trail."""
    return {
        "name": paper.name,
        "family": paper.family,
        "nominal_exposure_index": paper.nominal_exposure_index,
        "published": paper.published_typed
        and {
            "reciprocity" if paper.published_law else "rows": paper.published_typed,
            "source": paper.published_source,
        },
        "size_mm": paper.size,
        "batch": paper.batch,
        "expires_on": paper.expires_on and paper.expires_on.isoformat(),
        "sheets_left": paper.sheets_left,
        "note": paper.note,
        "retired": paper.retired_at is not None,
    }


# --------------------------------------------------------------------------------------------------------- log


@dataclass(frozen=True)
class Result:
    """How an exposure came out: stops over (+) or under, or the time that would have been right.

    `measured` where the stops come from a density, not from the eye.
    """

    typed: dict[str, Any]
    stops: float | None = None
    right_time_s: float | None = None
    measured: bool = False


_insert = PreparedInsert(ExposureLog)


def log_exposure(*, actor: Membership, **told: Any) -> tuple[ExposureLog, bool]:
    """Log an exposure, told as `unsaved_log` takes it; returns the entry and whether it is new.

    The same entry sent again under the same `id` is the same entry; another one under it is a `Conflict`.
    """
    check_role(membership=actor, action="log_exposure")
    log = unsaved_log(actor=actor, **told)
    try:
        with transaction.atomic():
            hold_for(log)
            _insert(log)
            for name in ("picture", "corrected_by"):
                leading: Any = ExposureLog._meta.get_field(name)
                leading.set_cached_value(log, None)  # nothing leads to it yet, and nobody need look
            keep(log, marked=True)
            if not log.private:
                record(
                    club=actor.club, actor=actor.user, action="log_exposure", subject=subject(log), after=told_by(log)
                )
    except IntegrityError:
        stored = stored_as(log)
        if stored is None:
            raise
        return stored, False
    return log, True


def correct_exposure(*, actor: Membership, log: ExposureLog, **told: Any) -> tuple[ExposureLog, bool]:
    """Put a new entry in the place of `log`, which stays on record but counts no longer. Told as for `log_exposure`,
    with a `reason`; only its author or a keeper may, and the new entry stays its author's.

    Its picture goes along. What the club has seen cannot become private. A `Conflict` where another correction was
    first.
    """
    check_role(membership=actor, action="correct_exposure")
    check_theirs(actor, log, "correct_exposure", "correct this entry")
    with transaction.atomic():
        hold(actor.club_id)
        old = ExposureLog.objects.select_for_update().get(pk=log.pk)
        new = unsaved_log(actor=actor, corrects=log, **told)
        stored = stored_as(new)
        if stored is not None:
            return stored, False
        if old.corrected_at is not None:
            raise Conflict(f"This entry has been corrected already, by {old.corrected_by.id}; correct that one.")
        if new.private and not old.private:
            text = "The club has seen this entry, and it stays on record; it can no longer be private."
            raise ValidationError({"visibility": [impossible(text, "seen_already")]})
        ExposureLog.objects.filter(pk=old.pk).update(corrected_at=timezone.now(), revision=F("revision") + 1)
        take_out(old)
        try:
            with transaction.atomic():
                new.save(force_insert=True)
        except IntegrityError:
            raise Conflict(f"Another entry was stored under the id {new.id} meanwhile; choose a new one.") from None
        keep(new)
        NegativePicture.objects.filter(log=old).update(log=new)
        if not new.private:
            before = None if old.private else told_by(log)
            record_in_trail(actor, "correct_exposure", subject(log), before, told_by(new))
    return new, True


def unsaved_log(
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
    corrects: ExposureLog | None = None,
    person: Person | None = None,
    **others: Any,
) -> ExposureLog:
    """An entry with all that follows from it: by the camera's spec in force then and the paper's nominal index now.

    It is the actor's own, or that of a `person` of the club without an account, for whom the actor logs it.
    A correction keeps the author, and the index and spec of the day where the paper, the camera and its time are the
    same. `others` are fields of `ExposureLog` as they are.
    """
    spec = camera.spec_at(taken_at)
    index = paper.nominal_exposure_index
    member = actor.user if person is None else None
    if corrects is not None:
        others |= {"corrects": corrects}
        member, person = corrects.member, corrects.person
        index = corrects.exposure_index if paper.pk == corrects.paper_id else index
        if (camera.pk, taken_at) == (corrects.spec.camera_id, corrects.taken_at):
            spec = corrects.spec
    assert spec is not None  # noqa: S101  (a camera is registered with one)
    if person is not None:
        _check_person(actor, person, private=others.get("private", False))
    indicated = Light(reading).time_s(f_number=spec.f_number, exposure_index=index) * 2**filter_stops
    evidence = evidence_of(
        exposure_time_s=exposure_time,
        indicated_time_s=indicated,
        exposure_index=index,
        result_stops=result.stops if result else None,
        right_time_s=result.right_time_s if result else None,
        measured=result is not None and result.measured,
        private=others.get("private", False),
    )
    return ExposureLog(
        id=id or uuid.uuid4(),
        club=actor.club,
        spec=spec,
        paper=paper,
        member=member,
        person=person,
        taken_at=taken_at,
        reading=typed_reading,
        ev100=reading,
        filter_stops=filter_stops,
        f_number=spec.f_number,
        exposure_index=index,
        indicated_time_s=indicated,
        exposure_time_s=exposure_time,
        typed_time=typed_time,
        result=result.typed if result else None,
        result_stops=result.stops if result else None,
        right_time_s=result.right_time_s if result else None,
        **evidence,
        **others,
    )


def _check_person(actor: Membership, person: Person, *, private: bool) -> None:
    if person.club_id != actor.club_id:
        raise Http404
    if private:
        text = "Nobody could ever read a private entry of somebody who has no account."
        raise ValidationError({"visibility": [impossible(text, "private_without_account")]})


def stored_as(log: ExposureLog) -> ExposureLog | None:
    """The entry stored under the id of an unsaved one, if any; a `Conflict` where they differ in what was told."""
    stored = ExposureLog.objects.select_related("spec__camera", "member", "person").filter(id=log.id).first()
    if stored is not None and not same(stored, log):
        raise Conflict(f"Another entry is stored under the id {log.id}; choose a new one.")
    return stored


def same(one: ExposureLog, other: ExposureLog) -> bool:
    told = all(getattr(one, name) == getattr(other, name) for name in TOLD)
    return told and one.spec.camera_id == other.spec.camera_id


def check_theirs(actor: Membership, log: ExposureLog, action: str, what: str) -> None:
    """Raise `PermissionDenied` where the entry is another's and the role does not reach that far."""
    if not allows(actor.role, action, whose="own" if log.member_id == actor.user_id else "others"):
        raise PermissionDenied(f"Only its author or a keeper may {what}.")


def record_in_trail(
    actor: Membership, action: str, subject: str, before: dict[str, Any] | None = None, after: Any = None
) -> None:
    record(club=actor.club, actor=actor.user, action=action, subject=subject, before=before, after=after)


def subject(log: ExposureLog) -> str:
    return f"exposure {log.id}"


def told_by(log: ExposureLog) -> dict[str, Any]:
    """An entry for the trail, in the words in which it was told."""
    return {
        "camera": log.spec.camera.code,
        "paper": log.paper.name,
        "taken_at": log.taken_at.isoformat(),
        "reading": log.reading,
        "filter_stops": log.filter_stops,
        "exposure_time": log.typed_time,
        "result": log.result,
        "process": told_again(log.process),
        "note": log.note,
        "place_degrees": log.place,
        "visibility": log.visibility,
    } | {name: told for name, told in (("person", log.person and log.person.called), ("reason", log.reason)) if told}
