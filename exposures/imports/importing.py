"""A batch's life: brought in and tried, mapped anew and tried again, imported as a whole or as far as it is good.

A batch is seen by whoever brought it in, and by keepers. How one is undone: see `undoing`.
"""

import uuid
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.http import Http404
from rest_framework.exceptions import ErrorDetail, PermissionDenied, ValidationError

from clubs.models import Membership
from clubs.roles import allows
from clubs.services import check_role, register_camera
from clubs.trail import record
from exposures.evidence import hold, keep
from exposures.imports.cells import Format
from exposures.imports.fields import KINDS_OF_SHEET, fields_offered
from exposures.imports.guessing import Column, Question, guessed, questions_of
from exposures.imports.importers import read_by
from exposures.imports.known import Known
from exposures.imports.sheets import read_sheet
from exposures.imports.trial import Fault, Row, Trial
from exposures.imports.words import in_words
from exposures.models import ExposureLog, ImportBatch
from exposures.services import add_paper, same, unsaved_log
from optics.core.faults import Impossible
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible

State = ImportBatch.State


class Standing(ValidationError):
    """What cannot be done because of what stands in some rows; each fault points at its row."""

    status_code = 409


def batches_of(*, actor: Membership) -> QuerySet[ImportBatch]:
    rows = ImportBatch.objects.filter(club=actor.club, kind__in=KINDS_OF_SHEET).select_related("made_by")
    return rows if allows(actor.role, "add_member") else rows.filter(made_by=actor.user)


def batch_of(*, actor: Membership, id: uuid.UUID) -> ImportBatch:  # noqa: A002  (the contract's key)
    return _found(batches_of(actor=actor), id)


def batch_with_rows(*, actor: Membership, id: uuid.UUID) -> ImportBatch:  # noqa: A002
    """A batch whose rows the actor may read."""
    batch = batch_of(actor=actor, id=id)
    if not may_read_rows(batch, actor):
        raise Http404
    return batch


def may_read_rows(batch: ImportBatch, actor: Membership) -> bool:
    """With private logs among them, whoever brought them in alone."""
    named = {column.field for column in columns_of(batch)} | fixed_of(batch).keys()
    return "visibility" not in named or batch.made_by_id == actor.user_id


def _found(rows: QuerySet[ImportBatch], id: uuid.UUID) -> ImportBatch:  # noqa: A002
    batch = rows.filter(pk=id).first()
    if batch is None:
        raise Http404
    return batch


# ---------------------------------------------------------------------------------------------------- trying


def start(
    *,
    actor: Membership,
    kind: str,
    file: Any,
    encoding: str | None = None,
    delimiter: str | None = None,
    importer: str | None = None,
) -> ImportBatch:
    """Read a sheet, guess which column is what, and try every row; nothing but the batch is stored.

    An `importer` of a plug-in, by its name, reads what no spreadsheet is.
    """
    _check_roles(actor, kind)
    content = file.read(setting("MAX_IMPORT_BYTES") + 1)
    try:
        if importer is None:
            sheet = read_sheet(content, encoding=encoding, delimiter=delimiter)
        else:
            sheet = read_by(importer, content=content, name=_plain_name(file.name))
    except Impossible as fault:
        raise ValidationError({fault.field: [impossible(str(fault), fault.code)]}) from None
    known, on = Known(club=actor.club, actor=actor).tests, actor.club.plugins
    columns = guessed(kind=kind, table=sheet.table, known=known, plugins=on)
    batch = ImportBatch(club=actor.club, kind=kind, file_name=_plain_name(file.name), table=sheet.table)
    batch.made_by = actor.user
    _map(batch, columns, {}, first_row=sheet.first_row)
    _try(batch, actor)
    with transaction.atomic():
        batch.save()
        kept = ImportBatch.objects.filter(club=actor.club, made_by=actor.user, state=State.TRIED).order_by("-made_at")
        old = kept.values_list("pk", flat=True)[setting("MAX_IMPORTS_TRIED") :]
        ImportBatch.objects.filter(pk__in=list(old)).delete()
    return batch


def change(
    *,
    actor: Membership,
    id: uuid.UUID,  # noqa: A002  (the contract's key)
    columns: list[Column],
    fixed: dict[str, str] | None,
    expected: Expected,
) -> ImportBatch:
    """Map some columns otherwise, and try every row again."""
    batch = batch_of(actor=actor, id=id)
    _check_roles(actor, batch.kind)
    _check_rows(actor, batch)
    expected.check(batch.revision)
    if batch.state == State.IMPORTED:
        raise Conflict("This sheet has been imported; undo that first.")
    changed = {column.name: column for column in columns}
    mapped = [changed.get(column.name, column) for column in columns_of(batch)]
    _check_mapping(mapped, columns)
    _map(batch, mapped, fixed_of(batch) if fixed is None else fixed, first_row=batch.mapping["first_row"])
    batch.state = State.TRIED
    _try(batch, actor)
    with transaction.atomic():  # short: others may wait for it
        locked(actor, id, expected)
        save(batch)
    return batch


def _check_roles(actor: Membership, kind: str) -> None:
    check_role(membership=actor, action="import_rows")
    check_role(membership=actor, action=KINDS_OF_SHEET[kind][1])


def _check_rows(actor: Membership, batch: ImportBatch) -> None:
    """Whoever may not read the rows could, once they map them otherwise or the logs are their own."""
    if not may_read_rows(batch, actor):
        raise PermissionDenied("Its rows say who may see what: only who brought the sheet in maps and imports them.")


def locked(actor: Membership, id: uuid.UUID, expected: Expected) -> ImportBatch:  # noqa: A002
    """The batch, locked, if it is the revision that the caller knows."""
    batch = _found(batches_of(actor=actor).select_for_update(of=("self",)), id)
    _check_roles(actor, batch.kind)
    expected.check(batch.revision)
    return batch


def save(batch: ImportBatch) -> None:
    batch.revision += 1
    batch.save(update_fields=["mapping", "report", "state", "revision"])


def _plain_name(name: str) -> str:
    """A file's name without its folders and without what no name has."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable())[:120] or "sheet"


def _map(batch: ImportBatch, columns: list[Column], fixed: dict[str, str], *, first_row: int) -> None:
    batch.mapping = {"columns": [column.stored() for column in columns], "fixed": fixed, "first_row": first_row}


def columns_of(batch: ImportBatch) -> list[Column]:
    return [
        Column(each["column"], each["field"], Format(**each["format"]), each["sure_share"])
        for each in batch.mapping["columns"]
    ]


def fixed_of(batch: ImportBatch) -> dict[str, str]:
    """What holds for every row, by field, where no cell says otherwise."""
    return batch.mapping["fixed"]


def open_questions(batch: ImportBatch) -> list[Question]:
    return questions_of(kind=batch.kind, columns=columns_of(batch), table=batch.table, fixed=fixed_of(batch))


def known_fields(batch: ImportBatch) -> list[str]:
    """What a column of the sheet can be."""
    return list(fields_offered(batch.kind, batch.club.plugins))


def add_what_was_read(batch: ImportBatch, actor: Membership, entries: list[Any]) -> None:
    """Give each reported row, as an object with its number in `row`, the body read from it as `read`."""
    trial, first = trial_of(batch, actor), batch.mapping["first_row"]
    for entry in entries:
        [row] = trial.rows(range(entry.row - first, entry.row - first + 1))
        entry.read = row.body


def _check_mapping(mapped: list[Column], changed: list[Column]) -> None:
    """Each column must be one of the sheet's, and each field stand once."""
    names = {column.name for column in mapped}
    fields = Counter(column.field for column in mapped if column.field)
    faults: dict[Any, Any] = {}
    for place, column in enumerate(changed):
        if column.name not in names:
            text = f"The sheet has no column “{column.name[:80]}”."
            faults[place] = {"column": [impossible(text, "unknown_column")]}
        elif column.field and fields[column.field] > 1:
            text = f"“{in_words(column.field)}” is chosen for several columns; leave the others aside."
            faults[place] = {"field": [impossible(text, "repeated_field")]}
    if faults:
        raise ValidationError({"columns": faults})


def trial_of(batch: ImportBatch, actor: Membership) -> Trial:
    return Trial(batch=batch, actor=actor, columns=columns_of(batch), fixed=fixed_of(batch))


def _try(batch: ImportBatch, actor: Membership) -> list[Row]:
    """Try every row and write the report."""
    rows = list(trial_of(batch, actor).rows())
    ids = (row.facts["id"] for row in rows if batch.kind == "exposures" and not row.empty and not row.faults)
    known = {log.id for log in _stored(ids)}
    batch.report = [_reported(row, known) for row in rows]
    return rows


def _stored(ids: Iterable[uuid.UUID]) -> Iterator[ExposureLog]:
    """The entries that are stored under some ids, whichever club's."""
    wanted = list(ids)
    for start_at in range(0, len(wanted), 500):
        yield from ExposureLog.objects.filter(id__in=wanted[start_at : start_at + 500]).select_related("spec")


def _reported(row: Row, known: set[uuid.UUID]) -> dict[str, Any]:
    state = "empty" if row.empty else "faulty" if row.faults else "known" if row.facts.get("id") in known else "good"
    return {"row": row.number, "state": state, "made": None, "faults": [vars(fault) for fault in row.faults]}


# -------------------------------------------------------------------------------------------- bringing rows in


def apply(*, actor: Membership, id: uuid.UUID, rows: str, expected: Expected) -> ImportBatch:  # noqa: A002
    """Import all rows or none, or the good ones. Of a batch that is imported already nothing more comes."""
    batch = batch_of(actor=actor, id=id)
    _check_roles(actor, batch.kind)
    _check_rows(actor, batch)
    if batch.state == State.IMPORTED:
        return batch
    expected.check(batch.revision)
    if batch.state == State.UNDONE:
        raise Conflict("This import was undone; change its mapping, if only to the same, to try it again.")
    tried = _try(batch, actor)
    if rows == "all":
        _refuse_faulty(batch)
    with transaction.atomic():  # short: others may wait for it
        hold(actor.club_id)
        now = _found(batches_of(actor=actor).select_for_update(of=("self",)), id)
        if now.state == State.IMPORTED:
            return now
        expected.check(now.revision)
        _import(batch, tried)
        if rows == "all":
            _refuse_faulty(batch)
        batch.state = State.IMPORTED
        save(batch)
        after = {"rows": dict(counts(batch)), "chosen": rows, "file": batch.file_name}
        record(club=batch.club, actor=actor.user, action="import_rows", subject=subject_of(batch), after=after)
    return batch


def subject_of(batch: ImportBatch) -> str:
    return f"{batch.kind} from {batch.file_name}"[:200]


def counts(batch: ImportBatch) -> Counter[str]:
    """How many rows are in each state."""
    return Counter(entry["state"] for entry in batch.report)


def _import(batch: ImportBatch, tried: list[Row]) -> None:
    """Bring in every row without a fault; what is refused now becomes a fault of its row."""
    good = [(row, entry) for row, entry in zip(tried, batch.report, strict=True) if not row.empty and not row.faults]
    if batch.kind == "exposures":
        _bring_logs(batch, good)
        return
    for row, entry in good:
        try:
            if batch.kind == "papers":
                made = str(add_paper(**row.facts, imported_in=batch).pk)
            else:
                made = register_camera(**row.facts).code
            entry |= {"made": made, "state": "imported"}
        except Conflict as refused:
            entry |= {"state": "faulty", "faults": [vars(Fault(refused.default_code, str(refused.detail)))]}


def _bring_logs(batch: ImportBatch, good: list[tuple[Row, dict[str, Any]]]) -> None:
    """All at once, by the same rule for ids as entries of the API: what is stored already is known, or refused."""
    logs = [unsaved_log(**row.facts, imported_in=batch) for row, _ in good]
    stored = {log.id: log for log in _stored(log.id for log in logs)}
    new = []
    for log, (_, entry) in zip(logs, good, strict=True):
        before = stored.setdefault(log.id, log)
        if before is log:
            new.append(log)
            entry |= {"made": str(log.id), "state": "imported"}
        elif same(before, log):
            entry |= {"made": str(log.id), "state": "known"}
        else:
            text = f"Another entry is stored under the id {log.id}."
            entry |= {"state": "faulty", "faults": [vars(Fault("conflict", text))]}
    try:
        with transaction.atomic():
            ExposureLog.objects.bulk_create(new, batch_size=500)
    except IntegrityError:
        raise Conflict("Somebody else brought in the same entries at the same moment; send it again.") from None
    keep(*new)


def _refuse_faulty(batch: ImportBatch) -> None:
    faults = {
        str(entry["row"]): {fault["field"] or "": [ErrorDetail(fault["detail"], fault["code"])]}
        for entry in batch.report
        for fault in entry["faults"][:1]
    }
    if faults:
        raise Standing({"rows": dict(list(faults.items())[:100])})
