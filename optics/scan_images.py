"""An uploaded scan decoded to one grey plane, or refused. Nothing of the upload is kept or passed on.

The file's own idea of its size is checked before anything is decoded; all that is damaged, moving, too large or not
light (ink, a palette with gaps, transparency) is refused as `Impossible` with a stable code.
"""

import threading
import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from optics.core.faults import Impossible

FORMATS = ("PNG", "JPEG", "TIFF")
MAX_BYTES = 20_000_000
MAX_PIXELS = 25_000_000
#: A progressive JPEG takes about ten passes over the picture; one of thousands is meant to keep the server busy.
MAX_JPEG_SCANS = 64
OPAQUE = 255
TAG_BITS, TAG_PHOTOMETRIC, TAG_ORIENTATION = 258, 262, 274
WHITE_IS_ZERO = 0

# One picture at a time: it bounds the memory, and Python's warning filters, set below, belong to the whole process.
_decoding = threading.Lock()


@dataclass(frozen=True)
class ScanInfo:
    """What was in the file: `bits` of the plane that was kept; `turned` where EXIF or TIFF told to turn it."""

    image_format: str
    width_px: int
    height_px: int
    bits: int
    turned: bool


def open_scan(
    file: BinaryIO | bytes, *, max_bytes: int = MAX_BYTES, max_pixels: int = MAX_PIXELS
) -> tuple[NDArray[np.float32], ScanInfo]:
    """Decode a PNG, JPEG or TIFF to levels from 0 to 1, upright, as stored (no tone curve or colour profile applied).

    Grey is taken as it is, 8 or 16 bits; of colour the green plane, which scanners and phones resolve best, 8 bits (of
    16-bit colour the upper 8). Palettes are looked up. Alpha is dropped if all of it is opaque.

    Raises `Impossible` on field `image`: `image_too_large` (bytes or pixels, before decoding), `image_unreadable`,
    `image_truncated`, `image_animated` (more than one frame or page), `image_kind` (another format, CMYK, Lab, one bit,
    floating point, transparency).
    """
    data = file if isinstance(file, bytes) else file.read(max_bytes + 1)
    if len(data) > max_bytes:
        raise _refusal("image_too_large", f"The file is larger than {max_bytes / 1e6:.0f} MB; crop it to the hole.")
    with _decoding, warnings.catch_warnings():
        # Slips in a file's notes about itself are no matter here; what counts is whether its pixels decode.
        warnings.simplefilter("ignore")
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            return _decode(data, max_pixels)
        except Impossible:
            raise
        except (Image.DecompressionBombWarning, Image.DecompressionBombError) as bomb:
            raise _too_many_pixels(max_pixels) from bomb
        except Image.UnidentifiedImageError as unknown:
            raise _refusal("image_kind", "The file is not a PNG, JPEG or TIFF that can be read.") from unknown
        except Exception as fault:  # a hostile file can raise almost anything
            if "truncated" in str(fault).lower():
                raise _refusal("image_truncated", "The file ends too soon; send it again, whole.") from fault
            raise _refusal("image_unreadable", "The file is damaged; save it anew as PNG or TIFF.") from fault


def _decode(data: bytes, max_pixels: int) -> tuple[NDArray[np.float32], ScanInfo]:
    with Image.open(BytesIO(data), formats=FORMATS) as image:
        if image.width * image.height > max_pixels:
            raise _too_many_pixels(max_pixels)
        if _has_second_frame(image):
            raise _refusal("image_animated", "The file holds more than one picture; save the scan as a single one.")
        if image.format == "JPEG" and data.count(b"\xff\xda") > MAX_JPEG_SCANS:
            raise _refusal("image_unreadable", "The JPEG is built of too many passes; save it anew.")
        # The check sums of a PNG, which decoding does not look at.
        image.verify()
    with Image.open(BytesIO(data), formats=FORMATS) as image:
        turned = image.getexif().get(TAG_ORIENTATION, 1) in range(2, 9)
        tags = dict(getattr(image, "tag_v2", {}))
        ImageOps.exif_transpose(image, in_place=True)
        plane, white = _plane(image, tags)
        levels = np.asarray(plane).astype(np.float32) / np.float32(white)
        height, width = levels.shape
        return levels, ScanInfo(image.format or "", width, height, white.bit_length(), turned)


def _has_second_frame(image: Image.Image) -> bool:
    try:
        image.seek(1)
    except EOFError:
        return False
    return True


def _plane(image: Image.Image, tags: dict[int, object]) -> tuple[Image.Image, int]:
    """The one plane to measure, and the number that stands for full white in it."""
    if image.mode.startswith("I;16"):
        if tags.get(TAG_PHOTOMETRIC) == WHITE_IS_ZERO or "transparency" in image.info:
            raise _refusal("image_kind", "The 16-bit picture is a negative or has gaps; save it as plain grey.")
        return image, 4095 if tags.get(TAG_BITS) == (12,) else 65535
    if "transparency" in image.info or image.mode in ("P", "PA"):
        image = image.convert("RGBA")
    if image.mode in ("LA", "RGBA") and image.getextrema()[-1] != (OPAQUE, OPAQUE):
        raise _refusal("image_kind", "The picture is transparent in places; save it without transparency.")
    if image.mode in ("L", "LA"):
        return image.getchannel("L"), 255
    if image.mode in ("RGB", "RGBA", "RGBX", "YCbCr"):
        return (image.convert("RGB") if image.mode == "YCbCr" else image).getchannel("G"), 255
    raise _refusal(
        "image_kind", f"A picture of kind {image.mode} cannot be measured; save it as grey or RGB, 8 or 16 bits."
    )


def _too_many_pixels(max_pixels: int) -> Impossible:
    return _refusal(
        "image_too_large", f"The picture has more than {max_pixels / 1e6:.0f} megapixels; crop it to the hole."
    )


def _refusal(code: str, message: str) -> Impossible:
    return Impossible(code, message, "image")
