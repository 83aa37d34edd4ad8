"""One camera, one paper, one reading: the time to give, how sure that is, a test strip, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exposures.reciprocity.doubts import time_flags
from exposures.reciprocity.result import Fit
from optics.core.faults import Flag, Impossible
from optics.core.say import say_time

#: A test strip has this many patches at most, and at least three.
MOST_PATCHES = 7
#: Neighbouring patches lie no nearer than this (stops), or nobody sees the difference. Design judgement.
LEAST_STEP_STOPS = 1 / 3


@dataclass(frozen=True)
class Recommendation:
    """Times in s; `half` and `ninety` hold the right time with 50 % and 90 %; `because` in sentences."""

    time_s: float
    half: tuple[float, float]
    ninety: tuple[float, float]
    test_strip_s: tuple[float, ...]
    because: tuple[str, ...]
    flags: tuple[Flag, ...]


def recommend(
    fit: Fit,
    *,
    paper: Any,
    indicated_s: float,
    camera: Any = None,
    member: Any = None,
    family: Any = None,
    more_stops: float = 0.0,
) -> Recommendation:
    """The time to give where the meter asks for `indicated_s` (s, > 0).

    `more_stops` is another standard error in stops, such as that of a hole just measured, added in squares.
    """
    if not (np.isfinite(indicated_s) and 1e-9 < indicated_s < 1e9):
        raise Impossible("indicated_time_odd", "The indicated time must lie between 1 ns and 30 years.", "reading")
    line = fit.line(paper, camera=camera, member=member, family=family)
    line = replace(line, covariance=line.covariance + np.diag([more_stops**2, 0.0]))
    time = line.right_time_s(indicated_s)
    half = line.interval_s(indicated_s, quantile=fit.quantile(0.5))
    ninety = line.interval_s(indicated_s, quantile=fit.quantile(0.9))
    answer = fit.paper(paper, family=family)
    evidence = answer.evidence
    flags = (*answer.flags, *time_flags(evidence.shortest_s, evidence.longest_s, time))
    because = [f"The meter asks for {say_time(indicated_s)}."]
    if evidence.logs:
        logs = (
            f"{evidence.logs} logs of this paper, by {evidence.members} members with {evidence.cameras} cameras "
            f"from {say_time(evidence.shortest_s)} to {say_time(evidence.longest_s)}"
        )
        because.append(
            f"{logs}, say {answer.speed_stops:+.2f} stops of speed and an exponent of {answer.exponent:.2f}."
        )
    else:
        because.append("Nobody has logged this paper: its family stands in for it, or its nominal speed.")
    for name, key in (("camera", camera), ("member", member)):
        if key is not None:
            offset = fit.offset(name, key)
            off = f"{offset.stops:+.2f} ± {offset.error_stops:.2f} stops"
            because.append(f"This {name} lies {off} off, by {offset.evidence.logs} logs.")
    if np.isfinite(time):
        because.append(f"With 90 % the right time lies from {say_time(ninety[0])} to {_say(ninety[1])}.")
    return Recommendation(time, half, ninety, strip_times(time, ninety), tuple(because), flags)


def _say(time_s: float) -> str:
    return say_time(time_s) if np.isfinite(time_s) else "any length"


def strip_times(time_s: float, interval_s: tuple[float, float]) -> tuple[float, ...]:
    """Times in equal steps of stops that span an interval, the middle one the recommended; empty without a time.

    An open or very wide interval is spanned two stops to either side, which is as much as one strip can show.
    """
    if not np.isfinite(time_s):
        return ()
    sides = [abs(float(np.log2(max(end, 1e-12) / time_s))) if np.isfinite(end) else np.inf for end in interval_s]
    reach = min(max(*sides, LEAST_STEP_STOPS), 2.0)
    each = int(min(max(np.floor(reach / LEAST_STEP_STOPS + 1e-9), 1), MOST_PATCHES // 2))
    return tuple(float(time_s * 2 ** (reach * i / each)) for i in range(-each, each + 1))
