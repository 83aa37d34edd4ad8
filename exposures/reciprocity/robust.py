"""A guard against logs that cannot be right: weights that fall to nothing far from everybody else's logs.

Each log is held against the fit *without itself*: its deletion residual over its own standard deviation, t. Its weight

    w(t) = 1 for |t| ≤ 2.5,    (1 − ((|t| − 2.5)/2.5)²)² up to 5,    0 beyond

is 1 for nearly every honest log, so clean data are fitted by plain REML, and a wrong one is dropped whole (a biweight
with a flat top; biweight: Beaton & Tukey, Technometrics 16, 147 (1974) [memory]; the corners are a design judgement).
Weights count as shares of a log. The lone log of a camera, which bends that camera's offset to itself, is still seen,
because it is held against the fit without it.

A pass needs only a log's own u and z and its cell's line, so the database can make it: lines by cell from
`lines.cell_lines`, weights back to a column, cells from SUM(weight · …).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exposures.reciprocity.cells import KEYS, NO_CELLS, Cells, Floats, Logs
from exposures.reciprocity.lines import cell_lines
from exposures.reciprocity.result import Fit, fit
from optics.core.faults import Flag
from optics.core.say import say_time

FULL, NOTHING = 2.5, 5.0
MOST_PASSES = 10
#: Passes at first in which a fit swollen by wrong logs is corrected by the median of |t|, down to half.
EARLY_PASSES = 3
#: A log of less weight than this is reported as doubtful.
DOUBTFUL = 0.5
#: Median of |t| where t is normal.
_MEDIAN = 0.6744897501960817


@dataclass(frozen=True)
class Held:
    """Logs held against a fit, arrays (n,): stops off the fit without the log itself, and that over its deviation."""

    off_stops: Floats
    t: Floats

    @property
    def weights(self) -> Floats:
        return weights(self.t)


@dataclass(frozen=True)
class RobustFit:
    """A guarded fit: the weights of every log, chunk by chunk, and how many are doubtful."""

    fit: Fit
    weights: tuple[Floats, ...]
    passes: int

    @property
    def doubtful_logs(self) -> int:
        return int(sum((w < DOUBTFUL).sum() for w in self.weights))


def weights(t: Floats) -> Floats:
    """The share with which a log counts, by its standardised deletion residual."""
    beyond = np.clip((np.abs(t) - FULL) / (NOTHING - FULL), 0.0, 1.0)
    return (1 - beyond**2) ** 2


def hold(of: Fit, logs: Logs, weight: Floats | None = None) -> Held:
    """Hold logs against a fit in which they count with `weight` (0: not in the fit yet, but in known cells)."""
    if of.point is None or not len(logs):
        return Held(np.zeros(len(logs)), np.zeros(len(logs)))
    w = np.ones(len(logs)) if weight is None else weight
    cells = Cells.from_logs(logs)
    lines = cell_lines(of.point, cells)
    cell = _cell_of(logs, cells)
    fitted, variance = lines.at(cell, logs.x)
    names, place = np.unique(logs.grade, return_inverse=True)
    error = np.array([of.errors_stops[name] for name in names.tolist()])[place]
    kept = np.maximum(1 - w * variance / error**2, 1e-6)
    off = (logs.y - fitted) / kept
    return Held(off, off / np.sqrt(error**2 + np.maximum(variance, 0.0) / kept))


def _cell_of(logs: Logs, cells: Cells) -> np.ndarray:
    """The row in `cells` of every log."""
    code, rows = np.zeros(len(logs), dtype=np.int64), np.zeros(len(cells), dtype=np.int64)
    for key in KEYS:
        levels = np.unique(getattr(cells, key))
        code = code * len(levels) + np.searchsorted(levels, getattr(logs, key))
        rows = rows * len(levels) + np.searchsorted(levels, getattr(cells, key))
        used, both = np.unique(np.concatenate([rows, code]), return_inverse=True)
        rows, code = both[: len(rows)], both[len(rows) :]
    order = np.empty(len(used), dtype=np.int64)
    order[rows] = np.arange(len(rows))
    return order[code]


def robust_fit(
    chunks: Sequence[Logs],
    *,
    also: Cells = NO_CELLS,
    families: Mapping[Any, Any] | None = None,
    warm: Floats | None = None,
    **options: Any,
) -> RobustFit:
    """Fit, weigh, and fit again until the weights settle. The logs come in chunks, read once in every pass.

    The first weights are found at the assumed variances: estimated ones would let the wrong log of a newcomer say that
    members differ by as much as it is wrong. `also` holds sums of logs that cannot be weighed singly, as in a packet.
    """
    given = [np.ones(len(logs)) for logs in chunks]
    assumed = fit(also + _cells(chunks, given), families=families, steps=False, **options)
    given = [hold(assumed, logs, w).weights for logs, w in zip(chunks, given, strict=True)]
    found = fit(also + _cells(chunks, given), families=families, warm=warm, **options)
    passes = 0
    while chunks and passes < MOST_PASSES and found.point is not None:
        passes += 1
        held = [hold(found, logs, w) for logs, w in zip(chunks, given, strict=True)]
        swollen = 1.0
        if passes <= EARLY_PASSES:
            middle = float(np.median(np.abs(np.concatenate([h.t for h in held])))) / _MEDIAN
            swollen = min(max(middle, 0.5), 1.0)
        fresh = [weights(h.t / swollen) for h in held]
        moved = max((float(np.abs(a - b).max(initial=0.0)) for a, b in zip(fresh, given, strict=True)), default=0.0)
        if moved < 0.01 and passes > EARLY_PASSES:
            break
        given = fresh
        doubtful = int(sum((w < DOUBTFUL).sum() for w in given))
        cells = also + _cells(chunks, given)
        found = fit(cells, families=families, warm=found.theta, doubtful_logs=doubtful, **options)
    return RobustFit(found, tuple(given), passes)


def _cells(chunks: Sequence[Logs], given: Sequence[Floats]) -> Cells:
    total = NO_CELLS
    for logs, w in zip(chunks, given, strict=True):
        total = total + Cells.from_logs(logs, w)
    return total


def doubt(of: Fit, logs: Logs, weight: Floats | None = None) -> list[Flag | None]:
    """What to tell the author of each log: nothing, or why it is doubtful and what may have been typed wrongly."""
    held = hold(of, logs, weight)
    found: list[Flag | None] = [None] * len(logs)
    doubtful = np.flatnonzero(held.weights < DOUBTFUL)
    if not len(doubtful):
        return found
    some = logs.where(doubtful)
    guesses = {}
    for words, shift in (("minutes typed for seconds", -1), ("seconds typed for minutes", 1)):
        moved = replace(some, u=some.u + shift * np.log2(60))
        guesses[words] = np.abs(hold(of, moved, np.zeros(len(some))).t)
    for place, i in enumerate(doubtful):
        off, time = float(held.off_stops[i]), say_time(float(2 ** logs.u[i]))
        text = f"At {time} this came out {abs(off):.1f} stops {'over' if off > 0 else 'under'} what all other logs say."
        likely = [words for words, t in guesses.items() if t[place] < FULL / 2]
        text += f" Were {likely[0]}?" if likely else " Please check the time, the reading and the result."
        found[int(i)] = Flag("doubtful", text + " It is kept, and counts little or not.")
    return found
