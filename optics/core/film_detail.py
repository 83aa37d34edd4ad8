"""How much detail a whole negative holds, so that a hole and a format can be weighed against each other."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .diffraction import Floats
from .faults import Flag
from .film_planes import FilmPlane
from .off_axis import line_geometry, line_pairs
from .spectral_bands import SpectralBand

#: Places along a line; the count is good to about 1e-3 with these.
PLACES = 61


@dataclass(frozen=True)
class FilmDetail:
    """Line pairs resolved `across` the middle row and `down` the axis's column of a negative, one for each hole.

    `picture` = across · down: the one number by which holes and formats compare.
    """

    across: Floats
    down: Floats
    approximation: str
    flags: tuple[Flag, ...]

    @property
    def picture(self) -> Floats:
        return self.across * self.down


def film_detail(
    plane: FilmPlane, *, hole_diameters_mm: Floats, band: SpectralBand, subject_distance_mm: float = np.inf
) -> FilmDetail:
    """Detail on `plane` for each of `hole_diameters_mm` (n,), down to a contrast of 0.1."""
    half_s, half_y = plane.length_mm / 2, plane.height_mm / 2
    s, y = np.linspace(-half_s, half_s, PLACES), np.linspace(-half_y, half_y, PLACES)
    row = np.clip(plane.hole_offset_y_mm, -half_y, half_y)
    lines = (
        (s, np.broadcast_to(plane.rows(np.array(row)), s.shape), s, True),
        (np.full_like(y, plane.axis_s_mm), plane.rows(y), y, False),
    )
    found = []
    for at_s, height, along, across in lines:
        x, z, nx, nz = plane.profile.at(at_s)
        nothing, one = np.zeros_like(x), np.ones_like(x)
        geometry = line_geometry(
            ray_mm=np.stack([x, height, z], axis=-1),
            film_normal=np.stack([nx, nothing, nz], axis=-1),
            line=np.stack([-nz, nothing, nx] if across else [nothing, one, nothing], axis=-1),
        )
        found.append(
            line_pairs(
                s_mm=along,
                **vars(geometry),
                hole_diameter_mm=np.asarray(hole_diameters_mm, dtype=float)[:, None],
                wavelengths_nm=band.wavelengths_nm,
                weights=band.weights,
                subject_distance_mm=subject_distance_mm,
            )
        )
    across_lines, down_lines = found
    flags = {flag.code: flag for flag in (*across_lines.flags, *down_lines.flags)}
    return FilmDetail(across_lines.count, down_lines.count, across_lines.approximation, tuple(flags.values()))


@dataclass(frozen=True)
class Pair:
    """One hole in one format. `stops_from_f22` as in `holes.f_number`, for the trade's focal length."""

    format: int
    diameter_mm: float
    f_number: float
    stops_from_f22: float
    across: float
    down: float
    picture: float


@dataclass(frozen=True)
class HoleComparison:
    """Every hole in every format, formats in order and holes rising within; `answer` is the upshot in sentences."""

    labels: tuple[str, ...]
    pairs: tuple[Pair, ...]
    answer: tuple[str, ...]
    approximation: str
    flags: tuple[Flag, ...]


def compare_holes(
    planes: Sequence[FilmPlane], *, hole_diameters_mm: Sequence[float], band: SpectralBand
) -> HoleComparison:
    """Line pairs, f-number and stops of each hole in each format."""
    diameters = np.unique(np.asarray(hole_diameters_mm, dtype=float))
    labels = tuple(
        f"{k + 1}: {plane.kind.replace('_', ' ')} {plane.length_mm:.0f} × {plane.height_mm:.0f} mm"
        for k, plane in enumerate(planes)
    )
    details = [film_detail(plane, hole_diameters_mm=diameters, band=band) for plane in planes]
    pairs = []
    for k, (plane, detail) in enumerate(zip(planes, details, strict=True)):
        numbers = plane.mean_mm / diameters
        columns = (diameters, numbers, 9 - 2 * np.log2(numbers), detail.across, detail.down, detail.picture)
        pairs += [Pair(k, *row) for row in np.column_stack(columns).tolist()]
    flags = {flag.code: flag for detail in details for flag in detail.flags}
    return HoleComparison(labels, tuple(pairs), _answer(labels, pairs), details[0].approximation, tuple(flags.values()))


def _answer(labels: Sequence[str], pairs: Sequence[Pair]) -> tuple[str, ...]:
    """The best hole of each format, what a hole a quarter off costs, and what the next format gives."""
    lines, best = [], []
    for k, label in enumerate(labels):
        own = [pair for pair in pairs if pair.format == k]
        top = max(own, key=lambda pair: pair.picture)
        best.append(top)
        where = ""
        if len(own) > 2 and top.diameter_mm in {own[0].diameter_mm, own[-1].diameter_mm}:
            where = " (at the end of the range asked for: try further)"
        line = (
            f"{label}: most detail with a {top.diameter_mm:.3f} mm hole, {top.across:.0f} × {top.down:.0f} line pairs"
            f"{where}"
        )
        worst = min(own, key=lambda pair: pair.picture)
        if worst.picture > 0 and worst is not top:
            line += f"; a {worst.diameter_mm:.3f} mm hole holds 1/{top.picture / worst.picture:.1f} of that"
        lines.append(line + ".")
    if len(best) > 1:
        small, large = min(best, key=lambda pair: pair.picture), max(best, key=lambda pair: pair.picture)
        if large.picture > small.picture > 0:
            lines.append(
                f"With its best hole, {labels[large.format]} holds {large.picture / small.picture:.1f} times the "
                f"detail of {labels[small.format]}, at {abs(large.stops_from_f22 - small.stops_from_f22):.1f} stops "
                f"{'less' if large.stops_from_f22 < small.stops_from_f22 else 'more'} light."
            )
    return tuple(lines)
