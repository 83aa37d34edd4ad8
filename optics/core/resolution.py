"""The finest detail a round hole still shows: where the contrast falls to a given level."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from .diffraction import Floats, contrast
from .faults import Impossible

#: The levels for which the contrast, once it has fallen below, was found never to come back: side lobes reach 0.07.
LEVELS = (0.1, 0.9)
#: Fresnel numbers of the table that stands in for many separate searches: steps of 1 % from 0.01 to 50.
_TABLE = np.exp(np.arange(np.log(0.01), np.log(50.0), 0.01))


def resolved_detail(
    fresnel_number: ArrayLike, level: float, wavelength_ratios: Floats, weights: Floats, skew: ArrayLike = 0.0
) -> Floats:
    """Return the first s at which the mean contrast of a band falls to `level` (0.1–0.9).

    `fresnel_number`, any shape, and the returned `s` are those of the shortest wavelength; `wavelength_ratios`
    (W,) (≥ 1) the wavelengths in terms of it, longest at most 3; `weights` (W,) sum to 1; `skew` as in
    `diffraction.contrast`. Exact to 1e-9; for a thousand and more round holes a kept table takes over, true
    within 1e-5. Between Fresnel numbers 0.85 and 1.0 the contrast is nearly level where it passes 0.1: there a
    hole 5 % wider may resolve a fifth less by this measure.
    """
    if not LEVELS[0] <= level <= LEVELS[1]:
        raise Impossible("contrast_out_of_range", "Ask for a contrast between 0.1 and 0.9.", "contrast")
    number, skews = np.broadcast_arrays(np.asarray(fresnel_number, dtype=np.float64), skew)
    shape, number, skews = number.shape, number.reshape(-1), skews.reshape(-1)
    tabled = np.zeros(number.shape, dtype=bool)
    if number.size > _TABLE.size:
        tabled = (skews == 0) & (number >= _TABLE[0]) & (number <= _TABLE[-1])
    s = np.empty(number.shape)
    if tabled.any():
        table = _table(level, wavelength_ratios.tobytes(), weights.tobytes())
        s[tabled] = table(np.log(number[tabled]))
    if not tabled.all():
        s[~tabled] = _search(number[~tabled], level, wavelength_ratios, weights, skews[~tabled])
    return s.reshape(shape)


def _search(number: Floats, level: float, ratios: Floats, weights: Floats, skew: Floats) -> Floats:
    """False position with Anderson and Björck's factor; the contrast passes `level` once in the bracket."""

    def excess(s: Floats, which: NDArray[np.intp]) -> Floats:
        each = contrast(number[which, None] / ratios, s[:, None] * ratios, skew[which, None])
        return each @ weights - level

    left = np.arange(number.size)
    low, low_excess = np.zeros_like(number), np.full_like(number, 1 - level)
    # every wavelength alone is below 0.1 from 2πN_F·s = 7.4 on [found by trial], and at the cut-off
    high = np.minimum(2.0, 7.6 / (2 * np.pi * number))
    high_excess = excess(high, left)
    result = np.empty_like(number)
    for _ in range(60):
        s = high - high_excess * (high - low) / (high_excess - low_excess)
        found = excess(s, left)
        result[left] = s
        crossed = found * high_excess < 0
        factor = np.maximum(1 - found / high_excess, 0.0)
        low_excess = np.where(crossed, high_excess, low_excess * np.where(factor > 0, factor, 0.5))
        low = np.where(crossed, high, low)
        rough = np.abs(found) > 1e-10
        if not rough.any():
            break
        left = left[rough]
        low, low_excess, high, high_excess = (x[rough] for x in (low, low_excess, s, found))
    return result


@lru_cache(maxsize=32)
def _table(level: float, wavelength_ratios: bytes, weights: bytes) -> CubicSpline:
    none = np.zeros_like(_TABLE)
    s = _search(_TABLE, level, np.frombuffer(wavelength_ratios), np.frombuffer(weights), none)
    return CubicSpline(np.log(_TABLE), s)
