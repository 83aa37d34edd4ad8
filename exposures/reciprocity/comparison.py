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
    if fit.point is None:
        return Comparison(by, (), (), "There are no logs to compare.")
    wanted = None if keys is None else set(keys)
    chosen = [key for key in fit.cells.levels(by)[0].tolist() if wanted is None or key in wanted]
    if not chosen:
        return Comparison(by, (), (), "There are no logs to compare.")
    if len(chosen) > MOST_LEVELS:
        raise Impossible("too_many_to_compare", f"Choose at most {MOST_LEVELS} to compare.", "keys")
    if by == "paper":
        x = max(float(np.log2(at_time_s)), 0.0)
        rows = np.kron(np.eye(len(chosen)), [1.0, x])
        mean, spread = fit.effects(dict.fromkeys(chosen))
        stops, spread = rows @ mean + x * fit.point.design.sloped, rows @ spread @ rows.T
        errors = np.sqrt(np.diag(spread))
        offsets = [_of_paper(fit, *each) for each in zip(chosen, stops.tolist(), errors.tolist(), strict=True)]
    else:
        stops, spread = fit.effects({}, **{f"{by}s": chosen})
        offsets = fit.offsets(by, chosen)
    order = np.argsort(-stops, kind="stable")
    pairs = [(i, j) for place, i in enumerate(order) for j in order[place + 1 :]]
    limit = float(ndtri(1 - FALSE_WORD / 2 / max(len(pairs), 1)))
    differences = []
    for i, j in pairs:
        error = float(np.sqrt(max(spread[i, i] + spread[j, j] - 2 * spread[i, j], 0.0)))
        gap = float(stops[i] - stops[j])
        differences.append(Difference(chosen[i], chosen[j], gap, error, gap > limit * error and gap > 1e-6))
    return Comparison(by, tuple(offsets[i] for i in order), tuple(differences), _verdict(by, differences))


def _of_paper(fit: Fit, key: Any, stops: float, error: float) -> Offset:
    answer = fit.paper(key)
    return Offset("paper", key, stops, error, fit.deviations["speed"], answer.evidence, answer.flags)


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
