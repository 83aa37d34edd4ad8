"""Taking out again exactly what a batch brought in, unless something rests on it by now."""

import uuid
from collections.abc import Collection
from typing import Any

from django.db import transaction
from django.db.models import Count, Q
from rest_framework.exceptions import ErrorDetail

from clubs.models import Camera, Membership
from clubs.trail import record
from exposures.evidence import hold, take_out
from exposures.imports.importing import Standing, State, locked, save, subject_of
from exposures.models import ExposureLog, ImportBatch, Paper
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict


def undo(*, actor: Membership, id: uuid.UUID, expected: Expected) -> ImportBatch:  # noqa: A002  (the contract's key)
    """Delete what the batch made. Raises `Standing` with a reason for each row that something rests on."""
    with transaction.atomic():
        hold(actor.club_id)
        batch = locked(actor, id, expected)
        if batch.state != State.IMPORTED:
            raise Conflict("Nothing of this sheet is imported.")
        rows = {entry["made"]: entry for entry in batch.report if entry["state"] == "imported"}
        # Held before they are looked at: no picture or photo comes to a row that goes, whose file would stay.
        list(_made(batch, rows.keys()).order_by("pk").select_for_update().values_list("pk"))
        resting = _resting(batch, rows.keys())
        if resting:
            faults = {str(rows[made]["row"]): [ErrorDetail(text, "rests_on_it")] for made, text in resting.items()}
            raise Standing({"rows": faults})
        gone = list(_made(batch, rows.keys()))
        _made(batch, rows.keys()).delete()
        if batch.kind == "exposures":
            take_out(*gone)
        for entry in rows.values():
            entry["state"] = "undone"
        batch.state = State.UNDONE
        save(batch)
        after = {"rows": len(rows), "file": batch.file_name}
        record(club=batch.club, actor=actor.user, action="undo_import", subject=subject_of(batch), after=after)
    return batch


def _made(batch: ImportBatch, made: Collection[str]) -> Any:
    """The rows of the database that the batch made and that are still there."""
    if batch.kind == "cameras":
        return Camera.objects.filter(club=batch.club, code__in=made)
    model: Any = {"exposures": ExposureLog, "papers": Paper}[batch.kind]
    return model.objects.filter(imported_in=batch)


def _resting(batch: ImportBatch, made: Collection[str]) -> dict[str, str]:
    """By what was made, why it cannot go."""
    rows = _made(batch, made)
    if batch.kind == "exposures":
        standing = rows.filter(Q(corrected_by__isnull=False) | Q(picture__isnull=False)).order_by("number")
        return {
            str(id): "It was corrected." if corrected else "It has a picture; take that away first."
            for id, corrected in standing.values_list("id", "corrected_by")  # noqa: A001
        }
    path = "specs__exposures" if batch.kind == "cameras" else "exposures"
    key = "code" if batch.kind == "cameras" else "pk"
    found = {}
    for thing, revision, logs in rows.annotate(logs=Count(path, distinct=True)).values_list(key, "revision", "logs"):
        if logs:
            found[str(thing)] = f"{logs} exposure{'s were' if logs > 1 else ' was'} logged with it."
        elif revision > 1:
            found[str(thing)] = "It was changed since."
    if batch.kind == "cameras":
        pictured = rows.filter(photos__isnull=False).distinct().values_list("code", flat=True)
        found |= {code: "It has photos; take those away first." for code in pictured if code not in found}
    return found
