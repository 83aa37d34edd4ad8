"""The least REML criterion, found by trust-region steps on average information, and a record of how.

θ is made of Cholesky factors, so the criterion is smooth through zero variances and perfect correlations, and a fit
that ends there ends at an ordinary minimum. It has saddles there too (at Λ = 0 the gradient vanishes): the curvature
shows them, and a step follows its negative direction. Average information can mislead where data are few; when it
stops making way, the curvature is taken from differences of the exact gradient. Several starts guard against a
second valley.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from exposures.reciprocity.cells import Floats
from exposures.reciprocity.objective import Objective, Point

#: A step that promises less than this (in the criterion) is the end.
TOLERANCE = 1e-9
MOST_STEPS = 60
#: Steps on average information before the curvature is taken from differences.
PATIENCE = 12
#: With fewer levels than this in some random factor, or a fit on the boundary, every start is tried.
FEW_LEVELS = 12
SINGULAR = 1e-4


@dataclass(frozen=True)
class Run:
    """One start and how it ended: `settled` within tolerance, or stopped after `steps`."""

    start: str
    criterion: float
    gradient: float
    steps: int
    evaluations: int
    by_differences: bool
    settled: bool


@dataclass(frozen=True)
class Optimum:
    """The best point of all runs, and the record of every run in the order tried."""

    point: Point
    record: tuple[Run, ...]
    #: Curvature of the criterion there in θ, of the free parameters only.
    curvature: Floats


def scales(objective: Objective) -> Floats:
    """The natural size of each parameter: the scatter of y about the families' mean lines, per spread of x."""
    of = objective.design
    A, c, n = of.A.sum(axis=0), of.c_rest.sum(axis=0), of.weight.sum()
    fixed = slice(len(c) - of.fixed, len(c))
    solution = np.linalg.lstsq(A[fixed, fixed], c[fixed])[0]
    scatter = np.sqrt(max(of.yy.sum() - c[fixed] @ solution, 0.0) / max(n - of.fixed, 1.0))
    scatter = max(float(scatter), of.least_error, 1e-12)
    spread = max(float(np.sqrt(max(of.cells.xx.sum(), 0.0) / n)), 1e-6)
    size = np.ones(len(objective.held))
    for block, place in zip(of.blocks, objective.places, strict=True):
        size[place] = (scatter, scatter / spread, scatter / spread)[: place.stop - place.start]
        size[place] = size[place] if block.width > 1 else scatter
    return size


def starts(objective: Objective, size: Floats) -> dict[str, Floats]:
    """Named starting points: middling, all error, all effects, and a correlation of −0.7."""
    found = {}
    scatter = float(size[0])
    for name, effects, error, twist in (
        ("middling", 0.4, 0.7, 0.0),
        ("mostly error", 0.05, 1.0, 0.0),
        ("mostly effects", 1.0, 0.15, 0.0),
        ("twisted", 0.4, 0.7, -0.4),
    ):
        theta = effects * size
        for block, place in zip(objective.design.blocks, objective.places, strict=True):
            if block.width > 1:
                theta[place.start + 1] = twist * size[place.start + 1]
        theta[objective.grade_place] = np.log(error * scatter)
        found[name] = _allowed(objective, np.where(objective.free, theta, objective.held))
    return found


def optimise(objective: Objective, *, warm: Floats | None = None, all_starts: bool = False) -> Optimum:
    """Minimise the criterion over the free parameters.

    `warm` is a θ to start from, such as the last fit's; the other starts are then tried only where that run does not
    settle. Otherwise further starts are tried where levels are few or the first run ends on the boundary.
    """
    size = scales(objective)
    tried = starts(objective, size)
    if warm is not None:
        tried = {"warm": _allowed(objective, np.where(objective.free, warm, objective.held)), **tried}
    few = min(len(block.levels) for block in objective.design.blocks) < FEW_LEVELS
    best: Point | None = None
    curvature = np.empty((0, 0))
    record: list[Run] = []
    for name, theta in tried.items():
        point, bend, run = _descend(objective, theta, size, name)
        record.append(run)
        if best is None or point.criterion < best.criterion:
            best, curvature = point, bend
        enough = run.settled and not (few or is_singular(objective, best, size))
        if not all_starts and (enough or (name == "warm" and run.settled)):
            break
    assert best is not None  # noqa: S101  (there is always a start)
    return Optimum(best, tuple(record), curvature)


def is_singular(objective: Objective, point: Point, size: Floats) -> bool:
    """Whether some estimated variance is zero, or a correlation ±1, for all that the criterion can tell."""
    diagonal = [
        place.start + offset
        for block, place in zip(objective.design.blocks, objective.places, strict=True)
        for offset in ((0, 2) if block.width > 1 else (0,))
    ]
    return any(objective.free[i] and abs(point.theta[i]) < SINGULAR * size[i] for i in diagonal)


def _allowed(objective: Objective, theta: Floats) -> Floats:
    return np.maximum(theta, objective.lowest)


def _descend(objective: Objective, theta: Floats, size: Floats, name: str) -> tuple[Point, Floats, Run]:
    """Trust-region descent from one start, in units of `size`."""
    point = objective.at(theta)
    while point is None:  # more error always makes the equations solvable
        theta = theta.copy()
        theta[objective.grade_place] += 1
        point = objective.at(theta)
    radius, evaluations, by_differences, settled = 1.0, 1, False, False
    gradient, bend = point.gradient, point.curvature
    steps = 0
    while steps < MOST_STEPS:
        steps += 1
        stuck = (point.theta <= objective.lowest) & (gradient > 0)
        moving = np.flatnonzero(objective.free & ~stuck)
        if not len(moving):
            settled = True
            break
        unit = size[moving]
        step, promised = trust_step(
            gradient[moving] * unit, bend[np.ix_(moving, moving)] * np.outer(unit, unit), radius
        )
        if promised < TOLERANCE:
            if by_differences or not _doubtful(objective, point, size, steps):
                settled = True
                break
            by_differences, bend = True, _by_differences(objective, point, size)
            evaluations += int(objective.free.sum())
            radius = max(radius, 0.1)
            continue
        trial_theta = point.theta.copy()
        trial_theta[moving] += step * unit
        trial = objective.at(_allowed(objective, trial_theta))
        evaluations += 1
        gained = point.criterion - trial.criterion if trial is not None else -np.inf
        ratio = gained / promised
        length = float(np.linalg.norm(step))
        radius = _radius(radius, ratio, length)
        if gained > 0 and trial is not None:
            point = trial
            gradient = point.gradient
            by_differences = steps > PATIENCE
            bend = _by_differences(objective, point, size) if by_differences else point.curvature
            if by_differences:
                evaluations += int(objective.free.sum())
        elif promised < 1e-12 * abs(point.criterion) or radius < 1e-9:  # below the criterion's own rounding
            settled = bool(promised < 1e-6)
            break
    free = np.flatnonzero(objective.free)
    largest = float(np.abs(gradient[free] * size[free]).max(initial=0.0))
    run = Run(name, point.criterion, largest, steps, evaluations, by_differences, settled)
    return point, bend[np.ix_(free, free)], run


def _radius(radius: float, ratio: float, length: float) -> float:
    if ratio < 0.25:
        return 0.25 * length
    return max(radius, 2.5 * length) if ratio > 0.75 else radius


def _doubtful(objective: Objective, point: Point, size: Floats, steps: int) -> bool:
    """Whether a stop deserves a look at the true curvature: near the boundary, or after many steps."""
    return steps > PATIENCE or is_singular(objective, point, 100 * size)


def _by_differences(objective: Objective, point: Point, size: Floats) -> Floats:
    """Curvature from forward differences of the exact gradient."""
    bend = np.zeros((len(size), len(size)))
    for i in np.flatnonzero(objective.free):
        move = np.zeros(len(size))
        move[i] = 1e-5 * size[i]
        there = objective.at(point.theta + move)
        if there is None:
            return point.curvature
        bend[i] = (there.gradient - point.gradient) / move[i]
    return (bend + bend.T) / 2


def trust_step(gradient: Floats, bend: Floats, radius: float) -> tuple[Floats, float]:
    """The step of least quadratic model within `radius`, by eigenvectors, and the decrease it promises.

    Where the gradient has no part along the most negative curvature, the step goes out along that to the radius.
    """
    values, vectors = eigh(bend)
    along = vectors.T @ gradient
    floor = max(0.0, -float(values[0]))

    def reach(shift: float) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(along == 0.0, 0.0, -along / (values + shift))

    least = floor + 1e-12 * max(float(np.abs(values).max()), 1e-300)
    inside = reach(least)
    if np.linalg.norm(inside) <= radius:
        if values[0] < 0:
            rest = np.sqrt(max(radius**2 - float(inside @ inside), 0.0))
            inside[0] += rest if along[0] <= 0 else -rest
        elif values[0] > least:
            inside = reach(0.0)
    else:
        low, high = least, least + float(np.linalg.norm(along)) / radius
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if np.linalg.norm(reach(middle)) > radius else (low, middle)
        inside = reach(high)
    promised = -float(along @ inside + inside @ (values * inside) / 2)
    return vectors @ inside, promised
