"""Cameras, members or papers on one scale: stops off once everything else is allowed for, and who differs from whom.

Offsets are best linear unbiased predictions: those with few logs are drawn towards the others, so that nobody stands
out by luck. Two are called different where their difference exceeds its error by the normal quantile that keeps the
chance of one false word in the whole table at 5 % (Bonferroni over all pairs). Everything else is not distinguishable,
which does not mean equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from exposures.reciprocity.cells import Floats, Logs
from exposures.reciprocity.lines import Sums, add_effect, covariance, no_sums, values
from exposures.reciprocity.result import Fit, Offset
from exposures.reciprocity.robust import hold
from optics.core.faults import Impossible

FALSE_WORD = 0.05
MOST_LEVELS = 500


@dataclass(frozen=True)
class Difference:
    """`one` gets `stops` more than `other`, with that standard error; `distinguishable` as the module says."""

    one: Any
    other: Any
    stops: float
    error_stops: float
    distinguishable: bool


@dataclass(frozen=True)
class Comparison:
    """Offsets from the highest to the lowest, and every pair. `verdict` is the table in a sentence."""

    by: str
    offsets: tuple[Offset, ...]
    differences: tuple[Difference, ...]
    verdict: str


def compare(fit: Fit, *, by: str, keys: Sequence[Any] | None = None, at_time_s: float = 1.0) -> Comparison:
    """Compare cameras or members by their offsets, or papers by their lines at `at_time_s` (1 s: their speed).

    `keys` chooses whom (default: all with logs).
    """
    if by not in {"camera", "member", "paper"}:
        raise Impossible("unknown_comparison", "Compare by camera, member or paper.", "by")
    point = fit.point
    if point is None:
        return Comparison(by, (), (), "There are no logs to compare.")
    chosen = [key for key in np.unique(getattr(fit.cells, by)).tolist() if keys is None or key in set(keys)]
    if len(chosen) > MOST_LEVELS:
        raise Impossible("too_many_to_compare", f"Choose at most {MOST_LEVELS} to compare.", "keys")
    sums = _sums(fit, by, chosen, at_time_s)
    stops, spread = values(point, sums), covariance(point, sums)
    if by == "paper" and point.design.sloped:
        stops = stops + max(float(np.log2(at_time_s)), 0.0)
    order = np.argsort(-stops, kind="stable")
    offsets = tuple(_offset(fit, by, chosen[i], float(stops[i]), float(spread[i, i])) for i in order)
    pairs = [(i, j) for place, i in enumerate(order) for j in order[place + 1 :]]
    limit = float(ndtri(1 - FALSE_WORD / 2 / max(len(pairs), 1)))
    differences = []
    for i, j in pairs:
        error = float(np.sqrt(max(spread[i, i] + spread[j, j] - 2 * spread[i, j], 0.0)))
        gap = float(stops[i] - stops[j])
        differences.append(Difference(chosen[i], chosen[j], gap, error, gap > limit * error and gap > 1e-6))
    return Comparison(by, offsets, tuple(differences), _verdict(by, differences))


def _sums(fit: Fit, by: str, chosen: Sequence[Any], at_time_s: float) -> Sums:
    point = fit.point
    assert point is not None  # noqa: S101  (`compare` has seen to it)
    of, sums = point.design, no_sums(point, len(chosen))
    x = max(float(np.log2(at_time_s)), 0.0)
    random = sums.rest.shape[1] - of.fixed
    for row, key in enumerate(chosen):
        at = of.level(by, key)
        if at is None:
            continue
        add_effect(point, sums, row, at[0], at[1])
        if by == "paper":
            family = of.paper_family[at[1]]
            sums.rest[row, random:] += of.speed_rows[family] + x * of.slope_rows[family]
            if of.sloped:
                add_effect(point, sums, row, 0, at[1], atom=1, share=x)
    return sums


def _offset(fit: Fit, by: str, key: Any, stops: float, variance: float) -> Offset:
    if by != "paper":
        return fit.offset(by, key)
    answer = fit.paper(key)
    error = float(np.sqrt(max(variance, 0.0)))
    return Offset(by, key, stops, error, fit.deviations.get("speed", 0.0), answer.evidence, answer.flags)


def _verdict(by: str, differences: Sequence[Difference]) -> str:
    told = sum(difference.distinguishable for difference in differences)
    if not differences:
        return f"There is only one {by}: nothing to compare."
    if not told:
        return f"No {by} can be told from another by these logs; that does not mean that they are equal."
    return f"{told} of {len(differences)} pairs differ by more than their error; the others cannot be told apart."


def adjusted_stops(fit: Fit, logs: Logs, *, by: str) -> Floats:
    """Each log's stops off, (n,), with everything but its own `by` allowed for: it scatters about its own offset."""
    off = hold(fit, logs, np.zeros(len(logs))).off_stops
    levels, place = np.unique(getattr(logs, by), return_inverse=True)
    offsets = {offset.key: offset.stops for offset in compare(fit, by=by, keys=levels.tolist()).offsets}
    return off + np.array([offsets.get(key, 0.0) for key in levels.tolist()])[place]
