"""A year of sun positions by the minute, against the reference library's numpy code in the same run.

python tests/bench/sun.py
"""

import time
from collections.abc import Callable

import numpy as np
from pvlib import spa

from optics.core.sun import mean_noon_utc_s, rise_and_set, sun_position
from optics.core.sun_orbit import delta_t

LATITUDE_DEG, LONGITUDE_DEG = 52.0, 5.0


def best_of(call: Callable[[], object], rounds: int = 3) -> float:
    seconds = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def main() -> None:
    minute = np.datetime64("2026-01-01T00:00", "s").astype(float) + 60.0 * np.arange(365 * 1440)
    ahead = delta_t(time_utc_s=minute)
    dates = np.arange("2026-01-01", "2027-01-01", dtype="M8[D]")
    midnight = dates.astype("M8[s]").astype(float)
    noon = mean_noon_utc_s(date=dates, longitude_deg=LONGITUDE_DEG)
    place = {"latitude_deg": LATITUDE_DEG, "longitude_deg": LONGITUDE_DEG}

    ours = best_of(lambda: sun_position(time_utc_s=minute, **place))
    theirs = best_of(
        lambda: spa.solar_position_numpy(minute, LATITUDE_DEG, LONGITUDE_DEG, 0.0, 1013.25, 12.0, ahead, 0.5667, 1)
    )
    print(f"{minute.size} positions: {ours:.3f} s, reference {theirs:.3f} s, ratio {ours / theirs:.3f}")

    ours = best_of(lambda: rise_and_set(time_utc_s=noon, **place))
    theirs = best_of(
        lambda: spa.transit_sunrise_sunset(midnight, LATITUDE_DEG, LONGITUDE_DEG, delta_t(time_utc_s=midnight), 1)
    )
    print(f"{dates.size} rises and sets: {ours:.4f} s, reference {theirs:.4f} s, ratio {ours / theirs:.2f}")


if __name__ == "__main__":
    main()
