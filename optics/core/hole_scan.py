"""A pinhole measured from a scan: diameter of equal area, roundness, burrs, outline.

Coordinates of results are picture coordinates: x to the right, y down, (0, 0) the top left corner of the top left
pixel, so that the middle of that pixel is (0.5, 0.5).
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from .faults import Flag, Impossible
from .hole_scan_area import HoleArea
from .hole_scan_doubts import Doubt, doubts
from .hole_scan_find import SMALLEST_MEASURED_PX, find_hole
from .hole_scan_light import measure_patch, stored_levels
from .hole_scan_outline import Floats, Outline, burr_share, roundness_share
from .hole_scan_scale import MM_PER_INCH, not_negative, positive

Polarity = Literal["auto", "bright_hole", "dark_hole"]
ToneCurve = Literal["linear", "srgb", "unknown"]

#: A plate or a camera out of square by up to 3° shrinks the diameter by up to 0.07 %, and nothing shows it. [derived]
TILT_SHARE = 3e-4


@dataclass(frozen=True, eq=False)
class HoleScan:
    """A measured hole.

    diameter_mm: of the circle of equal area; uncertainty_mm: one standard deviation (twice it covers about 95 %).
    roundness_share: smallest over largest radius from the centroid. burr_share: share of the outline, by angle, that
    stands in from the ellipse through the rest of it by more than 2 % of the radius and 0.35 pixel.
    centre_px: centroid (x, y); outline_px: N × 2, closed from the last row to the first; both picture coordinates.
    blur_px: standard deviation of the edge's blur. polarity: as found or told. f_number: if a focal length was given.
    """

    diameter_mm: float
    uncertainty_mm: float
    roundness_share: float
    burr_share: float
    centre_px: tuple[float, float]
    outline_px: Floats
    mm_per_pixel: float
    blur_px: float
    polarity: Literal["bright_hole", "dark_hole"]
    tone_curve: ToneCurve
    f_number: float | None
    flags: tuple[Flag, ...]

    @property
    def outline_mm(self) -> Floats:
        """The outline in mm from the hole's centroid, x to the right and y down."""
        return (self.outline_px - np.array(self.centre_px)) * self.mm_per_pixel


def measure_hole_scan(
    *,
    image: NDArray[np.floating] | NDArray[np.unsignedinteger],
    mm_per_pixel: float,
    mm_per_pixel_uncertainty: float = 0.0,
    polarity: Polarity = "auto",
    tone_curve: ToneCurve = "unknown",
    focal_length_mm: float | None = None,
) -> HoleScan:
    """Measure the hole in a scan.

    image: 2-D, floats from 0 to 1 or unsigned integers over their whole range. mm_per_pixel, with one standard
    deviation: see `hole_scan_scale`. polarity: whether light shines through the hole or it is dark in lit metal; found
    by itself where `auto`. tone_curve: how stored levels stand for light; `unknown` measures under both curves and
    gives the mean, half of their difference being one part of the uncertainty. focal_length_mm: for `f_number` = f/d.

    The area is the sum of the coverage (I − B)/(H − B) over the pixels (`measure_area`). The uncertainty holds the
    noise, the background and hole levels, the edge blur, the storage steps, the scale, an unseen tilt of up to 3°, the
    tone curve, and what clipping or the picture's edge may hide. Valid for holes whose outline every ray from the
    middle crosses once, in light that varies slowly, seen face on.

    Flags: `clipped`, `two_holes`, `touches_edge`, `blurred`, `dust_in_hole`, `tone_curve_unknown`.
    Raises `Impossible`: `no_hole_found`, `too_few_pixels` (under 12 across), `too_little_background`, `image_shape`,
    `image_values`; `mm_per_pixel`, `mm_per_pixel_uncertainty`, `focal_length`, `polarity`, `tone_curve` out of range.
    """
    positive(mm_per_pixel, "mm_per_pixel", "The scale")
    not_negative(mm_per_pixel_uncertainty, "mm_per_pixel_uncertainty", "The uncertainty of the scale")
    if focal_length_mm is not None:
        positive(focal_length_mm, "focal_length", "The focal length")
    levels = stored_levels(image)
    found = find_hole(levels, signs=_signs(polarity))
    # What is found at half of its contrast may be a third smaller than it proves to be.
    _need_pixels(1.3 * found.hole.diameter_px, mm_per_pixel)
    measured = [measure_patch(levels, found.hole, curve) for curve in _curves(tone_curve)]
    diameters_px = [_diameter_px(hole) for hole in measured]
    hole = _mean(measured)
    diameter_px = float(np.mean(diameters_px))
    _need_pixels(diameter_px, mm_per_pixel)

    said = doubts(levels, found, hole)
    if tone_curve == "unknown":
        said.append(_either_curve(diameters_px))
    uncertainty_share = np.linalg.norm(
        [
            0.5 * hole.uncertainty / hole.area,
            TILT_SHARE,
            mm_per_pixel_uncertainty / mm_per_pixel,
            *(doubt.uncertainty_px / diameter_px for doubt in said),
        ]
    )
    diameter_mm = diameter_px * mm_per_pixel
    return HoleScan(
        diameter_mm=diameter_mm,
        uncertainty_mm=float(uncertainty_share) * diameter_mm,
        roundness_share=roundness_share(hole.outline),
        burr_share=burr_share(hole.outline),
        centre_px=(hole.outline.x, hole.outline.y),
        outline_px=hole.outline.points(),
        mm_per_pixel=mm_per_pixel,
        blur_px=hole.blur_px,
        polarity="bright_hole" if found.hole.bright else "dark_hole",
        tone_curve=tone_curve,
        f_number=None if focal_length_mm is None else focal_length_mm / diameter_mm,
        flags=tuple(doubt.flag for doubt in said),
    )


def _signs(polarity: Polarity) -> tuple[int, ...]:
    if polarity not in get_args(Polarity):
        raise Impossible("polarity", f"The polarity is one of {', '.join(get_args(Polarity))}.", "polarity")
    return {"auto": (1, -1), "bright_hole": (1,), "dark_hole": (-1,)}[polarity]


def _curves(tone_curve: ToneCurve) -> tuple[Literal["linear", "srgb"], ...]:
    if tone_curve not in get_args(ToneCurve):
        raise Impossible("tone_curve", f"The tone curve is one of {', '.join(get_args(ToneCurve))}.", "tone_curve")
    return ("linear", "srgb") if tone_curve == "unknown" else (tone_curve,)


def _need_pixels(diameter_px: float, mm_per_pixel: float) -> None:
    if diameter_px < SMALLEST_MEASURED_PX:
        wanted_dpi = np.ceil(2.0 * SMALLEST_MEASURED_PX / diameter_px * MM_PER_INCH / mm_per_pixel / 100.0) * 100.0
        raise Impossible(
            "too_few_pixels",
            f"The hole is about {diameter_px:.1f} pixels across and at least {SMALLEST_MEASURED_PX:.0f} are needed: "
            f"scan at about {wanted_dpi:.0f} dpi.",
            "image",
        )


def _diameter_px(hole: HoleArea) -> float:
    return 2.0 * float(np.sqrt(hole.area / np.pi))


def _mean(measured: list[HoleArea]) -> HoleArea:
    """The hole midway between what two tone curves make of it."""
    outlines = [hole.outline for hole in measured]
    return HoleArea(
        area=np.pi / 4.0 * float(np.mean([_diameter_px(hole) for hole in measured])) ** 2,
        uncertainty=float(np.mean([hole.uncertainty for hole in measured])),
        dust_area=float(np.mean([hole.dust_area for hole in measured])),
        outline=Outline(
            x=float(np.mean([outline.x for outline in outlines])),
            y=float(np.mean([outline.y for outline in outlines])),
            radius=np.mean([outline.radius for outline in outlines], axis=0),
        ),
        blur_px=float(np.mean([hole.blur_px for hole in measured])),
    )


def _either_curve(diameters_px: list[float]) -> Doubt:
    spread_px = abs(diameters_px[0] - diameters_px[1])
    return Doubt(
        Flag(
            "tone_curve_unknown",
            f"Linear and sRGB levels give diameters {spread_px / np.mean(diameters_px):.1%} apart; the mean is given. "
            "Look up how the scanner or the phone stores its levels.",
        ),
        0.5 * spread_px,
    )
