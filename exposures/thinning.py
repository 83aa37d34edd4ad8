"""Times as a table of few rows that a phone, or another server, reads by straight lines in log-log between them."""

from collections.abc import Callable, Sequence

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
QUARTERS = np.array([[0.25], [0.5], [0.75]])

#: From log₂ of n indicated times to log₂ of the times to give, and of others beside them, (n, any).
Reckoner = Callable[[Sequence[float]], Floats]


def thinned(at: Reckoner, whole: Sequence[float] = WHOLE_STOPS, *, checked_stops: float = CHECKED_STOPS) -> Floats:
    """Rows [x, *at(x)] at `whole` and wherever between them a straight line is more than `checked_stops` off.

    Lines are checked at their quarters, all of a length at once, and halved down to `FINEST_STOPS`.
    """
    rows = np.column_stack([whole, at(whole)])
    left, right, found = rows[:-1], rows[1:], [rows]
    while len(left):
        lines = left[:, None] + QUARTERS * (right - left)[:, None]  # (lines, quarters, columns)
        values = at(lines[..., 0].ravel().tolist()).reshape(len(lines), len(QUARTERS), -1)
        straight = np.abs(values - lines[..., 1:]).max(axis=(1, 2)) <= checked_stops
        bent = ~straight & (right[:, 0] - left[:, 0] > FINEST_STOPS)
        middle = np.column_stack([lines[:, 1, 0], values[:, 1]])[bent]
        left, right = np.concatenate([left[bent], middle]), np.concatenate([middle, right[bent]])
        found.append(middle)
    rows = np.concatenate(found)
    return rows[np.argsort(rows[:, 0])]
