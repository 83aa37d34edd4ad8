"""From light to time on this camera and this paper: indicated time, reciprocity, test strips, tables."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .faults import Flag
from .light import Light
from .reciprocity import Law, NoFailure

#: Effect steps of a test strip around the best guess, in stops: five strips, two thirds apart.
STRIP_STEPS = (-4 / 3, -2 / 3, 0.0, 2 / 3, 4 / 3)


@dataclass(frozen=True)
class StripStep:
    """One step of a cover-up test strip: give `uncover_s` more, then cover this strip; it has had `total_s`."""

    strip: int
    stops: float
    uncover_s: float
    total_s: float


@dataclass(frozen=True)
class Exposure:
    """What to give. `reciprocity_stops` = log₂(exposure/indicated): the price of the long time."""

    ev100: float
    indicated_time_s: float
    exposure_time_s: float
    reciprocity_stops: float
    test_strip: tuple[StripStep, ...]
    flags: tuple[Flag, ...]


def expose(
    *,
    ev100: float,
    f_number: float,
    exposure_index: float,
    filter_stops: float = 0.0,
    correction_stops: float = 0.0,
    law: Law | None = None,
    strip_steps: Sequence[float] = STRIP_STEPS,
) -> Exposure:
    """Indicated t = N²/(2^EV·EI/100)·2^(filter + correction), then the law.

    `filter_stops` ≥ 0 is the light a filter takes, `correction_stops` any other exposure to add (positive) or hold
    back. The law works on the indicated time with both in it: the paper sees the light that reaches it.
    """
    law = law or NoFailure()
    indicated = Light(ev100).time_s(f_number=f_number, exposure_index=exposure_index)
    indicated *= float(2 ** (filter_stops + correction_stops))
    time = float(law.correct(indicated))
    flags = []
    if time > 86400:
        flags.append(Flag("longer_than_a_day", "This is longer than a day of light; the reading will not hold."))
    return Exposure(
        ev100=ev100,
        indicated_time_s=indicated,
        exposure_time_s=time,
        reciprocity_stops=float(np.log2(time / indicated)),
        test_strip=plan_test_strip(indicated_time_s=indicated, law=law, steps=strip_steps),
        flags=tuple(flags),
    )


def plan_test_strip(
    *, indicated_time_s: float, law: Law, steps: Sequence[float] = STRIP_STEPS
) -> tuple[StripStep, ...]:
    """A cover-up sequence whose strips differ by even steps of effect, not of time.

    All strips start uncovered. After each `uncover_s` the next strip is covered, so the first has had the least.
    Each total is the law's time for the indicated time 2^step as long; that the light comes in parts with short
    breaks (the intermittency effect) is left out.
    """
    order = sorted(steps)
    totals = np.atleast_1d(law.correct(indicated_time_s * 2.0 ** np.array(order)))
    parts = np.diff(totals, prepend=0.0)
    return tuple(
        StripStep(k + 1, step, float(part), float(total))
        for k, (step, part, total) in enumerate(zip(order, parts, totals, strict=True))
    )


@dataclass(frozen=True)
class TableRow:
    ev100: float
    indicated_time_s: float
    exposure_time_s: float


def exposure_table(
    *,
    f_number: float,
    exposure_index: float,
    law: Law | None = None,
    ev_from: float = 6.0,
    ev_to: float = 16.0,
    step: float = 1.0,
) -> tuple[TableRow, ...]:
    """One row for each EV at ISO 100 from the brighter of `ev_from`, `ev_to` down to the other, `step` > 0 apart.

    The dimmer end has a row where a whole number of steps leads to it.
    """
    low, high = sorted((ev_from, ev_to))
    evs = high - step * np.arange(int((high - low) / step + 1e-9) + 1)
    indicated = f_number**2 / (2.0**evs * exposure_index / 100)
    exposure = (law or NoFailure()).correct(indicated)
    rows = np.column_stack(np.broadcast_arrays(evs, indicated, exposure)).tolist()
    return tuple(TableRow(*row) for row in rows)
