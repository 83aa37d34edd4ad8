"""What the log keeps of a person, and how it parts with them."""

from typing import Any

from django.db import transaction
from django.db.models import F

from exposures.archive import ARCHIVE
from exposures.evidence import mark_changed
from exposures.models import EvidenceCell, ExposureLog, ImportBatch, NegativePicture
from exposures.outputs_imports import BatchOut
from exposures.serializers import LogOut, PictureOut
from pinpool.pictures import remove_after_commit


def exposures_of(user: Any) -> list[Any]:
    """Their entries, private and corrected ones too."""
    rows = ExposureLog.objects.filter(member=user).order_by("number")
    rows = rows.select_related("club", "spec__camera", "member", "person", "picture", "corrects", "corrected_by")
    return [{"club": row.club.slug, **LogOut(row).data} for row in rows]


def pictures_of(user: Any) -> list[Any]:
    """The pictures of their entries: each is to be had at `picture/image/` below its entry."""
    rows = NegativePicture.objects.filter(log__member=user).select_related("log__club").order_by("log")
    return [{"club": row.log.club.slug, "exposure": str(row.log.id), **PictureOut(row).data} for row in rows]


def imports_of(user: Any) -> list[Any]:
    """The sheets that they brought in, each with its heading and how many rows there are below it."""
    rows = ImportBatch.objects.filter(made_by=user).select_related("club", "made_by").order_by("made_at", "pk")
    with transaction.atomic():  # or a pooler before PostgreSQL could lose the cursor
        return [
            {
                "club": row.club.slug,
                **BatchOut(row).data,
                "heading": row.table[0] if row.table else [],
                "rows": max(len(row.table) - 1, 0),
            }
            for row in rows.defer("mapping", "report").iterator(chunk_size=10)
        ]


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
    remove_after_commit(picture.image for picture in NegativePicture.objects.filter(log__in=private))
    private.delete()
