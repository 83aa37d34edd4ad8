"""A hole as measured: go on working on it, leave it, measure again, or start again, each with its reason."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .advice import BLADE_CAUTION
from .faults import Flag
from .holes import LN2

#: Nearer to the hole wanted than a third of a stop of light is near enough. Common practice, no source.
NEAR_ENOUGH_STOPS = 1 / 3
#: Rounder than this, narrow way over wide way, is round enough. Common practice, no source.
ROUND_ENOUGH_SHARE = 0.9
#: Burrs along more than this share of the outline are worth more work. Common practice, no source.
CLEAN_ENOUGH_SHARE = 0.05
#: Stops that would be said as 0.0.
_NOTHING = 0.05


@dataclass(frozen=True)
class MadeHole:
    """What was measured, mm and one standard deviation; shares are None where nobody could tell."""

    diameter_mm: float
    uncertainty_mm: float
    roundness_share: float | None = None
    burr_share: float | None = None

    @property
    def out_of_round(self) -> bool:
        return self.roundness_share is not None and self.roundness_share < ROUND_ENOUGH_SHARE

    @property
    def has_burr(self) -> bool:
        return self.burr_share is not None and self.burr_share > CLEAN_ENOUGH_SHARE


def advise_hole(hole: MadeHole, *, wanted_mm: float | None = None) -> tuple[Flag, ...]:
    """What to do first, one of `go_on`, `leave_it`, `measure_again`, `start_again`; then why; then the caution.

    Work makes a hole wider, cleaner and, where a needle is turned in it, rounder, never smaller. So a hole wider than
    the one `wanted_mm` (> 0) is past mending; burrs come off first, since they also make it look out of round; and one
    out of round without them can be mended only while there is still size to go. What the measurement cannot tell
    apart, by one standard deviation, is to be measured again.
    """
    off, unsure = 0.0, 2 / LN2 * hole.uncertainty_mm / hole.diameter_mm
    if wanted_mm is not None:
        off = float(2 * np.log2(hole.diameter_mm / wanted_mm))
    verdict = _verdict(hole, wanted_mm, off, unsure)
    caution = (BLADE_CAUTION,) if verdict in {_GO_ON, _START} else ()
    return (verdict, *_reasons(hole, wanted_mm, off, unsure), *caution)


_GO_ON = Flag(
    "go_on",
    "Go on: a few light strokes on fine wet abrasive paper, both sides, turn the needle through by hand, rinse, and "
    "measure again.",
)
_LEAVE = Flag("leave_it", "Leave it: this hole is good.")
_MEASURE = Flag("measure_again", "Measure again before you touch it: more readings, both ways, or a finer scan.")
_START = Flag("start_again", "Start again in a fresh piece: no work makes this hole better.")


def _verdict(hole: MadeHole, wanted_mm: float | None, off_stops: float, unsure_stops: float) -> Flag:
    if wanted_mm is not None:
        over = abs(off_stops) - NEAR_ENOUGH_STOPS
        if abs(over) < unsure_stops:
            return _MEASURE
        if over > 0:
            return _GO_ON if off_stops < 0 else _START
    if hole.has_burr:  # what stands in also makes it look out of round
        return _GO_ON
    return _START if hole.out_of_round else _LEAVE


def _reasons(hole: MadeHole, wanted_mm: float | None, off_stops: float, unsure_stops: float) -> Iterator[Flag]:
    if wanted_mm is None:
        yield Flag("no_target", "Say what hole you want, or the focal length, to hear whether its size is right.")
    else:
        light = f"{abs(off_stops):.1f} stop {'more' if off_stops > 0 else 'less'} light"
        known = f"±{unsure_stops:.1f} stop"
        code = "right_size"
        if abs(off_stops) > NEAR_ENOUGH_STOPS:
            code = "too_wide" if off_stops > 0 else "too_narrow"
        yield Flag(
            code,
            f"It is {hole.diameter_mm:.3f} mm across and {wanted_mm:.3f} mm is wanted: "
            f"{'the same light' if abs(off_stops) < _NOTHING else light}, known to "
            f"{'better than 0.1 stop' if unsure_stops < _NOTHING else known}.",
        )
    if hole.out_of_round:
        yield Flag(
            "out_of_round",
            f"The narrow way is {hole.roundness_share:.0%} of the wide way; sharpness will differ with direction.",
        )
    if hole.has_burr:
        yield Flag("burr", f"Burrs stand in along {hole.burr_share:.0%} of the outline and scatter light.")
