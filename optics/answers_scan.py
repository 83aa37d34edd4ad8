"""A picture of a hole in, the hole out. The picture is measured and let go, never kept."""

from typing import Any

import numpy as np

from optics.answers import advised
from optics.core.faults import Impossible
from optics.core.hole_advice import MadeHole
from optics.core.hole_scan import Polarity, ToneCurve, measure_hole_scan
from optics.core.hole_scan_scale import Scale, scale_from_dpi, scale_from_marks
from optics.core.hole_scan_svg import outline_svg
from optics.scan_images import open_scan
from pinpool.conf import setting

Mark = tuple[float, float]


def hole_scan(
    *,
    image: Any,
    polarity: Polarity,
    tone_curve: ToneCurve,
    resolution: float | None = None,
    marks: tuple[Mark, Mark] | None = None,
    marks_apart: float = np.nan,
    target: float | None = None,
    focal_length: float | None = None,
) -> dict[str, Any]:
    scale = _scale(resolution, marks, marks_apart)
    pixels, _ = open_scan(image, max_bytes=setting("MAX_SCAN_BYTES"), max_pixels=setting("MAX_SCAN_PIXELS"))
    found = measure_hole_scan(
        image=pixels,
        mm_per_pixel=scale.mm_per_pixel,
        mm_per_pixel_uncertainty=scale.mm_per_pixel_uncertainty,
        polarity=polarity,
        tone_curve=tone_curve,
        focal_length_mm=focal_length,
    )
    height_px, width_px = pixels.shape
    made = MadeHole(found.diameter_mm, found.uncertainty_mm, found.roundness_share, found.burr_share)
    return {
        **vars(found),
        **advised(made, target=target, focal_length=focal_length),
        "outline_svg": outline_svg(found, width_px=width_px, height_px=height_px),
    }


def _scale(resolution: float | None, marks: tuple[Mark, Mark] | None, marks_apart: float) -> Scale:
    if resolution is not None:
        return scale_from_dpi(resolution_dpi=resolution)
    assert marks is not None  # noqa: S101  (the question saw to it)
    try:
        return scale_from_marks(first_px=marks[0], second_px=marks[1], distance_mm=marks_apart)
    except Impossible as fault:
        raise Impossible(fault.code, str(fault), "marks") from fault
