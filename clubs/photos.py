"""Photos of cameras: encoded anew, kept where the site keeps its files, shown only through `clubs.views_photos`."""

import uuid
from typing import IO

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404

from clubs.models import Camera, CameraPhoto, Membership
from clubs.services import check_camera, locked_camera, record_camera
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict
from pinpool.pictures import keep_file, reencoded, remove_after_commit

#: The longer side of a stored photo: a screen's width.
PIXELS = 1600


def photos_of(*, camera: Camera) -> QuerySet[CameraPhoto]:
    return CameraPhoto.objects.filter(camera=camera).select_related("added_by")


def photo_of(*, camera: Camera, id: uuid.UUID) -> CameraPhoto:  # noqa: A002  (the contract's key)
    found = photos_of(camera=camera).filter(pk=id).first()
    if found is None:
        raise Http404
    return found


def add_photo(*, actor: Membership, camera: Camera, image: IO[bytes], caption: str) -> CameraPhoto:
    """Keep a photo. Raises `ValidationError` as `reencoded` does, `Conflict` where the camera has enough of them."""
    check_camera(membership=actor, camera=camera, action="add_photo")
    data, width, height = reencoded(image, most_pixels_wide=PIXELS)
    photo = CameraPhoto(camera=camera, width_pixels=width, height_pixels=height, caption=caption, added_by=actor.user)
    keep_file(photo.image, f"{photo.id}.jpg", data)
    try:
        _keep(actor, photo)
    except BaseException:
        _remove_file(photo)
        raise
    return photo


def caption_photo(*, actor: Membership, photo: CameraPhoto, expected: Expected, caption: str) -> CameraPhoto:
    """Another caption."""
    with transaction.atomic():
        locked = _locked(actor, photo, "caption_photo", expected)
        before = _told(locked)
        if locked.caption != caption:
            locked.caption, locked.revision = caption, locked.revision + 1
            locked.save(update_fields=["caption", "revision"])
            record_camera(actor, locked.camera, "caption_photo", before, _told(locked))
    return locked


def remove_photo(*, actor: Membership, photo: CameraPhoto, expected: Expected) -> CameraPhoto:
    """Remove a photo, and its file once that is certain; returns it as it was."""
    with transaction.atomic():
        locked = _locked(actor, photo, "remove_photo", expected)
        CameraPhoto.objects.filter(pk=locked.pk).delete()
        record_camera(actor, locked.camera, "remove_photo", before=_told(locked))
        remove_after_commit([locked.image])
    return locked


def _keep(actor: Membership, photo: CameraPhoto) -> None:
    with transaction.atomic():
        camera = locked_camera(actor, photo.camera, "add_photo")
        most = setting("MAX_CAMERA_PHOTOS")
        if camera.photos.count() >= most:
            raise Conflict(f"This camera has {most} photos, the most it may have; remove one first.")
        photo.save()
        record_camera(actor, camera, "add_photo", after=_told(photo))


def _locked(actor: Membership, photo: CameraPhoto, action: str, expected: Expected) -> CameraPhoto:
    """The photo's row, held for a change that the actor may make and that was meant for it as it is."""
    locked = CameraPhoto.objects.select_for_update().filter(pk=photo.pk).first()
    if locked is None:
        raise Http404
    own = locked.added_by_id == actor.user_id
    check_camera(membership=actor, camera=locked.camera, action=action, own=own)
    expected.check(locked.revision)
    return locked


def _told(photo: CameraPhoto) -> dict[str, str]:
    return {"photo": str(photo.pk), "caption": photo.caption}


def _remove_file(photo: CameraPhoto) -> None:
    photo.image.storage.delete(str(photo.image.name))
