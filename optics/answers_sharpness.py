"""How sharp a hole draws, and holes and formats weighed against each other."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from optics.core.camera_plan import Hole
from optics.core.film_detail import FilmDetail, compare_holes, film_detail
from optics.core.film_planes import FilmPlane
from optics.core.hole_comparison_svg import hole_comparison_svg
from optics.core.off_axis import OffAxisSharpness, off_axis_sharpness
from optics.core.sharpness import encircled_energy
from optics.core.sharpness import sharpness as core_sharpness
from optics.core.sharpness_svg import sharpness_svg
from optics.core.spectral_bands import SpectralBand


def sharpness(
    *,
    hole: Hole,
    distance: float,
    band: SpectralBand,
    subject_distance: float,
    field_angle: float | None = None,
    film_plane: FilmPlane | None = None,
) -> dict[str, Any]:
    light: dict[str, Any] = {"wavelengths_nm": band.wavelengths_nm, "weights": band.weights}
    where: dict[str, Any] = {
        "hole_diameter_mm": hole.diameter_mm,
        "distance_mm": distance,
        "subject_distance_mm": subject_distance,
    }
    found = core_sharpness(**where, **light)
    spread, transfer = found.point_spread, found.modulation_transfer
    answer: dict[str, Any] = {
        **vars(found),
        "svg": sharpness_svg(found),
        "encircled": encircled_energy(**where, **light, radius_mm=spread.radius_mm),
    }
    flags = {flag.code: flag for flag in found.flags}
    if field_angle is not None:
        angle = float(np.deg2rad(field_angle))
        off: OffAxisSharpness = off_axis_sharpness(
            **where | {"distance_mm": distance / float(np.cos(angle))},
            **light,
            plate_angle_rad=angle,
            film_angle_rad=angle,
            frequency_cycles_per_mm=transfer.frequency_cycles_per_mm,
        )
        answer["off_axis"] = {**vars(off), "field_angle_rad": angle}
        flags |= {flag.code: flag for flag in off.flags}
    if film_plane is not None:
        detail: FilmDetail = film_detail(
            film_plane,
            hole_diameters_mm=np.array([hole.diameter_mm]),
            band=band,
            subject_distance_mm=subject_distance,
        )
        counts = {"across": detail.across, "down": detail.down, "picture": detail.picture}
        answer["line_pairs"] = {name: float(count[0]) for name, count in counts.items()}
        flags |= {flag.code: flag for flag in detail.flags}
    return answer | {"flags": tuple(flags.values())}


def hole_comparison(
    *, film_planes: Sequence[FilmPlane], diameters: Sequence[float], receptor: SpectralBand
) -> dict[str, Any]:
    found = compare_holes(film_planes, hole_diameters_mm=diameters, band=receptor)
    return {**vars(found), "svg": hole_comparison_svg(found)}
