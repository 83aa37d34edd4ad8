"""Photographs encoded anew: the pixels stay, everything else goes, and no file breaks anything."""

import struct
import zlib
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from rest_framework.exceptions import ValidationError

from pinpool.pictures import reencoded

SECRET = b"52 degrees north, Ann's garden"


def saved(image: Image.Image, kind: str = "PNG", **how: Any) -> bytes:
    out = BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def halves(width: int = 40, height: int = 24) -> Image.Image:
    """Red on the left, blue on the right."""
    planes = np.zeros((height, width, 3), dtype=np.uint8)
    planes[:, : width // 2, 0] = 255
    planes[:, width // 2 :, 2] = 255
    return Image.fromarray(planes)


def opened(data: bytes) -> Image.Image:
    image = Image.open(BytesIO(data))
    image.load()
    return image


def code_of(data: bytes) -> str:
    with pytest.raises(ValidationError) as caught:
        reencoded(data, most_pixels_wide=100)
    detail: Any = caught.value.detail
    assert list(detail) == ["image"]
    return str(detail["image"][0].code)


def png_of_size(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds almost nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_the_pixels_stay(kind: str) -> None:
    data, width, height = reencoded(saved(halves(), kind), most_pixels_wide=1600)
    image = opened(data)
    assert (image.format, image.size) == ("JPEG", (40, 24)) == ("JPEG", (width, height))
    left, right = (np.array(image.convert("RGB").getpixel((x, 12)), dtype=float) for x in (5, 35))
    assert np.abs(left - (255, 0, 0)).max() < 25
    assert np.abs(right - (0, 0, 255)).max() < 25


@pytest.mark.parametrize(("size", "becomes"), [((400, 200), (100, 50)), ((200, 400), (50, 100)), ((90, 10), (90, 10))])
def test_the_longer_side_is_held_to_its_limit(size: Any, becomes: Any) -> None:
    data, *shown = reencoded(saved(halves(*size)), most_pixels_wide=100)
    assert opened(data).size == tuple(shown) == becomes


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_where_it_was_taken_is_gone(kind: str) -> None:
    exif = Image.Exif()
    exif[270] = SECRET.decode()
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[29] = SECRET.decode()
    how: dict[str, Any] = {"exif": exif} | ({"comment": SECRET} if kind == "JPEG" else {})
    sent = saved(halves(), kind, **how)
    assert SECRET in sent
    data, *_ = reencoded(sent, most_pixels_wide=100)
    assert SECRET not in data
    assert not opened(data).getexif()
    assert opened(data).info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_what_hangs_behind_the_picture_is_gone() -> None:
    """A file that is a picture and a page at once."""
    script = b"<script>alert(1)</script>"
    data, *_ = reencoded(saved(halves(), "JPEG") + script, most_pixels_wide=100)
    assert script not in data


def test_a_picture_on_its_side_is_put_upright() -> None:
    exif = Image.Exif()
    exif[274] = 6  # to be turned clockwise by 90°
    data, width, height = reencoded(saved(halves(), "JPEG", exif=exif), most_pixels_wide=100)
    assert (width, height) == (24, 40)
    top, bottom = (opened(data).getpixel((12, y)) for y in (5, 35))
    assert np.argmax(top) == 0  # type: ignore[arg-type]
    assert np.argmax(bottom) == 2  # type: ignore[arg-type]


def test_sixteen_bits_palettes_and_transparency() -> None:
    deep = np.linspace(0, 65535, 480).reshape(20, 24).astype(np.uint16)
    grey = opened(reencoded(saved(Image.fromarray(deep)), most_pixels_wide=100)[0])
    assert np.abs(np.asarray(grey).astype(float) - deep / 257).max() < 4
    clear = Image.new("RGBA", (8, 8), (0, 0, 0, 0))
    assert opened(reencoded(saved(clear), most_pixels_wide=100)[0]).getpixel((4, 4)) == (255, 255, 255)
    for mode in ("P", "1", "LA", "CMYK"):
        kind = "TIFF" if mode == "CMYK" else "PNG"
        assert reencoded(saved(halves().convert(mode), kind), most_pixels_wide=100)[1:] == (40, 24)


def test_files_that_are_none() -> None:
    jpeg, frames = saved(halves(400, 400), "JPEG"), [halves(), halves().rotate(180)]
    assert code_of(b"") == code_of(b"hello") == code_of(b"<svg/>") == code_of(saved(halves(), "GIF")) == "image_kind"
    assert code_of(jpeg[: len(jpeg) // 2]) == "image_truncated"
    assert code_of(saved(frames[0], "TIFF", save_all=True, append_images=frames[1:])) == "image_animated"
    assert code_of(saved(frames[0], "PNG", save_all=True, append_images=frames[1:])) == "image_animated"
    assert code_of(png_of_size(6000, 6000)) == code_of(png_of_size(60_000, 60_000)) == "image_too_large"
    assert code_of(png_of_size(400, 400)) in {"image_truncated", "image_unreadable"}
    assert code_of(jpeg + b"\xff\xda" * 100) == "image_unreadable"
    assert code_of(saved(halves().convert("L").convert("F"), "TIFF")) == "image_kind"


def test_a_file_too_large_is_not_even_read(settings: Any) -> None:
    settings.PINPOOL = {"MAX_SCAN_BYTES": 1000}
    assert code_of(saved(halves(), "TIFF") + b"\0" * 1000) == "image_too_large"


@given(at=st.integers(0, 10_000), byte=st.integers(0, 255), kind=st.sampled_from(["JPEG", "PNG", "TIFF", "WEBP"]))
@settings(derandomize=True, max_examples=200, deadline=None)
def test_any_damage(at: int, byte: int, kind: str) -> None:
    data = bytearray(saved(halves(), kind))
    data[at % len(data)] = byte
    try:
        data_out, *_ = reencoded(bytes(data), most_pixels_wide=100)
    except ValidationError:
        return
    assert opened(data_out).size[0] <= 100
