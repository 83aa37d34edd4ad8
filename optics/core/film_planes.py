"""A film plane seen from its hole: distances, angles, field of view and where a ray meets the film.

One engine for every shape: the profile of `profiles.py`, extruded to the film's height. A point of the film
lies at (x(s), y, z(s)) from the hole; everything that depends on s alone is a `Columns`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .faults import Impossible
from .profiles import Profile

Floats = NDArray[np.float64]

#: Points along the profile that a search for an extreme starts from.
SEARCH_POINTS = 1025


@dataclass(frozen=True)
class Columns:
    """What a vertical line of the film shares, each of shape (n,): x, z (mm), `facing_mm` = -(P·n), the film's
    distance along its own normal, and `reach2_mm2` = x² + z²."""

    x_mm: Floats
    z_mm: Floats
    facing_mm: Floats
    reach2_mm2: Floats


@dataclass(frozen=True)
class FieldOfView:
    """Full angles in radians, seen from the hole: across in its own height, up and down the axis's column, and
    between the farther of the two pairs of opposite corners."""

    horizontal_rad: float
    vertical_rad: float
    diagonal_rad: float


@dataclass(frozen=True)
class FilmPlane:
    """A profile extruded to `height_mm`, with the hole `hole_offset_y_mm` above the film's middle.

    A hole off the middle sideways is already in the profile. Raises `Impossible` where the film turns its back
    to the hole, lies on it, or misses the hole's axis.
    """

    profile: Profile
    height_mm: float
    hole_offset_y_mm: float = 0.0
    kind: str = ""
    #: What the profile was made from, by its function's parameter names.
    parameters: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not (np.isfinite(self.height_mm) and self.height_mm > 0):
            raise Impossible("not_positive", "This length must be more than zero.", "height")
        self._check_seen()
        _ = self.axis_s_mm

    def _check_seen(self) -> None:
        """Refuse a film that touches the hole or shows it its back: each bearing must meet the film once."""
        line = self.columns(self._grid(self.length_mm / 2))
        if line.reach2_mm2.min() <= (1e-6 * self.length_mm) ** 2:
            raise Impossible("film_on_hole", "The film touches the hole; move it away from the plate.", "")
        hidden = line.facing_mm <= 1e-12 * np.sqrt(line.reach2_mm2)
        if (line.z_mm < 0).any():
            raise Impossible("behind_the_hole", "Part of the film lies outside the hole's wall.", "")
        if hidden.any():
            x, z = line.x_mm[hidden][0], line.z_mm[hidden][0]
            raise Impossible(
                "film_turned_away",
                f"At {x:.1f} mm across and {z:.1f} mm deep the film turns its back to the hole and sees no light; "
                "leave that part out or move the hole.",
                "",
            )

    @property
    def length_mm(self) -> float:
        return self.profile.length_mm

    def columns(self, s_mm: Floats) -> Columns:
        """The columns at laid-flat positions `s_mm`."""
        x, z, nx, nz = self.profile.at(np.asarray(s_mm, dtype=float))
        return Columns(x, z, -(x * nx + z * nz), x * x + z * z)

    def rows(self, y_mm: Floats | float) -> Floats:
        """Heights above the hole's axis of laid-flat heights `y_mm` above the film's middle."""
        return np.asarray(y_mm, dtype=float) - self.hole_offset_y_mm

    def row_range_mm(self, used_share: float = 1.0) -> tuple[float, float]:
        """The least and greatest height above or below the axis, as magnitudes, of the used rows."""
        half = used_share * self.height_mm / 2
        low, high = -half - self.hole_offset_y_mm, half - self.hole_offset_y_mm
        nearest = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
        return nearest, max(abs(low), abs(high))

    @cached_property
    def axis_s_mm(self) -> float:
        """Where the hole's axis meets the film, laid flat; `Impossible` if it misses it."""
        half = self.length_mm / 2
        grid = self._grid(half)
        x = self.columns(grid).x_mm
        k = int(np.searchsorted(x > 0, True))
        if x[0] > 0 or k == len(grid):
            if np.isclose(x[-1], 0.0):
                return half
            raise Impossible(
                "axis_misses_film",
                "The hole lies so far off the middle that nothing is opposite it; move it nearer the middle.",
                "hole_offset",
            )
        low, high = grid[k - 1], grid[k]
        for _step in range(3):
            fine = np.linspace(low, high, 257)
            x = self.columns(fine).x_mm
            k = max(1, int(np.searchsorted(x > 0, True)))
            low, high, x_low, x_high = fine[k - 1], fine[k], x[k - 1], x[k]
        return float(low - x_low * (high - low) / (x_high - x_low))

    @cached_property
    def axis_distance_mm(self) -> float:
        """From the hole along its axis to the film."""
        return float(self.columns(np.array([self.axis_s_mm])).z_mm[0])

    @cached_property
    def shortest_mm(self) -> float:
        """From the hole to the nearest point of the film."""
        reach2 = self.least(lambda c: c.reach2_mm2)
        return float(np.hypot(np.sqrt(reach2), self.row_range_mm()[0]))

    @cached_property
    def longest_mm(self) -> float:
        """From the hole to the farthest point of the film."""
        return self.farthest_mm()

    def farthest_mm(self, used_share: float = 1.0) -> float:
        """From the hole to the farthest point of the used width and height."""
        reach2 = -self.least(lambda c: -c.reach2_mm2, used_share)
        return float(np.hypot(np.sqrt(reach2), self.row_range_mm(used_share)[1]))

    @property
    def mean_mm(self) -> float:
        """The trade's focal length for curved film: half of shortest + longest."""
        return (self.shortest_mm + self.longest_mm) / 2

    @cached_property
    def field_of_view(self) -> FieldOfView:
        x, z = self._ends.x_mm, self._ends.z_mm
        bearings = np.arctan2(x, z)
        top, bottom = self.rows(np.array([self.height_mm / 2, -self.height_mm / 2]))
        vertical = np.arctan2(top, self.axis_distance_mm) - np.arctan2(bottom, self.axis_distance_mm)
        diagonals = [_angle_between((x[0], y0, z[0]), (x[1], y1, z[1])) for y0, y1 in ((top, bottom), (bottom, top))]
        return FieldOfView(float(bearings[1] - bearings[0]), float(vertical), max(diagonals))

    def meet(self, dx: Floats | float, dy: Floats | float, dz: Floats | float) -> tuple[Floats, Floats]:
        """Where rays from the hole of direction (dx, dy, dz), dz into the box, meet the film, laid flat.

        Returns s and y in mm, shaped like the broadcast directions; NaN where a ray misses the film.
        """
        dx, dy, dz = np.broadcast_arrays(*(np.asarray(d, dtype=float) for d in (dx, dy, dz)))
        grid = self._grid(self.length_mm / 2, 4 * SEARCH_POINTS)
        line = self.columns(grid)
        bearing = np.arctan2(dx, dz)
        s = np.interp(bearing, np.arctan2(line.x_mm, line.z_mm), grid, left=np.nan, right=np.nan)
        found = np.isfinite(s) & (dz > 0)
        safe = np.where(found, s, self.axis_s_mm)
        # One Newton step on the exact curve: the table alone is good to about 1e-4 mm.
        here = self.columns(safe)
        rate = here.facing_mm / here.reach2_mm2
        safe = safe + (bearing - np.arctan2(here.x_mm, here.z_mm)) / np.where(found, rate, 1.0) * found
        half = self.length_mm / 2
        safe = np.clip(safe, -half, half)
        reach = np.sqrt(self.columns(safe).reach2_mm2)
        y = dy * reach / np.maximum(np.hypot(dx, dz), 1e-300) + self.hole_offset_y_mm
        found &= np.abs(y) <= self.height_mm / 2
        return np.where(found, safe, np.nan), np.where(found, y, np.nan)

    def least(self, of: Callable[[Columns], Floats], used_share: float = 1.0) -> float:
        """The smallest value of a function of the columns over the used width.

        Good to about 1e-12 of its scale at a smooth dip, to 1e-6 at a cusp or where two dips are equally low.
        """
        grid, columns = self._searched(used_share)
        for step in range(3):
            values = of(columns)
            k = int(np.argmin(values))
            if step < 2:
                finer = np.linspace(grid[max(k - 1, 0)], grid[min(k + 1, len(grid) - 1)], 257)
                grid = np.union1d(finer, grid[k])  # the lowest point may be a kink
                columns = self.columns(grid)
        return float(values[k])

    def _searched(self, used_share: float) -> tuple[Floats, Columns]:
        """Where a search begins, kept: several functions are searched over the same width."""
        if used_share not in self._searches:
            grid = self._grid(used_share * self.length_mm / 2)
            self._searches[used_share] = grid, self.columns(grid)
        return self._searches[used_share]

    @cached_property
    def _searches(self) -> dict[float, tuple[Floats, Columns]]:
        return {}

    @cached_property
    def _ends(self) -> Columns:
        half = self.length_mm / 2
        return self.columns(np.array([-half, half]))

    def _grid(self, half_mm: float, points: int = SEARCH_POINTS) -> Floats:
        inner = [b for b in self.profile.breaks_mm if abs(b) < half_mm]
        return np.unique(np.concatenate([np.linspace(-half_mm, half_mm, points), inner]))


def _angle_between(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    u, v = np.array(a), np.array(b)
    return float(np.arctan2(np.linalg.norm(np.cross(u, v)), u @ v))
