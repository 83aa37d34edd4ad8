"""How often the answers hold, over many made clubs."""

from dataclasses import dataclass

import numpy as np

from exposures.reciprocity.cells import Cells
from exposures.reciprocity.result import fit
from exposures.reciprocity.robust import robust_fit
from tests.exposures.reciprocity.made import Club, club


@dataclass(frozen=True)
class Coverage:
    """Shares of 90 % and 50 % intervals that held; mean errors of speed and slope over their standard errors."""

    speed: float
    slope: float
    time: float
    time_half: float
    speed_bias: float
    slope_bias: float


def right_time_s(made: Club, paper: int, camera: int, indicated_s: float) -> float:
    over = np.log2(indicated_s) - made.speed[paper] - made.camera[camera]
    return float(2 ** (over if over < 0 else over / made.slope[paper]))


def measure(sets: int, *, guarded: bool = False, first: int = 0, **size: int) -> Coverage:
    """Intervals of every paper's speed and slope, and of the right time for a camera and paper drawn at random."""
    speed, slope, time, half = [], [], [], []
    biases = []
    for seed in range(first, first + sets):
        made = club(seed, **size)
        rng = np.random.default_rng(seed)
        if guarded:
            found = robust_fit([made.logs], families=made.families).fit
        else:
            found = fit(Cells.from_logs(made.logs), families=made.families)
        reach = found.quantile(0.9)
        off = []
        for paper in np.unique(made.logs.paper).tolist():
            line = found.line(paper)
            gaps = line.speed - made.speed[paper], line.slope - made.slope[paper]
            off.append(gaps)
            speed.append(abs(gaps[0]) <= reach * line.covariance[0, 0] ** 0.5)
            slope.append(abs(gaps[1]) <= reach * line.covariance[1, 1] ** 0.5)
            camera, indicated = int(rng.integers(len(made.camera))), float(2 ** rng.uniform(0, 9))
            own, truth = found.line(paper, camera=camera), right_time_s(made, paper, camera, indicated)
            low, high = own.interval_s(indicated, quantile=reach)
            time.append(low <= truth <= high)
            low, high = own.interval_s(indicated, quantile=found.quantile(0.5))
            half.append(low <= truth <= high)
        biases.append(np.mean(off, axis=0))
    bias = np.mean(biases, axis=0) / (np.std(biases, axis=0, ddof=1) / np.sqrt(sets))
    shares = (float(np.mean(held)) for held in (speed, slope, time, half))
    return Coverage(*shares, float(bias[0]), float(bias[1]))
