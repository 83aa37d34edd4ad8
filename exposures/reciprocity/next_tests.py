"""Which exposure would teach the club most, by the model's own information.

The measure is the I-criterion: the error variance of a paper's line (stops²), averaged over the club's papers and over
given times in equal steps of stops. A log of error σ whose own predicted variance is v lowers the variance of any
target by cov(target, log)²/(σ² + v), whatever its result will be; so a plan can be made before a shutter opens. The
plan is greedy: the best exposure, the statistics renewed by that rank-one step, the next. Papers, cameras and members
that nobody has logged take part: they are as unsure as others of their kind differ. Errors are those of `Fit.line`,
means over the likely variances, which a plan takes as they are.

Every target and every exposure is a weighted sum of few effects (speeds and slopes of papers, cameras, a member), so
their joint covariance is all that is kept. The mean over times needs no times: it is tr(M·cov(α, β)) for the line's
speed α and slope β, with M the mean of (1, x)(1, x)'. So two sums for each paper, taken with the root of M, stand for
all of its targets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from exposures.reciprocity.cells import Floats
from exposures.reciprocity.design import ASSUMED
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
    papers: Mapping[Any, Any],
    cameras: Sequence[Any],
    count: int = 1,
    member: Any = None,
    grade: Any = None,
    times_s: Sequence[float] = TEST_TIMES_S,
    least_indicated_s: Callable[[Any, Any], float] = lambda _paper, _camera: 0.0,
) -> tuple[NextTest, ...]:
    """A plan of `count` exposures, best first, on some `papers` (each with its family) and cameras.

    `member` makes them (default: the average one); their evidence is of `grade` (default: the commonest error).
    `least_indicated_s` of a paper and a camera is what a meter asks for in the brightest light there is; exposures that
    would need a brighter one are left out.
    """
    candidates = list(product(papers, cameras, times_s))
    if len(candidates) > MOST_CANDIDATES:
        raise Impossible("too_many_tests", f"Choose among at most {MOST_CANDIDATES} exposures.", "papers")
    members = [] if member is None else [member]
    mean, spread = fit.effects(papers, cameras, members)
    targets, tests = _targets(len(papers), len(spread)), _tests(len(papers), len(cameras), times_s, len(spread))
    indicated = np.exp2(tests @ mean + np.log2([time for *_, time in candidates]))  # the slopes are those over 1
    least = [least_indicated_s(paper, camera) for paper, camera, _ in candidates]
    possible = np.flatnonzero(indicated >= np.array(least))
    if not len(possible):
        return ()
    candidates, tests, indicated = [candidates[i] for i in possible], tests[possible], indicated[possible]
    errors = fit.errors_stops
    error = errors.get(grade, max(errors.values(), default=ASSUMED["error"]))
    plan = []
    for _ in range(count):
        best, before, after = _best(spread, targets, tests, error)
        paper, camera, time = candidates[best]
        plan.append(NextTest(paper, camera, float(indicated[best]), time, before, after))
        column = spread @ tests[best]
        spread = spread - np.outer(column, column) / (error**2 + tests[best] @ column)
    return tuple(plan)


def _best(spread: Floats, targets: Floats, tests: Floats, error: float) -> tuple[int, float, float]:
    """The test that lowers the targets' mean variance most, and the root of that before and after (stops)."""
    papers = len(targets) / 2
    with_effects = tests @ spread
    gain = ((with_effects @ targets.T) ** 2).sum(axis=1) / (error**2 + (with_effects * tests).sum(axis=1))
    best = int(np.argmax(gain))
    before = float(np.sum((targets @ spread) * targets)) / papers
    return best, before**0.5, max(before - float(gain[best]) / papers, 0.0) ** 0.5


def _targets(papers: int, effects: int) -> Floats:
    """Two sums of effects for each paper, (2 papers, effects), whose variances add up to that of its mean target."""
    x = np.log2(TARGET_TIMES_S)
    root = np.linalg.cholesky(np.mean([np.outer((1, each), (1, each)) for each in x], axis=0)).T
    return np.hstack([np.kron(np.eye(papers), root), np.zeros((2 * papers, effects - 2 * papers))])


def _tests(papers: int, cameras: int, times_s: Sequence[float], effects: int) -> Floats:
    """Each exposure as a sum of effects, papers × cameras × times in that order; the member, if any, comes last."""
    x = np.maximum(np.log2(times_s), 0.0)
    paper, camera, time = (each.ravel() for each in np.indices((papers, cameras, len(x))))
    row = np.arange(len(paper))
    tests = np.zeros((len(paper), effects))
    tests[row, 2 * paper], tests[row, 2 * paper + 1] = 1.0, x[time]
    tests[row, 2 * papers + camera] = 1.0
    tests[:, 2 * papers + cameras :] = 1.0
    return tests
