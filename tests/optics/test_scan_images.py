"""Uploaded pictures: an answer or a clear refusal, whatever the bytes."""

import struct
import zlib
from collections.abc import Callable
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from optics.core.faults import Impossible
from optics.scan_images import open_scan

RAMP = np.linspace(0, 255, 24 * 20).reshape(20, 24).astype(np.uint8)


def saved(image: Image.Image, kind: str = "PNG", **how: Any) -> bytes:
    out = BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def grey() -> Image.Image:
    return Image.fromarray(RAMP)


def png_of_size(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds almost nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


def code_of(data: bytes, **limits: int) -> str:
    with pytest.raises(Impossible) as caught:
        open_scan(data, **limits)
    assert caught.value.field == "image"
    assert len(str(caught.value)) > 20
    return caught.value.code


@pytest.mark.parametrize(("kind", "how"), [("PNG", {}), ("TIFF", {}), ("TIFF", {"compression": "tiff_lzw"})])
def test_grey_of_eight_bits_comes_back_as_stored(kind: str, how: dict[str, Any]) -> None:
    levels, info = open_scan(saved(grey(), kind, **how))
    assert levels == pytest.approx(RAMP / 255, abs=1e-6)
    assert (info.width_px, info.height_px, info.bits, info.turned) == (24, 20, 8, False)


def test_jpeg_comes_back_within_its_own_loss() -> None:
    levels, info = open_scan(saved(grey(), "JPEG", quality=95))
    assert np.abs(levels - RAMP / 255).max() < 0.03
    assert info.image_format == "JPEG"


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bits_keep_their_depth(kind: str) -> None:
    deep = np.linspace(0, 65535, 480).reshape(20, 24).astype(np.uint16)
    levels, info = open_scan(saved(Image.fromarray(deep), kind))
    assert levels == pytest.approx(deep / 65535, abs=1e-6)
    assert info.bits == 16


def test_of_colour_the_green_plane_is_measured() -> None:
    planes = np.stack([RAMP[::-1], RAMP, RAMP * 0], axis=-1)
    assert open_scan(saved(Image.fromarray(planes)))[0] == pytest.approx(RAMP / 255, abs=1e-6)


def test_palettes_are_looked_up_and_whole_alpha_is_dropped() -> None:
    assert open_scan(saved(grey().convert("P")))[0] == pytest.approx(RAMP / 255, abs=1e-6)
    assert open_scan(saved(grey().convert("RGBA")))[0] == pytest.approx(RAMP / 255, abs=1e-6)


@pytest.mark.parametrize(
    ("orientation", "upright"),
    [(3, np.rot90(RAMP, 2)), (6, np.rot90(RAMP, -1)), (8, np.rot90(RAMP)), (2, RAMP[:, ::-1])],
)
def test_exif_turns_are_undone(orientation: int, upright: np.ndarray) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    levels, info = open_scan(saved(grey(), exif=exif))
    assert levels == pytest.approx(upright / 255, abs=1e-6)
    assert info.turned


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: saved(grey().convert("CMYK"), "TIFF"), "image_kind"),
        (lambda: saved(grey().convert("CMYK"), "JPEG"), "image_kind"),
        (lambda: saved(grey().convert("F"), "TIFF"), "image_kind"),
        (lambda: saved(grey().convert("1")), "image_kind"),
        (lambda: saved(grey(), "BMP"), "image_kind"),
        (lambda: saved(grey(), "GIF"), "image_kind"),
        (lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>", "image_kind"),
        (lambda: b"", "image_kind"),
        (lambda: saved(grey(), save_all=True, append_images=[Image.fromarray(RAMP.T)]), "image_animated"),
        (lambda: saved(grey(), "TIFF", save_all=True, append_images=[grey()]), "image_animated"),
        (lambda: png_of_size(60_000, 60_000), "image_too_large"),
        (lambda: png_of_size(7_000, 7_000), "image_too_large"),
    ],
)
def test_what_is_not_a_scan_is_refused_by_name(make: Callable[[], bytes], code: str) -> None:
    assert code_of(make()) == code


def test_transparent_pictures_are_refused() -> None:
    picture = grey().convert("RGBA")
    picture.putalpha(Image.fromarray(RAMP))
    assert code_of(saved(picture)) == "image_kind"


def test_sizes_are_looked_at_before_decoding() -> None:
    data = saved(grey())
    assert code_of(data, max_bytes=len(data) - 1) == "image_too_large"
    assert code_of(data, max_pixels=RAMP.size - 1) == "image_too_large"
    open_scan(data, max_bytes=len(data), max_pixels=RAMP.size)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF"])
@pytest.mark.parametrize("share", [0.5, 0.9])
def test_cut_off_files_are_refused(kind: str, share: float) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (80, 80), dtype=np.uint8)
    data = saved(Image.fromarray(noise), kind)
    assert code_of(data[: int(share * len(data))]) in {"image_truncated", "image_unreadable", "image_kind"}


@given(st.binary(max_size=400))
@settings(derandomize=True, max_examples=150)
def test_random_bytes_are_refused(data: bytes) -> None:
    code_of(data)


@given(
    st.sampled_from([("PNG", "L"), ("JPEG", "L"), ("TIFF", "L"), ("PNG", "RGB"), ("TIFF", "I;16"), ("JPEG", "RGB")]),
    st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 255)), min_size=1, max_size=8),
)
@settings(derandomize=True, max_examples=250, deadline=None)
def test_damaged_files_are_read_or_refused(how: tuple[str, str], damage: list[tuple[int, int]]) -> None:
    kind, mode = how
    picture = Image.fromarray(RAMP.astype(np.uint16) * 257) if mode == "I;16" else grey().convert(mode)
    data = bytearray(saved(picture, kind))
    for place, value in damage:
        data[place % len(data)] = value
    try:
        levels, _ = open_scan(bytes(data), max_pixels=100_000)
    except Impossible as refusal:
        assert refusal.field == "image"  # noqa: PT017  (either end is good)
    else:
        assert levels.ndim == 2
        assert np.isfinite(levels).all()
