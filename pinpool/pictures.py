"""Photographs people send, encoded anew: of the file that came, nothing but its pixels is kept.

So no camera's notes, no place, no second picture hidden behind the first and no script in disguise is ever stored. The
file's own idea of its size is checked before anything is decoded.
"""

import threading
from collections.abc import Iterable
from functools import partial
from io import BytesIO
from typing import IO, Any, NoReturn

import numpy as np
from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models.fields.files import FieldFile
from PIL import Image, ImageOps
from rest_framework.exceptions import ValidationError

from pinpool.conf import setting
from pinpool.http.problems import impossible

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
#: A progressive JPEG takes about ten passes over the picture; one of thousands is meant to keep the server busy.
MAX_JPEG_SCANS = 64
QUALITY = 85
WHITE = (255, 255, 255)

# One picture at a time bounds the memory.
_decoding = threading.Lock()


def reencoded(file: IO[bytes] | bytes, *, most_pixels_wide: int) -> tuple[bytes, int, int]:
    """A JPEG of the picture in `file`, upright and free of notes, with its width and height in pixels.

    Its longer side has at most `most_pixels_wide` pixels; nothing is enlarged. What is transparent becomes white.

    Raises `ValidationError` on `image`, answered with 422: `image_too_large` (bytes or pixels, by the settings for
    scans), `image_unreadable`, `image_truncated`, `image_animated` (several frames or pages), `image_kind` (another
    format, or pixels that are no colours).
    """
    most_bytes = setting("MAX_SCAN_BYTES")
    data = file if isinstance(file, bytes) else file.read(most_bytes + 1)
    if len(data) > most_bytes:
        _refuse("image_too_large", f"The file is larger than {most_bytes / 1e6:.0f} MB; make it smaller.")
    with _decoding:
        try:
            image = _decoded(data, most_pixels_wide)
        except ValidationError:
            raise
        except (Image.DecompressionBombWarning, Image.DecompressionBombError):
            _refuse_pixels()
        except Image.UnidentifiedImageError:
            _refuse("image_kind", "The file is not a JPEG, PNG, TIFF or WebP that can be read.")
        except Exception as fault:  # noqa: BLE001  (a hostile file can raise almost anything)
            if "truncated" in str(fault).lower():
                _refuse("image_truncated", "The file ends too soon; send it again, whole.")
            _refuse("image_unreadable", "The file is damaged; save it anew.")
    out = BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue(), image.width, image.height


def keep_file(file: FieldFile, name: str, data: bytes) -> None:
    """Write a new file of a row that is not saved yet; where the disk is full nothing of it is left."""
    try:
        file.save(name, ContentFile(data), save=False)
    except OSError:
        file.storage.delete(file.field.generate_filename(file.instance, name))
        raise


def remove_after_commit(images: Iterable[Any]) -> None:
    """Delete stored pictures once the transaction that takes their rows away is certain."""
    for image in images:
        transaction.on_commit(partial(image.storage.delete, str(image.name)), robust=True)


def _decoded(data: bytes, most_pixels: int) -> Image.Image:
    with Image.open(BytesIO(data), formats=FORMATS) as image:
        if image.width * image.height > setting("MAX_SCAN_PIXELS"):
            _refuse_pixels()
        if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:  # a phone's MPO has a preview behind it
            _refuse("image_animated", "The file holds more than one picture; send one.")
        if data.count(b"\xff\xda") > MAX_JPEG_SCANS and image.format in {"JPEG", "MPO"}:
            _refuse("image_unreadable", "The JPEG is built of too many passes; save it anew.")
        image.draft(None, (most_pixels, most_pixels))  # a large JPEG is decoded no larger than it need be
        upright = ImageOps.exif_transpose(image)
        plain = _plain(upright)
    plain.thumbnail((most_pixels, most_pixels))
    plain.info = {}  # a comment in it would be written out again
    return plain


def _plain(image: Image.Image) -> Image.Image:
    """The same pixels as 8-bit grey or RGB."""
    if image.mode.startswith("I;16"):
        return Image.fromarray((np.asarray(image).astype(np.uint16) >> 8).astype(np.uint8))
    if image.mode in {"I", "F"}:
        _refuse("image_kind", f"A picture of kind {image.mode} cannot be shown; save it as grey or RGB.")
    if image.mode in {"1", "L"} and "transparency" not in image.info:
        return image.convert("L")
    if image.mode in {"P", "PA", "LA", "RGBA", "La", "RGBa"} or "transparency" in image.info:
        seen = image.convert("RGBA")
        paper = Image.new("RGB", seen.size, WHITE)
        paper.paste(seen, mask=seen.getchannel("A"))
        return paper
    return image.convert("RGB")


def _refuse_pixels() -> NoReturn:
    megapixels = setting("MAX_SCAN_PIXELS") / 1e6
    _refuse("image_too_large", f"The picture has more than {megapixels:.0f} megapixels; make it smaller.")


def _refuse(code: str, text: str) -> NoReturn:
    raise ValidationError({"image": [impossible(text, code)]})
