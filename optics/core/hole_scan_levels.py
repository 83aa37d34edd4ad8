"""Levels of a scan: a low-order surface through its background or its hole, and the noise about it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: More values than this add nothing to a surface of six coefficients but time.
MOST_FITTED = 6_000


@dataclass(frozen=True, eq=False)
class Surface:
    """A polynomial level over a picture, the noise about it, and how well its coefficients are known."""

    coefficients: NDArray[np.float64]
    covariance: NDArray[np.float64]
    noise: float
    origin: tuple[float, float]
    reach: float
    degree: int

    def terms(self, x: ArrayLike, y: ArrayLike) -> list[NDArray[np.float64]]:
        """The monomials at (x, y), one to a coefficient."""
        return _monomials(x, y, self.origin, self.reach, self.degree)

    def at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """The level at (x, y), by broadcasting."""
        level = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y)))
        for coefficient, term in zip(self.coefficients, self.terms(x, y), strict=True):
            level += coefficient * term
        return level


def fit_robustly(
    x: NDArray[np.integer],
    y: NDArray[np.integer],
    values: NDArray[np.floating],
    *,
    degree: int = 2,
    share: NDArray[np.floating] | None = None,
    quantum: float = 0.0,
    bend_at: tuple[float, float] | None = None,
) -> Surface:
    """Least squares of a polynomial of `degree` through `values`, leaving out outliers (dust, a second hole).

    What is fitted is `values` ≈ `share` · polynomial (`share` 1 if not given). `quantum` is the step in which the
    values were stored: it keeps values that nearly all fell on one step from looking exact. At least one value is
    needed; the degree falls where there are fewer than six values to a coefficient. Of more than MOST_FITTED values
    an even choice is taken. `bend_at` = (distance, change) tells beforehand that at this distance from the middle each
    term but the constant is likely no larger than this change (one standard deviation), which holds a surface that
    its values alone would let swing.
    """
    every = -(-values.size // MOST_FITTED)
    x, y, values = x[::every], y[::every], values[::every]
    while bend_at is None and degree > 0 and values.size < 3 * (degree + 1) * (degree + 2):
        degree -= 1
    origin = (float(np.mean(x)), float(np.mean(y)))
    reach = max(1.0, float(np.max(np.abs(x - origin[0]))), float(np.max(np.abs(y - origin[1]))))
    design = np.stack(np.broadcast_arrays(*_monomials(x, y, origin, reach, degree)), axis=-1)
    if share is not None:
        design = design * share[::every, None]
    stiffness = np.zeros(design.shape[1])
    if bend_at is not None:
        orders = np.array([total for total in range(degree + 1) for _ in range(total + 1)])
        likely = bend_at[1] * (reach / bend_at[0]) ** orders
        stiffness = np.where(orders > 0, likely**-2.0, 0.0)
    keep = np.ones(values.size, dtype=bool)
    scatter = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    for _ in range(8):
        kept_design = design[keep]
        variance = max(scatter, quantum / np.sqrt(12.0), 1e-6) ** 2
        inverse = np.linalg.pinv(kept_design.T @ kept_design + variance * np.diag(stiffness), hermitian=True)
        coefficients = inverse @ (kept_design.T @ values[keep])
        residual = values - design @ coefficients
        scatter = 1.4826 * float(np.median(np.abs(residual[keep])))
        near = np.abs(residual) <= 3.5 * max(scatter, quantum, 1e-9)
        if np.array_equal(near, keep) or np.count_nonzero(near) < values.size / 3:
            break
        keep = near
    freedom = max(1, int(np.count_nonzero(keep)) - coefficients.size)
    noise = float(np.sqrt(np.sum(residual[keep] ** 2) / freedom))
    return Surface(coefficients, noise**2 * inverse, noise, origin, reach, degree)


def _monomials(
    x: ArrayLike, y: ArrayLike, origin: tuple[float, float], reach: float, degree: int
) -> list[NDArray[np.float64]]:
    u = (np.asarray(x, dtype=float) - origin[0]) / reach
    v = (np.asarray(y, dtype=float) - origin[1]) / reach
    across = np.ones_like(u), u, u * u
    down = np.ones_like(v), v, v * v
    return [across[i] * down[total - i] for total in range(degree + 1) for i in range(total + 1)]


def mean_of_squares(image: NDArray[np.floating], side: int) -> NDArray[np.floating]:
    """The picture averaged over squares of `side` pixels; what is left over at the right and bottom is dropped."""
    rows, columns = (length // side for length in image.shape)
    squares = image[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return np.asarray(squares.mean(axis=(1, 3)))
