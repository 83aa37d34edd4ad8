"""What a pixel of a scan spans: from its resolution, or from two marked points a known distance apart."""

from typing import NamedTuple

import numpy as np

from .faults import Impossible

MM_PER_INCH = 25.4
LEAST_MARK_DISTANCE_PX = 10.0


class Scale(NamedTuple):
    """What a pixel spans, with one standard deviation, both mm."""

    mm_per_pixel: float
    mm_per_pixel_uncertainty: float


def scale_from_dpi(*, resolution_dpi: float) -> Scale:
    """25.4 mm/resolution, taken as exact. Raises `Impossible` `resolution` unless finite and positive."""
    positive(resolution_dpi, "resolution", "The resolution")
    return Scale(MM_PER_INCH / resolution_dpi, 0.0)


def scale_from_marks(
    *,
    first_px: tuple[float, float],
    second_px: tuple[float, float],
    distance_mm: float,
    marking_uncertainty_px: float = 0.5,
    distance_uncertainty_mm: float = 0.0,
) -> Scale:
    """The scale from two marked points a known distance apart: s = L/n, n pixels between them.

    (u_s/s)² = 2 (u_mark/n)² + (u_L/L)², `marking_uncertainty_px` being one standard deviation of where each mark lies
    along the line between them (half a pixel unless told). Raises `Impossible`: `marks_too_close` under 10 pixels,
    `distance`, `marking_uncertainty`, `distance_uncertainty` for a value out of range.
    """
    positive(distance_mm, "distance", "The distance between the marks")
    not_negative(marking_uncertainty_px, "marking_uncertainty", "The uncertainty of a mark")
    not_negative(distance_uncertainty_mm, "distance_uncertainty", "The uncertainty of the distance")
    pixels = float(np.hypot(second_px[0] - first_px[0], second_px[1] - first_px[1]))
    if not LEAST_MARK_DISTANCE_PX <= pixels < np.inf:
        raise Impossible(
            "marks_too_close",
            f"The marks must lie at least {LEAST_MARK_DISTANCE_PX:.0f} pixels apart, and better some hundreds.",
            "second_px",
        )
    share = np.hypot(np.sqrt(2.0) * marking_uncertainty_px / pixels, distance_uncertainty_mm / distance_mm)
    return Scale(distance_mm / pixels, float(share * distance_mm / pixels))


def positive(value: float, field: str, name: str) -> None:
    """Raise `Impossible`, with the field's name for a code, unless `value` is finite and above 0."""
    if not 0.0 < value < np.inf:
        raise Impossible(field, f"{name} must be a finite number above 0.", field)


def not_negative(value: float, field: str, name: str) -> None:
    """Raise `Impossible`, with the field's name for a code, unless `value` is finite and 0 or more."""
    if not 0.0 <= value < np.inf:
        raise Impossible(field, f"{name} must be a finite number, 0 or more.", field)
