"""The sun seen from the Earth's centre: the sums of the NREL report, and the two clocks they need.

Source: I. Reda and A. Andreas, "Solar Position Algorithm for Solar Radiation Applications",
NREL/TP-560-34302 (2003, revised 2008), "the report" below [read: as transcribed in public code]. Days are
counted from J2000.0, 2000-01-01 12:00.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .sun_terms import HELIOCENTRIC_LATITUDE, HELIOCENTRIC_LONGITUDE, NUTATION, RADIUS_VECTOR

Floats = NDArray[np.float64]

J2000_UTC_S = 946_728_000.0
DAY_S = 86_400.0


def delta_t(*, time_utc_s: ArrayLike) -> Floats:
    """Terrestrial Time less Universal Time, seconds, 1941 to 2150.

    Source: F. Espenak and J. Meeus, "Five Millennium Canon of Solar Eclipses", NASA/TP-2006-214141 (2006),
    polynomial expressions [read: as transcribed in public code]. Measured values have since fallen some
    seconds behind its forecast, which moves the sun by less than 0.0001°.
    """
    y = 2000 + days_from_j2000(time_s=np.asarray(time_utc_s, dtype=float)) / 365.25
    pieces = [
        29.07 + (y - 1950) * (0.407 + (y - 1950) * (-1 / 233 + (y - 1950) / 2547)),
        45.45 + (y - 1975) * (1.067 + (y - 1975) * (-1 / 260 - (y - 1975) / 718)),
        np.polynomial.polynomial.polyval(y - 2000, [63.86, 0.3345, -0.060374, 0.0017275, 0.000651814, 0.00002373599]),
        62.92 + (y - 2000) * (0.32217 + (y - 2000) * 0.005589),
    ]
    latest = -20 + 32 * ((y - 1820) / 100) ** 2 - 0.5628 * (2150 - y)
    return np.select([y < 1961, y < 1986, y < 2005, y < 2050], pieces, latest)[()]


def days_from_j2000(*, time_s: Floats) -> Floats:
    """Days from J2000.0 in the clock that `time_s` is read on, its seconds counted from 1970."""
    return (time_s - J2000_UTC_S) / DAY_S


def _series(terms: tuple[Floats, ...], millennia: Floats) -> Floats:
    """Σ tᵏ Σ A·cos(B + C·t), the report's equations 9 to 11."""
    total = np.zeros_like(millennia)
    for power, (a, b, c) in enumerate(term.T for term in terms):
        total += millennia**power * (np.cos(b + c * millennia[:, None]) @ a)
    return total / 1e8


def mean_longitude_deg(day: Floats) -> Floats:
    """The sun's mean longitude, A.1 of the report; `day` counts from J2000, Terrestrial Time."""
    t = day / 365_250
    coefficients = [280.4664567, 360_007.6982779, 0.03032028, 1 / 49_931, -1 / 15_300, -1 / 2_000_000]
    return np.asarray(np.polynomial.polynomial.polyval(t, coefficients), dtype=float)


def _nutation_deg(centuries: Floats) -> tuple[Floats, Floats]:
    """Nutation in longitude and in obliquity, the report's 3.4."""
    polynomials = [
        [297.85036, 445_267.111480, -0.0019142, 1 / 189_474],
        [357.52772, 35_999.050340, -0.0001603, -1 / 300_000],
        [134.96298, 477_198.867398, 0.0086972, 1 / 56_250],
        [93.27191, 483_202.017538, -0.0036825, 1 / 327_270],
        [125.04452, -1_934.136261, 0.0020708, 1 / 450_000],
    ]
    arguments = np.polynomial.polynomial.polyval(centuries, np.transpose(polynomials))
    angle = np.radians(arguments.T @ NUTATION[:, :5].T)
    a, b, c, d = NUTATION[:, 5:].T
    in_longitude = np.sin(angle) @ a + centuries * (np.sin(angle) @ b)
    in_obliquity = np.cos(angle) @ c + centuries * (np.cos(angle) @ d)
    return in_longitude / 36e6, in_obliquity / 36e6


def apparent_sun_at(day: Floats) -> Floats:
    """The sun from the Earth's centre at days from J2000 (Terrestrial Time), shape (n,): an array (4, n).

    Its rows: X, Y, Z in AU in the true equator and equinox of date, apparent (nutation and aberration in it);
    and Δψ cos ε in degrees, which turns mean into apparent sidereal time. The report's 3.2 to 3.10.
    """
    centuries = day / 36_525
    radius = _series(RADIUS_VECTOR, centuries / 10)
    latitude = -_series(HELIOCENTRIC_LATITUDE, centuries / 10)
    in_longitude_deg, in_obliquity_deg = _nutation_deg(centuries)
    mean_obliquity_s = np.polynomial.polynomial.polyval(
        centuries / 100,
        [84381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45],
    )
    obliquity = np.radians(mean_obliquity_s / 3600 + in_obliquity_deg)
    aberration_deg = -20.4898 / (3600 * radius)
    longitude = _series(HELIOCENTRIC_LONGITUDE, centuries / 10) + np.pi
    longitude = longitude + np.radians(in_longitude_deg + aberration_deg)

    x = np.cos(latitude) * np.cos(longitude)
    to_y, to_z = np.cos(latitude) * np.sin(longitude), np.sin(latitude)
    y = to_y * np.cos(obliquity) - to_z * np.sin(obliquity)
    z = to_y * np.sin(obliquity) + to_z * np.cos(obliquity)
    return np.stack([radius * x, radius * y, radius * z, in_longitude_deg * np.cos(obliquity)])


def apparent_sun(day: Floats) -> Floats:
    """The rows of `apparent_sun_at` for days of any shape, worked out at whole days and read between them.

    The cubic through the four days around an instant misses the sums by less than 1e-6°: what turns fast, the
    Earth, is not in them. A year by the minute then needs the sums 368 times.
    """
    before = np.floor(day).astype(int)
    whole_days = np.unique(np.unique(before)[:, None] + np.arange(-1, 3))
    table = apparent_sun_at(whole_days.astype(float))
    first = np.searchsorted(whole_days, before - 1)
    u = day - before
    weights = (
        -u * (u - 1) * (u - 2) / 6,
        (u + 1) * (u - 1) * (u - 2) / 2,
        -(u + 1) * u * (u - 2) / 2,
        (u + 1) * u * (u - 1) / 6,
    )
    rows = np.zeros((4, *day.shape))
    for k, weight in enumerate(weights):
        rows += weight * table[:, first + k]
    return rows
