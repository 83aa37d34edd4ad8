"""How sharp a round hole draws off its axis, and how much detail the lines across a negative hold.

Seen along a ray at an angle θ from the plate's normal the hole is an ellipse, cos θ narrower in the tangential
plane (the one that holds the ray and the normal). To second order the paths through it differ by
(x² + y²)/2·(1/r + 1/g), x and y measured square to the ray and r, g along it, so the ellipse diffracts like a hole
in a plane square to the ray. The contrast of detail varying in one direction is then again an overlap integral, of
two displaced ellipses; stretched into circles they give the round hole's, with the half-width a′ below in place of
the radius. Where that direction is oblique to the ellipse, the phase also runs across the overlap (`skew`).
[derived; checked by quadrature over the ellipse]

Left out: the third-order path, π a³ sin θ cos² θ·|1/r² − 1/g²|/λ radians at the rim, thousandths of a radian for
any usable hole; the change of r within one point's image; the plate's thickness, which narrows the hole further
and darkens it (see `illumination.plate_transmission`). Beyond about 60° the last two grow large.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .diffraction import Floats
from .faults import Flag, Impossible
from .resolution import resolved_detail
from .sharpness import band_contrast, hole_scales, reversal_doubts
from .spectral_bands import spectral_band

APPROXIMATION = (
    "Paraxial Fresnel diffraction of the hole as seen along the ray (an ellipse), at the ray's own length, on a film "
    "taken as flat and tilted within one point's image; thin plate."
)
#: Angle from a normal beyond which the approximation is called doubtful.
FAR_FROM_AXIS_DEG = 60.0


@dataclass(frozen=True)
class DirectionSharpness:
    """Contrast and finest detail for detail varying in one direction, frequencies on the film."""

    contrast: Floats
    mtf50_cycles_per_mm: float
    mtf10_cycles_per_mm: float


@dataclass(frozen=True)
class OffAxisSharpness:
    """One place off the axis. Tangential detail varies in the plane of the ray and the plate's normal, radial
    (sagittal) detail square to it."""

    frequency_cycles_per_mm: Floats
    tangential: DirectionSharpness
    radial: DirectionSharpness
    approximation: str
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class LineGeometry:
    """Rays to the points of a line on the film, as `line_pairs` takes them; four arrays of one shape."""

    distance_mm: Floats
    plate_angle_rad: Floats
    film_angle_rad: Floats
    azimuth_rad: Floats


@dataclass(frozen=True)
class LinePairs:
    """`count` line pairs resolved along a whole line, from `resolved_cycles_per_mm` at each of its points."""

    count: Floats
    resolved_cycles_per_mm: Floats
    approximation: str
    flags: tuple[Flag, ...]


def hole_along(
    *, hole_diameter_mm: ArrayLike, plate_angle_rad: ArrayLike, azimuth_rad: ArrayLike
) -> tuple[Floats, Floats]:
    """Return the diameter 2a′ (mm) that a hole seen askew has for detail in one direction, and its `skew`.

    `plate_angle_rad` is θ, `azimuth_rad` φ the direction's angle from the tangential plane, in the plane square to
    the ray: 1/a′² = (cos²φ/cos²θ + sin²φ)/a², skew² = (cos²θ cos²φ + sin²φ)·a²/a′² − 1. Tangential (φ = 0): a cos θ,
    0; radial (φ = π/2): a, 0. All broadcast.
    """
    squared_cos, squared_sin = np.cos(azimuth_rad) ** 2, np.sin(azimuth_rad) ** 2
    narrowing2 = np.cos(plate_angle_rad) ** 2
    widening2 = squared_cos / narrowing2 + squared_sin
    skew2 = (narrowing2 * squared_cos + squared_sin) * widening2 - 1
    # below 1e-12 it is rounding along an axis of the ellipse
    return hole_diameter_mm / np.sqrt(widening2), np.sqrt(np.where(skew2 > 1e-12, skew2, 0.0))


def off_axis_sharpness(
    *,
    hole_diameter_mm: float,
    distance_mm: float,
    plate_angle_rad: float,
    film_angle_rad: float = 0.0,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: float = np.inf,
    frequency_cycles_per_mm: ArrayLike,
) -> OffAxisSharpness:
    """Return contrast and finest detail where a ray `distance_mm` long meets the film.

    On a flat back f away the ray is f/cos θ long and both angles are θ. `film_angle_rad` is the ray's angle from the
    film's normal, taken to lie in the tangential plane, where it stretches the image by 1/cos; left at 0, the film
    stands square to the ray. `subject_distance_mm` is measured along the ray.
    """
    band = spectral_band(wavelengths_nm, weights)
    frequency = np.asarray(frequency_cycles_per_mm, dtype=np.float64)
    flags = _angle_doubts(plate_angle_rad, film_angle_rad)
    directions = []
    for azimuth_rad, stretch in ((0.0, 1 / np.cos(film_angle_rad)), (np.pi / 2, 1.0)):
        diameter_mm, _ = hole_along(
            hole_diameter_mm=hole_diameter_mm, plate_angle_rad=plate_angle_rad, azimuth_rad=azimuth_rad
        )
        number, cutoff, doubts = hole_scales(diameter_mm, distance_mm, subject_distance_mm, band)
        cutoff = cutoff / stretch
        contrast = band_contrast(number, cutoff, frequency, band)
        mtf50, mtf10 = (
            float(resolved_detail(number, level, band.ratios, band.weights) * cutoff / 2) for level in (0.5, 0.1)
        )
        directions.append(DirectionSharpness(contrast, mtf50, mtf10))
        flags += doubts + reversal_doubts(contrast)
    once = tuple({flag.code: flag for flag in flags}.values())
    return OffAxisSharpness(frequency, directions[0], directions[1], APPROXIMATION, once)


def line_geometry(
    *, ray_mm: ArrayLike, film_normal: ArrayLike, line: ArrayLike, plate_normal: ArrayLike = (0.0, 0.0, 1.0)
) -> LineGeometry:
    """Return what `line_pairs` needs from vectors (…, 3), which broadcast.

    `ray_mm` runs from the hole to points of the film, `film_normal` and `plate_normal` are unit normals (either
    sense), `line` the unit direction of the line within the film. Bars square to the line, seen along the ray, vary
    in the direction k of ray × (normal × line); `film_angle_rad` is the angle between k and the line, which
    stretches the image by 1/cos, `azimuth_rad` that between k and the tangential plane.
    """
    ray, film, line, plate = (
        np.asarray(vector, dtype=np.float64) for vector in (ray_mm, film_normal, line, plate_normal)
    )
    distance_mm = np.linalg.norm(ray, axis=-1)
    along = ray / distance_mm[..., None]
    k = np.cross(along, np.cross(film, line))
    k = k / np.linalg.norm(k, axis=-1, keepdims=True)
    # the foreshortened axis of the hole, and the one square to it; no length on the axis, where the hole is round
    radial = np.cross(along, plate)
    tangential = np.cross(radial, along)
    plate_cos = np.abs(np.vecdot(along, plate))
    return LineGeometry(
        *np.broadcast_arrays(
            distance_mm,
            np.arccos(np.minimum(plate_cos, 1.0)),
            np.arccos(np.minimum(np.abs(np.vecdot(k, line)), 1.0)),
            np.arctan2(np.abs(np.vecdot(k, radial)), np.abs(np.vecdot(k, tangential))),
        )
    )


def line_pairs(
    *,
    s_mm: ArrayLike,
    distance_mm: ArrayLike,
    plate_angle_rad: ArrayLike,
    film_angle_rad: ArrayLike,
    azimuth_rad: ArrayLike = 0.0,
    hole_diameter_mm: ArrayLike,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: ArrayLike = np.inf,
    at_contrast: float = 0.1,
) -> LinePairs:
    """Return the line pairs resolved along a line on the laid-flat negative, ∫ν(s) ds by the trapezium rule.

    `s_mm` (…, P), rising, are places on the line; at each of them `distance_mm` is the length of the ray from the
    hole, `plate_angle_rad` its angle from the plate's normal, `film_angle_rad` its angle from the film's normal
    within the plane of that normal and the line (0 where the ray leans across the line only), `azimuth_rad` the
    angle between line and tangential plane: 0 where the ray leans along the line, π/2 where it leans across it.
    `line_geometry` gives all four, for any hole off the middle. ν is the first frequency at which the contrast
    falls to `at_contrast` (0.1–0.9), 0 where no ray comes to the film (an angle of 90° or more).

    Everything broadcasts against (…, P): hole diameters of shape (20, 1) give 20 counts. Fifty points an even step
    apart give the count within 1e-3.
    """
    band = spectral_band(wavelengths_nm, weights)
    s, distance, plate_angle, film_angle, azimuth = (
        np.asarray(values, dtype=np.float64)
        for values in (s_mm, distance_mm, plate_angle_rad, film_angle_rad, azimuth_rad)
    )
    if s.ndim == 0 or s.shape[-1] < 2 or not (np.diff(s) > 0).all():
        raise Impossible("not_rising", "A line needs two places or more, each farther along than the one before.", "s")
    dark = (np.abs(plate_angle) >= np.pi / 2) | (np.abs(film_angle) >= np.pi / 2)
    plate_angle, film_angle = np.where(dark, 0.0, plate_angle), np.where(dark, 0.0, film_angle)
    flags = _angle_doubts(plate_angle, film_angle)
    diameter_mm, skew = hole_along(
        hole_diameter_mm=np.asarray(hole_diameter_mm, dtype=np.float64),
        plate_angle_rad=plate_angle,
        azimuth_rad=azimuth,
    )
    number, cutoff, doubts = hole_scales(diameter_mm, distance, subject_distance_mm, band)
    detail = resolved_detail(number, at_contrast, band.ratios, band.weights, skew)
    resolved = np.where(dark, 0.0, detail * cutoff / 2 * np.cos(film_angle))
    if dark.any():
        text = f"No ray reaches {np.mean(dark):.0%} of the line's places; nothing is resolved there."
        flags += (Flag("line_partly_dark", text),)
    return LinePairs(np.trapezoid(resolved, s, axis=-1), resolved, APPROXIMATION, flags + doubts)


def _angle_doubts(plate_angle_rad: ArrayLike, film_angle_rad: ArrayLike) -> tuple[Flag, ...]:
    flags = []
    for surface, angles in (("plate", plate_angle_rad), ("film", film_angle_rad)):
        steepest_deg = np.degrees(np.max(np.abs(angles), initial=0.0))
        if not steepest_deg < 90:
            text = "A ray must come in at less than 90° from the normal."
            raise Impossible("angle_too_wide", text, f"{surface}_angle")
        if steepest_deg > FAR_FROM_AXIS_DEG:
            text = (
                f"Rays lean up to {steepest_deg:.0f}° from the {surface}'s normal; beyond {FAR_FROM_AXIS_DEG:.0f}° "
                "these figures are rough."
            )
            flags.append(Flag(f"far_from_{surface}_normal", text))
    return tuple(flags)
