"""Where variances vanish and data run out: 144 made sets, and the best criterion that many plain descents find."""

import numpy as np
from scipy.optimize import minimize

from exposures.reciprocity.cells import Cells, Floats, Logs
from exposures.reciprocity.design import design
from exposures.reciprocity.objective import Objective
from exposures.reciprocity.optimiser import scales

SETS = 144
#: (deviation of speed, of slope, correlation, of cameras, of members) behind each made set.
TRUTHS = (
    (0.0, 0.0, 0.0, 0.3, 0.3),
    (0.5, 0.0, 0.0, 0.0, 0.3),
    (0.5, 0.1, 1.0, 0.3, 0.0),
    (0.5, 0.1, -1.0, 0.0, 0.0),
    (0.0, 0.1, 0.0, 0.2, 0.2),
    (0.5, 0.1, 0.3, 0.3, 0.3),
)
#: (papers, cameras, members, grades, logs).
SIZES = ((2, 1, 1, 1, 6), (3, 2, 2, 1, 12), (4, 5, 2, 2, 24), (6, 3, 8, 1, 20), (8, 12, 4, 2, 60), (5, 30, 3, 1, 40))


def made(seed: int) -> Objective:
    """One of the sets: crossings are drawn at random, so many stay empty; every other one has a single time or two."""
    rng = np.random.default_rng(seed)
    speed, slope, correlation, camera, member = TRUTHS[seed % len(TRUTHS)]
    papers, cameras, members, grades, n = SIZES[seed // len(TRUTHS) % len(SIZES)]
    pair = rng.normal(size=(papers, 2)) @ np.array([[1, correlation], [0, np.sqrt(1 - correlation**2)]])
    codes = [rng.integers(0, levels, n) for levels in (papers, cameras, members, grades)]
    u = rng.uniform(-2, 9, n) if seed % 2 else rng.choice([1.0, 6.0], n)
    line = 0.5 + speed * pair[codes[0], 0] + (0.85 + slope * pair[codes[0], 1]) * np.maximum(u, 0)
    effects = rng.normal(0, 1, cameras)[codes[1]] * camera + rng.normal(0, 1, members)[codes[2]] * member
    z = line + np.minimum(u, 0) + effects + rng.normal(0, 0.3, n)
    if seed % 4 == 0:
        z = np.round(z * 2) / 2  # as people judge
    cells = Cells.from_logs(Logs(*codes, u, z))
    return Objective(
        design(cells, least_spread_stops=0.1, least_logs_for_grade=2, families={0: "one"} if seed % 3 else {})
    )


def least(objective: Objective, seed: int, *, descents: int = 12) -> float:
    """The best criterion of some descents from random places, the best of them polished without gradients."""
    rng = np.random.default_rng(1000 + seed)
    size, free = scales(objective), objective.free

    def whole(some: Floats) -> Floats:
        theta = objective.held.copy()
        theta[free] = some * size[free]
        return np.maximum(theta, objective.lowest)

    def value(some: Floats) -> tuple[float, Floats]:
        point = objective.at(whole(some))
        if point is None:
            return 1e9, np.zeros(len(some))
        return point.criterion, point.gradient[free] * size[free]

    bounds = [
        (low / unit if np.isfinite(low) else None, None)
        for low, unit in zip(objective.lowest[free], size[free], strict=True)
    ]
    found = []
    for _ in range(descents):
        start = rng.normal(0, 0.6, len(free))
        start[objective.grade_place] = np.log(size[0] * rng.uniform(0.2, 1.1))
        found.append(
            minimize(
                value, start[free], jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7}
            )
        )
    best = min(found, key=lambda result: result.fun)
    polished = minimize(
        lambda some: objective.criterion(whole(some)),
        best.x,
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-9, "maxfev": 600},
    )
    return float(min(best.fun, polished.fun))
