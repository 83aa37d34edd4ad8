"""How wide to cut the wall at the hole so that no ray to the film is clipped.

The hole sits in a thin plate fixed over an opening in a wall of some thickness. With the plate inside, light passes
the wall before the hole; with the plate outside, after it. The wall is taken as flat near the hole and the opening as
a rectangle centred on it, cut square. The film's distance counts from the plate either way.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .faults import Impossible
from .film_planes import Columns, FilmPlane
from .illumination import plate_transmission

Floats = NDArray[np.float64]
PlateSide = Literal["inside", "outside"]


@dataclass(frozen=True)
class WallOpening:
    """`clear_angle_rad` is twice the widest angle off the hole's axis at which light must pass, corners included."""

    width_mm: float
    height_mm: float
    clear_angle_rad: float


@dataclass(frozen=True)
class OpeningCheck:
    """Whether an opening clears the used film, and what it costs if not.

    `clipped_share` of the whole negative's area loses some light to the wall, `dark_share` all of it.
    `clear_width_mm` and `clear_height_mm` are the lengths along the negative's middle row and axis column, through
    the axis, that lose none; `corner_stops` is what the wall takes from the worst corner (-inf for
    all, NaN where the plate leaves the corners dark anyway).
    """

    clears: bool
    clipped_share: float
    dark_share: float
    clear_width_mm: float
    clear_height_mm: float
    corner_stops: float


def wall_opening(
    plane: FilmPlane,
    *,
    wall_thickness_mm: float,
    hole_diameter_mm: float,
    plate_thickness_mm: float = 0.0,
    plate_side: PlateSide = "inside",
    margin_mm: float = 0.0,
    used_share: float = 1.0,
) -> WallOpening:
    """The smallest opening, plus `margin_mm` on each side, that clips no ray to the used film.

    A ray through the hole's rim to a film point (x, y, z) is |x|·w/z + d/2 off the hole's middle at the wall's far
    face, w away, plus d/2·w/z with the plate inside or less it with the plate outside. Film that the plate's own
    thickness leaves dark need not be cleared. Raises `Impossible`: `opening_unbounded` where lit film reaches the
    hole's own plane, `wall_too_thick` where a wall behind the plate would reach the film.
    """
    _check_wall(plane, wall_thickness_mm, plate_side)
    steepest = hole_diameter_mm / plate_thickness_mm if plate_thickness_mm > 0 else np.inf
    if steepest == np.inf and plane.least(lambda line: line.z_mm, used_share) == 0:
        raise Impossible(
            "opening_unbounded",
            "The film reaches the hole's own wall, where light comes in edge-on: a wall of any thickness clips it. "
            "Give the plate's thickness, or a smaller used_share.",
            "film_plane",
        )
    highest = plane.row_range_mm(used_share)[1]
    side = 1 if plate_side == "inside" else -1

    def needed(line: Columns) -> tuple[Floats, Floats, Floats]:
        """Half the opening's width and height for each column, and the steepest ray's tangent."""
        # Where the plate leaves the film dark, the last ray it lets through stands in.
        z = np.maximum(line.z_mm, np.abs(line.x_mm) / steepest)
        across = np.abs(line.x_mm) / z
        up = np.minimum(highest / z, np.sqrt(np.maximum(steepest * steepest - across**2, 0.0)))
        rim = hole_diameter_mm / 2 * (1 + side * wall_thickness_mm / z)
        return wall_thickness_mm * across + rim, wall_thickness_mm * up + rim, np.hypot(across, up)

    def most(which: int) -> float:
        return -plane.least(lambda line: -needed(line)[which], used_share)

    return WallOpening(
        width_mm=2 * (most(0) + margin_mm),
        height_mm=2 * (most(1) + margin_mm),
        clear_angle_rad=2 * float(np.arctan(most(2))),
    )


def check_opening(
    plane: FilmPlane,
    *,
    opening_width_mm: float,
    opening_height_mm: float,
    wall_thickness_mm: float,
    hole_diameter_mm: float,
    plate_thickness_mm: float = 0.0,
    plate_side: PlateSide = "inside",
    used_share: float = 1.0,
) -> OpeningCheck:
    """What an opening of this size does to the film, on 400 × 160 cells.

    On the wall's far face the rays to a film point fill a disc; the share of it inside the opening passes. Where two
    neighbouring edges cut the same disc their shares are multiplied, which is good to 0.03 of the disc.
    """
    _check_wall(plane, wall_thickness_mm, plate_side)
    s = ((np.arange(400) + 0.5) / 400 - 0.5) * plane.length_mm
    y = ((np.arange(160) + 0.5) / 160 - 0.5) * plane.height_mm

    def passed(s_mm: Floats, y_mm: Floats) -> Floats:
        line, rows = plane.columns(s_mm), plane.rows(y_mm)[:, None]
        z = np.maximum(line.z_mm, 1e-12 * plane.length_mm)
        ratio = wall_thickness_mm / z
        disc = hole_diameter_mm / 2 * np.maximum(1 + ratio if plate_side == "inside" else np.abs(1 - ratio), 1e-12)
        shares = [
            _disc_share((opening / 2 + side * coordinate * ratio) / disc)
            for coordinate, opening in ((line.x_mm, opening_width_mm), (rows, opening_height_mm))
            for side in (1, -1)
        ]
        left, right, top, bottom = shares
        through = np.maximum(left + right - 1, 0) * np.maximum(top + bottom - 1, 0)
        if plate_thickness_mm > 0:
            tangent = np.hypot(line.x_mm, rows) / z
            dark = plate_transmission(tan_angle=tangent, thickness_share=plate_thickness_mm / hole_diameter_mm) == 0
            through = np.where(dark, np.nan, through)
        return np.where(line.z_mm > 0, through, np.nan)

    through = passed(s, y)
    ends = used_share * np.array([-0.5, 0.5])
    corners = passed(ends * plane.length_mm, ends * plane.height_mm)
    try:
        needed = wall_opening(
            plane,
            wall_thickness_mm=wall_thickness_mm,
            hole_diameter_mm=hole_diameter_mm,
            plate_thickness_mm=plate_thickness_mm,
            plate_side=plate_side,
            used_share=used_share,
        )
        clears = opening_width_mm >= needed.width_mm * (1 - 1e-9) and opening_height_mm >= needed.height_mm * (1 - 1e-9)
    except Impossible:
        clears = False
    clipped = through < 1 - 1e-12
    middle_row = passed(s, np.array([np.clip(plane.hole_offset_y_mm, y[0], y[-1])]))[0]
    axis_column = passed(np.array([plane.axis_s_mm]), y)[:, 0]
    with np.errstate(divide="ignore"):
        corner_stops = float(np.log2(np.nanmin(corners))) if np.isfinite(corners).any() else np.nan
    return OpeningCheck(
        clears=clears,
        clipped_share=float(np.mean(clipped)),
        dark_share=float(np.mean(through == 0)),
        clear_width_mm=float(np.mean(middle_row >= 1 - 1e-12) * plane.length_mm),
        clear_height_mm=float(np.mean(axis_column >= 1 - 1e-12) * plane.height_mm),
        corner_stops=corner_stops,
    )


def _disc_share(edge: Floats) -> Floats:
    """Share of a unit disc's area on the near side of a straight edge `edge` beyond its middle, 0 to 1."""
    beyond = np.clip(-edge, -1, 1)
    return (np.arccos(beyond) - beyond * np.sqrt(1 - beyond * beyond)) / np.pi


def _check_wall(plane: FilmPlane, wall_thickness_mm: float, plate_side: PlateSide) -> None:
    if plate_side == "outside" and wall_thickness_mm >= plane.axis_distance_mm:
        raise Impossible(
            "wall_too_thick",
            f"With the plate outside, a wall {wall_thickness_mm:g} mm thick reaches the film, "
            f"{plane.axis_distance_mm:.1f} mm from the plate.",
            "wall_thickness",
        )
