"""A first pooled estimate of how a paper fails reciprocity: least squares of effective stops on log time.

Each log says: with an indicated time tᵢ, a given time t came out r stops over (+) or under. With u = log₂ t and
z = r + log₂ tᵢ the model is, for one paper,

    z = a + q·max(u, 0) + min(u, 0) + ε

q is Schwarzschild's p and 1/q the exponent of the power law above 1 s; a is how much faster than its nominal index
the paper is, in stops. Pure numpy: nothing here knows where logs are kept.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from optics.core.faults import Flag
from optics.core.say import say_time

Floats = NDArray[np.float64]

#: Below this spread of log₂ t (standard deviation) a slope cannot be told from a speed.
LEAST_SPREAD_STOPS = 0.5
LEAST_LOGS_FOR_SLOPE = 3
#: An exponent above 3 is no reciprocity failure but a contradiction among the logs.
LEAST_SLOPE = 1 / 3
FEW_LOGS = 8
#: Logs that agree better than this agree by chance: no eye judges a print closer. [design judgement]
LEAST_SCATTER_STOPS = 0.1
#: Where logs tell no slope, how far from 1 it may well be: papers' exponents run to about 1.4. [design judgement]
UNKNOWN_SLOPE_SPREAD = 0.2
#: An interval reaches at most this far either way: by then the logs say nothing, and ten years is 28 stops of a second.
LONGEST_REACH_STOPS = 40.0


@dataclass(frozen=True)
class PaperEstimate:
    """What a paper's logs say. `covariance` is that of (a, q); `residual_stops` the scatter of single logs.

    `slope_estimated` is false where the logs allow none; then q = 1, no failure, and a flag says so.
    """

    logs: int
    offset_stops: float
    slope: float
    covariance: Floats
    residual_stops: float
    shortest_s: float
    longest_s: float
    slope_estimated: bool
    flags: tuple[Flag, ...]

    @property
    def exponent(self) -> float:
        """t = tᵢ^exponent above 1 s, speed aside."""
        return 1 / self.slope

    @property
    def exponent_error(self) -> float:
        """Standard error of the exponent, first order."""
        return float(np.sqrt(self.covariance[1, 1])) / self.slope**2

    def exposure_index(self, nominal: float) -> float:
        """The index the paper really has below 1 s, where its nominal one is `nominal`."""
        return float(nominal * 2**self.offset_stops)

    def correct(self, time_s: Floats | float) -> Floats | float:
        """The right time for an indicated one (s): the estimate as a reciprocity law, the paper's speed included."""
        y = np.log2(np.asarray(time_s, dtype=float)) - self.offset_stops
        return np.exp2(np.where(y > 0, y / self.slope, y))[()]

    def stops_error(self, time_s: float) -> float:
        """Standard error, in stops of effect, of the curve at a given (not indicated) time; inf without logs."""
        row = np.array([1.0, max(float(np.log2(time_s)), 0.0)])
        return float(np.sqrt(row @ self.covariance @ row))

    def interval(self, indicated_s: float, *, share: float = 0.9, more_stops: float = 0.0) -> tuple[float, float]:
        """The times between which the right one lies with probability `share`, by Student's t.

        `more_stops` is another standard error in stops, such as the f-number's, added in squares.
        """
        time = float(self.correct(indicated_s))
        error = float(np.hypot(self.stops_error(time), more_stops))
        freedom = max(self.logs - (2 if self.slope_estimated else 1), 1)
        reach = min(float(stdtrit(freedom, (1 + share) / 2)) * error, LONGEST_REACH_STOPS)
        low, high = (float(self.correct(indicated_s * 2**side)) for side in (-reach, reach))
        return low, high

    def flags_at(self, time_s: float) -> tuple[Flag, ...]:
        """The estimate's flags, and one more where a given time lies well outside the logged ones."""
        if self.logs and not self.shortest_s / np.sqrt(2) <= time_s <= self.longest_s * np.sqrt(2):
            text = (
                f"The logs run from {say_time(self.shortest_s)} to {say_time(self.longest_s)}; "
                f"{say_time(time_s)} lies outside and is a guess."
            )
            return (*self.flags, Flag("extrapolating", text))
        return self.flags


def estimate(log2_time: Floats, effective: Floats) -> PaperEstimate:
    """Least squares over a paper's logs: `log2_time` u and `effective` z in stops, both of shape (n,), n ≥ 0.

    With no logs: nominal speed, no failure, an infinite error, and a flag. With fewer than three, or all near one time,
    the speed alone is estimated, and the errors allow for a slope of 1 ± `UNKNOWN_SLOPE_SPREAD`.
    """
    u, z = np.asarray(log2_time, dtype=float), np.asarray(effective, dtype=float)
    if len(u) == 0:
        nothing = Flag("no_logs", "Nobody has logged this paper: nominal speed and no reciprocity failure are assumed.")
        return PaperEstimate(0, 0.0, 1.0, np.diag([np.inf, 0.0]), np.nan, np.nan, np.nan, False, (nothing,))
    x, y = np.maximum(u, 0.0), z - np.minimum(u, 0.0)
    with_slope = len(u) >= LEAST_LOGS_FOR_SLOPE and x.std() >= LEAST_SPREAD_STOPS
    flags = []
    if with_slope:
        design = np.column_stack([np.ones_like(x), x])
        (offset, slope), *_ = np.linalg.lstsq(design, y)
        inverse = np.linalg.inv(design.T @ design)
        with_slope = bool(slope > LEAST_SLOPE)
        if not with_slope:
            flags.append(
                Flag(
                    "slope_odd",
                    f"The logs contradict each other (slope {slope:.2f}); the speed alone is estimated.",
                )
            )
    if not with_slope:
        offset, slope, inverse = float(np.mean(y - x)), 1.0, np.diag([1 / len(u), 0.0])
        flags.append(
            Flag(
                "slope_unknown",
                f"{len(u)} logs at so few different times say nothing of reciprocity failure; none is assumed.",
            )
        )
    residual = y - offset - slope * x
    freedom = len(u) - (2 if with_slope else 1)
    scatter = max(float(np.sqrt((residual @ residual) / freedom)), LEAST_SCATTER_STOPS) if freedom > 0 else 1.0
    covariance = inverse * scatter**2
    if not with_slope:
        # A slope that may be off turns the line about the middle of the logs.
        turn = np.array([-x.mean(), 1.0])
        covariance = covariance + UNKNOWN_SLOPE_SPREAD**2 * np.outer(turn, turn)
    if len(u) < FEW_LOGS:
        flags.append(Flag("few_logs", f"This rests on {len(u)} logs."))
    if slope > 1 + 2 * np.sqrt(inverse[1, 1]) * scatter and with_slope:
        flags.append(
            Flag(
                "slope_odd",
                f"The logs say the paper gains speed with time (exponent {1 / slope:.2f}); check them.",
            )
        )
    times = np.exp2(u)
    return PaperEstimate(
        logs=len(u),
        offset_stops=float(offset),
        slope=float(slope),
        covariance=covariance,
        residual_stops=scatter,
        shortest_s=float(times.min()),
        longest_s=float(times.max()),
        slope_estimated=with_slope,
        flags=tuple(flags),
    )
