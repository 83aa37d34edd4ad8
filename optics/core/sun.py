"""Where the sun stands, and when it rises, transits and sets.

Source: I. Reda and A. Andreas, "Solar Position Algorithm for Solar Radiation Applications",
NREL/TP-560-34302 (2003, revised 2008), "the report" below [read: its tables and worked example as transcribed
in public code]. Same sums and constants; the turn from the equator to the observer's horizon is done with
vectors in place of the report's angles: the same geometry without its special cases.

Valid from 1950 to 2100, anywhere on Earth, to 0.01°. Times are seconds since 1970-01-01 00:00 UTC without
leap seconds (`time_utc_s`). UTC stands in for UT1, from which it strays by up to 0.9 s, or 0.004° of the
sun's daily turn; should leap seconds be given up, as is planned for 2035, that will grow.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import elementwise

from .faults import Flag, Impossible
from .sun_orbit import DAY_S, apparent_sun, days_from_j2000, delta_t, mean_longitude_deg

Floats = NDArray[np.float64]
Reals = float | Floats

SUN_CAUTION = (
    "Never look at the sun directly or through any hole, viewfinder or loupe: only through filters that meet "
    "ISO 12312-2."
)

# 1950 to 2100 with a day to spare, so that a solar day at either end is whole.
EARLIEST_UTC_S, LATEST_UTC_S = -631_238_400.0, 4_134_067_200.0

# Airless altitude of the sun's centre at rise and set: 34′ of refraction and 16′ of radius (the report, A.2).
STANDARD_ALTITUDE_DEG = -0.8333
# How far refraction at the horizon may stray from those 34′ with the weather [memory].
HORIZON_SPREAD_DEG = 0.25

SOLAR_PARALLAX_AU = np.radians(8.794 / 3600)  # the Earth's equatorial radius
EARTH_RADIUS_M = 6_378_140.0
POLAR_TO_EQUATORIAL_RADIUS = 0.99664719


@dataclass(frozen=True)
class SunPosition:
    """The sun as seen from a place; every field has the shape of the arguments broadcast together.

    altitude_deg: of the centre, above the level horizon. azimuth_deg: clockwise from north, 0 to 360.
    declination_deg: apparent, seen from the Earth's centre. equation_of_time_min: by how much a sundial is
    ahead of a clock that keeps local mean time.
    """

    altitude_deg: Reals
    azimuth_deg: Reals
    declination_deg: Reals
    equation_of_time_min: Reals


@dataclass(frozen=True)
class SunDay:
    """One solar day, from lower transit to lower transit; every field has the shape of the arguments.

    rise_utc_s, set_utc_s: NaN where there is none in that day. transit_utc_s: when the sun crosses the
    meridian. polar_day: up throughout. polar_night: down throughout. grazing: the sun's highest or lowest
    point is so near the horizon that the weather may move rise and set by many minutes, or do away with them.
    """

    rise_utc_s: Reals
    transit_utc_s: Reals
    set_utc_s: Reals
    polar_day: bool | NDArray[np.bool_]
    polar_night: bool | NDArray[np.bool_]
    grazing: bool | NDArray[np.bool_]


def sun_position(
    *,
    time_utc_s: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    elevation_m: ArrayLike = 0.0,
    pressure_hpa: ArrayLike = 1013.25,
    temperature_c: ArrayLike = 12.0,
    refraction: bool = True,
    delta_t_s: ArrayLike | None = None,
) -> SunPosition:
    """Position of the sun's centre for an observer; scalars or arrays, broadcast.

    latitude_deg: north positive, −90 to 90. longitude_deg: east positive, −180 to 360. elevation_m: above the
    ellipsoid. delta_t_s: Terrestrial Time less UT; left out, `delta_t` estimates it. `refraction=False` gives
    the airless altitude. Refraction is the report's equation 42 for the air given; it is added only from
    STANDARD_ALTITUDE_DEG up, so the altitude steps there. At a pole, the longitude's meridian says where
    north is. Raises Impossible (`time_out_of_range`, `latitude_out_of_range`, `longitude_out_of_range`).
    """
    time, latitude, longitude = _checked(time_utc_s, latitude_deg, longitude_deg)
    ahead_s = delta_t(time_utc_s=time) if delta_t_s is None else np.asarray(delta_t_s, dtype=float)
    terrestrial_day = days_from_j2000(time_s=time + ahead_s)
    sun = apparent_sun(terrestrial_day)
    east, north, up = _horizon_vector(sun, time, latitude, longitude, np.asarray(elevation_m, dtype=float))
    altitude = _altitude_deg(east, north, up)
    if refraction:
        altitude = altitude + _refraction_deg(
            altitude, np.asarray(pressure_hpa, dtype=float), np.asarray(temperature_c, dtype=float)
        )

    x, y, z, sidereal_shift_deg = sun
    ahead_deg = mean_longitude_deg(terrestrial_day) - 0.0057183 - np.degrees(np.arctan2(y, x)) + sidereal_shift_deg
    shape = altitude.shape
    return SunPosition(
        altitude_deg=altitude[()],
        azimuth_deg=np.broadcast_to(np.degrees(np.arctan2(east, north)) % 360, shape)[()],
        declination_deg=np.broadcast_to(np.degrees(np.arctan2(z, np.hypot(x, y))), shape)[()],
        equation_of_time_min=np.broadcast_to(4 * ((ahead_deg + 180) % 360 - 180), shape)[()],
    )


def mean_noon_utc_s(*, date: ArrayLike, longitude_deg: ArrayLike) -> Reals:
    """Noon of local mean time at a longitude on a calendar date (`datetime.date`, ISO text or datetime64)."""
    days = np.asarray(date, dtype="datetime64[D]").astype(float)
    return np.asarray(days * DAY_S + DAY_S / 2 - np.asarray(longitude_deg, dtype=float) * DAY_S / 360)[()]


def rise_and_set(*, time_utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> SunDay:
    """Rise, transit and set of the solar day that holds an instant; scalars or arrays, broadcast.

    Give an instant near the middle of the day meant: `mean_noon_utc_s`, or noon by the clock of the place.
    The day runs from lower transit to lower transit, so rise and set belong together in every time zone. They
    are where the airless altitude at sea level crosses STANDARD_ALTITUDE_DEG, bracketed every half hour and
    found to 1 ms. Hills, the observer's height and the weather are not in it. Raises as `sun_position`.
    """
    time, latitude, longitude = np.broadcast_arrays(*_checked(time_utc_s, latitude_deg, longitude_deg))
    transit = time
    for _ in range(3):
        transit = transit - _hour_angle_deg(transit, latitude, longitude) * DAY_S / 360

    grid = transit[..., None] + np.linspace(-DAY_S / 2, DAY_S / 2, 49)
    height = _height_deg(grid, latitude[..., None], longitude[..., None])
    is_up = height > 0
    rising, setting = ~is_up[..., :-1] & is_up[..., 1:], is_up[..., :-1] & ~is_up[..., 1:]
    nearest_to_grazing = np.minimum(abs(height.max(axis=-1)), abs(height.min(axis=-1)))
    return SunDay(
        rise_utc_s=_crossing(grid, rising, latitude, longitude)[()],
        transit_utc_s=transit[()],
        set_utc_s=_crossing(grid, setting, latitude, longitude)[()],
        polar_day=np.all(is_up, axis=-1),
        polar_night=np.all(~is_up, axis=-1),
        grazing=nearest_to_grazing < HORIZON_SPREAD_DEG,
    )


def sun_day_flags(day: SunDay) -> tuple[Flag, ...]:
    """What is particular or doubtful about one day (a SunDay of scalars)."""
    flags = []
    if day.polar_day:
        flags.append(Flag("polar_day", "The sun does not set on this day."))
    if day.polar_night:
        flags.append(Flag("polar_night", "The sun does not rise on this day."))
    if day.grazing:
        text = (
            f"The sun's highest or lowest point is within {HORIZON_SPREAD_DEG}° of the horizon. Refraction "
            "varies by that much with the weather: rise and set may come many minutes off, or not at all."
        )
        flags.append(Flag("grazing_sun", text))
    return tuple(flags)


def _checked(time_utc_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> list[Floats]:
    limits = [
        ("time", time_utc_s, EARLIEST_UTC_S, LATEST_UTC_S, "The time must lie between 1950 and 2100."),
        ("latitude", latitude_deg, -90, 90, "The latitude must lie between −90° (south) and 90° (north)."),
        (
            "longitude",
            longitude_deg,
            -180,
            360,
            "The longitude must lie between −180° and 360°, east positive.",
        ),
    ]
    arrays = []
    for field, given, low, high, sentence in limits:
        array = np.asarray(given, dtype=float)
        if not np.all((array >= low) & (array <= high)):
            raise Impossible(f"{field}_out_of_range", sentence, field)
        arrays.append(array)
    return arrays


def _horizon_vector(
    sun: Floats,
    time: Floats,
    latitude_deg: Floats,
    longitude_deg: Floats,
    elevation_m: Floats,
) -> tuple[Floats, Floats, Floats]:
    """East, north and up components of the line from the observer to the sun, AU, without air."""
    x, y, z, sidereal_shift_deg = sun
    day = days_from_j2000(time_s=time)
    t = day / 36_525
    sidereal_deg = 280.46061837 + 360.98564736629 * day + t**2 * (0.000387933 - t / 38_710_000)
    meridian = np.radians(sidereal_deg + sidereal_shift_deg + longitude_deg)
    latitude = np.radians(latitude_deg)

    reduced = np.arctan2(POLAR_TO_EQUATORIAL_RADIUS * np.sin(latitude), np.cos(latitude))
    height = elevation_m / EARTH_RADIUS_M
    from_axis = np.cos(reduced) + height * np.cos(latitude)
    from_equator = POLAR_TO_EQUATORIAL_RADIUS * np.sin(reduced) + height * np.sin(latitude)
    outwards = x * np.cos(meridian) + y * np.sin(meridian) - SOLAR_PARALLAX_AU * from_axis
    polewards = z - SOLAR_PARALLAX_AU * from_equator
    return (
        y * np.cos(meridian) - x * np.sin(meridian),
        polewards * np.cos(latitude) - outwards * np.sin(latitude),
        outwards * np.cos(latitude) + polewards * np.sin(latitude),
    )


def _altitude_deg(east: Floats, north: Floats, up: Floats) -> Floats:
    return np.degrees(np.arctan2(up, np.hypot(east, north)))


def _refraction_deg(altitude_deg: Floats, pressure_hpa: Floats, temperature_c: Floats) -> Floats:
    above = np.maximum(altitude_deg, STANDARD_ALTITUDE_DEG)
    bend = 1.02 / (60 * np.tan(np.radians(above + 10.3 / (above + 5.11))))
    bend = pressure_hpa / 1010 * 283 / (273 + temperature_c) * bend
    return np.where(altitude_deg >= STANDARD_ALTITUDE_DEG, bend, 0.0)


def _sea_level_vector(time: Floats, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats, Floats]:
    sun = apparent_sun(days_from_j2000(time_s=time + delta_t(time_utc_s=time)))
    return _horizon_vector(sun, time, latitude_deg, longitude_deg, np.zeros(()))


def _hour_angle_deg(time: Floats, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """From −180 to 180, positive after the transit."""
    east, north, up = _sea_level_vector(time, latitude_deg, longitude_deg)
    latitude = np.radians(latitude_deg)
    return np.degrees(np.arctan2(-east, up * np.cos(latitude) - north * np.sin(latitude)))


def _height_deg(time: Floats, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """Airless altitude above STANDARD_ALTITUDE_DEG."""
    return _altitude_deg(*_sea_level_vector(time, latitude_deg, longitude_deg)) - STANDARD_ALTITUDE_DEG


def _crossing(grid: Floats, crosses: NDArray[np.bool_], latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """When the sun crosses the horizon in the first marked interval of each row; NaN where none is marked."""
    found = crosses.any(axis=-1)
    step = crosses.argmax(axis=-1)[..., None]
    start, end = (np.take_along_axis(grid, step + k, axis=-1)[..., 0] for k in (0, 1))
    root = elementwise.find_root(
        _height_deg,
        (start[found], end[found]),
        args=(latitude_deg[found], longitude_deg[found]),
        tolerances={"xatol": 1e-3},
    )
    moment = np.full(found.shape, np.nan)
    moment[found] = root.x
    return moment
