"""Sheets as a club issues them: numbered, kept as data, never changed, read by those who may."""

import uuid
from typing import Any

from django.db import transaction
from django.db.models import Max, QuerySet
from django.http import Http404
from django.utils import timezone

from clubs.models import Club, IssuedSheet, Membership
from clubs.roles import MAY, allows
from clubs.services import check_role
from clubs.sheets.changes import sheet_before, told_changes
from clubs.sheets.documents import digest, read_document
from clubs.trail import record


def issue(
    *, actor: Membership, document: dict[str, Any], action: str = "read_sheets", doing: str = "issue_sheet"
) -> IssuedSheet:
    """Keep a document as the club's next sheet; whoever may do `action` of `MAY` may read it.

    It is made at the moment of its issue, says its number, and says what changed since the sheet before of the same
    kind and subject that the same people may read. Its digest leaves all three out: two sheets that tell the same of
    their subject have the same digest. Raises `Faulty` where the document cannot be set, `PermissionDenied` where
    the actor may not do `doing`.
    """
    check_role(membership=actor, action=doing)
    data = read_document(document)
    with transaction.atomic():
        club = Club.objects.select_for_update(no_key=True).get(pk=actor.club_id)  # the club's logs need not wait
        now, last = timezone.now(), club.sheets.aggregate(last=Max("number"))["last"]
        sheet = IssuedSheet(
            club=club,
            number=(last or 0) + 1,
            kind=data["kind"],
            subject=data["subject"],
            action=action,
            digest=digest(data),
            issued_by=actor.user,
            issued_at=now,
        )
        sheet.data = data | {"made_at": now.isoformat(timespec="seconds"), "number": sheet.number}
        if before := sheet_before(sheet):
            sheet.data["changes"] = told_changes(before, sheet)
        sheet.save()
        told = {"sheet": sheet.number, "kind": sheet.kind, "digest": sheet.digest}
        record(club=club, actor=actor.user, action=doing, subject=sheet.subject, after=told)
    return sheet


def sheets_in(*, actor: Membership) -> QuerySet[IssuedSheet]:
    """The club's sheets that the actor may read."""
    readable = [action for action in MAY if allows(actor.role, action)]
    return IssuedSheet.objects.filter(club=actor.club_id, action__in=readable).select_related("issued_by")


def sheet_in(*, actor: Membership, id: uuid.UUID) -> IssuedSheet:  # noqa: A002  (the contract's key)
    """The club's sheet; what the actor may not read is not there: 404."""
    found = sheets_in(actor=actor).filter(pk=id).first()
    if found is None:
        raise Http404
    return found
