"""The model written out row by row, n × n, straight from its definition: slow, short, and shares no code."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def criterion(
    *,
    y: Array,
    fixed: Array,
    sloped_on: Array | None,
    paper: Array,
    paper_covariance: Array,
    crossed: list[tuple[Array, float]],
    error: Array,
) -> float:
    """Minus twice the restricted log-likelihood. `error` is each row's standard deviation; `crossed` (codes, sd)."""
    basis = np.column_stack([np.ones_like(y)] + ([] if sloped_on is None else [sloped_on]))
    same = paper[:, None] == paper
    V = np.diag(error**2) + same * (basis @ paper_covariance @ basis.T)
    for codes, deviation in crossed:
        V += deviation**2 * (codes[:, None] == codes)
    inverse = np.linalg.inv(V)
    information = fixed.T @ inverse @ fixed
    residual = y - fixed @ np.linalg.solve(information, fixed.T @ inverse @ y)
    return float(
        np.linalg.slogdet(V)[1]
        + np.linalg.slogdet(information)[1]
        + residual @ inverse @ residual
        + (len(y) - fixed.shape[1]) * np.log(2 * np.pi)
    )
