"""What the log keeps of a person, and how it parts with them."""

from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import F

from exposures.archive import ARCHIVE
from exposures.evidence import mark_changed
from exposures.models import EvidenceCell, ExposureLog, ImportBatch, NegativePicture
from exposures.serializers import LogOut


def exposures_of(user: Any) -> list[Any]:
    """Their entries, private and corrected ones too."""
    rows = ExposureLog.objects.filter(member=user).order_by("number")
    rows = rows.select_related("club", "spec__camera", "member", "person", "picture", "corrects", "corrected_by")
    return [{"club": row.club.slug, **LogOut(row).data} for row in rows]


def part_with(user: Any) -> None:
    """Leave an account's logs to its clubs as a former member's, before it is deleted; its private ones go with it.

    Call inside the transaction that deletes it.
    """
    shared: dict[int, bool] = {}
    for club, one in EvidenceCell.objects.filter(member=user).values_list("club_id", "shared"):
        shared[club] = shared.get(club, False) or one
    for club in sorted(shared):
        mark_changed(club_id=club, shared=shared[club])
    _delete_private(user)
    ImportBatch.objects.filter(made_by=user).exclude(kind=ARCHIVE).delete()  # their tables may hold private rows
    ExposureLog.objects.filter(member=user).update(member=None, revision=F("revision") + 1)


def _delete_private(user: Any) -> None:
    """No one else may ever see these. What corrected one stands by itself, as it did for all others."""
    private = ExposureLog.objects.filter(member=user, private=True)
    ExposureLog.objects.filter(corrects__in=private).update(corrects=None, revision=F("revision") + 1)
    for picture in NegativePicture.objects.filter(log__in=private):
        transaction.on_commit(partial(picture.image.storage.delete, str(picture.image.name)))
    private.delete()
