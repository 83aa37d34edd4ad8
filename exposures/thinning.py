"""Times as a table of few rows that a phone, or another server, reads by straight lines in log-log between them."""

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from exposures.reciprocity.cells import Floats

#: Rows run over indicated times from 1/128 s to 24 days, by log₂.
SHORTEST_STOPS, LONGEST_STOPS = -7.0, 21.0
COARSEST_STOPS, FINEST_STOPS = 4.0, 1 / 256
#: What stays at the coarsest.
WHOLE_STOPS = np.arange(SHORTEST_STOPS, LONGEST_STOPS + COARSEST_STOPS / 2, COARSEST_STOPS).tolist()
#: Lines between rows are checked to be within this of what they stand for; between the checks they are within twice it.
CHECKED_STOPS = 0.01
TOLERANCE_STOPS = 0.02

#: From log₂ of n indicated times to log₂ of the times to give, and of others beside them, (n, any).
Reckoner = Callable[[Sequence[float]], Floats]


def thinned(at: Reckoner, whole: Sequence[float] = WHOLE_STOPS, *, checked_stops: float = CHECKED_STOPS) -> Floats:
    """Rows [x, *at(x)] at `whole` and wherever between them a straight line is more than `checked_stops` off.

    The line is checked at its quarters, and halved down to `FINEST_STOPS`.
    """
    shares = np.array([0.25, 0.5, 0.75])

    def between(x0: float, y0: Floats, x1: float, y1: Floats) -> list[Floats]:
        found = at((x0 + shares * (x1 - x0)).tolist())
        off = np.abs(found - (y0 + np.outer(shares, y1 - y0))).max()
        if off <= checked_stops or x1 - x0 <= FINEST_STOPS:
            return []
        x, y = (x0 + x1) / 2, found[1]
        return [*between(x0, y0, x, y), np.append(x, y), *between(x, y, x1, y1)]

    ends = [np.append(x, y) for x, y in zip(whole, at(whole), strict=True)]
    rows = [ends[0]]
    for before, end in pairwise(ends):
        rows += [*between(before[0], before[1:], end[0], end[1:]), end]
    return np.array(rows)
