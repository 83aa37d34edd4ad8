"""Pictures of negatives and prints: one to an entry of the log, encoded anew, seen by those who may see the entry."""

from typing import IO

from django.db import transaction
from django.db.models import F
from django.http import Http404

from clubs.models import Membership
from clubs.services import check_role
from exposures.models import ExposureLog, NegativePicture
from exposures.services import check_theirs, record_in_trail, subject
from pinpool.http.etags import Expected
from pinpool.pictures import keep_file, reencoded, remove_after_commit

#: The longer side of a stored picture: a screen's width.
PIXELS = 1600


def picture_of(log: ExposureLog) -> NegativePicture:
    found = NegativePicture.objects.filter(log=log).first()
    if found is None:
        raise Http404
    return found


def put_picture(*, actor: Membership, log: ExposureLog, image: IO[bytes], expected: Expected) -> None:
    """Keep a picture with an entry, in the place of one that is there. Raises `ValidationError` as `reencoded` does.

    `expected` is the entry's revision.
    """
    _check(actor, log, "put_picture")
    data, width, height = reencoded(image, most_pixels_wide=PIXELS)
    picture = NegativePicture(log=log, width_pixels=width, height_pixels=height)
    keep_file(picture.image, f"{picture.id}.jpg", data)
    try:
        with transaction.atomic():
            _take_away(log, expected)
            picture.save()
            _record(actor, log, "put_picture")
    except BaseException:
        _remove_file(picture)
        raise


def remove_picture(*, actor: Membership, log: ExposureLog, expected: Expected) -> None:
    """Remove the picture of an entry, which must have one."""
    _check(actor, log, "remove_picture")
    with transaction.atomic():
        if not _take_away(log, expected):
            raise Http404
        _record(actor, log, "remove_picture")


def _take_away(log: ExposureLog, expected: Expected) -> bool:
    """Whether the entry had a picture; its file goes once that is certain. The entry gets another revision."""
    locked = ExposureLog.objects.select_for_update().filter(pk=log.pk).first()
    if locked is None:  # an import was undone meanwhile
        raise Http404
    expected.check(locked.revision)
    ExposureLog.objects.filter(pk=log.pk).update(revision=F("revision") + 1)
    before = NegativePicture.objects.filter(log=log).first()
    if before is not None:
        before.delete()
        remove_after_commit([before.image])
    return before is not None


def _check(actor: Membership, log: ExposureLog, action: str) -> None:
    check_role(membership=actor, action=action)
    check_theirs(actor, log, action, "change its picture")


def _record(actor: Membership, log: ExposureLog, action: str) -> None:
    if not log.private:
        record_in_trail(actor, action, subject(log))


def _remove_file(picture: NegativePicture) -> None:
    picture.image.storage.delete(str(picture.image.name))
