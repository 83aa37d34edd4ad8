"""Which exposure would teach the club most, by the model's own information.

The measure is the I-criterion: the error variance of a paper's line (stops²), averaged over the club's papers and over
given times in equal steps of stops. A log of error σ whose own predicted variance is v lowers the variance of any
target by cov(target, log)²/(σ² + v), whatever its result will be; so a plan can be made before a shutter opens. The
plan is greedy: the best exposure, the statistics renewed by that rank-one step, the next. Variances between papers,
cameras and members are taken as estimated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from exposures.reciprocity.cells import Floats
from exposures.reciprocity.lines import Sums, add_effect, covariance, no_sums
from exposures.reciprocity.result import Fit
from optics.core.faults import Impossible

#: Given times (s) over which the error is averaged: 1 s to 34 min.
TARGET_TIMES_S = tuple(float(2**n) for n in range(12))
#: Given times (s) that a test may have.
TEST_TIMES_S = (1.0, 4.0, 15.0, 60.0, 240.0, 900.0)
MOST_CANDIDATES = 4000


@dataclass(frozen=True)
class NextTest:
    """Give `time_s` where the meter asks for `indicated_s`; the club's mean error falls from `before` to `after`."""

    paper: Any
    camera: Any
    indicated_s: float
    time_s: float
    before_stops: float
    after_stops: float


def next_tests(
    fit: Fit,
    *,
    papers: Sequence[Any],
    cameras: Sequence[Any],
    count: int = 1,
    member: Any = None,
    grade: Any = None,
    times_s: Sequence[float] = TEST_TIMES_S,
) -> tuple[NextTest, ...]:
    """A plan of `count` exposures on papers and cameras that have logs, best first.

    `member` makes them (default: the average one); their evidence is of `grade` (default: the commonest error).
    """
    point = fit.point
    if point is None:
        return ()
    known_papers = [key for key in papers if point.design.level("paper", key) is not None]
    known_cameras: list[Any] = [key for key in cameras if point.design.level("camera", key) is not None] or [None]
    candidates = list(product(known_papers, known_cameras, times_s))
    if not candidates:
        return ()
    if len(candidates) > MOST_CANDIDATES:
        raise Impossible("too_many_tests", f"Choose among at most {MOST_CANDIDATES} exposures.", "papers")
    targets = [(paper, None, time) for paper, time in product(known_papers, TARGET_TIMES_S)]
    sums = _sums(fit, targets, member=None)
    tests = _sums(fit, candidates, member=member)
    both = Sums(*(np.concatenate([getattr(sums, n), getattr(tests, n)]) for n in ("rest", "level", "part")))
    spread = covariance(point, both)
    error = fit.errors_stops.get(grade, max(fit.errors_stops.values()))
    plan = []
    for _ in range(count):
        best, before, after = _best(spread, len(targets), error)
        paper, camera, time = candidates[best]
        line = fit.line(paper, camera=camera, member=member)
        indicated = float(2 ** line.effect(float(np.log2(time))))
        plan.append(NextTest(paper, camera, indicated, time, before, after))
        spread = _after(spread, len(targets) + best, error)
    return tuple(plan)


def _best(spread: Floats, targets: int, error: float) -> tuple[int, float, float]:
    """The candidate that lowers the targets' mean variance most, and the root of that before and after (stops)."""
    variance = np.diag(spread)
    gain = (spread[:targets, targets:] ** 2).sum(axis=0) / (error**2 + variance[targets:])
    best = int(np.argmax(gain))
    before = float(variance[:targets].mean())
    return best, before**0.5, max(before - float(gain[best]) / targets, 0.0) ** 0.5


def _after(spread: Floats, row: int, error: float) -> Floats:
    """Covariances once the log of that row is in."""
    column = spread[:, row]
    return spread - np.outer(column, column) / (error**2 + column[row])


def _sums(fit: Fit, exposures: Sequence[tuple[Any, Any, float]], *, member: Any) -> Sums:
    """The effect of each (paper, camera, given time) as a sum of the model's effects."""
    point = fit.point
    assert point is not None  # noqa: S101  (`next_tests` has seen to it)
    of, sums = point.design, no_sums(point, len(exposures))
    known = {key: of.level("paper", key) for key in {paper for paper, _, _ in exposures}}
    random = sums.rest.shape[1] - of.fixed
    for row, (paper, camera, time) in enumerate(exposures):
        at = known[paper]
        assert at is not None  # noqa: S101  (only known papers are asked)
        x = max(float(np.log2(time)), 0.0)
        family = of.paper_family[at[1]]
        sums.rest[row, random:] += of.speed_rows[family] + x * of.slope_rows[family]
        for atom, share in enumerate((1.0, x)[: of.blocks[0].width]):
            add_effect(point, sums, row, 0, at[1], atom=atom, share=share)
        for name, key in (("camera", camera), ("member", member)):
            place = None if key is None else of.level(name, key)
            if place is not None:
                add_effect(point, sums, row, place[0], place[1])
    return sums
