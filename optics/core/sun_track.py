"""The line that the sun draws on the film of a camera left standing: solargraphs and daylight planning.

Directions, always as a photographer behind the camera sees them:

- to the scene: X right, Y up, Z forward, out of the hole. The camera faces an azimuth, is tilted up by an
  angle and is not rolled.
- of light inside the box, which is what a film plane's `hit` takes: x right, y up, z into the box, away
  from the scene. Light from the scene at (X, Y, Z) travels along (−X, −Y, +Z).

The negative laid flat has s to the right and y up, seen the same way: the image is upside down and turned
left for right. A sun right of the axis and above it lands at negative s and negative y. For a level camera
and a sun at altitude h and azimuth δA from the axis [derived]: flat back |s| = f tan δA,
|y| = f tan h / cos δA; arc centred on the hole |s| = R δA, |y| = R tan h; round tin with the hole in its wall
|s| = 2R δA, |y| = 2R cos δA tan h.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .faults import Impossible
from .sun import (
    DAY_S,
    STANDARD_ALTITUDE_DEG,
    Floats,
    Reals,
    mean_noon_utc_s,
    rise_and_set,
    sun_position,
)

# (x, y, z) of the direction of travel inside the box -> (s_mm, y_mm) on the negative, NaN where it misses it.
Hit = Callable[[Floats, Floats, Floats], tuple[Floats, Floats]]

SUN_DISC_DEG = 2 * 0.26667  # at the mean distance (the report, 3.11.2)


@dataclass(frozen=True, kw_only=True)
class StandingCamera:
    """A camera that stays where it is: its place, where it looks, and its film.

    latitude_deg, longitude_deg as in `sun_position`; facing_deg: azimuth of the axis, clockwise from north;
    tilt_deg: how far the axis points above the horizon, −90 to 90; hit: see the module's text.
    """

    latitude_deg: float
    longitude_deg: float
    facing_deg: float
    hit: Hit
    tilt_deg: float = 0.0


@dataclass(frozen=True)
class Passage:
    """One unbroken stretch of the sun on the negative; it ends at the range's end if the sun is still on it.

    Times are of the sun's centre, to a millisecond; s and y where it comes in and goes out.
    """

    enters_utc_s: float
    leaves_utc_s: float
    enters_at_mm: tuple[float, float]
    leaves_at_mm: tuple[float, float]


@dataclass(frozen=True)
class SunTrack:
    """The sun's way over the film between two instants: arrays of shape (n,), NaN in s and y off the film."""

    time_utc_s: Floats
    altitude_deg: Floats
    azimuth_deg: Floats
    s_mm: Floats
    y_mm: Floats
    passages: tuple[Passage, ...]

    @property
    def minutes_on_film(self) -> float:
        return sum(passage.leaves_utc_s - passage.enters_utc_s for passage in self.passages) / 60


def film_direction(
    *, altitude_deg: ArrayLike, azimuth_deg: ArrayLike, facing_deg: float, tilt_deg: float = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Direction in which light from (altitude, azimuth) travels inside the box: unit vectors (x, y, z).

    z is negative for light from behind the camera.
    """
    altitude, tilt = np.radians(altitude_deg), np.radians(tilt_deg)
    off_axis = np.radians(np.asarray(azimuth_deg, dtype=float) - facing_deg)
    ahead, up = np.cos(altitude) * np.cos(off_axis), np.sin(altitude)
    return (
        -np.cos(altitude) * np.sin(off_axis),
        ahead * np.sin(tilt) - up * np.cos(tilt),
        ahead * np.cos(tilt) + up * np.sin(tilt),
    )


def film_point(*, camera: StandingCamera, altitude_deg: ArrayLike, azimuth_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Where light from (altitude, azimuth) meets the negative, (s_mm, y_mm); NaN where it does not.

    Light from behind the plate never reaches the hole.
    """
    if not -90 <= camera.tilt_deg <= 90:
        raise Impossible("tilt_out_of_range", "The tilt must lie between −90° (down) and 90° (up).", "tilt")
    x, y, z = film_direction(
        altitude_deg=altitude_deg,
        azimuth_deg=azimuth_deg,
        facing_deg=camera.facing_deg,
        tilt_deg=camera.tilt_deg,
    )
    in_front = z > 0
    s_mm, y_mm = camera.hit(np.where(in_front, x, 0.0), np.where(in_front, y, 0.0), np.where(in_front, z, 1.0))
    return np.where(in_front, s_mm, np.nan), np.where(in_front, y_mm, np.nan)


def sun_track(*, camera: StandingCamera, from_utc_s: float, to_utc_s: float, step_s: float = 60.0) -> SunTrack:
    """The sun's track between two instants: a row at the first, then every `step_s`, and one at the last.

    The sun shines from its rise to its set on a level horizon at sea level, in the standard air of
    `sun_position`. A passage shorter than `step_s` may be missed.
    """
    if not 0 < to_utc_s - from_utc_s <= 400 * DAY_S:
        raise Impossible("range_out_of_order", "The end must come after the start, by at most 400 days.", "to")
    if not step_s >= 1:
        raise Impossible("step_too_short", "The step must be at least one second.", "step")
    time = np.append(np.arange(from_utc_s, to_utc_s, step_s), to_utc_s)
    return _tracks(camera, time[None, :])[0]


def day_tracks(*, camera: StandingCamera, times_utc_s: ArrayLike, step_s: float = 60.0) -> tuple[SunTrack, ...]:
    """One track for each solar day that holds one of the instants, from lower transit to lower transit."""
    days = rise_and_set(
        time_utc_s=np.atleast_1d(np.asarray(times_utc_s, dtype=float)),
        latitude_deg=camera.latitude_deg,
        longitude_deg=camera.longitude_deg,
    )
    from_transit = np.append(np.arange(-DAY_S / 2, DAY_S / 2, step_s), DAY_S / 2)
    return _tracks(camera, np.asarray(days.transit_utc_s)[:, None] + from_transit)


def season_noons_utc_s(*, year: int, longitude_deg: float) -> dict[str, float]:
    """Mean noons of the days whose noon sun is nearest the equinoxes and farthest north and south."""
    noon = np.atleast_1d(
        mean_noon_utc_s(
            date=np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="M8[D]"), longitude_deg=longitude_deg
        )
    )
    declination = sun_position(time_utc_s=noon, latitude_deg=0.0, longitude_deg=longitude_deg).declination_deg
    june, december = np.argmax(declination), np.argmin(declination)
    from_equator = np.abs(declination)
    return {
        "march_equinox": float(noon[np.argmin(from_equator[:june])]),
        "june_solstice": float(noon[june]),
        "september_equinox": float(noon[june + np.argmin(from_equator[june:december])]),
        "december_solstice": float(noon[december]),
    }


def minutes_over_a_point(*, declination_deg: ArrayLike, hole_diameter_mm: ArrayLike, distance_mm: ArrayLike) -> Reals:
    """How long one point of the sun's line sees some part of the sun on one pass.

    (disc + hole seen from the point) / (0.25°/min · cos declination) [derived], with the hole's angle taken
    as diameter / distance, `distance_mm` from that point to the hole: right for narrow angles and a hole seen
    square on; seen askew it is narrower. The sun goes round once in 24 h here, true to 0.04 %.
    """
    hole_deg = np.degrees(np.asarray(hole_diameter_mm, dtype=float) / np.asarray(distance_mm, dtype=float))
    return ((SUN_DISC_DEG + hole_deg) / (0.25 * np.cos(np.radians(declination_deg))))[()]


def _sun_on_film(camera: StandingCamera, time: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    sun = sun_position(time_utc_s=time, latitude_deg=camera.latitude_deg, longitude_deg=camera.longitude_deg)
    altitude, azimuth = np.asarray(sun.altitude_deg), np.asarray(sun.azimuth_deg)
    s_mm, y_mm = film_point(camera=camera, altitude_deg=altitude, azimuth_deg=azimuth)
    # Refraction is left out below the standard altitude and lifts the sun above it, so this is rise and set.
    shines = altitude > STANDARD_ALTITUDE_DEG
    on_film = shines & np.isfinite(s_mm) & np.isfinite(y_mm)
    return altitude, azimuth, np.where(on_film, s_mm, np.nan), np.where(on_film, y_mm, np.nan)


def _tracks(camera: StandingCamera, time: Floats) -> tuple[SunTrack, ...]:
    """One track for each row of `time`, which ascends along its rows."""
    altitude, azimuth, s_mm, y_mm = _sun_on_film(camera, time)
    passages: list[list[Passage]] = [[] for _ in time]
    for row, passage in _passages(camera, time, ~np.isnan(s_mm)):
        passages[row].append(passage)
    rows = zip(time, altitude, azimuth, s_mm, y_mm, map(tuple, passages), strict=True)
    return tuple(SunTrack(*row) for row in rows)


def _passages(camera: StandingCamera, time: Floats, on_film: NDArray[np.bool_]) -> Iterator[tuple[int, Passage]]:
    """Unbroken stretches of `on_film` in each row, with the row; each end halved down to a millisecond.

    Off the film on either side of the row, at the very same instant, so that a row's ends are ends.
    """
    shines = np.pad(on_film, ((0, 0), (1, 1)))
    moment = np.pad(time, ((0, 0), (1, 1)), mode="edge")
    row, step = np.nonzero(shines[:, 1:] != shines[:, :-1])
    if not row.size:
        return
    comes_in = shines[row, step + 1]
    before, after = moment[row, step], moment[row, step + 1]
    inside, outside = np.where(comes_in, after, before), np.where(comes_in, before, after)
    while np.max(np.abs(inside - outside)) > 1e-3:
        middle = (inside + outside) / 2
        hits = ~np.isnan(_sun_on_film(camera, middle)[2])
        inside, outside = np.where(hits, middle, inside), np.where(hits, outside, middle)
    _, _, s_mm, y_mm = _sun_on_film(camera, inside)
    ends = list(zip(row.tolist(), inside.tolist(), zip(s_mm.tolist(), y_mm.tolist(), strict=True), strict=True))
    for (which, enters, at), (_, leaves, out_at) in zip(ends[::2], ends[1::2], strict=True):
        yield which, Passage(enters, leaves, at, out_at)
