"""The REML criterion of the pooled model, its exact gradient, and a curvature made of average information.

θ holds, block by block, the lower Cholesky factor Λ of each random factor's covariance (row by row: 1 number for an
intercept, 3 for speed and slope of papers), then log σ of every grade. A variance of zero and a correlation of ±1 are
ordinary points of it: nothing is divided by Λ. With effects b = Λs, s ~ N(0, 1),

    criterion = Σ_g n_g log σ_g² + log|C(θ)| + min over effects of (Σ_g rss_g/σ_g² + s's) + (n − p) log 2π,

C the matrix of the mixed-model equations in (s, fixed effects): minus twice the restricted log-likelihood, constants as
in Bates, Mächler, Bolker & Walker, J. Stat. Softw. 67(1) (2015) [read: its published criteria are met]. The largest
factor is block-diagonal and is eliminated in closed form; the rest is one dense Cholesky factor. Average information:
Gilmour, Thompson & Cullis, Biometrics 51, 1440 (1995) [memory]; checked here by differences.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.linalg import solve_triangular

from exposures.reciprocity.cells import Floats
from exposures.reciprocity.design import Design

_LOWER = {width: np.tril_indices(width) for width in (1, 2)}


def factor_of(width: int, numbers: Floats) -> Floats:
    """Lower Cholesky factor from its numbers, row by row."""
    factor = np.zeros((width, width))
    factor[_LOWER[width]] = numbers
    return factor


class Objective:
    """The criterion of one design. `free` marks the parameters that the logs can tell; `start` holds the others."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.slices = design.slices()
        sizes = [block.width * (block.width + 1) // 2 for block in design.blocks]
        edges = np.cumsum([0, *sizes])
        #: ∂Λ/∂θ for each of a block's parameters.
        self.units = [
            [factor_of(block.width, unit) for unit in np.eye(size)]
            for block, size in zip(design.blocks, sizes, strict=True)
        ]
        self.places = [slice(int(a), int(b)) for a, b in pairwise(edges)]
        self.grade_place = slice(int(edges[-1]), int(edges[-1]) + len(design.grades))
        held = [value for block in design.blocks for value in block.held]
        self.held = np.array([*held, *[np.log(design.assumed_error)] * len(design.grades)])
        self.free = np.array([f for block in design.blocks for f in block.free] + [True] * len(design.grades))
        self.lowest = np.full(len(self.held), -np.inf)
        self.lowest[self.grade_place] = np.log(design.least_error)

    def at(self, theta: Floats) -> Point | None:
        """Everything at one θ; None where the equations cannot be solved there."""
        try:
            return Point(self, np.asarray(theta, float))
        except np.linalg.LinAlgError:
            return None

    def criterion(self, theta: Floats) -> float:
        """Minus twice the restricted log-likelihood at θ, all parameters in natural units; inf where unsolvable."""
        point = self.at(theta)
        return np.inf if point is None else point.criterion


@dataclass
class _Slope:
    """How the criterion and V·Py change with one parameter: effects' part of W'R⁻¹q and q'R⁻¹q with q = ∂V Py."""

    rest: Floats
    eliminated: Floats
    block: int
    values: Floats


class Point:
    """The mixed-model equations solved at one θ. Shapes as in `Design`; effects are in natural units, not scaled."""

    def __init__(self, objective: Objective, theta: Floats) -> None:
        self.objective, self.design, self.theta = objective, objective.design, theta
        of = self.design
        self.precision = np.exp(-2 * theta[objective.grade_place])
        self.factors = [
            factor_of(block.width, theta[place]) for block, place in zip(of.blocks, objective.places, strict=True)
        ]
        L, k, m = of.B.shape[1:]
        weigh = self.precision.reshape(-1, 1)
        self.D = np.tensordot(self.precision, of.D, 1)
        self.B = (weigh.T @ of.B.reshape(len(weigh), -1)).reshape(L, k, m)
        A = np.tensordot(self.precision, of.A, 1)
        self.c_eliminated = np.tensordot(self.precision, of.c_eliminated, 1)
        c_rest = self.precision @ of.c_rest

        factor = self.factors[of.eliminated]
        inner = np.linalg.cholesky(np.eye(k) + factor.T @ self.D @ factor)
        root = factor @ np.swapaxes(np.linalg.inv(inner), 1, 2)
        #: Covariance of the eliminated effects if the rest were known.
        self.E = root @ np.swapaxes(root, 1, 2)
        half = (np.swapaxes(root, 1, 2) @ self.B if k > 1 else root * self.B).reshape(L * k, m)
        half_c = np.einsum("lji,lj->li", root, self.c_eliminated).reshape(-1)
        self.A_star = A - half.T @ half
        self.c_star = c_rest - half_c @ half
        yy = float(self.precision @ of.yy - half_c @ half_c)

        random = m - of.fixed
        scaled = self.scale(self.scale(self.A_star).T)
        scaled[np.arange(random), np.arange(random)] += 1
        self.chol = np.linalg.cholesky(scaled)
        if not (np.isfinite(self.chol).all() and np.diag(self.chol).min() > 1e-12 * np.diag(self.chol).max()):
            raise np.linalg.LinAlgError
        right = self.scale(self.c_star[None, :])[0]
        whitened = solve_triangular(self.chol, right, lower=True, check_finite=False)
        solved = solve_triangular(self.chol, whitened, lower=True, trans=1, check_finite=False)
        self.rest = self.scale_back(solved)
        self.eliminated = np.einsum(
            "lij,lj->li", self.E, self.c_eliminated - (self.B.reshape(-1, m) @ self.rest).reshape(L, k)
        )
        self.quadratic = yy - float(whitened @ whitened)
        self.criterion = float(
            2 * of.weight @ theta[objective.grade_place]
            + 2 * np.log(np.diagonal(inner, axis1=1, axis2=2)).sum()
            + 2 * np.log(np.diag(self.chol)).sum()
            + self.quadratic
            + of.freedom * np.log(2 * np.pi)
        )

    def scale(self, columns: Floats) -> Floats:
        """Columns of the rest times Λ, block by block: (…, m)."""
        out = columns.copy()
        for index, where in self.objective.slices.items():
            k = self.design.blocks[index].width
            out[:, where] = (columns[:, where].reshape(len(columns), -1, k) @ self.factors[index]).reshape(
                len(columns), -1
            )
        return out

    def scale_back(self, solution: Floats) -> Floats:
        """Λ times a solution in scaled effects: (m,) or (m, columns)."""
        out = np.array(solution)
        for index, where in self.objective.slices.items():
            k = self.design.blocks[index].width
            block = solution[where].reshape(-1, k, *solution.shape[1:])
            out[where] = np.einsum("ij,lj...->li...", self.factors[index], block).reshape(out[where].shape)
        return out

    @cached_property
    def whitening(self) -> Floats:
        """What makes of sums of the rest columns whose products are the sums' covariances, (m, m)."""
        inverse = solve_triangular(self.chol, np.eye(len(self.chol)), lower=True, check_finite=False)
        return np.ascontiguousarray(self.scale_back(np.ascontiguousarray(inverse.T)).T)

    @cached_property
    def covariance(self) -> Floats:
        """Prediction-error covariance of the rest (random effects) and covariance of the fixed ones, (m, m)."""
        return self.whitening.T @ self.whitening

    @cached_property
    def across(self) -> tuple[Floats, Floats]:
        """B·H (L, k, m) and the diagonal blocks of B·H·B' (L, k, k), with H the covariance of the rest."""
        L, k, m = self.B.shape
        product = (self.B.reshape(L * k, m) @ self.covariance).reshape(L, k, m)
        return product, product @ np.swapaxes(self.B, 1, 2)

    @cached_property
    def scores(self) -> tuple[Floats, Floats]:
        """W'(y − Wθ̂) by grade, unweighted by σ: for the eliminated (G, L, k) and the rest (G, m)."""
        of, (L, k, m) = self.design, self.B.shape
        flat = of.B.reshape(-1, m)
        eliminated = of.c_eliminated - (flat @ self.rest).reshape(-1, L, k)
        eliminated -= np.einsum("glij,lj->gli", of.D, self.eliminated)
        rest = of.c_rest - of.A @ self.rest - self.eliminated.reshape(-1) @ of.B.reshape(-1, L * k, m)
        return eliminated, rest

    @cached_property
    def squares(self) -> Floats:
        """Residual sum of squares by grade, (G,)."""
        eliminated, rest = self.scores
        fitted = (self.design.c_rest + rest) @ self.rest
        fitted += np.einsum("gli,li->g", self.design.c_eliminated + eliminated, self.eliminated)
        return np.maximum(self.design.yy - fitted, 0.0)

    def _tail(self, index: int) -> Floats:
        """Z'Py of one block, (levels, width)."""
        eliminated, rest = self.scores
        if index == self.design.eliminated:
            return np.tensordot(self.precision, eliminated, 1)
        k = self.design.blocks[index].width
        return (self.precision @ rest)[self.objective.slices[index]].reshape(-1, k)

    @cached_property
    def by_covariance(self) -> list[Floats]:
        """`_by_covariance` of every block."""
        return [self._by_covariance(index) for index in range(len(self.design.blocks))]

    def _by_covariance(self, index: int) -> Floats:
        """∂criterion/∂G of one block, (width, width): Σ over levels of Z'PZ − (Z'Py)(Z'Py)'."""
        tail = self._tail(index)
        if index == self.design.eliminated:
            _, inside = self.across
            kept = np.eye(self.D.shape[1]) - self.D @ self.E
            spread = (kept @ self.D - kept @ inside @ np.swapaxes(kept, 1, 2)).sum(axis=0)
        else:
            where, k = self.objective.slices[index], self.design.blocks[index].width
            rows = self.A_star[where]
            lost = (rows @ self.covariance).reshape(-1, k, rows.shape[1])
            levels = np.arange(len(tail))
            own = rows[:, where].reshape(len(tail), k, len(tail), k)[levels, :, levels, :]
            spread = own.sum(axis=0) - np.einsum("lim,ljm->ij", lost, rows.reshape(lost.shape))
        return spread - tail.T @ tail

    def _by_error(self) -> Floats:
        """∂criterion/∂log σ by grade, (G,)."""
        of = self.design
        product, inside = self.across
        L, k, m = product.shape
        half = (self.E @ product if k > 1 else self.E * product).reshape(-1)
        traces = np.einsum("lij,glji->g", self.E, of.D) + np.einsum("ij,gij->g", self.covariance, of.A)
        traces -= 2 * (of.B.reshape(-1, L * k * m) @ half)
        traces += np.einsum("glij,lji->g", of.D, self.E @ inside @ self.E)
        return 2 * of.weight - 2 * self.precision * (traces + self.squares)

    @cached_property
    def gradient(self) -> Floats:
        """∂criterion/∂θ, exact."""
        by_factors = [
            2 * np.sum(by_covariance * (unit @ factor.T))
            for units, factor, by_covariance in zip(self.objective.units, self.factors, self.by_covariance, strict=True)
            for unit in units
        ]
        return np.concatenate([by_factors, self._by_error()])

    @cached_property
    def curvature(self) -> Floats:
        """Average information, plus what Λ's and log σ's own bend adds, in θ."""
        objective = self.objective
        bend = np.zeros((len(self.theta), len(self.theta)))
        slopes: list[_Slope] = []
        for index, place in enumerate(objective.places):
            units, tail = objective.units[index], self._tail(index)
            for i, unit in enumerate(units):
                moved = unit @ self.factors[index].T
                slopes.append(self._slope_of(index, tail @ (moved + moved.T)))
                for j, other in enumerate(units):
                    bend[place.start + i, place.start + j] = 2 * np.sum(self.by_covariance[index] * (unit @ other.T))
        place = objective.grade_place
        bend[place, place] = np.diag(2 * self.gradient[place])
        eliminated, rest = self.scores
        for g, precision in enumerate(self.precision):
            slopes.append(_Slope(2 * precision * rest[g], 2 * precision * eliminated[g], -1 - g, np.empty(0)))
        return self._information(slopes) + bend

    def _slope_of(self, index: int, values: Floats) -> _Slope:
        of, (L, k, m) = self.design, self.B.shape
        if index == of.eliminated:
            rest = values.reshape(-1) @ self.B.reshape(L * k, m)
            return _Slope(rest, np.einsum("lij,lj->li", self.D, values), index, values)
        where = self.objective.slices[index]
        flat = values.reshape(-1)
        A = np.tensordot(self.precision, of.A[:, :, where], 1)
        return _Slope(A @ flat, (self.B[:, :, where] @ flat), index, values)

    def _information(self, slopes: list[_Slope]) -> Floats:
        """y'P ∂V P ∂V P y for every pair of parameters."""
        size = len(slopes)
        gram = np.zeros((size, size))
        for i, one in enumerate(slopes):
            if one.block < 0:
                gram[i, i] = 4 * self.precision[-1 - one.block] * self.squares[-1 - one.block]
                continue
            for j, two in enumerate(slopes):
                mine = (
                    two.eliminated
                    if one.block == self.design.eliminated
                    else two.rest[self.objective.slices[one.block]]
                )
                gram[i, j] = gram[j, i] = one.values.reshape(-1) @ mine.reshape(-1)
        eliminated = np.stack([slope.eliminated for slope in slopes])
        held = np.einsum("lij,plj->pli", self.E, eliminated)
        L, k, m = self.B.shape
        rest = np.stack([slope.rest for slope in slopes]) - held.reshape(size, -1) @ self.B.reshape(L * k, m)
        return gram - held.reshape(size, -1) @ eliminated.reshape(size, -1).T - rest @ self.covariance @ rest.T
