"""A long exposure under changing light: what share has been given, and how long is still to go."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .faults import Flag
from .light import Light
from .reciprocity import Law, NoFailure
from .say import say_stops

#: The future is followed for this many times the steady remaining time before it is called endless.
LOOK_AHEAD = 200.0
STEPS = 20_000


@dataclass(frozen=True)
class Segment:
    """A stretch of the exposure: EV at ISO 100, and how long it lasted in s, > 0."""

    ev100: float
    lasted_s: float


@dataclass(frozen=True)
class Progress:
    """How far an exposure is.

    `share` of the whole exposure has been given (1 = done). At the present light `remaining_s` is still to go; if the
    light goes on changing as slowly or as fast as it has, between `soonest_s` and `latest_s` (inf: never).
    """

    share: float
    given_s: float
    remaining_s: float
    soonest_s: float
    latest_s: float
    flags: tuple[Flag, ...]


def progress(
    segments: Sequence[Segment],
    *,
    ev100_now: float,
    f_number: float,
    exposure_index: float,
    filter_stops: float = 0.0,
    law: Law | None = None,
) -> Progress:
    """Share given so far and time to go; `ev100_now` is the reading at this moment, after the last segment.

    Each moment gives dt/T of the exposure, T being the whole time that the law asks for at that moment's light alone.
    For steady light this is exact; for changing light it is an approximation that takes reciprocity failure to follow
    the present light and not the past (no published figures for changing light were found). [derived]

    The range projects EV as a straight line in time, at the least and the greatest rate of change between neighbouring
    readings (each reading standing for the middle of its segment), and at no change.
    """
    law = law or NoFailure()

    def whole_time(ev100: NDArray[np.float64]) -> NDArray[np.float64]:
        indicated = Light(0.0).time_s(f_number=f_number, exposure_index=exposure_index) * 2.0 ** (filter_stops - ev100)
        return np.asarray(law.correct(indicated), dtype=float)

    ev = np.array([s.ev100 for s in segments])
    lasted = np.array([s.lasted_s for s in segments])
    share = float((lasted / whole_time(ev)).sum())
    given = float(lasted.sum())
    now = np.array([ev100_now])
    steady = float(max(1 - share, 0.0) * whole_time(now)[0])
    if share >= 1:
        over = float(np.log2(share))
        text = f"The exposure is complete, {say_stops(over)} over by the light so far. Close the shutter."
        return Progress(share, given, 0.0, 0.0, 0.0, (Flag("complete", text),))

    ends = np.cumsum(lasted)
    times = np.append(ends - lasted / 2, given)
    rates = np.diff(np.append(ev, ev100_now)) / np.diff(times)
    ahead = steady * np.concatenate([[0.0], np.geomspace(1e-6, LOOK_AHEAD, STEPS)])
    futures = []
    for rate in {0.0, float(rates.min(initial=0.0)), float(rates.max(initial=0.0))}:
        # Below EV −30 or above 30 the light would not be of this earth; hold it there.
        speed = 1 / whole_time(np.clip(ev100_now + rate * ahead, -30, 30))
        gained = np.concatenate([[0.0], np.cumsum(np.diff(ahead) * (speed[1:] + speed[:-1]) / 2)])
        futures.append(steady if rate == 0 else float(np.interp(1 - share, gained, ahead, right=np.inf)))
    flags = []
    if max(futures) == np.inf:
        text = "If the light goes on falling as it has, the exposure will never be complete; stop when you must."
        flags.append(Flag("light_fails", text))
    return Progress(share, given, steady, min(futures), max(futures), tuple(flags))
