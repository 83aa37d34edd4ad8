"""Which exposure would teach the club most, by the model's own information.

The measure is the I-criterion: the error variance of a paper's line (stops²), averaged over the club's papers and over
given times in equal steps of stops. A log of error σ whose own predicted variance is v lowers the variance of any
target by cov(target, log)²/(σ² + v), whatever its result will be; so a plan can be made before a shutter opens. The
plan is greedy: the best exposure, the statistics renewed by that rank-one step, the next. Papers, cameras and members
that nobody has logged take part: they are as unsure as others of their kind differ. Variances are taken at the mean of
the likely ones (`support`).

The mean over times needs no times: it is tr(M·cov(α, β)) for the line's speed α and slope β, with M the mean of
(1, x)(1, x)'. So two sums for each paper, taken with the root of M, stand for all of its targets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from exposures.reciprocity.cells import Floats, Ints
from exposures.reciprocity.design import ASSUMED
from exposures.reciprocity.lines import add_effect, covariance, no_sums
from exposures.reciprocity.objective import Point
from exposures.reciprocity.result import ASSUMED_MEAN_SPEED, Fit
from optics.core.faults import Impossible

#: Given times (s) over which the error is averaged: 1 s to 34 min.
TARGET_TIMES_S = tuple(float(2**n) for n in range(12))
#: Given times (s) that a test may have.
TEST_TIMES_S = (1.0, 4.0, 15.0, 60.0, 240.0, 900.0)
MOST_CANDIDATES = 1500


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
) -> tuple[NextTest, ...]:
    """A plan of `count` exposures, best first, on some `papers` (each with its family) and cameras.

    `member` makes them (default: the average one); their evidence is of `grade` (default: the commonest error).
    """
    candidates = list(product(papers, cameras, times_s))
    if not candidates:
        return ()
    if len(candidates) > MOST_CANDIDATES:
        raise Impossible("too_many_tests", f"Choose among at most {MOST_CANDIDATES} exposures.", "papers")
    targets, tests = _targets(papers), _tests(candidates, member)
    spread = _covariance(fit, targets.and_then(tests), papers)
    errors = fit.errors_stops
    error = errors.get(grade, max(errors.values(), default=ASSUMED["error"]))
    plan = []
    for _ in range(count):
        best, before, after = _best(spread, len(papers), error)
        paper, camera, time = candidates[best]
        line = fit.line(paper, camera=camera, member=member, family=papers[paper])
        indicated = float(2 ** line.effect(float(np.log2(time))))
        plan.append(NextTest(paper, camera, indicated, time, before, after))
        spread = _after(spread, 2 * len(papers) + best, error)
    return tuple(plan)


def _best(spread: Floats, papers: int, error: float) -> tuple[int, float, float]:
    """The candidate that lowers the targets' mean variance most, and the root of that before and after (stops)."""
    variance, targets = np.diag(spread), 2 * papers
    gain = (spread[:targets, targets:] ** 2).sum(axis=0) / (error**2 + variance[targets:])
    best = int(np.argmax(gain))
    before = float(variance[:targets].sum()) / papers
    return best, before**0.5, max(before - float(gain[best]) / papers, 0.0) ** 0.5


def _after(spread: Floats, row: int, error: float) -> Floats:
    """Covariances once the log of that row is in."""
    column = spread[:, row]
    return spread - np.outer(column, column) / (error**2 + column[row])


@dataclass(frozen=True)
class _Rows:
    """Sums of effects: of each a paper, a camera and a member (None: the average one), and the line's two shares."""

    papers: list[Any]
    cameras: list[Any]
    members: list[Any]
    speed: Floats
    slope: Floats

    def and_then(self, other: _Rows) -> _Rows:
        return _Rows(
            self.papers + other.papers,
            self.cameras + other.cameras,
            self.members + other.members,
            np.concatenate([self.speed, other.speed]),
            np.concatenate([self.slope, other.slope]),
        )


def _targets(papers: Mapping[Any, Any]) -> _Rows:
    x = np.log2(TARGET_TIMES_S)
    root = np.linalg.cholesky(np.mean([np.outer((1, each), (1, each)) for each in x], axis=0)).T
    count = len(papers)
    nobody = [None] * (2 * count)
    return _Rows([p for p in papers for _ in range(2)], nobody, nobody, *np.tile(root, (count, 1)).T)


def _tests(candidates: Sequence[tuple[Any, Any, float]], member: Any) -> _Rows:
    papers, cameras, times = zip(*candidates, strict=True)
    x = np.maximum(np.log2(times), 0.0)
    return _Rows(list(papers), list(cameras), [member] * len(papers), np.ones(len(x)), x)


def _covariance(fit: Fit, rows: _Rows, families: Mapping[Any, Any]) -> Floats:
    """Prediction-error covariance of the rows."""
    point = fit.typical
    known = None if point is None else point.design
    strange = {
        name: _codes([None if key is None or (known and known.level(name, key)) else key for key in keys])
        for name, keys in (("paper", rows.papers), ("camera", rows.cameras), ("member", rows.members))
    }
    if point is None:
        spread = ASSUMED_MEAN_SPEED**2 * np.outer(rows.speed, rows.speed)
        between = {"paper": np.diag([ASSUMED["speed"] ** 2, ASSUMED["slope"] ** 2])}
        between |= {name: np.array([[ASSUMED[name] ** 2]]) for name in ("camera", "member")}
    else:
        spread = _known(point, rows, families)
        blocks = zip(point.design.blocks, point.factors, strict=True)
        between = {block.name: factor @ factor.T for block, factor in blocks}
    atoms = np.stack([rows.speed, rows.slope], axis=1)
    for name, code in strange.items():
        same = (code[:, None] == code) & (code >= 0)
        shares = atoms[:, : len(between[name])] if name == "paper" else np.ones((len(code), 1))
        spread = spread + same * (shares @ between[name] @ shares.T)
    return spread


def _codes(keys: Sequence[Any]) -> Ints:
    """Equal keys to equal numbers from 0; None to −1."""
    names = {key: number for number, key in enumerate(dict.fromkeys(key for key in keys if key is not None))}
    return np.array([names.get(key, -1) for key in keys], dtype=np.int64)


def _known(point: Point, rows: _Rows, families: Mapping[Any, Any]) -> Floats:
    """Covariance of what the fit knows of the rows: families' means, and effects that have logs."""
    of, sums = point.design, no_sums(point, len(rows.papers))
    fixed = slice(sums.rest.shape[1] - of.fixed, None)
    means = {}
    for paper, family in families.items():
        at = of.level("paper", paper)
        mine = of.families == (of.families[of.paper_family[at[1]]] if at else family)
        mine = mine if mine.any() else np.ones(len(of.families), dtype=bool)
        means[paper] = at, of.speed_rows[mine].mean(axis=0), of.slope_rows[mine].mean(axis=0)
    for row, (paper, camera, member) in enumerate(zip(rows.papers, rows.cameras, rows.members, strict=True)):
        at, speed, slope = means[paper]
        sums.rest[row, fixed] += rows.speed[row] * speed + rows.slope[row] * slope
        if at is not None:
            for atom, share in enumerate((rows.speed[row], rows.slope[row])[: of.blocks[0].width]):
                add_effect(point, sums, row, 0, at[1], atom=atom, share=share)
        for name, key in (("camera", camera), ("member", member)):
            place = None if key is None else of.level(name, key)
            if place is not None:
                add_effect(point, sums, row, place[0], place[1])
    return covariance(point, sums)
