"""Documents for tests, and rulers for what was printed: rasters at 600 dpi, measured in mm."""

import io
from typing import Any

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from pypdf import PdfReader

from clubs.sheets.documents import document

DPI = 600
MM = 25.4 / DPI


def drawing(svg: str, width: float, height: float, **facts: Any) -> dict[str, Any]:
    whole = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}">{svg}</svg>'
    block = {"kind": "drawing", "svg": whole, "width_mm": width, "height_mm": height, "alt": "A drawing."}
    return block | {"caption": "", "true_scale": True} | facts


def of_blocks(*blocks: dict[str, Any], page: str = "a4", **facts: Any) -> dict[str, Any]:
    """A document of one section."""
    told = {"kind": "test", "title": "A tea caddy", "subject": "camera T1", "made_at": "2026-11-25T10:00:00+00:00"}
    return document(**(told | facts), page=page, sections=[{"title": "What it is", "blocks": list(blocks)}])


def raster(pdf: bytes, page: int = 0, dpi: int = DPI) -> NDArray[np.uint8]:
    """A page in grey, row by row from its top."""
    found = pypdfium2.PdfDocument(pdf)
    try:
        return np.asarray(found[page].render(scale=dpi / 72, grayscale=True).to_pil())
    finally:
        found.close()


def pages(pdf: bytes) -> int:
    return len(PdfReader(io.BytesIO(pdf)).pages)


def text_of(pdf: bytes) -> str:
    """All text, as a reader copies it."""
    found = pypdfium2.PdfDocument(pdf)
    try:
        return "\n".join(page.get_textpage().get_text_bounded() for page in found)
    finally:
        found.close()


def edges_mm(profile: NDArray[Any]) -> tuple[float, float]:
    """Outer edges in mm of whatever is darker than half along a line of grey values, by linear interpolation."""
    ink = 1 - np.asarray(profile, dtype=float) / 255
    dark = np.flatnonzero(ink >= 0.5)
    first, last = int(dark[0]), int(dark[-1])
    before, after = ink[first - 1] if first else 0.0, ink[last + 1] if last + 1 < len(ink) else 0.0
    return (first - before) * MM, (last + 1 + after) * MM
