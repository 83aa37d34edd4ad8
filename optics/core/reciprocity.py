"""Reciprocity laws: from the time a meter indicates to the time the material needs.

A law is any object with `correct(time_s)`, rising, at least as fast as the indicated time near its start; arrays in,
arrays out. No published figure for printing paper exists; what a club's own log says is a law too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from .faults import Impossible

Times = NDArray[np.float64] | float
Logs = NDArray[np.float64]


class Law(Protocol):
    """What every reciprocity law offers."""

    def correct(self, time_s: Times) -> Times:
        """The exposure time for an indicated time, both in s and > 0; shaped like the input."""
        ...


@dataclass(frozen=True)
class NoFailure:
    """The indicated time is the exposure time."""

    def correct(self, time_s: Times) -> Times:
        return time_s


@dataclass(frozen=True)
class PowerLaw:
    """t = from·(indicated/from)^exponent above `from_s`; unchanged below. `exponent` = 1/p of Schwarzschild's p.

    K. Schwarzschild, Astrophys. J. 11, 89 (1900): equal blackening for equal I·t^p [read as quoted].
    """

    exponent: float
    from_s: float = 1.0

    def __post_init__(self) -> None:
        if not 1 <= self.exponent <= 3:
            raise Impossible("exponent_range", "A reciprocity exponent lies between 1 (no failure) and 3.", "exponent")
        if not self.from_s > 0:
            raise Impossible("not_positive", "The time a power law starts from must be more than zero.", "from")

    def correct(self, time_s: Times) -> Times:
        time = np.asarray(time_s, dtype=float)
        return np.where(time > self.from_s, self.from_s * (time / self.from_s) ** self.exponent, time)[()]


#: Published sheets rise with powers below 1.6 [SCIENCE §5]; far steeper rows are slips of the pen, and overflow.
STEEPEST = 5.0


@dataclass(frozen=True)
class TableLaw:
    """A data sheet's time column: `rows` of (indicated, corrected) in s, both rising.

    Between rows monotone in log time (a cubic after F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5, 300
    (1984) [memory]); past the last row straight in log-log, with the slope of the last two rows; before the first row
    the first row's factor is kept, so begin a table with a row that needs no correction.
    """

    rows: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        table = np.array(self.rows, dtype=float)
        if table.ndim != 2 or table.shape[1] != 2 or len(table) < 2:
            raise Impossible("table_rows", "Give at least two rows, each [indicated, corrected].", "rows")
        if not (np.isfinite(table).all() and (table > 0).all()):
            raise Impossible("table_rows", "Every time in the table must be more than zero.", "rows")
        if (np.diff(table, axis=0) <= 0).any():
            raise Impossible("table_order", "Both columns must rise from row to row.", "rows")
        if (table[:, 1] < table[:, 0] * (1 - 1e-9)).any():
            raise Impossible("table_shortens", "A corrected time cannot be shorter than the indicated one.", "rows")
        indicated, corrected = np.diff(np.log(table), axis=0).T
        if (indicated < 1e-6).any() or (corrected > STEEPEST * indicated).any():
            raise Impossible(
                "table_steep",
                f"Two rows are nearly the same, or the corrected time grows faster than the power {STEEPEST:g} of the "
                "indicated one: check the rows.",
                "rows",
            )

    def correct(self, time_s: Times) -> Times:
        indicated, corrected = np.log(np.array(self.rows, dtype=float)).T
        x = np.log(np.asarray(time_s, dtype=float))
        inside = self.between(indicated, corrected, np.clip(x, indicated[0], indicated[-1]))
        slope = (corrected[-1] - corrected[-2]) / (indicated[-1] - indicated[-2])
        after = corrected[-1] + slope * (x - indicated[-1])
        before = corrected[0] + x - indicated[0]
        return np.exp(np.where(x > indicated[-1], after, np.where(x < indicated[0], before, inside)))[()]

    def between(self, indicated: Logs, corrected: Logs, x: Logs) -> Logs:
        """ln of corrected times at ln of indicated ones `x`, within rows of which both (n,) logarithms are given."""
        return PchipInterpolator(indicated, corrected)(x)


def fit_power_law(rows: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """(corrected time at 1 s indicated, exponent) by least squares of log corrected on log indicated."""
    indicated, corrected = np.log(np.array(rows, dtype=float)).T
    exponent, start = np.polyfit(indicated, corrected, 1)
    return float(np.exp(start)), float(exponent)
