"""How bright each point of the film is, and the one focal length that serves the whole negative best.

For a scene of even luminance L and a hole of area A the illuminance at a film point P, seen from the hole at a
distance r, at θ_plate from the plate's normal and θ_film from the film's, is

    E = L·A·cos θ_plate · cos θ_film / r² · T(θ_plate)

(SCIENCE §3, derived, checked by total flux), T being the share that a plate of some thickness lets through. With
P = (x, y, z), cos θ_plate = z/r and cos θ_film = q/r where q = -(P·n), so E = L·A·z·q/r⁴·T: z, q and x² + z² depend
on the column alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .faults import Flag
from .film_planes import Columns, FilmPlane

Floats = NDArray[np.float64]

#: Shares of the width and height for which an illumination reports its balance beside the one asked for.
USED_SHARES = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


def plate_transmission(*, tan_angle: Floats | float, thickness_share: float) -> Floats:
    """Share of the light a thick plate's round hole lets through, `tan_angle` off its normal; 1 down to 0.

    T = (2/π)(acos x - x√(1-x²)), x = (t/d)·tan θ: the overlap of the hole's two rims; 0 from tan θ = d/t on.
    `thickness_share` = plate thickness / hole diameter, ≥ 0. Geometric: walls black, no diffraction. [SCIENCE §3]
    """
    x = np.minimum(thickness_share * np.asarray(tan_angle, dtype=float), 1.0)
    return (np.arccos(x) - x * np.sqrt(1.0 - x * x)) * (2 / np.pi)


def light_stops(columns: Columns, height2_mm2: Floats | float, *, thickness_share: float = 0.0) -> Floats:
    """log₂ of z·q/r⁴·T (mm⁻²): illuminance over L·A in stops, -inf where no light falls.

    Broadcasts columns (n,) with squared heights over the axis; what depends on the column alone is done once.
    """
    stops = columns.reach2_mm2 + height2_mm2
    np.log2(stops, out=stops)
    stops *= -2
    with np.errstate(divide="ignore"):
        stops += np.log2(columns.z_mm * columns.facing_mm)
        if thickness_share > 0:
            tan_angle = np.sqrt(columns.x_mm**2 + height2_mm2) / columns.z_mm
            stops += np.log2(plate_transmission(tan_angle=tan_angle, thickness_share=thickness_share))
    return stops


def stops_map(plane: FilmPlane, *, s_mm: Floats, y_mm: Floats, thickness_share: float = 0.0) -> Floats:
    """Stops against the film point on the hole's axis, shape (len(y), len(s)); -inf where no light falls."""
    stops = light_stops(plane.columns(s_mm), plane.rows(y_mm)[:, None] ** 2, thickness_share=thickness_share)
    stops -= _axis_stops(plane)
    return stops


@dataclass(frozen=True)
class Balance:
    """The f-number at which the brightest and the darkest used point are equally far off, `error_stops` each."""

    used_share: float
    brightest_stops: float
    darkest_stops: float
    focal_length_mm: float
    f_number: float
    error_stops: float
    within_one_stop_share: float


@dataclass(frozen=True)
class Illumination:
    """Light over the laid-flat negative: columns `x_mm` (m,), rows `y_mm` (n,), `stops` (n, m).

    All stops count from the film point on the hole's axis, positive where it is brighter; -inf where there is no
    light. `brightest_stops` and `darkest_stops` are those of the used region. `balanced` is None where part of it gets
    no light: no f-number serves that. `within_one_stop_share` is the share of the whole negative's area within ± 1 stop
    of the axis point.
    """

    x_mm: Floats
    y_mm: Floats
    stops: Floats
    brightest_stops: float
    darkest_stops: float
    balanced: Balance | None
    by_used_share: tuple[Balance, ...]
    within_one_stop_share: float
    trade_focal_length_mm: float
    trade_f_number: float
    trade_brightest_stops: float
    trade_darkest_stops: float
    distance_only_darkest_stops: float
    flags: tuple[Flag, ...]


def illuminate(
    plane: FilmPlane,
    *,
    hole_diameter_mm: float,
    plate_thickness_mm: float = 0.0,
    used_share: float = 1.0,
    columns: int = 81,
    rows: int = 33,
) -> Illumination:
    """The illumination map and both focal lengths; `used_share` in (0, 1] of the width and of the height.

    The trade's focal length is half of the shortest and longest distance; `trade_*_stops` say how far the
    brightest and darkest used point are from an exposure made for it. `distance_only_darkest_stops` is what
    the distances alone would predict for the darkest used point, 2·log₂(axis/longest).
    """
    thickness_share = plate_thickness_mm / hole_diameter_mm
    half_s, half_y = plane.length_mm / 2, plane.height_mm / 2
    s, y = np.linspace(-half_s, half_s, columns), np.linspace(-half_y, half_y, rows)
    stops = stops_map(plane, s_mm=s, y_mm=y, thickness_share=thickness_share)
    fine = _fine_stops(plane, thickness_share)

    extremes = {
        share: extreme_stops(plane, thickness_share=thickness_share, used_share=share)
        for share in {used_share, *USED_SHARES}
    }
    brightest, darkest = extremes[used_share]
    axis_f_number = _axis_f_number(plane, hole_diameter_mm)
    balances = {share: _balance(hole_diameter_mm, axis_f_number, share, ends, fine) for share, ends in extremes.items()}
    axis_stops = -2 * np.log2(axis_f_number)
    trade_f_number = plane.mean_mm / hole_diameter_mm
    trade_stops = -2 * np.log2(trade_f_number) - axis_stops
    distance_only = 2 * np.log2(plane.axis_distance_mm / plane.farthest_mm(used_share))
    return Illumination(
        x_mm=s,
        y_mm=y,
        stops=stops,
        brightest_stops=brightest,
        darkest_stops=darkest,
        balanced=balances[used_share],
        by_used_share=tuple(b for share in USED_SHARES if (b := balances[share])),
        within_one_stop_share=float(np.mean(np.abs(fine) <= 1)),
        trade_focal_length_mm=plane.mean_mm,
        trade_f_number=trade_f_number,
        trade_brightest_stops=brightest - trade_stops,
        trade_darkest_stops=darkest - trade_stops,
        distance_only_darkest_stops=float(distance_only),
        flags=_flags(plane, balances[used_share], darkest, float(distance_only), used_share),
    )


def extreme_stops(plane: FilmPlane, *, thickness_share: float, used_share: float = 1.0) -> tuple[float, float]:
    """Stops of the brightest and the darkest point of the used region.

    Along a column every factor of the light falls as the height above or below the axis grows, so only the used
    rows nearest to and farthest from the axis are searched.
    """
    nearest, farthest = plane.row_range_mm(used_share)

    def stops(columns: Columns, height_mm: float) -> Floats:
        return light_stops(columns, height_mm**2, thickness_share=thickness_share)

    brightest = -plane.least(lambda columns: -stops(columns, nearest), used_share)
    darkest = plane.least(lambda columns: stops(columns, farthest), used_share)
    axis = _axis_stops(plane)
    return brightest - axis, darkest - axis


def _axis_stops(plane: FilmPlane) -> float:
    """`light_stops` where the hole's axis meets the film (or, with the hole above or below it, its extension)."""
    return float(light_stops(plane.columns(np.array([plane.axis_s_mm])), 0.0)[0])


def _axis_f_number(plane: FilmPlane, hole_diameter_mm: float) -> float:
    """The f-number a flat film facing the hole would have if it were as bright as the axis point."""
    return 2 ** (-_axis_stops(plane) / 2) / hole_diameter_mm


def _fine_stops(plane: FilmPlane, thickness_share: float) -> Floats:
    """Stops at the middles of 400 × 160 equal cells of the laid-flat negative, for shares of its area."""
    s = (np.arange(400) + 0.5) / 400 - 0.5
    y = (np.arange(160) + 0.5) / 160 - 0.5
    return stops_map(plane, s_mm=s * plane.length_mm, y_mm=y * plane.height_mm, thickness_share=thickness_share)


def _balance(
    hole_diameter_mm: float, axis_f_number: float, used_share: float, extremes: tuple[float, float], fine: Floats
) -> Balance | None:
    brightest, darkest = extremes
    if not np.isfinite(darkest):
        return None
    middle = (brightest + darkest) / 2
    f_number = axis_f_number * 2 ** (-middle / 2)
    return Balance(
        used_share=used_share,
        brightest_stops=brightest,
        darkest_stops=darkest,
        focal_length_mm=f_number * hole_diameter_mm,
        f_number=f_number,
        error_stops=(brightest - darkest) / 2,
        within_one_stop_share=float(np.mean(np.abs(fine - middle) <= 1)),
    )


def _flags(
    plane: FilmPlane, balanced: Balance | None, darkest: float, distance_only: float, used_share: float
) -> tuple[Flag, ...]:
    flags = []
    if balanced is None:
        region = "negative" if used_share == 1 else f"middle {used_share:.0%} of the negative"
        flags.append(
            Flag(
                "no_light_at_edge",
                f"Part of the {region} gets no light at all, so no f-number balances it. "
                "Look at the smaller used shares, or trim the ends.",
            )
        )
    elif abs(balanced.focal_length_mm / plane.mean_mm - 1) > 0.1:
        flags.append(
            Flag(
                "focal_rules_disagree",
                f"Half of shortest and longest gives {plane.mean_mm:.1f} mm; the light itself balances at "
                f"{balanced.focal_length_mm:.1f} mm.",
            )
        )
    if darkest < distance_only - 0.5:
        real = "gets no light" if np.isinf(darkest) else f"is really {-darkest:.1f} stops darker"
        flags.append(
            Flag(
                "distance_hides_falloff",
                f"The distances alone make the darkest point {-distance_only:.1f} stops darker than the middle; "
                f"with the slant of hole and film it {real}.",
            )
        )
    return tuple(flags)
