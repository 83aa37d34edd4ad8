"""SCIENCE §6: the code that serves a club meets published REML fits.

Values [read] from Bates, Mächler, Bolker & Walker, J. Stat. Softw. 67(1) (2015) and the same authors' reference output.
Values of `cake` and of sleepstudy crossed with days were obtained with lme4 1.1-31 (Debian), optimiser tolerances 1e-12
[read off its output]: `angle ~ t + (t | replicate) + (1 | recipe)` with t = (temp − 170)/10, and
`Reaction ~ Days + (Days | Subject) + (1 | factor(Days))`.
"""

import numpy as np
import pytest

from exposures.reciprocity.objective import Objective
from exposures.reciprocity.optimiser import Optimum, optimise
from tests.exposures.reciprocity.published import as_design


def deviations(best: Optimum) -> list[float]:
    """Standard deviations of every effect in the order of the blocks, then those of the errors."""
    effects = [float(sd) for factor in best.point.factors for sd in np.sqrt(np.diag(factor @ factor.T))]
    return [*effects, *np.exp(best.point.theta[best.point.objective.grade_place]).tolist()]


def means(best: Optimum) -> tuple[list[float], list[float]]:
    """Fixed effects as speed and slope (the model's slope starts from 1), and their standard errors."""
    fixed = best.point.design.fixed
    values = best.point.rest[-fixed:] + np.array([0.0, 1.0])[:fixed]
    return values.tolist(), np.sqrt(np.diag(best.point.covariance)[-fixed:]).tolist()


def test_sleepstudy_with_a_random_slope() -> None:
    best = optimise(Objective(as_design("sleepstudy", paper="Subject", x="Days", y="Reaction")))
    assert best.point.criterion == pytest.approx(1743.628, abs=1e-3)
    values, errors = means(best)
    assert values == pytest.approx([251.405, 10.467], abs=5e-4)
    assert errors == pytest.approx([6.825, 1.546], abs=5e-4)
    assert deviations(best) == pytest.approx([24.741, 5.922, 25.592], abs=1e-3)
    factor = best.point.factors[0]
    covariance = factor @ factor.T
    assert covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(0.07, abs=5e-3)


def test_dyestuff() -> None:
    best = optimise(Objective(as_design("dyestuff", paper="Batch", y="Yield")))
    assert best.point.criterion == pytest.approx(319.654, abs=1e-3)
    assert deviations(best) == pytest.approx([42.00, 49.51], abs=5e-3)
    assert means(best)[0] == pytest.approx([1527.5], abs=1e-5)


def test_dyestuff2_has_no_variance_between_batches() -> None:
    best = optimise(Objective(as_design("dyestuff2", paper="Batch", y="Yield")))
    assert deviations(best)[0] == pytest.approx(0.0, abs=1e-3)
    assert best.point.criterion == pytest.approx(161.8283, abs=1e-3)  # [memory]
    assert all(run.settled for run in best.record)


def test_penicillin_crossed() -> None:
    best = optimise(Objective(as_design("penicillin", paper="plate", camera="sample", y="diameter")))
    assert best.point.criterion == pytest.approx(330.8606, abs=1e-3)
    assert deviations(best) == pytest.approx([0.8467, 1.9316, 0.5499], abs=1e-4)
    assert means(best)[0] == pytest.approx([22.97], abs=5e-3)


def test_crossed_with_a_random_slope_and_a_perfect_correlation() -> None:
    cake = as_design("cake", paper="replicate", camera="recipe", x="temp", y="angle", x_from=170, x_per=10)
    best = optimise(Objective(cake))
    assert best.point.criterion == pytest.approx(1663.62070794, abs=1e-6)
    values, _ = means(best)
    assert values == pytest.approx([32.12222222 - 3 * 1.58031746, 1.58031746], abs=1e-5)
    assert deviations(best)[1:] == pytest.approx([0.24261162, 0.70358932, 4.79481247], abs=1e-4)
    assert best.point.theta[2] == pytest.approx(0.0, abs=1e-3)


def test_crossed_with_a_random_slope_and_no_variance_between_days() -> None:
    days = as_design("sleepstudy", paper="Subject", camera="Days", x="Days", y="Reaction")
    best = optimise(Objective(days))
    assert best.point.criterion == pytest.approx(1743.62827196, abs=1e-6)
    assert deviations(best) == pytest.approx([24.740394, 5.922149, 0.0, 25.591815], abs=1e-3)
    assert means(best)[1] == pytest.approx([6.82454491, 1.54579221], abs=1e-4)
