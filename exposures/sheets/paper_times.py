"""Times of one paper for many lights, whoever exposes: what no light changes is reckoned once."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exposures.models import Paper
from exposures.pooled import Pooled
from exposures.published import published_law
from exposures.reciprocity.doubts import time_flags
from exposures.reciprocity.recommendation import LONGEST_SAID_S
from exposures.recommending import LONGEST_S, time_for
from optics.core.faults import Impossible
from optics.core.light import Light
from optics.core.say import say_time

#: What the fit calls a camera and a member that nobody has logged: they vary as cameras and members do.
ANY_CAMERA, ANYBODY = "any camera", "anybody"
#: An interval of so many stops or more tells nobody anything. Design judgement.
TELLS_NOTHING_STOPS = 10.0


@dataclass(frozen=True)
class TimeAt:
    """The time to give in one light, s, and where the right one lies nine times in ten.

    `time_s` is infinite where the logs say that no time would do, and None where the light asks for one beyond
    reckoning. `outside` says that it lies outside the times that the logs, or the data sheet, cover: always so without
    either.
    """

    time_s: float | None
    ninety: tuple[float, float]
    outside: bool

    @property
    def said(self) -> str:
        """“3 min 20 s”, marked * where it lies outside what is known and † where it is longer than a day."""
        if self.time_s is None or not np.isfinite(self.time_s):
            return "no time would do"
        return _end(self.time_s) + (" *" if self.outside else "") + (" †" if self.time_s > LONGEST_S else "")

    @property
    def ninety_said(self) -> str:
        low, high = self.ninety
        if self.time_s is None:
            return "–"
        if low >= LONGEST_SAID_S:
            return _end(low)
        if low <= 0 or np.log2(min(high, LONGEST_SAID_S) / low) > TELLS_NOTHING_STOPS:
            return "no telling"
        return f"{say_time(low)} to {_end(high)}" if np.isfinite(high) else f"{say_time(low)} or more"


class PaperTimes:
    """How long a paper wants, for one camera by its key in the fit, or for any."""

    def __init__(self, known: Pooled, paper: Paper, *, camera: str = ANY_CAMERA) -> None:
        self.known, self.paper, self.camera = known, paper, camera
        self.answer = known.answer(paper)
        self.offset = known.fit.offset("camera", camera)
        self.law = None if self.answer.evidence.logs else published_law(paper)
        self._line = known.line(paper, camera=camera, member=ANYBODY)
        self._quantile = known.fit.quantile(0.9)

    def at(self, reading: float, *, f_number: float, hole_stops: float) -> TimeAt:
        """At an EV for ISO 100, for a hole known to `hole_stops` (one standard deviation): as `time_for` has it."""
        index = self.paper.nominal_exposure_index
        indicated_s = Light(reading).time_s(f_number=f_number, exposure_index=index)
        if self.law is not None:
            return self._by_table(reading, f_number, hole_stops, indicated_s)
        if not 1e-9 < indicated_s < 1e9:
            return TimeAt(None, (np.nan, np.nan), outside=True)
        line = self._line
        if not self.offset.evidence.logs:
            more = max(hole_stops**2 - self.offset.spread_stops**2, 0.0)
            line = replace(line, covariance=line.covariance + np.diag([more, 0.0]))
        time_s, evidence = line.right_time_s(indicated_s), self.answer.evidence
        outside = not evidence.logs or bool(time_flags(evidence.shortest_s, evidence.longest_s, time_s))
        return TimeAt(time_s, line.interval_s(indicated_s, quantile=self._quantile), outside)

    def _by_table(self, reading: float, f_number: float, hole_stops: float, indicated_s: float) -> TimeAt:
        asked: dict[str, Any] = {"paper": self.paper, "camera": self.camera, "member": ANYBODY, "reading": reading}
        try:
            found = time_for(self.known, f_number=f_number, hole_stops=hole_stops, **asked)
        except Impossible:
            return TimeAt(None, (np.nan, np.nan), outside=True)
        rows = [float(row[0]) for row in self.paper.published_rows_s or ()]
        return TimeAt(found.exposure_time_s, found.ninety, not min(rows) <= indicated_s <= max(rows))


def _end(time_s: float) -> str:
    return say_time(time_s) if time_s < LONGEST_SAID_S else "more than a year"
