"""From the stored numbers of a picture to linear light about its hole, and back to the picture's coordinates."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .faults import Impossible
from .hole_scan_area import Crop, HoleArea, measure_area
from .hole_scan_find import Patch
from .hole_scan_levels import mean_of_squares
from .hole_scan_outline import Floats, Outline

LEAST_SIDE_PX = 16
#: Background kept on every side of the hole: in diameters, and at least this many pixels.
MARGIN_DIAMETERS = 0.65
MARGIN_PX = 16.0
#: Larger holes are averaged over squares of pixels, down to between this many pixels and twice as many across.
ENOUGH_PX = 250.0


def stored_levels(image: NDArray[np.floating] | NDArray[np.unsignedinteger]) -> NDArray[np.floating]:
    """The picture as floats from 0 to 1. Raises `Impossible` with `image_shape` or `image_values`."""
    if image.ndim != 2 or min(image.shape) < LEAST_SIDE_PX:
        raise Impossible(
            "image_shape",
            f"The picture must be one grey plane, at least {LEAST_SIDE_PX} pixels each way.",
            "image",
        )
    if image.dtype.kind == "u":
        return np.divide(image, np.iinfo(image.dtype.name).max, dtype=np.float32)
    if image.dtype.kind != "f" or not np.all((image >= 0.0) & (image <= 1.0)):
        raise Impossible("image_values", "The picture must hold levels from 0 to 1, or unsigned integers.", "image")
    return np.asarray(image, dtype=np.result_type(image.dtype, np.float32))


def linear_light(levels: ArrayLike, tone_curve: Literal["linear", "srgb"]) -> Floats:
    """Linear light, 0 to 1, from stored levels, 0 to 1. sRGB: IEC 61966-2-1 [memory]."""
    levels = np.asarray(levels, dtype=float)
    if tone_curve == "linear":
        return levels
    return np.where(levels <= 0.04045, levels / 12.92, ((np.maximum(levels, 0.0) + 0.055) / 1.055) ** 2.4)


def measure_patch(levels: NDArray[np.floating], patch: Patch, tone_curve: Literal["linear", "srgb"]) -> HoleArea:
    """The hole at `patch` measured in linear light; pixels and picture coordinates as in `Patch`."""
    rows, columns = window(levels, patch)
    stored = levels[rows, columns].astype(float)
    half_step = 0.5 * _storage_step(stored)
    quantum = linear_light(stored + half_step, tone_curve) - linear_light(stored - half_step, tone_curve)
    bin_px = max(1, int(patch.diameter_px / ENOUGH_PX))
    found = measure_area(
        Crop(
            light=mean_of_squares(linear_light(stored, tone_curve), bin_px).astype(float),
            quantum=mean_of_squares(quantum, bin_px) / bin_px,
            sign=1 if patch.bright else -1,
            x=(patch.x_px - columns.start) / bin_px - 0.5,
            y=(patch.y_px - rows.start) / bin_px - 0.5,
            diameter=patch.diameter_px / bin_px,
        )
    )
    return HoleArea(
        area=found.area * bin_px**2,
        uncertainty=found.uncertainty * bin_px**2,
        dust_area=found.dust_area * bin_px**2,
        outline=Outline(
            x=columns.start + (found.outline.x + 0.5) * bin_px,
            y=rows.start + (found.outline.y + 0.5) * bin_px,
            radius=found.outline.radius * bin_px,
        ),
        blur_px=found.blur_px * bin_px,
    )


def window(levels: NDArray[np.floating], patch: Patch) -> tuple[slice, slice]:
    """Rows and columns of the picture that hold the patch and enough background about it."""
    half = 0.5 * patch.diameter_px + max(MARGIN_DIAMETERS * patch.diameter_px, MARGIN_PX)
    rows, columns = (
        slice(max(0, int(middle - half)), min(length, int(np.ceil(middle + half))))
        for middle, length in zip((patch.y_px, patch.x_px), levels.shape, strict=True)
    )
    return rows, columns


def _storage_step(stored: Floats) -> float:
    """The step in which levels were stored, seen from the levels that occur: 1/255 for 8 bits."""
    some = stored.ravel()[:: 1 + stored.size // 100_000]
    steps = np.diff(np.unique(np.round(some, 7)))
    return float(np.min(steps)) if steps.size else 0.0
