"""Why a pooled result may be doubtful: each reason as a flag with a stable code and a sentence."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from exposures.reciprocity.cells import Cells
from exposures.reciprocity.design import Design
from exposures.reciprocity.objective import Point
from exposures.reciprocity.optimiser import Run
from optics.core.faults import Flag
from optics.core.say import say_time

#: With fewer logs than this beyond the fixed effects, no variance is estimated.
LEAST_FREEDOM = 6
FEW_LOGS = 8
#: A time this far outside the logged ones (stops) is extrapolated.
BEYOND_STOPS = 0.5

NO_LOGS = Flag("no_logs", "Nobody has logged this: nominal speed and no reciprocity failure are assumed.")
_PLURAL = {"paper": "papers", "camera": "cameras", "member": "members"}


def say_count(count: int, word: str) -> str:
    """“1 log”, “3 logs”."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def fit_flags(
    of: Design, *, too_few: bool, singular: bool, record: tuple[Run, ...], doubtful_logs: int
) -> tuple[Flag, ...]:
    """Doubts that concern every answer of a fit."""
    logs = round(float(of.cells.logs.sum()))
    found = []
    if too_few:
        text = (
            f"All of this rests on {say_count(logs, 'log')}; how much papers, cameras and single logs vary is assumed."
        )
        found.append(Flag("few_logs", text))
    if singular:
        text = "The logs show no difference at all between some papers, cameras or members; the true one may be small."
        found.append(Flag("singular", text))
    if record and not any(run.settled for run in record):
        found.append(Flag("unsettled", "The fit stopped before it settled; its variances are approximate."))
    if doubtful_logs:
        verb, count = ("lies", "it counts") if doubtful_logs == 1 else ("lie", "they count")
        text = f"{say_count(doubtful_logs, 'log')} {verb} so far off the rest that {count} little or not."
        found.append(Flag("outliers", text))
    found += [flag for block in of.blocks if (flag := _one_level(block.name, len(block.levels))) is not None]
    if of.sloped and not of.slope_known.all():
        names = ", ".join(str(name) for name in of.families[~of.slope_known].tolist()) or "these papers"
        text = "no reciprocity failure is assumed" if not of.slope_known.any() else "the other families' is taken"
        found.append(Flag("slope_unknown", f"The logs of {names or 'all papers'} lie too near one time: {text}."))
    found += [flag for name in ("camera", "member") if (flag := _apart(of.cells, name)) is not None]
    return tuple(found)


def _one_level(name: str, levels: int) -> Flag | None:
    if levels > 1 or name == "paper":
        return None
    text = f"All logs come from one {name}: its offset cannot be told from the papers' speed."
    return Flag("confounded", text)


def _apart(cells: Cells, name: str) -> Flag | None:
    """Papers and cameras (or members) form a net of logs; where it falls apart, its parts cannot be compared."""
    (papers, paper), (others, other) = cells.levels("paper"), cells.levels(name)
    pair = np.flatnonzero(np.bincount(paper * len(others) + other))
    one, two = pair // len(others), pair % len(others) + len(papers)
    size = len(papers) + len(others)
    net = coo_array((np.ones(len(pair)), (one, two)), shape=(size, size))
    parts = int(connected_components(net, directed=False)[0])
    if parts < 2:
        return None
    text = (
        f"The papers fall into {parts} sets with no {name} in common: between sets, {_PLURAL[name]} and papers mix up."
    )
    return Flag("confounded", text)


def paper_flags(point: Point | None, logs: int, slope: float, slope_error: float) -> tuple[Flag, ...]:
    """Doubts that concern one paper."""
    if point is None:
        return ()
    found = []
    if logs == 0:
        found.append(Flag("no_logs", "Nobody has logged this paper: it is taken for the mean of its family."))
    elif logs < FEW_LOGS:
        found.append(Flag("few_logs", f"This rests on {say_count(logs, 'log')}, and leans on its family."))
    if slope - 2 * slope_error > 1:
        found.append(Flag("slope_odd", f"The logs say the paper gains speed with time (exponent {1 / slope:.2f})."))
    if slope < 0.2:
        found.append(Flag("slope_odd", f"The logs contradict each other (slope {slope:.2f}); check them."))
    return tuple(found)


def level_flags(error: float, spread: float, logs: int) -> tuple[Flag, ...]:
    """Doubts that concern one camera or member: its logs tell less than half of its variance."""
    if error**2 <= spread**2 / 2:
        return ()
    verb = "does" if logs == 1 else "do"
    text = f"{say_count(logs, 'log')} {verb} not tell this one's offset: most of it is a guess from the others."
    return (Flag("few_logs", text),)


def time_flags(shortest_s: float, longest_s: float, time_s: float) -> tuple[Flag, ...]:
    """A given time outside the logged ones."""
    if np.isnan(shortest_s) or shortest_s * 2**-BEYOND_STOPS <= time_s <= longest_s * 2**BEYOND_STOPS:
        return ()
    if not np.isfinite(time_s):
        return (Flag("extrapolating", "The logs say that no time would be long enough: a guess far outside them."),)
    shortest, longest = say_time(shortest_s), say_time(longest_s)
    logs = f"All logs lie at {shortest}" if shortest == longest else f"The logs run from {shortest} to {longest}"
    text = f"{logs}; {say_time(time_s)} lies outside: a guess."
    return (Flag("extrapolating", text),)
