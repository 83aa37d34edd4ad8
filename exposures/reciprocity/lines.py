"""Any sum of the model's effects with its prediction error, and the line of one paper with one camera and member.

A line says which effect in stops a given time has: η(u) = α + βx below and above 1 s (x = max(u, 0), slope 1 below).
The right time for an indicated one is where η = log₂(indicated); its interval is every time that the line's error
allows (Fieller's set), which is exact for a normal error and grows one-sided where the slope is poorly known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from exposures.reciprocity.cells import Cells, Floats, Ints
from exposures.reciprocity.design import known_places
from exposures.reciprocity.objective import Point


@dataclass(frozen=True)
class Sums:
    """r linear sums of effects: `rest` (r, m); and of each, the level (−1: none) and part (r, k) of the eliminated."""

    rest: Floats
    level: Ints
    part: Floats

    def __len__(self) -> int:
        return len(self.level)

    def take(self, chosen: Ints | slice) -> Sums:
        return Sums(self.rest[chosen], self.level[chosen], self.part[chosen])


def no_sums(point: Point, count: int) -> Sums:
    """`count` sums of nothing, to be filled in."""
    _, k, m = point.B.shape
    return Sums(np.zeros((count, m)), np.full(count, -1), np.zeros((count, k)))


def add_effect(
    point: Point, sums: Sums, row: int | Ints, block: int, level: int | Ints, *, atom: int = 0, share: float = 1.0
) -> None:
    """Add `share` times effect number `atom` of one level to some sums, in place."""
    if block == point.design.eliminated:
        sums.level[row] = level
        sums.part[row, atom] += share
    else:
        where = point.objective.slices[block]
        sums.rest[row, where.start + np.asarray(level) * point.design.blocks[block].width + atom] += share


def values(points: Sequence[Point], sums: Sums) -> Floats:
    """Best linear unbiased prediction of each sum at each of p points, (p, r)."""
    rest = np.array([of.rest for of in points])
    eliminated = np.array([of.eliminated[sums.level] for of in points])
    return rest @ sums.rest.T + np.einsum("ri,pri->pr", sums.part, eliminated)


def covariances(points: Sequence[Point], sums: Sums) -> Floats:
    """Prediction-error covariance of the sums at each of p points, (p, r, r), fixed effects' error included.

    Each point's variances are taken as known.
    """
    conditional = np.einsum("prij,rj->pri", np.array([of.E[sums.level] for of in points]), sums.part)
    conditional[:, sums.level < 0] = 0.0
    reduced = sums.rest - np.einsum("pri,prim->prm", conditional, np.array([of.B[sums.level] for of in points]))
    same = (sums.level[:, None] == sums.level) & (sums.level >= 0)
    white = np.array([of.whitening @ each.T for of, each in zip(points, reduced, strict=True)])
    return np.asarray(np.swapaxes(white, 1, 2) @ white + same * (conditional @ sums.part.T))


@dataclass(frozen=True)
class CellLines:
    """The line of every cell, camera and member included: speed, slope and their covariances, each (cells,)."""

    speed: Floats
    slope: Floats
    speed_variance: Floats
    mixed: Floats
    slope_variance: Floats

    def at(self, cell: Ints, x: Floats) -> tuple[Floats, Floats]:
        """Fitted effect and its error variance for logs at x in the given cells."""
        variance = self.speed_variance[cell] + 2 * self.mixed[cell] * x + self.slope_variance[cell] * x * x
        return self.speed[cell] + self.slope[cell] * x, variance


def cell_lines(point: Point, cells: Cells) -> CellLines:
    """Lines of cells whose papers, cameras and members are all in the fit: gathered, nothing is solved anew."""
    of, H = point.design, point.covariance
    m = point.B.shape[2]
    random = m - of.fixed
    read = np.zeros((random + 2 * len(of.families), m))  # random effects as they are, then families' speed and slope
    read[:random, :random] = np.eye(random)
    read[random:, random:] = np.vstack([of.speed_rows, of.slope_rows])
    known = read @ point.rest
    H = read @ H @ read.T
    product, inside = point.across
    half = (point.E @ product) @ read.T
    whole = point.E + point.E @ inside @ point.E

    codes = [known_places(cells, block.name, block.levels) for block in of.blocks]
    family = of.paper_family[codes[0]]
    columns: list[list[Ints]] = [[random + family], [random + len(of.families) + family] if of.sloped else []]
    held: list[int | None] = [None, None]
    level = np.zeros(len(cells), dtype=np.int64)
    for index, (block, code) in enumerate(zip(of.blocks, codes, strict=True)):
        for atom in range(block.width):
            if index == of.eliminated:
                level, held[atom] = code, atom
            else:
                columns[atom].append(point.objective.slices[index].start + code * block.width + atom)

    def value(atom: int) -> Floats:
        total = np.zeros(len(cells)) + sum(known[column] for column in columns[atom])
        mine = held[atom]
        return total if mine is None else total + point.eliminated[level, mine]

    def variance(one: int, two: int) -> Floats:
        total = np.zeros(len(cells)) + sum(H[i, j] for i in columns[one] for j in columns[two])
        for mine, others in ((held[one], columns[two]), (held[two], columns[one])):
            if mine is not None:
                total -= sum(half[level, mine, j] for j in others)
        first, second = held[one], held[two]
        return total if first is None or second is None else total + whole[level, first, second]

    return CellLines(value(0), of.sloped + value(1), variance(0, 0), variance(0, 1), variance(1, 1))


@dataclass(frozen=True)
class Line:
    """η(u) in stops: `speed` α at 1 s, `slope` β above it, and the covariance (2, 2) of their prediction errors."""

    speed: float
    slope: float
    covariance: Floats

    def effect(self, u: float) -> float:
        return self.speed + self.slope * max(u, 0.0) + min(u, 0.0)

    def error(self, u: float) -> float:
        """Standard deviation of the prediction error at log₂ time u, stops."""
        row = np.array([1.0, max(u, 0.0)])
        return float(np.sqrt(max(row @ self.covariance @ row, 0.0)))

    def right_time_s(self, indicated_s: Any) -> Any:
        """The time to give; inf where the logs say that no time would do (slope not above 0). Of times (n,): (n,)."""
        over = np.log2(indicated_s) - self.speed
        above = np.minimum(over / self.slope, 1000.0) if self.slope > 0 else np.inf
        return np.exp2(np.where(over <= 0, over, above))

    def interval_s(self, indicated_s: Any, *, quantile: float) -> tuple[Any, Any]:
        """The times whose effect is within `quantile` errors of the indicated one; inf where nothing bounds it.

        Of times (n,): (n,) of the short ends, and (n,) of the long ones.
        """
        over = np.log2(indicated_s) - self.speed
        reach = quantile**2 * self.covariance
        error = np.sqrt(reach[0, 0])
        a, b, c = self.slope**2 - reach[1, 1], -self.slope * over - reach[0, 1], over**2 - reach[0, 0]
        roots = _roots(a, b, c)
        nearest, farthest = np.where(roots > 0, roots, np.inf).min(axis=0), np.fmax(*roots)
        bounded = (a > 0) & (self.slope > 0) & ~np.isnan(farthest)
        short = np.where(over > error, np.where(nearest < np.inf, nearest, 0.0), over - error)
        long = np.where(over > -error, np.where(bounded, farthest, np.inf), over + error)
        return np.exp2(np.minimum(short, 1000.0)), np.exp2(np.where(long < 1000, long, np.inf))


def _roots(a: float, b: Any, c: Any) -> Floats:
    """The two real roots of ax² + 2bx + c for each b and c, without cancellation; NaN where there is none, (2, …)."""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        q = -(b + np.copysign(np.sqrt(b * b - a * c), b))
        return np.array([np.where(a == 0, np.nan, q / a), np.where(q == 0, np.nan, c / q)])
