"""One camera, one paper, one reading: the time to give, how sure that is, a test strip, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exposures.reciprocity.cells import Floats
from exposures.reciprocity.doubts import say_count, time_flags
from exposures.reciprocity.lines import Line
from exposures.reciprocity.result import Fit, Offset, PaperAnswer
from optics.core.exposure import StripStep, plan_test_strip
from optics.core.faults import Flag, Impossible
from optics.core.say import say_stops, say_time

#: A test strip has this many strips at most, and at least three.
MOST_STRIPS = 7
#: Neighbouring strips lie no nearer than this (stops), or nobody sees the difference. Design judgement.
LEAST_STEP_STOPS = 1 / 3
#: One test strip can show this much to either side (stops).
MOST_REACH_STOPS = 2.0
#: Longer times are not spelt out.
LONGEST_SAID_S = 365.25 * 86400


@dataclass(frozen=True)
class Recommendation:
    """Times in s; `half` and `ninety` hold the right time with 50 % and 90 %; `because` in sentences."""

    time_s: float
    half: tuple[float, float]
    ninety: tuple[float, float]
    test_strip: tuple[StripStep, ...]
    because: tuple[str, ...]
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class LineLaw:
    """A line as a reciprocity law: its speed, camera and member included; and why it may be doubtful."""

    line: Line
    flags: tuple[Flag, ...] = ()

    def correct(self, time_s: Floats | float) -> Floats | float:
        over = np.log2(np.asarray(time_s, dtype=float)) - self.line.speed
        return np.exp2(np.where(over > 0, np.minimum(over / self.line.slope, 1000.0), over))[()]


def recommend(
    fit: Fit,
    *,
    paper: Any,
    indicated_s: float,
    camera: Any = None,
    member: Any = None,
    family: Any = None,
    index_stops: float = 0.0,
    nominal_index: float | None = None,
    more_stops: float = 0.0,
) -> Recommendation:
    """The time to give where the meter asks for `indicated_s` (s, > 0), reckoned at the paper's `nominal_index`.

    `index_stops` as in `Fit.line`; `more_stops` is another standard error in stops, such as that of a hole just
    measured, added in squares.
    """
    if not (np.isfinite(indicated_s) and 1e-9 < indicated_s < 1e9):
        raise Impossible("indicated_time_odd", "The indicated time must lie between 1 ns and 30 years.", "reading")
    line = fit.line(paper, camera=camera, member=member, family=family, index_stops=index_stops)
    line = replace(line, covariance=line.covariance + np.diag([more_stops**2, 0.0]))
    time = line.right_time_s(indicated_s)
    half = line.interval_s(indicated_s, quantile=fit.quantile(0.5))
    ninety = line.interval_s(indicated_s, quantile=fit.quantile(0.9))
    answer = fit.paper(paper, family=family, index_stops=index_stops)
    because = [_of_paper(answer, nominal_index) if fit.point else _of_nothing(answer, nominal_index)]
    if camera is not None:
        because.append(_of_camera(fit.offset("camera", camera)))
    if member is not None:
        because.append(_of_member(fit.offset("member", member)))
    if np.isfinite(time):
        because.append(
            f"So where the meter asks for {say_time(indicated_s)}, give {_say_end(time)}; nine times in ten the right "
            f"time lies between {say_time(ninety[0])} and {_say_end(ninety[1])}."
        )
    else:
        because.append("By these logs no time would be long enough: they contradict each other.")
    evidence = answer.evidence
    flags = (*answer.flags, *time_flags(evidence.shortest_s, evidence.longest_s, time))
    return Recommendation(time, half, ninety, strip_of(line, indicated_s, ninety), tuple(because), flags)


def _of_paper(answer: PaperAnswer, nominal_index: float | None) -> str:
    if nominal_index is None:
        speed = f"its speed at {say_stops(answer.speed_stops)} against the nominal one"
    else:
        speed = f"its index at {nominal_index * answer.index_factor:.2g} against a nominal {nominal_index:g}"
    says = f"{speed} and its exponent at {_say_exponent(answer)}."
    evidence = answer.evidence
    if not evidence.logs:
        return f"Nobody has logged this paper; others like it put {says}"
    who = f"{say_count(evidence.members, 'member')} with {say_count(evidence.cameras, 'camera')}"
    shortest, longest = say_time(evidence.shortest_s), say_time(evidence.longest_s)
    times = f"at {shortest}" if shortest == longest else f"from {shortest} to {longest}"
    verb = "puts" if evidence.logs == 1 else "put"
    return f"{say_count(evidence.logs, 'log')} of this paper by {who}, {times}, {verb} {says}"


def _of_nothing(answer: PaperAnswer, nominal_index: float | None) -> str:
    index = "its nominal index" if nominal_index is None else f"its nominal index of {nominal_index:g}"
    return f"Nobody has logged this paper or any other: {index} and an exponent of {_say_exponent(answer)} are assumed."


def _say_exponent(answer: PaperAnswer) -> str:
    if not np.isfinite(answer.exponent):
        return "beyond any measure"
    low, high = answer.exponent_interval
    return f"{answer.exponent:.2f} ({low:.2f} {f'to {high:.2f}' if np.isfinite(high) else 'or more'})"


def _of_camera(offset: Offset) -> str:
    error = f"± {offset.error_stops:.1f} stop"
    if not offset.evidence.logs:
        return f"Nobody has logged this camera; that cameras differ by {error} is in the interval."
    off = f"{abs(offset.stops):.1f}"
    if off == "0.0":
        passes = f"as much light as its f-number says, {error}"
    else:
        passes = f"{off} {error} {'less' if offset.stops < 0 else 'more'} light than its f-number says"
    return f"This camera passes {passes}, by {say_count(offset.evidence.logs, 'log')}."


def _of_member(offset: Offset) -> str:
    error = f"± {offset.error_stops:.1f} stop"
    if not offset.evidence.logs:
        return f"You have judged no log yet; that members differ by {error} is in the interval."
    off = f"{abs(offset.stops):.1f}"
    if off == "0.0":
        results = f"as others' do, {error}"
    else:
        results = f"{off} {error} {'under' if offset.stops < 0 else 'over'} where others' are right"
    return f"Your results come out {results}, by {say_count(offset.evidence.logs, 'log')}."


def _say_end(time_s: float) -> str:
    return say_time(time_s) if time_s < LONGEST_SAID_S else "more than a year"


def strip_of(line: Line, indicated_s: float, interval_s: tuple[float, float]) -> tuple[StripStep, ...]:
    """A cover-up strip that spans an interval in even steps of effect, the middle one the recommended time.

    An open or very wide interval is spanned `MOST_REACH_STOPS` to either side. Empty where the logs contradict each
    other.
    """
    if line.slope <= 0:
        return ()
    over = [
        abs(line.effect(float(np.log2(end))) - float(np.log2(indicated_s))) if 0 < end < np.inf else np.inf
        for end in interval_s
    ]
    reach = min(max(*over, LEAST_STEP_STOPS), MOST_REACH_STOPS)
    each = int(min(max(np.floor(reach / LEAST_STEP_STOPS + 1e-9), 1), MOST_STRIPS // 2))
    return plan_test_strip(
        indicated_time_s=indicated_s, law=LineLaw(line), steps=[reach * i / each for i in range(-each, each + 1)]
    )
