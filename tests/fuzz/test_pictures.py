"""Pictures made of anything and bent byte by byte: measured, kept or refused, by both readers and through the API."""

import struct
import zlib
from contextlib import suppress
from io import BytesIO
from typing import Any

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rest_framework.exceptions import ValidationError

from exposures.archived_pictures import Faulty, stored_picture
from optics.core.faults import Impossible
from optics.scan_images import open_scan
from pinpool.pictures import reencoded
from tests.clubs.test_api import Here
from tests.fuzz.effort import tries

MODES = ["1", "L", "P", "LA", "RGB", "RGBA", "CMYK", "YCbCr", "LAB", "HSV", "I;16", "I", "F"]
KINDS = ["PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP", "MPO", "ICO", "PPM", "TGA"]
SIZES = st.sampled_from([1, 2, 3, 17, 64, 200, 2500])
#: What a reader looks at first: markers, chunks, sizes, counts and kinds.
TOKENS = [
    b"\xff\xd8", b"\xff\xd9", b"\xff\xda", b"\xff\xc2", b"\xff\xe1\x00\x08Exif", b"\xff\xff", b"\x00\x00\x00\x00",
    b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\x80\x00\x00\x00", b"IHDR", b"IDAT", b"IEND", b"acTL", b"fcTL",
    b"tRNS",
    b"PLTE", b"iCCP", b"eXIf", b"II*\x00", b"MM\x00*", b"II+\x00", b"RIFF", b"VP8X", b"ANIM", b"\x01\x12\x00\x03",
]  # fmt: skip


@st.composite
def pictures(draw: st.DrawFn) -> bytes:
    """A picture of any kind, mode and size that can be written; turned, with gaps and second frames too."""
    mode = draw(st.sampled_from(MODES))
    width, height = draw(SIZES), draw(SIZES.filter(lambda size: size < 2500))
    levels = np.random.default_rng(draw(st.integers(0, 9))).integers(0, 256, (height, width), dtype=np.uint8)
    if draw(st.booleans()):  # a hole: bright in the dark
        y, x = np.mgrid[0:height, 0:width]
        levels = np.where((y - height / 2) ** 2 + (x - width / 2) ** 2 < (min(width, height) / 4) ** 2, 240, 9).astype(
            "u1"
        )
    grey = Image.fromarray(levels)
    try:
        image = grey.convert("RGB").convert(mode) if mode not in {"I;16", "LAB"} else grey.convert(mode)
    except ValueError:
        image = Image.fromarray(levels.astype(np.uint16) * 257)
    how: dict[str, Any] = {}
    if draw(st.booleans()):
        exif = Image.Exif()
        exif[draw(st.sampled_from([274, 271, 34665]))] = draw(st.sampled_from([0, 3, 6, 8, 9, 65535]))
        how["exif"] = exif
    if draw(st.integers(0, 5)) == 0:
        how |= {"save_all": True, "append_images": [image]}
    if mode == "P" and draw(st.booleans()):
        how["transparency"] = draw(st.sampled_from([0, 255, b"\0" * 9]))
    for kind in (draw(st.sampled_from(KINDS)), "PNG", "TIFF"):
        out = BytesIO()
        with suppress(Exception):  # not every kind takes every mode
            image.save(out, kind, **how)
            break
    return out.getvalue()


@st.composite
def bent_pictures(draw: st.DrawFn) -> bytes:
    """A whole picture with bytes exchanged, put in and cut off; a PNG's check sums right again in half of them."""
    data = draw(pictures())
    for _ in range(draw(st.integers(0, 4))):
        # Most of what matters stands at the beginning.
        at = draw(st.integers(0, min(len(data), draw(st.sampled_from([40, 200, 10**6])))))
        put = draw(st.one_of(st.binary(min_size=1, max_size=3), st.sampled_from(TOKENS)))
        data = data[:at] + put + data[at + draw(st.sampled_from([0, len(put)])) :]
    if draw(st.integers(0, 4)) == 0:
        data = data[: draw(st.integers(0, len(data)))]
    return summed(data) if draw(st.booleans()) else data


def summed(data: bytes) -> bytes:
    """A PNG with the right check sum behind each chunk that still can be told apart; anything else as it is."""
    if data[:8] != b"\x89PNG\r\n\x1a\n":
        return data
    made, at = bytearray(data[:8]), 8
    while at + 12 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        chunk = data[at + 4 : at + 8 + size]
        made += data[at : at + 4] + chunk + struct.pack(">I", zlib.crc32(chunk))
        at += 12 + size
    return bytes(made)


@tries(60, 15_000)
@given(data=st.one_of(bent_pictures(), st.binary(max_size=300)))
def test_any_picture(data: bytes) -> None:
    with suppress(Impossible):
        levels, info = open_scan(data, max_pixels=1_000_000)
        assert levels.shape == (info.height_px, info.width_px)
        assert 0 <= levels.min() <= levels.max() <= 1
    with suppress(ValidationError):
        kept, width, height = reencoded(data, most_pixels_wide=1600)
        with Image.open(BytesIO(kept)) as image:
            image.load()
            assert (image.format, image.size) == ("JPEG", (width, height))
            assert not image.getexif()


@tries(40, 3000)
@given(text=st.one_of(st.text(max_size=9), st.none(), st.integers(), bent_pictures().map(lambda data: data.hex())))
def test_pictures_in_archives(text: Any) -> None:
    with suppress(Faulty):
        stored_picture(text)


@tries(10, 1500)
@given(
    data=bent_pictures(), name=st.text(max_size=9).map(lambda text: "a" + text.replace("/", "|")),
    media=st.sampled_from(["image/png", "image/svg+xml", "text/html", "", "a/b; charset=hex", "\xff"]),
    form=st.dictionaries(
        st.sampled_from(["resolution", "polarity", "tone_curve", "focal_length", "caption", "more"]),
        st.one_of(st.sampled_from(["4800 dpi", "auto", "srgb", "61 mm", "\0", "1e400 mm"]), st.text(max_size=5)),
        max_size=4,
    ),
)  # fmt: skip
def test_pictures_sent(here: Here, data: bytes, name: str, media: str, form: dict[str, str]) -> None:
    """In the place of a scan, a camera's photo and a negative's picture."""
    client = here.clients["keeper"]
    whole = {"resolution": "4800 dpi"} | form
    for call, key, path, fields in (
        (client.post, "image", "/api/v1/optics/hole-scan/", whole),
        (client.post, "image", f"{here.at}cameras/T1/photos/", form),
        (client.put, "image", f"{here.at}exposures/{here.log.id}/picture/", {}),
        (client.post, "file", f"{here.at}imports/", {"kind": "cameras"}),
        (client.post, "file", "/api/v1/clubs/import-archive/", {}),
    ):
        file = SimpleUploadedFile(name, data, media)
        answer = call(path, fields | {key: file}, format="multipart", headers={"If-Match": "*"})
        assert answer.status_code in {200, 201, 400, 409, 413, 415, 422}, (path, answer.content)
