"""How sharp a round hole draws on its axis: the spread of a point, the contrast of detail, the finest detail.

A subject at `subject_distance_mm` g before the hole, the film `distance_mm` f behind it; f and g enter the phase
as 1/F = 1/f + 1/g, while the picture's scale keeps f. Light of several wavelengths adds up, so every curve is
the weighted mean of the curves of single wavelengths. `wavelengths_nm` is one wavelength or a list, `weights`
their shares of the light (equal if left out); `spectral_bands.band_weights` gives both for a receptor. The
film's own spread of the light is left out.

The theory stops being valid where `hole_scales` says so; each result carries those doubts as flags. Every
function raises `Impossible` for lengths, wavelengths or weights that cannot be.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from .diffraction import (
    GEOMETRIC_FROM,
    Floats,
    contrast,
    contrast_curve,
    encircled_share,
    intensity_curve,
    relative_intensity,
)
from .faults import Flag, Impossible
from .resolution import resolved_detail
from .spectral_bands import SpectralBand, spectral_band

APPROXIMATION = (
    "Fresnel diffraction (scalar, paraxial) of a round hole in a thin black plate, on the axis; "
    "the film's own spread of the light is left out."
)
#: The places on a curve whose radii or frequencies nobody named, as shares of the outermost.
_EVEN = np.linspace(0.0, 1.0, 256)


@dataclass(frozen=True)
class PointSpread:
    """The image of one point of light.

    `relative_intensity` is I/I_free: 1 is the light that point would throw there with the plate taken away.
    `share_per_mm2` is the same as a share of all the light through the hole: its integral over the film is 1.
    """

    radius_mm: Floats
    relative_intensity: Floats
    share_per_mm2: Floats
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class ModulationTransfer:
    """Contrast of image detail over contrast of subject detail, at frequencies on the film.

    `contrast` is signed (the optical transfer function): below zero the detail is there but reversed, light
    for dark (spurious resolution).
    """

    frequency_cycles_per_mm: Floats
    contrast: Floats
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Sharpness:
    """All about the middle of the picture. `mtf50` and `mtf10` are the first frequencies, in cycles per mm on
    the film, at which the contrast falls to 0.5 and to 0.1."""

    point_spread: PointSpread
    modulation_transfer: ModulationTransfer
    mtf50_cycles_per_mm: float
    mtf10_cycles_per_mm: float
    approximation: str
    flags: tuple[Flag, ...]


def fresnel_number(
    *,
    hole_diameter_mm: ArrayLike,
    distance_mm: ArrayLike,
    wavelength_nm: ArrayLike,
    subject_distance_mm: ArrayLike = np.inf,
) -> Floats:
    """N_F = a²/(λF), a = d/2: below about 0.3 diffraction rules the blur, above 3 the shadow of the hole."""
    diameter, curvature_per_mm = _floats(hole_diameter_mm), 1 / _floats(distance_mm) + 1 / _floats(subject_distance_mm)
    return diameter * diameter * curvature_per_mm / (4e-6 * _floats(wavelength_nm))


def cutoff_frequency(*, hole_diameter_mm: ArrayLike, distance_mm: ArrayLike, wavelength_nm: ArrayLike) -> Floats:
    """d/(λf), the frequency on the film, cycles per mm, from which on no contrast is left."""
    return _floats(hole_diameter_mm) / (1e-6 * (_floats(wavelength_nm) * _floats(distance_mm)))


def point_spread(
    *,
    hole_diameter_mm: ArrayLike,
    distance_mm: ArrayLike,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: ArrayLike = np.inf,
    radius_mm: ArrayLike,
) -> PointSpread:
    """Return the light on the film `radius_mm` (≥ 0) from the image of a point. All lengths broadcast.

    Error below 1e-10 of the brightest part. Quickest for one hole and an array of radii.
    """
    band, radius = spectral_band(wavelengths_nm, weights), np.asarray(radius_mm, dtype=np.float64)
    number, cutoff, flags = hole_scales(hole_diameter_mm, distance_mm, subject_distance_mm, band)
    reach = _reach(radius, "radius")
    if number.ndim == 0 and radius.ndim == 1 and reach > 0:
        v_reach = np.pi * float(cutoff) * reach
        intensity = intensity_curve(float(number), v_reach, radius / reach, band.ratios, band.weights)
    else:
        v = np.pi * (cutoff * radius)[..., None] / band.ratios
        intensity = (relative_intensity(number[..., None] / band.ratios, v) @ band.weights)[()]
    distance = _floats(distance_mm)
    shortest = _range(distance)[0]
    if reach > 0.2 * shortest:
        text = f"{reach:.3g} mm beside an image {shortest:.3g} mm from the hole is too far for a paraxial theory."
        flags += (Flag("radius_wide", text),)
    shadow_mm = _floats(hole_diameter_mm) * (1 + distance / _floats(subject_distance_mm))
    return PointSpread(radius[()], intensity, intensity / (np.pi / 4 * shadow_mm**2), flags)


def encircled_energy(
    *,
    hole_diameter_mm: ArrayLike,
    distance_mm: ArrayLike,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: ArrayLike = np.inf,
    radius_mm: ArrayLike,
) -> Floats:
    """Return the share (0–1) of an image point's light within `radius_mm` (≥ 0). All lengths broadcast."""
    band, radius = spectral_band(wavelengths_nm, weights), np.asarray(radius_mm, dtype=np.float64)
    number, cutoff, _ = hole_scales(hole_diameter_mm, distance_mm, subject_distance_mm, band)
    _reach(radius, "radius")
    shares = (
        weight * encircled_share(number / ratio, np.pi * cutoff * radius / ratio)
        for ratio, weight in zip(band.ratios, band.weights, strict=True)
    )
    return sum(shares, np.zeros(()))


def modulation_transfer(
    *,
    hole_diameter_mm: ArrayLike,
    distance_mm: ArrayLike,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: ArrayLike = np.inf,
    frequency_cycles_per_mm: ArrayLike,
) -> ModulationTransfer:
    """Return the contrast of detail of `frequency_cycles_per_mm` (≥ 0) on the film. All lengths broadcast.

    Absolute error below 1e-11. For N_F → ∞ it is 2J₁(q)/q with q = πdν(1 + f/g); for N_F → 0 that of a
    perfect lens of the hole's f-number.
    """
    band, frequency = spectral_band(wavelengths_nm, weights), np.asarray(frequency_cycles_per_mm, dtype=float)
    number, cutoff, flags = hole_scales(hole_diameter_mm, distance_mm, subject_distance_mm, band)
    values = band_contrast(number, cutoff, frequency, band)
    return ModulationTransfer(frequency[()], values, flags + reversal_doubts(values))


def resolved_frequency(
    *,
    hole_diameter_mm: ArrayLike,
    distance_mm: ArrayLike,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: ArrayLike = np.inf,
    at_contrast: float = 0.1,
) -> Floats:
    """Return the first frequency, cycles per mm on the film, at which the contrast falls to `at_contrast`.

    `at_contrast` lies between 0.1 and 0.9. All lengths broadcast. Relative error below 1e-8, for arrays of a
    thousand and more below 1e-5.
    """
    band = spectral_band(wavelengths_nm, weights)
    number, cutoff, _ = hole_scales(hole_diameter_mm, distance_mm, subject_distance_mm, band)
    return resolved_detail(number, at_contrast, band.ratios, band.weights) * cutoff / 2


def sharpness(
    *,
    hole_diameter_mm: float,
    distance_mm: float,
    wavelengths_nm: ArrayLike,
    weights: ArrayLike | None = None,
    subject_distance_mm: float = np.inf,
) -> Sharpness:
    """Return point spread, contrast and finest detail of one hole, on even grids that show all of both curves.

    Radii run to twice the shadow and the first dark ring together, frequencies to the cut-off or to four times
    the first zero of the plain shadow, whichever comes first.
    """
    band = spectral_band(wavelengths_nm, weights)
    number, cutoff, _ = hole_scales(hole_diameter_mm, distance_mm, subject_distance_mm, band)
    case: dict[str, Any] = {
        "hole_diameter_mm": hole_diameter_mm,
        "distance_mm": distance_mm,
        "subject_distance_mm": subject_distance_mm,
        "wavelengths_nm": band.wavelengths_nm,
        "weights": band.weights,
    }
    shadow_mm = hole_diameter_mm * (1 + distance_mm / subject_distance_mm)
    reach_mm = shadow_mm + 2.44 / float(cutoff) * float(band.ratios.max())
    spread = point_spread(**case, radius_mm=reach_mm * _EVEN)
    transfer = modulation_transfer(**case, frequency_cycles_per_mm=min(float(cutoff), 4 * 1.22 / shadow_mm) * _EVEN)
    mtf50, mtf10 = (float(resolved_frequency(**case, at_contrast=level)) for level in (0.5, 0.1))
    finer = float(band_contrast(number, cutoff, np.asarray(1.25 * mtf10), band))
    flags = dict.fromkeys(spread.flags + transfer.flags + _plateau_doubts(finer))
    return Sharpness(spread, transfer, mtf50, mtf10, APPROXIMATION, tuple(flags))


def band_contrast(number: Floats, cutoff: Floats, frequency: Floats, band: SpectralBand) -> Floats:
    """Mean contrast over a band, `number` and `cutoff` (cycles per mm) being its shortest wavelength's."""
    reach = _reach(frequency, "frequency")
    if number.ndim == 0 and frequency.ndim == 1 and reach > 0:
        s_reach = 2 * reach / float(cutoff)
        return contrast_curve(float(number), s_reach, frequency / reach, band.ratios, band.weights)
    s = 2 * (frequency / cutoff)[..., None] * band.ratios
    return (contrast(number[..., None] / band.ratios, s) @ band.weights)[()]


def hole_scales(
    hole_diameter_mm: ArrayLike, distance_mm: ArrayLike, subject_distance_mm: ArrayLike, band: SpectralBand
) -> tuple[Floats, Floats, tuple[Flag, ...]]:
    """Fresnel number and cut-off frequency (cycles per mm) of the shortest wavelength, and where the theory strains.

    The phase that Fresnel's approximation leaves out at the hole's rim is π a⁴/(4λ)·(1/f³ + 1/g³) [derived]. That
    the plate's material matters for holes under about ten wavelengths: common practice, no source.
    `Impossible` for a length not above zero.
    """
    diameter, distance, subject = (_floats(length) for length in (hole_diameter_mm, distance_mm, subject_distance_mm))
    for field, length in (("hole_diameter", diameter), ("distance", distance)):
        least, greatest = _range(length)
        if not 0 < least <= greatest < np.inf:
            raise Impossible("not_positive", "This length must be more than zero, and finite.", field)
    if not _range(subject)[0] > 0:
        raise Impossible("not_positive", "This length must be more than zero.", "subject_distance")
    number = fresnel_number(
        hole_diameter_mm=diameter,
        distance_mm=distance,
        wavelength_nm=band.shortest_nm,
        subject_distance_mm=subject,
    )
    cutoff = cutoff_frequency(hole_diameter_mm=diameter, distance_mm=distance, wavelength_nm=band.shortest_nm)
    flags = []
    strain_mm = diameter**4 / 64 * (1 / distance**3 + 1 / subject**3)
    left_out_rad = np.pi * 1e6 / band.shortest_nm * _range(strain_mm)[1]
    if left_out_rad > 0.1:
        text = (
            f"The hole is so wide for its distances that the theory leaves out up to {left_out_rad:.2g} radians "
            "of phase at its rim; do not trust the fine structure."
        )
        flags.append(Flag("hole_wide_for_distance", text))
    narrowest = _range(diameter)[0]
    if narrowest < 10e-6 * band.longest_nm:
        text = f"A hole of {narrowest:.3g} mm is under ten wavelengths wide: the plate's material matters."
        flags.append(Flag("hole_near_wavelength", text))
    nearness = _range(distance / subject)[1]
    if nearness > 1:
        text = (
            "The subject is closer to the hole than the film is: "
            f"each of its points draws a shadow {1 + nearness:.2g} holes wide."
        )
        flags.append(Flag("subject_closer_than_film", text))
    greatest = _range(number)[1]
    if greatest > GEOMETRIC_FROM:
        text = f"Fresnel number {greatest:.0f}: the hole's plain shadow stands in for diffraction."
        flags.append(Flag("geometric_shadow", text))
    return number, cutoff, tuple(flags)


def reversal_doubts(contrast: Floats) -> tuple[Flag, ...]:
    """Flag contrast below −0.01."""
    lowest = contrast.min(initial=0.0)
    if lowest >= -0.01:
        return ()
    text = f"Contrast falls to {lowest:.2f}: some of the finer detail shows reversed, light for dark."
    return (Flag("spurious_resolution", text),)


def _plateau_doubts(finer_contrast: float) -> tuple[Flag, ...]:
    if finer_contrast < 0.06:
        return ()
    text = (
        f"Detail a quarter finer than the mtf10 given still has contrast {finer_contrast:.2f}: "
        "the curve is nearly level there, and a slightly different hole moves mtf10 a good deal."
    )
    return (Flag("mtf10_on_plateau", text),)


def _floats(values: ArrayLike) -> Floats:
    """An array, or a number, with which numpy reckons several times as fast as with an array that holds only one."""
    return np.asarray(values, dtype=np.float64)[()]


def _range(values: Floats) -> tuple[float, float]:
    """Least and greatest."""
    if values.ndim == 0:
        return float(values), float(values)
    return float(values.min()), float(values.max())


def _reach(values: Floats, field: str) -> float:
    """The greatest; `Impossible` if any is negative or none is a number."""
    least, greatest = _range(values)
    if not 0 <= least <= greatest < np.inf:
        raise Impossible("negative", "Each of these must be zero or more, and finite.", field)
    return greatest
