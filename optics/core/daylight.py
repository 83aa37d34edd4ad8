"""Daylight to expect from the sun's altitude: for planning a day, never in place of a reading."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .faults import Flag, Impossible
from .light import ev100_from_illuminance

#: An instant may be twice or half the mean that the formulas give, so a stop either way [read].
SPREAD_STOPS = 1.0
#: Below this the air mass 1/sin h is too long and the skyline matters more than the sky [a limit of ours].
LOW_SUN_DEG = 5.0
DIRECT_KLX = 127.5


@dataclass(frozen=True)
class Sky:
    """One row of the table: direct 127.5·exp(−c/sin h)·sin h and sky A + B·sinᶜh, in klx on level ground.

    `extinction` c is None where the sun does not get through.
    """

    name: str
    extinction: float | None
    sky_klx: float
    sky_slope_klx: float
    sky_exponent: float


#: "Recommended practice for the calculation of daylight availability", J. Illum. Eng. Soc. 13(4) 381–392
#: (1984) [memory: the coefficients; read, as reported in teaching material: they give means]. Hazy is its
#: partly cloudy sky, with the sun shining through; overcast its cloudy one.
SKIES = {
    "clear": Sky("clear sky", 0.21, 0.8, 15.5, 0.5),
    "hazy": Sky("hazy sky", 0.80, 0.3, 45.0, 1.0),
    "overcast": Sky("overcast sky", None, 0.3, 21.0, 1.0),
}


@dataclass(frozen=True)
class Daylight:
    """An estimate on open, level ground; `illuminance_lx` and `ev100` (C = 250) are None at night."""

    sky: str
    illuminance_lx: float | None
    ev100: float | None
    spread_stops: float
    text: str
    flags: tuple[Flag, ...]


def illuminance_lx(*, altitude_deg: ArrayLike, sky: str) -> float | NDArray[np.float64]:
    """Mean illuminance of open, level ground, lx; NaN where the sun is not above the horizon.

    sky: "clear", "hazy" or "overcast". They rest on measurements where the sun never reaches the zenith.
    Raises `Impossible` (`unknown_sky`) for another sky.
    """
    row = _sky(sky)
    altitude = np.asarray(altitude_deg, dtype=float)
    is_up = altitude > 0
    sine = np.sin(np.radians(np.where(is_up, altitude, 90.0)))
    direct_klx = 0.0 if row.extinction is None else DIRECT_KLX * np.exp(-row.extinction / sine) * sine
    sky_klx = row.sky_klx + row.sky_slope_klx * sine**row.sky_exponent
    return np.where(is_up, 1000 * (direct_klx + sky_klx), np.nan)[()]


def daylight(*, altitude_deg: float, sky: str) -> Daylight:
    """What to expect of one sky with the sun's centre at one altitude, in figures and in a sentence."""
    row = _sky(sky)
    if altitude_deg <= 0:
        text = "The sun is below the horizon: no estimate is made of twilight."
        return Daylight(sky, None, None, SPREAD_STOPS, text, (Flag("sun_below_horizon", text),))
    lux = float(illuminance_lx(altitude_deg=altitude_deg, sky=sky))
    ev100 = ev100_from_illuminance(illuminance_lx=lux)
    text = (
        f"Estimate for a {row.name} with the sun {altitude_deg:.0f}° up: about EV {ev100:.1f} at ISO 100, "
        f"{lux / 1000:.3g} klx on open, level ground. Any instant may be half or double that, a stop either "
        "way: use it to plan, and a meter to expose."
    )
    flags = []
    if altitude_deg < LOW_SUN_DEG:
        low = f"The sun is only {altitude_deg:.1f}° up: haze, hills and houses decide, not the formula."
        flags.append(Flag("low_sun", low))
    return Daylight(sky, lux, ev100, SPREAD_STOPS, text, tuple(flags))


def _sky(sky: str) -> Sky:
    if sky not in SKIES:
        raise Impossible("unknown_sky", f"The sky must be one of {', '.join(SKIES)}.", "sky")
    return SKIES[sky]
